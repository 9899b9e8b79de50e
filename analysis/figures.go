package analysis

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// switchingFigures turns the track and the folded cycle into figures.
func (j *job) switchingFigures() {
	m, tr := j.m, j.tr
	needs := fmt.Sprintf("no switching line stands out of the noise between %s and %s; a shorter time base or more gain is needed",
		hertz(j.th.SearchLowHz), hertz(min(j.th.SearchHighHz, 0.45*tr.SampleRateHz)))
	if tr.Span.HighHz < 20e3 {
		needs = fmt.Sprintf("the capture shows nothing above %s; 1 MS/s or more is needed to show the switching ripple", hertz(tr.Span.HighHz))
	}
	miss := figure.NotMeasured(needs)
	if j.track != nil && j.aliasPossible() {
		miss = figure.NotMeasured(fmt.Sprintf("a line at %s may be an alias of switching above half the sample rate; 1 MS/s or more is needed", hertz(j.track.hz)))
	} else if j.track != nil && j.track.hz > tr.Span.HighHz {
		miss = figure.NotMeasured(fmt.Sprintf("the switching frequency lies above the %s that the capture shows; a faster sample rate is needed", hertz(tr.Span.HighHz)))
	}
	none := figure.NotMeasured("the supply does not keep time that way")
	m.SwitchingSpreadHz, m.BurstHz, m.SecondSwitchingHz = none, none, figure.NotMeasured("no second converter shows")
	if j.track == nil || !j.switchingShown() {
		m.SwitchingHz, m.SwitchingFundamentalRMSV, m.RipplePPV, m.RippleRMSV = miss, miss, miss, miss
		m.Cycle = Cycle{RiseSlopeVPerS: miss, FallSlopeVPerS: miss, ESRStepV: miss, ApparentDuty: miss, ESRStepShare: miss}
		m.SwitchingSpreadHz, m.BurstHz, m.SecondSwitchingHz = miss, miss, miss
		return
	}
	t, c := j.track, j.model
	m.Kind = t.kind
	m.SwitchingHz = figure.Known(t.hz)
	m.SwitchingHz.U = 2 * max(t.uHz, 1e-9*t.hz)
	if t.kind == SwitchingDithered {
		m.SwitchingSpreadHz = figure.Known(t.spreadHz)
		// the record's own mean frequency is not the supply's where it holds a part
		// of a sweep only, or a part beyond whole ones
		if n := t.sweeps(); n < 1 {
			m.SwitchingHz.U = max(m.SwitchingHz.U, t.spreadHz, unseenSweep*t.hz)
			m.SwitchingSpreadHz.LowerBound = true
		} else {
			m.SwitchingHz.U = math.Hypot(m.SwitchingHz.U, t.spreadHz/(7*n+3))
		}
	}
	if t.kind == SwitchingBursting && t.burstHz > 0 {
		m.BurstHz = figure.Known(t.burstHz)
		m.BurstHz.U = 2 * t.uBurstHz
	}
	second := j.combs.SecondHz
	if second == 0 {
		second = j.coarse.secondHz
	}
	if second > 0 {
		m.SecondSwitchingHz = figure.Known(second)
	}
	u := 2 * c.uPPV
	m.RipplePPV = figure.Known(c.ppV)
	m.RipplePPV.U = u
	m.RippleRMSV = figure.Known(c.rmsV)
	if c.ppV > 0 {
		m.RippleRMSV.U = u * min(c.rmsV/c.ppV, 1)
	} else {
		m.RippleRMSV.U = u
	}
	// with fewer than five harmonics in the span the corners are rounded off
	if tr.Span.HighHz < 5*t.hz {
		m.RipplePPV.LowerBound, m.RippleRMSV.LowerBound = true, true
	}
	re, im := 0.0, 0.0
	for i, v := range j.fold.mean {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / float64(len(j.fold.mean)))
		re += v * cos
		im += v * sin
	}
	m.SwitchingFundamentalRMSV = figure.Known(math.Hypot(re, im) * 2 / float64(len(j.fold.mean)) / math.Sqrt2)
	m.SwitchingFundamentalRMSV.U = 2 * c.binSigma * math.Sqrt(2/float64(c.bins))
	if j.fold.sigma < 0.4*j.stepV {
		m.SwitchingFundamentalRMSV.U += 2 * j.stepV / math.Sqrt(24)
	}
	m.Cycle = j.cycle()
}

// unseenSweep is how far, as a share of the frequency, the mean over a record of
// less than one sweep may lie from the supply's: spread-spectrum converters sweep
// by up to 5 or 6 % to either side (common practice, no source).
const unseenSweep = 0.06

// switchingShown tells whether the capture's span holds the switching found.
func (j *job) switchingShown() bool {
	return !j.aliasPossible() && j.track.hz <= j.tr.Span.HighHz
}

// wouldShowSwitching tells whether the span reaches into the range in which most
// supplies switch.
func (j *job) wouldShowSwitching() bool { return j.tr.Span.HighHz > 100e3 }

// aliasPossible: half the rate lies inside the range in which supplies switch
// and nothing is known to have low-passed the signal ahead of the converter.
func (j *job) aliasPossible() bool {
	tr := j.tr
	half := tr.SampleRateHz / 2
	if half >= j.th.TradeHighHz {
		return false
	}
	return !(tr.BandwidthHz > 0 && tr.BandwidthHz <= 1.02*half)
}

// cyclePoints is how many points the mean cycle is handed on with.
const cyclePoints = 512

// cycle is the mean cycle as measured, spikes included, and the parts of the
// smooth one.
func (j *job) cycle() Cycle {
	c, f := j.model, j.fold
	out := Cycle{PeriodS: j.periodS, Cycles: int(f.cycles),
		RiseSlopeVPerS: c.rise, FallSlopeVPerS: c.fall, ESRStepV: c.stepV, ApparentDuty: c.duty}
	if !c.rise.Known {
		miss := figure.NotMeasured("the cycle is not two straight parts")
		out.RiseSlopeVPerS, out.FallSlopeVPerS, out.ESRStepV, out.ApparentDuty, out.ESRStepShare = miss, miss, miss, miss, miss
	} else if c.ppV > 0 {
		out.ESRStepShare = figure.Known(min(c.stepV.Value/c.ppV, 1))
	} else {
		out.ESRStepShare = figure.NotMeasured("no ripple shows")
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

// spikeSpanHz is the least span in which a spike is looked for: a pulse of
// 200 ns, the longest of the trade, has its energy below about 2 MHz.
const spikeSpanHz = 2e6

// ringLeastQ: under it a damped sinusoid describes the pulse's own tail as well as
// a ring, and its frequency means nothing.
const ringLeastQ = 1.5

// spikeFigures turns the events into figures.
func (j *job) spikeFigures() {
	m, tr, found := j.m, j.tr, &j.spikes
	s := &m.Spikes
	all := []*figure.Figure{&s.PerS, &s.PerCycle, &s.PeakMedianV, &s.PeakP95V, &s.PeakMaxV,
		&s.DurationMedianS, &s.AreaMedianVs, &s.RingHz, &s.RingQ,
		&s.RisingRingHz, &s.RisingRingQ, &s.FallingRingHz, &s.FallingRingQ,
		&s.RisingPeakMedianV, &s.FallingPeakMedianV}
	setAll := func(f figure.Figure) {
		for _, p := range all {
			*p = f
		}
	}
	if tr.Span.HighHz < spikeSpanHz {
		setAll(figure.NotMeasured(fmt.Sprintf("the capture shows nothing above %s; 25 MS/s or more is needed to show spikes", hertz(tr.Span.HighHz))))
		return
	}
	if c := j.model; c != nil && (c.upper || c.joined != nil && c.ringLeft > 0.5 && 4*c.uPPV > c.ppV) {
		setAll(figure.NotMeasured("the ring lasts into the next edge; single spikes can't be told apart until it is damped"))
		return
	}
	if found.threshold == 0 {
		setAll(figure.NotMeasured("the record is too short or constant; nothing can stand out"))
		return
	}
	s.ThresholdV = found.threshold
	if found.count == 0 {
		// a short spike may hide in the step of an edge
		s.ThresholdV = math.Hypot(found.threshold, 2*j.splitU(0))
	}
	s.Count = found.count
	s.PerS = figure.Known(float64(found.count) / m.DurationS)
	// the edges whose mean transient is near the threshold may or may not top it
	near := 0
	for e, t := range found.templates {
		if math.Abs(t.peakV) < 1.33*found.threshold {
			near += found.perEdge[e]
		}
	}
	if found.straysKeepPhase() {
		near += found.free // seen apart from an edge, and yet perhaps a part of it
	}
	s.PerS.U = 2 * math.Hypot(math.Sqrt(float64(min(found.free, found.count))), float64(near)/2) / m.DurationS
	if found.count == 0 {
		setAll(figure.NotMeasured(fmt.Sprintf("no spike stands above %.3g mV", 1e3*s.ThresholdV)))
		s.PerS = figure.Known(0)
		s.PerCycle = figure.Known(0)
		return
	}
	if j.track != nil && m.SwitchingHz.Known {
		cycles := 0.0
		for _, p := range j.track.pieces {
			cycles += (p.to - p.from) * p.perSample
		}
		s.PerCycle = figure.Known(float64(found.count) / cycles)
	} else {
		s.PerCycle = figure.NotMeasured("no switching cycle is known")
	}
	peaks := slices.Clone(found.peaks)
	sort.Float64s(peaks)
	scatter := quantileOf(peaks, 0.84) - quantileOf(peaks, 0.16)
	s.PeakMedianV = figure.Known(quantileOf(peaks, 0.5))
	s.PeakMedianV.U = 2 * math.Hypot(1.25*scatter/2/math.Sqrt(float64(len(peaks))), 0.1*found.sigma)
	s.PeakP95V = figure.Known(quantileOf(peaks, 0.95))
	s.PeakP95V.U = 2 * math.Hypot(2.1*scatter/2/math.Sqrt(float64(len(peaks))), 0.2*found.sigma)
	s.PeakMaxV = figure.Known(peaks[len(peaks)-1])
	s.PeakMaxV.U = 2 * found.sigma
	events := found.events
	for i := range events {
		events[i].TimeS /= tr.SampleRateHz
	}
	sort.SliceStable(events, func(a, b int) bool { return events[a].TimeS < events[b].TimeS })
	j.classifyFree(events)
	durations := make([]float64, 0, len(events))
	areas := make([]float64, 0, len(events))
	for _, e := range events {
		durations = append(durations, e.DurationS)
		areas = append(areas, e.AreaVs)
	}
	sort.Float64s(durations)
	sort.Float64s(areas)
	s.DurationMedianS = figure.Known(quantileOf(durations, 0.5))
	s.AreaMedianVs = figure.Known(quantileOf(areas, 0.5))
	miss := figure.NotMeasured("no ring stands out after the pulse")
	s.RingHz, s.RingQ = miss, miss
	s.RisingRingHz, s.RisingRingQ, s.FallingRingHz, s.FallingRingQ = miss, miss, miss, miss
	s.RisingPeakMedianV = figure.NotMeasured("no spike stands at the rising edge")
	s.FallingPeakMedianV = figure.NotMeasured("no spike stands at the falling edge")
	split := j.splitU(s.DurationMedianS.Value)
	if 2*split > 0.1*s.PeakMedianV.Value {
		// an edge that shows no spike may have one under its step
		if hidden := 2 - len(found.templates); hidden > 0 && s.PerCycle.Known && s.PerCycle.Value > 0 {
			s.PerS.U = math.Hypot(s.PerS.U, float64(hidden)*m.SwitchingHz.Value)
		}
		j.m.Cautions = append(j.m.Cautions, capture.Caution{
			Code: capture.CautionStepHides,
			Text: fmt.Sprintf("the spikes are as short as the ripple's own step of %.3g mV at the edges (ESR); how much of an edge is which is known to %.2g mV only", 1e3*j.stepAtEdges(), 1e3*2*split),
			Fix:  "judge such edges by the peak-to-peak in 20 MHz, which holds both",
		})
	}
	largest, swingHz, open := 0.0, 0.0, 0.0 // the largest transient and how fast it swings
	for e, t := range found.templates {
		if len(found.edgePeaks[e]) == 0 {
			continue
		}
		p := slices.Clone(found.edgePeaks[e])
		sort.Float64s(p)
		med := figure.Known(quantileOf(p, 0.5))
		spread := quantileOf(p, 0.84) - quantileOf(p, 0.16)
		med.U = 2 * math.Hypot(1.25*spread/2/math.Sqrt(float64(len(p))), split)
		med.U = math.Hypot(med.U, t.edge.openV)
		open = max(open, t.edge.openV)
		ringHz, ringQ := miss, miss
		if t.edge.hasRng && t.edge.ring.q() < ringLeastQ {
			ringHz = figure.NotMeasured("what follows the pulse dies down within its first swing")
			ringQ = ringHz
		} else if t.edge.hasRng {
			ringHz, ringQ = figure.Known(t.edge.ring.hz), figure.Known(t.edge.ring.q())
			uHz, uQ := t.edge.ringDeviation(j.periodS/float64(j.model.bins), j.model.binSigma)
			ringHz.U, ringQ.U = 2*uHz, 2*uQ
		}
		if t.edge.rising {
			if !s.RisingPeakMedianV.Known || med.Value > s.RisingPeakMedianV.Value {
				s.RisingPeakMedianV, s.RisingRingHz, s.RisingRingQ = med, ringHz, ringQ
			}
		} else if !s.FallingPeakMedianV.Known || med.Value > s.FallingPeakMedianV.Value {
			s.FallingPeakMedianV, s.FallingRingHz, s.FallingRingQ = med, ringHz, ringQ
		}
		if med.Value > largest {
			largest, swingHz = med.Value, 0
			s.RingHz, s.RingQ = ringHz, ringQ
			if t.edge.hasRng {
				swingHz = t.edge.ring.hz
			}
		}
	}
	for _, f := range []*figure.Figure{&s.PeakMedianV, &s.PeakP95V, &s.PeakMaxV} {
		f.U = math.Hypot(math.Hypot(f.U, 2*split), open)
	}
	s.List = evenPick(events, j.th.MaxSpikes)
	s.AmplitudeHist = histogramOf(peaks, 40)
	var gaps []float64
	if len(events) == found.count {
		for i := 1; i < len(events); i++ {
			gaps = append(gaps, events[i].TimeS-events[i-1].TimeS)
		}
		sort.Float64s(gaps)
		s.IntervalHist = histogramOf(gaps, 40)
	}
	// too few samples in the pulse or in the ring: the true peak lies higher
	if s.DurationMedianS.Value*tr.SampleRateHz < j.th.SamplesInPulse ||
		swingHz > 0 && tr.SampleRateHz/swingHz < j.th.SamplesInRing {
		for _, p := range []*figure.Figure{&s.PeakMedianV, &s.PeakP95V, &s.PeakMaxV, &s.RisingPeakMedianV, &s.FallingPeakMedianV} {
			if p.Known {
				p.LowerBound = true
			}
		}
		j.m.Cautions = append(j.m.Cautions, capture.Caution{
			Code: capture.CautionUndersampled,
			Text: fmt.Sprintf("the spikes are only %.1f samples long; their peaks are lower bounds", s.DurationMedianS.Value*tr.SampleRateHz),
			Fix:  "use the fastest time base and all the memory; a single channel often doubles the rate",
		})
	}
}

// ringOverRipple takes a ripple figure back that its own uncertainty exceeds
// because a ring lasts through the cycle.
func (j *job) ringOverRipple() {
	m, c := j.m, j.model
	if c == nil || !m.SwitchingHz.Known || !c.ringFills() || m.RipplePPV.U < m.RipplePPV.Value {
		return
	}
	why := fmt.Sprintf("what its fit leaves is %.2g mV p-p, give or take %.2g mV", 1e3*m.RipplePPV.Value, 1e3*m.RipplePPV.U)
	if c.upper {
		why = fmt.Sprintf("both together are %.3g mV p-p", 1e3*c.ppV)
	}
	miss := figure.NotMeasured("a ring lasts through the cycle and can't be told from the ripple under it, " + why + "; damp the ring at the output and take it again")
	m.RipplePPV, m.RippleRMSV = miss, miss
	m.Cycle.RiseSlopeVPerS, m.Cycle.FallSlopeVPerS, m.Cycle.ESRStepV, m.Cycle.ApparentDuty, m.Cycle.ESRStepShare = miss, miss, miss, miss, miss
}

// splitU is the standard deviation of a spike's peak that comes from telling it
// from the ripple's step under it, volts, for pulses of a duration in seconds.
// Where a pulse is as short as a step may take, the two are not known better than
// within the step (rectangular); above, tests with drawn supplies show a
// twentieth of it and less.
func (j *job) splitU(durationS float64) float64 {
	step := j.stepAtEdges()
	if durationS < 1.5*edgeZoneS {
		return step / math.Sqrt(3)
	}
	return 0.06 * step * 1.5 * edgeZoneS / durationS
}

// stepAtEdges is the ripple's step at the edges in volts: the cycle's own where
// it is known, else the largest that the smooth cycle makes across an edge.
func (j *job) stepAtEdges() float64 {
	c := j.model
	switch {
	case c == nil:
		return 0
	case c.stepV.Known:
		return c.stepV.Value
	}
	m := c.bins
	zone := min(int(math.Ceil((edgeZoneS+2/j.tr.SampleRateHz)/c.periodS*float64(m))), m/20)
	step := 0.0
	for _, e := range c.edges {
		on := int(e.phase * float64(m))
		step = max(step, math.Abs(c.smooth[(on+zone)%m]-c.smooth[(on-zone+m)%m]))
	}
	return step
}

// classifyFree tells mains-tied events from random ones: those that keep their
// place in the period of twice the mains.
func (j *job) classifyFree(events []Spike) {
	s := &j.m.Spikes
	var free []int
	for i, e := range events {
		if e.Class == "random" {
			free = append(free, i)
		}
	}
	s.Random = j.spikes.free
	if len(free) < 3 {
		return
	}
	candidates := []float64{100, 120}
	if j.m.MainsHz.Known {
		candidates = []float64{2 * j.m.MainsHz.Value}
	} else if j.setup.MainsHz > 0 {
		candidates = []float64{2 * j.setup.MainsHz}
	}
	best, bestHz, bestPhase := 0.0, 0.0, 0.0
	for _, hz := range candidates {
		if events[free[len(free)-1]].TimeS-events[free[0]].TimeS < 1.5/hz {
			continue
		}
		var c, q float64
		for _, i := range free {
			sin, cos := math.Sincos(2 * math.Pi * math.Mod(events[i].TimeS*hz, 1))
			c += cos
			q += sin
		}
		if r := math.Hypot(c, q) / float64(len(free)); r > best {
			best, bestHz, bestPhase = r, hz, math.Atan2(q, c)/(2*math.Pi)
		}
	}
	// Rayleigh's test: n·r² over 7 happens by chance once in a thousand
	if bestHz == 0 || best*best*float64(len(free)) < 7 && !(len(free) <= 8 && best > 0.98) {
		return
	}
	tied := 0
	for _, i := range free {
		if math.Abs(math.Remainder(events[i].TimeS*bestHz-bestPhase, 1)) < 0.04 {
			events[i].Class = "mains"
			tied++
		}
	}
	s.MainsTied = tied
	s.Random = max(j.spikes.free-tied, 0)
}

// quantileOf reads a sorted list, straight between its members; 0 when empty.
func quantileOf(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	x := q * float64(len(sorted)-1)
	i := min(int(x), len(sorted)-1)
	if i+1 >= len(sorted) {
		return sorted[i]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

// evenPick keeps at most limit members, evenly spread.
func evenPick(list []Spike, limit int) []Spike {
	if len(list) <= limit {
		return list
	}
	out := make([]Spike, limit)
	for i := range out {
		out[i] = list[i*len(list)/limit]
	}
	return out
}

// histogramOf counts sorted values in so many even steps.
func histogramOf(sorted []float64, steps int) Histogram {
	if len(sorted) == 0 {
		return Histogram{}
	}
	lo, hi := sorted[0], sorted[len(sorted)-1]
	if hi == lo {
		hi = lo + max(math.Abs(lo)*1e-6, 1e-12)
	}
	h := Histogram{Edges: make([]float64, steps+1), Counts: make([]int, steps)}
	for i := range h.Edges {
		h.Edges[i] = lo + (hi-lo)*float64(i)/float64(steps)
	}
	for _, v := range sorted {
		h.Counts[min(int((v-lo)/(hi-lo)*float64(steps)), steps-1)]++
	}
	return h
}
