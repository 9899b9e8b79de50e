package analysis

import (
	"math"
	"slices"
	"testing"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
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

// What the reading beside the cycle leaves room for: the spikes it saw, its own level
// and the noise taken off them made up for. The peaks in the cycle are an upper figure
// then, and not pressed under the true ones, here 4.5 mV.
func TestPeaksSeenBesideButDimly(t *testing.T) {
	read := func(count int, byCycleV float64) peakSet {
		b := spike.Beside{Count: count, DurationS: 1e-3, SigmaV: 0.2e-3, ThresholdV: 3.2e-3, P95V: 3.7e-3, MaxV: 3.8e-3}
		found := spike.Finding{SigmaV: 0.1e-3, ThresholdV: 0.6e-3, Templates: make([]cycle.Transient, 1), Beside: b}
		for range 100 {
			found.PeaksV = append(found.PeaksV, byCycleV)
		}
		return peakReadings(&found, 0, 0)
	}
	if p := read(60, 4.5e-3); !p.upper || p.top.value < 4.45e-3 || p.p95.value < 4.45e-3 {
		t.Errorf("60 seen, dimly: %+v", p)
	}
	if p := read(60, 8e-3); !p.upper || p.top.value > 4.8e-3 {
		t.Errorf("60 seen, and none of 8 mV: %+v", p)
	}
	if p := read(1, 4.5e-3); !p.upper || p.top.value > 3.8e-3 {
		t.Errorf("one chance peak: %+v", p)
	}
}

// What is read beside the cycle is drawn together by the noise's own scatter before,
// and the upper of them lifted by one more deviation of it, the tallest by two.
func TestNoiseLiftsPeaksOnce(t *testing.T) {
	p95, top := besideReadings(spike.Beside{SigmaV: 0.2e-3, P95V: 4e-3, MaxV: 4.4e-3})
	if math.Abs(p95.value-3.8e-3) > 1e-9 || math.Abs(top.value-4e-3) > 1e-9 || p95.deviation < 0.4e-3 {
		t.Errorf("%+v, %+v", p95, top)
	}
}

// The quantile of a few peaks, half of them of the lesser edge, may lie anywhere up to
// the tallest; of many it is sharp.
func TestUpperPeaksOfFew(t *testing.T) {
	for _, n := range []int{8, 14, 400} {
		var peaks []float64
		for i := range n {
			switch {
			case i%2 == 0:
				peaks = append(peaks, 4e-3)
			case i == 1 || i >= n/2+1:
				peaks = append(peaks, 12.2e-3)
			default:
				peaks = append(peaks, 9e-3)
			}
		}
		slices.Sort(peaks)
		peaks[n-1] = 12.6e-3
		r := quantileReading(peaks, upperPeaks, 0, 0)
		if n < 40 && r.value+r.deviation < 12.6e-3-1e-9 {
			t.Errorf("%d peaks: %+v leaves the tallest out", n, r)
		}
		if n == 400 && r.deviation > 0.1e-3 {
			t.Errorf("%d peaks: %+v is vague", n, r)
		}
	}
}

// Where no cycle is known, the level under the events is as unsure as the lines
// between medians pass by the ripple's corners.
func TestPeaksOnALevelThatCutsCorners(t *testing.T) {
	found := spike.Finding{SigmaV: 0.2e-3, LevelSlackV: 1.2e-3, ThresholdV: 2.4e-3, PeaksV: []float64{12e-3, 12.1e-3, 12.2e-3, 12.4e-3}, OffEdge: make([]spike.Event, 4)}
	if f := peakReadings(&found, 0, 0); f.top.deviation < 1.2e-3 || f.p95.deviation < 1.2e-3 {
		t.Errorf("top %+v, p95 %+v", f.top, f.p95)
	}
}

// What stands out for a microsecond at no edge of a known cycle is a part of ripples
// that differ, and its height no more than an upper figure of the spikes.
func TestLongEventsAreNoSpikes(t *testing.T) {
	for _, c := range []struct {
		durationS float64
		upper     bool
	}{{0.9e-6, true}, {60e-9, false}} {
		found := spike.Finding{SigmaV: 0.1e-3, ThresholdV: 0.6e-3, Count: 6}
		for i := range 6 {
			found.PeaksV = append(found.PeaksV, 6e-3)
			e := spike.Event{TimeS: float64(i) * 13e-6, PeakV: 6e-3, DurationS: c.durationS, Class: spike.Random}
			found.Events, found.OffEdge = append(found.Events, e), append(found.OffEdge, e)
		}
		sw := switching{shown: true, spikes: found, Finding: cycle.Finding{Track: &cycle.Track{Hz: 76e3, Pieces: []cycle.Piece{{To: 7000, PerSample: 76e3 / 62.5e6}}}}}
		rec := &record{tr: &capture.Trace{Volts: make([]float64, 7000), SampleRateHz: 62.5e6, Span: capture.Span{HighHz: 25e6}}, setup: Setup{GainFraction: 0.03}}
		if s := spikeFigures(rec, sw, figure.Figure{}, 0).summary; s.PeakP95V.UpperBound != c.upper {
			t.Errorf("events of %g s: %+v", c.durationS, s.PeakP95V)
		}
	}
}

// An upper figure holds what the level may have taken off.
func TestUpperPeaksHoldTheLevel(t *testing.T) {
	found := spike.Finding{SigmaV: 0.1e-3, LevelSlackV: 0.3e-3, ThresholdV: 0.9e-3, PeaksV: []float64{1e-3}, OffEdge: make([]spike.Event, 1)}
	if p := peakReadings(&found, 0, 0); !p.upper || p.top.value < 1.39e-3 {
		t.Errorf("%+v", p)
	}
}

// Two readings that agree within what each is sure of still lie apart, and the ±
// holds half of that.
func TestReadingsApart(t *testing.T) {
	r := reading{5.3e-3, 0.4e-3}.between(reading{4.8e-3, 0.5e-3})
	if r.value != 5.3e-3 || r.deviation < math.Hypot(0.4e-3, 0.25e-3)-1e-9 || r.deviation > 0.5e-3 {
		t.Errorf("%+v", r)
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
