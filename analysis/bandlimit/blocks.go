package bandlimit

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/floats"

	"stillglow/analysis/spectrum"
)

// The blocks that the record is filtered in, in samples, and the share of its start that
// a response's ringing has died down to where it is left out.
const (
	ringLeft    = 1e-4
	leastRing   = 16 // samples: what the kink at half the rate rings (turnToReal)
	mostTaps    = 48 // up to which sums of products take no longer than transforms
	tapsStep    = 1 << 10
	mostOver    = 0.1 // of the distance of two levels, that the record's range may narrow them by
	leastPoints = 1 << 9
	mostBlock   = 1 << 15
	leastGuard  = 24
	leastBlock  = 4 // times its guard, or little but guard is filtered
	idealBlock  = 1 << 14
	idealGuard  = 1 << 10
)

// ringSamples is how many samples a response rings down to ringLeft of its start: the
// slowest pole's decay, which bounds the Gaussian too.
func ringSamples(shape LowPass, rateHz, cutHz float64) float64 {
	decay := 1.0 // in units of the limit's angular frequency
	if shape == Butterworth4 {
		decay = math.Cos(3 * math.Pi / 8)
	}
	return math.Ceil(-math.Log(ringLeft) / decay * rateHz / (2 * math.Pi * cutHz))
}

// blockSize is the points per transform and how many of them are discarded on either
// side.
//
// The guard holds what the response rings, and beside it what is interpolated from.
// Turned to be real at half the rate (turnToReal), the filtered samples are off by 3e-4 of
// their rms at most, white noise up to half the rate among them, and by 2e-3 where taps
// make them (TestBlocksAgainstOneTransform). The ideal edge rings as one over the distance
// at its limit, and has longer blocks. Short ones stay in the fastest cache, and their
// transforms are the library's fastest.
func blockSize(shape LowPass, rateHz, cutHz float64) (block, guard int) {
	if shape == Ideal {
		return idealBlock, idealGuard
	}
	guard = int(min(max(leastGuard, ringSamples(shape, rateHz, cutHz)+spectrum.InterpolatorReach), mostBlock/leastBlock))
	for block = leastPoints; block < leastBlock*guard; block *= 2 {
	}
	return block, guard
}

// blocks runs a record, less meanV, through the prototype, block by block: by transforms
// (overlap-save), or where the response is short by its taps, which can do a part of a
// block alone. The record is continued at both ends by its end values. Memory is a few
// blocks whatever the record's length.
//
// Note: a bilinear digital filter was rejected, it warps near half the rate.
type blocks struct {
	volts       []float64
	meanV       float64
	rangeV      float64          // greatest less least of volts
	filter      *spectrum.Filter // nil: taps
	taps        []float64        // the impulse response, its last sample first
	ahead, back int              // how many samples behind and before itself an input reaches
	guard       int              // filtered samples on either side that are good enough to interpolate into
	step        int              // samples a block is good for
	swing       float64          // how far samples can pass beyond the extremes of what they are made of, in times their range
	x, y, ends  []float64        // what is filtered, the same filtered, and what is looked at, at the record's ends
}

func newBlocks(volts []float64, meanV, rangeV, rateHz float64, shape LowPass, cutHz float64) *blocks {
	b := &blocks{volts: volts, meanV: meanV, rangeV: rangeV}
	ahead := max(int(min(ringSamples(shape, rateHz, cutHz), mostBlock)), leastRing)
	switch {
	case shape == None:
		b.useTaps([]float64{1}, 0, 0)
	case shape != Ideal && ahead+1+leastRing <= mostTaps:
		b.useTaps(tapsOf(shape, rateHz, cutHz, ahead, leastRing), ahead, leastRing)
	default:
		b.useTransforms(shape, rateHz, cutHz)
	}
	return b
}

// useTransforms has the blocks filtered by transforms.
func (b *blocks) useTransforms(shape LowPass, rateHz, cutHz float64) {
	n, guard := blockSize(shape, rateHz, cutHz)
	for n > leastBlock*guard && n/2 >= len(b.volts)+2*guard {
		n /= 2
	}
	b.filter, b.guard, b.step = newFilter(n, shape, rateHz, cutHz), guard, n-2*guard
	b.ahead, b.back = guard, guard
	b.makeSpace(n, n)
	b.setSwing(impulse(b.filter, n))
}

// useTaps has the blocks filtered by sums of products.
func (b *blocks) useTaps(taps []float64, ahead, back int) {
	b.taps, b.ahead, b.back, b.guard, b.step = taps, ahead, back, spectrum.InterpolatorReach, tapsStep
	b.makeSpace(b.step+2*b.guard+ahead+back, b.step+2*b.guard)
	b.setSwing(taps)
}

func (b *blocks) makeSpace(in, out int) {
	b.x, b.y, b.ends = make([]float64, in), make([]float64, out), make([]float64, b.step+b.ahead+b.back)
}

// setSwing takes swing from an impulse response: its samples sum up to one, and those
// below zero are what swings beyond.
func (b *blocks) setSwing(response []float64) {
	b.swing = 0
	for _, v := range response {
		b.swing += max(-v, 0)
	}
}

// newFilter is the prototype for blocks of n samples.
func newFilter(n int, shape LowPass, rateHz, cutHz float64) *spectrum.Filter {
	h := make([]complex128, n/2+1)
	at := shape.Sampled(rateHz, cutHz)
	for k := range h {
		h[k] = at(float64(k) * rateHz / float64(n))
	}
	return spectrum.NewFilter(h)
}

// Sampled is the response as Measure applies it to samples at rateHz, by frequency in
// hertz: Response, turned in proportion to frequency so that it is real at half the rate.
func (shape LowPass) Sampled(rateHz, cutHz float64) func(fHz float64) complex128 {
	turn := turnToReal(shape.Response(rateHz/2, cutHz)) / (rateHz / 2)
	return func(fHz float64) complex128 { return shape.Response(fHz, cutHz) * cmplx.Rect(1, turn*fHz) }
}

// impulse is the impulse response of a filter of n samples, what lies before zero at its
// end.
func impulse(f *spectrum.Filter, n int) []float64 {
	y := make([]float64, n)
	y[0] = 1
	f.Run(y, y, 0)
	return y
}

// tapsOf is the prototype's impulse response from ahead samples behind zero down to back
// before it, with a gain of one at zero frequency.
func tapsOf(shape LowPass, rateHz, cutHz float64, ahead, back int) []float64 {
	response := impulse(newFilter(leastPoints, shape, rateHz, cutHz), leastPoints)
	taps := make([]float64, 0, ahead+1+back)
	for lag := ahead; lag >= -back; lag-- {
		taps = append(taps, response[(lag+leastPoints)%leastPoints])
	}
	floats.Scale(1/floats.Sum(taps), taps)
	return taps
}

// turnToReal is the least angle in radians that a response at half the rate is turned by
// to become real, and at lower frequencies in proportion to these: a delay, of half a
// sample at most, that no figure knows of. A filter of real samples is real there. Taken
// as it is, a prototype's step in phase from there to its mirror image would ring on,
// dying as one over the distance; turned, what is left is a kink, that dies as its square.
func turnToReal(h complex128) float64 {
	phase := cmplx.Phase(h)
	return math.Pi*math.Round(phase/math.Pi) - phase
}

// count is the number of blocks.
func (b *blocks) count() int { return (len(b.volts) + b.step - 1) / b.step }

// span is the first sample of block i and the first behind it.
func (b *blocks) span(i int) (start, end int) {
	return i * b.step, min((i+1)*b.step, len(b.volts))
}

// window are n samples of the record from at on, in x where the record doesn't hold them all.
func (b *blocks) window(x []float64, at, n int) []float64 {
	if at >= 0 && at+n <= len(b.volts) { // nearly all
		return b.volts[at : at+n]
	}
	x = x[:n]
	for k := range x {
		x[k] = b.volts[min(max(at+k, 0), len(b.volts)-1)]
	}
	return x
}

// run filters samples start to end-1, all of a block or where there are taps a part of
// one: they begin at y[guard], and as many stand beside them.
func (b *blocks) run(start, end int) (y []float64) {
	if b.filter != nil {
		b.filter.Run(b.y, b.window(b.x, start-b.guard, len(b.y)), b.meanV)
		return b.y
	}
	y = b.y[:end-start+2*b.guard]
	n := len(b.taps)
	x := b.window(b.x, start-b.guard-b.ahead, len(y)+n-1)
	for k := range y {
		y[k] = floats.Dot(b.taps, x[k:k+n]) - b.meanV
	}
	return y
}

// extremesWithin are the least and the greatest of x up to the first beyond two levels.
func extremesWithin(x []float64, lo, hi float64) (least, most float64) {
	least, most = x[0], x[0]
	for _, v := range x {
		if v < least {
			if least = v; v < lo {
				break
			}
		} else if v > most {
			if most = v; v > hi {
				break
			}
		}
	}
	return least, most
}

// eachStretch goes through block i in stretches, one of them where there are no taps, and
// tells of each whether its filtered samples stay between two levels, in volts less meanV.
func (b *blocks) eachStretch(i int, lo, hi float64, do func(start, end int, stays bool)) {
	start, end := b.span(i)
	lo, hi = lo+b.meanV, hi+b.meanV
	x := b.window(b.ends, start-b.ahead, end-start+b.ahead+b.back)
	if b.taps == nil {
		least, most := extremesWithin(x, lo, hi)
		over := b.swing * (most - least)
		do(start, end, least-over >= lo && most+over <= hi)
		return
	}
	if over := b.swing * b.rangeV; over <= (hi-lo)*mostOver {
		lo, hi = lo+over, hi-over
	} else { // a few far ones in the record, as a rule none of them here
		least, most := extremesWithin(x, math.Inf(-1), math.Inf(1))
		over = b.swing * (most - least)
		lo, hi = lo+over, hi-over
	}
	// what lies beyond the levels reaches from..to-1; all ahead of at has been told
	at, from, to := start, start, start
	tell := func() {
		if at < from {
			do(at, from, true)
		}
		if from < to {
			do(from, to, false)
		}
		at = to
	}
	for k, v := range x { // sample start-ahead+k, which reaches start+k and b.ahead+b.back before that
		if v >= lo && v <= hi {
			continue
		}
		if first := start + k - b.ahead - b.back; first > to+2*b.guard { // nearer ones are filtered in one go
			tell()
			from = first
		}
		to = min(start+k+1, end)
	}
	tell()
	if at < end {
		do(at, end, true)
	}
}
