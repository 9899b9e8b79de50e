package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"stillglow/capture"
)

// Mean, rms and extremes are gonum's, of the whole, its parts and its columns, in
// records shorter and longer than the drawing and of lengths that nothing divides.
func TestBasicsOfAnyLength(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 7, 8, 9, 16, 100, waveformColumns - 1, waveformColumns, waveformColumns + 1, 3*waveformColumns + 7} {
		v := make([]float64, n)
		for i := range v {
			v[i] = 7 + r.NormFloat64()
		}
		b := basicsOf(v)
		near := func(what string, got, want float64) {
			if !(math.Abs(got-want) < 1e-12*max(math.Abs(want), 1)) {
				t.Errorf("%d samples: %s %g, want %g", n, what, got, want)
			}
		}
		near("mean", b.mean, stat.Mean(v, nil))
		near("rms", b.rms*b.rms, stat.PopVariance(v, nil))
		near("least", b.min, floats.Min(v))
		near("greatest", b.max, floats.Max(v))
		for p, mean := range b.parts {
			near("a part's mean", mean, stat.Mean(v[p*n/len(b.parts):(p+1)*n/len(b.parts)], nil))
		}
		for c, e := range b.columns {
			of := v[c*n/len(b.columns) : (c+1)*n/len(b.columns)]
			near("a column's least", e.min, floats.Min(of))
			near("a column's greatest", e.max, floats.Max(of))
		}
		record := &record{tr: &capture.Trace{Volts: v}, basic: b}
		var got, want []float64
		inside := func(x float64) bool { return x > 6 && x < 8.5 }
		for stretch := range record.reaching(6, 8.5) {
			got = append(got, slices.DeleteFunc(slices.Clone(stretch), inside)...)
		}
		if want = slices.DeleteFunc(slices.Clone(v), inside); !slices.Equal(got, want) {
			t.Errorf("%d samples: %d reach 6 V or 8.5 V, want %d", n, len(got), len(want))
		}
	}
}
