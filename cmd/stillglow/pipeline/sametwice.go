package pipeline

import (
	"fmt"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// countOnce looks for one record that the sheet names twice: the same bytes,
// channel and segment, or the same samples saved again under another name or in
// another format. Under two units that is an ErrorList, since at most one of them
// can be right. Under one unit the later one is left out, and the first carries a
// caution; s and measured stay as they are, the results are copies.
func countOnce(s *sheet.Sheet, measured [][]report.Capture) (*sheet.Sheet, [][]report.Capture, error) {
	out := *s
	out.Units = slices.Clone(s.Units)
	once := slices.Clone(measured)
	var seen []record
	var bad ErrorList
	for i, u := range s.Units {
		var files []sheet.Capture
		var kept []report.Capture
		for k, got := range measured[i] {
			r := record{i, u.Captures[k], got}
			at := slices.IndexFunc(seen, r.same)
			switch {
			case at < 0:
				seen = append(seen, r)
				files, kept = append(files, u.Captures[k]), append(kept, got)
			case seen[at].unit != i:
				bad = append(bad, r.twice(s, seen[at]))
			default:
				first := slices.IndexFunc(files, func(c sheet.Capture) bool { return c.Path == seen[at].file.Path && c.Key == seen[at].file.Key })
				kept[first].M = withTwice(kept[first].M, u.Captures[k].File)
			}
		}
		if len(files) < len(u.Captures) {
			out.Units[i].Captures, once[i] = files, kept
		}
	}
	if len(bad) > 0 {
		return nil, nil, bad
	}
	return &out, once, nil
}

// record is one capture of a unit as the sheet names it and as measured.
type record struct {
	unit int // index into the sheet's Units
	file sheet.Capture
	got  report.Capture
}

// same reports whether two captures hold one record.
func (r record) same(o record) bool {
	a, b := r.got.M, o.got.M
	return a.SHA256 != "" && a.SHA256 == b.SHA256 && a.Channel == b.Channel && r.file.Options.Segment == o.file.Options.Segment ||
		r.got.Samples.SameSamples(o.got.Samples)
}

// twice is the error about a record of two units, at the later place.
func (r record) twice(s *sheet.Sheet, first record) error {
	line, column := s.Place(r.file.Key + ".file")
	firstLine, _ := s.Place(first.file.Key + ".file")
	what := "the same samples"
	if r.got.M.SHA256 == first.got.M.SHA256 {
		what = "the same bytes"
	}
	return &capture.ParseError{Path: s.Path, Line: line, Column: column,
		Found: fmt.Sprintf("%q of %s with %s as %q of %s (line %d)", r.file.File, s.Units[r.unit].Name(), what,
			first.file.File, s.Units[first.unit].Name(), firstLine),
		Expected: "a capture of its own for every unit",
		Fix:      "find out which unit it shows, and capture the other again: a stopped scope saves the same record again"}
}

func withTwice(m *analysis.Measurement, file string) *analysis.Measurement {
	c := *m
	c.Cautions = append(slices.Clone(m.Cautions), capture.Caution{Code: target.CautionSameTwice,
		Text: fmt.Sprintf("%s holds the same record once more; it counts once", capture.OneLine(file)),
		Fix:  "take another capture for a repeat: a stopped scope saves the same record again"})
	return &c
}
