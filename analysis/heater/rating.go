package heater

import "math"

// wattages are the ratings resistors are sold in, W.
var wattages = []float64{0.25, 0.5, 1, 2, 3, 5, 7, 10, 15, 25, 50, 100}

// buyWatts gives the smallest rating on sale of at least factor times w, or 0
// when none is large enough.
func buyWatts(w, factor float64) float64 {
	for _, r := range wattages {
		if r >= w*factor*(1-rounding) {
			return r
		}
	}
	return 0
}

// ratedAtC is the air that a power resistor's rating holds in, and hottestC the surface
// at which nothing is left of it: a wirewound's, full at 25 °C and derated in a straight
// line to 275 °C (MIL-R-39009's scope, from a public copy).
const (
	ratedAtC = 25.0
	hottestC = 275.0
)

// derated is the share of its rating that a resistor carries in air of so many °C.
func derated(ambientC float64) float64 {
	return math.Min(1, (hottestC-ambientC)/(hottestC-ratedAtC))
}

// faultWatts gives the rating that stands w for good in air of so many °C, 0 where none
// of a sensible size does.
func faultWatts(w, ambientC float64) float64 {
	if r := buyWatts(w/derated(ambientC), 1); r <= largestFaultW {
		return r
	}
	return 0
}

// fullLoadRiseK is how far a resistor's surface stands above the air around it
// at its full rating: 200 K, a wirewound in free air, from memory (150 to 300 °C
// is usual). The rise is taken as proportional to the dissipation.
const fullLoadRiseK = 200

// touchC is where a surface is called hot to the touch: about 60 °C for a
// short touch of bare metal, from memory.
const touchC = 60

// surface estimates a resistor's surface temperature in °C.
func surface(w, rating, ambient float64) float64 {
	if rating <= 0 {
		return 0
	}
	return ambient + fullLoadRiseK*w/rating
}
