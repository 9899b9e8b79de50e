package analysis

import (
	"fmt"
	"math"
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// spikeResult is the spikes in figures.
type spikeResult struct {
	summary  SpikeSummary // Typical is not drawn yet
	cautions []capture.Caution
}

// spikeFigures turns the events into figures. mainsHz is the mains frequency as
// found; clipped is how many samples lie at the converter's end stops.
func spikeFigures(rec *record, sw switching, mainsHz figure.Figure, clipped int) spikeResult {
	found := &sw.spikes
	if why := whyNoSpikes(rec, sw); why != "" {
		if s, ok := besideSpikes(rec, sw, clipped); ok {
			return spikeResult{summary: s}
		}
		return spikeResult{summary: noSpikes(figure.NotMeasured(why))}
	}
	held := len(found.Templates) < 2 && found.HeldV > heldTimes*found.ThresholdV
	if found.Count == 0 {
		return absentSpikes(rec, sw, held)
	}
	events, tied := classifyOffEdge(found.Events, rec, mainsHz)
	s := SpikeSummary{ThresholdV: found.ThresholdV, Count: found.Count, MainsTied: tied, Random: max(len(found.OffEdge)-tied, 0),
		List: evenPick(events, spike.MaxListed)}
	s.DurationMedianS = durationFigure(rec.tr, events)
	s.AreaMedianVs = figure.Known(medianOf(events, func(e spike.Event) float64 { return e.AreaVs }))

	split := stepDoubtV(rec, sw, s.DurationMedianS.Value)
	edges := edgeReadings(sw, split)
	grain := spikeGrain(rec, edges, s.DurationMedianS.Value)
	peaks := peakReadings(found, split, edges.ambiguityV)
	if sw.shown && len(found.Templates) == 0 && s.DurationMedianS.Value > longPulseS {
		peaks.upper = true // so long, and at no edge: the ripple's own, of which cycles differ
	}
	packet := !sw.shown && found.LongestS > longEventS
	peaks.lower = grain.tooCoarse() || clipped > 0
	s.PerS, s.PerCycle = spikeRates(rec, sw, peaks.stepHides)
	if held || packet || moreBeside(found, rec.tr.DurationS()) {
		s.PerS.LowerBound, s.PerCycle.LowerBound = s.PerS.Known, s.PerCycle.Known
	}
	s.statePeaks(peaks, edges, rec.setup.GainFraction)
	s.AmplitudeHist = histogramOf(peaks.sorted, histogramSteps)
	if len(events) == found.Count {
		s.IntervalHist = intervalHist(events)
	}
	if rec.tr.Span.HighHz < spikeSpanHz {
		s, grain.coarse = s.withoutPeaks(slowForSpikes(rec)), true
	}
	cautions := spikeCautions(rec, sw, held, peaks.stepHides, split, grain)
	if packet {
		cautions = append(cautions, packetCaution(found.LongestS))
	}
	return spikeResult{summary: s, cautions: cautions}
}

// durationFigure is the median pulse duration at half height. Pulses of unlike
// durations (two edges, or what is no pulse at all) widen it to the farther quartile.
func durationFigure(tr *capture.Trace, events []spike.Event) figure.Figure {
	durations := make([]float64, len(events))
	for i, e := range events {
		durations[i] = e.DurationS
	}
	slices.Sort(durations)
	low, middle, high := capture.Quantile(durations, 0.25), capture.Quantile(durations, 0.5), capture.Quantile(durations, 0.75)
	f := figure.Known(middle)
	rate := tr.SampleRateHz
	if tr.TrueRateHz > 0 {
		rate = min(rate, tr.TrueRateHz)
	}
	f.U = math.Hypot(durationModel*f.Value, durationSamples/rate)
	f.U = math.Hypot(f.U, max(high-middle, middle-low))
	share := tr.SampleRateUHz / tr.SampleRateHz
	f.U = math.Hypot(f.U, share*f.Value)
	return f
}

// statePeaks states the peaks of all events and of either edge.
func (s *SpikeSummary) statePeaks(p peakSet, edges edgeSet, gain float64) {
	s.PeakMedianV, s.PeakP95V, s.PeakMaxV = p.figure(p.median, gain), p.figure(p.p95, gain), p.figure(p.top, gain)
	s.RingHz, s.RingQ = edges.largest.ringHz, edges.largest.ringQ
	s.RisingRingHz, s.RisingRingQ = edges.rising.ringHz, edges.rising.ringQ
	s.FallingRingHz, s.FallingRingQ = edges.falling.ringHz, edges.falling.ringQ
	s.RisingPeakMedianV, s.FallingPeakMedianV = figure.NotMeasured("no spike shows at the rising edge"), figure.NotMeasured("no spike shows at the falling edge")
	if edges.rising.seen {
		s.RisingPeakMedianV = edges.rising.peak.figure(gain, p.lower)
	}
	if edges.falling.seen {
		s.FallingPeakMedianV = edges.falling.peak.figure(gain, p.lower)
	}
}

// intervalHist is the histogram of the times between events.
func intervalHist(events []spike.Event) Histogram {
	gaps := make([]float64, 0, len(events))
	for i := 1; i < len(events); i++ {
		gaps = append(gaps, events[i].TimeS-events[i-1].TimeS)
	}
	slices.Sort(gaps)
	return histogramOf(gaps, histogramSteps)
}

// absentSpikes are the figures of a record in which no spike was counted: held tells
// that the smooth cycle holds some.
func absentSpikes(rec *record, sw switching, held bool) spikeResult {
	found := &sw.spikes
	if held {
		return spikeResult{summary: heldSpikes(rec, found), cautions: []capture.Caution{heldCaution(found.HeldV)}}
	}
	// a spike may hide in the step of an edge or in the ripple's own corners
	threshold := max(math.Hypot(found.ThresholdV, 2*stepDoubtV(rec, sw, 0)), found.SwingV)
	s := noSpikes(figure.NotMeasured(fmt.Sprintf("no spike is above %.3g mV", 1e3*threshold)))
	s.ThresholdV, s.PerS, s.PerCycle = threshold, figure.Known(0), figure.Known(0)
	if moreBeside(found, rec.tr.DurationS()) {
		s.PerS.LowerBound, s.PerCycle.LowerBound = true, true
	}
	return spikeResult{summary: s}
}

// spikeCautions are the doubts about spikes that were counted.
func spikeCautions(rec *record, sw switching, held, stepHides bool, splitV float64, g grain) []capture.Caution {
	var list []capture.Caution
	if held {
		list = append(list, heldCaution(sw.spikes.HeldV))
	}
	if stepHides {
		list = append(list, capture.Caution{
			Code: capture.CautionStepHides,
			Text: fmt.Sprintf("the spikes are as short as the ripple's own step of %.3g mV at the edges (ESR); the two can be told apart to %.2g mV only", 1e3*stepAtEdges(rec, sw.Model), 1e3*2*splitV),
			Fix:  "judge such edges by the 20 MHz peak-to-peak, which holds both",
		})
	}
	if g.tooCoarse() {
		list = append(list, capture.Caution{
			Code: capture.CautionUndersampled,
			Text: undersampledText(g.rateHz, g.longS, g.ringHz),
			Fix:  "use the fastest timebase and all the memory; a single channel often doubles the rate",
		})
	}
	return list
}

// grain is how coarsely the strongest spike is sampled.
type grain struct {
	rateHz, longS, ringHz float64 // ringHz 0: no ring
	coarse                bool    // the record is too slow for any spike
}

func spikeGrain(rec *record, edges edgeSet, durationS float64) grain {
	g := grain{rateHz: rec.tr.SampleRateHz, longS: edges.largestDurationS, ringHz: edges.largestRingHz}
	if g.longS == 0 {
		g.longS = durationS
	}
	if rec.tr.TrueRateHz > 0 {
		g.rateHz = min(g.rateHz, rec.tr.TrueRateHz)
	}
	return g
}

// tooCoarse tells that too few samples lie in the pulse or in the ring: the true
// peak lies higher.
func (g grain) tooCoarse() bool {
	return g.coarse || g.longS*g.rateHz < samplesInPulse || g.ringHz > 0 && g.rateHz/g.ringHz < samplesInRing
}

// heldSpikes are the spikes of a record whose smooth cycle holds them: they can't be
// counted, and their peak is at least what swings about the cycle's own level.
func heldSpikes(rec *record, found *spike.Finding) SpikeSummary {
	s := noSpikes(figure.NotMeasured("pulses or ringing and the ripple can't be told apart in the cycle found"))
	s.ThresholdV = found.ThresholdV
	at := reading{found.HeldV, 2 * found.SigmaV}.figure(rec.setup.GainFraction, true)
	if p95, _ := besideReadings(found.Beside); found.Beside.Tells() && p95.value-p95.deviation > at.Value {
		at = p95.figure(rec.setup.GainFraction, true)
	}
	s.PeakP95V, s.PeakMaxV = at, at
	return s
}

func heldCaution(heldV float64) capture.Caution {
	return capture.Caution{
		Code: capture.CautionSpikesInRipple,
		Text: fmt.Sprintf("the cycle taken for ripple holds pulses or ringing of %.2g mV and more; spikes are missed, and the ripple is too high rather than too low", 1e3*heldV),
		Fix:  "use a faster timebase that shows about ten cycles, with all the memory; judge by the 20 MHz peak-to-peak, which holds both",
	}
}

// packetCaution says that what was counted as one spike is a packet of cycles.
func packetCaution(longS float64) capture.Caution {
	return capture.Caution{
		Code: capture.CautionSpikesInRipple,
		Text: fmt.Sprintf("no switching frequency stands out, and what counts as one spike lasts %s, longer than ringing does: it is a packet of switching cycles with their spikes in it, so that spikes are missed and their peaks hold ripple", seconds(longS)),
		Fix:  "load the supply as the heaters will, so that it switches all the time; else show a few packets with all the memory",
	}
}

// undersampledText says how coarsely the strongest spike is sampled.
func undersampledText(rateHz, durationS, ringHz float64) string {
	if ringHz > 0 && rateHz/ringHz < samplesInRing {
		return fmt.Sprintf("the spikes' ringing at %s has only %.1f samples per period; their peaks are lower bounds", hertz(ringHz), rateHz/ringHz)
	}
	return fmt.Sprintf("the spikes are only %.1f samples long; their peaks are lower bounds", durationS*rateHz)
}

// whyNoSpikes is the reason why single spikes can't be shown; empty where they
// can.
func whyNoSpikes(rec *record, sw switching) string {
	if rec.tr.Span.HighHz < spikeSpanHz && sw.spikes.Count == 0 {
		return slowForSpikes(rec)
	}
	if rec.tr.Span.HighHz < leastSpikeSpanHz {
		return slowForSpikes(rec)
	}
	if c := sw.Model; c != nil && c.RingsRunTogether() {
		return "the ringing lasts into the next edge; single spikes can't be told apart until it is damped"
	}
	if sw.spikes.ThresholdV == 0 {
		return "the record is too short or constant; nothing can stand out"
	}
	return ""
}

func slowForSpikes(rec *record) string {
	return fmt.Sprintf("the capture shows nothing above %s; 25 MS/s or more is needed to show spikes", hertz(rec.tr.Span.HighHz))
}

// withoutPeaks leaves of s what a record too slow for peaks and rings tells: that
// there are spikes, when, and how many at least.
func (s SpikeSummary) withoutPeaks(why string) SpikeSummary {
	out := noSpikes(figure.NotMeasured(why))
	out.ThresholdV, out.Count, out.MainsTied, out.Random, out.List = s.ThresholdV, s.Count, s.MainsTied, s.Random, s.List
	out.IntervalHist = s.IntervalHist
	out.PerS, out.PerCycle = s.PerS, s.PerCycle
	out.PerS.LowerBound, out.PerCycle.LowerBound = s.PerS.Known, s.PerCycle.Known
	return out
}

// noSpikes is a summary none of whose figures is measured.
func noSpikes(miss figure.Figure) SpikeSummary {
	return SpikeSummary{PerS: miss, PerCycle: miss, PeakMedianV: miss, PeakP95V: miss, PeakMaxV: miss,
		DurationMedianS: miss, AreaMedianVs: miss, RingHz: miss, RingQ: miss,
		RisingRingHz: miss, RisingRingQ: miss, FallingRingHz: miss, FallingRingQ: miss,
		RisingPeakMedianV: miss, FallingPeakMedianV: miss}
}

// spikeRates are the spikes per second and per switching cycle. stepHides tells
// that an edge's step may hide a spike.
func spikeRates(rec *record, sw switching, stepHides bool) (perS, perCycle figure.Figure) {
	found, duration := &sw.spikes, rec.tr.DurationS()
	perS = figure.Known(float64(found.Count) / duration)
	// the edges whose mean transient is near the threshold may or may not top it
	near := 0
	for e, t := range found.Templates {
		if math.Abs(t.PeakV) < nearThreshold*found.ThresholdV {
			near += found.PerEdge[e]
		}
	}
	if found.OffEdgeKeepsPhase() {
		near += len(found.OffEdge) // seen apart from an edge, and yet perhaps a part of it
	}
	deviation := 2 * math.Hypot(math.Sqrt(float64(min(len(found.OffEdge), found.Count))), float64(near)/2) / duration
	if !sw.shown {
		perS.U = deviation
		return perS, figure.NotMeasured("no switching cycle is known")
	}
	perCycle = figure.Known(float64(found.Count) / sw.Track.Cycles())
	if hidden := 2 - len(found.Templates); stepHides && hidden > 0 && perCycle.Value > 0 {
		// an edge that shows no spike may have one under its step
		deviation = math.Hypot(deviation, float64(hidden)*sw.Track.Hz)
	}
	perS.U = deviation
	switch missed := found.MissedAtPlaces(sw.Track.Cycles()) / duration; {
	case missed <= deviation:
	case found.OffEdgeKeepsPhase(): // or a part of the edge itself: none of them
		perS.U = missed
	default: // all of them or none: the middle
		perS.Value += missed / 2
		perS.U = math.Hypot(deviation, missed/2)
		perCycle.Value += missed / 2 * duration / sw.Track.Cycles()
	}
	return perS, perCycle
}

// edgeReading is the transient of one kind of edge.
type edgeReading struct {
	seen          bool
	peak          reading
	ringHz, ringQ figure.Figure
}

// edgeSet are the strongest transients of both edges and of all.
type edgeSet struct {
	rising, falling, largest edgeReading
	largestRingHz            float64 // of the largest transient, 0: it does not ring
	largestDurationS         float64 // its pulse duration, 0: there is none
	ambiguityV               float64 // the largest peak ambiguity
}

// edgeReadings reads the transients at the edges; splitV is the deviation that
// telling them from the ripple's step adds to a peak.
func edgeReadings(sw switching, splitV float64) edgeSet {
	found := &sw.spikes
	miss := figure.NotMeasured("no ringing stands out after the pulse")
	none := edgeReading{ringHz: miss, ringQ: miss}
	out := edgeSet{rising: none, falling: none, largest: none}
	for e, t := range found.Templates {
		if len(found.EdgePeaksV[e]) == 0 {
			continue
		}
		p := slices.Clone(found.EdgePeaksV[e])
		slices.Sort(p)
		r := edgeReading{seen: true, peak: quantileReading(p, 0.5, 1.25, splitV), ringHz: miss, ringQ: miss}
		r.peak.deviation = math.Hypot(r.peak.deviation, t.Edge.PeakAmbiguityV)
		r.peak.deviation = math.Hypot(r.peak.deviation, meanNoise(found, found.PerEdge[e]))
		out.ambiguityV = max(out.ambiguityV, t.Edge.PeakAmbiguityV)
		if t.Edge.HasRing {
			r.ringHz, r.ringQ = ringFigures(t.Edge, sw.Model)
			if t.Duration()/float64(sw.Model.Bins)*sw.Model.PeriodS*t.Edge.Ring.Hz < 1.0/slowRing {
				slow := figure.NotMeasured("what follows the pulse is far slower than the pulse: a bend of the ripple, and no ring of its own")
				r.ringHz, r.ringQ = slow, slow
			}
		}
		kind := &out.falling
		if t.Edge.Rising {
			kind = &out.rising
		}
		if !kind.seen || r.peak.value > kind.peak.value {
			*kind = r
		}
		if r.peak.value > out.largest.peak.value {
			out.largest, out.largestRingHz = r, 0
			out.largestDurationS = found.EdgeDurationS[e]
			if t.Edge.HasRing {
				out.largestRingHz = t.Edge.Ring.Hz
			}
		}
	}
	return out
}

// meanNoise is twice the deviation that the noise gives an edge's mean transient over
// so many cycles, whose greatest place is its peak.
func meanNoise(found *spike.Finding, cycles int) float64 {
	return 2 * found.SigmaV / math.Sqrt(float64(max(cycles, 1)))
}

// ringFigures states the frequency and the Q of an edge's ring. The instrument's
// gain is no part of them.
func ringFigures(e cycle.Edge, c *cycle.Model) (ringHz, ringQ figure.Figure) {
	hz, q := e.Ring.Hz, e.Ring.Q()
	if q < ringLeastQ {
		miss := figure.NotMeasured("what follows the pulse dies down within its first swing")
		return miss, miss
	}
	uHz, uQ := e.RingDeviation(c.PeriodS/float64(c.Bins), c.BinSigmaV)
	return figure.Stated(hz, 0, ringB.Scale*uHz, hz*math.Hypot(ringDamped/(q*q), ringBuried/(q*q*q))),
		figure.Stated(q, 0, ringB.Scale*uQ, ringB.Model*q, ringQBuried/q)
}

// stepDoubtV is the standard deviation of a spike's peak that comes from telling
// it from the ripple's step under it, volts, for pulses of a duration in seconds.
// Where a pulse is as short as a step may take, the two are not known better than
// within the step (rectangular); above, tests with drawn supplies show a
// twentieth of it and less.
func stepDoubtV(rec *record, sw switching, durationS float64) float64 {
	step := stepAtEdges(rec, sw.Model)
	if durationS < stepTimes*cycle.EdgeZoneS {
		return step / math.Sqrt(3)
	}
	return stepLeft * step * stepTimes * cycle.EdgeZoneS / durationS
}

// stepAtEdges is the ripple's step at the edges in volts: the cycle's own where
// it is known, else the largest that the smooth cycle makes across an edge.
func stepAtEdges(rec *record, c *cycle.Model) float64 {
	switch {
	case c == nil:
		return 0
	case c.StepV.Known:
		return c.StepV.Value
	}
	m := c.Bins
	zone := min(int(math.Ceil((cycle.EdgeZoneS+2/rec.tr.SampleRateHz)/c.PeriodS*float64(m))), m/edgePart)
	step := 0.0
	for _, e := range c.Edges {
		on := int(e.Phase * float64(m))
		step = max(step, math.Abs(c.Smooth[(on+zone)%m]-c.Smooth[(on-zone+m)%m]))
	}
	return step
}

// medianOf is the median of what read gives of the events.
func medianOf(events []spike.Event, read func(spike.Event) float64) float64 {
	v := make([]float64, 0, len(events))
	for _, e := range events {
		v = append(v, read(e))
	}
	slices.Sort(v)
	return capture.Quantile(v, 0.5)
}

// classifyOffEdge tells mains-tied events from random ones, by a copy with their
// classes set: those that keep their place in the period of twice the mains. It
// also counts them.
func classifyOffEdge(events []spike.Event, rec *record, mainsHz figure.Figure) (classed []spike.Event, tied int) {
	var offEdge []int
	for i, e := range events {
		if e.Class == spike.Random {
			offEdge = append(offEdge, i)
		}
	}
	if len(offEdge) < leastTied {
		return events, 0
	}
	candidates := []float64{100, 120}
	if mainsHz.Known {
		candidates = []float64{2 * mainsHz.Value}
	} else if rec.setup.MainsHz > 0 {
		candidates = []float64{2 * rec.setup.MainsHz}
	}
	best, bestHz, bestPhase := 0.0, 0.0, 0.0
	for _, hz := range candidates {
		if events[offEdge[len(offEdge)-1]].TimeS-events[offEdge[0]].TimeS < tiedPeriods/hz {
			continue
		}
		var c, q float64
		for _, i := range offEdge {
			sin, cos := math.Sincos(2 * math.Pi * math.Mod(events[i].TimeS*hz, 1))
			c += cos
			q += sin
		}
		if r := math.Hypot(c, q) / float64(len(offEdge)); r > best {
			best, bestHz, bestPhase = r, hz, math.Atan2(q, c)/(2*math.Pi)
		}
	}
	if bestHz == 0 || best*best*float64(len(offEdge)) < rayleigh && !(len(offEdge) <= fewTied && best > fewInPhase) {
		return events, 0
	}
	classed = slices.Clone(events)
	for _, i := range offEdge {
		if math.Abs(math.Remainder(events[i].TimeS*bestHz-bestPhase, 1)) < tiedOff {
			classed[i].Class = spike.MainsTied
			tied++
		}
	}
	return classed, tied
}
