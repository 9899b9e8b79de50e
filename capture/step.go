package capture

import (
	"math"
	"slices"
)

// stepSamples is how many samples FindStep looks at.
const stepSamples = 1 << 16

// FindStep gives the converter's step in volts from the samples themselves:
// the spacing of the grid on which nearly all of them lie. ok is false when
// they lie on none, as after averaging, or when the grid has fewer than three
// steps; stepV means nothing then. It looks at 65536 samples in the middle of
// the record and leaves t as it is.
func (t *Trace) FindStep() (stepV float64, ok bool) {
	x := t.Volts
	if len(x) > stepSamples {
		a := (len(x) - stepSamples) / 2
		x = x[a : a+stepSamples]
	}
	y := append([]float64(nil), x...)
	Ascending(y)
	span := y[len(y)-1] - y[0]
	if span <= 0 {
		return 0, false
	}
	// Levels, as printed: differences far below the step are rounding.
	var gaps []float64
	levels := 1
	for i := 1; i < len(y); i++ {
		if d := y[i] - y[i-1]; d > span*1e-7 {
			gaps = append(gaps, d)
			levels++
		}
	}
	if levels < 3 || levels*4 > len(y) {
		return 0, false
	}
	// The step is about the common lower gap; refine it over the whole span.
	slices.Sort(gaps)
	step := gaps[len(gaps)/4]
	for range 3 {
		num, den, k, last := 0.0, 0.0, 0.0, y[0]
		for _, v := range y {
			if v != last { // equal ones lie side by side
				k, last = math.Round((v-y[0])/step), v
			}
			num += k * (v - y[0])
			den += k * k
		}
		if den == 0 {
			return 0, false
		}
		step = num / den
	}
	off, isOff, last := 0, false, y[0]
	for _, v := range y {
		if v != last {
			r := (v - y[0]) / step
			isOff, last = math.Abs(r-math.Round(r)) > 0.1, v
		}
		if isOff {
			off++
		}
	}
	return step, off*50 < len(y)
}
