package analysis

import (
	"math"
	"slices"
	"stillglow/analysis/figure"
)

// cycleModel is the folded cycle taken apart: the smooth ripple and the edges'
// transients.
type cycleModel struct {
	bins     int
	periodS  float64
	smooth   []float64 // volts, spikes and rings taken out
	edges    []cycleEdge
	breaks   []float64 // phases where the straight parts of the ripple join
	ppV      float64
	uPPV     float64 // standard deviation of ppV
	doubtV   float64 // standard deviation that transients left in the fit add to it
	rmsV     float64
	rise     figure.Figure
	fall     figure.Figure
	stepV    figure.Figure
	duty     figure.Figure
	fitted   bool      // the straight-part model holds; else read from the curve itself
	joined   *jointFit // parts and rings fitted together, nil where that fails
	ringLeft float64   // share of a ring's envelope that is left at the next edge
	leftV    float64   // that envelope
	upper    bool      // ring and ripple can't be told apart: ppV holds both
	binSigma float64   // standard deviation of a bin's mean
}

// modelCycle takes a folded cycle apart. Fit, transients found above the fit,
// transients taken out, fit again: a few rounds settle.
func modelCycle(f *fold, periodS, rateHz, highHz, stepV float64) *cycleModel {
	m := f.bins
	c := &cycleModel{bins: m, periodS: periodS}
	filled := f.samples()
	lo, hi := extremes(f.mean)
	if filled == 0 || hi == lo {
		c.smooth = append([]float64(nil), f.mean...)
		return c
	}
	perBin := filled / float64(m)
	sb := f.sigma / math.Sqrt(max(perBin, 1))
	c.binSigma = sb
	sb = max(sb, 1e-4*(hi-lo))

	weight := make([]float64, m)
	reset := func() {
		for i := range weight {
			weight[i] = min(f.n[i]/perBin, 2)
		}
	}
	reset()
	y := runningMedian(f.mean, max(m/24, 2))
	pw := fitPieces(y, weight, nil, sb)
	y = make([]float64, m)
	// the span's end rounds corners and steps as a pole there would
	tau := 0.0
	if highHz > 0 {
		tau = 1 / (2 * math.Pi * highHz)
	}
	zone := int(math.Ceil((edgeZoneS + 2/rateHz + 5*tau) / periodS * float64(m)))
	zone = min(zone, m/20)
	rounds := 4
	if plain, ok := plainPieces(f.mean, weight, zone, tau/periodS*float64(m), sb); ok {
		pw, rounds = plain, 0
		copy(y, f.mean)
	}
	settle := func() {
		for range rounds {
			model := pw.corridor(f.mean, zone, tau/periodS*float64(m))
			scale := max(sb, typicalMisfit(f.mean, model))
			c.edges = findEdges(f.mean, model, scale)
			fitEdgeRings(c.edges, f.mean, model, periodS, sb)
			copy(y, f.mean)
			reset()
			var hints []int
			for i := range c.edges {
				c.edges[i].takeOut(y, weight, periodS, sb)
				hints = append(hints, int(c.edges[i].phase*float64(m))%m)
			}
			pw = fitPieces(y, weight, hints, sb)
		}
	}
	settle()
	if share := masked(weight); share > 0.2 {
		// a first guess that far off takes ripple for transients: try the cycle with
		// its transients in, which as short ones bend the fit but little
		pwWas, edges, yWas, weightWas := pw, c.edges, append([]float64(nil), y...), append([]float64(nil), weight...)
		reset()
		pw = fitPieces(f.mean, weight, nil, sb)
		settle()
		if masked(weight) > 0.5*share {
			pw, c.edges = pwWas, edges
			copy(y, yWas)
			copy(weight, weightWas)
		}
	}
	if c.join(f, y, weight, &pw, sb, zone) {
		pw.take(c.joined, c.binSigma)
	}
	c.finish(f, y, weight, pw, zone, tau/periodS*float64(m), stepV)
	if c.joined == nil && (!c.fitted || !c.sane(f)) {
		if j := searchJoint(f, periodS, c.binSigma, zone); j != nil && j.good(f) && (j.rms < 1.35*j.sigma || ringing(f.mean)) {
			// rings are looked for where none stood out: a curved ripple is no ring
			c.adopt(j, f, y, weight)
			pw.take(j, c.binSigma)
			c.finish(f, y, weight, pw, zone, tau/periodS*float64(m), stepV)
		}
	}
	c.bound(f)
	return c
}

// masked is the share of the cycle that the fit leaves out.
func masked(weight []float64) float64 {
	n := 0.0
	for _, w := range weight {
		if w == 0 {
			n++
		}
	}
	return n / float64(len(weight))
}

// typicalMisfit is the median of what a model leaves, scaled to the standard
// deviation of a normal distribution.
func typicalMisfit(mean, model []float64) float64 {
	s := make([]float64, len(mean))
	for i := range s {
		s[i] = math.Abs(mean[i] - model[i])
	}
	slices.Sort(s)
	return 1.4826 * s[len(s)/2]
}

// plainPieces fits the cycle as it is, steps left out, and reports whether that
// leaves no transient: taking out what is none would hide the true edges. weight
// is changed only where it does.
func plainPieces(mean, weight []float64, zone int, round, sb float64) (pieces, bool) {
	m := len(mean)
	pw := fitPieces(mean, weight, nil, sb)
	w := append([]float64(nil), weight...)
	for _, b := range pw.breaks {
		for d := -2 - zone/4; d <= zone; d++ {
			w[((int(b)+d)%m+m)%m] = 0
		}
	}
	pw.solve(newCells(mean, w))
	model := pw.corridor(mean, zone, round)
	scale := typicalMisfit(mean, model)
	// a fit that is off everywhere shows no transients either
	if scale > 1.5*sb || len(findEdges(mean, model, max(scale, sb))) > 0 {
		return pieces{}, false
	}
	copy(weight, w)
	return pw, true
}

// edgeZoneS is how long the step at an edge may take: within it the ripple is
// wherever the curve runs between the two parts it joins.
const edgeZoneS = 30e-9

func extremes(y []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range y {
		// faster than min and max, which also mind NaN and the sign of zero
		if v < lo {
			lo = v
		}
		if v > hi {
			hi = v
		}
	}
	return lo, hi
}

// finish reads the figures off the fit, or off the curve where the fit fails.
func (c *cycleModel) finish(f *fold, y, weight []float64, pw pieces, zone int, round, stepV float64) {
	c.doubtV = 0
	c.breaks = nil
	for _, b := range pw.breaks {
		c.breaks = append(c.breaks, b/float64(c.bins))
	}
	c.size(f, y, weight, &pw, zone, round, stepV)
	c.rmsV = centred(c.smooth)
	if !c.nameParts(&pw) {
		c.nameEdgesByLevel()
	}
}

// size draws the smooth ripple and reads its peak-to-peak with the deviation.
func (c *cycleModel) size(f *fold, y, weight []float64, pw *pieces, zone int, round, stepV float64) {
	m := c.bins
	lo, hi, variance := pw.extremes()
	perCell := c.binSigma / math.Sqrt(float64(m)/float64(pw.cells))
	// a converter that no noise dithers bends the mean cycle by a part of its
	// step; what rings leave behind counts less than a shape that does not fit
	share := 0.012
	if len(c.edges) > 0 {
		share = 0.04
	}
	c.fitted = c.joined != nil || pw.rms < max(1.6*perCell, share*(hi-lo), 0.3*stepV)
	if c.fitted {
		c.smooth = pw.corridor(y, zone, round)
		for i := range c.edges {
			if c.joined == nil {
				c.splitEdge(&c.edges[i], y, pw, c.smooth, zone)
			}
		}
		c.ppV = hi - lo
		if c.joined == nil && c.binSigma < 0.003*c.ppV {
			// so clean a curve shows its own corners, rounded as they are
			lo, hi = extremes(c.smooth)
			c.ppV = hi - lo
		}
		c.uPPV = math.Sqrt(variance) * max(pw.rms, perCell)
		if c.joined != nil {
			c.uPPV = c.joined.uPPV
			if c.ringFills() {
				// no real ring is quite a damped sine, the less so the more of it is left
				c.uPPV = math.Hypot(1.6*c.uPPV, 0.06*c.ringLeft*c.leftV)
			}
		}
		if f.sigma < 0.4*stepV { // too little noise to average over the steps
			c.uPPV = math.Hypot(c.uPPV, stepV/math.Sqrt(6))
		}
	} else {
		c.smooth, c.ppV, c.uPPV = smoothCurve(y, weight, c.binSigma)
		if len(c.edges) > 0 {
			// the curve is drawn on across the transients, where it may turn
			c.doubtV = math.Hypot(c.doubtV, 0.03*c.ppV)
		}
	}
	for i := range c.edges {
		if c.joined == nil && !c.edges[i].hasRng && c.edges[i].gate > m/5 {
			// so long a stretch left out is no transient: the fit itself is in doubt
			c.doubtV = math.Hypot(c.doubtV, 0.1*c.ppV)
			break
		}
	}
	// under the noise there may be transients, or more of them, that bend the fit
	c.doubtV = math.Hypot(c.doubtV, 0.02*f.sigma)
}

// centred takes the mean off a cycle and gives its rms.
func centred(y []float64) float64 {
	mean := 0.0
	for _, v := range y {
		mean += v
	}
	mean /= float64(len(y))
	sq := 0.0
	for i := range y {
		y[i] -= mean
		sq += y[i] * y[i]
	}
	return math.Sqrt(sq / float64(len(y)))
}

// nameParts tells the rising part from the falling one, with the step between
// them, and names the edges after them. It reports whether the ripple is two such
// parts.
func (c *cycleModel) nameParts(pw *pieces) bool {
	m := c.bins
	if !c.fitted || len(pw.breaks) != 2 || c.ppV < 4*c.uPPV {
		return false
	}
	first, last := [2]float64{pw.end(0, -1), pw.end(1, -1)}, [2]float64{pw.end(0, 1), pw.end(1, 1)}
	up := 0
	if last[1]-first[1] > last[0]-first[0] {
		up = 1
	}
	span := [2]float64{pw.length(0) / float64(m) * c.periodS, pw.length(1) / float64(m) * c.periodS}
	if !(last[up] > first[up] && last[1-up] < first[1-up]) {
		return false
	}
	c.rise = figure.Known((last[up] - first[up]) / span[up])
	c.fall = figure.Known((last[1-up] - first[1-up]) / span[1-up])
	// half of what jumps up at the start of the rise and down at its end
	c.stepV = figure.Known(max(((first[up]-last[1-up])+(last[up]-first[1-up]))/2, 0))
	c.duty = figure.Known(span[up] / c.periodS)
	for i := range c.edges {
		e := &c.edges[i]
		toRise := math.Abs(math.Remainder(e.phase-pw.breaks[up]/float64(m), 1))
		toFall := math.Abs(math.Remainder(e.phase-pw.breaks[1-up]/float64(m), 1))
		e.rising = toRise < toFall
	}
	return true
}

// riseStart is the phase at which a cycle begins: the rising edge's onset where
// one shows, else the start of the rise, else the lowest place.
func (c *cycleModel) riseStart() float64 {
	best, peak := -1.0, 0.0
	for _, e := range c.edges {
		if e.rising && math.Abs(e.peakV) > peak {
			best, peak = e.phase, math.Abs(e.peakV)
		}
	}
	if best >= 0 {
		return best
	}
	low := 0
	for i, v := range c.smooth {
		if v < c.smooth[low] {
			low = i
		}
	}
	return float64(low) / float64(c.bins)
}

// nameEdgesByLevel calls an edge rising where the smooth ripple is higher a
// while after it than before, and where no ripple tells, where its pulse is
// positive.
func (c *cycleModel) nameEdgesByLevel() {
	m := c.bins
	lo, hi := extremes(c.smooth)
	for i := range c.edges {
		e := &c.edges[i]
		on := int(e.phase * float64(m))
		after := c.smooth[(on+m/8)%m] - c.smooth[on%m]
		if math.Abs(after) > 0.1*(hi-lo) && hi-lo > 4*c.binSigma && c.ppV > 6*c.uPPV {
			e.rising = after > 0
		} else {
			e.rising = e.peakV > 0
		}
	}
}

// smoothCurve bridges the places of weight 0, smooths by a parabola sliding
// over a width that the noise asks for, and reads peak-to-peak with the part
// that the left-over noise adds taken off.
func smoothCurve(y, weight []float64, sigma float64) (smooth []float64, pp, u float64) {
	bins := len(y)
	m := min(bins, 1024)
	cy, cw := make([]float64, m), make([]float64, m)
	for i, v := range y {
		k := i * m / bins
		cy[k] += weight[i] * v
		cw[k] += weight[i]
	}
	for k := range cy {
		if cw[k] > 0 {
			cy[k] /= cw[k]
			cw[k] /= float64(bins / m)
		}
	}
	sigma /= math.Sqrt(float64(bins / m))
	lo, hi := extremes(cy)
	half := 1
	for half < m/48 && sigma/math.Sqrt(float64(2*half+1)) > 0.003*(hi-lo) {
		half++
	}
	coarse := make([]float64, m)
	for i := range coarse {
		for h := half; ; h *= 2 {
			local, w := make([]float64, 2*h+1), make([]float64, 2*h+1)
			sum := 0.0
			for k := range local {
				j := ((i+k-h)%m + m) % m
				local[k], w[k] = cy[j], cw[j]
				sum += cw[j]
			}
			if sum >= 0.6*float64(2*half+1) || h > m/4 {
				degree := 2
				if sum < 0.5*float64(2*h+1) {
					degree = 1
				}
				c, _ := polyFit(local, w, degree)
				coarse[i] = c[0]
				break
			}
		}
	}
	lo, hi = extremes(coarse)
	left := sigma * math.Sqrt(2.25/float64(2*half+1))
	// two extremes, each the greatest of a handful of independent values
	pp = max(hi-lo-2*0.8*left, 0)
	smooth = make([]float64, bins)
	per := float64(bins / m)
	for i := range smooth {
		x := (float64(i)+0.5)/per - 0.5
		k := int(math.Floor(x))
		t := x - float64(k)
		smooth[i] = coarse[(k+m)%m]*(1-t) + coarse[(k+1)%m]*t
	}
	return smooth, pp, 1.5 * left
}
