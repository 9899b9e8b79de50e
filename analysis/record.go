package analysis

import (
	"fmt"
	"iter"
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// record is the trace under measurement with what is known of it before any
// search. No step changes it.
type record struct {
	tr    *capture.Trace
	setup Setup // GainFraction set
	basic basics
	stepV float64 // the converter's step, V; 0: not known
	knots float64 // V: by how much the rms of the converter's own points lies over the record's
}

// newRecord checks that the trace can be measured and takes what one pass shows. The
// samples of a calculated one lie on no converter's steps, which are not looked for.
func newRecord(tr *capture.Trace, setup Setup, calculated bool) (*record, error) {
	if tr == nil || len(tr.Volts) == 0 {
		return nil, fmt.Errorf("the trace holds no samples")
	}
	if !(tr.SampleRateHz > 0) || math.IsInf(tr.SampleRateHz, 0) {
		return nil, fmt.Errorf("the trace has no sample rate")
	}
	step := make(chan float64, 1)
	go func() { // meanwhile; 0: on no steps
		codes := 0.0
		if !calculated {
			codes, _ = spectrum.ADCStep(tr.Volts)
		}
		step <- codes
	}()
	basic, codes := basicsOf(tr.Volts), <-step
	if !basic.finite {
		return nil, fmt.Errorf("sample %d is not a number", basic.bad)
	}
	if b := setup.Baseline; b != nil && b.Mode != tr.Mode {
		return nil, fmt.Errorf("the baseline %s is a %s one, the capture is not; expected a baseline of the same mode", b.File, b.Mode.Word())
	}
	if setup.GainFraction <= 0 {
		setup.GainFraction = defaultGainFraction
	}
	r := &record{tr: tr, setup: setup, basic: basic, stepV: tr.StepV}
	if codes > 0 && (r.stepV == 0 || codes < sameStep*r.stepV) {
		r.stepV = codes
	}
	r.knots = knotsOver(tr.Volts, r.pointsEach(), basic.mean, basic.rms)
	return r, nil
}

// constant reports whether nothing varies.
func (r *record) constant() bool { return r.basic.max == r.basic.min }

// stepSigma is the standard deviation of one reading by the converter's step, V
// (rectangular).
func (r *record) stepSigma() float64 { return r.stepV / math.Sqrt(12) }

// wouldShowSwitching reports whether the span reaches into the range in which
// most supplies switch.
func (r *record) wouldShowSwitching() bool { return r.tr.Span.HighHz > mostSwitchHz }

// aliasPossible reports whether half the rate lies inside the range in which
// supplies switch and nothing is known to have low-passed the signal ahead of
// the converter.
func (r *record) aliasPossible() bool {
	half := r.tr.SampleRateHz / 2
	if half >= cycle.TradeHighHz {
		return false
	}
	return !(r.tr.BandwidthHz > 0 && r.tr.BandwidthHz <= atHalfRate*half)
}

// clippedCount counts samples at the converter's ends: the known full scale
// where the file states it, else the pile-up at the record's own extremes; and those that
// the file marks as over the range, if they are more.
func (r *record) clippedCount() int { return max(r.atEnds(), r.tr.Levels.OverRange) }

// atEnds counts the samples at the converter's ends by their volts.
func (r *record) atEnds() int {
	tr := r.tr
	if !(tr.FullScaleMaxV > tr.FullScaleMinV) {
		low, high := spectrum.Clipped(r.reaching, r.basic.min, r.basic.max, r.stepV)
		return low + high
	}
	tol := max(r.stepV/2, endStopOff*(tr.FullScaleMaxV-tr.FullScaleMinV))
	lo, hi := tr.FullScaleMinV+tol, tr.FullScaleMaxV-tol
	if r.basic.min > lo && r.basic.max < hi {
		return 0
	}
	n := 0
	for stretch := range r.reaching(lo, hi) {
		for _, v := range stretch {
			if v <= lo || v >= hi {
				n++
			}
		}
	}
	return n
}

// reaching are the stretches of the record that hold all samples down to low and up to
// high. No two of them adjoin.
func (r *record) reaching(low, high float64) iter.Seq[[]float64] {
	return func(yield func([]float64) bool) {
		columns, n := r.basic.columns, len(r.tr.Volts)
		for c := 0; c < len(columns); c++ {
			from := c
			for c < len(columns) && (columns[c].min <= low || columns[c].max >= high) {
				c++
			}
			if c > from && !yield(r.tr.Volts[from*n/len(columns):c*n/len(columns)]) {
				return
			}
		}
	}
}
