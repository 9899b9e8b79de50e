package analysis

import (
	"cmp"
	"math"
	"slices"
	"stillglow/analysis/spectrum"
)

// spikeFinding is the raw outcome of the search.
type spikeFinding struct {
	sigma, threshold float64
	all              []edgeTemplate // of all edges that the folded cycle shows
	templates        []edgeTemplate // those that stand above the threshold in single cycles
	perEdge          []int          // events of each template
	events           []Spike        // all, or an even pick of the edges' ones
	peaks            []float64      // absolute peaks of the events, all classes
	edgePeaks        [][]float64    // by template
	offEdge          []Spike        // events outside the edges' windows
	count            int
	offEdgeSpans     []interval // samples that those cover
	rateHz           float64
}

type interval struct{ from, to int }

// findSpikes looks for the edges' transients cycle by cycle and for others in
// between.
func findSpikes(r *residue, f *fold, rateHz, stepV float64) spikeFinding {
	out := spikeFinding{rateHz: rateHz}
	n := len(r.volts)
	var all []edgeTemplate
	m := 0
	if r.model != nil {
		m = r.model.bins
		all = newTemplates(f, r.model, r.model.binSigma)
	}
	skip := make([]bool, m)
	for _, t := range all {
		for k := range t.until {
			skip[(t.first+k)%m] = true
		}
	}
	out.sigma = r.robustScale(skip, stepV)
	covered := 0
	for _, s := range skip {
		if s {
			covered++
		}
	}
	if 10*covered > 9*m && m > 0 {
		// transients fill the cycle: the fold's bins tell the noise
		out.sigma = min(out.sigma, max(f.sigma, 0.3*stepV))
	}
	out.threshold = max(beginSigmas*out.sigma, 1.6*stepV)
	if out.threshold == 0 {
		lo, hi := extremes(r.volts)
		out.threshold = max(1e-6*(hi-lo), 1e-300)
	}
	out.all = all
	for _, t := range all {
		if math.Abs(t.peakV) > 0.75*out.threshold {
			if r.track.kind == SwitchingDithered {
				t.v = append([]float64(nil), t.v...)
				t.inTime(r, r.model.binSigma)
			}
			out.templates = append(out.templates, t)
		}
	}
	out.perEdge = make([]int, len(out.templates))
	out.edgePeaks = make([][]float64, len(out.templates))
	edgeOf := make([]int8, m)
	for i := range edgeOf {
		edgeOf[i] = -1
	}
	for e, t := range out.templates {
		for k := range t.until {
			edgeOf[(t.first+k)%m] = int8(e)
		}
	}
	out.countEdges(r, n)
	out.scan(r, edgeOf, rateHz)
	out.settleOffEdge(r)
	return out
}

// settleOffEdge joins the events outside the cycle that are one transient seen
// twice, its ring running into or out of an edge's window, and adds them to the
// rest.
func (out *spikeFinding) settleOffEdge(r *residue) {
	reach := 1e-6 * out.rateHz
	for _, t := range out.all {
		reach = max(reach, float64(t.until)/float64(r.model.bins)*r.model.periodS*out.rateHz)
	}
	slices.SortStableFunc(out.offEdge, func(a, b Spike) int { return cmp.Compare(a.TimeS, b.TimeS) })
	var kept []Spike
	last := math.Inf(-1)
	for _, s := range out.offEdge {
		if k := len(kept); k > 0 && s.TimeS-last < reach {
			if math.Abs(s.PeakV) > math.Abs(kept[k-1].PeakV) {
				kept[k-1] = s
			}
			continue
		}
		kept = append(kept, s)
		last = s.TimeS
	}
	out.offEdge = kept
	out.count += len(kept)
	for _, s := range kept {
		out.peaks = append(out.peaks, math.Abs(s.PeakV))
	}
	out.events = append(out.events, kept...)
}

// countEdges counts and sizes the transients at the edges of the tracked
// cycles: by the mean transient's share in each cycle (matched filter) where
// noise would lift a plain peak reading, by the peak between samples otherwise.
func (out *spikeFinding) countEdges(r *residue, n int) {
	if len(out.templates) == 0 {
		return
	}
	m := float64(r.model.bins)
	// transients keep their time, not their phase, where the period wanders
	perSample := 1 / (r.model.periodS * r.rateHz)
	ip := spectrum.NewInterpolator()
	cycles := r.track.cycles()
	every := max(1, int(cycles/20000))
	var buf []float64
	for e, t := range out.templates {
		energy := 0.0 // of a whole event, in squared volts times samples
		for _, v := range t.v[:t.until] {
			energy += v * v
		}
		energy /= m * r.track.pieces[0].perSample
		onset := t.edge.phase
		lead := math.Mod(t.edge.phase-float64(t.first)/m+1, 1)
		listEvery := max(1, int(cycles*float64(len(out.templates)))/maxListed)
		seen := 0
		want := math.Inf(-1)
		for _, p := range r.track.pieces {
			last := p.phase + p.perSample*(p.to-p.from)
			k := math.Ceil(p.phase - onset)
			if k+onset <= want {
				k++
			}
			for ; k+onset < last; k++ {
				want = k + onset
				x := p.from + (k+onset-p.phase)/p.perSample
				if x < 0 || x > float64(n-1) {
					continue
				}
				out.perEdge[e]++
				seen++
				if seen%every != 0 {
					continue
				}
				start := x - lead/perSample
				from := max(int(math.Ceil(start)), 0)
				to := min(int(start+float64(t.until)/m/perSample)+1, n)
				buf = buf[:0]
				num, den := 0.0, 0.0
				r.each(from, to, func(i int, v float64, bin int, _ float64) {
					b := (float64(i)-start)*perSample*m - 0.5
					v -= lerp(t.tail, b)
					buf = append(buf, v)
					tv := lerp(t.v, b)
					num += v * tv
					den += tv * tv
				})
				peak := t.peakV
				if den < 0.5*energy {
					// cut off by the record's end: its size is the mean one
				} else if peak = num / den * t.peakV; math.Abs(t.peakV) > 30*out.sigma {
					at := nearestPeak(buf, t.peakV, (t.peakAt+0.5)/m/perSample+start-float64(from), 2/(perSample*m)+2)
					if at >= 0 {
						peak, _ = ip.Peak(buf, at, math.Copysign(1, t.peakV))
					}
				}
				if every == 1 && r.track.kind == SwitchingFixed {
					out.offEdgeInWindow(buf, r.model.smooth, from, start, perSample*m, t, peak/t.peakV)
				}
				out.edgePeaks[e] = append(out.edgePeaks[e], math.Abs(peak))
				out.peaks = append(out.peaks, math.Abs(peak))
				if seen%listEvery == 0 {
					out.events = append(out.events, out.edgeSpike(r, t, e, x, peak))
				}
			}
		}
		out.count += out.perEdge[e]
	}
}

// offEdgeInWindow looks for an event of another origin under an edge's transient:
// what stands above the threshold after the mean transient, scaled, is taken
// off. A fifth of the transient itself is allowed for its own scatter.
func (out *spikeFinding) offEdgeInWindow(buf, smooth []float64, from int, start, binsPerSample float64, t edgeTemplate, scale float64) {
	at, most := -1, 0.0
	for i, v := range buf {
		x := (float64(from+i)-start)*binsPerSample - 0.5
		tv := scale * lerp(t.v, x)
		steep := math.Abs(lerp(t.v, x+binsPerSample)-lerp(t.v, x-binsPerSample)) * math.Abs(scale)
		m := len(smooth)
		before := (t.first + int(x-binsPerSample) + 2*m) % m
		after := (t.first + int(x+binsPerSample) + 1 + 2*m) % m
		steep += math.Abs(smooth[after] - smooth[before])
		steep += math.Abs(lerp(t.tail, x+binsPerSample)-lerp(t.tail, x-binsPerSample)) + 0.1*math.Abs(lerp(t.tail, x))
		over := math.Abs(v-tv) - 0.2*math.Abs(tv) - steep - 0.1*math.Abs(t.peakV)
		if over > out.threshold && over > most {
			at, most = i, over
		}
	}
	if at < 0 {
		return
	}
	x := (float64(from+at)-start)*binsPerSample - 0.5
	peak := buf[at] - scale*lerp(t.v, x)
	out.offEdge = append(out.offEdge, Spike{TimeS: float64(from + at), PeakV: peak,
		DurationS: t.duration() / binsPerSample / out.rateHz, CyclePhase: t.edge.phase, Class: spikeRandom})
}

// edgeSpike describes one transient at an edge at sample x.
func (out *spikeFinding) edgeSpike(r *residue, t edgeTemplate, e int, x, peak float64) Spike {
	m := float64(r.model.bins)
	s := Spike{
		TimeS: x, PeakV: peak, // seconds: the caller divides by the rate
		DurationS:  t.duration() / m * r.model.periodS,
		AreaVs:     t.area() / m * r.model.periodS * peak / t.peakV,
		CyclePhase: t.edge.phase,
		Class:      spikeFalling,
	}
	if t.edge.rising {
		s.Class = spikeRising
	}
	if t.edge.hasRng {
		s.RingHz, s.RingQ = t.edge.ring.hz, t.edge.ring.q()
	}
	return s
}

// scan looks for events where no edge's transient is expected, with hysteresis:
// an event begins above the threshold and ends when the residue has stayed
// under the lower one for a while.
func (out *spikeFinding) scan(r *residue, edgeOf []int8, rateHz float64) {
	n := len(r.volts)
	end := out.threshold * endSigmas / beginSigmas
	hold := max(int(0.3e-6*rateHz), 8)
	if r.model != nil {
		hold = min(hold, max(int(0.05*r.model.periodS*rateHz), 4))
	}
	ip := spectrum.NewInterpolator()
	inside := false
	start, last := 0, 0
	steep := r.steepness(out.threshold)
	finish := func() {
		inside = false
		from, to := max(start-hold, 0), min(last+hold, n)
		var buf []float64
		phase := -1.0
		r.each(from, to, func(i int, v float64, bin int, ph float64) {
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
		if math.Abs(peak-levelAround(buf, start-from, last-from)) < out.threshold {
			return // noise on a level that is off, as where the mains' ripple bends
		}
		area := 0.0
		for i := start - from; i <= last-from && i < len(buf); i++ {
			area += buf[i]
		}
		s := Spike{TimeS: float64(from) + where, PeakV: peak,
			DurationS: halfDuration(buf, at, peak) / rateHz, AreaVs: area / rateHz,
			CyclePhase: phase, Class: spikeRandom}
		out.offEdge = append(out.offEdge, s)
		out.offEdgeSpans = append(out.offEdgeSpans, interval{from, to})
	}
	r.each(0, n, func(i int, v float64, bin int, _ float64) {
		if v < 0 {
			v = -v
		}
		if inside {
			if bin >= 0 && edgeOf[bin] >= 0 {
				finish() // an edge's own transient begins
			} else if v > end {
				last = i
			} else if i-last > hold {
				finish()
			}
			return
		}
		if v > out.threshold && (bin < 0 || edgeOf[bin] < 0 && v > steep[bin]) {
			inside, start, last = true, i, i
		}
	})
	if inside {
		finish()
	}
}

// levelAround is the median of what lies beside an event; 0 where that is too
// little to tell.
func levelAround(buf []float64, first, last int) float64 {
	var beside []float64
	for i, v := range buf {
		if i < first || i > last {
			beside = append(beside, v)
		}
	}
	if len(beside) < 8 {
		return 0
	}
	slices.Sort(beside)
	return beside[len(beside)/2]
}

// offEdgeKeepsPhase reports whether the events outside the edges' windows all come at
// one place in the cycle (Rayleigh's resultant over nine tenths).
func (out *spikeFinding) offEdgeKeepsPhase() bool {
	var re, im float64
	for _, s := range out.offEdge {
		if s.CyclePhase < 0 {
			return false
		}
		sin, cos := math.Sincos(2 * math.Pi * s.CyclePhase)
		re, im = re+cos, im+sin
	}
	n := float64(len(out.offEdge))
	return n >= 8 && math.Hypot(re, im) > 0.9*n
}
