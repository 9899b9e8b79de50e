package analysis

import (
	"math"
	"math/cmplx"
	"stillglow/analysis/figure"

	"gonum.org/v1/gonum/dsp/fourier"
)

// ringFills is the share of a ring's envelope left at the next edge from which
// ripple and ring are hard to tell apart.
const ringFills = 0.15

// join tries to fit the straight parts and the rings together from the edges
// found one by one. It answers whether that describes the cycle.
func (c *cycleModel) join(f *fold, y, weight []float64, pw *pieces, sb float64, zone int) bool {
	if len(c.edges) != 2 || len(pw.breaks) != 2 || pw.degree != 1 {
		return false
	}
	var on, hz, alpha [2]float64
	for i, e := range c.edges {
		on[i] = e.phase * float64(c.bins)
		if e.hasRng {
			hz[i], alpha[i] = e.ring.hz, e.ring.alpha
		}
	}
	for i := range hz {
		if hz[i] == 0 {
			hz[i], alpha[i] = hz[1-i], alpha[1-i]
		}
	}
	if hz[0] == 0 || min(hz[0], hz[1])*c.periodS < 2.5 {
		return false
	}
	j := jointAt(f, c.periodS, c.binSigma, on, hz, alpha, zone)
	if j == nil || !j.good(f) {
		return false
	}
	c.adopt(j, f, y, weight)
	return true
}

// adopt makes the joint fit's joints the edges and takes its rings out of y.
func (c *cycleModel) adopt(j *jointFit, f *fold, y, weight []float64) {
	m := float64(c.bins)
	c.joined = j
	c.edges = nil
	c.ringLeft, c.leftV = 0, 0
	for i := range y {
		x := float64(i) + 0.5
		_, after, length := j.split(x)
		y[i], weight[i] = f.mean[i], 1
		if after < j.mask || length-after < jointLeadBins {
			weight[i] = 0
		}
		for e := range 2 {
			// within a joint's own first stretch only what others left behind
			v := j.ringAt(e, x)
			if t := aroundCycle(x-j.on[e], m); t < j.mask {
				v -= j.bare(e).at(t / m * c.periodS)
			}
			y[i] -= v
		}
	}
	for e := range 2 {
		_, _, length := j.split(j.on[e] + 0.25)
		edge := cycleEdge{phase: j.on[e] / m, gate: int(j.mask) + 1, ring: j.bare(e), hasRng: true}
		for k := range int(length) {
			i := (int(j.on[e]) + k) % c.bins
			v := f.mean[i] - j.straight(e, float64(k)/length*2-1)
			if math.Abs(v) > math.Abs(edge.peakV) {
				edge.peakV = v
			}
		}
		// a ring that does not stand above what is left of the fit is none
		edge.hasRng = j.envelope(e, j.mask) > 4*max(j.rms, j.sigma) && edge.ring.q() >= 1
		if left := j.envelope(e, length) / max(j.envelope(e, 0), 1e-300); edge.hasRng {
			c.ringLeft = max(c.ringLeft, left)
			c.leftV = max(c.leftV, j.envelope(e, length))
		}
		c.edges = append(c.edges, edge)
	}
	if c.edges[0].phase > c.edges[1].phase {
		c.edges[0], c.edges[1] = c.edges[1], c.edges[0]
	}
}

// bare is joint e's ring after one edge alone.
func (j *jointFit) bare(e int) ringFit {
	g := 1 / (1 - cmplx.Exp(complex(-j.alpha[e], 2*math.Pi*j.hz[e])*complex(j.periodS, 0)))
	// Re(g·z)·c + Im(g·z)·s with z the bare oscillation
	c, s := j.coef[4+2*e], j.coef[5+2*e]
	r := ringFit{hz: j.hz[e], alpha: j.alpha[e], rms: j.rms, uHz: j.uHz[e],
		c: c*real(g) + s*imag(g), s: -c*imag(g) + s*real(g)}
	r.uQ = r.q() * math.Hypot(j.uAlpha[e]/j.alpha[e], j.uHz[e]/j.hz[e])
	return r
}

// take puts the joint fit's straight parts in place of the pieces.
func (p *pieces) take(j *jointFit, binSigma float64) {
	a, b := 0, 1
	if j.on[0] > j.on[1] {
		a, b = 1, 0
	}
	p.degree = 1
	p.breaks = []float64{j.on[a], j.on[b]}
	p.marked = []bool{true, true}
	p.coef = [][4]float64{{j.coef[2*a], j.coef[2*a+1]}, {j.coef[2*b], j.coef[2*b+1]}}
	p.endVar = make([][2]float64, 2)
	p.rms = binSigma / math.Sqrt(float64(p.bins)/float64(p.cells)) * max(j.rms/max(j.sigma, 1e-300), 1)
}

// sane reports whether the ripple stays within the cycle that it is a part of.
func (c *cycleModel) sane(f *fold) bool {
	lo, hi := extremes(f.mean)
	slack := 4 * c.binSigma
	if a, b := extremes(c.smooth); max(c.ppV, b-a) > 1.02*(hi-lo)+slack {
		return false
	}
	for _, e := range c.edges {
		if e.hasRng && e.ring.amplitude(float64(e.gate)/float64(c.bins)*c.periodS) > hi-lo+slack {
			return false
		}
	}
	return !math.IsNaN(c.ppV + c.rmsV + c.uPPV)
}

// ringFills reports whether so much of a ring is left at the next edge that the
// ripple leans on how well the ring is known.
func (c *cycleModel) ringFills() bool {
	return c.upper || c.ringLeft > ringFills || c.leftV > c.ppV
}

// ringsRunTogether reports whether one edge's transient can't be told from the
// next one's.
func (c *cycleModel) ringsRunTogether() bool {
	return c.upper || c.joined != nil && c.ringLeft > 0.5 && 4*c.uPPV > c.ppV
}

// bound keeps every figure within what the folded cycle shows, and marks a
// cycle in which ring and ripple are not told apart.
func (c *cycleModel) bound(f *fold) {
	lo, hi := extremes(f.mean)
	if c.joined == nil {
		for _, e := range c.edges {
			if !e.hasRng {
				continue
			}
			next := 1.0
			for _, o := range c.edges {
				if d := math.Mod(o.phase-e.phase+1, 1); d > 0 {
					next = min(next, d)
				}
			}
			left := math.Exp(-e.ring.alpha * next * c.periodS)
			c.ringLeft = max(c.ringLeft, left)
			c.leftV = max(c.leftV, left*e.ring.amplitude(0))
		}
	}
	sane := c.sane(f)
	if sane && (c.fitted || !ringing(f.mean)) {
		return
	}
	// the plain mean cycle holds ripple and ring together
	c.upper = !sane || ringing(f.mean)
	c.rise, c.fall, c.stepV, c.duty = figure.Figure{}, figure.Figure{}, figure.Figure{}, figure.Figure{}
	if !sane {
		c.edges, c.breaks, c.fitted = nil, nil, false
		weight := make([]float64, c.bins)
		for i := range weight {
			weight[i] = 1
		}
		c.smooth, c.ppV, c.uPPV = smoothCurve(f.mean, weight, c.binSigma)
		mean, sq := 0.0, 0.0
		for i, v := range c.smooth {
			c.smooth[i] = min(max(v, lo), hi)
			mean += c.smooth[i] / float64(c.bins)
		}
		for i := range c.smooth {
			c.smooth[i] -= mean
			sq += c.smooth[i] * c.smooth[i]
		}
		c.rmsV = math.Sqrt(sq / float64(c.bins))
	}
	if c.ppV > hi-lo {
		c.ppV = hi - lo
	}
	c.rmsV = min(c.rmsV, c.ppV/2)
	c.uPPV = max(c.uPPV, c.ppV/2)
}

// ringing reports whether a harmonic above the second outweighs the fundamental:
// no ripple's does, a ring that fills the cycle does.
func ringing(mean []float64) bool {
	spec := fourier.NewFFT(len(mean)).Coefficients(nil, mean)
	first := cmplx.Abs(spec[1])
	for k := 3; k < min(len(spec), 60); k++ {
		if cmplx.Abs(spec[k]) > first {
			return true
		}
	}
	return false
}
