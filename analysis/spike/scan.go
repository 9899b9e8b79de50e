package spike

import (
	"cmp"
	"math"
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// scan looks for events where no edge's transient is expected, with hysteresis:
// an event begins above the threshold and ends when the residue has stayed
// under the lower one for a while.
func (out *Finding) scan(r *cycle.Residue, edgeOf []int8, rateHz float64) {
	n := len(r.Volts)
	end := out.ThresholdV * endSigmas / beginSigmas
	hold := max(int(holdS*rateHz), holdSamples)
	if r.Model != nil {
		hold = min(hold, max(int(holdCycle*r.Model.PeriodS*rateHz), holdInCycle))
	}
	ip := spectrum.NewInterpolator()
	inside := false
	start, last := 0, 0
	steep := r.Steepness(out.ThresholdV)
	reader, again := r.Reader(), r.Reader()
	var buf, beside []float64
	finish := func() {
		inside = false
		from, to := max(start-hold, 0), min(last+hold, n)
		buf = buf[:0]
		phase := -1.0
		again.Each(from, to, func(i int, v float64, bin int, ph float64) {
			buf = append(buf, v)
			if i == start && bin >= 0 {
				phase = ph - math.Floor(ph)
			}
		})
		at := 0
		for i := range buf {
			if k := i + from; k < start || k > last {
				continue
			}
			if math.Abs(buf[i]) > math.Abs(buf[at]) || at < start-from {
				at = i
			}
		}
		peak, where := ip.Peak(buf, at, math.Copysign(1, buf[at]))
		level, ok := 0.0, false
		if r.Model != nil { // a line needs a residue that is flat but for the model's error
			level, ok = levelBefore(buf, start-from)
		}
		if !ok {
			level, beside = levelAround(buf, start-from, last-from, beside)
		}
		peak -= level
		if math.Abs(peak) < out.ThresholdV {
			return // noise on a level that is off, as where the mains' ripple bends
		}
		for i := range buf {
			buf[i] -= level
		}
		area := 0.0
		for i := start - from; i <= last-from && i < len(buf); i++ {
			area += buf[i]
		}
		s := Event{TimeS: float64(from) + where, PeakV: peak,
			DurationS: cycle.HalfDuration(buf, at, peak) / rateHz, AreaVs: area / rateHz,
			CyclePhase: phase, Class: Random}
		out.OffEdge = append(out.OffEdge, s)
		out.offEdgeSpans = append(out.offEdgeSpans, interval{from, to})
	}
	threshold := out.ThresholdV
	reader.Runs(0, n, func(first int, values []float64, bins []int32) {
		for k := 0; k < len(values); k++ {
			if !inside {
				for k < len(values) && math.Abs(values[k]) <= threshold { // nearly all
					k++
				}
				if k == len(values) {
					return
				}
			}
			i, v, bin := first+k, math.Abs(values[k]), bins[k]
			switch {
			case !inside:
				if bin < 0 || edgeOf[bin] < 0 && v > steep[bin] {
					inside, start, last = true, i, i
				}
			case bin >= 0 && edgeOf[bin] >= 0:
				finish() // an edge's own transient begins
			case v > end:
				last = i
			case i-last > hold:
				finish()
			}
		}
	})
	if inside {
		finish()
	}
}

// levelBefore is the level under an event by the line through what lies before it,
// taken to its start: after it comes its ring, and a corner of the ripple under it
// turns the level there. The last quarter before it is left out, since an event begins
// before it passes the threshold. ok is false where too little lies before it.
func levelBefore(buf []float64, first int) (level float64, ok bool) {
	quiet := first - first/4
	if quiet < leastInLevel {
		return 0, false
	}
	n := float64(quiet)
	var sx, sy, sxx, sxy float64
	for i, v := range buf[:quiet] {
		x := float64(i)
		sx, sy, sxx, sxy = sx+x, sy+v, sxx+x*x, sxy+x*v
	}
	slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	return sy/n + slope*(float64(first)-sx/n), true
}

// levelAround is the median of what lies beside an event; 0 where that is too
// little to tell. work is work space, which it gives back.
func levelAround(buf []float64, first, last int, work []float64) (level float64, beside []float64) {
	beside = append(append(work[:0], buf[:min(max(first, 0), len(buf))]...), buf[min(last+1, len(buf)):]...)
	if len(beside) < leastLevel {
		return 0, beside
	}
	return capture.Ranked(beside, len(beside)/2), beside
}

// offEdgeInWindow looks for an event of another origin under the edge's transient
// that s has just sized at scale: what stands above the threshold after the mean
// transient, scaled, is taken off. A fifth of the transient itself is allowed for
// its own scatter, and what lies as near to its peak as an edge may jitter is the
// edge's own.
func (out *Finding) offEdgeInWindow(s *sizer, scale float64) {
	t, smooth, per := s.t, s.r.Model.Smooth, s.binsPerSample()
	at, most := -1, 0.0
	m := len(smooth)
	peakAt, reach := s.peakAt(), s.jitterReach()
	for i, v := range s.buf {
		tv := scale * s.mean[i]
		if math.Abs(v-tv) <= max(out.ThresholdV, most) || math.Abs(float64(i)-peakAt) <= reach {
			continue // nearly all: what follows is taken off it
		}
		x := s.place(i)
		steep := math.Abs(cycle.Lerp(t.V, x+per)-cycle.Lerp(t.V, x-per)) * math.Abs(scale)
		before := (t.First + int(x-per) + 2*m) % m
		after := (t.First + int(x+per) + 1 + 2*m) % m
		steep += math.Abs(smooth[after] - smooth[before])
		steep += math.Abs(cycle.Lerp(t.Tail, x+per)-cycle.Lerp(t.Tail, x-per)) + tailScatter*math.Abs(cycle.Lerp(t.Tail, x))
		over := math.Abs(v-tv) - ownScatter*math.Abs(tv) - steep - peakScatter*math.Abs(t.PeakV)
		if over > out.ThresholdV && over > most {
			at, most = i, over
		}
	}
	if at < 0 {
		return
	}
	peak := s.buf[at] - scale*s.mean[at]
	out.OffEdge = append(out.OffEdge, Event{TimeS: float64(s.from + at), PeakV: peak,
		DurationS: t.Duration() / per / out.rateHz, CyclePhase: t.Edge.Phase, Class: Random})
}

// settleOffEdge joins the events outside the cycle that are one transient seen
// twice, its ring running into or out of an edge's window, and adds them to the
// rest.
func (out *Finding) settleOffEdge(r *cycle.Residue) {
	reach := oneEventS * out.rateHz
	for _, t := range out.all {
		reach = max(reach, float64(t.Until)/float64(r.Model.Bins)*r.Model.PeriodS*out.rateHz)
	}
	slices.SortStableFunc(out.OffEdge, func(a, b Event) int { return cmp.Compare(a.TimeS, b.TimeS) })
	var kept []Event
	last := math.Inf(-1)
	for _, s := range out.OffEdge {
		if k := len(kept); k > 0 && s.TimeS-last < reach {
			if math.Abs(s.PeakV) > math.Abs(kept[k-1].PeakV) {
				kept[k-1] = s
			}
			continue
		}
		kept = append(kept, s)
		last = s.TimeS
	}
	out.OffEdge = kept
	out.Count += len(kept)
	peaks := make([]float64, len(kept))
	for i, s := range kept {
		peaks[i] = math.Abs(s.PeakV)
	}
	withoutNoise(peaks, out.SigmaV)
	for _, p := range peaks {
		out.PeaksV = append(out.PeaksV, max(p-crestLift*out.SigmaV, 0))
	}
	out.Events = append(out.Events, kept...)
}

// OffEdgeKeepsPhase reports whether the events outside the edges' windows all come at
// one place in the cycle (Rayleigh's resultant over nine tenths).
func (out *Finding) OffEdgeKeepsPhase() bool {
	var re, im float64
	for _, s := range out.OffEdge {
		if s.CyclePhase < 0 {
			return false
		}
		sin, cos := math.Sincos(2 * math.Pi * s.CyclePhase)
		re, im = re+cos, im+sin
	}
	n := float64(len(out.OffEdge))
	return n >= leastInPhase && math.Hypot(re, im) > inPhase*n
}

// MissedAtPlaces is how many cycles, of so many, show no event at a place of the cycle at
// which events outside the edges' windows crowd: there an edge has spikes that the
// samples hit now and then, and what comes at no edge has no place. Each place counts
// by itself; 0 where there is none.
func (out *Finding) MissedAtPlaces(cycles float64) float64 {
	var count [placesInCycle]int
	n := 0
	for _, s := range out.OffEdge {
		if s.CyclePhase >= 0 {
			count[min(int(s.CyclePhase*placesInCycle), placesInCycle-1)]++
			n++
		}
	}
	around := func(i int) int { // a place may lie across the bounds of its part
		return count[(i+placesInCycle-1)%placesInCycle] + count[i] + count[(i+1)%placesInCycle]
	}
	chance := float64(n) * 3 / placesInCycle
	missed := 0.0
	for i := range count {
		c := around(i)
		if before, after := around((i+placesInCycle-1)%placesInCycle), around((i+1)%placesInCycle); c < before || c <= after {
			continue // the place is beside it
		}
		if float64(c) > crowdTimes*chance+crowdSigmas*math.Sqrt(chance) {
			missed += max(cycles-float64(c), 0)
		}
	}
	return missed
}
