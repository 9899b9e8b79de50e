package capture

import (
	"math"
	"sync"
)

// Finding records smoothed by Savitzky and Golay's filter (1964): each sample is a
// polynomial's value, fitted to its neighbours. Scripts and scopes' smoothing make them.
const (
	// fitLeast to fitMost samples on either side of the middle one are the fits looked
	// for, with parabolas (as good as cubics there) and quartics.
	fitLeast, fitMost = 3, 32
	// fitNulls at least tell such a filter; one alone may be the supply's own.
	fitNulls = 2
	// fitTop is the most power that such a filter may leave in the upper quarter of the
	// spectrum, as a share of that at its low end.
	fitTop = 0.25
)

// savitzkyGolay is the fit's weight of the sample j places off the middle one of 2m+1, for
// polynomials of second and third degree, or of fourth and fifth (closed forms: Madden
// 1978, from memory; the test takes scipy's).
func savitzkyGolay(m, j int, quartic bool) float64 {
	x, k := float64(m), float64(j)
	if !quartic {
		return 3 * (3*x*x + 3*x - 1 - 5*k*k) / ((2*x + 3) * (2*x + 1) * (2*x - 1))
	}
	return 15.0 / 4 * (15*x*x*x*x + 30*x*x*x - 35*x*x - 50*x + 12 - 35*(2*x*x+2*x-3)*k*k + 63*k*k*k*k) /
		((2*x + 5) * (2*x + 3) * (2*x + 1) * (2*x - 1) * (2*x - 3))
}

// fitPlaces are the places, from 0 to half the rate, at which responses are worked out.
const fitPlaces = 1025

// fitShape is where such a filter's response, which has no phase, goes through zero, and
// where it is greatest between.
type fitShape struct {
	samples     int     // fitted
	corner      float64 // 3 dB down, as a share of the sample rate
	nulls, tops []int   // places; tops[i] lies beyond nulls[i]
	skirt       int     // the place on the main lobe's skirt as high as the first lobe
}

// fitShapes are those of all filters looked for that have enough nulls.
var fitShapes = sync.OnceValue(func() []fitShape {
	var out []fitShape
	for _, quartic := range []bool{false, true} {
		for m := fitLeast; m <= fitMost; m++ {
			if quartic && m == fitLeast {
				continue
			}
			if f := fitShapeOf(fitResponse(m, quartic)); len(f.nulls) >= fitNulls {
				f.samples = 2*m + 1
				out = append(out, f)
			}
		}
	}
	return out
})

// fitResponse is the response at fitPlaces.
func fitResponse(m int, quartic bool) []float64 {
	out := make([]float64, fitPlaces)
	h := make([]float64, m+1)
	for j := range h {
		h[j] = savitzkyGolay(m, j, quartic)
	}
	for i := range out {
		c := math.Cos(math.Pi * float64(i) / (fitPlaces - 1))
		before, now := 1.0, c // cos(jw) from the two before it
		out[i] = h[0]
		for _, w := range h[1:] {
			out[i] += 2 * w * now
			before, now = now, 2*c*now-before
		}
	}
	return out
}

func fitShapeOf(response []float64) fitShape {
	var f fitShape
	top := 0
	for i := 1; i < len(response); i++ {
		if f.corner == 0 && response[i] < math.Sqrt2/2 {
			f.corner = float64(i) / (fitPlaces - 1) / 2
		}
		if response[i-1] > 0 != (response[i] > 0) {
			if len(f.nulls) > 0 {
				f.tops = append(f.tops, top)
			}
			f.nulls, top = append(f.nulls, i), i
		}
		if math.Abs(response[i]) > math.Abs(response[top]) {
			top = i
		}
	}
	if len(f.nulls) == 0 {
		return f
	}
	f.tops = append(f.tops, top)
	for f.skirt = f.nulls[0]; f.skirt > 0 && math.Abs(response[f.skirt]) < math.Abs(response[f.tops[0]]); {
		f.skirt--
	}
	return f
}

// fitOf is over how many samples each was fitted, by the power spectrum of the record,
// and the response's corner as a share of the sample rate; 0 for none.
func fitOf(power []float64) (samples int, corner float64) {
	// Its lobes at the top are 13 dB and more under what it lets pass: most records need
	// no shapes worked out.
	if n := len(power); n < 512 || upperMedian(power[n/4*3:]) > fitTop*upperMedian(power[n/128:n/32]) {
		return 0, 0
	}
	for _, f := range fitShapes() {
		if f.in(power) {
			return f.samples, f.corner
		}
	}
	return 0, 0
}

// in reports whether the power has all the nulls of the response and, between them,
// lobes.
func (f fitShape) in(power []float64) bool {
	bins := float64(len(power)-1) / (fitPlaces - 1) // in a place
	nulls, tops, skirt := f.nulls, f.tops, f.skirt
	apart := float64(nulls[1]-nulls[0]) * bins
	if apart*meanNull < meanBins/2 {
		return false
	}
	around := func(place int, share float64) float64 {
		at := float64(place) * bins
		return upperMedian(power[max(int(at-share*apart), 0):min(int(at+share*apart)+1, len(power))])
	}
	sum := 0.0
	for i, null := range nulls {
		before := skirt
		if i > 0 {
			before = tops[i-1]
		}
		lobe := min(around(before, meanLobe), around(tops[i], meanLobe))
		if !(lobe > 0) {
			return false
		}
		left := max(around(null, meanNull)/lobe, 1e-6)
		if left > meanDepth {
			return false
		}
		sum += math.Log(left)
	}
	return sum < float64(len(nulls))*math.Log(meanDepths)
}
