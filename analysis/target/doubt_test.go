package target

import (
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
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
	if m := marginOf(t, e, SpikePeak); e.Verdict != Open || m.Covered || !strings.Contains(m.Reason, "are hidden by the noise") {
		t.Errorf("%q: %+v", e.Verdict, m)
	}
}

func TestConvertersOwnNoiseIsRetaken(t *testing.T) {
	u := quiet()
	u.Captures[0].Noise.DensityVPerRtHz.Value = 2e-6
	u.Captures[0].QuantNoiseVPerRtHz = figure.Known(1.9e-6)
	if e := Evaluate(u, line(t)); e.Verdict != Retake || !strings.Contains(e.WouldFlip, "ADC's own steps") {
		t.Errorf("%q: %s", e.Verdict, e.WouldFlip)
	}
}

// Undersampled spikes make the spike peak a lower bound, which fails at once over
// its limit and is open under it; the p-p (20 MHz) may be a tenth low, and what
// the spikes can't move stays decided.
func TestUndersampledSpikesConcernTheSpikes(t *testing.T) {
	const fix = "use the fastest timebase"
	for _, c := range []struct {
		name      string
		of        Criterion
		limit, is float64
		want      Verdict
	}{
		{"spikes under", SpikePeak, 30e-3, 12e-3, Open},
		{"spikes over", SpikePeak, 30e-3, 33e-3, Fail},
		{"p-p inside by 1.2 dB", RipplePP, 20e-3, 17.4e-3, Pass},
		{"p-p inside by 0.5 dB", RipplePP, 20e-3, 18.9e-3, Retake},
		{"p-p over", RipplePP, 20e-3, 21e-3, NearMiss},
		{"mains line", MainsLine, 1e-3, 0.9e-3, Pass},
		{"noise", Noise, 1e-6, 0.9e-6, Pass},
		{"20 kHz to 1 MHz", BandRF1, 5e-3, 4.8e-3, Pass},
	} {
		goal := Target{Limits: []Limit{limit(c.of, c.limit, "the test's")}}
		u := quiet()
		for _, m := range u.Captures {
			m.Span.LowHz = 8
			m.Cautions = []capture.Caution{{Code: capture.CautionUndersampled, Fix: fix}}
			m.Spikes.PeakP95V = figure.Figure{Known: true, Value: c.is, LowerBound: true}
			m.PP20MHzV = figure.Known(c.is)
			m.MainsLineRMS, m.Noise.DensityVPerRtHz = figure.Known(c.is), figure.Known(c.is)
			m.Bands[len(m.Bands)-1].RMSV = figure.Known(c.is)
		}
		e := Evaluate(u, goal)
		if e.Verdict != c.want {
			t.Errorf("%s: %q, want %q: %s; %s", c.name, e.Verdict, c.want, e.Why, e.WouldFlip)
		}
		if c.want == Open && !strings.Contains(e.WouldFlip, fix) {
			t.Errorf("%s: the cure is %q", c.name, e.WouldFlip)
		}
	}
}
