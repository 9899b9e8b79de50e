package spectrum

import (
	"math"
	"sync"
)

// Interpolator reads a band-limited curve between its samples with a
// Kaiser-windowed sinc.
type Interpolator struct {
	taps [interpPhases][2 * interpHalf]float64
}

const (
	interpHalf   = 12 // samples used on either side
	interpPhases = 16 // curve points per sample
)

// InterpolatorReach is how many samples on either side of one Peak reads at most.
const InterpolatorReach = interpHalf + 1

// NewInterpolator gives the interpolator, the same one for any number of records and
// goroutines.
func NewInterpolator() *Interpolator { return interpolator() }

// interpolator works it out once: 384 Bessel functions and sines, of a record of a hundred
// samples a twentieth of the time.
var interpolator = sync.OnceValue(func() *Interpolator {
	ip := new(Interpolator)
	const beta = 7.0
	for p := range interpPhases {
		frac := float64(p) / interpPhases
		sum := 0.0
		for k := range 2 * interpHalf {
			t := float64(k-interpHalf+1) - frac
			s := 1.0
			if t != 0 {
				s = math.Sin(math.Pi*t) / (math.Pi * t)
			}
			r := t / interpHalf
			w := 0.0
			if r > -1 && r < 1 {
				w = besselI0(beta*math.Sqrt(1-r*r)) / besselI0(beta)
			}
			ip.taps[p][k] = s * w
			sum += s * w
		}
		for k := range ip.taps[p] {
			ip.taps[p][k] /= sum
		}
	}
	return ip
})

// Peak is the greatest value of sign*curve within one sample of y[i] and its
// place in samples.
func (ip *Interpolator) Peak(y []float64, i int, sign float64) (v, at float64) {
	var before, after [interpPhases]float64
	if i > 0 {
		before = ip.between(y, i-1)
	}
	if i+1 < len(y) {
		after = ip.between(y, i)
	}
	v, at = sign*y[i], float64(i)
	for p := 1; p < interpPhases; p++ {
		if i > 0 {
			if u := sign * before[p]; u > v {
				v, at = u, float64(i-1)+float64(p)/interpPhases
			}
		}
		if i+1 < len(y) {
			if u := sign * after[p]; u > v {
				v, at = u, float64(i)+float64(p)/interpPhases
			}
		}
	}
	return sign * v, at
}

// between is the curve p/16 of a sample after y[i] for all p over 0, in y's unit, several
// at a time: no sum need wait for another. Beyond the ends the end value is repeated.
func (ip *Interpolator) between(y []float64, i int) (out [interpPhases]float64) {
	lo := i - interpHalf + 1
	var near [2 * interpHalf]float64
	if lo >= 0 && lo+len(near) <= len(y) {
		copy(near[:], y[lo:])
	} else {
		for k := range near {
			near[k] = y[min(max(lo+k, 0), len(y)-1)]
		}
	}
	for p := 1; p+5 <= interpPhases; p += 5 {
		var a, b, c, d, e float64
		t, u, w, x, z := &ip.taps[p], &ip.taps[p+1], &ip.taps[p+2], &ip.taps[p+3], &ip.taps[p+4]
		for k, v := range near {
			a += t[k] * v
			b += u[k] * v
			c += w[k] * v
			d += x[k] * v
			e += z[k] * v
		}
		out[p], out[p+1], out[p+2], out[p+3], out[p+4] = a, b, c, d, e
	}
	return out
}

// besselI0 is the modified Bessel function of the first kind and order zero, by
// its power series.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= (x / 2 / k) * (x / 2 / k)
		sum += term
	}
	return sum
}
