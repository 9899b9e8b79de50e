package cycle

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture/synth/testrun"
)

// sawRecord is a sawtooth of 10 mV at hz, each cycle fired or not as fire says, on a
// level that falls as much on the mean as fired cycles lift it, in white noise.
func sawRecord(n int, rateHz, hz, noiseV float64, r *rand.Rand, fire func() bool) Input {
	const liftV = 0.01
	shots := make([]bool, int(float64(n)*hz/rateHz)+2)
	fired := 0
	for i := range shots {
		if shots[i] = fire(); shots[i] {
			fired++
		}
	}
	fall := liftV * float64(fired) / float64(len(shots)) // a cycle
	in := Input{Volts: make([]float64, n), RateHz: rateHz, HighHz: 0.4 * rateHz}
	level := 0.0
	last := -1
	for i := range in.Volts {
		at := float64(i) * hz / rateHz
		if k := int(at); k > last {
			last = k
			if shots[k] {
				level += liftV
			}
		}
		in.Volts[i] = level - fall*at + noiseV*r.NormFloat64()
		in.MeanV += in.Volts[i] / float64(n)
	}
	return in
}

// A regular cycle explains the record, in whatever white noise; one that is fired
// at random does not, and the fold of it is no ripple.
func TestExplainedTellsSkippedCycles(t *testing.T) {
	for seed := range uint64(testrun.Short(6, 3)) {
		r := rand.New(rand.NewPCG(seed, 5))
		hz := 60e3 * math.Pow(5, r.Float64())
		for _, noiseV := range []float64{1e-4, 3e-3, 1e-2} {
			f := Find(sawRecord(50000, 10e6, hz, noiseV, r, func() bool { return true }))
			if f.Track == nil {
				t.Fatalf("seed %d, noise %g V: no cycle found", seed, noiseV)
			}
			if f.Explained < 0.7 {
				t.Errorf("seed %d, noise %g V: the only cycle explains %.2f of the record", seed, noiseV, f.Explained)
			}
		}
		in := sawRecord(50000, 10e6, hz, 1e-4, r, func() bool { return r.Float64() < 0.35 })
		if f := Find(in); f.Track != nil && f.Explained > 0.3 {
			t.Errorf("seed %d: cycles skipped at random: the one at %g Hz (clock %g) explains %.2f", seed, f.Track.Hz, hz, f.Explained)
		}
	}
}
