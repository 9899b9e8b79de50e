package analysis

import "stillglow/analysis/figure"

// crestFactor is the peak over rms, both without the DC: 1 for a square wave,
// √2 for a sine, 9 and more for spikes on a quiet line. It is not measured where
// nothing varies.
func crestFactor(f *findings) figure.Figure {
	b := f.rec.basic
	if b.rms > 0 {
		return figure.Known(max(b.max-b.mean, b.mean-b.min) / b.rms)
	}
	return figure.NotMeasured("the trace is constant; nothing varies")
}
