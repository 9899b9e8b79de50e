package bandlimit

import (
	"context"
	"math"
	"reflect"
	"slices"
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
			r := newReading(newBlocks(v, 7, hi-lo, rate, shape, 20e6), lo-7, hi-7)
			for i := range r.count() {
				r.take(r.span(i))
			}
			if want := r.peakToPeak(); !reflect.DeepEqual(got, want) {
				t.Errorf("spikes %s, %s: %+v, want %+v", c.name, shape, got, want)
			}
			near := r.near()
			left := 0
			for i := range r.count() {
				l := r.ofBlock(i, near)
				r.eachStretch(i, l.lo, l.hi, func(start, end int, stays bool) {
					if stays {
						left += end - start
					}
				})
			}
			// the ideal edge has blocks too long to be quiet
			if c.quiet && shape != Ideal && left < n*9/10 {
				t.Errorf("spikes %s, %s: %d of %d samples are quiet", c.name, shape, left, n)
			}
		}
	}
}

// The samples that swing furthest beyond their own range follow the signs of the impulse
// response: filtered, they come exactly to the bound, and stay inside levels just beyond it
// alone.
func TestSwing(t *testing.T) {
	for _, c := range []struct {
		shape  LowPass
		rateHz float64
	}{
		{FirstOrder, 50e6}, {FirstOrder, 100e6}, {FirstOrder, 1e9},
		{Butterworth4, 50e6}, {Butterworth4, 100e6}, {Butterworth4, 1e9},
		{Gaussian, 50e6}, {Gaussian, 100e6}, {Gaussian, 1e9}, {None, 100e6},
	} {
		const at, reach = 1<<13 + 500, 1 << 9
		impulse := make([]float64, 1<<14)
		impulse[at] = 1
		b := newBlocks(impulse, 0, 1, c.rateHz, c.shape, 20e6)
		volts := make([]float64, len(impulse))
		for i := (at - reach) / b.step; i*b.step < at+reach; i++ {
			start, end := b.span(i)
			for k, h := range b.run(start, end)[b.guard : b.guard+end-start] { // of the lag start + k - at
				if lag := start + k - at; lag >= -b.back && lag <= b.ahead {
					volts[at-lag] = math.Copysign(1, h)
				}
			}
		}
		b = newBlocks(volts, 0, 2, c.rateHz, c.shape, 20e6)
		start, end := b.span(at / b.step)
		most, bound := b.run(start, end)[b.guard+at-start], 1+2*b.swing
		if math.Abs(most-bound) > 1e-3 {
			t.Errorf("%s at %g MS/s: reaches %g, bound %g", c.shape, c.rateHz/1e6, most, bound)
		}
		stays := func(hi float64) (all bool) {
			all = true
			b.eachStretch(at/b.step, -9, hi, func(_, _ int, stays bool) { all = all && stays })
			return all
		}
		if stays(most-1e-3) || !stays(bound+1e-9) {
			t.Errorf("%s at %g MS/s: a block that reaches %g is told wrongly", c.shape, c.rateHz/1e6, most)
		}
	}
}

// A block told in stretches is told whole and in order, and what stays between two levels
// by its word does, wherever what reaches beyond them stands, at the record's ends too.
func TestStretches(t *testing.T) {
	const n = 5000
	for _, places := range [][]int{{0}, {n - 1}, {1023}, {1024}, {500, 530}, {500, 700}, {1000, 1030, 2040, 2060}, {3, 4990}} {
		for _, rate := range []float64{100e6, 1e9} {
			v := reference.WhiteNoise(n, 0.1, 3)
			for _, p := range places {
				v[p] += 50
			}
			b := newBlocks(v, 0, 52, rate, FirstOrder, 20e6)
			quiet := 0
			for i := range b.count() {
				at, last := b.span(i)
				whole, _ := b.span(i)
				all := slices.Clone(b.run(whole, last)[b.guard:])
				b.eachStretch(i, -2, 2, func(start, end int, stays bool) {
					if start != at || end <= start {
						t.Fatalf("spikes at %v: a stretch from %d to %d behind %d", places, start, end, at)
					}
					at = end
					for k := start; stays && k < end; k++ {
						quiet++
						if y := all[k-whole]; math.Abs(y) > 2 {
							t.Errorf("spikes at %v, %g MS/s: sample %d of %g V is said to stay within 2 V", places, rate/1e6, k, y)
						}
					}
				})
				if at != last {
					t.Errorf("spikes at %v: block %d is told up to %d of %d", places, i, at, last)
				}
			}
			if b.taps != nil && quiet < n-len(places)*100 {
				t.Errorf("spikes at %v: %d of %d samples are quiet", places, quiet, n)
			}
		}
	}
}
