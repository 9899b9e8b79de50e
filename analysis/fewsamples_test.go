package analysis_test

import (
	"math"
	"testing"
)

// A ring of 20 MHz at 25 MS/s tops the threshold in the cycles in which a sample hits it:
// the count's ± reaches to one at both edges of every cycle, as the clock has them (twice
// 160 kHz), and narrows as the rings grow.
func TestSpikesThatFewSamplesHit(t *testing.T) {
	for _, jitter := range []float64{2e-3, 1e-2} {
		last := math.Inf(1)
		for _, ringV := range []float64{4e-3, 6e-3, 10e-3} {
			m := measured(t, sampledClock(160e3, 25e6, jitter, ringV, 50_000))
			f := m.Spikes.PerS
			if !f.Known || math.Abs(f.Value-320e3) > f.U || f.U >= last || f.U > 0.5*f.Value || m.Spikes.PerCycle.Value > 2.01 {
				t.Errorf("rings of %g V: %+v a second, %+v a cycle", ringV, f, m.Spikes.PerCycle)
			}
			last = f.U
		}
	}
}
