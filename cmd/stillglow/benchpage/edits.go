package benchpage

import (
	"errors"
	"fmt"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/capture"
	"stillglow/capture/sheet"
)

// An edit is one thing that the page lets its user do to the sheet. It finds what
// it is about by name in the sheet as it stands, since another page or an editor
// may have changed it.
type edit func(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error

// edits are all of them, by the name that the page's forms give.
var edits = map[string]edit{
	"correct":       correct,
	"give":          give,
	"give-all":      giveAll,
	"take-back":     takeBack,
	"leave-out":     leaveOut,
	"use":           use,
	"baseline":      asBaseline,
	"unit":          editUnit,
	"unit-remove":   removeUnit,
	"reading":       addReading,
	"reading-away":  removeReading,
	"bench":         editBench,
	"instrument":    editInstrument,
	"heaters":       editHeaters,
	"valve":         addValve,
	"valve-change":  changeValve,
	"valve-away":    removeValve,
	"own-valve":     addOwnValve,
	"filter-try":    tryFilter,
	"filter-forget": forgetFilter,
}

// fieldError is a field of a form that doesn't do.
type fieldError struct{ field, text string }

func (e *fieldError) Error() string { return e.text }

var errGone = errors.New("that is no longer in the sheet: somebody changed it meanwhile; the page shows it as it is now")

// change does one edit to the sheet.
func (b *bench) change(op string, form url.Values) error {
	do, ok := edits[op]
	if !ok {
		return &fieldError{"op", fmt.Sprintf("unknown edit %q", op)}
	}
	err := b.file.Change(func(t *sheet.Text) error {
		s, err := t.Sheet(b.file.Path())
		if err != nil {
			return err
		}
		return do(b, t, s, form)
	})
	b.nudge()
	return err
}

// kind says how a typed value is written into the sheet.
type kind int

const (
	text  kind = iota
	num        // a number, its unit may stand behind it
	hertz      // 100M, 20 MHz
	whole      // 1M samples
	yesNo      // true, false
)

// field is a key that the page lets be filled in.
type field struct {
	key  string
	kind kind
}

var (
	captureFields = []field{{"channel", text}, {"probe_factor", num}, {"coupling", text}, {"volt_unit", text}, {"band_limited", yesNo}, {"anti_aliased", yesNo},
		{"bandwidth_hz", hertz}, {"volts_per_full_scale", num}, {"time_unit", text}, {"rate_hz", hertz}, {"load_a", num}, {"baseline", text}, {"note", text}}
	unitFields       = []field{{"brand", text}, {"model", text}, {"mark", text}, {"rated_v", num}, {"rated_a", num}, {"note", text}}
	benchFields      = []field{{"title", text}, {"workshop", text}, {"date", text}, {"target", text}, {"mains_hz", num}, {"note", text}}
	instrumentFields = []field{{"name", text}, {"bandwidth_hz", hertz}, {"memory_samples", whole}, {"max_rate_hz", hertz}, {"coupling", text},
		{"probe_factor", num}, {"gain_percent", num}, {"volts_per_full_scale", num}}
	heaterFields = []field{{"supply_tolerance_percent", num}, {"part_tolerance_percent", num}, {"lead_ohm", num}, {"series", text}}
	valveFields  = []field{{"type", text}, {"count", whole}, {"wiring", text}, {"string", text}}
	ownFields    = []field{{"type", text}, {"volts", num}, {"amps", num}, {"centre_tapped", yesNo}, {"source", text}}
)

// fill writes the fields that the form has into a table. An empty one is taken
// out of the sheet.
func fill(t *sheet.Text, table string, fields []field, form url.Values) error {
	for _, f := range fields {
		if !form.Has(f.key) {
			continue
		}
		key := f.key
		if table != "" {
			key = table + "." + f.key
		}
		typed := strings.TrimSpace(form.Get(f.key))
		if typed == "" {
			if t.Has(key) {
				if err := t.Remove(key); err != nil {
					return err
				}
			}
			continue
		}
		v, err := f.value(typed)
		if err != nil {
			return &fieldError{f.key, fmt.Sprintf("%s: %v", strings.ReplaceAll(f.key, "_", " "), err)}
		}
		if err := t.Set(key, v); err != nil {
			return err
		}
	}
	return nil
}

// value reads what was typed.
func (f field) value(typed string) (any, error) {
	switch f.kind {
	case num:
		return number(typed)
	case hertz:
		return capture.ParseHertz(strings.Replace(typed, ",", ".", 1))
	case whole:
		v, err := capture.ParseHertz(strings.TrimSuffix(strings.TrimSpace(strings.TrimSuffix(typed, "samples")), "S"))
		if err != nil || v != float64(int(v)) {
			return nil, fmt.Errorf("found %q, expected a whole number such as 2, 10k or 1M", typed)
		}
		return int(v), nil
	case yesNo:
		v, err := strconv.ParseBool(typed)
		if err != nil {
			return nil, fmt.Errorf("found %q, expected true or false", typed)
		}
		return v, nil
	}
	if len(typed) > 400 {
		return nil, fmt.Errorf("a text of %d bytes, expected at most 400", len(typed))
	}
	return typed, nil
}

// number reads "0.94", "0,94 A", "7 V", "10:1", "10x", "5 %", "0.1 Ω".
func number(typed string) (float64, error) {
	s := strings.TrimSpace(typed)
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-eE", r) })
	if end < 0 {
		end = len(s)
	}
	thousandth := ""
	switch strings.ToLower(strings.TrimSpace(s[end:])) {
	case "", "v", "a", "x", "×", ":1", "%", "ω", "ohm", "hz":
	case "mv", "ma", "mω":
		thousandth = "e-3" // by the digits, so that 940 mA is 0.94 A
	default:
		return 0, fmt.Errorf("found %q, expected a number", typed)
	}
	v, err := strconv.ParseFloat(strings.Replace(s[:end], ",", ".", 1)+thousandth, 64)
	if err != nil {
		return 0, fmt.Errorf("found %q, expected a number", typed)
	}
	return v, nil
}

// captureOf finds the capture that a form is about.
func (b *bench) captureOf(s *sheet.Sheet, id string) (sheet.Capture, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.entries {
		if e.ID != id {
			continue
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

// correct changes how a capture is read; with "all" the same is done to every
// other one of its layout.
func correct(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	keys := []string{c.Key}
	if form.Get("all") != "" {
		for _, other := range b.alike(form.Get("id")) {
			if o, err := b.captureOf(s, other); err == nil {
				keys = append(keys, o.Key)
			}
		}
	}
	for _, key := range keys {
		if err := fill(t, key, captureFields, form); err != nil {
			return err
		}
	}
	return nil
}

// alike lists the other captures of the same layout, by their channels and sample
// rate too where they are known.
func (b *bench) alike(id string) []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []string
	i := slices.IndexFunc(b.entries, func(e entry) bool { return e.ID == id })
	if i < 0 || b.entries[i].reading == nil {
		return nil
	}
	for _, e := range b.entries {
		if e.ID != id && e.Role != unnamed && e.reading != nil && layoutOf(e.reading) == layoutOf(b.entries[i].reading) && layoutOf(e.reading) != "" {
			out = append(out, e.ID)
		}
	}
	return out
}

// layoutOf tells layouts apart; "" where the file could not be read.
func layoutOf(r *reading) string {
	if r.state == measured {
		return r.got.Layout
	}
	return strings.Join(r.channels, "\x00")
}

// unitOf finds a unit by its name, -1 where there is none.
func unitOf(s *sheet.Sheet, name string) int {
	name = strings.Join(strings.Fields(name), " ")
	return slices.IndexFunc(s.Units, func(u sheet.Unit) bool { return strings.EqualFold(u.Name(), name) })
}

// unitOfParts finds a unit by brand, model and mark, as the sheet tells units apart.
func unitOfParts(s *sheet.Sheet, brand, model, mark string) int {
	same := func(a, b string) bool {
		return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
	}
	return slices.IndexFunc(s.Units, func(u sheet.Unit) bool { return same(u.Brand, brand) && same(u.Model, model) && same(u.Mark, mark) })
}

func unitPath(i int) string { return "unit[" + strconv.Itoa(i) + "]" }

// give puts a capture into a unit, which is made where it is new.
func give(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	brand := strings.Join(strings.Fields(form.Get("brand")), " ")
	if brand == "" {
		return &fieldError{"brand", "a unit without a brand: type one, or \"unbranded\""}
	}
	i := unitOfParts(s, brand, form.Get("model"), form.Get("mark"))
	if i < 0 {
		i = t.Count("unit")
		if _, err := t.Append("unit", sheet.Fields{{Key: "brand", Value: brand}}); err != nil {
			return err
		}
		if err := fill(t, unitPath(i), unitFields[1:], form); err != nil {
			return err
		}
	}
	return move(t, c, unitPath(i)+".capture", form)
}

// move takes a capture's table with all its keys somewhere else.
func move(t *sheet.Text, c sheet.Capture, array string, form url.Values) error {
	fields := t.Fields(c.Key)
	if len(fields) == 0 {
		return errGone
	}
	if err := t.Remove(c.Key); err != nil {
		return err
	}
	at, err := t.Append(array, fields)
	if err != nil {
		return err
	}
	return fill(t, at, []field{{"load_a", num}}, form)
}

// giveAll gives every loose capture to the unit that its form names: the fields
// carry the capture's ID behind a dot.
func giveAll(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	given := 0
	for _, id := range form["id"] {
		one := url.Values{"id": {id}}
		for _, k := range []string{"brand", "model", "mark", "load_a"} {
			if form.Has(k + "." + id) {
				one.Set(k, form.Get(k+"."+id))
			}
		}
		if strings.TrimSpace(one.Get("brand")) == "" {
			continue
		}
		if strings.TrimSpace(one.Get("load_a")) == "" {
			one.Set("load_a", form.Get("load_rest"))
		}
		if err := give(b, t, s, one); err != nil {
			return err
		}
		var err error
		if s, err = t.Sheet(b.file.Path()); err != nil {
			return err
		}
		given++
	}
	if given == 0 {
		return &fieldError{"brand", "no capture has a brand typed beside it"}
	}
	return nil
}

// takeBack makes a unit's capture loose again.
func takeBack(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	c, err := b.captureOf(s, form.Get("id"))
	if err != nil {
		return err
	}
	return move(t, c, "capture", nil)
}

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
		if _, err := t.Append("capture", sheet.Fields{{Key: "file", Value: f}}); err != nil {
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
			if err != nil {
				continue
			}
			if err := t.Set(o.Key+".baseline", c.File); err != nil {
				return err
			}
			n++
		}
		if n == 0 {
			return &fieldError{"scope", "no capture of a unit has this one's layout and sample rate yet: give the captures to their units first"}
		}
		return t.Remove(c.Key)
	}
	if s.Instrument.Baseline != nil {
		return &fieldError{"scope", fmt.Sprintf("%s is the baseline of all captures already; take it out first, or choose the captures of one layout", s.Instrument.Baseline.File)}
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

func editUnit(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	if form.Has("brand") && strings.TrimSpace(form.Get("brand")) == "" {
		return &fieldError{"brand", "a unit without a brand: type one, or \"unbranded\""}
	}
	return fill(t, unitPath(i), unitFields, form)
}

// removeUnit takes a unit away; its captures become loose.
func removeUnit(b *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	for range s.Units[i].Captures {
		now, err := t.Sheet(b.file.Path())
		if err != nil {
			return err
		}
		if err := move(t, now.Units[i].Captures[0], "capture", nil); err != nil {
			return err
		}
	}
	return t.Remove(unitPath(i))
}

func addReading(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	if i < 0 {
		return errGone
	}
	load, err := number(form.Get("load_a"))
	if err != nil {
		return &fieldError{"load_a", "load: " + err.Error()}
	}
	v, err := number(form.Get("v"))
	if err != nil {
		return &fieldError{"v", "volts: " + err.Error()}
	}
	_, err = appendTo(t, unitPath(i)+".readings", sheet.Fields{{Key: "load_a", Value: load}, {Key: "v", Value: v}})
	return err
}

// appendTo begins an inline array where there is none.
func appendTo(t *sheet.Text, array string, fields sheet.Fields) (string, error) {
	if !t.Has(array) && t.Count(array) == 0 {
		return array + "[0]", t.Set(array, []sheet.Fields{fields})
	}
	return t.Append(array, fields)
}

func removeReading(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	i := unitOf(s, form.Get("unit"))
	n, err := strconv.Atoi(form.Get("n"))
	if i < 0 || err != nil || n < 0 || n >= len(s.Units[i].Readings) {
		return errGone
	}
	array := unitPath(i) + ".readings"
	if len(s.Units[i].Readings) == 1 && t.Has(array) {
		return t.Remove(array)
	}
	return t.Remove(array + "[" + strconv.Itoa(n) + "]")
}

func editBench(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	return fill(t, "", benchFields, form)
}

func editInstrument(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	return fill(t, "instrument", instrumentFields, form)
}

func editHeaters(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	return fill(t, "heaters", heaterFields, form)
}

// ownValves are the sheet's own valves as the heater room knows them.
func ownValves(s *sheet.Sheet) []heater.Valve {
	var own []heater.Valve
	for _, v := range s.Heaters.OwnValves {
		own = append(own, heater.Valve{Type: v.Type, Volts: v.Volts, Amps: v.Amps, CentreTapped: v.CentreTapped, Pins: v.Pins, Base: v.Base, Source: v.Source})
	}
	return own
}

func addValve(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	valve, err := heater.Lookup(form.Get("type"), ownValves(s))
	if err != nil {
		return &fieldError{"type", err.Error()}
	}
	if !form.Has("count") {
		form.Set("count", "1")
	}
	at, err := t.Append("heaters.valve", sheet.Fields{{Key: "type", Value: valve.Type}})
	if err != nil {
		return err
	}
	return fill(t, at, valveFields[1:], form)
}

func valveAt(s *sheet.Sheet, form url.Values) (string, error) {
	n, err := strconv.Atoi(form.Get("n"))
	if err != nil || n < 0 || n >= len(s.Heaters.Groups) || s.Heaters.Groups[n].Type != form.Get("was") {
		return "", errGone
	}
	return "heaters.valve[" + strconv.Itoa(n) + "]", nil
}

func changeValve(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	at, err := valveAt(s, form)
	if err != nil {
		return err
	}
	return fill(t, at, valveFields[1:], form)
}

func removeValve(_ *bench, t *sheet.Text, s *sheet.Sheet, form url.Values) error {
	at, err := valveAt(s, form)
	if err != nil {
		return err
	}
	return t.Remove(at)
}

func addOwnValve(_ *bench, t *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	name := strings.TrimSpace(form.Get("type"))
	if name == "" {
		return &fieldError{"type", "a valve without a name, expected its type"}
	}
	at, err := t.Append("heaters.own_valve", sheet.Fields{{Key: "type", Value: name}})
	if err != nil {
		return err
	}
	return fill(t, at, ownFields[1:], form)
}

// tryFilter shows what a circuit would leave of a unit. It is no part of the
// sheet.
func tryFilter(b *bench, _ *sheet.Text, s *sheet.Sheet, form url.Values) error {
	name := form.Get("unit")
	if unitOf(s, name) < 0 {
		return errGone
	}
	c, err := circuitOf(form)
	if err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	typed := map[string]string{}
	for _, k := range []string{"topology", "r_ohm", "l_uh", "c_uf", "kind"} {
		typed[k] = form.Get(k)
	}
	b.tried[name] = tried{c, typed}
	b.hub.changed("fit")
	return nil
}

func forgetFilter(b *bench, _ *sheet.Text, _ *sheet.Sheet, form url.Values) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.tried, form.Get("unit"))
	return nil
}

// circuitOf reads the parts of a post-filter with their usual parasitics.
func circuitOf(form url.Values) (filter.Circuit, error) {
	c := filter.Circuit{Topology: filter.Topology(form.Get("topology"))}
	part := func(key string, scale float64) (float64, error) {
		v, err := number(form.Get(key))
		if err != nil || v <= 0 {
			return 0, &fieldError{key, fmt.Sprintf("found %q, expected a number over 0", form.Get(key))}
		}
		return v * scale, nil
	}
	farads, err := part("c_uf", 1e-6)
	if err != nil {
		return c, err
	}
	if c.C1, err = filter.NewCapacitor(form.Get("kind"), farads); err != nil {
		return c, &fieldError{"kind", err.Error()}
	}
	if form.Get("r_ohm") != "" {
		if c.ROhm, err = part("r_ohm", 1); err != nil {
			return c, err
		}
	}
	if c.Topology != filter.RC {
		henries, err := part("l_uh", 1e-6)
		if err != nil {
			return c, err
		}
		if c.L, err = filter.NewInductor(henries); err != nil {
			return c, &fieldError{"l_uh", err.Error()}
		}
	}
	if c.Topology == filter.CLC {
		c.C2 = c.C1
	}
	return c, nil
}

// unquote gives a string as it was meant and any other value as it is written.
func unquote(literal string) string {
	if s, err := strconv.Unquote(literal); err == nil && strings.HasPrefix(literal, `"`) {
		return s
	}
	if len(literal) >= 2 && literal[0] == '\'' {
		return strings.Trim(literal, "'")
	}
	return literal
}

func asError[T error](err error, into *T) bool { return errors.As(err, into) }
