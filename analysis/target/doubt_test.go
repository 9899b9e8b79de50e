package target

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// A margin whose own uncertainty reaches more than a decibel over the limit
// waits for a better capture, on either side of it.
func TestWideUncertaintyIsRetaken(t *testing.T) {
	for _, c := range []struct {
		value, u float64
		want     Verdict
	}{
		{18e-3, 0.5e-3, Pass}, {18e-3, 2.5e-3, Pass}, {18e-3, 6e-3, Retake},
		{23e-3, 0.5e-3, NearMiss}, {23e-3, 8e-3, Retake},
	} {
		u := quiet()
		u.Captures[1].PP20MHzV = figure.Figure{Value: c.value, Known: true, U: c.u}
		if e := Evaluate(u, line(t)); e.Verdict != c.want {
			t.Errorf("%g ± %g: %q, want %q", c.value, c.u, e.Verdict, c.want)
		}
	}
}

// Where noise hides spikes up to above the limit, their height is not known:
// neither a pass nor a failure.
func TestSpikesUnderTheNoiseAreNotMeasured(t *testing.T) {
	u := quiet()
	u.Captures[1].Spikes = analysis.SpikeSummary{PerS: figure.Known(0), ThresholdV: 90e-3, PeakP95V: figure.NotMeasured("no spike")}
	e := Evaluate(u, line(t))
	if m := marginOf(t, e, SpikePeak); e.Verdict != Open || m.Covered || !strings.Contains(m.Reason, "can't be told from the noise") {
		t.Errorf("%q: %+v", e.Verdict, m)
	}
}

func TestConvertersOwnNoiseIsRetaken(t *testing.T) {
	u := quiet()
	u.Captures[0].Noise.DensityVPerRtHz.Value = 2e-6
	u.Captures[0].QuantNoiseVPerRtHz = figure.Known(1.9e-6)
	if e := Evaluate(u, line(t)); e.Verdict != Retake || !strings.Contains(e.WouldFlip, "converter's own steps") {
		t.Errorf("%q: %s", e.Verdict, e.WouldFlip)
	}
}
