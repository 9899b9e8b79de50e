package capture

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture/synth/testrun"
)

// noisy is a ripple of one volt with noise of a share of it, seen by an ADC of so
// many steps over two volts.
func noisy(n int, noise, steps float64, seed uint64) *Trace {
	r := rand.New(rand.NewPCG(seed, 1))
	t := &Trace{Volts: make([]float64, n)}
	for i := range t.Volts {
		v := math.Sin(2*math.Pi*float64(i)/120) + noise*r.NormFloat64()
		t.Volts[i] = math.Round(v*steps/2) / (steps / 2)
	}
	return t
}

// saved is the record times a factor on an offset, rounded to a digit.
func (t *Trace) saved(by, offset, digit float64) *Trace {
	out := &Trace{Volts: make([]float64, len(t.Volts))}
	for i, v := range t.Volts {
		out.Volts[i] = math.Round((v*by+offset)/digit) * digit
	}
	return out
}

func TestFingerprintFindsCopies(t *testing.T) {
	for _, n := range []int{100, 1200, 1201, 100000} {
		a := noisy(n, 0.02, 256, 1)
		for _, c := range []struct {
			how  string
			copy *Trace
		}{
			{"as it is", noisy(n, 0.02, 256, 1)},
			{"with five digits", a.saved(1, 0, 1e-5)},
			{"in 16 bits", a.saved(1, 0, 2.0/32768)},
		} {
			f, g := a.Fingerprint(), c.copy.Fingerprint()
			if off := f.Shelf() - g.Shelf(); !f.SameSamples(g) || off < -1 || off > 1 {
				t.Errorf("%d samples, a copy %s: not found, %d shelves off", n, c.how, off)
			}
		}
	}
}

// Two records of one signal, triggered at one place, differ by their noise at
// least: by the ADC's steps where there is no other.
func TestFingerprintTellsRepeatsApart(t *testing.T) {
	for _, n := range []int{100, 1200, 100000} {
		for _, noise := range []float64{0.005, 0.02, 1} {
			seeds := 38
			if n > 10000 {
				seeds = testrun.Short(38, 5)
			}
			for seed := range uint64(seeds) {
				a, b := noisy(n, noise, 256, seed+2), noisy(n, noise, 256, seed+102)
				if a.Fingerprint().SameSamples(b.Fingerprint()) {
					t.Errorf("%d samples, noise %g: repeats taken for one record", n, noise)
				}
			}
		}
	}
	// Another supply of the same shape, as a simulator gives it, is no copy.
	for _, c := range []struct{ by, offset float64 }{{1.01, 0}, {2, 0}, {10, 0}, {1, 0.1}} {
		if a := noisy(1200, 0, 1e9, 1); a.Fingerprint().SameSamples(a.saved(c.by, c.offset, 1e-9).Fingerprint()) {
			t.Errorf("%g times the volts and %g V more taken for the same samples", c.by, c.offset)
		}
	}
	// Records of few steps with one step somewhere, as a quiet input shows them.
	at := func(i int) *Trace { t := &Trace{Volts: make([]float64, 1200)}; t.Volts[i] = 0.04; return t }
	first := at(0).Fingerprint()
	for i := 1; i < 1200; i++ {
		if first.SameSamples(at(i).Fingerprint()) {
			t.Errorf("a step at sample 0 is taken for one at %d", i)
		}
	}
	// What differs is a tone, and the projections are blind to none: not at the rate of
	// their blocks either, nor at the lowest.
	for _, hz := range []float64{0.5 / 100000, 1e-3, 1.0 / 256, 1.0 / 128, 1.0 / 64, 0.1, 0.25, 0.4999} {
		a, b := noisy(100000, 0.02, 1e9, 1), noisy(100000, 0.02, 1e9, 1)
		for i := range b.Volts {
			b.Volts[i] += 5e-3 * math.Sin(2*math.Pi*hz*float64(i)+1)
		}
		if a.Fingerprint().SameSamples(b.Fingerprint()) {
			t.Errorf("with a tone of 0.5 %% at %g of the rate more a record is taken for the same", hz)
		}
	}
	for _, v := range []float64{0, 7, 0.1} {
		for _, n := range []int{1000, 5_000_000} { // of which a plain sum is off by more than rounding
			flat := &Trace{Volts: make([]float64, n)}
			for i := range flat.Volts {
				flat.Volts[i] = v
			}
			if flat.Fingerprint() != (Fingerprint{}) {
				t.Errorf("a record of nothing but %g V, %d times, has samples to be told by", v, n)
			}
		}
	}
}
