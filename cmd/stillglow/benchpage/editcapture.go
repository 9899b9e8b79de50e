package benchpage

import (
	"fmt"
	"net/url"
	"path"
	"slices"
	"strings"

	"stillglow/capture"
	"stillglow/capture/sheet"
)

// captureOf finds the capture that a form is about.
func (b *bench) captureOf(s *sheet.Sheet, id string) (sheet.Capture, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.entries {
		if e.ID != id {
			continue
		}
		if e.Role == ofUnit && len(e.Fields) == 0 {
			return sheet.Capture{}, errByPattern
		}
		for _, c := range everyCapture(s) {
			if c.File == e.Capture.File && c.Options.Channel == e.Capture.Options.Channel && c.Options.Segment == e.Capture.Options.Segment {
				return c, nil
			}
		}
	}
	return sheet.Capture{}, errGone
}

// everyCapture lists the captures that have a table in the sheet.
func everyCapture(s *sheet.Sheet) []sheet.Capture {
	all := slices.Clone(s.Loose)
	for _, u := range s.Units {
		all = append(all, u.Captures...)
	}
	if s.Instrument.Baseline != nil {
		all = append(all, *s.Instrument.Baseline)
	}
	return all
}

// ownOfCapture are the fields that are one capture's own, whatever its layout.
var ownOfCapture = []string{"load_a", "note", "segment", "mode"}

// correct changes how a capture is read. With "all" every other one of its layout
// is read alike: what is filled in here is filled in there, and what was taken out
// here is taken out there where it was the same.
func correct(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	before := fieldsOf(t, c.Key)
	if err := fill(t, c.Key, captureFields, form); err != nil || form.Get("all") == "" {
		return err
	}
	for _, id := range b.alike(form.Get("id")) {
		o, err := b.captureOf(s, id)
		if err != nil {
			continue
		}
		there, shared := fieldsOf(t, o.Key), url.Values{}
		for _, f := range captureFields {
			v := strings.TrimSpace(form.Get(f.key))
			if form.Has(f.key) && !slices.Contains(ownOfCapture, f.key) && (v != "" || there[f.key] == before[f.key]) {
				shared.Set(f.key, v)
			}
		}
		if err := fill(t, o.Key, captureFields, shared); err != nil {
			return err
		}
	}
	return nil
}

// fieldsOf is what a table of the sheet says, as written.
func fieldsOf(t *sheet.Text, table string) map[string]string {
	out := map[string]string{}
	for _, f := range t.Fields(table) {
		out[f.Key] = unquote(fmt.Sprint(f.Value))
	}
	return out
}

// alike lists the other captures of the same layout.
func (b *bench) alike(id string) []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []string
	i := slices.IndexFunc(b.entries, func(e entry) bool { return e.ID == id })
	if i < 0 || b.layoutOf(b.entries[i]) == "" {
		return nil
	}
	for _, e := range b.entries {
		if e.ID != id && e.Role != unnamed && b.layoutOf(e) == b.layoutOf(b.entries[i]) {
			out = append(out, e.ID)
		}
	}
	return out
}

// layoutOf tells layouts apart, also while a capture is being read again; "" where
// the file was never read.
func (b *bench) layoutOf(e entry) string { return b.layouts[e.Capture.Path] }

// leaveOut takes a capture out of the sheet; the file stays where it is.
func leaveOut(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	return t.Remove(c.Key)
}

// use takes files of the captures folder into the sheet; without an ID all that
// are not in it.
func use(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	b.mu.Lock()
	var files []string
	for _, e := range b.entries {
		if e.Role == unnamed && (form.Get("id") == "" || form.Get("id") == e.ID) {
			files = append(files, e.Capture.File)
		}
	}
	b.mu.Unlock()
	return addLoose(t, s, files)
}

// addLoose names files as captures that no unit has yet.
func addLoose(t *sheet.Text, s *sheet.Sheet, files []string) error {
	named := map[string]bool{}
	for _, c := range everyCapture(s) {
		named[path.Clean(c.File)] = true
		if c.Baseline != nil {
			named[path.Clean(c.Baseline.File)] = true
		}
	}
	for _, f := range files {
		if named[f] {
			continue
		}
		named[f] = true
		fields := sheet.Fields{{Key: "file", Value: f}}
		if mode := sheet.ModeOfName(f); mode == capture.Common {
			fields = append(fields, sheet.Field{Key: "mode", Value: string(mode)})
		}
		if _, err := t.Append("capture", fields); err != nil {
			return err
		}
	}
	return nil
}

// asBaseline takes a capture for the instrument's own noise: of all captures, or
// with scope "layout" of those with its layout and rate.
func asBaseline(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	id := form.Get("id")
	c, err := b.captureOf(s, id)
	if err != nil {
		return err
	}
	fields := t.Fields(c.Key)
	if form.Get("scope") == "layout" {
		n := 0
		for _, other := range b.sameRate(id) {
			o, err := b.captureOf(s, other)
			if err != nil || o.Options.Mode != c.Options.Mode { // made with the 100 Ω in place or without
				continue
			}
			if err := t.Set(o.Key+".baseline", c.File); err != nil {
				return err
			}
			n++
		}
		if n == 0 {
			return &fieldError{"scope", "no capture of a unit has this one's layout, sample rate and mode yet: assign the captures to their units first"}
		}
		return t.Remove(c.Key)
	}
	if s.Instrument.Baseline != nil {
		return &fieldError{"scope", fmt.Sprintf("%s is the baseline for all captures already; take it out first, or choose the captures of one layout", s.Instrument.Baseline.File)}
	}
	if err := t.Remove(c.Key); err != nil {
		return err
	}
	for _, f := range fields {
		if f.Key == "load_a" || f.Key == "baseline" {
			continue
		}
		if err := t.Set("instrument.baseline."+f.Key, f.Value); err != nil {
			return err
		}
	}
	return nil
}

// baselineOff tells that the baseline for all was made with the supply off.
func baselineOff(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	if s.Instrument.Baseline == nil || c.Key != s.Instrument.Baseline.Key {
		return errGone
	}
	return t.Set(c.Key+".supply", "off")
}

// baselineAway makes a baseline a capture without a unit again. What is one is asked
// of the sheet as it is: the page may lag behind the last edit.
func baselineAway(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	file := b.fileOf(form.Get("id"))
	fields, found := sheet.Fields{{Key: "file", Value: file}}, false
	for _, u := range s.Units {
		for _, c := range u.Captures {
			if file != "" && fieldsOf(t, c.Key)["baseline"] == file {
				found = true
				if err := t.Remove(c.Key + ".baseline"); err != nil {
					return err
				}
			}
		}
	}
	if c := s.Instrument.Baseline; c != nil && c.File == file {
		found = true
		fields = slices.DeleteFunc(t.Fields(c.Key), func(f sheet.Field) bool { return f.Key == "supply" })
		if err := t.Remove(c.Key); err != nil {
			return err
		}
	}
	if !found {
		return errGone
	}
	_, err := t.Append("capture", fields)
	return err
}

// fileOf is the file of a capture on the page, "" where there is none of that id.
func (b *bench) fileOf(id string) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.entries {
		if e.ID == id {
			return e.Capture.File
		}
	}
	return ""
}

// sameRate lists units' captures of one layout and sample rate.
func (b *bench) sameRate(id string) []string {
	alike := b.alike(id)
	b.mu.Lock()
	defer b.mu.Unlock()
	rate := 0.0
	for _, e := range b.entries {
		if e.ID == id && e.reading != nil && e.reading.state == measured {
			rate = e.reading.got.M.SampleRateHz
		}
	}
	var out []string
	for _, e := range b.entries {
		if e.Role == ofUnit && e.reading != nil && e.reading.state == measured && e.reading.got.M.SampleRateHz == rate && slices.Contains(alike, e.ID) {
			out = append(out, e.ID)
		}
	}
	return out
}
