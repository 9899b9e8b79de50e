package cycle

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture/synth/testrun"
)

// truePPV is the ripple of the triangles of walking.
const truePPV = 0.01

// walking is a triangle of truePPV whose periods differ at random by the share jitter,
// with the cycles that each second of it holds on the mean.
func walking(n int, rateHz, hz, jitter float64, r *rand.Rand) (in Input, meanHz float64) {
	in = Input{Volts: make([]float64, n), RateHz: rateHz, HighHz: 0.4 * rateHz}
	start, period := -r.Float64()/hz, 1/hz
	k := 0.0
	phase := func(t float64) float64 { return k + (t-start)/period }
	first := phase(0)
	for i := range in.Volts {
		t := float64(i) / rateHz
		for t >= start+period {
			start += period
			period = (1 + jitter*r.NormFloat64()) / hz
			k++
		}
		x := (t - start) / period
		v := x / 0.4
		if x >= 0.4 {
			v = (1 - x) / 0.6
		}
		in.Volts[i] = truePPV*v + 2e-4*r.NormFloat64()
		in.MeanV += in.Volts[i] / float64(n)
	}
	return in, (phase(float64(n)/rateHz) - first) * rateHz / float64(n)
}

// A clock that walks leaves frequency and ripple of a short record less sure than its
// noise does, and their deviations say so; those of a steady one stay sharp.
func TestFiguresKnowOfAWalkingClock(t *testing.T) {
	const rateHz, n = 50e6, 15000
	inside, all, rippleInside := 0, 0, 0
	draws := testrun.Short(24, 12)
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 21))
		hz := 60e3 * math.Pow(4, r.Float64())
		in, meanHz := walking(n, rateHz, hz, 0.04, r)
		f := Find(in)
		if f.Track == nil {
			continue
		}
		all++
		if math.Abs(f.Track.Hz-meanHz) <= 2*f.Track.SigmaHz {
			inside++
		}
		if math.Abs(f.Model.PPV-truePPV) < 2*math.Hypot(f.Model.PPDoubtV, f.Model.PPSigmaV)+0.03*truePPV {
			rippleInside++
		}
		in, meanHz = walking(n, rateHz, hz, 0, r)
		if f = Find(in); f.Track == nil || math.Abs(f.Track.Hz-meanHz) > 3*f.Track.SigmaHz {
			t.Errorf("seed %d: steady %g Hz found as %+v", seed, meanHz, f.Track)
		} else if f.Model.PPDoubtV > 0.05*truePPV {
			t.Errorf("seed %d: the ripple of a steady clock is in doubt by %.2g V of %.2g", seed, f.Model.PPDoubtV, f.Model.PPV)
		} else if slip := f.Track.SigmaHz * n / rateHz; slip > 0.01 {
			t.Errorf("seed %d: the frequency of a steady clock is unsure by %.3f cycles over the record", seed, slip)
		}
	}
	if all < draws*20/24 || inside < all*8/10-testrun.Short(0, 2) { // of few, two more by chance
		t.Errorf("of %d walking clocks %d were found, %d within two standard deviations", draws, all, inside)
	}
	if rippleInside < all*9/10 {
		t.Errorf("of %d ripples of walking clocks %d are within their doubt", all, rippleInside)
	}
}

// Cycles that differ by two in a thousand are too alike to be followed, and yet over a
// long record their phase walks: the slope of its line is not the mean rate, and the
// deviation holds the difference.
func TestFrequencyOfALongRecordHoldsItsWalk(t *testing.T) {
	const rateHz, n = 2.5e6, 20000
	draws, inside := testrun.Short(20, 8), 0
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 21))
		hz := 60e3 * math.Pow(4, r.Float64())
		in, meanHz := walking(n, rateHz, hz, 0.002, r)
		if f := Find(in); f.Track != nil && math.Abs(f.Track.Hz-meanHz) <= 2*f.Track.SigmaHz {
			inside++
		}
		in, _ = walking(n, rateHz, hz, 0, r)
		if f := Find(in); f.Track == nil || f.Track.SigmaHz*n/rateHz > 2e-3 {
			t.Errorf("seed %d: the frequency of a steady clock is unsure: %+v", seed, f.Track)
		}
	}
	if inside < draws*8/10 {
		t.Errorf("of %d walking clocks %d are within two standard deviations", draws, inside)
	}
}

// What noise of low frequency leaves in a mean cycle of few cycles is as large as the
// remainder foretells: the fundamental of the same ripple scatters by it from record to
// record.
func TestNoiseLeftInTheMeanCycle(t *testing.T) {
	const rateHz, hz, n = 50e6, 62.3e3, 40000
	var sum, square, foretold float64
	draws := float64(testrun.Short(30, 12))
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 5))
		in, _ := walking(n, rateHz, hz, 0, r)
		slow := 0.0
		for i := range in.Volts {
			slow += r.NormFloat64() - 0.02*slow // a pole at 160 kHz
			in.Volts[i] += 2e-4 * slow
		}
		in.MeanV = 0
		for _, v := range in.Volts {
			in.MeanV += v / n
		}
		f := Find(in)
		if f.Track == nil {
			t.Fatalf("seed %d: no cycle is found", seed)
		}
		re, im := 0.0, 0.0
		for i, v := range f.Fold.Mean {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(f.Fold.Bins))
			re, im = re+v*cos, im+v*sin
		}
		v := math.Hypot(re, im) * math.Sqrt2 / float64(f.Fold.Bins)
		sum, square = sum+v, square+v*v
		foretold += f.leftSigmaV(f.holdAgainst(in), 1) / math.Sqrt2 / draws
	}
	scatter := math.Sqrt(square/draws - sum*sum/draws/draws)
	if scatter < 0.6*foretold || scatter > 1.6*foretold {
		t.Errorf("the fundamental scatters by %.3g V, foretold %.3g V", scatter, foretold)
	}
}
