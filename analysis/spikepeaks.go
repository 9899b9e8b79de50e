package analysis

import (
	"math"
	"slices"

	"stillglow/analysis/figure"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// reading is a value with what is known of its deviation: twice the standard
// one, the gain and the model left out.
type reading struct{ value, deviation float64 }

// quantileReading reads a quantile of sorted peaks; perScatter is its standard
// deviation times √n over that of a single one, sigmas the noise's share.
func quantileReading(sorted []float64, q, perScatter, noiseV float64) reading {
	scatter, n := capture.Quantile(sorted, 0.84)-capture.Quantile(sorted, 0.16), float64(len(sorted))
	r := reading{capture.Quantile(sorted, q), 2 * math.Hypot(perScatter*scatter/2/math.Sqrt(n), noiseV)}
	if q == upperPeaks {
		r.deviation = math.Hypot(r.deviation, aboveUpper(sorted)-r.value)
	}
	return r
}

// aboveUpper is how tall the upper peaks may be by the count alone: the quantile that
// two standard deviations of a binomial share lie above them, of few peaks the tallest.
// Where edges differ, the upper quantile of some lies between two kinds of peaks.
func aboveUpper(sorted []float64) float64 {
	q := upperPeaks + 2*math.Sqrt(upperPeaks*(1-upperPeaks)/float64(len(sorted)))
	return capture.Quantile(sorted, min(q, 1))
}

// figure states the reading with the gain's and the model's share.
func (r reading) figure(gainFraction float64, lowerBound bool) figure.Figure {
	f := spikeB.Of(r.value, r.deviation, gainFraction)
	f.LowerBound = lowerBound
	return f
}

// peakSet are the peaks of all events in figures to be.
type peakSet struct {
	sorted           []float64
	median, p95, top reading
	stepHides        bool // the ripple's step at the edges hides how tall they are
	lower, upper     bool // bounds: the true peaks lie higher, lower
}

// figure states one of the readings.
func (p peakSet) figure(r reading, gain float64) figure.Figure {
	if p.lower && p.upper {
		return figure.NotMeasured("the spikes hardly stand out, and too few samples fall on each to show its peak; a faster timebase and fewer volts per division are needed")
	}
	f := r.figure(gain, p.lower)
	f.UpperBound = p.upper
	return f
}

// peakReadings reads the peaks of the events. splitV is the deviation that telling
// them from the ripple's step adds, ambiguityV the largest ambiguity of an edge's peak.
func peakReadings(found *spike.Finding, splitV, ambiguityV float64) peakSet {
	p := peakSet{sorted: slices.Clone(found.PeaksV)}
	slices.Sort(p.sorted)
	// the noise itself lifts over the threshold what lies under it
	p.upper = len(found.Templates) == 0 && capture.Quantile(p.sorted, upperPeaks) < marginalTimes*found.ThresholdV
	// those off the edges are read one by one, on a level of their own
	apart := float64(len(found.OffEdge)) / float64(max(len(p.sorted), 1))
	if p.upper {
		apart = 0 // an upper figure holds the noise
	}
	p.median = quantileReading(p.sorted, 0.5, 1.25, (0.1+0.5*apart)*found.SigmaV)
	p.p95 = quantileReading(p.sorted, upperPeaks, 2.1, (0.2+0.8*apart)*found.SigmaV)
	p.top = reading{p.sorted[len(p.sorted)-1], 2 * (1 + apart) * found.SigmaV}
	p.stepHides = 2*splitV > stepHidesShare*p.median.value
	slack := float64(len(found.OffEdge)) / float64(max(len(p.sorted), 1)) * found.LevelSlackV
	few := slack
	for _, cycles := range found.PerEdge {
		few = max(few, meanNoise(found, cycles))
	}
	for _, r := range p.all() {
		r.deviation = math.Hypot(math.Hypot(r.deviation, 2*splitV), math.Hypot(ambiguityV, few))
		if p.upper {
			// what was taken off for the noise's lift and more, and what the level may take
			r.value += found.SigmaV + slack
		}
	}
	p.settleBy(found.Beside)
	return p
}

func (p *peakSet) all() []*reading { return []*reading{&p.median, &p.p95, &p.top} }

// besideReadings are the upper quantiles of what was read without the cycle, less
// what the noise lifts the largest of some samples by. The level beside a spike is as
// unsure as a twentieth of the spike.
func besideReadings(b spike.Beside) (p95, top reading) {
	of := func(peakV, lift float64) reading {
		v := max(peakV-lift*b.SigmaV, 0)
		return reading{v, math.Hypot(2*b.SigmaV, besideLevelShare*v)}
	}
	p95, top = of(b.P95V, besideLift), of(b.MaxV, besideTopLift)
	if len(b.PeaksV) > 0 {
		p95.deviation = math.Hypot(p95.deviation, aboveUpper(b.PeaksV)-b.P95V)
	}
	return p95, top
}

// mostBeside is the tallest spike that the reading beside the cycle leaves room for.
// Where some were seen, their own level and the noise may have taken from them.
func mostBeside(b spike.Beside) float64 {
	if !b.Several() {
		return max(b.ThresholdV, b.MaxV)
	}
	return max(b.ThresholdV, (1+2*besideLevelShare)*b.MaxV+2*b.SigmaV)
}

// settleBy holds the peaks against those read without the cycle. Where both see
// spikes and disagree by more than both deviations, the reading that rests on no
// ripple's model counts, half the difference its doubt; else the surer one. Spikes
// that the other would have seen and did not are no taller than its threshold or its
// greatest peak.
func (p *peakSet) settleBy(b spike.Beside) {
	switch {
	case b.ThresholdV <= 0:
	case b.Tells():
		p95, top := besideReadings(b)
		if by := p.p95.between(p95); by != p.p95 {
			ratio := by.value / p.p95.value
			p.median = reading{p.median.value * ratio, math.Hypot(p.median.deviation, p.median.value*math.Abs(ratio-1))}
			p.p95, p.upper = by, false
		}
		p.top = p.top.between(top)
	case p.top.value-p.top.deviation > max(b.ThresholdV, b.MaxV):
		p.upper = true
		for _, r := range p.all() {
			r.value = min(r.value, mostBeside(b))
		}
	}
}

// moreBeside reports whether clearly more spikes stand out beside the cycle than were
// counted in it: it misses an edge.
func moreBeside(found *spike.Finding, durationS float64) bool {
	b := found.Beside
	if !b.Hints() || !(durationS > 0) {
		return false
	}
	counted := float64(found.Count) * b.DurationS / durationS
	return float64(b.Count) > moreBesideTimes*counted+besideSlack
}

// between is the surer of two readings of one thing. Where they disagree a little it
// is their middle, with room for both: the cycle's reading loses what its edges
// jitter, the other one holds the ripple's step. Where they disagree by far it is the
// other one, which rests on less. Half of what they are apart is in the doubt of
// either: one of them is off by as much.
func (r reading) between(other reading) reading {
	u := spikeB.Scale * r.deviation
	apart := math.Abs(r.value - other.value)
	disagree := apart > math.Hypot(u, other.deviation)
	switch {
	case disagree && max(other.value, r.value) < besideFar*min(other.value, r.value):
		return reading{(r.value + other.value) / 2, math.Hypot(other.deviation, apart/2)}
	case disagree:
		return reading{other.value, math.Hypot(other.deviation, apart/2)}
	case other.deviation < r.deviation:
		r, other = other, r
	}
	return reading{r.value, math.Hypot(r.deviation, apart/2)}
}

// besideSpikes are the spikes of a cycle whose rings last into its next edge, as
// they stand out of the level beside them: peaks, and how many at least.
func besideSpikes(rec *record, sw switching, clipped int) (SpikeSummary, bool) {
	b, c := sw.spikes.Beside, sw.Model
	if !b.Tells() || c == nil || rec.tr.Span.HighHz < spikeSpanHz {
		return SpikeSummary{}, false
	}
	s := noSpikes(figure.NotMeasured("the ringing lasts into the next edge; single spikes can't be told apart until it is damped"))
	s.ThresholdV, s.Count = b.ThresholdV, b.Count
	s.PerS = figure.Known(float64(b.Count) / b.DurationS)
	s.PerS.LowerBound = true
	g := grain{rateHz: rec.tr.SampleRateHz, longS: math.Inf(1)}
	for _, e := range c.Edges {
		if e.HasRing {
			g.ringHz = max(g.ringHz, e.Ring.Hz)
		}
	}
	lower := g.tooCoarse() || clipped > 0
	p95, top := besideReadings(b)
	s.PeakP95V, s.PeakMaxV = p95.figure(rec.setup.GainFraction, lower), top.figure(rec.setup.GainFraction, lower)
	s.AmplitudeHist = histogramOf(b.PeaksV, histogramSteps)
	return s, true
}
