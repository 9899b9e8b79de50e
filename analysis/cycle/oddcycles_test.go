package cycle

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture/synth/testrun"
)

// TestOddCyclesStayWithinTheFold draws cycles of every shape and checks that no
// figure leaves what the cycle itself shows.
func TestOddCyclesStayWithinTheFold(t *testing.T) {
	for seed := range uint64(testrun.Short(200, 30)) {
		r := rand.New(rand.NewPCG(seed, 77))
		bins := 128 << r.IntN(3)
		period := 1 / (25e3 * math.Pow(16, r.Float64()))
		f := &Fold{Bins: bins, Count: make([]float64, bins), place: make([]float64, bins),
			Mean: make([]float64, bins), VarianceV2: make([]float64, bins), Cycles: 200}
		f.SigmaV = math.Pow(10, -4+3*r.Float64())
		duty, ripple, step := 0.1+0.8*r.Float64(), math.Pow(10, -3+2*r.Float64()), 0.0
		if r.IntN(2) == 0 {
			step = ripple * r.Float64()
		}
		per := 1.5 + 30*r.Float64() // ring's periods in the cycle
		q := 0.6 + 20*r.Float64()*r.Float64()
		size := math.Pow(10, -3+3*r.Float64()) * float64(r.IntN(3)) / 2
		kind := r.IntN(5)
		for i := range bins {
			x := (float64(i) + 0.5) / float64(bins)
			v := ripple * (0.5 - (x-duty)/(1-duty))
			if x < duty {
				v = ripple*(x/duty-0.5) + step
			}
			switch kind {
			case 1: // a sine
				v = ripple * math.Sin(2*math.Pi*x)
			case 2: // nothing but rings
				v = 0
			case 3: // a square wave
				v = math.Copysign(ripple, duty-x)
			}
			for _, on := range [2]float64{0, duty} {
				for wrap := range 4 {
					if d := x - on + float64(wrap); d >= 0 {
						v += size * math.Exp(-math.Pi*per*d/q) * math.Cos(2*math.Pi*per*d) * (1 - 2*on)
					}
				}
			}
			if kind == 4 && i%37 == 5 {
				v += size
			}
			f.Count[i], f.place[i] = 50, 0.5
			f.Mean[i] = v + f.SigmaV/math.Sqrt(50)*r.NormFloat64()
			f.VarianceV2[i] = f.SigmaV * f.SigmaV
		}
		c := modelCycle(f, period, float64(bins)/period/2, 0.4*float64(bins)/period/2, 0)
		lo, hi := Extremes(f.Mean)
		limit := 1.02*(hi-lo) + 4*c.BinSigmaV
		for name, v := range map[string]float64{"ripple": c.PPV, "rms": c.RMSV, "deviation": c.PPSigmaV, "left": c.RingLeft, "left volts": c.residualRingV} {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Fatalf("seed %d: %s %g", seed, name, v)
			}
		}
		if c.PPV > limit {
			t.Errorf("seed %d: ripple %g over the cycle's own %g", seed, c.PPV, hi-lo)
		}
		if c.RMSV > c.PPV {
			t.Errorf("seed %d: ripple rms %g over its peak-to-peak %g", seed, c.RMSV, c.PPV)
		}
		a, b := Extremes(c.Smooth)
		if !(b-a <= limit) {
			t.Errorf("seed %d: smooth cycle of %g over the cycle's own %g", seed, b-a, hi-lo)
		}
		for _, e := range c.Edges {
			if !(math.Abs(e.peakV) <= limit) || e.Phase < 0 || e.Phase >= 1 {
				t.Errorf("seed %d: edge at %g of %g V in a cycle of %g", seed, e.Phase, e.peakV, hi-lo)
			}
		}
	}
}
