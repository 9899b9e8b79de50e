package analysis

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"

	"stillglow/analysis/internal/reference"
)

// gated are samples of which the first seven of every hundred are excised.
type gated []float64

func (g gated) Fill(dst []float64, start int) { copy(dst, g[start:]) }

func (g gated) Weights(w []float64, start int) {
	for i := range w {
		w[i] = 1
		if (start+i)%100 < 7 {
			w[i] = 0
		}
	}
}

// Sums taken block by block are those of gonum's stat over the whole stretch at once, on
// 5 V of DC, whatever part of a block the stretch ends in, whatever the lags and groups.
func TestRepeatSums(t *testing.T) {
	x := gated(reference.WhiteNoise(40000, 1e-3, 5))
	for i := range x {
		x[i] += 5 + 1e-3*math.Sin(2*math.Pi*float64(i)/777)
	}
	w := make([]float64, len(x))
	x.Weights(w, 0)
	for _, c := range []struct{ from, n, lag, group int }{
		{0, 40000, 777, 1}, {100, 30000, 50, 7}, {3, repeatBlock, 10, 3}, {0, repeatBlock + 1, 4000, 64}, {11, 29000, 12000, 100}, {5, 90, 4, 8},
	} {
		s := repeatSums{group: c.group, lags: [...]lagSums{{lag: c.lag}, {lag: 2 * c.lag}}}
		s.read(x.Fill, x.Weights, c.from, c.n)
		part, weights := x[c.from:c.from+c.n], w[c.from:c.from+c.n]
		mean := stat.Mean(part, weights)
		near := func(what string, got, want float64) {
			if !(math.Abs(got-want) <= 1e-9*math.Abs(want)+1e-16) {
				t.Errorf("%+v: %s is %g, want %g", c, what, got, want)
			}
		}
		near("power", s.power(), stat.PopVariance(part, weights))
		for _, l := range s.lags {
			var products, pairs []float64
			for i := l.lag; i < c.n; i++ {
				products = append(products, (part[i]-mean)*(part[i-l.lag]-mean))
				pairs = append(pairs, weights[i]*weights[i-l.lag])
			}
			near("covariance", l.covariance(s.mean()), stat.Mean(products, pairs))
		}
		gx, gw := s.groups()
		if len(gx) != c.n/c.group || len(gw) != len(gx) {
			t.Fatalf("%+v: %d and %d groups, want %d", c, len(gx), len(gw), c.n/c.group)
		}
		for g := range gx {
			var wantX, wantW float64
			for i := g * c.group; i < (g+1)*c.group; i++ {
				wantX += weights[i] * (part[i] - mean) / float64(c.group)
				wantW += weights[i] / float64(c.group)
			}
			if math.Abs(gx[g]-wantX) > 1e-13 || math.Abs(gw[g]-wantW) > 1e-12 {
				t.Fatalf("%+v: group %d is %g under %g, want %g under %g", c, g, gx[g], gw[g], wantX, wantW)
			}
		}
	}
}
