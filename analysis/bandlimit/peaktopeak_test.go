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
		name               string
		first, last, apart int // spikes
		quiet              bool
	}{
		{"everywhere", 0, n, 1800, true},
		{"in a part", n / 2, n * 5 / 8, 1800, false},
		{"once, in a block that is tried", 98_400, 98_401, n, false},
		{"nowhere", 0, 0, 1, false},
	} {
		v := reference.WhiteNoise(n, 0.3e-3, 5)
		for i := range v {
			v[i] += 7 + 2e-3*math.Sin(2*math.Pi*float64(i)/1800)
		}
		for at := c.first; at < c.last; at += c.apart {
			for i := at; i < min(at+300, n); i++ {
				x := float64(i-at) / rate
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

// The samples that swing furthest beyond their own range follow the signs of the impulse
// response: a block of them comes exactly to the bound, and stays inside levels just
// beyond it alone.
func TestSwingOfABlock(t *testing.T) {
	for _, shape := range []LowPass{FirstOrder, Butterworth4, Gaussian, None} {
		for _, rate := range []float64{50e6, 100e6, 1e9} {
			impulse := newBlocks(make([]float64, 1<<14), 0, rate, shape, 20e6)
			n, i := len(impulse.x), 5
			middle := i*impulse.step - impulse.guard + n/2
			impulse.volts[middle] = 1
			volts := make([]float64, 1<<14)
			for k, h := range impulse.run(i) { // of the lag k - n/2
				volts[middle-(k-n/2)] = math.Copysign(1, h)
			}
			b := newBlocks(volts, 0, rate, shape, 20e6)
			most, bound := b.run(i)[n/2], 1+2*b.swing
			// the lag at the block's end has its sign beyond the block
			if math.Abs(most-bound) > 1e-3 {
				t.Errorf("%s at %g MS/s: reaches %g, bound %g", shape, rate/1e6, most, bound)
			}
			if b.stays(i, -9, most-1e-3) || !b.stays(i, -9, bound+1e-9) {
				t.Errorf("%s at %g MS/s: a block that reaches %g is told wrongly", shape, rate/1e6, most)
			}
		}
	}
}
