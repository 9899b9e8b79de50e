package target

import (
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Cycles that meet the sampling at a few places only show the same samples of every
// spike: its peak may lie between them in all of them.
func TestPlacesOfTheSampling(t *testing.T) {
	for _, c := range []struct {
		samples, cycles float64
		many            bool
	}{
		{1000, 200, false},    // a whole number
		{1000.5, 200, false},  // two places
		{1000.25, 200, false}, // four
		{1000.1, 200, true},
		{1000.001, 200, false}, // drifts by a fifth of a sample in all
		{1000.01, 200, true},   // by two
		{1000.381966, 200, true},
		{0, 200, false},
	} {
		if got := manyPlaces(c.samples, c.cycles); got != c.many {
			t.Errorf("%g samples a cycle over %g cycles: %v", c.samples, c.cycles, got)
		}
	}
}

// Which counts a caution doubts: those of both edges of every cycle can't miss any.
func TestCountsThatCautionsDoubt(t *testing.T) {
	for _, c := range []struct {
		name           string
		perCycle       figure.Figure
		count, strays  int
		differ, coarse float64
	}{
		{"both edges", figure.Known(2.0), 400, 0, 0, 0},
		{"three a cycle", figure.Known(3.0), 600, 10, 0, 0},
		{"one edge", figure.Known(1.0), 200, 0, miscountedDB, unboundedDB},
		{"many beside the edges", figure.Known(2.0), 400, 50, miscountedDB, unboundedDB},
		{"no cycle", figure.NotMeasured("none"), 400, 0, miscountedDB, unboundedDB},
		{"at least", figure.Figure{Known: true, Value: 2, LowerBound: true}, 400, 0, miscountedDB, unboundedDB},
	} {
		m := &analysis.Measurement{}
		m.Spikes.PerCycle, m.Spikes.Count, m.Spikes.Random = c.perCycle, c.count, c.strays
		cr, _ := lookup(SpikeRate)
		differ, up := marginShift(capture.CautionCyclesDiffer, cr, m, figure.Known(1e5))
		coarse, _ := marginShift(capture.CautionUndersampled, cr, m, figure.Known(1e5))
		if differ != c.differ || up != miscountedDB || coarse != c.coarse {
			t.Errorf("%s: cycles differ %g and %g dB, coarse %g dB; want %g, %g and %g", c.name, differ, up, coarse, c.differ, miscountedDB, c.coarse)
		}
	}
}
