package spike

import (
	"math"
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/capture"
)

// localLevels is the slow part of a record in which no cycle was found: medians
// over stretches of levelS, joined by straight lines. It follows an unknown ripple,
// which is slower, and passes over pulses and the swings of a ring.
func localLevels(volts []float64, rateHz float64) cycle.SlowPart {
	length := max(min(int(levelS*rateHz), (len(volts)+leastStretches-1)/leastStretches), leastInLevel)
	var s cycle.SlowPart
	buf := make([]float64, 0, length)
	for a := 0; a < len(volts); a += length {
		b := min(a+length, len(volts))
		buf = append(buf[:0], volts[a:b]...)
		s.At = append(s.At, float64(a+b-1)/2)
		s.V = append(s.V, capture.Median(buf))
	}
	return s
}

// cornerV is how far straight lines between medians may pass by the corners of the
// ripple that they follow, V: a quarter of the greatest change of slope.
func cornerV(s cycle.SlowPart) float64 {
	if n := len(s.V); n < leastCorners && n > 1 {
		// too few of them to show a corner: it may be all that they differ by
		lo, hi := cycle.Extremes(s.V)
		return (hi - lo) / 2
	}
	most := 0.0
	for i := 1; i+2 < len(s.V); i++ { // the last stretch may be short
		most = max(most, math.Abs(s.V[i-1]-2*s.V[i]+s.V[i+1])/4)
	}
	return most
}

// heldBack is how far the smooth cycle swings about its own running median, V. A
// ripple of ramps, arcs and steps stays on it; a pulse or a ring that the cycle's
// model took for ripple does not. What a corner of the ripple stands off by, at most
// half a stretch of its slope, is taken off; swingV has it. Both are 0 without a model.
func heldBack(c *cycle.Model) (heldV, swingV float64) {
	if c == nil || len(c.Smooth) == 0 {
		return 0, 0
	}
	m := len(c.Smooth)
	half := int(levelS / 2 / c.PeriodS * float64(m))
	half = min(half, m/heldShare)
	if half < 2 {
		return 0, 0
	}
	window := make([]float64, 0, 2*half+1)
	for k := -half; k <= half; k++ {
		window = append(window, c.Smooth[(k+m)%m])
	}
	slices.Sort(window)
	most := 0.0
	level := make([]float64, m)
	for i := range m {
		level[i] = window[half]
		most = max(most, math.Abs(c.Smooth[i]-window[half]))
		at, _ := slices.BinarySearch(window, c.Smooth[(i-half+m)%m])
		window = slices.Delete(window, at, at+1)
		v := c.Smooth[(i+half+1)%m]
		at, _ = slices.BinarySearch(window, v)
		window = slices.Insert(window, at, v)
	}
	slopes := window[:0]
	for i := range m {
		slopes = append(slopes, math.Abs(level[(i+half)%m]-level[i]))
	}
	slices.Sort(slopes)
	return max(most-capture.Quantile(slopes, steepSlope), 0), most
}
