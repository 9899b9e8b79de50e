package analysis

import (
	"math"
	"slices"
)

// gatedResidue is the trace less the tracked mean cycle and the mains comb,
// with the spikes' intervals excised: the random part, for the noise floor.
type gatedResidue struct {
	r            *residue
	cycle        []float64  // by bin: what is taken off, the smooth ripple and the mean transients
	edges        []bool     // by bin: cycles differ there by more than the noise
	offEdge      []interval // samples that events off the edges cover
	removedNoise float64    // share of the noise's power that went off with the mean transients
	mains        []float64  // one mains period, volts; nil when none
	mainsHz      float64
	rateHz       float64
	drift        slowPart
}

// newGatedResidue prepares the gating. The mean transients are taken off as the
// ripple is; excised is only where single cycles scatter about them by more than
// the noise, by jitter or by dither. Where no mains comb could be measured
// the record holds too little of the mains to have one; its slow wander is then
// taken off as a line through 64 means over whole switching cycles. mains is one
// period of the mains comb in volts, its first value repeated at the end; nil:
// none.
func newGatedResidue(r *residue, f *fold, found *spikeFinding, mains []float64, mainsHz, rateHz float64) *gatedResidue {
	g := &gatedResidue{r: r, offEdge: found.offEdgeSpans, rateHz: rateHz}
	if r.model != nil {
		m := r.model.bins
		g.edges = make([]bool, m)
		g.cycle = append([]float64(nil), r.model.smooth...)
		for _, t := range found.all {
			for k, v := range t.v[:t.until] {
				b := (t.first + k) % m
				g.cycle[b] = r.model.smooth[b] + v
				// the variance of n cycles scatters by √(2/n) of itself
				n := max(f.n[b], 2)
				limit := f.sigma * f.sigma * (1.2 + 4*math.Sqrt(2/n))
				if f.variance[b]*n/(n-1) > limit || f.n[b] < 4 {
					for d := -1; d <= 1; d++ {
						g.edges[(b+d+m)%m] = true
					}
				}
			}
		}
		// a mean over n samples taken off takes 1/n of their noise's power along
		kept := 0.0
		for _, excised := range g.edges {
			if !excised {
				kept++
			}
		}
		for _, t := range found.all {
			for k := range t.v[:t.until] {
				if b := (t.first + k) % m; !g.edges[b] {
					g.removedNoise += 1 / f.n[b] / kept
				}
			}
		}
	}
	g.mains, g.mainsHz = mains, mainsHz
	if g.mains == nil || r.track != nil && r.track.kind == SwitchingBursting {
		g.drift = r.slow.thinned(64)
		if r.track != nil && r.track.kind == SwitchingBursting {
			g.drift = r.slow // the packets' own rise and fall
		}
	}
	return g
}

// Len is the number of samples.
func (g *gatedResidue) Len() int { return len(g.r.volts) }

func (g *gatedResidue) Fill(dst []float64, start int) {
	end := start + len(dst)
	volts := g.r.volts
	hint := 0
	// the ripple, and the drift
	if g.r.model != nil {
		m := g.r.model.bins
		size := float64(m)
		smooth := g.cycle
		walk(start, end, g.r.track, g.drift, func(st stretch) {
			base := st.slow
			out := dst[st.from-start : st.to-start]
			if !st.on {
				for i := range out {
					out[i] = volts[st.from+i] - base
					base += st.slowSlope
				}
				return
			}
			ph := (st.phase - math.Floor(st.phase)) * size
			step := st.perSample * size
			for i := range out {
				k := int(ph)
				if k >= m {
					k = m - 1
				}
				out[i] = volts[st.from+i] - base - smooth[k]
				base += st.slowSlope
				ph += step
				for ph >= size {
					ph -= size
				}
			}
		})
	} else {
		for i := range dst {
			v, _, _, h := g.drift.line(float64(start+i), hint)
			hint = h
			dst[i] = volts[start+i] - v
		}
	}
	if g.mains != nil && len(g.drift.at) == 0 {
		points := float64(len(g.mains) - 1)
		inc := g.mainsHz / g.rateHz
		ph := math.Mod(float64(start)*inc, 1)
		for i := range dst {
			x := ph * points
			k := int(x)
			f := x - float64(k)
			dst[i] -= g.mains[k] + f*(g.mains[k+1]-g.mains[k])
			ph += inc
			if ph >= 1 {
				ph--
			}
		}
	}
}

func (g *gatedResidue) FillWeights(w []float64, start int) {
	end := start + len(w)
	for i := range w {
		w[i] = 1
	}
	if g.r.model != nil && len(g.edges) > 0 {
		m := g.r.model.bins
		size := float64(m)
		walk(start, end, g.r.track, slowPart{}, func(st stretch) {
			if !st.on {
				return
			}
			out := w[st.from-start : st.to-start]
			ph := (st.phase - math.Floor(st.phase)) * size
			step := st.perSample * size
			for i := range out {
				k := int(ph)
				if k >= m {
					k = m - 1
				}
				if g.edges[k] {
					out[i] = 0
				}
				ph += step
				for ph >= size {
					ph -= size
				}
			}
		})
	}
	k, _ := slices.BinarySearchFunc(g.offEdge, start, func(i interval, at int) int {
		if i.to > at {
			return 1
		}
		return -1
	})
	for ; k < len(g.offEdge) && g.offEdge[k].from < end; k++ {
		for i := max(g.offEdge[k].from, start); i < min(g.offEdge[k].to, end); i++ {
			w[i-start] = 0
		}
	}
}

// gatedShare is the share of the record that would be excised.
func (g *gatedResidue) gatedShare() float64 {
	share := 0.0
	if g.r.track != nil && len(g.edges) > 0 {
		n := 0
		for _, e := range g.edges {
			if e {
				n++
			}
		}
		on := 0.0
		for _, p := range g.r.track.pieces {
			on += p.to - p.from
		}
		share = float64(n) / float64(len(g.edges)) * on / float64(len(g.r.volts))
	}
	for _, i := range g.offEdge {
		share += float64(i.to-i.from) / float64(len(g.r.volts))
	}
	return min(share, 1)
}

// trustedFromHz is the frequency under which the drift that is taken off holds
// the noise itself: it follows straight lines through means over so many
// samples, which pass on a share of about sinc(x)³ in amplitude, x being the
// frequency times their spacing, 3 % at 0.75. 0: nothing is taken off.
func (g *gatedResidue) trustedFromHz() float64 {
	n := len(g.drift.at)
	if n < 2 {
		return 0
	}
	var steps []float64
	for i := 1; i < n; i++ {
		// shorter ones are joints where a packet meets a pause
		if step := g.drift.at[i] - g.drift.at[i-1]; step > 8 {
			steps = append(steps, step)
		}
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return 0.75 * g.rateHz / quantileOf(steps, 0.25)
}

// removedBand is the band in which following a wandering switching phase takes
// noise off with the ripple, about 3 dB of it at the switching frequency: the
// phase is read from six cycles under a taper, every three cycles. 0, 0: none.
func (g *gatedResidue) removedBand() (lowHz, highHz float64) {
	if t := g.r.track; t != nil && t.kind == SwitchingDithered {
		return 0.5 * t.hz, 1.65 * t.hz
	}
	return 0, 0
}

// driftPower is the variance of the drift that is taken off, V²; 0: none is.
func (g *gatedResidue) driftPower() float64 {
	n := float64(len(g.drift.v))
	if n < 2 {
		return 0
	}
	mean, sq := 0.0, 0.0
	for _, v := range g.drift.v {
		mean += v
	}
	mean /= n
	for _, v := range g.drift.v {
		sq += (v - mean) * (v - mean)
	}
	return sq / n
}
