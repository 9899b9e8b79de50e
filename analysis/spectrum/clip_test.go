package spectrum

import (
	"iter"
	"math"
	"slices"
	"testing"

	"stillglow/analysis/internal/reference"
)

func clippedEnds(v []float64, stepV float64) (low, high int) {
	whole := func(_, _ float64) iter.Seq[[]float64] { return slices.Values([][]float64{v}) }
	if len(v) == 0 {
		return Clipped(whole, 0, 0, stepV)
	}
	return Clipped(whole, slices.Min(v), slices.Max(v), stepV)
}

func TestClipped(t *testing.T) {
	const step = 0.1 / 256
	mk := func(limit float64) []float64 {
		x := reference.WhiteNoise(50000, 0.0005, 8)
		for i := range x {
			x[i] = math.Min(limit, x[i]+0.04*math.Sin(2*math.Pi*float64(i)/333.3))
		}
		return quantise(x, step)
	}
	if lo, hi := clippedEnds(mk(1), step); lo != 0 || hi != 0 {
		t.Errorf("a whole sine is called clipped: %d, %d", lo, hi)
	}
	if lo, hi := clippedEnds(mk(0.03), step); lo != 0 || hi < 1000 {
		t.Errorf("a sine cut at three quarters: %d, %d", lo, hi)
	}
	floored := mk(0.03)
	for i := range floored {
		floored[i] = -floored[i]
	}
	if lo, hi := clippedEnds(floored, step); lo < 1000 || hi != 0 {
		t.Errorf("a sine cut at the bottom: %d, %d", lo, hi)
	}
}
