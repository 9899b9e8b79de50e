package cycle

import (
	"cmp"
	"math"
	"slices"
)

// Edge is one place in the cycle where a transient starts, as the folded
// cycle shows it.
type Edge struct {
	Phase          float64 // of the onset, 0 to 1
	gate           int     // bins after it that the pulse itself covers
	peakV          float64 // signed, of the mean transient against the ripple
	Rising         bool    // the ripple rises after it
	Ring           Ring    // in seconds after the onset
	HasRing        bool    // whether Ring was found
	PeakAmbiguityV float64 // by how much more the pulse could be, the step under it being slower
}

// findEdges lists the transients that stand above the smooth ripple, the
// strongest four at most, by phase.
func findEdges(mean, model []float64, scale float64) []Edge {
	v := newMisfit(mean, model, scale)
	list := v.clusters()
	list = v.splitTails(list)
	list = v.joinCrests(list)
	m := len(mean)
	// a long stretch a little off the fit is the fit's fault, not a transient
	list = slices.DeleteFunc(list, func(c cluster) bool {
		return c.b-c.a > m/longPart && v.size(c.peak) < longSigmas*scale
	})
	if len(list) == 0 {
		return nil
	}
	slices.SortStableFunc(list, func(a, b cluster) int { return cmp.Compare(v.size(b.peak), v.size(a.peak)) })
	list = list[:min(len(list), mostEdges)]
	top := v.size(list[0].peak)
	var edges []Edge
	for _, c := range list {
		p := v.size(c.peak)
		if p < weakestEdge*top {
			continue
		}
		on := c.a
		for on > c.a-v.hold && v.size(on-1) > max(onsetSigmas*scale, onsetShare*p) {
			on--
		}
		edges = append(edges, Edge{
			Phase: float64((v.start+on+m)%m) / float64(m),
			gate:  c.b - on + 2,
			peakV: v.r[(v.start+c.peak)%m],
		})
	}
	slices.SortStableFunc(edges, func(a, b Edge) int { return cmp.Compare(a.Phase, b.Phase) })
	return edges
}

// misfit is what a model of the smooth ripple leaves of the mean cycle. Its
// places are counted from start, where it is quiet, so that no transient runs
// over the end.
type misfit struct {
	r     []float64
	over  []bool // by bin: stands out
	any   bool
	start int
	hold  int // bins; shorter gaps are a ring's zero crossings
	scale float64
}

func newMisfit(mean, model []float64, scale float64) misfit {
	m := len(mean)
	v := misfit{r: make([]float64, m), over: make([]bool, m), hold: max(m/holdPart, holdBins), scale: scale}
	for i := range v.r {
		v.r[i] = mean[i] - model[i]
		v.over[i] = math.Abs(v.r[i]) > edgeSigmas*scale
		v.any = v.any || v.over[i]
	}
	for i := range v.over {
		quiet := true
		for j := 1; j <= v.hold; j++ {
			if v.over[(i-j+m)%m] {
				quiet = false
				break
			}
		}
		if quiet && !v.over[i] {
			v.start = i
			break
		}
	}
	return v
}

// size is the misfit's at place k, V.
func (v misfit) size(k int) float64 {
	m := len(v.r)
	return math.Abs(v.r[(v.start+k+m)%m])
}

// largest is the place of the largest misfit from place a to b.
func (v misfit) largest(a, b int) int {
	at := a
	for k := a; k <= b; k++ {
		if v.size(k) > v.size(at) {
			at = k
		}
	}
	return at
}

// cluster is a run of places that stand out.
type cluster struct {
	a, b, peak int
	fresh      bool // rose out of the tail of the one before
}

// clusters are the runs that stand out, gaps shorter than a ring's zero crossings
// closed.
func (v misfit) clusters() []cluster {
	var list []cluster
	if !v.any {
		return nil
	}
	m := len(v.r)
	for k := range m {
		if !v.over[(v.start+k)%m] {
			continue
		}
		if n := len(list); n > 0 && k-list[n-1].b <= v.hold {
			c := &list[n-1]
			c.b = k
			if v.size(k) > v.size(c.peak) {
				c.peak = k
			}
			continue
		}
		list = append(list, cluster{a: k, b: k, peak: k})
	}
	return list
}

// splitTails finds an edge inside the last one's ring: where what has died down
// rises again.
func (v misfit) splitTails(list []cluster) []cluster {
	block := max(len(v.r)/tailPart, tailBins)
	for i := 0; i < len(list); i++ {
		c := list[i]
		low := math.Inf(1)
		for from := c.peak + block; from+block <= c.b; from += block {
			top, at := 0.0, from
			for k := from; k < from+block; k++ {
				if s := v.size(k); s > top {
					top, at = s, k
				}
			}
			if top > tailRises*low && top > tailSigmas*v.scale && low < tailDied*v.size(c.peak) {
				on := at
				for on > from-block && v.size(on-1) > tailOnset*low {
					on--
				}
				list[i].b = on - 1
				list[i].peak = v.largest(c.a, on-1)
				list = slices.Insert(list, i+1, cluster{a: on, b: c.b, peak: v.largest(at, c.b), fresh: true})
				break
			}
			low = min(low, top)
		}
	}
	return list
}

// joinCrests takes a ring's later crests, which are no edges of their own, into
// the transient before them.
func (v misfit) joinCrests(list []cluster) []cluster {
	m := len(v.r)
	for i := len(list) - 1; i > 0 || i == 0 && len(list) > 1; i-- {
		p := (i + len(list) - 1) % len(list)
		prev, c := list[p], list[i]
		gap := c.a - prev.b
		if i == 0 {
			gap += m
		}
		if !c.fresh && gap < m*crestGap20ths/20 && v.size(c.peak) < crestShare*v.size(prev.peak) {
			list[p].b = c.b
			if i == 0 {
				list[p].b += m
			}
			list = append(list[:i:i], list[i+1:]...)
		}
	}
	return list
}

// ringFits are the rings that were fitted to one cycle: as its model settles, the same
// values come up again and again.
type ringFits struct {
	done []ringFitted
	work ringWork
}

// ringFitted is the ring behind an edge whose pulse and ring are y.
type ringFitted struct {
	y    []float64
	ring Ring
	gate int
	ok   bool
}

// of fits the ring behind an edge whose pulse and ring are y, or takes the earlier
// fit to the same values.
func (s *ringFits) of(e *Edge, y []float64, step, sb float64) {
	for _, f := range s.done {
		if slices.Equal(f.y, y) {
			if e.HasRing = f.ok; f.ok {
				e.Ring, e.gate = f.ring, f.gate
			}
			return
		}
	}
	e.fitRing(y, step, sb, &s.work)
	s.done = append(s.done, ringFitted{y, e.Ring, e.gate, e.HasRing})
}

// fitEdgeRings fits the ring behind every edge's pulse, one edge after another,
// each with the others' tails taken off. done are the fits so far of this cycle.
func fitEdgeRings(edges []Edge, mean, model []float64, periodS, sb float64, done *ringFits) {
	m := len(mean)
	step := periodS / float64(m)
	for pass := range 2 {
		for i := range edges {
			e := &edges[i]
			on := int(e.Phase * float64(m))
			next := m
			for j := range edges {
				if j != i {
					d := (int(edges[j].Phase*float64(m)) - on + m) % m
					if d > 0 {
						next = min(next, d)
					}
				}
			}
			length := next - max(2, next/ringGap)
			if length < ringBins {
				continue
			}
			y := make([]float64, length)
			for k := range y {
				b := (on + k) % m
				y[k] = mean[b] - model[b]
			}
			if pass > 0 {
				for j := range edges {
					if j == i || !edges[j].HasRing {
						continue
					}
					d := (on - int(edges[j].Phase*float64(m)) + m) % m
					tail := edges[j].Ring.tails(float64(d)*step, step, periodS, 1)
					for k := range y {
						y[k] -= tail.next()
					}
				}
			}
			done.of(e, y, step, sb)
		}
	}
}

// fitRing finds where the pulse ends and the bare ring goes on: the earliest
// start from which a damped sinusoid fits down to the noise.
func (e *Edge) fitRing(y []float64, step, sb float64, work *ringWork) {
	peak := 0
	for k, v := range y {
		if math.Abs(v) > math.Abs(y[peak]) {
			peak = k
		}
	}
	p := math.Abs(y[peak])
	e.HasRing = false
	// the ring's end: where a stretch of it no longer stands above the noise
	const stretch = 16
	end := len(y)
	for from := peak; from+2*stretch <= len(y); from += stretch {
		sq := 0.0
		for _, v := range y[from : from+2*stretch] {
			sq += v * v
		}
		if math.Sqrt(sq/(2*stretch)) < max(ringEnds*sb, ringEndShare*p) {
			end = min(from+2*stretch, len(y))
			break
		}
	}
	best := Ring{}
	bestStart := -1
	good, share := math.Inf(1), 0.0
	for _, part := range [...]float64{0.05, 0.08, 0.12, 0.18, 0.25, 0.35} {
		from := peak + int(part*float64(end-peak))
		if end-from < ringPoints {
			break
		}
		w := y[from:end]
		thin := max(len(w)/ringThinned, 1)
		z := make([]float64, 0, len(w)/thin+1)
		for k := 0; k+thin <= len(w); k += thin {
			s := 0.0
			for _, v := range w[k : k+thin] {
				s += v
			}
			z = append(z, s/float64(thin))
		}
		r, ok := fitRing(z, (float64(from)+float64(thin-1)/2)*step, float64(thin)*step, work)
		if !ok {
			continue
		}
		noise := max(sb/math.Sqrt(float64(thin)), ringModel*r.amplitude(float64(from)*step))
		if r.amplitude(float64(from)*step) < ringStands*r.rms || r.Q() < ringQ {
			continue
		}
		quality := r.rms / noise
		if quality < good*ringBetter {
			best, bestStart, good = r, from, quality
			share = r.rms / r.amplitude(float64(from)*step)
		}
		if quality < ringGood {
			break
		}
	}
	if bestStart < 0 || good > ringBad && share > ringBadShare {
		return
	}
	e.Ring, e.HasRing = best, true
	e.gate = bestStart + 1
}

// RingDeviation gives the standard deviations of the ring's frequency in hertz and
// of its Q: the fit's own or the Cramér-Rao bound of a damped sine in white noise,
// 4·√(α³·dt)·σ/A for its angular frequency and its decay alike (derived from the
// Fisher information; sums as integrals), whichever is more.
func (e *Edge) RingDeviation(binS, binSigma float64) (uHz, uQ float64) {
	r := e.Ring
	omega, q := 2*math.Pi*r.Hz, r.Q()
	a := r.amplitude(float64(e.gate) * binS)
	if !(a > 0) || !(omega > 0) || !(q > 0) {
		return r.Hz, q
	}
	bound := 4 * math.Sqrt(r.alpha*r.alpha*r.alpha*binS) * max(r.rms, binSigma) / a
	hz := max(r.uHz/r.Hz, bound/omega)
	decay := max(r.uQ/q, bound/r.alpha)
	return r.Hz * hz, q * math.Hypot(hz, decay)
}

// takeOut removes the edge's transient from y: its ring by subtraction, what
// the ring does not describe by weight 0.
func (e *Edge) takeOut(y, weight []float64, periodS, sb float64) {
	m := len(y)
	step := periodS / float64(m)
	on := int(e.Phase * float64(m))
	gate := e.gate
	if e.HasRing {
		first, later := e.Ring.steps(0, step), e.Ring.tails(periodS, step, periodS, ringWraps-2)
		for k := range m {
			v, own := later.next(), first.next()
			if k >= gate {
				v += own
			}
			y[(on+k)%m] -= v
		}
		// where the noise does not cover the ring's end, leave it out
		for gate < m/gatePart && gateShare*e.Ring.amplitude(float64(gate)*step) > sb {
			gate++
		}
	}
	gate = min(gate, m*takenOut5ths/5)
	e.gate = gate
	for k := -2; k <= gate; k++ {
		weight[(on+k+m)%m] = 0
	}
}
