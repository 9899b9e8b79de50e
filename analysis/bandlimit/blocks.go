package bandlimit

import (
	"math"
	"math/cmplx"

	"stillglow/analysis/spectrum"
)

// blockSize is the points per transform and how many of them are discarded on either
// side.
//
// The guard holds what the response rings, down to 1e-4 of its start: the slowest pole's
// decay, which bounds the Gaussian too, and beside it what is interpolated from. Turned
// to be real at half the rate (turnToReal), the filtered samples are off by 3e-4 of their
// rms at most, white noise up to half the rate among them (TestBlocksAgainstOneTransform). The ideal edge rings as one over the
// distance at its limit, and has longer blocks. Short ones stay in the fastest cache, and
// their transforms are the library's fastest.
func blockSize(shape LowPass, rateHz, cutHz float64) (block, guard int) {
	if shape == Ideal {
		return idealBlock, idealGuard
	}
	decay := 1.0 // of the slowest pole, in units of the limit's angular frequency
	if shape == Butterworth4 {
		decay = math.Cos(3 * math.Pi / 8)
	}
	ring := -math.Log(ringLeft) / decay * rateHz / (2 * math.Pi * cutHz)
	guard = int(min(max(leastGuard, math.Ceil(ring)+spectrum.InterpolatorReach), mostBlock/leastBlock))
	for block = leastPoints; block < leastBlock*guard; block *= 2 {
	}
	return block, guard
}

// The blocks that the record is filtered in, in samples, and the share of its start that
// a response's ringing has died down to where the guard ends.
const (
	leastPoints = 1 << 9
	mostBlock   = 1 << 15
	leastGuard  = 24
	leastBlock  = 4 // times its guard, or little but guard is filtered
	ringLeft    = 1e-4
	idealBlock  = 1 << 14
	idealGuard  = 1 << 10
)

// blocks runs a record, less meanV, through the prototype, block by block (overlap-save).
// The record is continued at both ends by its end values. Memory is a few blocks whatever
// the record's length.
//
// Note: a bilinear digital filter was rejected, it warps near half the rate.
type blocks struct {
	volts  []float64
	meanV  float64
	filter *spectrum.Filter // nil: none
	guard  int              // filtered samples on either side that are good enough to interpolate into
	step   int              // samples a block is good for
	swing  float64          // how far a block can pass beyond its samples' extremes, in times their range
	x, y   []float64
}

func newBlocks(volts []float64, meanV, rateHz float64, shape LowPass, cutHz float64) *blocks {
	n, guard := blockSize(shape, rateHz, cutHz)
	for n > leastBlock*guard && n/2 >= len(volts)+2*guard {
		n /= 2
	}
	b := &blocks{volts: volts, meanV: meanV, guard: guard, step: n - 2*guard, x: make([]float64, n), y: make([]float64, n)}
	if shape == None {
		return b
	}
	h := make([]complex128, n/2+1)
	turn := turnToReal(shape.Response(rateHz/2, cutHz))
	for k := range h {
		share := float64(k) / float64(n/2)
		h[k] = shape.Response(share*rateHz/2, cutHz) * cmplx.Rect(1, turn*share)
	}
	b.filter = spectrum.NewFilter(h)
	// the impulse response sums up to one: its negative part is what swings beyond
	b.x[0] = 1
	b.filter.Run(b.y, b.x, 0)
	for _, v := range b.y {
		b.swing += max(-v, 0)
	}
	return b
}

// turnToReal is the least angle in radians that a response at half the rate is turned by
// to become real, and at lower frequencies in proportion to these: a delay, of half a
// sample at most, that no figure knows of. A filter of real samples is real there. Taken
// as it is, a prototype's step in phase from there to its mirror image would ring on, dying as
// one over the distance; turned, what is left is a kink, that dies as its square.
func turnToReal(h complex128) float64 {
	phase := cmplx.Phase(h)
	return math.Pi*math.Round(phase/math.Pi) - phase
}

// count is the number of blocks.
func (b *blocks) count() int { return (len(b.volts) + b.step - 1) / b.step }

// span is the first sample of block i and how many it has.
func (b *blocks) span(i int) (start, count int) {
	start = i * b.step
	return start, min(b.step, len(b.volts)-start)
}

// window are the samples that block i is made of.
func (b *blocks) window(i int) []float64 {
	at := i*b.step - b.guard
	if at >= 0 && at+len(b.x) <= len(b.volts) { // nearly all
		return b.volts[at : at+len(b.x)]
	}
	for k := range b.x {
		b.x[k] = b.volts[min(max(at+k, 0), len(b.volts)-1)]
	}
	return b.x
}

// run filters block i: its samples begin at y[guard].
func (b *blocks) run(i int) (y []float64) {
	x := b.window(i)
	if b.filter != nil {
		b.filter.Run(b.y, x, b.meanV)
		return b.y
	}
	for k, v := range x {
		b.y[k] = v - b.meanV
	}
	return b.y
}

// stays reports whether block i's filtered samples can't leave two levels, in volts less
// meanV.
func (b *blocks) stays(i int, lo, hi float64) bool {
	lo, hi = lo+b.meanV, hi+b.meanV
	x := b.window(i)
	least, most := x[0], x[0]
	for _, v := range x {
		if v < least {
			if least = v; v < lo {
				return false
			}
		} else if v > most {
			if most = v; v > hi {
				return false
			}
		}
	}
	over := b.swing * (most - least)
	return least-over >= lo && most+over <= hi
}
