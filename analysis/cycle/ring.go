package cycle

import (
	"math"
	"math/cmplx"

	"stillglow/analysis/spectrum"
)

// Ring is a damped sinusoid c·e^(-αt)·cos + s·e^(-αt)·sin over a gentle
// parabola, fitted by least squares.
type Ring struct {
	Hz    float64 // damped frequency
	alpha float64 // 1/s
	c, s  float64 // volts at t = 0
	rms   float64 // of the residue, V
	uHz   float64 // standard deviations by the curvature of the fit
	uQ    float64
}

// Q is the quality factor from the logarithmic decrement δ = α/f:
// ζ = δ/√(4π²+δ²), Q = 1/(2ζ) (check: δ 0.314553 is Q 10).
func (r Ring) Q() float64 {
	if r.alpha <= 0 || r.Hz <= 0 {
		return 0
	}
	d := r.alpha / r.Hz
	return math.Sqrt(4*math.Pi*math.Pi+d*d) / (2 * d)
}

// amplitude is the ring's envelope t seconds after its origin.
func (r Ring) amplitude(t float64) float64 {
	return math.Hypot(r.c, r.s) * math.Exp(-r.alpha*t)
}

// at is the ring alone.
func (r Ring) at(t float64) float64 {
	sin, cos := math.Sincos(2 * math.Pi * r.Hz * t)
	return math.Exp(-r.alpha*t) * (r.c*cos + r.s*sin)
}

// ringSteps are a ring's values at even steps, one after another: the real parts of
// powers of a complex number, in place of a sine and an exponential each.
type ringSteps struct{ now, step complex128 }

// steps starts at t seconds.
func (r Ring) steps(t, stepS float64) ringSteps {
	rate := complex(-r.alpha, 2*math.Pi*r.Hz)
	return ringSteps{complex(r.c, -r.s) * cmplx.Exp(rate*complex(t, 0)), ringStep(r.Hz, r.alpha, stepS)}
}

// tails are the ring's values and those of its next wraps after one another, whole
// cycles later, added up.
func (r Ring) tails(t, stepS, periodS float64, wraps int) ringSteps {
	cycle := ringStep(r.Hz, r.alpha, periodS)
	s := r.steps(t, stepS)
	sum, one := s.now, s.now
	for range wraps {
		one *= cycle
		sum += one
	}
	return ringSteps{sum, s.step}
}

// next is the value at this step.
func (s *ringSteps) next() float64 {
	v := real(s.now)
	s.now *= s.step
	return v
}

// fitRing fits a ring to evenly spaced values y, stepS apart, the first at t0
// seconds. ok is false where no oscillation of at least ringPeriods periods
// that dies down by e within them fits.
func fitRing(y []float64, t0, stepS float64, work *ringWork) (r Ring, ok bool) {
	n := len(y)
	if n < ringPoints {
		return r, false
	}
	// first guess: the strongest place of the spectrum, parabola taken off
	coef, _ := polyFit(y, nil, 2)
	size := 64
	for size < 4*n {
		size *= 2
	}
	x, fft := work.padded(size)
	for i, v := range y {
		u := float64(i)/float64(n-1)*2 - 1
		x[i] = v - coef[0] - coef[1]*u - coef[2]*u*u
	}
	spec := work.spec[:size/2+1]
	fft.Coefficients(spec, x)
	best, at := 0.0, 0
	for k := size / n; k < size/2; k++ { // at least one period in the window
		if p := real(spec[k])*real(spec[k]) + imag(spec[k])*imag(spec[k]); p > best {
			best, at = p, k
		}
	}
	if at == 0 {
		return r, false
	}
	hz := float64(at) / float64(size) / stepS
	found := false
	for _, q := range [...]float64{8, 25, 3} { // the third is for where the first two part
		f, good := refineRing(y, t0, stepS, hz, math.Pi*hz/q)
		if !good {
			continue
		}
		meet := found && math.Abs(f.Hz/r.Hz-1) < startsMeet && math.Abs(f.rms/r.rms-1) < startsMeet
		if !found || f.rms < r.rms {
			r, found = f, true
		}
		if meet {
			break
		}
	}
	if !found || r.Hz*float64(n)*stepS < ringPeriods || r.alpha*float64(n)*stepS < ringDecays {
		return r, false
	}
	return r, true
}

// ringWork is work space of the fits to one cycle's rings.
type ringWork struct {
	x    []float64
	spec []complex128
	fft  map[int]*spectrum.Transform // by length
}

// padded are so many zeros and their transform.
func (w *ringWork) padded(size int) ([]float64, *spectrum.Transform) {
	if size > len(w.x) {
		w.x, w.spec = make([]float64, size), make([]complex128, size/2+1)
	}
	if w.fft[size] == nil {
		if w.fft == nil {
			w.fft = map[int]*spectrum.Transform{}
		}
		w.fft[size] = spectrum.NewTransform(size)
	}
	clear(w.x[:size])
	return w.x[:size], w.fft[size]
}

// ringData are evenly spaced values with the part of their normal equations that
// no ring changes.
type ringData struct {
	y      []float64
	u      []float64 // -1 to 1 over the window
	stepS  float64
	fixed  system5
	right  [5]float64
	square float64 // of y
}

func newRingData(y []float64, stepS float64) *ringData {
	n := len(y)
	d := &ringData{y: y, u: make([]float64, n), stepS: stepS}
	for i, v := range y {
		u := float64(i)/float64(n-1)*2 - 1
		d.u[i] = u
		b := [3]float64{1, u, u * u}
		for j := range b {
			for k := range b {
				d.fixed[j][k] += b[j] * b[k]
			}
			d.right[j] += b[j] * v
		}
		d.square += v * v
	}
	return d
}

// linear solves for the parabola and the ring's cosine and sine at a frequency
// and a decay, and gives the square of what they leave and the equations.
func (d *ringData) linear(hz, alpha float64) (x [5]float64, rss float64, f factored5, ok bool) {
	a, right := d.fixed, d.right
	step, turn := ringStep(hz, alpha, d.stepS), complex(1, 0)
	// single numbers, which stay in registers as an array's would not
	var cc, cs, ss float64
	var c0, c1, c2, s0, s1, s2 float64 // against 1, u, u²
	var cv, sv float64
	us := d.u[:len(d.y)]
	for i, v := range d.y {
		re, im, u := real(turn), imag(turn), us[i]
		cu, su := re*u, im*u
		c0 += re
		c1 += cu
		c2 += cu * u
		s0 += im
		s1 += su
		s2 += su * u
		cc += re * re
		cs += re * im
		ss += im * im
		cv += re * v
		sv += im * v
		turn *= step
	}
	for k, c := range [...]float64{c0, c1, c2} {
		a[k][3], a[3][k] = c, c
	}
	for k, s := range [...]float64{s0, s1, s2} {
		a[k][4], a[4][k] = s, s
	}
	a[3][3], a[3][4], a[4][3], a[4][4] = cc, cs, cs, ss
	right[3], right[4] = cv, sv
	if f, ok = a.factor(); !ok {
		return x, 0, f, false
	}
	if x, ok = f.solve(right); !ok {
		return x, 0, f, false
	}
	// the residue's square from the sums, unless it drowns in their rounding
	rss = d.square
	for j := range x {
		rss -= 2 * x[j] * right[j]
		for k := range x {
			rss += x[j] * a[j][k] * x[k]
		}
	}
	if rss > squareRounds*d.square {
		return x, rss, f, true
	}
	rss, turn = 0, 1
	for i, v := range d.y {
		u := d.u[i]
		e := v - x[0] - x[1]*u - x[2]*u*u - x[3]*real(turn) - x[4]*imag(turn)
		rss += e * e
		turn *= step
	}
	return x, rss, f, true
}

// ringSlopes are Gauss's and Newton's normal equations for ln f and ln α with the
// linear part kept, and the slopes' products with its five terms.
type ringSlopes struct {
	jj [2][2]float64
	jr [2]float64
	by [2][5]float64
}

// slopes takes them where the linear part is c.
func (d *ringData) slopes(hz, alpha float64, c [5]float64) ringSlopes {
	step, turn := ringStep(hz, alpha, d.stepS), complex(1, 0)
	var ff, fa, aa, fr, ar float64
	var f0, f1, f2, f3, f4, a0, a1, a2, a3, a4 float64
	us := d.u[:len(d.y)]
	c0, c1, c2, c3, c4 := c[0], c[1], c[2], c[3], c[4]
	turnHz := 2 * math.Pi * hz
	for i, v := range d.y {
		t := float64(i) * d.stepS
		u, re, im := us[i], real(turn), imag(turn)
		turn *= step
		ring := c3*re + c4*im
		quad := c4*re - c3*im
		e := v - c0 - c1*u - c2*u*u - ring
		f, a := t*quad*turnHz, -t*ring*alpha
		ff += f * f
		fa += f * a
		aa += a * a
		fr += f * e
		ar += a * e
		fu, au := f*u, a*u
		f0 += f
		f1 += fu
		f2 += fu * u
		f3 += f * re
		f4 += f * im
		a0 += a
		a1 += au
		a2 += au * u
		a3 += a * re
		a4 += a * im
	}
	return ringSlopes{[2][2]float64{{ff, fa}, {fa, aa}}, [2]float64{fr, ar}, [2][5]float64{{f0, f1, f2, f3, f4}, {a0, a1, a2, a3, a4}}}
}

// free are the equations with the linear part free to follow, whose own are a: what
// it takes of the slopes is taken off (Kaufman 1975). With it kept, the fit would
// close in on the minimum by half a step at a time. Where nothing is left, or it is
// no minimum, it is kept.
func (s ringSlopes) free(a *factored5) [2][2]float64 {
	var out [2][2]float64
	for p := range 2 {
		x, ok := a.solve(s.by[p])
		if !ok {
			return s.jj
		}
		for q := range 2 {
			out[p][q] = s.jj[p][q]
			for k := range 5 {
				out[p][q] -= x[k] * s.by[q][k]
			}
		}
	}
	out[0][1] = (out[0][1] + out[1][0]) / 2
	out[1][0] = out[0][1]
	if det := out[0][0]*out[1][1] - out[0][1]*out[0][1]; !(out[0][0] > 0) || !(out[1][1] > 0) || !(det > freeLeast*out[0][0]*out[1][1]) {
		return s.jj
	}
	return out
}

// refineRing is Levenberg's and Marquardt's method from a first guess, the linear
// part solved anew at every step and free to follow (variable projection).
func refineRing(y []float64, t0, stepS, hz, alpha float64) (Ring, bool) {
	d := newRingData(y, stepS)
	c, rss, terms, ok := d.linear(hz, alpha)
	if !ok {
		return Ring{}, false
	}
	lambda := 1e-2
	var curve [2][2]float64
	for range 30 {
		s := d.slopes(hz, alpha, c)
		jj, jr := s.free(&terms), s.jr
		curve = s.jj
		done := true
		for range 8 {
			a, b, e := jj[0][0]*(1+lambda), jj[0][1], jj[1][1]*(1+lambda)
			det := a*e - b*b
			if det <= 0 {
				return Ring{}, false
			}
			df, da := (jr[0]*e-jr[1]*b)/det, (a*jr[1]-b*jr[0])/det
			df, da = min(max(df, -ringMoves), ringMoves), min(max(da, -decayMoves), decayMoves)
			h2, a2 := hz*math.Exp(df), alpha*math.Exp(da)
			c2, rss2, terms2, ok := d.linear(h2, a2)
			if ok && rss2 < rss {
				done = rss-rss2 < ringSettled*rss
				hz, alpha, c, rss, terms = h2, a2, c2, rss2, terms2
				lambda = max(lambda/5, ringDamping)
				break
			}
			lambda *= 4
		}
		if done || alpha*float64(len(y))*stepS < ringDecays/ringEndless {
			break // settled, or on its way to a ring without end, which is none
		}
	}
	return ringOf(hz, alpha, c, curve, rss, len(y), t0)
}

// ringOf makes a ring of a fit over n values, with its deviations by the curvature
// there: its origin is moved from the window's start at t0 to t = 0.
func ringOf(hz, alpha float64, c [5]float64, curve [2][2]float64, rss float64, n int, t0 float64) (Ring, bool) {
	const fitted = 7 // numbers
	s2 := rss / max(float64(n-fitted), 1)
	r := Ring{Hz: hz, alpha: alpha, rms: math.Sqrt(rss / float64(n))}
	if det := curve[0][0]*curve[1][1] - curve[0][1]*curve[0][1]; det > 0 {
		r.uHz = hz * math.Sqrt(s2*curve[1][1]/det)
		r.uQ = r.Q() * math.Sqrt(s2*curve[0][0]/det)
	}
	g := math.Exp(alpha * t0)
	sin, cos := math.Sincos(-2 * math.Pi * hz * t0)
	// c·cos(ω(t-t0)) + s·sin(ω(t-t0)), both times e^(-α(t-t0))
	r.c = g * (c[3]*cos + c[4]*sin)
	r.s = g * (-c[3]*sin + c[4]*cos)
	if math.IsNaN(r.c) || math.IsInf(r.c, 0) || math.IsNaN(r.s) || math.IsInf(r.s, 0) {
		return Ring{}, false
	}
	return r, true
}

// ringStep is the factor by which e^(-αt)·(cos ωt + i·sin ωt) goes on in one
// step. Its powers replace a sine and an exponential a sample: after 10,000 of
// them they are off by about 1e-12.
func ringStep(hz, alpha, stepS float64) complex128 {
	return cmplx.Rect(math.Exp(-alpha*stepS), 2*math.Pi*hz*stepS)
}

// system5 are the coefficients of five linear equations.
type system5 [5][5]float64

// factored5 are five linear equations after elimination with pivoting, ready for any
// right side.
type factored5 struct {
	a   system5 // the triangle, and under it what was taken of each row above
	row [5]int  // that came to each place
}

// factor eliminates; ok is false where the equations depend on each other.
func (a system5) factor() (f factored5, ok bool) {
	f = factored5{a: a, row: [5]int{0, 1, 2, 3, 4}}
	for i := range 5 {
		p := i
		for j := i + 1; j < 5; j++ {
			if math.Abs(f.a[j][i]) > math.Abs(f.a[p][i]) {
				p = j
			}
		}
		if math.Abs(f.a[p][i]) < tiny {
			return f, false
		}
		if p != i {
			f.a[i], f.a[p] = f.a[p], f.a[i]
			f.row[i], f.row[p] = f.row[p], f.row[i]
		}
		above := &f.a[i]
		for j := i + 1; j < 5; j++ {
			row := &f.a[j]
			times := row[i] / above[i]
			row[i] = times
			for k := i + 1; k < 5; k++ {
				row[k] -= times * above[k]
			}
		}
	}
	return f, true
}

// solve gives the unknowns for a right side; ok is false where they are no numbers.
func (f *factored5) solve(right [5]float64) (x [5]float64, ok bool) {
	for i := range 5 {
		s := right[f.row[i]]
		for k := range i {
			s -= f.a[i][k] * x[k]
		}
		x[i] = s
	}
	for i := 4; i >= 0; i-- {
		s := x[i]
		for k := i + 1; k < 5; k++ {
			s -= f.a[i][k] * x[k]
		}
		x[i] = s / f.a[i][i]
		if math.IsNaN(x[i]) || math.IsInf(x[i], 0) {
			return x, false
		}
	}
	return x, true
}

// solve5 solves five linear equations.
func solve5(a system5, right [5]float64) (x [5]float64, ok bool) {
	f, ok := a.factor()
	if !ok {
		return x, false
	}
	return f.solve(right)
}

// polyFit fits a polynomial of degree up to 3 over u = -1..1 spread evenly over
// y, with weights w (nil: all one), and gives the weighted mean square of the
// residue. Fewer points than needed lower the degree.
func polyFit(y, w []float64, degree int) (coef [4]float64, meanSquare float64) {
	n := len(y)
	points := 0
	for i := range y {
		if w == nil || w[i] > 0 {
			points++
		}
	}
	degree = min(degree, points-1)
	if degree < 0 {
		return coef, 0
	}
	at := func(i int) float64 {
		if n == 1 {
			return 0
		}
		return float64(i)/float64(n-1)*2 - 1
	}
	for ; degree >= 0; degree-- {
		var a system5
		var right [5]float64
		for i, v := range y {
			wi := 1.0
			if w != nil {
				wi = w[i]
			}
			if wi == 0 {
				continue
			}
			u := at(i)
			var b [4]float64
			b[0] = 1
			for k := 1; k <= degree; k++ {
				b[k] = b[k-1] * u
			}
			for j := 0; j <= degree; j++ {
				for k := 0; k <= degree; k++ {
					a[j][k] += wi * b[j] * b[k]
				}
				right[j] += wi * b[j] * v
			}
		}
		for j := degree + 1; j < len(a); j++ {
			a[j][j] = 1
		}
		x, ok := solve5(a, right)
		if !ok {
			continue
		}
		copy(coef[:], x[:4])
		break
	}
	sum, sw := 0.0, 0.0
	for i, v := range y {
		wi := 1.0
		if w != nil {
			wi = w[i]
		}
		u := at(i)
		d := v - coef[0] - u*(coef[1]+u*(coef[2]+u*coef[3]))
		sum += wi * d * d
		sw += wi
	}
	return coef, sum / max(sw, tiny)
}
