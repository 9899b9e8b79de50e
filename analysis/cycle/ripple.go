package cycle

import (
	"math"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Model is the folded cycle taken apart: the smooth ripple and the edges'
// transients.
type Model struct {
	Bins          int           // places that the cycle is divided into
	PeriodS       float64       // duration of the cycle, s
	Smooth        []float64     // volts, spikes and rings taken out
	Edges         []Edge        // by phase
	breaks        []float64     // phases where the straight parts of the ripple join
	PPV           float64       // peak-to-peak of the smooth ripple, V
	PPSigmaV      float64       // standard deviation of ppV
	PPDoubtV      float64       // standard deviation that transients left in the fit add to it
	RMSV          float64       // its rms about the mean, V
	RMSDoubtV     float64       // as PPDoubtV, of RMSV
	RiseVPerS     figure.Figure // slope of the rising part, V/s
	FallVPerS     figure.Figure // slope of the falling part, V/s, negative
	StepV         figure.Figure // step between the two, V
	Duty          figure.Figure // share of the cycle that the ripple rises
	fitted        bool          // the straight-part model holds; else read from the curve itself
	joined        *jointFit     // parts and rings fitted together, nil where that fails
	RingLeft      float64       // share of a ring's envelope that is left at the next edge
	residualRingV float64       // that envelope
	IncludesRing  bool          // ring and ripple can't be told apart: ppV holds both
	BinSigmaV     float64       // standard deviation of a bin's mean
}

// modelCycle takes a folded cycle apart. Fit, transients found above the fit,
// transients taken out, fit again: a few rounds settle.
func modelCycle(f *Fold, periodS, rateHz, highHz, stepV float64) *Model {
	m := f.Bins
	c := &Model{Bins: m, PeriodS: periodS}
	filled := f.samples()
	lo, hi := Extremes(f.Mean)
	if filled == 0 || hi == lo {
		c.Smooth = append([]float64(nil), f.Mean...)
		return c
	}
	perBin := filled / float64(m)
	sb := f.SigmaV / math.Sqrt(max(perBin, 1))
	c.BinSigmaV = sb
	sb = max(sb, noiseLeast*(hi-lo))

	weight := make([]float64, m)
	reset := func() {
		for i := range weight {
			weight[i] = min(f.Count[i]/perBin, 2)
		}
	}
	reset()
	y := runningMedian(f.Mean, max(m/firstMedian, 2))
	pw := fitPieces(y, weight, nil, sb)
	y = make([]float64, m)
	zone, round := edgeZone(periodS, rateHz, highHz, m)
	rounds := settleRounds
	if plain, ok := plainPieces(f.Mean, weight, zone, round, sb); ok {
		pw, rounds = plain, 0
		copy(y, f.Mean)
	}
	var rings ringFits
	settle := func() {
		for range rounds {
			model := pw.corridor(f.Mean, zone, round)
			scale := max(sb, typicalMisfit(f.Mean, model))
			c.Edges = findEdges(f.Mean, model, scale)
			fitEdgeRings(c.Edges, f.Mean, model, periodS, sb, &rings)
			copy(y, f.Mean)
			reset()
			var hints []int
			for i := range c.Edges {
				c.Edges[i].takeOut(y, weight, periodS, sb)
				hints = append(hints, int(c.Edges[i].Phase*float64(m))%m)
			}
			was := pw
			if pw = fitPieces(y, weight, hints, sb); pw.like(was) {
				break // from the same fit all else follows again
			}
		}
	}
	settle()
	if share := masked(weight); share > maskedMuch {
		// a first guess that far off takes ripple for transients: try the cycle with
		// its transients in, which as short ones bend the fit but little
		pwWas, edges, yWas, weightWas := pw, c.Edges, append([]float64(nil), y...), append([]float64(nil), weight...)
		reset()
		pw = fitPieces(f.Mean, weight, nil, sb)
		settle()
		if masked(weight) > maskedLess*share {
			pw, c.Edges = pwWas, edges
			copy(y, yWas)
			copy(weight, weightWas)
		}
	}
	if c.join(f, y, weight, &pw, sb, zone) {
		pw.take(c.joined, c.BinSigmaV)
	}
	c.finish(f, y, weight, pw, zone, round, stepV)
	if c.joined == nil && (!c.fitted || !c.sane(f)) {
		if j := searchJoint(f, periodS, c.BinSigmaV, zone); j != nil && j.good(f) && (j.rms < searchedFits*j.sigma || ringing(f.Mean)) {
			// rings are looked for where none stood out: a curved ripple is no ring
			c.adopt(j, f, y, weight)
			pw.take(j, c.BinSigmaV)
			c.finish(f, y, weight, pw, zone, round, stepV)
		}
	}
	c.bound(f)
	c.readAgain(f)
	return c
}

// edgeZone is how long the step at an edge may take, and how far the span's end
// rounds corners and steps, as a pole there would; both in bins.
func edgeZone(periodS, rateHz, highHz float64, bins int) (zone int, round float64) {
	tau := 0.0
	if highHz > 0 {
		tau = 1 / (2 * math.Pi * highHz)
	}
	zone = int(math.Ceil((EdgeZoneS + 2/rateHz + zoneCorners*tau) / periodS * float64(bins)))
	return min(zone, bins/zonePart), tau / periodS * float64(bins)
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
	return 1.4826 * capture.Ranked(s, len(s)/2)
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
	if scale > plainFits*sb || len(findEdges(mean, model, max(scale, sb))) > 0 {
		return pieces{}, false
	}
	copy(weight, w)
	return pw, true
}

// Extremes are the least and the greatest of y; +Inf and -Inf where it is empty.
func Extremes(y []float64) (lo, hi float64) {
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
func (c *Model) finish(f *Fold, y, weight []float64, pw pieces, zone int, round, stepV float64) {
	c.PPDoubtV = 0
	c.breaks = nil
	for _, b := range pw.breaks {
		c.breaks = append(c.breaks, b/float64(c.Bins))
	}
	c.size(f, y, weight, &pw, zone, round, stepV)
	c.RMSV = centred(c.Smooth)
	if !c.nameParts(&pw) {
		c.nameEdgesByLevel()
	}
}

// size draws the smooth ripple and reads its peak-to-peak with the deviation.
func (c *Model) size(f *Fold, y, weight []float64, pw *pieces, zone int, round, stepV float64) {
	m := c.Bins
	lo, hi, variance := pw.extremes()
	perCell := c.BinSigmaV / math.Sqrt(float64(m)/float64(pw.cells))
	// a converter that no noise dithers bends the mean cycle by a part of its
	// step; what rings leave behind counts less than a shape that does not fit
	share := fitsPlain
	if len(c.Edges) > 0 {
		share = fitsEdges
	}
	c.fitted = c.joined != nil || pw.rms < max(fitsCell*perCell, share*(hi-lo), fitsStep*stepV)
	if c.fitted {
		c.Smooth = pw.corridor(y, zone, round)
		for i := range c.Edges {
			if c.joined == nil {
				c.splitEdge(&c.Edges[i], y, pw, c.Smooth, zone)
			}
		}
		c.PPV = hi - lo
		if c.joined == nil && c.BinSigmaV < cleanShare*c.PPV {
			// so clean a curve shows its own corners, rounded as they are
			lo, hi = Extremes(c.Smooth)
			c.PPV = hi - lo
		}
		c.PPSigmaV = math.Sqrt(variance) * max(pw.rms, perCell)
		if c.joined != nil {
			c.PPSigmaV = c.joined.uPPV
			if c.RingFills() {
				c.PPSigmaV = math.Hypot(ringModelScale*c.PPSigmaV, ringModelShare*c.RingLeft*c.residualRingV)
			}
		}
		if f.SigmaV < undithered*stepV {
			c.PPSigmaV = math.Hypot(c.PPSigmaV, stepV/math.Sqrt(6))
		}
	} else {
		c.Smooth, c.PPV, c.PPSigmaV = smoothCurve(y, weight, c.BinSigmaV)
		if len(c.Edges) > 0 {
			// the curve is drawn on across the transients, where it may turn
			c.PPDoubtV = math.Hypot(c.PPDoubtV, curveDoubt*c.PPV)
		}
	}
	for i := range c.Edges {
		if c.joined == nil && !c.Edges[i].HasRing && c.Edges[i].gate > m/longPart {
			// so long a stretch left out is no transient: the fit itself is in doubt
			c.PPDoubtV = math.Hypot(c.PPDoubtV, gatedDoubt*c.PPV)
			break
		}
	}
	// under the noise there may be transients, or more of them, that bend the fit
	c.PPDoubtV = math.Hypot(c.PPDoubtV, hiddenDoubt*f.SigmaV)
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
func (c *Model) nameParts(pw *pieces) bool {
	m := c.Bins
	if !c.fitted || len(pw.breaks) != 2 || c.PPV < partsSigmas*c.PPSigmaV {
		return false
	}
	first, last := [2]float64{pw.end(0, -1), pw.end(1, -1)}, [2]float64{pw.end(0, 1), pw.end(1, 1)}
	up := 0
	if last[1]-first[1] > last[0]-first[0] {
		up = 1
	}
	span := [2]float64{pw.length(0) / float64(m) * c.PeriodS, pw.length(1) / float64(m) * c.PeriodS}
	if !(last[up] > first[up] && last[1-up] < first[1-up]) {
		return false
	}
	c.RiseVPerS = figure.Known((last[up] - first[up]) / span[up])
	c.FallVPerS = figure.Known((last[1-up] - first[1-up]) / span[1-up])
	// half of what jumps up at the start of the rise and down at its end
	c.StepV = figure.Known(max(((first[up]-last[1-up])+(last[up]-first[1-up]))/2, 0))
	c.Duty = figure.Known(span[up] / c.PeriodS)
	for i := range c.Edges {
		e := &c.Edges[i]
		toRise := math.Abs(math.Remainder(e.Phase-pw.breaks[up]/float64(m), 1))
		toFall := math.Abs(math.Remainder(e.Phase-pw.breaks[1-up]/float64(m), 1))
		e.Rising = toRise < toFall
	}
	return true
}

// riseStart is the phase at which a cycle begins: the rising edge's onset where
// one shows, else the start of the rise, else the lowest place.
func (c *Model) riseStart() float64 {
	best, peak := -1.0, 0.0
	for _, e := range c.Edges {
		if e.Rising && math.Abs(e.peakV) > peak {
			best, peak = e.Phase, math.Abs(e.peakV)
		}
	}
	if best >= 0 {
		return best
	}
	low := 0
	for i, v := range c.Smooth {
		if v < c.Smooth[low] {
			low = i
		}
	}
	return float64(low) / float64(c.Bins)
}

// nameEdgesByLevel calls an edge rising where the smooth ripple is higher a
// while after it than before, and where no ripple tells, where its pulse is
// positive.
func (c *Model) nameEdgesByLevel() {
	m := c.Bins
	lo, hi := Extremes(c.Smooth)
	for i := range c.Edges {
		e := &c.Edges[i]
		on := int(e.Phase * float64(m))
		after := c.Smooth[(on+m/levelAfter)%m] - c.Smooth[on%m]
		if math.Abs(after) > levelMoves*(hi-lo) && hi-lo > levelSigmas*c.BinSigmaV && c.PPV > levelPPSigmas*c.PPSigmaV {
			e.Rising = after > 0
		} else {
			e.Rising = e.peakV > 0
		}
	}
}

// smoothCurve bridges the places of weight 0, smooths by a parabola sliding
// over a width that the noise asks for, and reads peak-to-peak with the part
// that the left-over noise adds taken off.
func smoothCurve(y, weight []float64, sigma float64) (smooth []float64, pp, u float64) {
	bins := len(y)
	m := min(bins, curvePoints)
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
	lo, hi := Extremes(cy)
	half := 1
	for half < m/curvePart && sigma/math.Sqrt(float64(2*half+1)) > curveNoise*(hi-lo) {
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
			if sum >= curveFilled*float64(2*half+1) || h > m/curveReach {
				degree := 2
				if sum < curveBend*float64(2*h+1) {
					degree = 1
				}
				c, _ := polyFit(local, w, degree)
				coarse[i] = c[0]
				break
			}
		}
	}
	lo, hi = Extremes(coarse)
	left := sigma * math.Sqrt(2.25/float64(2*half+1))
	// two extremes, each the greatest of a handful of independent values
	pp = max(hi-lo-2*crestNoise*left, 0)
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
