package analysis

import (
	"math"

	"stillglow/analysis/figure"
)

// crestFactor is the peak over rms, both without the DC: 1 for a square wave,
// √2 for a sine, 9 and more for spikes on a quiet line. The gain cancels; what is
// left of its uncertainty is the step's in the peak and, in the rms, the spread from
// part to part of the record. It is not measured where nothing varies, and a lower
// bound where peaks are cut off.
func crestFactor(f *findings) figure.Figure {
	b := f.rec.basic
	if !(b.rms > 0) {
		return figure.NotMeasured("the trace is constant; nothing varies")
	}
	peak := max(b.max-b.mean, b.mean-b.min)
	crest := peak / b.rms
	c := figure.Stated(crest, 0, crest*f.rec.stepSigma()/peak, crest*meanDeviation(b.partRMS)/b.rms)
	c.U = math.Hypot(c.U, crest*knotsDoubt*f.rec.knots/b.rms)
	c.LowerBound = f.shape.clipped > 0
	return c
}
