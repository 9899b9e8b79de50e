package cycle

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture/synth/testrun"
)

// ringingTriangle is a triangle at hz whose edges ring, as an unfiltered sampler takes it:
// volts at even times, alternate the share by which every second cycle's on time
// is longer and the others' shorter.
func ringingTriangle(n int, rateHz, hz, ringHz, ringV, alternate float64, r *rand.Rand) Input {
	const ppV, q = 0.01, 10
	in := Input{Volts: make([]float64, n), RateHz: rateHz, HighHz: 0.4 * rateHz}
	duty := 0.3 + 0.4*r.Float64()
	ring := func(s float64) float64 { // s after an edge
		return ringV * math.Sin(2*math.Pi*ringHz*s) * math.Exp(-math.Pi*ringHz*s/q)
	}
	for i := range in.Volts {
		at := float64(i) / rateHz * hz
		k := math.Floor(at)
		d := duty * (1 + alternate*math.Cos(math.Pi*k))
		x := at - k
		v := ppV * (x/d - 0.5)
		if x >= d {
			v = ppV * (0.5 - (x-d)/(1-d))
			v -= 0.6 * ring((x-d)/hz)
		}
		v += ring(x / hz)
		in.Volts[i] = v + 1e-4*r.NormFloat64()
		in.MeanV += in.Volts[i] / float64(n)
	}
	return in
}

// Rings far above half the rate fold into lines all over the spectrum and into
// spikes of single samples that only correlate over several cycles. The cycle is
// the one that explains the record, never its half or a line by chance.
func TestAliasedRingsDoNotMoveTheClock(t *testing.T) {
	const rateHz = 5e6
	for seed := range uint64(testrun.Short(13, 6)) {
		r := rand.New(rand.NewPCG(seed, 11))
		hz, ringHz := 60e3*math.Pow(6, r.Float64()), 12e6*math.Pow(4, r.Float64())
		ringV := 0.01 * math.Pow(6, r.Float64())
		f := Find(ringingTriangle(50000, rateHz, hz, ringHz, ringV, 0, r))
		if f.Track == nil {
			t.Errorf("seed %d: nothing found at %g Hz, ring %g V at %g Hz", seed, hz, ringV, ringHz)
		} else if math.Abs(f.Track.Hz/hz-1) > 1e-4 {
			t.Errorf("seed %d: %g Hz %s for %g, ring %g V at %g Hz, explains %.2f", seed, f.Track.Hz, f.Track.Kind, hz, ringV, ringHz, f.Explained)
		}
	}
}

// Where alternate cycles differ, half of the clock is the cycle; where they don't,
// the clock is.
func TestSubharmonicToldFromHalvedClock(t *testing.T) {
	for seed := range uint64(testrun.Short(4, 2)) {
		r := rand.New(rand.NewPCG(seed, 13))
		hz := 60e3 * math.Pow(6, r.Float64())
		f := Find(ringingTriangle(50000, 20e6, hz, 7e6, 0.004, 0.3, r))
		if f.Track == nil || math.Abs(f.Track.Hz/hz-0.5) > 1e-4 {
			t.Errorf("seed %d: alternate cycles differ at %g Hz: found %+v", seed, hz, f.Track)
		}
		f = Find(ringingTriangle(50000, 20e6, hz, 7e6, 0.004, 0, r))
		if f.Track == nil || math.Abs(f.Track.Hz/hz-1) > 1e-4 {
			t.Errorf("seed %d: even cycles at %g Hz: found %+v", seed, hz, f.Track)
		}
	}
}

// A ring near a harmonic of three times the clock holds nearly all the power, and
// the lines between show the clock all the same; where rings alias, nothing
// stands between the clock's lines, and its half or third is not the cycle.
func TestLinesBetweenAMultiples(t *testing.T) {
	for _, c := range []struct {
		rateHz, hz, ringHz, ringV float64
		k                         int
		stand                     bool
	}{
		{50e6, 134.03e3, 1.2063e6, 0.2, 3, true},
		{50e6, 77.01e3, 1.232e6, 0.2, 2, true},
		{5e6, 443.85e3 / 2, 40.5e6, 0.034, 2, false},
		{5e6, 462.63e3 / 3, 29.5e6, 0.038, 3, false},
		{5e6, 190.17e3 / 5, 20.3e6, 0.05, 5, false},
	} {
		clock := c.hz
		if !c.stand {
			clock *= float64(c.k)
		}
		in := ringingTriangle(50000, c.rateHz, clock, c.ringHz, c.ringV, 0, rand.New(rand.NewPCG(1, 17)))
		track := &Track{Hz: c.hz, Pieces: []Piece{{0, float64(len(in.Volts)), 0, c.hz / c.rateHz}}}
		w := weighing{x: in.Volts, rateHz: c.rateHz}
		stand, ok := w.linesBetween(track, newSlowPart(in.Volts, track), c.k)
		if !ok || stand != c.stand {
			t.Errorf("%+v: stand %v, told %v", c, stand, ok)
		}
		track.Pieces[0].To = 6 / c.hz * c.rateHz
		if _, ok := w.linesBetween(track, newSlowPart(in.Volts, track), c.k); ok {
			t.Errorf("%+v: six cycles tell lines from their neighbours", c)
		}
	}
}

// These two folded better at a half and a third in fine bins, by chance.
func TestBlurredBinsDoNotHalveTheClock(t *testing.T) {
	for _, seed := range []uint64{1014, 1018} {
		r := rand.New(rand.NewPCG(seed, 11))
		hz, ringHz := 400e3*math.Pow(1.25, r.Float64()), 12e6*math.Pow(4, r.Float64())
		f := Find(ringingTriangle(50000, 5e6, hz, ringHz, 0.01*math.Pow(6, r.Float64()), 0, r))
		if f.Track == nil || math.Abs(f.Track.Hz/hz-1) > 1e-4 {
			t.Errorf("seed %d: %g Hz not found", seed, hz)
		}
	}
}
