package cycle

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The power of a fold made for it alone is that of a whole fold.
func TestPowerFolds(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	const n, per = 20000, 0.00123
	volts := make([]float64, n)
	for i := range volts {
		volts[i] = 5 + 1e-5*float64(i) + math.Abs(math.Remainder(per*float64(i), 1)) + 0.1*r.NormFloat64()
	}
	track := func(per float64) *Track {
		return &Track{Kind: Fixed, Hz: per, Pieces: []Piece{{0, n, 0, per}}}
	}
	slow := newSlowPart(volts, track(per))
	folds := newPowerFolds(volts, track(per), slow)
	for _, f := range []float64{per, per * 1.001, per * 0.99} {
		want := foldOnly(volts, track(f), slow).Power()
		if got := folds.at(f); math.Abs(got-want) > 1e-10*want {
			t.Errorf("%g cycles a sample: %g V², want %g", f, got, want)
		}
	}
}
