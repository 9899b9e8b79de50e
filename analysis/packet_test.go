package analysis

import (
	"context"
	"math"
	"testing"

	"stillglow/capture"
)

// A record that holds a single packet of a supply at light load, seven cycles of a
// triangle with a ring at each of their edges, shows no clock. What is counted there is a
// lower bound, and said to be. Single rings in silence are counted as they are.
func TestPartOfAPacket(t *testing.T) {
	const rate, hz = 250e6, 1.51e6
	ring := func(s, hz, q float64) float64 {
		if s < 0 {
			return 0
		}
		return 10e-3 * math.Exp(-math.Pi*hz/q*s) * math.Sin(2*math.Pi*hz*s)
	}
	for name, c := range map[string]struct {
		volts  func(s float64) float64
		spikes float64
		packet bool
	}{
		"seven cycles": {func(s float64) (v float64) {
			if s < 7/hz {
				_, phase := math.Modf(s * hz)
				v = 15e-3 * (math.Abs(2*phase-1) - 0.5)
			} else {
				v = 7.5e-3 * math.Exp(-(s-7/hz)/30e-6)
			}
			for k := range 14 {
				v += ring(s-float64(k)/2/hz, 20e6, 3)
			}
			return v
		}, 14, true},
		"two rings": {func(s float64) float64 { return ring(s-9e-6, 5e6, 10) + ring(s-55e-6, 5e6, 10) }, 2, false},
	} {
		t.Run(name, func(t *testing.T) {
			const n = 25_000
			m, err := Measure(context.Background(), tracedBy(n, rate, 100e-6, c.volts), Setup{})
			if err != nil {
				t.Fatal(err)
			}
			if m.HasCaution(capture.CautionSpikesInRipple) != c.packet || m.Spikes.PerS.LowerBound != c.packet {
				t.Errorf("cautions %v, %v spikes a second, a lower bound: %v; want %v", m.Cautions, m.Spikes.PerS, m.Spikes.PerS.LowerBound, c.packet)
			}
			if count := m.Spikes.PerS.Value * n / rate; !c.packet && math.Abs(count-c.spikes) > 0.01 || count > c.spikes {
				t.Errorf("%.3g spikes, want %g", count, c.spikes)
			}
		})
	}
}
