package filter

import (
	"context"
	"math"

	"gonum.org/v1/gonum/dsp/window"
	"gonum.org/v1/gonum/floats"

	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// A long trace is filtered in two parts that a crossover in frequency shares out: what
// is slow at a lower rate, by one transform of all of it, for a circuit remembers for as
// long as its capacitors take to charge; what is fast in short blocks, for of that it
// remembers little.
const (
	splitLeast = 1 << 15 // samples from which it is worth it
	splitDown  = 32      // by which the slow part's rate is lower
	// The crossover ends at splitTop of the lower rate and begins two octaves below.
	splitTop     = 0.3
	splitOctaves = 2
	// splitReach is the half length, in samples of the lower rate, of the low-pass ahead
	// of it and behind: a sinc through a Blackman-Harris window (Harris 1978), whose
	// transition of 8 bins then fits between splitTop and what folds onto it.
	splitReach = 10
	splitBlock = 1 << 15
	splitGuard = 1 << 12 // samples on either side of a block that are thrown away
	splitStep  = splitBlock - 2*splitGuard
	// splitForgets is the share of the fast part's response (summed absolutely) that may
	// lie beyond the guard; a circuit that rings for longer is filtered in one piece.
	splitForgets = 1e-4
)

// slowPart is an extended record at the lower rate, and the blocks of its fast part.
type slowPart struct {
	from     extended
	fft      *spectrum.Transform
	spectrum []complex128
	blocks   [][]complex128 // transformed, nil: not yet, or there was no room to keep it
	extreme  []int          // the blocks that hold the record's least and greatest; nil: not looked for yet
}

// taps is the low-pass of the lower rate, its middle at splitReach*splitDown.
var taps = lowPassTaps()

func lowPassTaps() []float64 {
	half := splitReach * splitDown
	h := make([]float64, 2*half+1)
	for i := range h {
		h[i] = 1
		if x := math.Pi * float64(i-half) / splitDown; x != 0 {
			h[i] = math.Sin(x) / x
		}
	}
	window.BlackmanHarris(h)
	floats.Scale(1/floats.Sum(h), h)
	return h
}

func newSlowPart(v []float64, meanV float64) *slowPart {
	m := smooth((2*len(v) + splitDown - 1) / splitDown)
	s := &slowPart{from: extended{v, meanV, m * splitDown}, fft: spectrum.NewTransform(m)}
	const at = 256 // outputs at a time, a multiple of four
	reach := splitReach * splitDown
	buf, x := make([]float64, at*splitDown+2*reach), make([]float64, m)
	for from := 0; from < m; from += at {
		s.from.fill(buf, from*splitDown-reach)
		for k := 0; k < min(at, m-from); k += 4 { // four sums side by side, which need not wait for each other
			b := buf[k*splitDown:]
			b0, b1, b2, b3 := b[:len(taps)], b[splitDown:][:len(taps)], b[2*splitDown:][:len(taps)], b[3*splitDown:][:len(taps)]
			var sums [4]float64
			for j, h := range taps {
				sums[0] += h * b0[j]
				sums[1] += h * b1[j]
				sums[2] += h * b2[j]
				sums[3] += h * b3[j]
			}
			copy(x[from+k:], sums[:])
		}
	}
	s.spectrum = make([]complex128, m/2+1)
	s.fft.Coefficients(s.spectrum, x)
	s.blocks = make([][]complex128, (len(v)+splitStep-1)/splitStep)
	return s
}

// crossover is the slow part's share at hz, lowRate its rate.
func crossover(hz, lowRate float64) float64 {
	x := math.Log2(splitTop*lowRate/math.Max(hz, 1e-300)) / splitOctaves
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	a, b := math.Exp(-1/x), math.Exp(-1/(1-x))
	return a / (a + b)
}

// through filters the slow part and gives it at the lower rate.
func (s *slowPart) through(rateHz float64, gain func(hz float64) complex128) []float64 {
	m, low := s.fft.Len(), rateHz/splitDown
	x := make([]complex128, m/2+1)
	copy(x, s.spectrum[:min(len(x), int(splitTop*float64(m))+2)])
	multiply(x, low/float64(m), func(hz float64) complex128 { return gain(hz) * complex(crossover(hz, low), 0) })
	y := make([]float64, m)
	s.fft.Sequence(y, x)
	floats.Scale(splitDown, y) // the interpolation's own gain
	return y
}

// fastPart is the filter of what lies above the crossover; nil where it remembers for
// longer than a block's guard.
func fastPart(rateHz float64, gain func(hz float64) complex128) *spectrum.Filter {
	h := crossedOver(rateHz)
	for k, share := range h {
		if real(share) > 0 {
			h[k] = gain(float64(k)*rateHz/splitBlock) * share
		}
	}
	return forgetful(h)
}

// crossedOver is the fast part's share at the terms of a block.
func crossedOver(rateHz float64) []complex128 {
	h, low := make([]complex128, splitBlock/2+1), rateHz/splitDown
	for k := range h {
		h[k] = complex(1-crossover(float64(k)*rateHz/splitBlock, low), 0)
	}
	return h
}

// forgetful is the filter of a response; nil where it remembers for longer than a
// block's guard.
func forgetful(h []complex128) *spectrum.Filter {
	f := spectrum.NewFilter(h)
	x := make([]float64, splitBlock)
	x[splitBlock/2] = 1
	f.Run(x, x, 0)
	var all, beyond float64
	for i := range x[1:] {
		// at half the rate, where a circuit turns the phase, the response breaks off and
		// rings on: the mean of neighbours leaves that out
		v := (x[i] + x[i+1]) / 2
		all += math.Abs(v)
		if i < splitBlock/2-splitGuard || i > splitBlock/2+splitGuard {
			beyond += math.Abs(v)
		}
	}
	if beyond > splitForgets*all {
		return nil
	}
	return f
}

// split filters tr into out, dcV added; ok is false where the trace is too short or the
// circuit remembers for too long.
func (w *workspace) split(ctx context.Context, out []float64, tr *capture.Trace, meanV, dcV float64, gain func(hz float64) complex128) (ok bool, err error) {
	n := len(tr.Volts)
	if n < splitLeast {
		return false, nil
	}
	fast := fastPart(tr.SampleRateHz, gain)
	if fast == nil {
		return false, nil
	}
	slow := w.slowOf(tr, meanV)
	low := slow.through(tr.SampleRateHz, gain)
	block := make([]float64, splitBlock)
	for k := range slow.blocks {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		from := k * splitStep
		w.runBlock(fast, slow, k, block)
		for i, v := range block[splitGuard : splitGuard+min(splitStep, n-from)] {
			out[from+i] = v + dcV
		}
	}
	addBetween(out, low, 0)
	return true, nil
}

// slowOf is the slow part of a trace.
func (w *workspace) slowOf(tr *capture.Trace, meanV float64) *slowPart {
	slow := w.slow[tr]
	if slow == nil {
		slow = newSlowPart(tr.Volts, meanV)
		if w.slow != nil {
			w.slow[tr] = slow
		}
	}
	return slow
}

// runBlock filters block k of a trace's fast part: its samples begin at block[splitGuard].
func (w *workspace) runBlock(fast *spectrum.Filter, slow *slowPart, k int, block []float64) {
	terms := slow.blocks[k]
	if terms == nil {
		slow.from.fill(block, k*splitStep-splitGuard)
		if w.room < splitBlock/2 {
			fast.Run(block, block, 0)
			return
		}
		w.room -= splitBlock / 2
		terms = make([]complex128, splitBlock/2)
		fast.Terms(terms, block)
		slow.blocks[k] = terms
	}
	fast.Through(block, terms)
}

// addBetween adds a periodic signal at the lower rate to out, interpolated. out begins at
// sample from of the record, a multiple of splitDown.
func addBetween(out, low []float64, from int) {
	// the taps that fall on each of the places between two values
	var phases [splitDown][2 * splitReach]float64
	for p := range phases {
		for j := range phases[p] {
			// low[k-splitReach+1+j] stands splitDown*(j+1-splitReach)-p samples on
			phases[p][j] = taps[splitReach*splitDown+p-splitDown*(j+1-splitReach)]
		}
	}
	var beside [2 * splitReach]float64
	m := len(low)
	for k := 0; k*splitDown < len(out); k++ {
		for j := range beside {
			beside[j] = low[((from/splitDown+k-splitReach+1+j)%m+m)%m]
		}
		o := out[k*splitDown : min((k+1)*splitDown, len(out))]
		for p := 0; p < len(o); p += 2 {
			h, g := &phases[p], &phases[p+1]
			var even, odd, nextEven, nextOdd float64 // sums that need not wait for each other
			for j := 0; j < len(h); j += 2 {
				a, b := beside[j], beside[j+1]
				even += h[j] * a
				odd += h[j+1] * b
				nextEven += g[j] * a
				nextOdd += g[j+1] * b
			}
			o[p] += even + odd
			if p+1 < len(o) {
				o[p+1] += nextEven + nextOdd
			}
		}
	}
}
