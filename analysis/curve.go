package analysis

import (
	"math"
	"sort"
)

// spectrumCurve thins the spectrum out to log-spaced points for drawing and for
// predicting filters: the mean density of each cell.
func (j *job) spectrumCurve() {
	s := &j.m.Spectrum
	const perDecade = 240
	p := &j.plain
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
			s.VRHz = append(s.VRHz, math.Sqrt(max(power/width, 0)))
		}
		i = max(k, i+1)
	}
	if b := j.setup.Baseline; b != nil && len(b.Spectrum.FrequencyHz) > 1 {
		s.BaselineVRHz = make([]float64, len(s.FrequencyHz))
		for i, f := range s.FrequencyHz {
			s.BaselineVRHz[i] = logInterp(b.Spectrum.FrequencyHz, b.Spectrum.VRHz, f)
		}
	}
}

// logInterp reads y(x) straight in log and log; beyond the ends the end value.
func logInterp(x, y []float64, at float64) float64 {
	i := sort.SearchFloat64s(x, at)
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
