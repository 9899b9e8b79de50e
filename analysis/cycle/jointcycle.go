package cycle

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// jointFit describes a cycle as two straight parts and, at each of their two
// joints, a ring in its steady state, all fitted at once. A stretch after every
// joint is left out: a real pulse is no perfect damped sine where it starts.
type jointFit struct {
	bins    int
	periodS float64
	on      [2]float64 // bins
	hz      [2]float64
	alpha   [2]float64 // 1/s
	mask    float64    // bins left out after a joint
	coef    []float64  // two a part over u = -1..1, then cosine and sine by joint
	cov     *mat.SymDense
	rms     float64 // of the residue of places, V
	sigma   float64 // of a place by the noise alone, V
	cond    float64
	points  int
	uPPV    float64 // standard deviation of the parts' peak-to-peak
	uHz     [2]float64
	uAlpha  [2]float64 // 1/s
	// drawn are the joints' rings at all places, where they were drawn ahead
	drawn [2][]complex128
}

// foldPlaces thins a fold to places of per bins each.
type foldPlaces struct {
	x, y, w []float64 // bin, volts, weight
	per     int
}

func newFoldPlaces(f *Fold, least int) foldPlaces {
	p := foldPlaces{per: max(f.Bins/max(least, 1), 1)}
	mean := f.samples() * float64(p.per) / float64(f.Bins)
	for k := 0; k+p.per <= f.Bins; k += p.per {
		sum, v, x := 0.0, 0.0, 0.0
		for i := k; i < k+p.per; i++ {
			sum += f.Count[i]
			v += f.Count[i] * f.Mean[i]
			x += f.Count[i] * (float64(i) + f.place[i])
		}
		if sum > 0 {
			p.x, p.y, p.w = append(p.x, x/sum), append(p.y, v/sum), append(p.w, sum/mean)
		}
	}
	return p
}

// aroundCycle brings a place or a distance to 0 up to m bins.
func aroundCycle(x, m float64) float64 {
	for x < 0 {
		x += m
	}
	for x >= m {
		x -= m
	}
	return x
}

// split tells in which part bin x lies, and how far after its joint.
func (j *jointFit) split(x float64) (part int, after, length float64) {
	m := float64(j.bins)
	d0 := aroundCycle(x-j.on[0], m)
	gap := aroundCycle(j.on[1]-j.on[0], m)
	if d0 < gap {
		return 0, d0, gap
	}
	return 1, d0 - gap, m - gap
}

// ringTerms are the cosine and sine of joint e's steady ring at bin x.
func (j *jointFit) ringTerms(e int, x float64) (c, s float64) {
	m := float64(j.bins)
	t := aroundCycle(x-j.on[e], m) / m * j.periodS
	p := complex(-j.alpha[e], 2*math.Pi*j.hz[e])
	v := cmplx.Exp(p*complex(t, 0)) / (1 - cmplx.Exp(p*complex(j.periodS, 0)))
	return real(v), imag(v)
}

// jointRows are the places that count between two joints. Nothing in them depends on
// the joints' rings, so a search for these sets them up once.
type jointRows struct {
	places []jointPlace
	rings  [][jointRingTerms]float64 // by place: the terms of the rings tried last
	left   [jointTerms][jointTerms]float64
	right  [jointTerms]float64 // with left, the normal equations of the parts alone
	enough bool                // places in either part
	stepS  float64             // from one place of the fold to the next, about
	offS   float64             // most that a place lies off whole steps
}

// jointPlace is a place in a part, u = -1..1 along it, and both joints' distances to it:
// in seconds, and in whole steps with what is left.
type jointPlace struct {
	part    int
	u, y, w float64
	sinceS  [2]float64
	steps   [2]int
	offS    [2]float64
	number  int // in the fold
}

// pick sets up the rows of j's joints.
func (r *jointRows) pick(j *jointFit, p foldPlaces) {
	m := float64(j.bins)
	*r = jointRows{places: r.places[:0], rings: r.rings[:0], stepS: float64(p.per) / m * j.periodS}
	var count [2]int
	var reach [2][2]float64
	for i, x := range p.x {
		part, after, length := j.split(x)
		if after < j.mask || length-after < jointLeadBins+float64(p.per) {
			continue
		}
		q := jointPlace{part: part, u: after/length*2 - 1, y: p.y[i], w: p.w[i], number: i}
		for e := range q.sinceS {
			q.sinceS[e] = aroundCycle(x-j.on[e], m) / m * j.periodS
			q.steps[e] = int(q.sinceS[e]/r.stepS + 0.5)
			q.offS[e] = q.sinceS[e] - float64(q.steps[e])*r.stepS
			r.offS = max(r.offS, math.Abs(q.offS[e]))
		}
		if count[part] == 0 {
			reach[part] = [2]float64{q.u, q.u}
		}
		reach[part] = [2]float64{min(reach[part][0], q.u), max(reach[part][1], q.u)}
		count[part]++
		r.places = append(r.places, q)
		// the other part's two terms are 0 here
		level, slope, wu := 2*part, 2*part+1, q.w*q.u
		r.left[level][level] += q.w
		r.left[level][slope] += wu
		r.left[slope][slope] += wu * q.u
		r.right[level] += q.w * q.y
		r.right[slope] += wu * q.y
	}
	r.rings = slices.Grow(r.rings, len(r.places))[:len(r.places)]
	r.enough = count[0] >= jointInPart && count[1] >= jointInPart && reach[0][1]-reach[0][0] >= jointSpan && reach[1][1]-reach[1][0] >= jointSpan
}

// draw draws j's rings at all places.
func (r *jointRows) draw(j *jointFit) {
	for e := range 2 {
		at := 2 * e
		if drawn := j.drawn[e]; drawn != nil {
			for i := range r.places {
				z := drawn[r.places[i].number]
				r.rings[i][at], r.rings[i][at+1] = real(z), imag(z)
			}
			continue
		}
		rate, wrap := ringRate(j.hz[e], j.alpha[e], j.periodS)
		if e == 1 && j.hz[0] == j.hz[1] && j.alpha[0] == j.alpha[1] && j.alpha[0]*j.periodS < ringKept && j.drawn[0] == nil {
			r.drawLater(rate)
			continue
		}
		r.drawRing(e, rate, wrap)
	}
}

// drawRing draws joint e's ring: from step to step by one factor, and off it by the
// exponential's series.
func (r *jointRows) drawRing(e int, rate, wrap complex128) {
	var re, im [9]float64 // of rate^k/k!
	terms, off := 0, cmplx.Abs(rate)*r.offS
	for c, left := complex(1, 0), 1.0; terms < len(re) && left > seriesLeft; terms++ {
		re[terms], im[terms] = real(c), imag(c)
		c *= rate / complex(float64(terms+1), 0)
		left *= off / float64(terms+1)
	}
	exact := off > seriesReach
	step := cmplx.Exp(rate * complex(r.stepS, 0))
	steps, at := -1, complex128(0)
	for i := range r.places {
		q, out := &r.places[i], &r.rings[i]
		if exact {
			z := steadyRing(rate, wrap, q.sinceS[e])
			out[2*e], out[2*e+1] = real(z), imag(z)
			continue
		}
		switch n := q.steps[e]; n - steps {
		case 0:
		case 1:
			at *= step
		default:
			at = wrap * cmplx.Exp(rate*complex(float64(n)*r.stepS, 0))
		}
		steps = q.steps[e]
		off, a, b := q.offS[e], re[terms-1], im[terms-1]
		for k := terms - 2; k >= 0; k-- {
			a, b = a*off+re[k], b*off+im[k]
		}
		z := at * complex(a, b)
		out[2*e], out[2*e+1] = real(z), imag(z)
	}
}

// drawLater draws joint 1's ring where it is joint 0's at another time.
func (r *jointRows) drawLater(rate complex128) {
	part, turn := -1, complex128(0)
	for i := range r.places {
		q, z := &r.places[i], &r.rings[i]
		if q.part != part {
			part, turn = q.part, cmplx.Exp(rate*complex(q.sinceS[1]-q.sinceS[0], 0))
		}
		v := complex(z[0], z[1]) * turn
		z[2], z[3] = real(v), imag(v)
	}
}

// equations are the normal equations of parts and rings.
func (r *jointRows) equations() (left [jointTerms][jointTerms]float64, right [jointTerms]float64) {
	left, right = r.left, r.right
	// single numbers, which stay in registers as an array's would not
	var a0, a1, a2, a3, b1, b2, b3, c2, c3, d3 float64 // each ring term against those from it on,
	var ay, by, cy, dy float64                         // and against the volts
	for i := range r.places {
		q, z := &r.places[i], &r.rings[i]
		a, b, c, d := z[0], z[1], z[2], z[3]
		level, slope := &left[2*q.part], &left[2*q.part+1]
		w, wu := q.w, q.w*q.u
		level[4] += w * a
		level[5] += w * b
		level[6] += w * c
		level[7] += w * d
		slope[4] += wu * a
		slope[5] += wu * b
		slope[6] += wu * c
		slope[7] += wu * d
		wa, wb, wc, wd := w*a, w*b, w*c, w*d
		a0 += wa * a
		a1 += wa * b
		a2 += wa * c
		a3 += wa * d
		b1 += wb * b
		b2 += wb * c
		b3 += wb * d
		c2 += wc * c
		c3 += wc * d
		d3 += wd * d
		ay += wa * q.y
		by += wb * q.y
		cy += wc * q.y
		dy += wd * q.y
	}
	left[4][4], left[4][5], left[4][6], left[4][7] = a0, a1, a2, a3
	left[5][5], left[5][6], left[5][7] = b1, b2, b3
	left[6][6], left[6][7], left[7][7] = c2, c3, d3
	right[4], right[5], right[6], right[7] = ay, by, cy, dy
	return left, right
}

// misfit is the weighted square that terms of these sizes leave, and the weight.
func (r *jointRows) misfit(coef []float64) (rss, weight float64) {
	a, b, c, d := coef[4], coef[5], coef[6], coef[7]
	for i := range r.places {
		q, z := &r.places[i], &r.rings[i]
		left := q.y - coef[2*q.part] - q.u*coef[2*q.part+1] - z[0]*a - z[1]*b - z[2]*c - z[3]*d
		rss += q.w * left * left
		weight += q.w
	}
	return rss, weight
}

// ringRate is a ring's growth per second, and what its wraps from all cycles before
// add up to.
func ringRate(hz, alpha, periodS float64) (rate, wrap complex128) {
	rate = complex(-alpha, 2*math.Pi*hz)
	return rate, 1 / (1 - cmplx.Exp(rate*complex(periodS, 0)))
}

// steadyRing is such a ring of unit size t seconds after its start.
func steadyRing(rate, wrap complex128, t float64) complex128 {
	sin, cos := math.Sincos(imag(rate) * t)
	return complex(math.Exp(real(rate)*t), 0) * complex(cos, sin) * wrap
}

// drawRing is the ring that starts at bin on, at all places.
func (p foldPlaces) drawRing(on, hz, alpha, bins, periodS float64) []complex128 {
	rate, wrap := ringRate(hz, alpha, periodS)
	out := make([]complex128, len(p.x))
	for i, x := range p.x {
		out[i] = steadyRing(rate, wrap, aroundCycle(x-on, bins)/bins*periodS)
	}
	return out
}

// solve fits the linear terms; it answers false where they can't be told apart.
func (j *jointFit) solve(p foldPlaces) bool {
	var r jointRows
	r.pick(j, p)
	return j.solveRows(&r, true)
}

// solveRows is solve on rows set up for j's joints, with the terms' covariance or
// without.
func (j *jointFit) solveRows(r *jointRows, covariance bool) bool {
	j.points = len(r.places)
	if !r.enough {
		return false
	}
	r.draw(j)
	left, right := r.equations()
	// columns of one length, so that the condition number speaks of the angles
	var scale [jointTerms]float64
	for a := range scale {
		scale[a] = math.Sqrt(left[a][a])
		if !(scale[a] > noColumn) || math.IsInf(scale[a], 0) {
			return false
		}
	}
	ata := mat.NewSymDense(jointTerms, nil)
	atb := mat.NewVecDense(jointTerms, nil)
	for a := range scale {
		for c := a; c < jointTerms; c++ {
			ata.SetSym(a, c, left[a][c]/scale[a]/scale[c])
		}
		atb.SetVec(a, right[a]/scale[a])
	}
	var chol mat.Cholesky
	if !chol.Factorize(ata) {
		return false
	}
	if j.cond = chol.Cond(); !(j.cond < jointCond) {
		return false
	}
	var x mat.VecDense
	if chol.SolveVecTo(&x, atb) != nil {
		return false
	}
	j.coef = make([]float64, jointTerms)
	for a := range scale {
		j.coef[a] = x.AtVec(a) / scale[a]
	}
	if j.cov = nil; covariance {
		j.cov = mat.NewSymDense(jointTerms, nil)
		if chol.InverseTo(j.cov) != nil {
			return false
		}
		for a := range scale {
			for c := a; c < jointTerms; c++ {
				j.cov.SetSym(a, c, j.cov.At(a, c)/scale[a]/scale[c])
			}
		}
	}
	rss, weight := r.misfit(j.coef)
	j.rms = math.Sqrt(rss / weight * float64(j.points) / max(float64(j.points-jointTerms-jointFree), 1))
	return !math.IsNaN(j.rms)
}

// tune improves frequencies and decays, first as one ring for both joints, then
// each its own where that pays.
func (j *jointFit) tune(p foldPlaces) bool {
	var rows jointRows
	rows.pick(j, p)
	if !j.solveRows(&rows, true) {
		return false
	}
	run := func(n int) {
		start := *j
		put := func(t *jointFit, x []float64) {
			for e := range 2 {
				k := 2 * e * (n / 4)
				t.hz[e] = start.hz[e] * math.Exp(0.02*x[k])
				t.alpha[e] = start.alpha[e] * math.Exp(0.2*x[k+1])
			}
		}
		cost := func(x []float64) float64 {
			for _, v := range x {
				if math.Abs(v) > jointBounds {
					return math.Inf(1)
				}
			}
			t := start
			put(&t, x)
			if !t.solveRows(&rows, false) {
				return math.Inf(1)
			}
			return t.rms
		}
		res, err := optimize.Minimize(optimize.Problem{Func: cost}, make([]float64, n),
			&optimize.Settings{FuncEvaluations: 60 * n / 2, Converger: &optimize.FunctionConverge{Relative: 1e-5, Iterations: 12}},
			&optimize.NelderMead{SimplexSize: 1})
		if res == nil || err != nil && res.F >= start.rms {
			return
		}
		t := start
		put(&t, res.X)
		if t.solveRows(&rows, true) && t.rms < j.rms {
			*j = t
		}
	}
	run(2)
	if j.rms > jointPoor*j.sigma {
		before := *j
		run(4)
		if j.rms > jointEarns*before.rms {
			*j = before
		}
	}
	return true
}

// straight is the value of a part u = -1..1 along it.
func (j *jointFit) straight(part int, u float64) float64 {
	return j.coef[2*part] + u*j.coef[2*part+1]
}

// ringAt is joint e's steady ring at bin x.
func (j *jointFit) ringAt(e int, x float64) float64 {
	c, s := j.ringTerms(e, x)
	return c*j.coef[4+2*e] + s*j.coef[5+2*e]
}

// envelope is the size of joint e's ring, its own wraps left out, at bins after
// its start.
func (j *jointFit) envelope(e int, after float64) float64 {
	g := cmplx.Abs(1 - cmplx.Exp(complex(-j.alpha[e], 2*math.Pi*j.hz[e])*complex(j.periodS, 0)))
	return math.Hypot(j.coef[4+2*e], j.coef[5+2*e]) / g * math.Exp(-j.alpha[e]*after/float64(j.bins)*j.periodS)
}

// peakToPeak is that of the straight parts.
func (j *jointFit) peakToPeak() float64 {
	pp, _, _ := j.extremes()
	return pp
}

// extremes also gives which parts' ends they are, as weights of the terms.
func (j *jointFit) extremes() (pp, variance float64, g []float64) {
	type end struct {
		part int
		u    float64
	}
	var lo, hi end
	low, high := math.Inf(1), math.Inf(-1)
	for part := range 2 {
		for _, at := range [2]float64{-1, 1} {
			v := j.straight(part, at)
			if v < low {
				low, lo = v, end{part, at}
			}
			if v > high {
				high, hi = v, end{part, at}
			}
		}
	}
	g = make([]float64, jointTerms)
	g[2*hi.part]++
	g[2*hi.part+1] += hi.u
	g[2*lo.part]--
	g[2*lo.part+1] -= lo.u
	v := mat.NewVecDense(jointTerms, g)
	return high - low, max(mat.Inner(v, j.cov, v), 0), g
}

// weigh finds the peak-to-peak's standard deviation: that of the linear terms,
// and what it moves when frequencies and decays move by theirs.
func (j *jointFit) weigh(p foldPlaces) {
	noise := max(j.rms, j.sigma)
	pp, variance, _ := j.extremes()
	u2 := variance * noise * noise
	rss := j.rms * j.rms * float64(j.points)
	var rows jointRows
	rows.pick(j, p)
	for k := range 4 {
		t := *j
		const step = 0.01
		if k < 2 {
			t.hz[k] *= 1 + step
		} else {
			t.alpha[k-2] *= 1 + 10*step
		}
		if !t.solveRows(&rows, true) {
			continue
		}
		// a move that adds the noise's own square to the misfit is one deviation
		one := 1.0 // where the misfit does not grow at all, the whole move
		if more := t.rms*t.rms*float64(t.points) - rss; more > 0 {
			one = noise / math.Sqrt(more)
		}
		d := (t.peakToPeak() - pp) * one
		u2 += d * d
		if k < 2 {
			j.uHz[k] = one * step * j.hz[k]
		} else {
			j.uAlpha[k-2] = one * 10 * step * j.alpha[k-2]
		}
	}
	// what the pulse's shape still does beyond the stretch left out
	for _, longer := range [...]float64{1.15, 1.3} {
		t := *j
		t.mask *= longer
		if t.solve(p) {
			d := t.peakToPeak() - pp
			u2 += d * d / 2
		}
	}
	j.uPPV = math.Sqrt(u2)
}

// good reports whether the fit describes the cycle and stays within it.
func (j *jointFit) good(f *Fold) bool {
	lo, hi := Extremes(f.Mean)
	pp, u := j.peakToPeak(), j.uPPV
	slack := withinSigmas * j.sigma
	if pp > withinCycle*(hi-lo)+slack || u > jointSure*(hi-lo) {
		return false
	}
	for e := range 2 {
		if j.envelope(e, j.mask) > hi-lo+slack {
			return false
		}
	}
	return j.rms < max(jointFits*j.sigma, jointFitsShare*(hi-lo)) || j.rms < jointNearly*j.sigma && j.rms < jointNearlyPP*pp
}

// onset moves both joints to where the cycle leaves what the part before and
// the rings carried on foretell.
func (j *jointFit) onset(p foldPlaces) {
	m := float64(j.bins)
	old := *j
	for e := range 2 {
		before := 1 - e
		_, _, length := old.split(old.on[before] + 0.25)
		peak := 0.0
		at := old.on[e]
		size := func(x float64) float64 {
			// of the first place from bin x on
			i, _ := slices.BinarySearch(p.x, aroundCycle(x, m))
			i %= len(p.x)
			after := length + math.Remainder(p.x[i]-old.on[e], m)
			v := p.y[i] - old.straight(before, after/length*2-1)
			// rings of both, joint e's own last start carried on by a wrap
			own := complex(-old.alpha[e], 2*math.Pi*old.hz[e])
			t := (math.Remainder(p.x[i]-old.on[e], m) + m) / m * old.periodS
			r := cmplx.Exp(own*complex(t, 0)) / (1 - cmplx.Exp(own*complex(old.periodS, 0)))
			v -= real(r)*old.coef[4+2*e] + imag(r)*old.coef[5+2*e]
			v -= old.ringAt(before, p.x[i])
			return math.Abs(v)
		}
		reach := onsetBack * old.mask
		for x := old.on[e] - reach; x < old.on[e]+old.mask; x += float64(p.per) {
			peak = max(peak, size(x))
		}
		limit := max(onsetOver*old.sigma, onsetOverShare*peak)
		for x := old.on[e] - reach; x < old.on[e]+old.mask; x += float64(p.per) {
			if size(x) > limit && size(x+float64(p.per)) > limit {
				at = x
				break
			}
		}
		j.on[e] = aroundCycle(math.Floor(at), m)
	}
}

// jointAt fits from a first guess, leaving out as much after a joint as the
// cycle allows.
func jointAt(f *Fold, periodS, sigma float64, on, hz, alpha [2]float64, zone int) *jointFit {
	p := newFoldPlaces(f, min(jointPlaces, max(jointLeast, int(placesInRing*periodS*max(hz[0], hz[1])))))
	j := &jointFit{bins: f.Bins, periodS: periodS, on: on, hz: hz, alpha: alpha,
		sigma: sigma / math.Sqrt(float64(p.per))}
	gap := aroundCycle(on[1]-on[0], float64(f.Bins))
	least := min(gap, float64(f.Bins)-gap)
	var best *jointFit
	for _, periods := range [...]float64{1.4, 0.9, 0.5} {
		t := *j
		t.mask = max(periods/min(hz[0], hz[1])/periodS*float64(f.Bins), float64(zone))
		if t.mask > maskedPart*least || !t.tune(p) {
			continue
		}
		t.onset(p)
		if !t.solve(p) {
			continue
		}
		t.weigh(p)
		if t.good(f) {
			return &t
		}
		if best == nil || t.rms < best.rms {
			best = &t
		}
	}
	return best
}

// searchJoint looks for the two joints of a cycle that a ring fills.
func searchJoint(f *Fold, periodS, sigma float64, zone int) *jointFit {
	lo, hi := Extremes(f.Mean)
	if hi-lo < guessSigmas*sigma || f.Bins < guessBins {
		return nil
	}
	p := newFoldPlaces(f, 256)
	spec := fourier.NewFFT(len(f.Mean)).Coefficients(nil, f.Mean)
	top, at := 0.0, 0
	for k := 2; k < min(len(spec), guessHarmonics); k++ {
		if a := cmplx.Abs(spec[k]); a > top {
			top, at = a, k
		}
	}
	if at == 0 {
		return nil
	}
	var best jointFit
	found := false
	m := float64(f.Bins)
	var rows jointRows
	for _, d := range [...]float64{-0.4, 0, 0.4} {
		hz := (float64(at) + d) / periodS
		const grid = 32
		var decays [2]float64
		var drawn [len(decays)][grid][]complex128 // by onset: two joints share them
		for i, q := range [len(decays)]float64{3.5, 8} {
			decays[i] = math.Pi * hz / q
			for a := range grid {
				drawn[i][a] = p.drawRing(float64(a)*m/grid, hz, decays[i], m, periodS)
			}
		}
		for a := range grid {
			for b := a + grid/guessApart; b < grid && b-a <= grid-grid/guessApart; b++ {
				t := jointFit{bins: f.Bins, periodS: periodS, hz: [2]float64{hz, hz},
					on: [2]float64{float64(a) * m / grid, float64(b) * m / grid}, sigma: sigma / math.Sqrt(float64(p.per))}
				t.mask = max(min(guessMask/hz/periodS*m, guessMaskPart*float64(min(b-a, grid-b+a))*m/grid), m/grid)
				rows.pick(&t, p)
				for i, alpha := range decays {
					t.alpha = [2]float64{alpha, alpha}
					t.drawn = [2][]complex128{drawn[i][a], drawn[i][b]}
					if t.solveRows(&rows, false) && (!found || t.rms < best.rms) {
						best, found = t, true
					}
				}
			}
		}
	}
	if !found {
		return nil
	}
	return jointAt(f, periodS, sigma, best.on, best.hz, best.alpha, zone)
}
