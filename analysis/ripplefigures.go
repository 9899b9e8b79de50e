package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// rippleResult is the switching cycle in figures.
type rippleResult struct {
	kind                       cycle.Kind
	hz, spreadHz, burstHz      figure.Figure
	secondHz                   figure.Figure
	ppV, rmsV, fundamentalRMSV figure.Figure
	cycle                      Cycle
}

// secondFigure is the frequency of a second converter: of the lines that are named after
// one or, where none is, of the comb that the search for the cycle left.
func secondFigure(rec *record, sw switching, combs spectrum.Combs) figure.Figure {
	hz, uHz := combs.SecondHz, combs.SecondUHz
	if hz == 0 && sw.SecondHz > 0 {
		u, ok := sw.clock(rec).Second(sw.SecondHz)
		if !ok {
			return figure.NotMeasured("lines stand off the switching frequency's harmonics, but the record is too short to tell a second converter's fundamental from a harmonic of one beside the first; a longer one is needed")
		}
		hz, uHz = sw.SecondHz, u
	}
	if hz == 0 {
		return figure.NotMeasured("no second converter shows")
	}
	f := figure.Known(hz)
	f.U = math.Hypot(uHz, rec.tr.SampleRateUHz/rec.tr.SampleRateHz*hz)
	return f
}

// rippleFigures turns the track and the folded cycle into figures. randomV is the
// record's random part, which shows whether the converter's steps average out;
// clipped is how many samples lie at its end stops.
func rippleFigures(rec *record, sw switching, combs spectrum.Combs, randomV figure.Figure, clipped int) rippleResult {
	if !sw.shown {
		miss := figure.NotMeasured(whyNoSwitching(rec, sw))
		return rippleResult{hz: miss, spreadHz: miss, burstHz: miss, secondHz: miss, ppV: miss, rmsV: miss, fundamentalRMSV: miss, cycle: noCycle(0, miss)}
	}
	t := sw.Track
	none := figure.NotMeasured("the supply does not switch that way")
	out := rippleResult{kind: t.Kind, hz: figure.Known(t.Hz), spreadHz: none, burstHz: none,
		secondHz: secondFigure(rec, sw, combs)}
	out.hz.U = 2 * max(t.SigmaHz, hzRounding*t.Hz)
	if t.Kind == cycle.Dithered {
		out.spreadHz = figure.Known(t.SpreadHz)
		// the record's own mean frequency is not the supply's where it holds a part
		// of a sweep only, or a part beyond whole ones
		if n := t.Sweeps(); n < 1 {
			out.hz.U = max(out.hz.U, t.SpreadHz, unseenSweep*t.Hz)
			out.spreadHz.LowerBound = true
		} else {
			out.hz.U = math.Hypot(out.hz.U, t.SpreadHz/(7*n+3))
		}
	}
	if t.Kind == cycle.Bursting && t.BurstHz > 0 {
		out.burstHz = figure.Known(t.BurstHz)
		out.burstHz.U = 2 * t.BurstSigmaHz
	}
	// what the stamps leave open of the sample rate, every frequency shares
	share := rec.tr.SampleRateUHz / rec.tr.SampleRateHz
	out.hz.U = math.Hypot(out.hz.U, share*out.hz.Value)
	if out.burstHz.Known {
		out.burstHz.U = math.Hypot(out.burstHz.U, share*out.burstHz.Value)
	}
	stands := false
	out.fundamentalRMSV, stands = fundamentalFigure(rec, sw)
	if t.Kind == cycle.Fixed && !stands {
		// what the cycle repeats at may be a part of the clock's frequency
		out.hz.LowerBound, out.fundamentalRMSV.LowerBound = true, true
	}
	out.ppV, out.rmsV = rippleSize(rec, sw, randomV)
	out.ppV.LowerBound = out.ppV.LowerBound || clipped > 0
	if sw.explainsLittle() {
		out.ppV.LowerBound, out.rmsV.LowerBound, out.fundamentalRMSV.LowerBound = true, true, true
	}
	out.cycle = meanCycle(sw)
	if why := ringOverRipple(sw.Model, out.ppV); why != "" {
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
	case sw.Track != nil && rec.aliasPossible():
		return fmt.Sprintf("a line at %s may be an alias of switching above half the sample rate; 1 MS/s or more is needed", hertz(sw.Track.Hz))
	case sw.Track != nil:
		return fmt.Sprintf("the switching frequency lies above the %s that the capture shows; a faster sample rate is needed", hertz(tr.Span.HighHz))
	case tr.Span.HighHz < audioTopHz:
		return fmt.Sprintf("the capture shows nothing above %s; 1 MS/s or more is needed to show the switching ripple", hertz(tr.Span.HighHz))
	}
	return fmt.Sprintf("no switching line stands out from the noise between %s and %s; if the supply was on, use a faster timebase or fewer volts per division",
		hertz(cycle.SearchLowHz), hertz(min(cycle.SearchHighHz, searchedShare*tr.SampleRateHz)))
}

// noCycle is a cycle none of whose figures is measured.
func noCycle(periodS float64, miss figure.Figure) Cycle {
	return Cycle{PeriodS: periodS, RiseSlopeVPerS: miss, FallSlopeVPerS: miss, ESRStepV: miss, ApparentDuty: miss, ESRStepShare: miss}
}

// fundamentalFigure is the rms of the folded cycle's fundamental; stands reports whether
// it stands out of the noise.
func fundamentalFigure(rec *record, sw switching) (out figure.Figure, stands bool) {
	re, im := 0.0, 0.0
	n := float64(len(sw.Fold.Mean))
	for i, v := range sw.Fold.Mean {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / n)
		re += v * cos
		im += v * sin
	}
	deviation := 2 * sw.Model.BinSigmaV * math.Sqrt(2/float64(sw.Model.Bins))
	if sw.Fold.SigmaV < undithered*rec.stepV {
		deviation += 2 * rec.stepV / math.Sqrt(24)
	}
	v := math.Hypot(re, im) * 2 / n / math.Sqrt2
	droop := rec.meansDroop(sw.Track.Hz)
	out = lineB.Of(v, math.Hypot(deviation, 2*sw.FundamentalLoss*v), rec.setup.GainFraction)
	out.U = math.Hypot(out.U, 2*droop*v)
	out.LowerBound = droop > noticedDroop
	return out, v > deviation
}

// meansDroop is the share of a line that is lost where each sample is the mean over a
// sample interval, 1 - sin(x)/x at x = π·f/rate: that of a record made so, or that of a
// slow one of a scope of which nobody says how it was made.
func (r *record) meansDroop(hz float64) float64 {
	tr := r.tr
	means := tr.Acquisition.Mode == capture.AcquisitionHighRes || tr.Acquisition.Mode == capture.AcquisitionUnknown && !tr.AntiAliased && tr.Span.HighHz < cornerHarmonics*hz
	if !means {
		return 0
	}
	x := math.Pi * hz / tr.SampleRateHz
	return 1 - math.Sin(x)/x
}

// rippleSize is the smooth ripple's peak-to-peak and rms.
func rippleSize(rec *record, sw switching, randomV figure.Figure) (ppV, rmsV figure.Figure) {
	c, gain := sw.Model, rec.setup.GainFraction
	deviation := 2 * c.PPSigmaV
	rmsDeviation := deviation
	if c.PPV > 0 {
		rmsDeviation = deviation * min(c.RMSV/c.PPV, 1)
	}
	// what the cycle's own fit can't know, and where too little noise averages
	// over the steps, these
	doubt, rmsDoubt := c.PPDoubtV, c.RMSDoubtV
	if randomV.Known && randomV.Value < unditheredRandom*rec.stepV {
		doubt = math.Hypot(doubt, rec.stepV/math.Sqrt(6))
		rmsDoubt = math.Hypot(rmsDoubt, rec.stepV/math.Sqrt(6)*min(c.RMSV/max(c.PPV, tiny), 1))
	}
	ppV, rmsV = figure.Known(c.PPV), figure.Known(c.RMSV)
	ppV.U = math.Hypot(rippleB.Of(c.PPV, deviation, gain).U, 2*doubt)
	rmsV.U = math.Hypot(rippleB.Of(c.RMSV, rmsDeviation, gain).U, 2*rmsDoubt)
	rounded := rec.tr.Span.HighHz < cornerHarmonics*sw.Track.Hz
	ppV.LowerBound, rmsV.LowerBound = rounded, rounded
	return ppV, rmsV
}

// ringOverRipple is the reason why a ripple figure does not count that its own
// uncertainty exceeds because ringing lasts through the cycle; empty where it
// counts.
func ringOverRipple(c *cycle.Model, ppV figure.Figure) string {
	if !c.RingFills() || ppV.U < ppV.Value {
		return ""
	}
	why := fmt.Sprintf("what is left once it is fitted and subtracted is %.2g mV p-p, give or take %.2g mV", 1e3*ppV.Value, 1e3*ppV.U)
	if c.IncludesRing {
		why = fmt.Sprintf("both together are %.3g mV p-p", 1e3*c.PPV)
	}
	return "ringing lasts through the cycle and can't be separated from the ripple under it, " + why + "; damp the ringing at the output and capture it again"
}

// meanCycle is the mean cycle as measured, spikes included, and the parts of the
// smooth one.
func meanCycle(sw switching) Cycle {
	c, f := sw.Model, sw.Fold
	out := noCycle(sw.periodS(), figure.NotMeasured("the cycle is not two straight parts"))
	out.Cycles = int(f.Cycles)
	if c.RiseVPerS.Known {
		out.RiseSlopeVPerS, out.FallSlopeVPerS, out.ESRStepV, out.ApparentDuty = c.RiseVPerS, c.FallVPerS, c.StepV, c.Duty
		out.ESRStepShare = figure.NotMeasured("no ripple shows")
		if c.PPV > 0 {
			out.ESRStepShare = figure.Known(min(c.StepV.Value/c.PPV, 1))
		}
	}
	n := min(cyclePoints, f.Bins)
	per := f.Bins / n
	low := 0
	for i, v := range c.Smooth {
		if v < c.Smooth[low] {
			low = i
		}
	}
	for i := range n {
		var v, sd, w float64
		for k := range per {
			b := (low + i*per + k) % f.Bins
			v += f.Mean[b]
			sd += f.VarianceV2[b] * f.Count[b]
			w += f.Count[b]
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
