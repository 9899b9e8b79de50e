package pipeline

import (
	"fmt"
	"math"
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
// can be right; where the samples hold no noise, equal volts of two files prove
// nothing, and the later one carries a caution. Under one unit the later one is left out, and the first carries a
// caution; s and measured stay as they are, the results are copies.
func countOnce(s *sheet.Sheet, measured [][]report.Capture) (*sheet.Sheet, [][]report.Capture, error) {
	out := *s
	out.Units = slices.Clone(s.Units)
	once := slices.Clone(measured)
	var seen records
	var bad ErrorList
	for i, u := range s.Units {
		var files []sheet.Capture
		var kept []report.Capture
		for k, got := range measured[i] {
			if other := s.NamedAfter(i, u.Captures[k].File); other != "" {
				got.M = withName(got.M, u.Captures[k].File, other)
			}
			r := record{i, u.Captures[k], got}
			before, there := seen.find(r)
			switch {
			case !there:
				seen.add(r)
				files, kept = append(files, u.Captures[k]), append(kept, got)
			case before.unit != i && r.proves(before):
				bad = append(bad, r.twice(s, before))
			case before.unit != i:
				got.M = withLike(got.M, before.file.File, s.Units[before.unit].Name())
				files, kept = append(files, u.Captures[k]), append(kept, got)
			default:
				first := slices.IndexFunc(files, func(c sheet.Capture) bool { return c.Path == before.file.Path && c.Key == before.file.Key })
				kept[first].M = withTwice(kept[first].M, u.Captures[k].File)
			}
		}
		out.Units[i].Captures, once[i] = files, kept
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

// records are those seen so far, found again by their bytes and by their samples.
type records struct {
	all     []record
	bytes   map[storedRecord]int  // the first of all with them
	samples map[sampleShelf][]int // all by their fingerprints, roughly
}

// storedRecord is a record by where it is stored.
type storedRecord struct {
	sum, channel string
	segment      int
}

// sampleShelf is where records of the same samples stand, or on the one beside it.
type sampleShelf struct{ samples, shelf int }

func (r record) stored() storedRecord {
	return storedRecord{r.got.M.SHA256, r.got.M.Channel, r.file.Options.Segment}
}

func (s *records) add(r record) {
	if s.bytes == nil {
		s.bytes, s.samples = map[storedRecord]int{}, map[sampleShelf][]int{}
	}
	n := len(s.all)
	s.all = append(s.all, r)
	if key := r.stored(); key.sum != "" {
		if _, there := s.bytes[key]; !there {
			s.bytes[key] = n
		}
	}
	if f := r.got.Samples; f.Samples > 0 {
		key := sampleShelf{f.Samples, f.Shelf()}
		s.samples[key] = append(s.samples[key], n)
	}
}

// find gives the first record that r is, too.
func (s *records) find(r record) (before record, ok bool) {
	first := len(s.all)
	if n, there := s.bytes[r.stored()]; there {
		first = n
	}
	if f := r.got.Samples; f.Samples > 0 {
		for shelf := f.Shelf() - 1; shelf <= f.Shelf()+1; shelf++ {
			for _, n := range s.samples[sampleShelf{f.Samples, shelf}] {
				if n < first && f.SameSamples(s.all[n].got.Samples) {
					first = n
				}
			}
		}
	}
	if first == len(s.all) {
		return record{}, false
	}
	return s.all[first], true
}

// What noise must be, for equal samples to prove one record: over the converter's own
// by this factor in density, and this share of all that varies, which is more than
// what rounding and the window leave between the lines of a computed wave.
const (
	overSteps  = 1.25
	overLeaked = 1e-4
)

// proves reports whether the two being alike shows that they are one record: the same
// file, or samples with noise in them, which never comes out twice. Flat records, and
// waves that were computed, are alike by themselves.
func (r record) proves(o record) bool {
	if r.file.Path == o.file.Path {
		return true
	}
	m := r.got.M
	if len(m.Spectrum.VPerRtHz) == 0 {
		return false
	}
	densities := slices.Sorted(slices.Values(m.Spectrum.VPerRtHz))
	floor := densities[len(densities)/2] // lines and their skirts take less than half of the span
	if !(floor*math.Sqrt(m.SampleRateHz/2) > overLeaked*r.got.Samples.SDV) {
		return false
	}
	return !m.QuantNoiseVPerRtHz.Known || floor > overSteps*m.QuantNoiseVPerRtHz.Value
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

// withLike adds the doubt about a record that is like another unit's without proof.
func withLike(m *analysis.Measurement, file, unit string) *analysis.Measurement {
	return withCaution(m, target.CautionSameVolts,
		fmt.Sprintf("the same volts, sample by sample, as %s of %s, and no noise by which two records could be told apart", capture.OneLine(file), capture.OneLine(unit)),
		"make sure that it is this unit's own record; use fewer volts per division, so that the noise shows")
}

// withName adds the doubt about a capture whose file is named after another unit.
func withName(m *analysis.Measurement, file, unit string) *analysis.Measurement {
	return withCaution(m, target.CautionNamedAfter,
		fmt.Sprintf("%s is named after %s: the captures of two units may have changed places", capture.OneLine(file), capture.OneLine(unit)),
		"make sure which unit it shows, and move it in the sheet or rename it")
}

// withTwice adds the doubt about a unit's record that another file of it repeats.
func withTwice(m *analysis.Measurement, file string) *analysis.Measurement {
	return withCaution(m, target.CautionSameTwice,
		fmt.Sprintf("%s holds the same record once more; it counts once", capture.OneLine(file)),
		"take another capture for a repeat: a stopped scope saves the same record again")
}

// withCaution is the measurement with a caution more; m, which the cache may share,
// stays as it is.
func withCaution(m *analysis.Measurement, code, text, fix string) *analysis.Measurement {
	c := *m
	c.Cautions = append(slices.Clone(m.Cautions), capture.Caution{Code: code, Text: text, Fix: fix})
	return &c
}
