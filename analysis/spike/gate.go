package spike

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"stillglow/analysis/cycle"
	"stillglow/capture"
)

// Gate is the trace minus the tracked mean cycle and the mains comb,
// with the spikes' intervals excised: the random part, for the noise floor.
type Gate struct {
	r            *cycle.Residue
	cycle        []float64  // by bin: what is taken off, the smooth ripple and the mean transients
	edges        []bool     // by bin: cycles differ there by more than the noise
	weights      []float64  // by bin: 0 there, else 1; nil where none is
	offEdge      []interval // samples that events off the edges cover
	RemovedNoise float64    // share of the noise's power that went off with the mean transients
	mains        []float64  // one mains period, volts; nil when none
	mainsHz      float64
	rateHz       float64
	drift        cycle.SlowPart
}

// NewGate prepares the gating. The mean transients are taken off as the
// ripple is; excised is only where single cycles scatter about them by more than
// the noise, by jitter or by dither. Where no mains comb could be measured
// the record holds too little of the mains to have one; its slow wander is then
// taken off as a line through 64 means over whole switching cycles. mains is one
// period of the mains comb in volts, its first value repeated at the end; nil:
// none.
func NewGate(r *cycle.Residue, f *cycle.Fold, found *Finding, mains []float64, mainsHz, rateHz float64) *Gate {
	g := &Gate{r: r, offEdge: found.offEdgeSpans, rateHz: rateHz}
	if r.Model != nil {
		m := r.Model.Bins
		g.edges = make([]bool, m)
		g.cycle = append([]float64(nil), r.Model.Smooth...)
		for _, t := range found.all {
			for k, v := range t.V[:t.Until] {
				b := (t.First + k) % m
				g.cycle[b] = r.Model.Smooth[b] + v
				// the variance of n cycles scatters by √(2/n) of itself
				n := max(f.Count[b], 2)
				limit := f.SigmaV * f.SigmaV * (unlikeCycles + unlikeSigmas*math.Sqrt(2/n))
				if f.VarianceV2[b]*n/(n-1) > limit || f.Count[b] < leastInBin {
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
		if kept < float64(m) {
			g.weights = make([]float64, m)
			for b, excised := range g.edges {
				if !excised {
					g.weights[b] = 1
				}
			}
		}
		for _, t := range found.all {
			for k := range t.V[:t.Until] {
				if b := (t.First + k) % m; !g.edges[b] {
					g.RemovedNoise += 1 / f.Count[b] / kept
				}
			}
		}
	}
	g.mains, g.mainsHz = mains, mainsHz
	if g.mains == nil || r.Track != nil && r.Track.Kind == cycle.Bursting {
		g.drift = r.Slow.Thinned(driftMeans)
		if r.Track != nil && r.Track.Kind == cycle.Bursting {
			g.drift = r.Slow // the packets' own rise and fall
		}
	}
	return g
}

// Len is the number of samples.
func (g *Gate) Len() int { return len(g.r.Volts) }

// Fill writes samples start to start+len(dst) to dst, in volts.
func (g *Gate) Fill(dst []float64, start int) {
	end := start + len(dst)
	volts := g.r.Volts
	hint := 0
	// the ripple, and the drift
	if g.r.Model != nil {
		smooth := g.cycle
		cycle.Walk(start, end, g.r.Track, g.drift, func(st cycle.Stretch) {
			base := st.Slow
			out := dst[st.From-start : st.To-start]
			if !st.On {
				for i := range out {
					out[i] = volts[st.From+i] - base
					base += st.SlowSlope
				}
				return
			}
			ph, step := cycle.NewPhase(st.Phase), cycle.NewPhase(st.PerSample)
			for i, v := range volts[st.From:][:len(out)] {
				out[i] = v - base - smooth[ph.Bin(len(smooth))]
				base += st.SlowSlope
				ph += step
			}
		})
	} else {
		for i := range dst {
			v, _, _, h := g.drift.Line(float64(start+i), hint)
			hint = h
			dst[i] = volts[start+i] - v
		}
	}
	if g.mains != nil && len(g.drift.At) == 0 {
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

// Excises reports whether any sample is excised; else all weights are 1.
func (g *Gate) Excises() bool { return g.weights != nil || len(g.offEdge) > 0 }

// Weights writes the weights of samples start to start+len(w) to w: 0 for an excised
// one, 1 for all others.
func (g *Gate) Weights(w []float64, start int) {
	end := start + len(w)
	if g.weights == nil {
		for i := range w {
			w[i] = 1
		}
	} else {
		weights := g.weights
		cycle.Walk(start, end, g.r.Track, cycle.SlowPart{}, func(st cycle.Stretch) {
			out := w[st.From-start : st.To-start]
			if !st.On {
				for i := range out {
					out[i] = 1
				}
				return
			}
			ph, step := cycle.NewPhase(st.Phase), cycle.NewPhase(st.PerSample)
			for i := range out {
				out[i] = weights[ph.Bin(len(weights))]
				ph += step
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

// ExcisedShare is the share of the record that would be excised.
func (g *Gate) ExcisedShare() float64 {
	share := 0.0
	if g.r.Track != nil && len(g.edges) > 0 {
		n := 0
		for _, e := range g.edges {
			if e {
				n++
			}
		}
		on := 0.0
		for _, p := range g.r.Track.Pieces {
			on += p.To - p.From
		}
		share = float64(n) / float64(len(g.edges)) * on / float64(len(g.r.Volts))
	}
	for _, i := range g.offEdge {
		share += float64(i.to-i.from) / float64(len(g.r.Volts))
	}
	return min(share, 1)
}

// TrustedFromHz is the frequency under which the drift that is taken off holds
// the noise itself: it follows straight lines through means over a few
// samples, which pass on a share of about sinc(x)³ in amplitude, x being the
// frequency times their spacing, 3 % at 0.75. 0: nothing is taken off.
func (g *Gate) TrustedFromHz() float64 {
	n := len(g.drift.At)
	if n < 2 {
		return 0
	}
	var steps []float64
	for i := 1; i < n; i++ {
		// shorter ones are joints where a packet meets a pause
		if step := g.drift.At[i] - g.drift.At[i-1]; step > leastStretch {
			steps = append(steps, step)
		}
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return trustedShare * g.rateHz / capture.Quantile(steps, 0.25)
}

// RemovedBand is the band in which following a wandering switching phase takes
// noise off with the ripple, about 3 dB of it at the switching frequency: the
// phase is read from six cycles under a taper, every three cycles. 0, 0: none.
func (g *Gate) RemovedBand() (lowHz, highHz float64) {
	if t := g.r.Track; t != nil && t.Kind == cycle.Dithered {
		return removedLow * t.Hz, removedHigh * t.Hz
	}
	return 0, 0
}

// DriftPowerV2 is the variance of the drift that is taken off, V²; 0: none is.
func (g *Gate) DriftPowerV2() float64 {
	n := float64(len(g.drift.V))
	if n < 2 {
		return 0
	}
	mean, sq := 0.0, 0.0
	for _, v := range g.drift.V {
		mean += v
	}
	mean /= n
	for _, v := range g.drift.V {
		sq += (v - mean) * (v - mean)
	}
	return sq / n
}

// RoughDriftV2 is what a cubic leaves of the drift's variance, V²: a piece of the
// mains is smooth over a record too short for its comb, slow noise is not.
func (g *Gate) RoughDriftV2() float64 {
	n := len(g.drift.V)
	if n < leastRough {
		return 0
	}
	left := append([]float64(nil), g.drift.V...)
	middle, half := (g.drift.At[0]+g.drift.At[n-1])/2, (g.drift.At[n-1]-g.drift.At[0])/2
	var terms [][]float64
	for degree := range 4 {
		t := make([]float64, n)
		for i, at := range g.drift.At {
			t[i] = math.Pow((at-middle)/half, float64(degree))
		}
		for _, u := range terms {
			floats.AddScaled(t, -floats.Dot(t, u), u)
		}
		floats.Scale(1/floats.Norm(t, 2), t)
		terms = append(terms, t)
		floats.AddScaled(left, -floats.Dot(left, t), t)
	}
	return floats.Dot(left, left) / float64(n)
}
