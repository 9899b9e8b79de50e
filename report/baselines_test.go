package report

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
)

// The instrument's own noise is said to be inside the figures of those captures
// only that have no baseline, be it the sheet's or one of their own.
func TestBaselineNote(t *testing.T) {
	own := &analysis.Measurement{Spectrum: spectrum.Curve{FrequencyHz: []float64{1, 2}, VPerRtHz: []float64{1, 1}, BaselineVPerRtHz: []float64{1, 1}}}
	bare := &analysis.Measurement{}
	for _, c := range []struct {
		ms    []*analysis.Measurement
		sheet bool
		want  string
	}{
		{[]*analysis.Measurement{bare, bare}, false, "inside every figure"},
		{[]*analysis.Measurement{own, bare}, false, "1 of 2 captures"},
		{[]*analysis.Measurement{own, own}, false, ""},
		{[]*analysis.Measurement{bare, bare}, true, ""},
	} {
		r := &Report{}
		var u Unit
		for _, m := range c.ms {
			u.Captures = append(u.Captures, Capture{M: m})
		}
		r.Units = []Unit{u}
		if c.sheet {
			r.Baseline = &Capture{M: own}
		}
		got := ""
		for _, w := range r.watchWords(nil) {
			if strings.Contains(w, "baseline") || strings.Contains(w, "Baseline") {
				got = w
			}
		}
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%d captures, sheet %v: %q, want %q", len(c.ms), c.sheet, got, c.want)
		}
	}
}
