package analysis

import (
	"math"
	"testing"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// A reading without the cycle settles peaks that a wrong ripple lifted or lowered,
// and leaves those alone that agree with it.
func TestPeaksSettledBesideTheCycle(t *testing.T) {
	beside := func(peakV float64) spike.Beside {
		return spike.Beside{Count: 80, DurationS: 1e-3, SigmaV: 0.1e-3, ThresholdV: 1e-3, P95V: peakV + 0.2e-3, MaxV: peakV + 0.25e-3}
	}
	read := func(byCycleV float64, b spike.Beside) peakSet {
		found := spike.Finding{SigmaV: 0.1e-3, ThresholdV: 0.6e-3, Templates: make([]cycle.Transient, 1), Beside: b}
		for i := range 100 {
			found.PeaksV = append(found.PeaksV, byCycleV*(1+1e-3*float64(i%7)))
		}
		return peakReadings(&found, 0, 0)
	}
	for _, byCycleV := range []float64{2.8e-3, 8.1e-3} {
		p := read(byCycleV, beside(5e-3))
		if math.Abs(p.p95.value-5e-3) > 0.1e-3 {
			t.Errorf("%g V in the cycle, 5 mV beside it: %+v", byCycleV, p.p95)
		}
		if doubt := math.Abs(byCycleV-5e-3) / 2; p.p95.deviation < 0.9*doubt {
			t.Errorf("the deviation %g V does not hold half the difference, %g V", p.p95.deviation, doubt)
		}
	}
	if p := read(5.1e-3, beside(5e-3)); math.Abs(p.p95.value-5.13e-3) > 0.05e-3 || p.p95.deviation > 0.1e-3 {
		t.Errorf("readings that agree: %+v", p.p95)
	}
	// peaks that would have been seen beside the cycle and were not
	p := read(4e-3, spike.Beside{DurationS: 1e-3, SigmaV: 0.2e-3, ThresholdV: 3e-3})
	if f := p.figure(p.p95, 0.03); !f.UpperBound || f.Value > 3e-3 {
		t.Errorf("not seen beside the cycle over 3 mV: %+v", f)
	}
}

// An edge that the cycle misses shows beside it: the count is a lower bound then, and
// not by one or two at the record's ends.
func TestCountMissesAnEdge(t *testing.T) {
	for _, c := range []struct {
		counted, beside int
		more            bool
	}{{301, 600, true}, {301, 353, true}, {301, 302, false}, {301, 150, false}, {8, 11, false}} {
		found := spike.Finding{Count: c.counted, Beside: spike.Beside{Count: c.beside, DurationS: 1e-3, ThresholdV: 1e-3, P95V: 5e-3}}
		if got := moreBeside(&found, 1e-3); got != c.more {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Events that hardly top six standard deviations of the noise may be lesser ones;
// their peaks are upper figures. Undersampled ones are none at all.
func TestMarginalPeaksAreUpperFigures(t *testing.T) {
	for _, c := range []struct {
		peakV        float64
		upper, lower bool
	}{{0.65e-3, true, false}, {2e-3, false, false}, {0.65e-3, true, true}} {
		found := spike.Finding{SigmaV: 0.1e-3, ThresholdV: 0.6e-3, OffEdge: make([]spike.Event, 4)}
		for range 4 {
			found.PeaksV = append(found.PeaksV, c.peakV)
		}
		p := peakReadings(&found, 0, 0)
		p.lower = c.lower
		f := p.figure(p.p95, 0.03)
		if f.UpperBound != (c.upper && !c.lower) || f.Known != !(c.upper && c.lower) {
			t.Errorf("peaks of %g V: %+v", c.peakV, f)
		}
	}
}

// A cycle whose smooth part swallowed its spikes counts next to none, while 150 stand
// out of the record's own level, over its threshold by a quarter: the count is a lower
// bound. The noise's own, a few per cent over it, are no hint.
func TestSwallowedSpikesAreALowerBound(t *testing.T) {
	for _, c := range []struct {
		p95V float64
		more bool
	}{{5.48e-3, true}, {4.5e-3, false}} {
		found := spike.Finding{Count: 1, Beside: spike.Beside{Count: 150, DurationS: 1e-3, ThresholdV: 4.33e-3, P95V: c.p95V}}
		if got := moreBeside(&found, 1e-3); got != c.more {
			t.Errorf("peaks of %g V beside the cycle: %v, want %v", c.p95V, got, c.more)
		}
		rec := &record{tr: &capture.Trace{Volts: make([]float64, 1000), SampleRateHz: 1e6}}
		found.Count = 0
		if s := absentSpikes(rec, switching{spikes: found}, false).summary; s.PerS.LowerBound != c.more {
			t.Errorf("peaks of %g V beside the cycle and none in it: %+v", c.p95V, s.PerS)
		}
	}
}
