package cycle

import (
	"math"
	"testing"
)

// A ring fitted a hundred times too tall leaves tails that the samples do not hold: what
// is then over at the other edges is no transient of theirs (elementary: what a sum and
// its parts reach is bounded by what the parts reach).
func TestNoTransientBeyondTheFold(t *testing.T) {
	const bins, period = 256, 2e-6
	at := func(ringV float64) []Transient {
		f := &Fold{Bins: bins, Mean: make([]float64, bins)}
		c := &Model{Bins: bins, PeriodS: period, Smooth: make([]float64, bins)}
		fitted := Ring{Hz: 8e6, alpha: 1e6, s: ringV}
		c.Edges = []Edge{{Phase: 0.1, gate: 4, HasRing: true, Ring: fitted}, {Phase: 0.6, gate: 4}}
		for k := range f.Mean {
			since := math.Mod((float64(k)+0.5)/bins+0.9, 1) * period
			for ; since < 8*period; since += period { // what is left of the cycles before
				f.Mean[k] += 0.02 * math.Exp(-1e6*since) * math.Sin(2*math.Pi*8e6*since)
			}
			if d := float64(k) - 0.6*bins; d >= 0 && d < 8 {
				f.Mean[k] += 0.01 // the second edge's pulse
			}
		}
		return Transients(f, c, 1e-6)
	}
	if list := at(0.02); len(list) != 2 || math.Abs(list[1].PeakV-0.01) > 0.004 {
		t.Errorf("rings as they are: %v, want the ring and a pulse of about 10 mV", list)
	}
	for _, tr := range at(2) {
		if math.Abs(tr.PeakV) > 0.1 {
			t.Errorf("a transient of %g V in a fold of 40 mV", tr.PeakV)
		}
	}
}
