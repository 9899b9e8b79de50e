package spike

import (
	"cmp"
	"math"
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
)

// Finding is what stands out of the residue.
type Finding struct {
	SigmaV     float64           // the residue's robust standard deviation
	ThresholdV float64           // an event's peak is at least this
	Templates  []cycle.Transient // the edges' mean transients that stand above it in single cycles
	PerEdge    []int             // events of each template
	EdgePeaksV [][]float64       // their absolute peaks, by template; every n-th of very many
	Count      int               // events, those at the edges and those off them
	PeaksV     []float64         // absolute peaks of the events
	Events     []Event           // by rising time; an even pick where there are very many
	OffEdge    []Event           // those outside the edges' windows
	HeldV      float64           // peak of what the smooth ripple itself holds of pulses and rings
	SwingV     float64           // the same with the ripple's corners

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
		return findIn(r, f, rateHz, stepV, 0)
	}
	level := *r
	level.Slow = localLevels(r.Volts, rateHz)
	out := findIn(&level, f, rateHz, stepV, cornerV(level.Slow))
	// an unknown ripple is no noise either: its own excursions stay excised
	out.offEdgeSpans = findIn(r, f, rateHz, stepV, 0).offEdgeSpans
	return out
}

// findIn is Find in a residue whose slow part is the level to count from; slackV is
// what that level may be off by.
func findIn(r *cycle.Residue, f *cycle.Fold, rateHz, stepV, slackV float64) Finding {
	out := Finding{rateHz: rateHz}
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
	if 10*covered > 9*m && m > 0 {
		// transients fill the cycle: the fold's bins tell the noise
		out.SigmaV = min(out.SigmaV, max(f.SigmaV, 0.3*stepV))
	}
	out.ThresholdV = max(beginSigmas*out.SigmaV, leastSteps*stepV)
	if out.ThresholdV > 0 {
		out.ThresholdV += slackV
	} else {
		lo, hi := cycle.Extremes(r.Volts)
		out.ThresholdV = max(1e-6*(hi-lo), 1e-300)
	}
	out.all = all
	for _, t := range all {
		if math.Abs(t.PeakV) > templateShare*out.ThresholdV {
			if r.Track.Kind == cycle.Dithered {
				t.V = append([]float64(nil), t.V...)
				t.InTime(r, r.Model.BinSigmaV)
			}
			out.Templates = append(out.Templates, t)
		}
	}
	out.PerEdge = make([]int, len(out.Templates))
	out.EdgePeaksV = make([][]float64, len(out.Templates))
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
// cycles.
func (out *Finding) countEdges(r *cycle.Residue) {
	if len(out.Templates) == 0 {
		return
	}
	cycles := r.Track.Cycles()
	every := max(1, int(cycles/mostSized))
	listEvery := max(1, int(cycles*float64(len(out.Templates)))/MaxListed)
	s := newSizer(r)
	for e, t := range out.Templates {
		s.begin(t, plainPeakSigmas*out.SigmaV)
		seen := 0
		eachOnset(r, t.Edge.Phase, func(x float64) {
			seen++
			if seen%every != 0 {
				return
			}
			peak := s.size(x)
			if every == 1 && r.Track.Kind == cycle.Fixed {
				out.offEdgeInWindow(s.buf, r.Model.Smooth, s.from, s.start, s.perSample*float64(r.Model.Bins), t, peak/t.PeakV)
			}
			out.EdgePeaksV[e] = append(out.EdgePeaksV[e], math.Abs(peak))
			out.PeaksV = append(out.PeaksV, math.Abs(peak))
			if seen%listEvery == 0 {
				out.Events = append(out.Events, out.edgeSpike(r, t, e, x, peak))
			}
		})
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

// sizer sizes single transients of a template: by the mean transient's share in
// each (matched filter) where noise would lift a plain peak reading, by the peak
// between samples otherwise.
type sizer struct {
	r         *cycle.Residue
	ip        *spectrum.Interpolator
	perSample float64 // cycles; transients keep their time, not their phase, where the period wanders

	t      cycle.Transient
	energy float64 // of a whole transient, squared volts times samples
	lead   float64 // cycles from the template's start to its onset
	plainV float64 // templates beyond this are read by their peak

	buf   []float64 // the last one sized, tails of others taken off
	from  int       // sample of buf[0]
	start float64   // where the template starts, in samples
}

func newSizer(r *cycle.Residue) *sizer {
	return &sizer{r: r, ip: spectrum.NewInterpolator(), perSample: 1 / (r.Model.PeriodS * r.RateHz)}
}

func (s *sizer) begin(t cycle.Transient, plainV float64) {
	m := float64(s.r.Model.Bins)
	s.t, s.plainV, s.energy = t, plainV, 0
	for _, v := range t.V[:t.Until] {
		s.energy += v * v
	}
	s.energy /= m * s.r.Track.Pieces[0].PerSample
	s.lead = math.Mod(t.Edge.Phase-float64(t.First)/m+1, 1)
}

// size is the signed peak of the transient whose onset is at sample x.
func (s *sizer) size(x float64) float64 {
	m, t := float64(s.r.Model.Bins), s.t
	s.start = x - s.lead/s.perSample
	s.from = max(int(math.Ceil(s.start)), 0)
	to := min(int(s.start+float64(t.Until)/m/s.perSample)+1, len(s.r.Volts))
	s.buf = s.buf[:0]
	num, den := 0.0, 0.0
	s.r.Each(s.from, to, func(i int, v float64, bin int, _ float64) {
		b := (float64(i)-s.start)*s.perSample*m - 0.5
		v -= cycle.Lerp(t.Tail, b)
		s.buf = append(s.buf, v)
		tv := cycle.Lerp(t.V, b)
		num += v * tv
		den += tv * tv
	})
	if den < 0.5*s.energy {
		return t.PeakV // cut off by the record's end: its size is the mean one
	}
	if math.Abs(t.PeakV) > s.plainV {
		at := cycle.NearestPeak(s.buf, t.PeakV, (t.PeakAt+0.5)/m/s.perSample+s.start-float64(s.from), 2/(s.perSample*m)+2)
		if at >= 0 {
			peak, _ := s.ip.Peak(s.buf, at, math.Copysign(1, t.PeakV))
			return peak
		}
	}
	return num / den * t.PeakV
}

// edgeSpike describes one transient at an edge at sample x.
func (out *Finding) edgeSpike(r *cycle.Residue, t cycle.Transient, e int, x, peak float64) Event {
	m := float64(r.Model.Bins)
	s := Event{
		TimeS: x, PeakV: peak, // in samples until Find divides by the rate
		DurationS:  t.Duration() / m * r.Model.PeriodS,
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
