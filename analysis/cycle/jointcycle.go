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

// jointEquations are the normal equations of the linear terms, with the rows they
// were made of.
type jointEquations struct {
	left   [jointTerms][jointTerms]float64
	right  [jointTerms]float64
	rows   [][jointTerms]float64
	ys, ws []float64
}

// partTerms are the terms that count at a place of either part.
var partTerms = [2][6]int{{0, 1, 4, 5, 6, 7}, {2, 3, 4, 5, 6, 7}}

// equations sets up the linear terms' equations over the places that count; ok is
// false where a part has too few of them.
func (j *jointFit) equations(p foldPlaces) (q jointEquations, ok bool) {
	var wrap, rate [2]complex128
	for e := range 2 {
		rate[e], wrap[e] = ringRate(j.hz[e], j.alpha[e], j.periodS)
	}
	m := float64(j.bins)
	q.rows = make([][jointTerms]float64, 0, len(p.x))
	q.ys, q.ws = make([]float64, 0, len(p.x)), make([]float64, 0, len(p.x))
	var count [2]int
	var reach [2][2]float64
	for i, x := range p.x {
		part, after, length := j.split(x)
		if after < j.mask || length-after < jointLeadBins+float64(p.per) {
			continue
		}
		var b [jointTerms]float64
		u := after/length*2 - 1
		b[2*part], b[2*part+1] = 1, u
		for e := range 2 {
			var z complex128
			if j.drawn[e] != nil {
				z = j.drawn[e][i]
			} else {
				z = steadyRing(rate[e], wrap[e], aroundCycle(x-j.on[e], m)/m*j.periodS)
			}
			b[4+2*e], b[5+2*e] = real(z), imag(z)
		}
		if count[part] == 0 {
			reach[part] = [2]float64{u, u}
		}
		reach[part] = [2]float64{min(reach[part][0], u), max(reach[part][1], u)}
		count[part]++
		q.rows, q.ys, q.ws = append(q.rows, b), append(q.ys, p.y[i]), append(q.ws, p.w[i])
		// the other part's two terms are 0 here
		for k, a := range partTerms[part] {
			wb := p.w[i] * b[a]
			for _, c := range partTerms[part][k:] {
				q.left[a][c] += wb * b[c]
			}
			q.right[a] += wb * p.y[i]
		}
	}
	return q, count[0] >= jointInPart && count[1] >= jointInPart && reach[0][1]-reach[0][0] >= jointSpan && reach[1][1]-reach[1][0] >= jointSpan
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

// solve fits the linear terms; ok is false where they can't be told apart.
func (j *jointFit) solve(p foldPlaces) bool { return j.solveTerms(p, true) }

// solveTerms is solve, with the terms' covariance or without.
func (j *jointFit) solveTerms(p foldPlaces, covariance bool) bool {
	q, ok := j.equations(p)
	j.points = len(q.rows)
	if !ok {
		return false
	}
	// columns of one length, so that the condition number speaks of the angles
	var scale [jointTerms]float64
	for a := range scale {
		scale[a] = math.Sqrt(q.left[a][a])
		if !(scale[a] > noColumn) || math.IsInf(scale[a], 0) {
			return false
		}
	}
	ata := mat.NewSymDense(jointTerms, nil)
	atb := mat.NewVecDense(jointTerms, nil)
	for a := range scale {
		for c := a; c < jointTerms; c++ {
			ata.SetSym(a, c, q.left[a][c]/scale[a]/scale[c])
		}
		atb.SetVec(a, q.right[a]/scale[a])
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
	rss, sw := 0.0, 0.0
	for i, b := range q.rows {
		d := q.ys[i]
		for a, v := range b {
			d -= v * j.coef[a]
		}
		rss += q.ws[i] * d * d
		sw += q.ws[i]
	}
	j.rms = math.Sqrt(rss / sw * float64(len(q.rows)) / max(float64(len(q.rows)-jointTerms-jointFree), 1))
	return !math.IsNaN(j.rms)
}

// tune improves frequencies and decays, first as one ring for both joints, then
// each its own where that pays.
func (j *jointFit) tune(p foldPlaces) bool {
	if !j.solve(p) {
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
			if !t.solveTerms(p, false) {
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
		if t.solve(p) && t.rms < j.rms {
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
	for k := range 4 {
		t := *j
		const step = 0.01
		if k < 2 {
			t.hz[k] *= 1 + step
		} else {
			t.alpha[k-2] *= 1 + 10*step
		}
		if !t.solve(p) {
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
	for _, d := range [...]float64{-0.4, 0, 0.4} {
		hz := (float64(at) + d) / periodS
		for _, q := range [...]float64{3.5, 8} {
			const grid = 32
			var drawn [grid][]complex128 // by onset: two joints share them
			for a := range drawn {
				drawn[a] = p.drawRing(float64(a)*m/grid, hz, math.Pi*hz/q, m, periodS)
			}
			for a := range grid {
				for b := a + grid/guessApart; b < grid && b-a <= grid-grid/guessApart; b++ {
					t := jointFit{bins: f.Bins, periodS: periodS, hz: [2]float64{hz, hz},
						alpha: [2]float64{math.Pi * hz / q, math.Pi * hz / q},
						drawn: [2][]complex128{drawn[a], drawn[b]},
						on:    [2]float64{float64(a) * m / grid, float64(b) * m / grid}, sigma: sigma / math.Sqrt(float64(p.per))}
					t.mask = max(min(guessMask/hz/periodS*m, guessMaskPart*float64(min(b-a, grid-b+a))*m/grid), m/grid)
					if t.solve(p) && (!found || t.rms < best.rms) {
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
