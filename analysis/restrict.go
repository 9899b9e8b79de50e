package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// restrict takes back, or turns into bounds, the figures that the way the record
// was made can't carry, whatever the samples seem to say.
func (f *findings) restrict(m *Measurement) {
	tr := f.rec.tr
	switch {
	case f.rec.flat():
		m.flatten(f.rec)
		return
	case tr.Acquisition.Extremes != capture.ExtremesNone,
		tr.Acquisition.Mode == capture.AcquisitionPeak, tr.Acquisition.Mode == capture.AcquisitionEnvelope:
		m.keepExtremes(tr.Acquisition.Extremes)
		return
	case tr.Acquisition.Mode == capture.AcquisitionAverage && tr.Acquisition.Averages != 1:
		m.averaged(f.rec)
	case tr.Acquisition.Mode == capture.AcquisitionEnhanced:
		m.filteredAfter(tr.Acquisition.CornerHz)
	default:
		if _, quiet := f.quietest(); quiet {
			m.averaged(f.rec)
		} else if s, steep := f.steepest(); steep {
			m.filteredAfter(s.cornerHz)
		} else if f.limitSeen() {
			boundBelow(&m.PP20MHzV)
			boundBelow(&m.PP20MHz999V)
		}
	}
	m.boundFolded(f.rec)
	m.boundBroadcast(f.rec)
	m.boundWeakly(f.rec)
	if tr.OtherSegmentsPP > 0 {
		for _, p := range []*figure.Figure{&m.PPV, &m.PP20MHzV, &m.PP20MHz999V, &m.Spikes.PeakP95V, &m.Spikes.PeakMaxV} {
			boundBelow(p)
		}
	}
	if float64(f.cut())/float64(len(tr.Volts)) > mostCut {
		for _, s := range m.sums() {
			boundBelow(s)
		}
		m.Noise.CornerHz.LowerBound, m.Noise.AtHz.LowerBound = false, false
	}
}

// cut is how many samples stand at an end of the converter's range, or still at the
// record's own.
func (f *findings) cut() int {
	l := f.rec.tr.Levels
	return max(f.shape.clipped, l.Top.Samples+l.Bottom.Samples)
}

// quietest finds where a fast record of a mode that nobody states is quieter than
// the input of a scope: what is missing was averaged over sweeps, smoothed away or
// limited, and as much of the unit's noise and spikes with it. Noise of next to
// nothing is that of a simulation where there is none lower down either.
func (f *findings) quietest() (at spectrum.ThirdOctave, quiet bool) {
	tr := f.rec.tr
	if tr.Acquisition.Mode != capture.AcquisitionUnknown || tr.SampleRateHz < scopeRateHz {
		return at, false
	}
	top := min(inputTopHz, tr.Span.HighHz)
	if tr.BandwidthHz > 0 {
		top = min(top, inputBandShare*tr.BandwidthHz)
	}
	under, over := 0, 0
	steps := spectrum.QuantisationDensity(f.rec.stepV, tr.SampleRateHz)
	for _, o := range f.floor.figures.ThirdOctaves {
		if o.CentreHz < inputLowHz || o.CentreHz > top {
			continue
		}
		if o.UngatedVPerRtHz = besideSteps(o.UngatedVPerRtHz, steps); o.UngatedVPerRtHz >= inputVPerRtHz {
			over++
			continue
		}
		if under++; at.CentreHz == 0 || o.UngatedVPerRtHz < at.UngatedVPerRtHz {
			at = o
		}
	}
	return at, under >= 2 && (at.UngatedVPerRtHz > simulatedVPerRtHz || over >= noiseOctaves)
}

// besideSteps is the most that a density in V/√Hz holds beside that of the converter's
// steps; all of it where it lies lower, so that the steps' error is no noise of theirs.
func besideSteps(density, steps float64) float64 {
	if density < stepsLeast*steps {
		return density
	}
	density *= 1 + stepsScatter
	return math.Sqrt(max(density*density-steps*steps, stepsScatter*density*density))
}

// flat reports whether the samples show no more than the toggling of one
// converter step.
func (r *record) flat() bool {
	if r.constant() {
		return true
	}
	switch r.tr.Levels.Distinct {
	case 1:
		return true
	case 2: // a two-valued signal of many steps is one
		resolution := r.tr.Levels.ResolutionV
		return resolution == 0 || r.basic.max-r.basic.min < sameStep*resolution
	}
	return false
}

// flatStepV is the step that a flat record is rounded to, in volts; 0: not known.
func (r *record) flatStepV() float64 {
	return max(r.tr.Levels.ResolutionV, r.stepV, r.basic.max-r.basic.min)
}

// sums are the figures that rest on power or spectrum, and those of the register
// alone, since nothing here knows better.
func (m *Measurement) sums() []*figure.Figure {
	out := []*figure.Figure{&m.ACRMSV, &m.PeriodicRMSV, &m.RandomRMSV,
		&m.MainsLineRMS, &m.MainsCombRMS, &m.MainsCombPPV}
	for _, f := range m.Own {
		out = append(out, f)
	}
	return append(append(out, m.noiseFigures()...), m.bandFigures()...)
}

func (m *Measurement) noiseFigures() []*figure.Figure {
	densities := m.Noise.Densities()
	return append(densities[:], &m.Noise.CornerHz, &m.Noise.AtHz)
}

func (m *Measurement) bandFigures() []*figure.Figure {
	var out []*figure.Figure
	for i := range m.Bands {
		out = append(out, &m.Bands[i].RMSV, &m.Bands[i].RMSNoLinesV)
	}
	return out
}

func (m *Measurement) peaks() []*figure.Figure {
	s := &m.Spikes
	return []*figure.Figure{&m.PPV, &m.PP20MHzV, &m.PP20MHz999V, &s.PeakMedianV, &s.PeakP95V, &s.PeakMaxV,
		&s.RisingPeakMedianV, &s.FallingPeakMedianV}
}

// takeBack turns figures that were measured into ones that are not.
func takeBack(reason string, figures ...*figure.Figure) {
	for _, f := range figures {
		if f.Known {
			*f = figure.NotMeasured(reason)
		}
	}
}

// missCycle takes back every figure that rests on the switching cycle.
func (m *Measurement) missCycle(reason string) {
	miss := figure.NotMeasured(reason)
	for _, f := range []*figure.Figure{&m.SwitchingHz, &m.SwitchingSpreadHz, &m.SwitchingFundamentalRMSV, &m.BurstHz,
		&m.RipplePPV, &m.RippleRMSV, &m.SecondSwitchingHz, &m.Spikes.PerCycle} {
		*f = miss
	}
	m.Kind, m.Cycle = cycle.Unknown, noCycle(0, miss)
}

// flatten leaves nothing but DC of a record that shows one converter step or
// none.
func (m *Measurement) flatten(rec *record) {
	bound := "what the instrument's resolution hides"
	if step := rec.flatStepV(); step > 0 {
		bound = "under " + capture.SI(step, "V", 3) + " peak-to-peak, less than one ADC step"
	}
	why := fmt.Sprintf("the record is flat: what varies is %s; use fewer volts per division, AC-coupled", bound)
	miss := figure.NotMeasured(why)
	for _, list := range [][]*figure.Figure{m.sums(), m.peaks(), {&m.MainsHz, &m.MainsLineHz, &m.Noise.AtHz}} {
		for _, f := range list {
			*f = miss
		}
	}
	m.missCycle(why)
	m.Spikes = noSpikes(miss)
	m.Noise.ThirdOctaves, m.Lines, m.AliasSuspected = nil, nil, false
}

// keepExtremes keeps what least and greatest values show: peaks, and how often
// they come.
func (m *Measurement) keepExtremes(which capture.Extremes) {
	const why = "a peak-detect or envelope record holds the lowest and highest of each interval, not samples at even times; a capture in normal (sample) mode is needed"
	takeBack(why, m.sums()...)
	hz := m.SwitchingHz
	m.missCycle(why)
	m.SwitchingHz = hz // what repeats does so in the extremes, too
	takeBack(why, &m.MainsHz, &m.MainsLineHz, &m.Spikes.PerS, &m.Spikes.DurationMedianS, &m.Spikes.AreaMedianVs, &m.Spikes.RingHz, &m.Spikes.RingQ,
		&m.Spikes.RisingRingHz, &m.Spikes.RisingRingQ, &m.Spikes.FallingRingHz, &m.Spikes.FallingRingQ,
		&m.Spikes.RisingPeakMedianV, &m.Spikes.FallingPeakMedianV)
	// The low-pass takes the mean of least and greatest values that follow each other.
	// What it would leave of the true curve is under the record's own extent.
	if m.PPV.Known && which != capture.ExtremesLeast && which != capture.ExtremesGreatest {
		for _, f := range []*figure.Figure{&m.PP20MHzV, &m.PP20MHz999V} {
			if f.Known {
				f.Value, f.U = m.PPV.Value, m.PPV.U
			}
		}
	}
	// ahead of any low-pass, and the greatest of the noise of each interval
	for _, f := range []*figure.Figure{&m.PP20MHzV, &m.PP20MHz999V, &m.Spikes.PeakMedianV, &m.Spikes.PeakP95V} {
		f.UpperBound = f.Known && !f.LowerBound
	}
	m.Noise.ThirdOctaves = nil
	if which == capture.ExtremesLeast || which == capture.ExtremesGreatest {
		m.PPV.LowerBound = true
		takeBack(why, &m.DCV)
	}
}

// fades reports whether the cycles of a mean over sweeps are larger at one place of
// the record than at another: cycles that keep no time run out of step with the
// trigger away from it, and average away.
func (r *record) fades(hz figure.Figure) bool {
	if !hz.Known || !(hz.Value > 0) {
		return false
	}
	period := r.tr.SampleRateHz / hz.Value
	cycles := int(float64(len(r.tr.Volts)) / period)
	stretches := min(cycles, fadeStretches)
	if stretches < 2 {
		return false
	}
	least, most := math.Inf(1), 0.0
	for i := range stretches {
		from, to := i*cycles/stretches, (i+1)*cycles/stretches // whole cycles
		b := basicsOf(r.tr.Volts[int(float64(from)*period):int(float64(to)*period)])
		least, most = min(least, b.rms), max(most, b.rms)
	}
	return least < fadeShare*most
}

// filteredAfter makes lower bounds of what a filter behind the converter takes away:
// all that reaches above its corner in Hz, or where that is not known, all that is
// fast. What was folded ahead of it stays, so that noise and audio are upper ones
// where an unfiltered record's are.
func (m *Measurement) filteredAfter(cornerHz float64) {
	fast := append(m.peaks(), &m.ACRMSV, &m.PeriodicRMSV, &m.RandomRMSV, &m.Spikes.PerS, &m.Spikes.PerCycle)
	if !(cornerHz > cornerCycles*m.SwitchingHz.Value) {
		fast = append(fast, &m.SwitchingFundamentalRMSV, &m.RipplePPV, &m.RippleRMSV)
	}
	for i := range m.Bands {
		if b := &m.Bands[i]; b.HighHz >= shortPeakHz && !(cornerHz > cornerBands*b.HighHz) {
			fast = append(fast, &b.RMSV, &b.RMSNoLinesV)
		}
	}
	if cornerHz > 0 && m.Noise.AtHz.Value*cornerBands > cornerHz {
		for _, d := range m.Noise.Densities() {
			fast = append(fast, d)
		}
	}
	for _, f := range fast {
		boundBelow(f)
	}
	bound(&m.Spikes.DurationMedianS) // smoothing lengthens a pulse
}

// averaged makes lower bounds of what the mean over sweeps takes away: all that is
// not locked to the trigger.
func (m *Measurement) averaged(rec *record) {
	figures := append(m.sums(), m.peaks()...)
	if m.Kind != cycle.Fixed || rec.fades(m.SwitchingHz) {
		figures = append(figures, &m.RipplePPV, &m.RippleRMSV, &m.SwitchingFundamentalRMSV)
	}
	for _, f := range figures {
		boundBelow(f)
	}
	m.Noise.CornerHz.LowerBound, m.Noise.AtHz.LowerBound = false, false
	takeBack("the instrument averaged sweeps, which hides spikes that are not locked to its trigger; a capture in normal (sample) mode is needed", &m.Spikes.PerS, &m.Spikes.PerCycle)
	m.Spikes.ThresholdV = 0
	m.Noise.ThirdOctaves = nil
}
