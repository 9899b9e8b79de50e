package spike

import (
	"math"
	"testing"

	"stillglow/analysis/cycle"
)

// rampsAndRing is a cycle of 4 µs in 1024 bins: a triangle with a step of 2 mV and,
// on it, a ring of 9 MHz of the given volts.
func rampsAndRing(ringV float64) *cycle.Model {
	c := &cycle.Model{Bins: 1024, PeriodS: 4e-6, Smooth: make([]float64, 1024)}
	for i := range c.Smooth {
		x := float64(i) / 1024
		c.Smooth[i] = 20e-3 * math.Abs(x-0.4)
		if d := x - 0.4; d > 0 {
			c.Smooth[i] += 2e-3
			t := d * c.PeriodS
			c.Smooth[i] += ringV * math.Exp(-t/200e-9) * math.Cos(2*math.Pi*9e6*t)
		}
	}
	return c
}

func TestHeldBackTellsRingsFromRipple(t *testing.T) {
	if v, _ := heldBack(rampsAndRing(0)); v > 0.3e-3 {
		t.Errorf("ramps and a step alone swing by %.3g V", v)
	}
	if v, _ := heldBack(rampsAndRing(5e-3)); v < 3e-3 || v > 5.2e-3 {
		t.Errorf("a ring of 5 mV shows as %.3g V", v)
	}
	if v, _ := heldBack(nil); v != 0 {
		t.Error("no model holds something")
	}
}

// A spike's peak counts from the level around it where no cycle is known, a ripple
// above the threshold included.
func TestPeaksFromTheLevelWithoutACycle(t *testing.T) {
	const rate = 250e6
	x := make([]float64, 50e3)
	for i := range x {
		s := float64(i) / rate
		x[i] = 20e-3*math.Abs(2*(s*100e3-math.Floor(s*100e3))-1) + 1e-4*math.Sin(float64(i*i%1009))
		if at := math.Mod(s, 10e-6) - 2.5e-6; at >= 0 && at < 1e-6 {
			x[i] += 8e-3 * math.Exp(-at/100e-9) * math.Sin(2*math.Pi*20e6*at)
		}
	}
	out := Find(&cycle.Residue{Volts: x, RateHz: rate}, nil, rate, 0)
	if out.Count != 20 {
		t.Errorf("%d spikes, want 20", out.Count)
	}
	for _, p := range out.PeaksV {
		if p < 6.2e-3 || p > 7.8e-3 {
			t.Errorf("a peak of %.3g V, want 7 mV", p)
		}
	}
}

// A record of 1 µs on a ramp of 2 mV holds several stretches, and what they differ by
// is what the level may be off by: a corner can't show in it.
func TestLevelOfAMicrosecond(t *testing.T) {
	v := make([]float64, 1000)
	for i := range v {
		v[i] = 2e-3 * float64(i) / 1000
	}
	s := localLevels(v, 1e9)
	if got := cornerV(s); len(s.V) < 3 || got < 0.5e-3 || got > 1e-3 {
		t.Errorf("%d stretches, off by %.2g V", len(s.V), got)
	}
}
