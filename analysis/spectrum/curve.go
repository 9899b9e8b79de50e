package spectrum

import (
	"math"
	"slices"
)

// Curve is one-sided density over log-spaced, rising frequency; all slices are as
// long as FrequencyHz.
type Curve struct {
	FrequencyHz      []float64 // ascending, Hz
	VPerRtHz         []float64 // lines included: a line of U V rms adds U²/cell width in power
	BaselineVPerRtHz []float64 // the instrument's own at the same frequencies, nil when none
}

// Curve thins the spectrum out to log-spaced points for drawing and for
// predicting filters: the mean density of each cell. baseline is the curve of the
// instrument's own capture, empty when there is none.
func (p *Multirate) Curve(baseline Curve) Curve {
	var s Curve
	for i := 0; i < len(p.FreqHz); {
		cell := math.Floor(math.Log10(p.FreqHz[i]) * curvePerDecade)
		var power, width, weighted float64
		k := i
		for ; k < len(p.FreqHz) && math.Floor(math.Log10(p.FreqHz[k])*curvePerDecade) == cell; k++ {
			power += p.PSD[k] * p.WidthHz[k]
			width += p.WidthHz[k]
			weighted += p.FreqHz[k] * p.WidthHz[k]
		}
		if width > 0 {
			s.FrequencyHz = append(s.FrequencyHz, weighted/width)
			s.VPerRtHz = append(s.VPerRtHz, math.Sqrt(max(power/width, 0)))
		}
		i = max(k, i+1)
	}
	if len(baseline.FrequencyHz) > 1 {
		s.BaselineVPerRtHz = make([]float64, len(s.FrequencyHz))
		for i, f := range s.FrequencyHz {
			s.BaselineVPerRtHz[i] = LogInterp(baseline.FrequencyHz, baseline.VPerRtHz, f)
		}
	}
	return s
}

// LogInterp reads y at a place of rising x, straight between the points in log and
// log; beyond the ends the end value. Where a y is not positive, the greater of the
// two counts. x and y are as long as each other and not empty.
func LogInterp(x, y []float64, at float64) float64 {
	i, _ := slices.BinarySearch(x, at)
	if i == 0 {
		return y[0]
	}
	if i == len(x) {
		return y[len(y)-1]
	}
	if y[i-1] <= 0 || y[i] <= 0 {
		return max(y[i-1], y[i])
	}
	t := math.Log(at/x[i-1]) / math.Log(x[i]/x[i-1])
	return math.Exp(math.Log(y[i-1])*(1-t) + math.Log(y[i])*t)
}
