package synth

import "math"

// transient is one edge's waveform through the instrument's low-pass on a
// dense even grid, scaled so that ahead of the low-pass its peak is +1.
type transient struct {
	stepS float64
	v     []float64
	cum   []float64 // running integral, volt seconds per volt of peak
	cum2  []float64 // running integral of cum
	peak  float64   // greatest magnitude, signed
	peakS float64   // when
}

const gridPerFeature = 64 // grid points in the pulse duration and in a ring period

// newTransient makes the shape: a raised-cosine pulse whose duration at 50 % is
// widthS, and a damped sine exp(-pi*f*t/Q)*sin(2*pi*f*t) that starts with it.
// After 2*widthS only the ring is left.
func newTransient(widthS, ringHz, ringQ, ringShare, tauS float64) transient {
	step := widthS / gridPerFeature
	length := 2 * widthS
	decay := 0.0
	if ringHz > 0 {
		step = math.Min(step, 1/(gridPerFeature*ringHz))
		decay = math.Pi * ringHz / ringQ
		length = math.Max(length, 11/decay)
	}
	length += 10 * tauS
	n := int(length/step) + 2
	x := make([]float64, n)
	var peak float64
	for i := range x {
		t := float64(i) * step
		if t < 2*widthS {
			p := math.Sin(math.Pi * t / (2 * widthS))
			x[i] = p * p
		}
		if ringHz > 0 {
			x[i] += ringShare * math.Exp(-decay*t) * math.Sin(2*math.Pi*ringHz*t)
		}
		if math.Abs(x[i]) > math.Abs(peak) {
			peak = x[i]
		}
	}
	tr := transient{stepS: step, v: x, cum: make([]float64, n), cum2: make([]float64, n)}
	for i := range x {
		x[i] /= peak
	}
	tr.lowPass(tauS)
	for i, v := range x {
		if math.Abs(v) > math.Abs(tr.peak) {
			tr.peak, tr.peakS = v, float64(i)*step
		}
		if i > 0 {
			tr.cum[i] = tr.cum[i-1] + (v+x[i-1])/2*step
			tr.cum2[i] = tr.cum2[i-1] + (tr.cum[i]+tr.cum[i-1])/2*step
		}
	}
	return tr
}

// lowPass runs the one-pole over the grid, exact for straight lines between
// grid points.
func (tr *transient) lowPass(tauS float64) {
	if tauS == 0 {
		return
	}
	e := math.Exp(-tr.stepS / tauS)
	y, prev := 0.0, 0.0
	for i, x := range tr.v {
		q := (x - prev) / tr.stepS
		if i == 0 {
			q = 0
		}
		y = x - q*tauS + (y-prev+q*tauS)*e
		prev = x
		tr.v[i] = y
	}
}

// at is the transient dt seconds after its start, by cubic interpolation.
func (tr *transient) at(dt float64) float64 {
	x := dt / tr.stepS
	i := int(x)
	if dt < 0 || i+2 >= len(tr.v) {
		return 0
	}
	f := x - float64(i)
	p0 := 0.0
	if i > 0 {
		p0 = tr.v[i-1]
	}
	p1, p2, p3 := tr.v[i], tr.v[i+1], tr.v[i+2]
	return p1 + 0.5*f*(p2-p0+f*(2*p0-5*p1+4*p2-p3+f*(3*(p1-p2)+p3-p0)))
}

// area is the whole transient's, in volt seconds per volt of peak.
func (tr *transient) area() float64 { return tr.cum[len(tr.cum)-1] }

// integral2 is the running integral of the running integral at dt.
func (tr *transient) integral2(dt float64) float64 {
	if dt <= 0 {
		return 0
	}
	x := dt / tr.stepS
	i := int(x)
	if last := len(tr.cum) - 1; i >= last {
		return tr.cum2[last] + tr.area()*(dt-float64(last)*tr.stepS)
	}
	f := (x - float64(i)) * tr.stepS
	return tr.cum2[i] + f*(tr.cum[i]+0.5*f*tr.v[i])
}

func (tr *transient) lengthS() float64 { return float64(len(tr.v)) * tr.stepS }

// durationS is the pulse duration at half the peak, about the peak.
func (tr *transient) durationS() float64 {
	half := tr.peak / 2
	at := int(tr.peakS/tr.stepS + 0.5)
	cross := func(dir int) float64 {
		for i := at; i > 0 && i < len(tr.v)-1; i += dir {
			a, b := tr.v[i], tr.v[i+dir]
			if (b-half)*tr.peak < 0 {
				return float64(i) + float64(dir)*(a-half)/(a-b)
			}
		}
		return float64(at)
	}
	return (cross(1) - cross(-1)) * tr.stepS
}

// addTo adds a transient of peak volts that starts at startS, sampled.
func (tr *transient) addTo(out []float64, rateHz, startS, volts float64) {
	i := max(0, int(math.Ceil(startS*rateHz)))
	for ; i < len(out); i++ {
		dt := float64(i)/rateHz - startS
		if dt > tr.lengthS() {
			break
		}
		out[i] += volts * tr.at(dt)
	}
}

// addAveragedTo adds its mean over the sampling intervals on both sides of each
// instant, weighted by a triangle; the record starts at recordS. The triangle's
// response falls off as sinc squared, so that little of a short transient is
// left to alias.
func (tr *transient) addAveragedTo(out []float64, rateHz, recordS, startS, volts float64) {
	start := startS - recordS
	i := max(0, int(start*rateHz)-1)
	at := func(i int) float64 { return tr.integral2(float64(i)/rateHz - start) }
	a, b := at(i-1), at(i)
	for ; i < len(out); i++ {
		if float64(i-1)/rateHz-start > tr.lengthS() {
			break
		}
		c := at(i + 1)
		out[i] += volts * (a - 2*b + c) * rateHz * rateHz
		a, b = b, c
	}
}
