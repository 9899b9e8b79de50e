package target

import (
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Of two records that give upper limits both hold, so the least counts, however long
// the other one is.
func TestLeastUpperBoundCounts(t *testing.T) {
	record := func(file string, density, longS float64) *analysis.Measurement {
		m := &analysis.Measurement{File: file, Calibrated: true, DurationS: longS, SampleRateHz: 1e6, Span: capture.Span{LowHz: 800, HighHz: 400e3}}
		m.Noise.DensityVPerRtHz = figure.Figure{Known: true, Value: density, U: density / 10, UpperBound: true}
		return m
	}
	long, short := record("long", 300e-9, 1), record("short", 90e-9, 5e-3)
	u := Unit{Captures: []*analysis.Measurement{long, short}}
	l := limit(Noise, 110e-9, "")
	if p := pick(u, l); len(p.from) == 0 || p.from[0] != short {
		t.Errorf("taken from %v", p.from)
	}
	// One without a bound counts before both, be it higher.
	whole := record("whole", 120e-9, 0.1)
	whole.Noise.DensityVPerRtHz.UpperBound = false
	u.Captures = append(u.Captures, whole)
	if p := pick(u, l); p.from[0] != whole {
		t.Errorf("taken from %s", p.from[0].File)
	}
}

// A short fast record that met the unit at rest is no less a limit by itself, yet the
// slow one tells that it missed something: it shows more than it folds down.
func TestLeastUpperBoundMissesNothing(t *testing.T) {
	record := func(file string, rateHz, density, aboveHalf float64) *analysis.Measurement {
		m := &analysis.Measurement{File: file, Calibrated: true, SampleRateHz: rateHz, DurationS: 2e5 / rateHz, Span: capture.Span{LowHz: 800, HighHz: 0.4 * rateHz}}
		m.Noise.DensityVPerRtHz = figure.Figure{Known: true, Value: density, UpperBound: true}
		for hz := 1e3; hz <= m.Span.HighHz; hz *= 1.02 {
			d := density
			if hz > 250e3 {
				d = aboveHalf
			}
			m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz = append(m.Spectrum.FrequencyHz, hz), append(m.Spectrum.VPerRtHz, d)
		}
		return m
	}
	slow := record("slow", 500e3, 300e-9, 0)
	l := limit(Noise, 110e-9, "")
	for _, c := range []struct {
		aboveHalf float64 // V/√Hz that the fast one shows from 250 kHz to 8 MHz: 31 times 250 kHz
		from      string
	}{{60e-9, "fast"}, {40e-9, "slow"}} { // 90²+31·60² tops 300² less a quarter, 90²+31·40² does not
		u := Unit{Captures: []*analysis.Measurement{slow, record("fast", 20e6, 90e-9, c.aboveHalf)}}
		if p := pick(u, l); p.from[0].File != c.from {
			t.Errorf("with %g V/√Hz to fold: taken from %s, want %s", c.aboveHalf, p.from[0].File, c.from)
		}
	}
}

// A cycle's ripple that was not measured, or is doubted, is inside where the record's
// whole peak-to-peak is; the whole never fails it, nor passes it where it is doubted
// itself.
func TestRippleIsInsideWithTheWhole(t *testing.T) {
	with := func(pp, ripple figure.Figure, codes ...string) Verdict {
		m := &analysis.Measurement{File: "fast", Calibrated: true, DurationS: 1e-3, SampleRateHz: 200e6, Span: capture.Span{LowHz: 4e3, HighHz: 80e6}, PP20MHzV: pp, RipplePPV: ripple}
		for _, code := range codes {
			m.Cautions = append(m.Cautions, capture.Caution{Code: code})
		}
		tg := Target{Limits: []Limit{limit(FoldedRipple, 30e-3, "")}}
		return Evaluate(Unit{Captures: []*analysis.Measurement{m}}, tg).Verdict
	}
	lower := figure.Figure{Known: true, Value: 2e-3, LowerBound: true}
	for _, c := range []struct {
		name       string
		pp, ripple figure.Figure
		codes      []string
		want       Verdict
	}{
		{"not measured, whole inside", figure.Known(21e-3), figure.NotMeasured("rings"), nil, Pass},
		{"at least, whole inside", figure.Known(21e-3), lower, nil, Pass},
		{"doubted, whole inside", figure.Known(21e-3), figure.Known(5e-3), []string{capture.CautionCycleExplains}, Pass},
		{"whole over", figure.Known(31e-3), figure.NotMeasured("rings"), nil, Open},
		{"whole's ± over", figure.Figure{Known: true, Value: 29e-3, U: 2e-3}, lower, nil, Open},
		{"whole clipped", figure.Known(21e-3), lower, []string{capture.CautionClipped}, Open},
		{"whole not measured", figure.NotMeasured("too slow"), lower, nil, Open},
		{"over by itself", figure.Known(21e-3), figure.Known(100e-3), nil, Fail},
	} {
		if got := with(c.pp, c.ripple, c.codes...); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// A record of a bursting supply holds a whole number of packets: one of 1.8 packets'
// time holds one or two, so a mean over it is up to 5.1 dB too low in amplitude, half
// of that in power; peaks need a whole packet only.
func TestPacketsInARecord(t *testing.T) {
	for _, c := range []struct {
		id             Criterion
		held, down, up float64
	}{
		{SpikeRate, 1.8, 5.105, 0.915}, {BandRF2, 1.8, 2.553, 0.458}, {SpikeRate, 10, 0, 0}, {SpikeRate, 10.5, 0.424, 0.404}, {SpikeRate, 1, unboundedDB, unboundedDB},
	} {
		cr, _ := lookup(c.id)
		if down, up := packetShift(cr, c.held); !near(down, c.down) || !near(up, c.up) {
			t.Errorf("%s over %g packets: %.3f and %.3f dB, want %.3f and %.3f", c.id, c.held, down, up, c.down, c.up)
		}
	}
	record := func(longS, perS float64) Unit {
		m := &analysis.Measurement{File: "fast", Calibrated: true, DurationS: longS, SampleRateHz: 200e6, Span: capture.Span{LowHz: 4 / longS, HighHz: 80e6}, Kind: "bursting", BurstHz: figure.Known(1800), PP20MHzV: figure.Known(20e-3)}
		m.Spikes.PerS = figure.Known(perS)
		return Unit{Captures: []*analysis.Measurement{m}}
	}
	for _, c := range []struct {
		name  string
		u     Unit
		limit Limit
		want  Verdict
	}{
		{"count inside by 6 dB, 1.8 packets", record(1e-3, 1e5), limit(SpikeRate, 2e5, ""), Pass},
		{"count inside by 3.5 dB, 1.8 packets", record(1e-3, 1e5), limit(SpikeRate, 1.5e5, ""), Retake},
		{"count inside by 3.5 dB, 18 packets", record(10e-3, 1e5), limit(SpikeRate, 1.5e5, ""), Pass},
		{"peak-to-peak, 1.8 packets", record(1e-3, 1e5), limit(RipplePP, 22e-3, ""), Pass},
		{"peak-to-peak, less than a packet", record(0.5e-3, 1e5), limit(RipplePP, 22e-3, ""), Open},
	} {
		if e := Evaluate(c.u, Target{Limits: []Limit{c.limit}}); e.Verdict != c.want {
			t.Errorf("%s: %s, want %s: %s", c.name, e.Verdict, c.want, e.WouldFlip)
		}
	}
}

func near(a, b float64) bool { return a-b < 2e-3 && b-a < 2e-3 }
