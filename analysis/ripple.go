package analysis

import (
	"math"
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
}

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
	rmsV     float64
	rise     Figure
	fall     Figure
	stepV    Figure
	duty     Figure
	fitted   bool    // the straight-part model holds; else read from the curve itself
	binSigma float64 // standard deviation of a bin's mean
}

// piecewise is a fit of the cycle by low polynomials between breaks.
type piecewise struct {
	breaks []int // bins, ascending
	degree int
	coef   [][4]float64
	rss    float64 // weighted sum of squares
	points int
}

// modelCycle takes a folded cycle apart.
func modelCycle(f *fold, periodS float64) *cycleModel {
	m := f.bins
	c := &cycleModel{bins: m, periodS: periodS}
	filled := 0.0
	for _, n := range f.n {
		filled += n
	}
	if filled == 0 {
		c.smooth = make([]float64, m)
		return c
	}
	perBin := filled / float64(m)
	lo, hi := extremes(f.mean)
	sb := f.sigma / math.Sqrt(max(perBin, 1))
	c.binSigma = sb
	sb = max(sb, 3e-4*(hi-lo))
	if hi == lo {
		c.smooth = append([]float64(nil), f.mean...)
		return c
	}

	y := append([]float64(nil), f.mean...)
	half := max(m/24, 2)
	med := runningMedian(y, half)
	weight := make([]float64, m)
	for i := range weight {
		weight[i] = f.n[i]
		if f.n[i] > 0 {
			weight[i] = 1
		}
	}
	pw := fitPieces(med, weight, nil)
	spread := make([]float64, m)
	var edges []cycleEdge
	for round := range 4 {
		model := pw.curve(m)
		for i := range spread {
			spread[i] = math.Abs(f.mean[i] - model[i])
		}
		s := append([]float64(nil), spread...)
		sort.Float64s(s)
		scale := max(sb, 1.4826*s[m/2])
		if round == 0 {
			scale = max(scale, 1.4826*s[m/2])
		}
		edges = findEdges(f.mean, model, scale, pw.breaks)
		fitEdgeRings(edges, f.mean, model, periodS, sb)
		copy(y, f.mean)
		for i := range weight {
			weight[i] = 0
			if f.n[i] > 0 {
				weight[i] = 1
			}
		}
		for _, e := range edges {
			e.takeOut(y, weight, periodS, sb)
		}
		var hint []int
		for _, e := range edges {
			hint = append(hint, int(e.phase*float64(m))%m)
		}
		pw = fitPieces(y, weight, hint)
	}
	c.edges = edges
	c.finish(f, y, weight, pw, sb)
	return c
}

func extremes(y []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range y {
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi
}

// findEdges lists the transients that stand above the smooth ripple, the
// strongest four at most, by phase.
func findEdges(mean, model []float64, scale float64, breaks []int) []cycleEdge {
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
	hold := max(m/64, 3)
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
	type cluster struct{ a, b, peak int }
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
		list = append(list, cluster{k, k, k})
	}
	// a second edge inside a long ring: split where the amplitude jumps up again
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
	// the ring's end: where nothing stands above the noise any more
	end := len(y)
	for end > peak+12 && math.Abs(y[end-1]) < max(2.5*sb, 2e-3*p) {
		end--
	}
	end = min(len(y), end+end/8+4)
	best := ringFit{}
	bestStart := -1
	good := math.Inf(1)
	for _, share := range [...]float64{0.05, 0.08, 0.12, 0.18, 0.25, 0.35} {
		from := peak + int(share*float64(end-peak))
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
		}
		if quality < 1.3 {
			break
		}
	}
	if bestStart < 0 || good > 6 {
		return
	}
	e.ring, e.hasRng = best, true
	e.gate = bestStart + 1
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

// fitPieces finds the breaks and polynomials that describe the weighted cycle
// best: two breaks first, more only where they pay, parabolas only where they
// pay. Hints are bins where a break is likely.
func fitPieces(y, weight []float64, hints []int) piecewise {
	m := len(y)
	grid := min(m, 192)
	g := newGrid(y, weight, grid)
	best := math.Inf(1)
	var ba, bb int
	for a := range grid {
		for b := a + max(grid/24, 2); b < grid && b-a <= grid-max(grid/24, 2); b++ {
			if r := g.rss(a, b) + g.rss(b, a+grid); r < best {
				best, ba, bb = r, a, b
			}
		}
	}
	scale := float64(m) / float64(grid)
	breaks := []int{int(float64(ba) * scale), int(float64(bb) * scale)}
	// snap to a hint close by
	for i, b := range breaks {
		for _, h := range hints {
			d := (h - b + m) % m
			if d > m/2 {
				d = m - d
			}
			if d <= int(2*scale)+m/64 {
				breaks[i] = h
			}
		}
	}
	sort.Ints(breaks)
	pw := fitAt(y, weight, breaks, 1)
	pw = improve(y, weight, pw, hints)
	// a third and a fourth straight part (discontinuous conduction) where they pay
	for len(pw.breaks) < 4 {
		next := pw
		for a := range grid {
			nb := int((float64(a) + 0.5) * scale)
			ok := true
			for _, b := range pw.breaks {
				d := (nb - b + m) % m
				if d < m/24 || m-d < m/24 {
					ok = false
				}
			}
			if !ok {
				continue
			}
			bs := append(append([]int(nil), pw.breaks...), nb)
			sort.Ints(bs)
			if a%4 != 0 {
				continue
			}
			if p := fitAt(y, weight, bs, 1); p.rss < next.rss {
				next = p
			}
		}
		if len(next.breaks) == len(pw.breaks) {
			break
		}
		next = improve(y, weight, next, nil)
		quad := fitAt(y, weight, pw.breaks, 2)
		if next.rss < 0.5*pw.rss && next.rss < 0.8*quad.rss {
			pw = next
			continue
		}
		break
	}
	quad := fitAt(y, weight, pw.breaks, 2)
	quad = improve(y, weight, quad, hints)
	// a parabola costs one number a piece; it has to earn it clearly
	if quad.rss < pw.rss*(1-max(0.1, 30/float64(max(pw.points, 1)))) {
		pw = quad
	}
	return pw
}

// pieceGrid holds running sums over a coarse cycle, twice around, so that the
// misfit of a straight line over any stretch costs a few operations.
type pieceGrid struct {
	s  [][6]float64 // w, x, xx, y, xy, yy
	ss float64
}

func newGrid(y, weight []float64, grid int) *pieceGrid {
	m := len(y)
	g := &pieceGrid{s: make([][6]float64, 2*grid+1)}
	cell := make([][3]float64, grid) // w, wy, wyy
	for i, v := range y {
		k := i * grid / m
		w := weight[i]
		cell[k][0] += w
		cell[k][1] += w * v
		cell[k][2] += w * v * v
	}
	for i := range 2 * grid {
		c := cell[i%grid]
		x := float64(i)
		g.s[i+1] = [6]float64{
			g.s[i][0] + c[0], g.s[i][1] + c[0]*x, g.s[i][2] + c[0]*x*x,
			g.s[i][3] + c[1], g.s[i][4] + c[1]*x, g.s[i][5] + c[2],
		}
	}
	return g
}

// rss of the straight line through cells a to b.
func (g *pieceGrid) rss(a, b int) float64 {
	p, q := g.s[a], g.s[b]
	w := q[0] - p[0]
	if w <= 0 {
		return 0
	}
	x, xx, y, xy, yy := q[1]-p[1], q[2]-p[2], q[3]-p[3], q[4]-p[4], q[5]-p[5]
	sxx := xx - x*x/w
	sxy := xy - x*y/w
	syy := yy - y*y/w
	if sxx > 0 {
		syy -= sxy * sxy / sxx
	}
	return max(syy, 0)
}

// fitAt fits polynomials between given breaks.
func fitAt(y, weight []float64, breaks []int, degree int) piecewise {
	m := len(y)
	pw := piecewise{breaks: breaks, degree: degree, coef: make([][4]float64, len(breaks))}
	for i, b := range breaks {
		n := breaks[(i+1)%len(breaks)] - b
		if n <= 0 {
			n += m
		}
		v, w := make([]float64, n), make([]float64, n)
		sw := 0.0
		for k := range n {
			v[k], w[k] = y[(b+k)%m], weight[(b+k)%m]
			if w[k] > 0 {
				sw += w[k]
				pw.points++
			}
		}
		d := degree
		if sw < float64(n)/4 || n < 12 {
			d = min(d, 1)
		}
		coef, ms := polyFit(v, w, d)
		pw.coef[i] = coef
		pw.rss += ms * sw
	}
	return pw
}

// improve moves the breaks that no transient marks to where the fit is best.
func improve(y, weight []float64, pw piecewise, hints []int) piecewise {
	m := len(y)
	marked := func(b int) bool {
		for _, h := range hints {
			if h == b {
				return true
			}
		}
		return false
	}
	for step := max(m/128, 1); ; step /= 2 {
		for i := range pw.breaks {
			if marked(pw.breaks[i]) {
				continue
			}
			for _, d := range [...]int{-step, step} {
				for range 6 {
					bs := append([]int(nil), pw.breaks...)
					bs[i] = (bs[i] + d + m) % m
					sort.Ints(bs)
					if tooClose(bs, m) {
						break
					}
					p := fitAt(y, weight, bs, pw.degree)
					if p.rss >= pw.rss {
						break
					}
					pw = p
				}
			}
		}
		if step == 1 {
			return pw
		}
	}
}

func tooClose(breaks []int, m int) bool {
	for i, b := range breaks {
		d := (breaks[(i+1)%len(breaks)] - b + m) % m
		if d < max(m/32, 3) {
			return true
		}
	}
	return false
}

// value of piece i at u = -1..1 along it.
func (pw piecewise) value(i int, u float64) float64 {
	c := pw.coef[i]
	return c[0] + u*(c[1]+u*(c[2]+u*c[3]))
}

// curve draws the fit on m bins.
func (pw piecewise) curve(m int) []float64 {
	out := make([]float64, m)
	for i, b := range pw.breaks {
		n := pw.breaks[(i+1)%len(pw.breaks)] - b
		if n <= 0 {
			n += m
		}
		for k := range n {
			u := 0.0
			if n > 1 {
				u = float64(k)/float64(n-1)*2 - 1
			}
			out[(b+k)%m] = pw.value(i, u)
		}
	}
	return out
}

// finish reads the figures off the fit, or off the curve where the fit fails.
func (c *cycleModel) finish(f *fold, y, weight []float64, pw piecewise, sb float64) {
	m := c.bins
	curve := pw.curve(m)
	lo, hi := math.Inf(1), math.Inf(-1)
	type part struct{ first, last, span float64 }
	parts := make([]part, len(pw.breaks))
	for i, b := range pw.breaks {
		n := pw.breaks[(i+1)%len(pw.breaks)] - b
		if n <= 0 {
			n += m
		}
		parts[i] = part{pw.value(i, -1), pw.value(i, 1), float64(n) / float64(m) * c.periodS}
		lo, hi = min(lo, parts[i].first, parts[i].last), max(hi, parts[i].first, parts[i].last)
		if q := pw.coef[i][2]; q != 0 {
			if u := -pw.coef[i][1] / (2 * q); u > -1 && u < 1 {
				lo, hi = min(lo, pw.value(i, u)), max(hi, pw.value(i, u))
			}
		}
	}
	rms := math.Sqrt(pw.rss / max(float64(pw.points), 1))
	c.fitted = rms < max(1.6*c.binSigma, 0.012*(hi-lo))
	c.breaks = nil
	for _, b := range pw.breaks {
		c.breaks = append(c.breaks, float64(b)/float64(m))
	}
	if c.fitted {
		c.smooth = curve
		c.ppV = hi - lo
		// each end of a straight part fitted over n bins is known to about 2σ/√n
		n := float64(pw.points) / float64(len(pw.breaks))
		c.uPPV = math.Sqrt2 * 2 * rms * float64(pw.degree) / math.Sqrt(max(n, 1))
	} else {
		c.smooth, c.ppV, c.uPPV = smoothCurve(y, weight, c.binSigma)
	}
	mean := 0.0
	for _, v := range c.smooth {
		mean += v
	}
	mean /= float64(m)
	sq := 0.0
	for i := range c.smooth {
		c.smooth[i] -= mean
		sq += c.smooth[i] * c.smooth[i]
	}
	c.rmsV = math.Sqrt(sq / float64(m))
	if c.fitted && len(parts) == 2 {
		up := 0
		if parts[1].last-parts[1].first > parts[0].last-parts[0].first {
			up = 1
		}
		r, d := parts[up], parts[1-up]
		if r.last > r.first && d.last < d.first {
			c.rise = Known((r.last - r.first) / r.span)
			c.fall = Known((d.last - d.first) / d.span)
			// the step: half of what jumps up at the start of the rise and down at its end
			step := ((r.first - d.last) + (r.last - d.first)) / 2
			c.stepV = Known(max(step, 0))
			c.duty = Known(r.span / c.periodS)
			for i := range c.edges {
				e := &c.edges[i]
				b := float64(pw.breaks[up]) / float64(m)
				e.rising = math.Abs(math.Remainder(e.phase-b, 1)) < math.Abs(math.Remainder(e.phase-float64(pw.breaks[1-up])/float64(m), 1))
			}
		}
	}
}

// smoothCurve bridges the places of weight 0, smooths by a parabola sliding
// over a width that the noise asks for, and reads peak-to-peak with the part
// that the left-over noise adds taken off.
func smoothCurve(y, weight []float64, sigma float64) (smooth []float64, pp, u float64) {
	m := len(y)
	lo, hi := extremes(y)
	half := 1
	for half < m/48 && sigma/math.Sqrt(float64(2*half+1)) > 0.003*(hi-lo) {
		half++
	}
	smooth = make([]float64, m)
	for i := range smooth {
		var s0, s2, s4, t0, t2, s1, s3, t1 float64
		for h := half; ; h *= 2 {
			s0, s1, s2, s3, s4, t0, t1, t2 = 0, 0, 0, 0, 0, 0, 0, 0
			for k := -h; k <= h; k++ {
				j := (i + k + m) % m
				w := weight[j]
				x := float64(k)
				s0 += w
				s1 += w * x
				s2 += w * x * x
				s3 += w * x * x * x
				s4 += w * x * x * x * x
				t0 += w * y[j]
				t1 += w * x * y[j]
				t2 += w * x * x * y[j]
			}
			if s0 >= float64(half) || h > m/4 {
				break
			}
		}
		_ = s3
		switch {
		case s0 == 0:
			smooth[i] = 0
		case math.Abs(s1) < 1e-9*s2 && s0*s4-s2*s2 > 1e-9*s0*s4:
			smooth[i] = (s4*t0 - s2*t2) / (s0*s4 - s2*s2)
		case s0*s2-s1*s1 > 1e-9*s0*s2:
			smooth[i] = (s2*t0 - s1*t1) / (s0*s2 - s1*s1)
		default:
			smooth[i] = t0 / s0
		}
	}
	lo, hi = extremes(smooth)
	left := sigma * math.Sqrt(2.25/float64(2*half+1))
	// two extremes, each the greatest of a handful of independent values
	pp = max(hi-lo-2*0.8*left, 0)
	return smooth, pp, 1.5 * left
}
