package cycle

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Samples fall on q places of the cycle where it lasts p/q samples and they do not
// drift apart over the record.
func TestPlacesOfACommensurateClock(t *testing.T) {
	const samples = 50000
	for _, c := range []struct{ rateHz, hz, placesHz float64 }{
		{10e6, 100e3, 10e6}, // 100 samples to a cycle
		{5e6, 60e3, 15e6},   // 250 to three
		{5e6, 80e3, 10e6},   // 125 to two
		{10e6, 100e3 * (1 + 1e-7), 10e6},
		{10e6, 100e3 * math.Sqrt(1.1), 0},
	} {
		tr := Track{Kind: Fixed, Hz: c.hz}
		got := tr.placesHz(samples, c.rateHz)
		if c.placesHz == 0 && got != 0 && got < 1e9 || c.placesHz > 0 && math.Abs(got/c.placesHz-1) > 1e-6 {
			t.Errorf("%g Hz at %g S/s: %g places a second, want %g", c.hz, c.rateHz, got, c.placesHz)
		}
	}
	if got := (&Track{Kind: Dithered, Hz: 100e3}).placesHz(samples, 10e6); got != 0 {
		t.Errorf("a clock that wanders: %g places a second", got)
	}
}

// A ring above half the sample rate is sampled alike only every third cycle of 60 kHz
// at 10 MS/s, 500 samples: the ripple tells that the clock runs at 60 and not at 20 kHz.
func TestClockSampledAtFewPlaces(t *testing.T) {
	const rateHz, hz, n = 10e6, 60e3, 50000
	in := cyclesOf(n, rateHz, hz)
	for i := range in.Volts {
		after := math.Mod(float64(i)/rateHz*hz+0.13, 1) / hz
		in.Volts[i] += 30e-3 * math.Exp(-after/60e-9) * math.Sin(2*math.Pi*33.1e6*after)
	}
	f := Find(in)
	if f.Track == nil || math.Abs(f.Track.Hz-hz) > 1 {
		t.Fatalf("found as %+v", f.Track)
	}
	if math.Abs(f.PlacesHz/(3*rateHz)-1) > 1e-3 || f.FastShare < 0.01 {
		t.Errorf("%g places a second, %.3f of the power above an eighth of the rate", f.PlacesHz, f.FastShare)
	}
}

// cyclesOf is a record of straight-sided cycles of 10 mV at hz in noise.
func cyclesOf(n int, rateHz, hz float64) Input {
	r := rand.New(rand.NewPCG(4, 17))
	in := Input{Volts: make([]float64, n), RateHz: rateHz, HighHz: 0.4 * rateHz}
	for i := range in.Volts {
		v := math.Mod(float64(i)/rateHz*hz, 1)
		if v > 0.4 {
			v = (1 - v) / 0.6
		} else {
			v /= 0.4
		}
		in.Volts[i] = 10e-3*(v-0.5) + 2e-4*r.NormFloat64()
		in.MeanV += in.Volts[i] / float64(n)
	}
	return in
}
