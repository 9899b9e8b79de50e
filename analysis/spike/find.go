package spike

import (
	"cmp"
	"math"
	"slices"

	"stillglow/analysis/cycle"
)

// Finding is what stands out of the residue.
type Finding struct {
	SigmaV        float64           // the residue's robust standard deviation
	ThresholdV    float64           // an event's peak is at least this
	LevelSlackV   float64           // what the level under events may be off by, where no cycle is known
	Templates     []cycle.Transient // the edges' mean transients that stand above it in single cycles
	PerEdge       []int             // events of each template
	EdgePeaksV    [][]float64       // their absolute peaks, by template; every n-th of very many
	EdgeDurationS []float64         // their pulse duration, by template: of single ones where noise lets it show
	Count         int               // events, those at the edges and those off them
	PeaksV        []float64         // absolute peaks of the events
	Events        []Event           // by rising time; an even pick where there are very many
	OffEdge       []Event           // those outside the edges' windows
	HeldV         float64           // peak of what the smooth ripple itself holds of pulses and rings
	SwingV        float64           // the same with the ripple's corners
	Beside        Beside            // the spikes read without the cycle, where one is known
	LongestS      float64           // how long the longest event off the edges lasts

	all          []cycle.Transient // of all edges that the folded cycle shows
	offEdgeSpans []interval        // samples that the events off the edges cover
	rateHz       float64
}

type interval struct{ from, to int }

// Find looks for the edges' transients cycle by cycle and for others in
// between. f is the fold that r's ripple was read from, nil where no cycle shows;
// stepV is the converter's step, 0 where it is not known.
func Find(r *cycle.Residue, f *cycle.Fold, rateHz, stepV float64) Finding {
	if r.Model != nil {
		beside := make(chan Beside, 1)
		go func() { beside <- readBeside(r.Volts, rateHz, stepV) }()
		out := findIn(r, f, rateHz, stepV, 0)
		out.Beside = <-beside
		return out
	}
	level := *r
	level.Slow = localLevels(r.Volts, rateHz)
	out := findIn(&level, f, rateHz, stepV, cornerV(level.Slow))
	for _, s := range out.offEdgeSpans {
		out.LongestS = max(out.LongestS, float64(s.to-s.from)/rateHz-2*holdS)
	}
	// an unknown ripple is no noise either: its own excursions stay excised
	out.offEdgeSpans = findIn(r, f, rateHz, stepV, 0).offEdgeSpans
	return out
}

// findIn is Find in a residue whose slow part is the level to count from; slackV is
// what that level may be off by.
func findIn(r *cycle.Residue, f *cycle.Fold, rateHz, stepV, slackV float64) Finding {
	out := Finding{rateHz: rateHz, LevelSlackV: slackV}
	out.HeldV, out.SwingV = heldBack(r.Model)
	var all []cycle.Transient
	m := 0
	if r.Model != nil {
		m = r.Model.Bins
		all = cycle.Transients(f, r.Model, r.Model.BinSigmaV)
	}
	skip := make([]bool, m)
	for _, t := range all {
		for k := range t.Until {
			skip[(t.First+k)%m] = true
		}
	}
	out.SigmaV = r.RobustScale(skip, stepV)
	covered := 0
	for _, s := range skip {
		if s {
			covered++
		}
	}
	if coveredOf*covered > coveredMost*m && m > 0 {
		// transients fill the cycle: the fold's bins tell the noise
		out.SigmaV = min(out.SigmaV, max(f.SigmaV, coarseSigma*stepV))
	}
	out.ThresholdV = max(beginSigmas*out.SigmaV, leastSteps*stepV)
	if out.ThresholdV > 0 {
		out.ThresholdV += slackV
	} else {
		lo, hi := cycle.Extremes(r.Volts)
		out.ThresholdV = max(noThreshold*(hi-lo), tiny)
	}
	out.all = all
	for _, t := range all {
		if r.Track.Kind == cycle.Dithered {
			t.V = append([]float64(nil), t.V...)
			t.InTime(r, r.Model.BinSigmaV)
		}
		if math.Abs(t.PeakV) > templateShare*out.ThresholdV {
			out.Templates = append(out.Templates, t)
		}
	}
	out.PerEdge = make([]int, len(out.Templates))
	out.EdgePeaksV = make([][]float64, len(out.Templates))
	out.EdgeDurationS = make([]float64, len(out.Templates))
	edgeOf := make([]int8, m)
	for i := range edgeOf {
		edgeOf[i] = -1
	}
	for e, t := range out.Templates {
		for k := range t.Until {
			edgeOf[(t.First+k)%m] = int8(e)
		}
	}
	out.countEdges(r)
	out.scan(r, edgeOf, rateHz)
	out.settleOffEdge(r)
	for _, list := range [][]Event{out.Events, out.OffEdge} {
		for i := range list {
			list[i].TimeS /= rateHz // samples so far
		}
	}
	slices.SortStableFunc(out.Events, func(a, b Event) int { return cmp.Compare(a.TimeS, b.TimeS) })
	return out
}

// countEdges counts and sizes the transients at the edges of the tracked
// cycles: one event an edge.
func (out *Finding) countEdges(r *cycle.Residue) {
	if len(out.Templates) == 0 {
		return
	}
	cycles := r.Track.Cycles()
	every := max(1, int(cycles/mostSized))
	listEvery := max(1, int(cycles*float64(len(out.Templates)))/MaxListed)
	s := newSizer(r, out.SigmaV)
	for e, t := range out.Templates {
		s.begin(t)
		durationS := s.single / out.rateHz
		if durationS == 0 {
			durationS = t.Duration() / float64(r.Model.Bins) * r.Model.PeriodS
		}
		out.EdgeDurationS[e] = durationS
		seen := 0
		var peaks []float64
		eachOnset(r, t.Edge.Phase, func(x float64) {
			seen++
			if seen%every != 0 {
				return
			}
			peak := s.size(x)
			// a dithered edge lies less surely than the template is steep
			if every == 1 && !s.smeared && r.Track.Kind == cycle.Fixed {
				out.offEdgeInWindow(s, peak/t.PeakV)
			}
			peaks = append(peaks, math.Abs(peak))
			if seen%listEvery == 0 {
				out.Events = append(out.Events, out.edgeSpike(r, t, x, peak, durationS))
			}
		})
		withoutNoise(peaks, s.readingSigma())
		out.EdgePeaksV[e] = peaks
		out.PeaksV = append(out.PeaksV, peaks...)
		out.PerEdge[e] = seen
		out.Count += seen
	}
}

// eachOnset visits where in the record, in samples, the tracked cycles pass a phase.
func eachOnset(r *cycle.Residue, phase float64, visit func(x float64)) {
	last := float64(len(r.Volts) - 1)
	want := math.Inf(-1)
	for _, p := range r.Track.Pieces {
		end := p.Phase + p.PerSample*(p.To-p.From)
		k := math.Ceil(p.Phase - phase)
		if k+phase <= want {
			k++
		}
		for ; k+phase < end; k++ {
			want = k + phase
			if x := p.From + (want-p.Phase)/p.PerSample; x >= 0 && x <= last {
				visit(x)
			}
		}
	}
}

// edgeSpike describes one transient of the edge that the fit puts at sample x. Its
// time is its peak's in the mean cycle, as off the edges: where peaks are cut off,
// the fit may put the edge well ahead of what shows.
func (out *Finding) edgeSpike(r *cycle.Residue, t cycle.Transient, x, peak, durationS float64) Event {
	m := float64(r.Model.Bins)
	behind := math.Remainder(float64(t.First)+t.PeakAt+0.5-t.Edge.Phase*m, m) // the edge, in bins
	at := x + behind/m*r.Model.PeriodS*out.rateHz
	s := Event{
		TimeS: min(max(at, 0), float64(len(r.Volts)-1)), PeakV: peak, // in samples until Find divides by the rate
		DurationS:  durationS,
		AreaVs:     t.Area() / m * r.Model.PeriodS * peak / t.PeakV,
		CyclePhase: t.Edge.Phase,
		Class:      Falling,
	}
	if t.Edge.Rising {
		s.Class = Rising
	}
	if t.Edge.HasRing {
		s.RingHz, s.RingQ = t.Edge.Ring.Hz, t.Edge.Ring.Q()
	}
	return s
}
