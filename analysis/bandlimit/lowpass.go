package bandlimit

import (
	"fmt"
	"math"
	"math/cmplx"

	"stillglow/analysis/spectrum"
)

// LowPass names the shape of the low-pass that stands in for an instrument's
// bandwidth limit.
type LowPass string

// The low-pass shapes on offer.
const (
	Default      LowPass = ""             // the default, see DEVELOPERS.md
	FirstOrder   LowPass = "first-order"  // one pole, analogue prototype
	Butterworth4 LowPass = "butterworth4" // fourth-order Butterworth
	Gaussian     LowPass = "gaussian"     // Gaussian, -3 dB at the limit
	Ideal        LowPass = "ideal"        // brick wall
	None         LowPass = "none"
)

// LowPasses lists the shapes in the order they are offered.
var LowPasses = [...]LowPass{FirstOrder, Butterworth4, Gaussian, Ideal, None}

// DefaultLowPass is one pole. A scope's bandwidth-limit switch puts a capacitor
// (or two) across a node of the vertical amplifier: its published rise time is
// 0.35/B and its skirt falls at 20 to 40 dB per decade, never like a brick wall.
// Of the offered shapes one pole passes most of what lies above the limit, so
// where the true instrument was steeper the figure errs against the supply,
// never in its favour.
const DefaultLowPass = FirstOrder

// Parse reads the name of a shape; the empty name is the default.
func Parse(s string) (LowPass, error) {
	if s == "" {
		return Default, nil
	}
	for _, l := range LowPasses {
		if string(l) == s {
			return l, nil
		}
	}
	return "", fmt.Errorf("low-pass %q is unknown: expected first-order, butterworth4, gaussian, ideal or none", s)
}

// Response is the complex response of the analogue prototype at fHz,
// -3 dB at cutHz (the ideal edge passes cutHz itself). The fourth-order
// Butterworth is the product of its two pole pairs, damping 2·cos(π/8) and
// 2·cos(3π/8).
func (shape LowPass) Response(fHz, cutHz float64) complex128 {
	x := fHz / cutHz
	s := complex(0, x)
	switch shape {
	case FirstOrder, Default:
		return 1 / (1 + s)
	case Butterworth4:
		a := complex(2*math.Cos(math.Pi/8), 0)
		b := complex(2*math.Cos(3*math.Pi/8), 0)
		return 1 / ((s*s + a*s + 1) * (s*s + b*s + 1))
	case Gaussian:
		return complex(math.Exp(-math.Ln2/2*x*x), 0)
	case Ideal:
		if x <= 1 {
			return 1
		}
		return 0
	default:
		return 1
	}
}

// words names the low-pass for the reader of a figure.
func (shape LowPass) Words(cutHz float64) string {
	at := fmt.Sprintf(" low-pass at %g MHz", cutHz/1e6)
	switch shape {
	case FirstOrder, Default:
		return "first-order" + at
	case Butterworth4:
		return "fourth-order Butterworth" + at
	case Gaussian:
		return "Gaussian" + at
	case Ideal:
		return "ideal" + at
	default:
		return "none"
	}
}

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
