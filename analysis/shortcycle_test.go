package analysis

import (
	"context"
	"math"
	"testing"
)

// A cycle of under a microsecond through which rings of a few megahertz swing (the
// superposition of a sine and of exponentially damped sines, in closed form): what both
// together are is not stated as ripple. The same sine with rings that die down in a
// tenth of the cycle, or with none, is measured.
func TestRingsOfAWholeShortCycle(t *testing.T) {
	const rate, hz, pp = 50e6, 1.1837e6, 12e-3
	for name, c := range map[string]struct {
		ringHz, q, v float64
		given        bool
	}{
		"no ring":                       {5.3e6, 5, 0, true},
		"rings of a tenth of the cycle": {20e6, 4, 12e-3, true},
		"rings of 4.5 cycles' harmonic": {5.3e6, 5, 14e-3, false},
	} {
		t.Run(name, func(t *testing.T) {
			tau := c.q / (math.Pi * c.ringHz)
			ring := func(s float64) (v float64) { // of this edge and all before it
				for ; s < 9*tau; s += 1 / hz {
					v += c.v * math.Exp(-s/tau) * math.Sin(2*math.Pi*c.ringHz*s)
				}
				return v
			}
			tr := tracedBy(40_000, rate, 100e-6, func(s float64) float64 {
				_, phase := math.Modf(s * hz)
				_, other := math.Modf(s*hz + 0.55)
				return pp/2*math.Sin(2*math.Pi*phase) + ring(phase/hz) - 0.8*ring(other/hz)
			})
			m, err := Measure(context.Background(), tr, Setup{})
			if err != nil {
				t.Fatal(err)
			}
			within(t, "switching frequency", m.SwitchingHz, hz, 1e-4)
			if r := m.RipplePPV; c.given {
				within(t, "ripple", r, pp, 0.1)
			} else if r.Known && math.Abs(r.Value-pp) > r.U {
				t.Errorf("ripple of %.3g ± %.2g V, want %.3g inside or none", r.Value, r.U, pp)
			}
		})
	}
}
