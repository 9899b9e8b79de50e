package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// rippleResult is the switching cycle in figures.
type rippleResult struct {
	kind                       SwitchingKind
	hz, spreadHz, burstHz      figure.Figure
	secondHz                   figure.Figure
	ppV, rmsV, fundamentalRMSV figure.Figure
	cycle                      Cycle
}

// rippleFigures turns the track and the folded cycle into figures. randomV is the
// record's random part, which tells whether the converter's steps average out;
// clipped is how many samples lie at its end stops.
func rippleFigures(rec *record, sw switching, combs spectrum.Combs, randomV figure.Figure, clipped int) rippleResult {
	if !sw.shown {
		miss := figure.NotMeasured(whyNoSwitching(rec, sw))
		return rippleResult{hz: miss, spreadHz: miss, burstHz: miss, secondHz: miss, ppV: miss, rmsV: miss, fundamentalRMSV: miss, cycle: noCycle(0, miss)}
	}
	t := sw.track
	none := figure.NotMeasured("the supply does not keep time that way")
	out := rippleResult{kind: t.kind, hz: figure.Known(t.hz), spreadHz: none, burstHz: none,
		secondHz: figure.NotMeasured("no second converter shows")}
	out.hz.U = 2 * max(t.uHz, 1e-9*t.hz)
	if t.kind == SwitchingDithered {
		out.spreadHz = figure.Known(t.spreadHz)
		// the record's own mean frequency is not the supply's where it holds a part
		// of a sweep only, or a part beyond whole ones
		if n := t.sweeps(); n < 1 {
			out.hz.U = max(out.hz.U, t.spreadHz, unseenSweep*t.hz)
			out.spreadHz.LowerBound = true
		} else {
			out.hz.U = math.Hypot(out.hz.U, t.spreadHz/(7*n+3))
		}
	}
	if t.kind == SwitchingBursting && t.burstHz > 0 {
		out.burstHz = figure.Known(t.burstHz)
		out.burstHz.U = 2 * t.uBurstHz
	}
	second := combs.SecondHz
	if second == 0 {
		second = sw.secondHz
	}
	if second > 0 {
		out.secondHz = figure.Known(second)
	}
	out.fundamentalRMSV = fundamentalFigure(rec, sw)
	out.ppV, out.rmsV = rippleSize(rec, sw, randomV)
	out.ppV.LowerBound = out.ppV.LowerBound || clipped > 0
	out.cycle = meanCycle(sw)
	if why := ringOverRipple(sw.model, out.ppV); why != "" {
		miss := figure.NotMeasured(why)
		out.ppV, out.rmsV = miss, miss
		whole := out.cycle
		out.cycle = noCycle(whole.PeriodS, miss)
		out.cycle.Cycles, out.cycle.MeanV, out.cycle.SpreadV = whole.Cycles, whole.MeanV, whole.SpreadV
	}
	return out
}

// whyNoSwitching is the reason why the capture shows no switching, and what would
// be needed.
func whyNoSwitching(rec *record, sw switching) string {
	tr := rec.tr
	switch {
	case sw.track != nil && rec.aliasPossible():
		return fmt.Sprintf("a line at %s may be an alias of switching above half the sample rate; 1 MS/s or more is needed", hertz(sw.track.hz))
	case sw.track != nil:
		return fmt.Sprintf("the switching frequency lies above the %s that the capture shows; a faster sample rate is needed", hertz(tr.Span.HighHz))
	case tr.Span.HighHz < 20e3:
		return fmt.Sprintf("the capture shows nothing above %s; 1 MS/s or more is needed to show the switching ripple", hertz(tr.Span.HighHz))
	}
	return fmt.Sprintf("no switching line stands out of the noise between %s and %s; a shorter time base or more gain is needed",
		hertz(searchLowHz), hertz(min(searchHighHz, 0.45*tr.SampleRateHz)))
}

// noCycle is a cycle none of whose figures is measured.
func noCycle(periodS float64, miss figure.Figure) Cycle {
	return Cycle{PeriodS: periodS, RiseSlopeVPerS: miss, FallSlopeVPerS: miss, ESRStepV: miss, ApparentDuty: miss, ESRStepShare: miss}
}

// fundamentalFigure is the rms of the folded cycle's fundamental.
func fundamentalFigure(rec *record, sw switching) figure.Figure {
	re, im := 0.0, 0.0
	n := float64(len(sw.fold.mean))
	for i, v := range sw.fold.mean {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / n)
		re += v * cos
		im += v * sin
	}
	deviation := 2 * sw.model.binSigma * math.Sqrt(2/float64(sw.model.bins))
	if sw.fold.sigma < undithered*rec.stepV {
		deviation += 2 * rec.stepV / math.Sqrt(24)
	}
	return lineB.of(math.Hypot(re, im)*2/n/math.Sqrt2, deviation, rec.setup.GainFraction)
}

// rippleSize is the smooth ripple's peak-to-peak and rms.
func rippleSize(rec *record, sw switching, randomV figure.Figure) (ppV, rmsV figure.Figure) {
	c, gain := sw.model, rec.setup.GainFraction
	deviation := 2 * c.uPPV
	rmsDeviation := deviation
	if c.ppV > 0 {
		rmsDeviation = deviation * min(c.rmsV/c.ppV, 1)
	}
	// what the cycle's own fit can't know, and where too little noise averages
	// over the steps, these
	doubt := c.doubtV
	if randomV.Known && randomV.Value < 0.5*rec.stepV {
		doubt = math.Hypot(doubt, rec.stepV/math.Sqrt(6))
	}
	ppV, rmsV = figure.Known(c.ppV), figure.Known(c.rmsV)
	ppV.U = math.Hypot(rippleB.of(c.ppV, deviation, gain).U, 2*doubt)
	rmsV.U = math.Hypot(rippleB.of(c.rmsV, rmsDeviation, gain).U, 2*doubt*min(c.rmsV/max(c.ppV, 1e-300), 1))
	// with fewer than five harmonics in the span the corners are rounded off
	rounded := rec.tr.Span.HighHz < 5*sw.track.hz
	ppV.LowerBound, rmsV.LowerBound = rounded, rounded
	return ppV, rmsV
}

// ringOverRipple is the reason why a ripple figure does not count that its own
// uncertainty exceeds because a ring lasts through the cycle; empty where it
// counts.
func ringOverRipple(c *cycleModel, ppV figure.Figure) string {
	if !c.ringFills() || ppV.U < ppV.Value {
		return ""
	}
	why := fmt.Sprintf("what its fit leaves is %.2g mV p-p, give or take %.2g mV", 1e3*ppV.Value, 1e3*ppV.U)
	if c.upper {
		why = fmt.Sprintf("both together are %.3g mV p-p", 1e3*c.ppV)
	}
	return "a ring lasts through the cycle and can't be told from the ripple under it, " + why + "; damp the ring at the output and take it again"
}

// meanCycle is the mean cycle as measured, spikes included, and the parts of the
// smooth one.
func meanCycle(sw switching) Cycle {
	c, f := sw.model, sw.fold
	out := noCycle(sw.periodS(), figure.NotMeasured("the cycle is not two straight parts"))
	out.Cycles = int(f.cycles)
	if c.rise.Known {
		out.RiseSlopeVPerS, out.FallSlopeVPerS, out.ESRStepV, out.ApparentDuty = c.rise, c.fall, c.stepV, c.duty
		out.ESRStepShare = figure.NotMeasured("no ripple shows")
		if c.ppV > 0 {
			out.ESRStepShare = figure.Known(min(c.stepV.Value/c.ppV, 1))
		}
	}
	n := min(cyclePoints, f.bins)
	per := f.bins / n
	low := 0
	for i, v := range c.smooth {
		if v < c.smooth[low] {
			low = i
		}
	}
	for i := range n {
		var v, sd, w float64
		for k := range per {
			b := (low + i*per + k) % f.bins
			v += f.mean[b]
			sd += f.variance[b] * f.n[b]
			w += f.n[b]
		}
		out.MeanV = append(out.MeanV, v/float64(per))
		if w > 0 {
			out.SpreadV = append(out.SpreadV, math.Sqrt(sd/w))
		} else {
			out.SpreadV = append(out.SpreadV, 0)
		}
	}
	mean := 0.0
	for _, v := range out.MeanV {
		mean += v
	}
	mean /= float64(n)
	for i := range out.MeanV {
		out.MeanV[i] -= mean
	}
	return out
}
