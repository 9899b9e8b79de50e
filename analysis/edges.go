package analysis

import (
	"math"
	"slices"
	"sort"
)

// cycleEdge is one place in the cycle where a transient starts, as the folded
// cycle shows it.
type cycleEdge struct {
	phase  float64 // of the onset, 0 to 1
	gate   int     // bins after it that the pulse itself covers
	peakV  float64 // signed, of the mean transient against the ripple
	rising bool    // the ripple rises after it
	ring   ringFit // in seconds after the onset
	hasRng bool
	openV  float64 // by how much more the pulse could be, the step under it being slower
}

// findEdges lists the transients that stand above the smooth ripple, the
// strongest four at most, by phase.
func findEdges(mean, model []float64, scale float64) []cycleEdge {
	m := len(mean)
	r := make([]float64, m)
	over := make([]bool, m)
	any := false
	for i := range r {
		r[i] = mean[i] - model[i]
		over[i] = math.Abs(r[i]) > 5*scale
		any = any || over[i]
	}
	if !any {
		return nil
	}
	// close gaps shorter than a ring's zero crossings
	hold := max(m/32, 3)
	start := 0
	for i := range over {
		quiet := true
		for j := 1; j <= hold; j++ {
			if over[(i-j+m)%m] {
				quiet = false
				break
			}
		}
		if quiet && !over[i] {
			start = i
			break
		}
	}
	type cluster struct {
		a, b, peak int
		fresh      bool // rose out of the tail of the one before
	}
	var list []cluster
	for k := 0; k < m; k++ {
		i := (start + k) % m
		if !over[i] {
			continue
		}
		if n := len(list); n > 0 && k-list[n-1].b <= hold {
			c := &list[n-1]
			c.b = k
			if math.Abs(r[i]) > math.Abs(r[(start+c.peak)%m]) {
				c.peak = k
			}
			continue
		}
		list = append(list, cluster{a: k, b: k, peak: k})
	}
	// an edge inside the last one's ring: where what has died down rises again
	block := max(m/64, 3)
	for i := 0; i < len(list); i++ {
		c := list[i]
		low := math.Inf(1)
		for from := c.peak + block; from+block <= c.b; from += block {
			top, at := 0.0, from
			for k := from; k < from+block; k++ {
				if v := math.Abs(r[(start+k)%m]); v > top {
					top, at = v, k
				}
			}
			if top > 3*low && top > 12*scale && low < 0.3*math.Abs(r[(start+c.peak)%m]) {
				on := at
				for on > from-block && math.Abs(r[(start+on-1)%m]) > 1.2*low {
					on--
				}
				next := cluster{a: on, b: c.b, peak: at, fresh: true}
				for k := at; k <= c.b; k++ {
					if math.Abs(r[(start+k)%m]) > math.Abs(r[(start+next.peak)%m]) {
						next.peak = k
					}
				}
				list[i].b = on - 1
				for k := c.a; k < on; k++ {
					if k == c.a || math.Abs(r[(start+k)%m]) > math.Abs(r[(start+list[i].peak)%m]) {
						list[i].peak = k
					}
				}
				list = slices.Insert(list, i+1, next)
				break
			}
			low = min(low, top)
		}
	}
	// a ring's later crests are no edges of their own
	for i := len(list) - 1; i > 0 || i == 0 && len(list) > 1; i-- {
		p := (i + len(list) - 1) % len(list)
		prev, c := list[p], list[i]
		gap := c.a - prev.b
		if i == 0 {
			gap += m
		}
		if !c.fresh && gap < m*3/20 && math.Abs(r[(start+c.peak)%m]) < 0.5*math.Abs(r[(start+prev.peak)%m]) {
			list[p].b = c.b
			if i == 0 {
				list[p].b += m
			}
			list = append(list[:i:i], list[i+1:]...)
		}
	}
	// a long stretch a little off the fit is the fit's fault, not a transient
	list = slices.DeleteFunc(list, func(c cluster) bool {
		return c.b-c.a > m/5 && math.Abs(r[(start+c.peak)%m]) < 20*scale
	})
	if len(list) == 0 {
		return nil
	}
	sort.SliceStable(list, func(i, j int) bool {
		return math.Abs(r[(start+list[i].peak)%m]) > math.Abs(r[(start+list[j].peak)%m])
	})
	if len(list) > 4 {
		list = list[:4]
	}
	top := math.Abs(r[(start+list[0].peak)%m])
	var edges []cycleEdge
	for _, c := range list {
		p := math.Abs(r[(start+c.peak)%m])
		if p < 0.02*top {
			continue
		}
		on := c.a
		for on > c.a-hold && math.Abs(r[(start+on-1+m)%m]) > max(2*scale, 0.02*p) {
			on--
		}
		e := cycleEdge{
			phase: float64((start+on+m)%m) / float64(m),
			gate:  c.b - on + 2,
			peakV: r[(start+c.peak)%m],
		}
		edges = append(edges, e)
	}
	sort.SliceStable(edges, func(i, j int) bool { return edges[i].phase < edges[j].phase })
	return edges
}

// fitEdgeRings fits the ring behind every edge's pulse, one edge after another,
// each with the others' tails taken off.
func fitEdgeRings(edges []cycleEdge, mean, model []float64, periodS, sb float64) {
	m := len(mean)
	step := periodS / float64(m)
	for pass := range 2 {
		for i := range edges {
			e := &edges[i]
			on := int(e.phase * float64(m))
			next := m
			for j := range edges {
				if j != i {
					d := (int(edges[j].phase*float64(m)) - on + m) % m
					if d > 0 {
						next = min(next, d)
					}
				}
			}
			length := next - max(2, next/50)
			if length < 24 {
				continue
			}
			y := make([]float64, length)
			for k := range y {
				b := (on + k) % m
				y[k] = mean[b] - model[b]
			}
			if pass > 0 {
				for j := range edges {
					if j == i || !edges[j].hasRng {
						continue
					}
					d := (on - int(edges[j].phase*float64(m)) + m) % m
					for k := range y {
						t := float64(d+k) * step
						y[k] -= edges[j].ring.at(t) + edges[j].ring.at(t+periodS)
					}
				}
			}
			e.fitRing(y, step, sb)
		}
	}
}

// fitRing finds where the pulse ends and the bare ring goes on: the earliest
// start from which a damped sinusoid fits down to the noise.
func (e *cycleEdge) fitRing(y []float64, step, sb float64) {
	peak := 0
	for k, v := range y {
		if math.Abs(v) > math.Abs(y[peak]) {
			peak = k
		}
	}
	p := math.Abs(y[peak])
	e.hasRng = false
	// the ring's end: where a stretch of it no longer stands above the noise
	const stretch = 16
	end := len(y)
	for from := peak; from+2*stretch <= len(y); from += stretch {
		sq := 0.0
		for _, v := range y[from : from+2*stretch] {
			sq += v * v
		}
		if math.Sqrt(sq/(2*stretch)) < max(1.35*sb, 1e-3*p) {
			end = min(from+2*stretch, len(y))
			break
		}
	}
	best := ringFit{}
	bestStart := -1
	good, share := math.Inf(1), 0.0
	for _, part := range [...]float64{0.05, 0.08, 0.12, 0.18, 0.25, 0.35} {
		from := peak + int(part*float64(end-peak))
		if end-from < 12 {
			break
		}
		w := y[from:end]
		// thin out: 1200 points are plenty
		thin := max(len(w)/1200, 1)
		z := make([]float64, 0, len(w)/thin+1)
		for k := 0; k+thin <= len(w); k += thin {
			s := 0.0
			for _, v := range w[k : k+thin] {
				s += v
			}
			z = append(z, s/float64(thin))
		}
		r, ok := fitRing(z, (float64(from)+float64(thin-1)/2)*step, float64(thin)*step)
		if !ok {
			continue
		}
		noise := max(sb/math.Sqrt(float64(thin)), 2e-3*r.amplitude(float64(from)*step))
		if r.amplitude(float64(from)*step) < 4*r.rms || r.q() < 1 {
			continue
		}
		quality := r.rms / noise
		if quality < good*0.8 {
			best, bestStart, good = r, from, quality
			share = r.rms / r.amplitude(float64(from)*step)
		}
		if quality < 1.3 {
			break
		}
	}
	if bestStart < 0 || good > 6 && share > 0.08 {
		return
	}
	e.ring, e.hasRng = best, true
	e.gate = bestStart + 1
}

// ringDeviation gives the standard deviations of the ring's frequency in hertz and
// of its Q: the fit's own or the Cramér-Rao bound of a damped sine in white noise,
// 4·√(α³·dt)·σ/A for its angular frequency and its decay alike (derived from the
// Fisher information; sums as integrals), whichever is more.
func (e *cycleEdge) ringDeviation(binS, binSigma float64) (uHz, uQ float64) {
	r := e.ring
	omega, q := 2*math.Pi*r.hz, r.q()
	a := r.amplitude(float64(e.gate) * binS)
	if !(a > 0) || !(omega > 0) || !(q > 0) {
		return r.hz, q
	}
	bound := 4 * math.Sqrt(r.alpha*r.alpha*r.alpha*binS) * max(r.rms, binSigma) / a
	hz := max(r.uHz/r.hz, bound/omega)
	decay := max(r.uQ/q, bound/r.alpha)
	return r.hz * hz, q * math.Hypot(hz, decay)
}

// takeOut removes the edge's transient from y: its ring by subtraction, what
// the ring does not describe by weight 0.
func (e *cycleEdge) takeOut(y, weight []float64, periodS, sb float64) {
	m := len(y)
	step := periodS / float64(m)
	on := int(e.phase * float64(m))
	gate := e.gate
	if e.hasRng {
		for k := range m {
			t := float64(k) * step
			v := 0.0
			for w := 0.0; w < 4; w++ {
				if k < gate && w == 0 {
					continue
				}
				v += e.ring.at(t + w*periodS)
			}
			y[(on+k)%m] -= v
		}
		// where a hundredth of the ring still tops the noise, leave it out
		for gate < m/8 && 0.02*e.ring.amplitude(float64(gate)*step) > sb {
			gate++
		}
	}
	gate = min(gate, m*2/5)
	e.gate = gate
	for k := -2; k <= gate; k++ {
		weight[(on+k+m)%m] = 0
	}
}
