package cycle

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"stillglow/analysis/figure"
)

// join tries to fit the straight parts and the rings together from the edges
// found one by one. It answers whether that describes the cycle.
func (c *Model) join(f *Fold, y, weight []float64, pw *pieces, sb float64, zone int) bool {
	if len(c.Edges) != 2 || len(pw.breaks) != 2 || pw.degree != 1 {
		return false
	}
	var on, hz, alpha [2]float64
	for i, e := range c.Edges {
		on[i] = e.Phase * float64(c.Bins)
		if e.HasRing {
			hz[i], alpha[i] = e.Ring.Hz, e.Ring.alpha
		}
	}
	for i := range hz {
		if hz[i] == 0 {
			hz[i], alpha[i] = hz[1-i], alpha[1-i]
		}
	}
	if hz[0] == 0 || min(hz[0], hz[1])*c.PeriodS < jointRings {
		return false
	}
	j := jointAt(f, c.PeriodS, c.BinSigmaV, on, hz, alpha, zone)
	if j == nil || !j.good(f) {
		return false
	}
	c.adopt(j, f, y, weight)
	return true
}

// adopt makes the joint fit's joints the edges and takes its rings out of y.
func (c *Model) adopt(j *jointFit, f *Fold, y, weight []float64) {
	m := float64(c.Bins)
	c.joined = j
	c.Edges = nil
	c.RingLeft, c.residualRingV = 0, 0
	for i := range y {
		x := float64(i) + 0.5
		_, after, length := j.split(x)
		y[i], weight[i] = f.Mean[i], 1
		if after < j.mask || length-after < jointLeadBins {
			weight[i] = 0
		}
		for e := range 2 {
			// within a joint's own first stretch only what others left behind
			v := j.ringAt(e, x)
			if t := aroundCycle(x-j.on[e], m); t < j.mask {
				v -= j.bare(e).at(t / m * c.PeriodS)
			}
			y[i] -= v
		}
	}
	for e := range 2 {
		_, _, length := j.split(j.on[e] + 0.25)
		edge := Edge{Phase: j.on[e] / m, gate: int(j.mask) + 1, Ring: j.bare(e), HasRing: true}
		for k := range int(length) {
			i := (int(j.on[e]) + k) % c.Bins
			v := f.Mean[i] - j.straight(e, float64(k)/length*2-1)
			if math.Abs(v) > math.Abs(edge.peakV) {
				edge.peakV = v
			}
		}
		// a ring that does not stand above what is left of the fit is none
		edge.HasRing = j.envelope(e, j.mask) > edgeRingStands*max(j.rms, j.sigma) && edge.Ring.Q() >= ringQ
		if left := j.envelope(e, length) / max(j.envelope(e, 0), tiny); edge.HasRing {
			c.RingLeft = max(c.RingLeft, left)
			c.residualRingV = max(c.residualRingV, j.envelope(e, length))
		}
		c.Edges = append(c.Edges, edge)
	}
	if c.Edges[0].Phase > c.Edges[1].Phase {
		c.Edges[0], c.Edges[1] = c.Edges[1], c.Edges[0]
	}
}

// bare is joint e's ring after one edge alone.
func (j *jointFit) bare(e int) Ring {
	g := 1 / (1 - cmplx.Exp(complex(-j.alpha[e], 2*math.Pi*j.hz[e])*complex(j.periodS, 0)))
	// Re(g·z)·c + Im(g·z)·s with z the bare oscillation
	c, s := j.coef[4+2*e], j.coef[5+2*e]
	r := Ring{Hz: j.hz[e], alpha: j.alpha[e], rms: j.rms, uHz: j.uHz[e],
		c: c*real(g) + s*imag(g), s: -c*imag(g) + s*real(g)}
	r.uQ = r.Q() * math.Hypot(j.uAlpha[e]/j.alpha[e], j.uHz[e]/j.hz[e])
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
	p.rms = binSigma / math.Sqrt(float64(p.bins)/float64(p.cells)) * max(j.rms/max(j.sigma, tiny), 1)
}

// sane reports whether the ripple stays within the cycle that it is a part of.
func (c *Model) sane(f *Fold) bool {
	lo, hi := Extremes(f.Mean)
	slack := withinSigmas * c.BinSigmaV
	if a, b := Extremes(c.Smooth); max(c.PPV, b-a) > withinCycle*(hi-lo)+slack {
		return false
	}
	for _, e := range c.Edges {
		if e.HasRing && e.Ring.amplitude(float64(e.gate)/float64(c.Bins)*c.PeriodS) > hi-lo+slack {
			return false
		}
	}
	return !math.IsNaN(c.PPV + c.RMSV + c.PPSigmaV)
}

// RingFills reports whether so much of a ring is left at the next edge that the
// ripple leans on how well the ring is known.
func (c *Model) RingFills() bool {
	return c.IncludesRing || c.RingLeft > ringFills || c.residualRingV > c.PPV
}

// RingsRunTogether reports whether one edge's transient can't be told from the
// next one's.
func (c *Model) RingsRunTogether() bool {
	return c.IncludesRing || c.joined != nil && c.RingLeft > ringRunsOn && ringRunsSigmas*c.PPSigmaV > c.PPV
}

// bound keeps every figure within what the folded cycle shows, and marks a
// cycle in which ring and ripple are not told apart.
func (c *Model) bound(f *Fold) {
	lo, hi := Extremes(f.Mean)
	if c.joined == nil {
		for _, e := range c.Edges {
			if !e.HasRing {
				continue
			}
			next := 1.0
			for _, o := range c.Edges {
				if d := math.Mod(o.Phase-e.Phase+1, 1); d > 0 {
					next = min(next, d)
				}
			}
			left := math.Exp(-e.Ring.alpha * next * c.PeriodS)
			c.RingLeft = max(c.RingLeft, left)
			c.residualRingV = max(c.residualRingV, left*e.Ring.amplitude(0))
		}
	}
	sane := c.sane(f)
	holds := !c.fitted && (ringing(f.Mean) || c.holdsRing())
	if sane && !holds {
		return
	}
	// the plain mean cycle holds ripple and ring together
	c.IncludesRing = !sane || holds
	c.RiseVPerS, c.FallVPerS, c.StepV, c.Duty = figure.Figure{}, figure.Figure{}, figure.Figure{}, figure.Figure{}
	if !sane {
		c.Edges, c.breaks, c.fitted = nil, nil, false
		weight := make([]float64, c.Bins)
		for i := range weight {
			weight[i] = 1
		}
		c.Smooth, c.PPV, c.PPSigmaV = smoothCurve(f.Mean, weight, c.BinSigmaV)
		mean, sq := 0.0, 0.0
		for i, v := range c.Smooth {
			c.Smooth[i] = min(max(v, lo), hi)
			mean += c.Smooth[i] / float64(c.Bins)
		}
		for i := range c.Smooth {
			c.Smooth[i] -= mean
			sq += c.Smooth[i] * c.Smooth[i]
		}
		c.RMSV = math.Sqrt(sq / float64(c.Bins))
	}
	if c.PPV > hi-lo {
		c.PPV = hi - lo
	}
	c.RMSV = min(c.RMSV, c.PPV/2)
	c.PPSigmaV = max(c.PPSigmaV, c.PPV/2)
}

// holdsRing reports whether the smooth ripple, read off the curve itself, holds a ring:
// where the cycle is short, one of a few megahertz swings all through it and is left in
// what no straight parts describe. The k-th harmonic of steps is at most 1/k of the
// fundamental over the sine of half the shorter part's angle, and those of ramps fall
// faster; a ring's stand above that, or above those before them, which by pairs fall
// evenly, since a duty cycle may null every second.
func (c *Model) holdsRing() bool {
	if c.PeriodS > humpPeriodS {
		return false
	}
	spec := fourier.NewFFT(len(c.Smooth)).Coefficients(nil, c.Smooth)
	share := func(k int) float64 { return cmplx.Abs(spec[k]) / max(cmplx.Abs(spec[1]), tiny) }
	least := math.Inf(1) // of the pairs before
	for k := 3; k+1 < min(len(spec), ringHarmonics); k++ {
		least = min(least, max(share(k-2), share(k-1)))
		v := share(k)
		if v < humpLeast || float64(k)/c.PeriodS < humpLowHz {
			continue
		}
		if v*float64(k) > humpOverSteps || v > humpRises*least && v*float64(k) > humpLeastSteps {
			return true
		}
	}
	return false
}

// ringing reports whether a harmonic above the second outweighs the fundamental:
// no ripple's does, a ring that fills the cycle does.
func ringing(mean []float64) bool {
	spec := fourier.NewFFT(len(mean)).Coefficients(nil, mean)
	first := cmplx.Abs(spec[1])
	for k := 3; k < min(len(spec), ringHarmonics); k++ {
		if cmplx.Abs(spec[k]) > first {
			return true
		}
	}
	return false
}
