package analysis

import (
	"context"
	"fmt"
	"math"
	"sort"

	"stillglow/analysis/bandlimit"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// bandwidthLimitHz is the span in which the trade states peak-to-peak ripple
// and noise.
const bandwidthLimitHz = 20e6

// Measure takes every figure that the trace can show. Those it can't show carry
// the reason. The only errors are the context's and an unusable trace (no
// samples, no rate, samples that are not numbers).
func Measure(ctx context.Context, tr *capture.Trace, setup Setup) (*Measurement, error) {
	if tr == nil || len(tr.Volts) == 0 {
		return nil, fmt.Errorf("the trace holds no samples")
	}
	if !(tr.SampleRateHz > 0) || math.IsInf(tr.SampleRateHz, 0) {
		return nil, fmt.Errorf("the trace has no sample rate")
	}
	basic := basicsOf(tr.Volts)
	if !basic.finite {
		return nil, fmt.Errorf("sample %d is not a number", basic.bad)
	}
	if setup.GainFraction <= 0 {
		setup.GainFraction = defaultGainFraction
	}
	j := &job{ctx: ctx, tr: tr, setup: setup, th: defaultThresholds(), basic: basic}
	return j.run()
}

// job is one measurement under way.
type job struct {
	ctx   context.Context
	tr    *capture.Trace
	setup Setup
	th    thresholds
	basic basics
	m     *Measurement

	stepV   float64
	coarse  coarseSwitching
	track   *cycleTrack
	fold    *fold
	model   *cycleModel
	res     *residue
	spikes  spikeFinding
	plain   spectrum.Multirate
	mains   spectrum.Mains
	combs   spectrum.Combs
	look    spectrum.BaselineMatch
	pp      bandlimit.PeakToPeak
	ppKnown bool
	ungated bool
	gate    *gatedResidue
	clipped int // samples at the converter's end stops
	periodS float64
}

func (j *job) run() (*Measurement, error) {
	tr := j.tr
	n := len(tr.Volts)
	j.m = &Measurement{
		File: tr.File, Channel: tr.Channel, SHA256: tr.SHA256,
		SampleRateHz: tr.SampleRateHz, Samples: n, DurationS: tr.DurationS(),
		Coupling: tr.Coupling, Calibrated: tr.Calibrated, Span: tr.Span, LoadA: j.setup.LoadA,
	}
	j.stepV = tr.StepV
	if s, ok := spectrum.ADCStep(tr.Volts); ok {
		if j.stepV == 0 || s < 1.5*j.stepV {
			j.stepV = s
		}
	}
	j.basicFigures()

	// Two lines of work at a time. What each finds depends neither on the other
	// nor on the number of processors; the peak-to-peak and the drawing wait until
	// nothing else needs their processor.
	ctx, cancel := context.WithCancel(j.ctx)
	defer cancel()
	spectral, rest := make(chan error, 1), make(chan error, 1)
	var lines []spectrum.Line
	go func() {
		src := spectrum.Samples(tr.Volts)
		var err error
		if j.plain, err = spectrum.Of(ctx, src, tr.SampleRateHz, spectrum.Options{Keep: true}); err == nil {
			if lines, err = spectrum.FindLines(ctx, src, tr.SampleRateHz, j.plain, spectrum.LineOptions{HighHz: tr.Span.HighHz}); err == nil {
				j.mains = spectrum.MeasureMains(src, j.plain, lines, j.setup.MainsHz)
			}
		}
		spectral <- err
		if err == nil {
			err = j.peakToPeak20(ctx)
		}
		j.m.Waveform = envelopeOf(tr.Volts, 0, n, waveformColumns, tr.SampleRateHz)
		low, high := j.clippedCounts()
		j.clipped = low + high
		rest <- err
	}()
	j.switching()
	j.spikeSearch()
	if err := <-spectral; err != nil {
		<-rest
		return nil, err
	}
	m := j.m
	mainsHz := 0.0
	if j.mains.MainsHz.Known {
		mainsHz = j.mains.MainsHz.Value
	}
	name := func() {
		switchHz := 0.0
		if j.track != nil {
			switchHz = j.track.hz
		}
		m.Lines, j.combs = spectrum.NameLines(lines, mainsHz, switchHz)
		j.look = spectrum.MarkInstrument(m.Lines, j.stepV, baselineOf(j.setup.Baseline), j.setup.GainFraction)
	}
	name()
	if j.ownSwitching(m.Lines) {
		name()
	}
	var ownMains spectrum.Mains
	ownMains, j.look.MainsIsInstruments = j.mains.LessBaseline(m.Lines, baselineOf(j.setup.Baseline), j.setup.GainFraction)
	m.MainsHz, m.MainsLineHz, m.MainsLineRMS = ownMains.MainsHz, ownMains.LineHz, ownMains.LineRMS
	m.MainsCombRMS, m.MainsCombPPV = ownMains.CombRMS, ownMains.CombPPV
	m.Bands = spectrum.MeasureBands(j.plain, m.Lines, tr.Span, j.setup.GainFraction)
	if j.setup.Quasi468 {
		m.Bands = append(m.Bands, spectrum.MeasureQuasiPeak(spectrum.Samples(tr.Volts), j.plain, tr.Span))
	}
	j.switchingFigures()
	j.spikeFigures()
	err := j.noise()
	if err != nil {
		cancel()
	}
	if restErr := <-rest; err == nil {
		err = restErr
	}
	if err != nil {
		return nil, err
	}
	j.pard()
	j.m.Spectrum = j.plain.Curve(baselineCurve(j.setup.Baseline))
	j.envelopes()
	j.uncertainties()
	j.ringOverRipple()
	j.cautions()
	return m, nil
}

// peakToPeak20 takes the peak-to-peak in the 20 MHz span.
func (j *job) peakToPeak20(ctx context.Context) error {
	tr, m := j.tr, j.m
	shape := j.setup.LowPass
	if shape == bandlimit.Default {
		shape = bandlimit.DefaultLowPass
	}
	words := shape.Words(bandwidthLimitHz)
	if tr.BandLimited {
		shape, words = bandlimit.None, "none: the instrument limited the bandwidth itself"
	} else if shape == bandlimit.None {
		words = "none: full span"
	}
	high := tr.Span.HighHz
	limited := tr.BandLimited && tr.SampleRateHz >= 2.2*bandwidthLimitHz && (tr.BandwidthHz == 0 || tr.BandwidthHz >= 0.9*bandwidthLimitHz)
	if high < 0.95*bandwidthLimitHz && !limited {
		miss := figure.NotMeasured(fmt.Sprintf("the capture shows nothing above %s; 50 MS/s or more and 20 MHz of bandwidth are needed", hertz(high)))
		m.PP20MHzV, m.PP20MHz999V, m.PP20MHzFilter = miss, miss, ""
		return nil
	}
	pp, err := bandlimit.Measure(ctx, tr.Volts, j.basic.mean, j.basic.min, j.basic.max, tr.SampleRateHz, shape, bandwidthLimitHz)
	if err != nil {
		return err
	}
	j.pp, j.ppKnown = pp, true
	m.PP20MHzV, m.PP20MHz999V, m.PP20MHzFilter = figure.Known(pp.AbsoluteV), figure.Known(pp.P999V), words
	return nil
}

// switching finds, tracks and folds the switching cycle.
func (j *job) switching() {
	tr := j.tr
	if j.basic.max == j.basic.min {
		return
	}
	j.coarse = searchSwitching(tr.Volts, j.basic.mean, tr.SampleRateHz, j.th)
	j.track = trackSwitching(tr.Volts, j.basic.mean, tr.SampleRateHz, j.coarse)
	if j.track == nil {
		return
	}
	if float64(len(tr.Volts))*j.track.hz/tr.SampleRateHz < j.th.MinCycles || len(j.track.pieces) == 0 {
		j.track = nil
		return
	}
	j.periodS = 1 / j.track.hz
	slow := newSlowPart(tr.Volts, j.track)
	j.fold = foldTrace(tr.Volts, j.track, slow)
	j.model = modelCycle(j.fold, j.periodS, tr.SampleRateHz, tr.Span.HighHz, j.stepV)
	if j.track.kind == SwitchingBursting {
		j.track.settleBursts(tr.Volts, j.fold, j.model)
		slow = newSlowPart(tr.Volts, j.track)
		j.fold = foldTrace(tr.Volts, j.track, slow)
		j.model = modelCycle(j.fold, j.periodS, tr.SampleRateHz, tr.Span.HighHz, j.stepV)
	}
	j.res = &residue{volts: tr.Volts, rateHz: tr.SampleRateHz, track: j.track, slow: slow, model: j.model}
	if j.track.kind != SwitchingBursting && j.track.sharpen(j.res, j.fold, j.fold.sigma) {
		j.periodS = 1 / j.track.hz
		j.res.slow = newSlowPart(tr.Volts, j.track)
		j.fold = foldTrace(tr.Volts, j.track, j.res.slow)
		j.model = modelCycle(j.fold, j.periodS, tr.SampleRateHz, tr.Span.HighHz, j.stepV)
		j.res.model = j.model
	}
	if j.fold.power() < 6*j.fold.powerNoise() {
		j.forgetSwitching() // nothing repeats at the frequency found
		return
	}
	if j.track.kind == SwitchingFixed {
		j.track.uHz = max(j.track.uHz, j.fold.hzBound(float64(len(tr.Volts))/tr.SampleRateHz))
	}
}

// forgetSwitching takes back what was found.
func (j *job) forgetSwitching() {
	j.track, j.fold, j.model, j.res, j.periodS = nil, nil, nil, nil, 0
}

// spikeSearch looks for spikes in what the ripple leaves.
func (j *job) spikeSearch() {
	tr := j.tr
	if j.res == nil {
		n := len(tr.Volts)
		var s slowPart
		length := max(64, int(20e-6*tr.SampleRateHz))
		for a := 0; a < n; a += length {
			b := min(a+length, n)
			buf := append([]float64(nil), tr.Volts[a:b]...)
			sort.Float64s(buf)
			s.at = append(s.at, float64(a+b-1)/2)
			s.v = append(s.v, buf[len(buf)/2])
		}
		j.res = &residue{volts: tr.Volts, rateHz: tr.SampleRateHz, slow: s}
	}
	if len(tr.Volts) < 64 || j.basic.max == j.basic.min {
		return
	}
	j.spikes = findSpikes(j.res, j.fold, tr.SampleRateHz, j.stepV, j.th)
}

func (j *job) envelopes() {
	m, tr := j.m, j.tr
	n := len(tr.Volts)
	centre := float64(n) / 2 / tr.SampleRateHz
	cycle := j.periodS
	if cycle == 0 {
		cycle = m.DurationS / 40
	}
	if m.Spikes.PeakMedianV.Known {
		if s, ok := typicalSpike(m.Spikes.List, m.Spikes.PeakMedianV.Value, 2*cycle, m.DurationS); ok {
			centre = s.TimeS
			width := 6 * max(s.DurationS, 1/tr.SampleRateHz)
			if s.RingHz > 0 {
				width = max(width, 1.2*s.RingQ/s.RingHz)
			}
			width = min(width, cycle)
			a := int((s.TimeS - width/4) * tr.SampleRateHz)
			b := int((s.TimeS+width)*tr.SampleRateHz) + 2
			m.Spikes.Typical = envelopeOf(tr.Volts, a, b, 600, tr.SampleRateHz)
		}
	}
	a := int((centre - 2*cycle) * tr.SampleRateHz)
	b := int((centre+2*cycle)*tr.SampleRateHz) + 2
	m.Detail = envelopeOf(tr.Volts, a, b, detailColumns, tr.SampleRateHz)
}
