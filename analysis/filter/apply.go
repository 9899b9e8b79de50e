package filter

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/stat"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// blockSamples is how many samples are transformed at once. A trace of up to
// that length is one block.
const blockSamples = 1 << 21

// workspace is what filtering the same traces again and again shares; the zero value
// keeps no transforms. Not for use by two goroutines at once.
type workspace struct {
	fft      *spectrum.Transform
	x        []float64
	spectrum []complex128
	kept     map[*capture.Trace][]complex128 // the transforms of whole traces
	room     int                             // coefficients that may yet be kept, of these and of blocks
	slow     map[*capture.Trace]*slowPart    // of traces that are filtered in two parts; nil: none is kept
	measured map[*analysis.Measurement]*ahead
}

// mostKept bounds the transforms that a search keeps to 64 MB: of two captures of a
// million samples in one piece, or of six in blocks.
const mostKept = 4 << 20

func newWorkspace() *workspace {
	return &workspace{kept: map[*capture.Trace][]complex128{}, room: mostKept, slow: map[*capture.Trace]*slowPart{},
		measured: map[*analysis.Measurement]*ahead{}}
}

// ahead prepares a measurement for predictions behind circuits, or gives what was
// prepared before. A workspace that keeps nothing, and none at all, does it anew.
func (w *workspace) ahead(m *analysis.Measurement) *ahead {
	if w == nil || w.measured == nil {
		return newAhead(m)
	}
	a := w.measured[m]
	if a == nil {
		a = newAhead(m)
		w.measured[m] = a
	}
	return a
}

// apply gives the trace that would be captured across the heaters with the circuit
// fitted: the complex spectrum times the insertion gain, block by block with overlap
// (overlap-save), or in two parts (split.go). The DC level falls by the filter's DC gain
// and keeps its place. Before its first sample the trace is taken to have run on mirrored,
// so that there is no switch-on transient. The trace itself is left as it is.
func (w *workspace) apply(ctx context.Context, tr *capture.Trace, c Circuit) (*capture.Trace, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	if len(tr.Volts) < 2 || tr.SampleRateHz <= 0 {
		return nil, fmt.Errorf("%s: %d samples are too few to filter", tr.File, len(tr.Volts))
	}
	out := *tr
	out.Volts = make([]float64, len(tr.Volts))
	mean := stat.Mean(tr.Volts, nil)
	dc := mean * real(Insertion(c, 0))
	if tr.Coupling == capture.CouplingAC {
		dc = 0 // the instrument took it off, before and after
	}
	if done, err := w.split(ctx, out.Volts, tr, mean, dc, func(hz float64) complex128 { return Insertion(c, hz) }); err != nil {
		return nil, err
	} else if done {
		return behindTrace(tr, out, c), nil
	}
	history := min(blockSamples, int(historyTimes*c.slowest()*tr.SampleRateHz)+historySamples)
	for from := 0; from < len(tr.Volts); from += blockSamples {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		to := min(from+blockSamples, len(tr.Volts))
		start, end := max(0, from-history), min(len(tr.Volts), to+history/historyAhead)
		block := make([]float64, end-start)
		for i := range block {
			block[i] = tr.Volts[start+i] - mean
		}
		whole := tr
		if len(block) < len(tr.Volts) {
			whole = nil
		}
		w.through(block, whole, tr.SampleRateHz, func(hz float64) complex128 { return Insertion(c, hz) })
		for i := from; i < to; i++ {
			out.Volts[i] = block[i-start] + dc
		}
	}
	return behindTrace(tr, out, c), nil
}

// behindTrace completes a filtered trace. Clipping, steps and full scale belong to the
// capture as it was taken.
func behindTrace(tr *capture.Trace, out capture.Trace, c Circuit) *capture.Trace {
	out.FullScaleMinV, out.FullScaleMaxV, out.StepV = 0, 0, 0
	out.Cautions = append([]capture.Caution(nil), tr.Cautions...)
	out.Assumptions = append(append([]capture.Assumption(nil), tr.Assumptions...), capture.Assumption{
		What: "post-filter", Value: string(c.Topology), Why: "predicted from the capture, not measured",
	})
	return &out
}

// throughGain filters v in place, extended to one period.
func throughGain(v []float64, rateHz float64, gain func(hz float64) complex128) {
	new(workspace).through(v, nil, rateHz, gain)
}

// through is throughGain. whole names the trace whose samples, about their mean, v
// holds; nil: of none.
func (w *workspace) through(v []float64, whole *capture.Trace, rateHz float64, gain func(hz float64) complex128) {
	period := smooth(2*len(v) + 2)
	if w.fft == nil || w.fft.Len() != period {
		w.fft, w.x, w.spectrum = spectrum.NewTransform(period), make([]float64, period), make([]complex128, period/2+1)
	}
	if kept := w.kept[whole]; whole != nil && kept != nil {
		copy(w.spectrum, kept)
	} else {
		extended{v, 0, period}.fill(w.x, 0)
		w.fft.Coefficients(w.spectrum, w.x)
		if whole != nil && len(w.spectrum) <= w.room {
			w.kept[whole] = slices.Clone(w.spectrum)
			w.room -= len(w.spectrum)
		}
	}
	multiply(w.spectrum, rateHz/float64(period), gain)
	w.fft.Sequence(w.x, w.spectrum)
	copy(v, w.x)
}

// knotRatio is how far apart in frequency a gain is worked out; between, it is
// drawn straight. A resonance of Q bends the gain by (2Q)² times the step squared
// over 8: under 5e-6 at a Q of 10.
const knotRatio = 1 + 1.0/1600

// multiply weighs a spectrum by a gain. Far up, where the bins lie closer than any
// circuit's gain can bend, most are interpolated.
func multiply(spectrum []complex128, binHz float64, gain func(hz float64) complex128) {
	k, at := 0, gain(0)
	for k < len(spectrum)-1 {
		next := min(max(k+1, int(float64(k)*knotRatio)), len(spectrum)-1)
		then := gain(float64(next) * binHz)
		slope := (then - at) * complex(1/float64(next-k), 0)
		for i := k; i < next; i++ {
			spectrum[i] *= at + slope*complex(float64(i-k), 0)
		}
		k, at = next, then
	}
	spectrum[k] *= at
}

// smooth is the least even number of factors 2, 3 and 5 not below n, where the
// transform is fast; a power of two that is little longer is faster still, and so are some
// longer ones.
func smooth(n int) int {
	best := 1
	for best < n {
		best *= 2
	}
	if best <= n+n/powerOfTwo {
		return best
	}
	if long := spectrum.FastLenOver(n); long > 0 {
		return long
	}
	for a := 2; a < best; a *= 2 {
		for b := a; b < best; b *= 3 {
			for c := b; c < best; c *= 5 {
				if c >= n {
					best = c
				}
			}
		}
	}
	return best
}
