package bandlimit

import (
	"context"
	"math"
	"reflect"
	"testing"

	"stillglow/analysis/internal/reference"
)

// Blocks that are left out as quiet change nothing: every figure is that of all blocks
// filtered, whether spikes stand everywhere, in a part of the record, once, or nowhere.
func TestQuietBlocksChangeNothing(t *testing.T) {
	const rate, n = 100e6, 300_000
	for _, c := range []struct {
		name        string
		first, last int // spikes
		quiet       bool
	}{
		{"everywhere", 0, n, true}, {"in a part", n / 2, n * 5 / 8, false}, {"once", n / 3, n/3 + 1, false}, {"nowhere", 0, 0, false},
	} {
		v := reference.WhiteNoise(n, 0.3e-3, 5)
		for i := range v {
			v[i] += 7 + 2e-3*math.Sin(2*math.Pi*float64(i)/1800)
			if since := i % 1800; i-since >= c.first && i-since < c.last || i == c.first && c.last == c.first+1 {
				x := float64(since) / rate
				v[i] += 20e-3 * math.Exp(-x/2e-7) * math.Cos(2*math.Pi*8e6*x)
			}
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, x := range v {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
		for _, shape := range LowPasses {
			got, err := Measure(context.Background(), v, 7, lo, hi, rate, shape, 20e6)
			if err != nil {
				t.Fatal(err)
			}
			r := newReading(newBlocks(v, 7, rate, shape, 20e6), lo-7, hi-7)
			for i := range r.count() {
				r.take(i)
			}
			if want := r.peakToPeak(); !reflect.DeepEqual(got, want) {
				t.Errorf("spikes %s, %s: %+v, want %+v", c.name, shape, got, want)
			}
			near, far := r.near()
			left := 0
			for i := range r.count() {
				if r.stays(i, near, far) {
					left++
				}
			}
			// the ideal edge has blocks too long to be quiet
			if c.quiet && shape != Ideal && left < r.count()/3 {
				t.Errorf("spikes %s, %s: %d of %d blocks are quiet", c.name, shape, left, r.count())
			}
		}
	}
}
