package spectrum

import (
	"math"
	"slices"
)

// Spectrum is one-sided amplitude density over log-spaced frequency.
type Curve struct {
	FrequencyHz      []float64
	VPerRtHz         []float64 // V/sqrt(Hz), lines included
	BaselineVPerRtHz []float64 // same grid, nil when none
}

// curve thins the spectrum out to log-spaced points for drawing and for
// predicting filters: the mean density of each cell. baseline is the curve of the
// instrument's own capture, empty when there is none.
func (p *Multirate) Curve(baseline Curve) Curve {
	var s Curve
	const perDecade = 240
	for i := 0; i < len(p.FreqHz); {
		cell := math.Floor(math.Log10(p.FreqHz[i]) * perDecade)
		var power, width, weighted float64
		k := i
		for ; k < len(p.FreqHz) && math.Floor(math.Log10(p.FreqHz[k])*perDecade) == cell; k++ {
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

// LogInterp reads y(x) straight in log and log; beyond the ends the end value.
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
