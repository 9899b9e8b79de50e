package analysis

import (
	"context"
	"fmt"
	"math"

	"stillglow/analysis/bandlimit"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// shape is what the samples show without their cycle: the peak-to-peak in a
// 20 MHz span, what the converter cut off, the drawing.
type shape struct {
	ppV, pp999V figure.Figure
	filter      string // the low-pass of both, in words; empty where not measured
	clipped     int    // samples at the converter's end stops
	waveform    Envelope
	err         error // the context's
}

// measureShape takes the peak-to-peak in the 20 MHz span and draws the record.
func measureShape(ctx context.Context, rec *record) shape {
	tr := rec.tr
	out := shape{clipped: rec.clippedCount()}
	low, words := lowPassOf(tr, rec.setup), ""
	switch {
	case limitedTo20MHz(tr):
		words = "none: the instrument limited the bandwidth itself"
	case low == bandlimit.None:
		words = "none: full span"
	default:
		words = low.Words(bandwidthLimitHz)
	}
	limited := limitedTo20MHz(tr) && tr.SampleRateHz >= limitedRate*bandwidthLimitHz && (tr.BandwidthHz == 0 || tr.BandwidthHz >= limitedAt*bandwidthLimitHz)
	if tr.Span.HighHz < spanAtLimit*bandwidthLimitHz && !limited {
		miss := figure.NotMeasured(fmt.Sprintf("the capture shows nothing above %s; 50 MS/s or more and 20 MHz of bandwidth are needed", hertz(tr.Span.HighHz)))
		out.ppV, out.pp999V = miss, miss
	} else {
		pp, err := bandlimit.Measure(ctx, tr.Volts, rec.basic.mean, rec.basic.min, rec.basic.max, tr.SampleRateHz, low, bandwidthLimitHz)
		if err != nil {
			out.err = err
			return out
		}
		gain, step, parts := rec.setup.GainFraction, math.Sqrt2*rec.stepSigma(), meanDeviation(pp.PartsV)
		out.ppV, out.pp999V, out.filter = figure.Stated(pp.AbsoluteV, gain, step, parts), figure.Stated(pp.P999V, gain, step, parts), words
		out.ppV.LowerBound, out.pp999V.LowerBound = out.clipped > 0, out.clipped > 0
	}
	out.waveform = rec.envelope()
	return out
}

// lowPassOf is the low-pass that stands in for the instrument's limit.
func lowPassOf(tr *capture.Trace, setup Setup) bandlimit.LowPass {
	switch {
	case limitedTo20MHz(tr):
		return bandlimit.None
	case setup.LowPass == bandlimit.Default:
		return bandlimit.DefaultLowPass
	}
	return setup.LowPass
}

// Response20MHz is the response, by frequency in hertz, of the low-pass behind which
// Measure reads the peak-to-peak of a trace in the 20 MHz span.
func Response20MHz(tr *capture.Trace, setup Setup) func(hz float64) complex128 {
	return lowPassOf(tr, setup).Sampled(tr.SampleRateHz, bandwidthLimitHz)
}

// limitedTo20MHz reports whether the instrument's own limit kept out what lies above
// 20 MHz: not where it is stated to be wider. Unstated, it is the usual one.
func limitedTo20MHz(tr *capture.Trace) bool {
	return tr.BandLimited && tr.BandwidthHz <= limitWithin*bandwidthLimitHz
}
