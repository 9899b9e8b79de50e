package analysis

import (
	"context"
	"fmt"
	"math"
	"sort"
	"sync"

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
	j := &job{ctx: ctx, tr: tr, setup: setup, th: defaultThresholds(), basic: basic}
	return j.run()
}

// basics are the figures of one pass.
type basics struct {
	mean, rms, min, max float64
	parts               []float64 // means of 8 equal parts
	partRMS             []float64 // rms about the whole's mean
	finite              bool
	bad                 int
}

func basicsOf(volts []float64) basics {
	b := basics{min: math.Inf(1), max: math.Inf(-1), finite: true}
	n := len(volts)
	ref := volts[0]
	parts := min(8, n)
	sums := make([]float64, parts)
	squares := make([]float64, parts)
	total := 0.0
	for p := range parts {
		lo, hi := p*n/parts, (p+1)*n/parts
		var s, q float64
		for _, v := range volts[lo:hi] {
			b.min = min(b.min, v)
			b.max = max(b.max, v)
			d := v - ref
			s += d
			q += d * d
		}
		sums[p], squares[p] = s, q
		total += s
	}
	if math.IsNaN(total) || math.IsInf(total, 0) || math.IsInf(b.min, 0) || math.IsInf(b.max, 0) {
		b.finite = false
		for i, v := range volts {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				b.bad = i
				break
			}
		}
		return b
	}
	mean := total / float64(n)
	b.mean = ref + mean
	sq := 0.0
	for p := range parts {
		lo, hi := p*n/parts, (p+1)*n/parts
		k := float64(hi - lo)
		b.parts = append(b.parts, ref+sums[p]/k)
		// mean square about the whole's mean
		ms := max(squares[p]-2*mean*sums[p]+k*mean*mean, 0)
		b.partRMS = append(b.partRMS, math.Sqrt(ms/k))
		sq += ms
	}
	b.rms = math.Sqrt(sq / float64(n))
	return b
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
	plain   multirate
	mains   mainsResult
	combs   combResult
	pp      peakToPeak
	ppKnown bool
	ungated bool
	gate    *gatedResidue
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
	if s, ok := adcStep(tr.Volts); ok {
		if j.stepV == 0 || s < 1.5*j.stepV {
			j.stepV = s
		}
	}
	j.basicFigures()

	// Independent lines of work, two at a time; what each finds does not depend
	// on the other or on the number of processors.
	var wg sync.WaitGroup
	var errA, errB error
	var lines []Line
	wg.Add(2)
	go func() {
		defer wg.Done()
		src := sliceSource(tr.Volts)
		j.plain, errA = spectrumOf(j.ctx, src, tr.SampleRateHz, spectrumOptions{Keep: true})
		if errA != nil {
			return
		}
		lines, errA = findLines(j.ctx, src, tr.SampleRateHz, j.plain, lineOptions{HighHz: tr.Span.HighHz})
		if errA != nil {
			return
		}
		j.mains = measureMains(src, j.plain, lines, j.setup.MainsHz)
	}()
	go func() {
		defer wg.Done()
		j.switching()
		j.spikeSearch()
	}()
	wg.Wait()
	if errA != nil {
		return nil, errA
	}
	m := j.m
	mainsHz := 0.0
	if j.mains.MainsHz.Known {
		mainsHz = j.mains.MainsHz.Value
	}
	switchHz := 0.0
	if j.track != nil {
		switchHz = j.track.hz
	}
	m.Lines, j.combs = classifyCombs(lines, mainsHz, switchHz)
	m.MainsHz, m.MainsLineHz, m.MainsLineRMS = j.mains.MainsHz, j.mains.LineHz, j.mains.LineRMS
	m.MainsCombRMS, m.MainsCombPPV = j.mains.CombRMS, j.mains.CombPPV
	m.Bands = measureBands(j.plain, m.Lines, tr.Span)
	j.switchingFigures()
	j.spikeFigures()
	wg.Add(1)
	go func() {
		defer wg.Done()
		errB = j.peakToPeak20()
	}()
	errA = j.noise()
	wg.Wait()
	if errA != nil {
		return nil, errA
	}
	if errB != nil {
		return nil, errB
	}
	j.pard()
	j.spectrumCurve()
	j.envelopes()
	j.uncertainties()
	j.cautions()
	return m, nil
}

func (j *job) basicFigures() {
	m, b, tr := j.m, j.basic, j.tr
	switch tr.Coupling {
	case capture.CouplingDC:
		m.DCV = Known(b.mean)
	case capture.CouplingAC:
		m.DCV = NotMeasured("the capture is AC-coupled; a DC-coupled capture or a meter reading is needed")
	default:
		if math.Abs(b.mean) > 4*(b.max-b.min) || math.Abs(b.mean) > 1 {
			m.DCV = Known(b.mean)
		} else {
			m.DCV = NotMeasured("the coupling is not known; a DC-coupled capture or a meter reading is needed")
		}
	}
	m.ACRMSV = Known(b.rms)
	m.PPV = Known(b.max - b.min)
	if b.rms > 0 {
		m.CrestPk = Known(max(b.max-b.mean, b.mean-b.min) / b.rms)
	} else {
		m.CrestPk = NotMeasured("the trace is constant; nothing varies")
	}
	if j.stepV > 0 {
		m.ADCStepV = Known(j.stepV)
		m.QuantNoiseVRHz = Known(quantisationDensity(j.stepV, tr.SampleRateHz))
	} else {
		m.ADCStepV = NotMeasured("the samples do not lie on a converter's steps")
		m.QuantNoiseVRHz = NotMeasured("the converter's step is not known")
	}
	m.PPOverS = m.DurationS
}

// peakToPeak20 takes the peak-to-peak in the 20 MHz span.
func (j *job) peakToPeak20() error {
	tr, m := j.tr, j.m
	shape := j.setup.LowPass
	if shape == LowPassDefault {
		shape = defaultLowPass
	}
	words := lowPassWords(shape, bandwidthLimitHz)
	if tr.BandLimited {
		shape, words = LowPassNone, "none: the instrument limited the bandwidth itself"
	} else if shape == LowPassNone {
		words = "none: full span"
	}
	high := tr.Span.HighHz
	limited := tr.BandLimited && tr.SampleRateHz >= 2.2*bandwidthLimitHz && (tr.BandwidthHz == 0 || tr.BandwidthHz >= 0.9*bandwidthLimitHz)
	if high < 0.95*bandwidthLimitHz && !limited {
		miss := NotMeasured(fmt.Sprintf("the capture shows nothing above %s; 50 MS/s or more and 20 MHz of bandwidth are needed", hertz(high)))
		m.PP20MHzV, m.PP20MHz999V, m.PP20MHzFilter = miss, miss, ""
		return nil
	}
	pp, err := measurePeakToPeak(j.ctx, tr.Volts, j.basic.mean, j.basic.min, j.basic.max, tr.SampleRateHz, shape, bandwidthLimitHz)
	if err != nil {
		return err
	}
	j.pp, j.ppKnown = pp, true
	m.PP20MHzV, m.PP20MHz999V, m.PP20MHzFilter = Known(pp.absV), Known(pp.p999V), words
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
	j.model = modelCycle(j.fold, j.periodS, tr.SampleRateHz, j.stepV)
	if j.track.kind == SwitchingBursting {
		j.track.settleBursts(tr.Volts, j.fold, j.model)
		slow = newSlowPart(tr.Volts, j.track)
		j.fold = foldTrace(tr.Volts, j.track, slow)
		j.model = modelCycle(j.fold, j.periodS, tr.SampleRateHz, j.stepV)
	}
	j.res = &residue{volts: tr.Volts, rateHz: tr.SampleRateHz, track: j.track, slow: slow, model: j.model}
	if j.track.kind != SwitchingBursting && j.track.sharpen(j.res, j.fold, j.fold.sigma) {
		j.periodS = 1 / j.track.hz
		j.res.slow = newSlowPart(tr.Volts, j.track)
		j.fold = foldTrace(tr.Volts, j.track, j.res.slow)
		j.model = modelCycle(j.fold, j.periodS, tr.SampleRateHz, j.stepV)
		j.res.model = j.model
	}
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

// noise measures the floor with ripple and spikes gated out.
func (j *job) noise() error {
	tr, m := j.tr, j.m
	g := newGatedResidue(j.res, j.fold, &j.spikes, j.mains, tr.SampleRateHz)
	j.gate = g
	opt := noiseOptions{Plain: &j.plain, Lines: m.Lines, Span: tr.Span, StepV: j.stepV}
	if b := j.setup.Baseline; b != nil {
		opt.Baseline = &b.Noise
	}
	var gated gatedSource
	if share := g.gatedShare(); share < 0.6 {
		gated = g
	} else {
		j.ungated = true
	}
	var err error
	m.Noise, err = measureNoiseFloor(j.ctx, gated, sliceSource(tr.Volts), tr.SampleRateHz, opt)
	if err == nil && gated != nil && j.track != nil && j.track.kind == SwitchingBursting {
		j.noiseUnderBursts()
	}
	return err
}

// noiseUnderBursts takes the noise below the switching frequency from the
// spectrum as seen: taking the packets' own rise and fall off the trace takes
// such noise off as well, and a figure too low must not stand.
func (j *job) noiseUnderBursts() {
	n := &j.m.Noise
	for i := range n.ThirdOctaves {
		if o := &n.ThirdOctaves[i]; o.CentreHz < j.track.hz/2 {
			factor := 1.0
			if o.DensityVRHz > 0 {
				factor = o.UngatedVRHz / o.DensityVRHz
			}
			o.DensityVRHz = o.UngatedVRHz
			o.LowVRHz *= factor
			o.HighVRHz *= factor
			if n.LowVRHz.Known && o.CentreHz > 890 && o.CentreHz < 1120 {
				n.LowVRHz.Value, n.LowVRHz.U = o.UngatedVRHz, n.LowVRHz.U*factor
			}
		}
	}
	n.CornerHz = NotMeasured("the packets bury the 1/f part; a capture under the full load is needed")
	var gated, seen []float64
	var low, high float64
	for _, o := range n.ThirdOctaves {
		if o.CentreHz >= j.track.hz && o.CentreHz <= j.tr.Span.HighHz/4 {
			if low == 0 {
				low = o.CentreHz
			}
			high = o.CentreHz
			gated = append(gated, o.DensityVRHz)
			seen = append(seen, o.UngatedVRHz)
		}
	}
	if len(gated) >= 3 && n.DensityVRHz.Known {
		sort.Float64s(gated)
		sort.Float64s(seen)
		n.DensityVRHz.Value = quantileOf(gated, 0.5)
		n.UngatedVRHz.Value = quantileOf(seen, 0.5)
		n.AtHz = Known(math.Sqrt(low * high))
	}
}

// spectrumCurve thins the spectrum out to log-spaced points for drawing and for
// predicting filters: the mean density of each cell.
func (j *job) spectrumCurve() {
	s := &j.m.Spectrum
	const perDecade = 240
	p := &j.plain
	for i := 0; i < len(p.FreqHz); {
		cell := math.Floor(math.Log10(p.FreqHz[i]) * perDecade)
		var power, width, weighted float64
		k := i
		for ; k < len(p.FreqHz) && math.Floor(math.Log10(p.FreqHz[k])*perDecade) == cell; k++ {
			power += p.PSD[k] * p.WidthHz[k]
			width += p.WidthHz[k]
			weighted += p.FreqHz[k] * p.WidthHz[k]
		}
		if width > 0 {
			s.FrequencyHz = append(s.FrequencyHz, weighted/width)
			s.VRHz = append(s.VRHz, math.Sqrt(max(power/width, 0)))
		}
		i = max(k, i+1)
	}
	if b := j.setup.Baseline; b != nil && len(b.Spectrum.FrequencyHz) > 1 {
		s.BaselineVRHz = make([]float64, len(s.FrequencyHz))
		for i, f := range s.FrequencyHz {
			s.BaselineVRHz[i] = logInterp(b.Spectrum.FrequencyHz, b.Spectrum.VRHz, f)
		}
	}
}

// logInterp reads y(x) straight in log and log; beyond the ends the end value.
func logInterp(x, y []float64, at float64) float64 {
	i := sort.SearchFloat64s(x, at)
	if i == 0 {
		return y[0]
	}
	if i == len(x) {
		return y[len(y)-1]
	}
	if y[i-1] <= 0 || y[i] <= 0 {
		return max(y[i-1], y[i])
	}
	t := math.Log(at/x[i-1]) / math.Log(x[i]/x[i-1])
	return math.Exp(math.Log(y[i-1])*(1-t) + math.Log(y[i])*t)
}

func (j *job) envelopes() {
	m, tr := j.m, j.tr
	n := len(tr.Volts)
	m.Waveform = envelopeOf(tr.Volts, 0, n, waveformColumns, tr.SampleRateHz)
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
	m.Detail = envelopeOf(tr.Volts, a, b, 2000, tr.SampleRateHz)
}
