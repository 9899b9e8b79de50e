package bandlimit

import (
	"context"
	"fmt"
	"math"

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

// lowPassResponse is the complex response of the analogue prototype at fHz,
// -3 dB at cutHz (the ideal edge passes cutHz itself). The fourth-order
// Butterworth is the product of its two pole pairs, damping 2·cos(π/8) and
// 2·cos(3π/8).
func lowPassResponse(shape LowPass, fHz, cutHz float64) complex128 {
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
// The guard holds what the prototype rings, down to 1e-4 of its start: the slowest pole's
// decay, which bounds the Gaussian too, and beside it what is interpolated from. At half
// the rate a filter of real samples is real and the prototype is not: the step in its
// phase rings on, dying as one over the distance. So the filtered samples are off by 2 %
// of their rms where white noise reaches up to half the rate, and by 0.1 % where it ends
// at 0.4 of it (TestBlocksAgainstOneTransform). The ideal edge rings like that at its
// limit, and has longer blocks. Short ones stay in the fastest cache, and their
// transforms are the library's fastest.
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
	leastGuard  = 1 << 6
	leastBlock  = 4 // times its guard, or little but guard is filtered
	ringLeft    = 1e-4
	idealBlock  = 1 << 14
	idealGuard  = 1 << 10
)

// lowPassBlocks runs volts minus meanV through the prototype, block by block
// (overlap-save), and hands each finished block to use: y[guard:guard+count]
// are the filtered samples from start on; the guards around them are good
// enough to interpolate into. The record is continued at both ends by its end
// values. Memory is a few blocks whatever the record's length.
//
// Note: a bilinear digital filter was rejected, it warps near half the rate.
func lowPassBlocks(ctx context.Context, volts []float64, meanV, rateHz float64, shape LowPass, cutHz float64, use func(start int, y []float64, guard, count int)) error {
	n, pad := blockSize(shape, rateHz, cutHz)
	for n > leastBlock*pad && n/2 >= len(volts)+2*pad {
		n /= 2
	}
	h := make([]complex128, n/2+1)
	for k := range h {
		h[k] = lowPassResponse(shape, float64(k)*rateHz/float64(n), cutHz)
	}
	filter := spectrum.NewFilter(h)
	x, y := make([]float64, n), make([]float64, n)
	step := n - 2*pad
	for start := 0; start < len(volts); start += step {
		if err := ctx.Err(); err != nil {
			return err
		}
		from := x
		if at := start - pad; at >= 0 && at+n <= len(volts) { // nearly all
			from = volts[at : at+n]
		} else {
			fillEdge(x, volts, at)
		}
		if shape == None {
			for i, v := range from {
				y[i] = v - meanV
			}
		} else {
			filter.Run(y, from, meanV)
		}
		use(start, y, pad, min(step, len(volts)-start))
	}
	return nil
}

// fillEdge copies len(dst) samples of volts from start on, and repeats the end values
// beyond the record.
func fillEdge(dst, volts []float64, start int) {
	for i := range dst {
		dst[i] = volts[min(max(start+i, 0), len(volts)-1)]
	}
}
