package target

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// MaskAt is the mask's density at hz in V/√Hz, straight between corners in log
// frequency and log density; ok is false outside the mask.
func MaskAt(points []MaskPoint, hz float64) (vrhz float64, ok bool) {
	n := len(points)
	if n < 2 || hz < points[0].Hz*(1-rounding) || hz > points[n-1].Hz*(1+rounding) {
		return 0, false
	}
	i, _ := slices.BinarySearchFunc(points[1:], hz, func(p MaskPoint, hz float64) int { return cmp.Compare(p.Hz, hz) })
	i = min(i, n-2)
	a, b := points[i], points[i+1]
	t := math.Log(hz/a.Hz) / math.Log(b.Hz/a.Hz)
	return math.Exp(math.Log(a.VPerRtHz) + t*math.Log(b.VPerRtHz/a.VPerRtHz)), true
}

// maskBands are the third octaves (base ten, IEC 61260-1) within lowHz..highHz.
func maskBands(lowHz, highHz float64) []float64 {
	var bands []float64
	for n := int(math.Ceil(10*math.Log10(lowHz) - bandOff)); ; n++ {
		hz := math.Pow(10, float64(n)/10)
		if hz > highHz*(1+bandOff) {
			return bands
		}
		bands = append(bands, hz)
	}
}

// ungated is the density of the third octave at hz with everything in it,
// the unit's lines too: the mean power of the spectrum over the band minus the
// instrument's share of lines. lessMains takes the 2 x mains line out.
func ungated(m *analysis.Measurement, hz float64, lessMains bool) (float64, bool) {
	lo, hi := hz*math.Pow(10, -0.05), hz*math.Pow(10, 0.05)
	if !m.Calibrated || m.Span.LowHz <= 0 || m.Span.LowHz > lo*(1+spanRounding) || m.Span.HighHz < hi*(1-spanRounding) {
		return 0, false
	}
	p, ok := meanPower(m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, lo, hi)
	// A line's power lies within a few bins of the spectrum, so it may straddle
	// two bands: each takes its share of a width of 4 %.
	takeOff := func(hz, rmsV float64) {
		half := lineHalfWidth * hz
		if from, to := math.Max(lo, hz-half), math.Min(hi, hz+half); to > from {
			p = math.Max(0, p-rmsV*rmsV*(to-from)/(2*half)/(hi-lo))
		}
	}
	for _, l := range m.Lines {
		if l.Comb == spectrum.CombInstrument {
			takeOff(l.FrequencyHz, l.RMSV)
		} else if l.InstrumentRMSV > 0 {
			takeOff(l.FrequencyHz, l.InstrumentRMSV)
		}
	}
	if lessMains && m.MainsLineHz.Known && m.MainsLineRMS.Known && !wholeMains(m) {
		takeOff(m.MainsLineHz.Value, m.MainsLineRMS.Value)
	}
	return math.Sqrt(p), ok
}

// wholeMains reports whether the 2 x mains line is the instrument's and so among
// its lines.
func wholeMains(m *analysis.Measurement) bool {
	for _, l := range m.Lines {
		if l.Comb == spectrum.CombInstrument && math.Abs(l.FrequencyHz/m.MainsLineHz.Value-1) < mainsLineOff {
			return true
		}
	}
	return false
}

// meanPower is the mean of the squared density over lo..hi, by trapezoids.
func meanPower(hz, vrhz []float64, lo, hi float64) (float64, bool) {
	if len(hz) < 2 || len(hz) != len(vrhz) || hz[0] > lo*(1+curveRounding) || hz[len(hz)-1] < hi*(1-curveRounding) {
		return 0, false
	}
	at := func(x float64) float64 { return interpolate(hz, vrhz, x) }
	x0, y0, sum := lo, at(lo)*at(lo), 0.0
	step := func(x, v float64) {
		y := v * v
		sum += (x - x0) * (y + y0) / 2
		x0, y0 = x, y
	}
	first, _ := slices.BinarySearch(hz, lo)
	for i := first; i < len(hz) && hz[i] < hi; i++ {
		step(hz[i], vrhz[i])
	}
	step(hi, at(hi))
	mean := sum / (hi - lo)
	return mean, mean >= 0 && mean < mostPower
}

// interpolate is linear in x, held at the ends.
func interpolate(xs, ys []float64, x float64) float64 {
	i, _ := slices.BinarySearch(xs, x)
	switch {
	case i == 0:
		return ys[0]
	case i == len(xs):
		return ys[len(ys)-1]
	}
	t := (x - xs[i-1]) / (xs[i] - xs[i-1])
	return ys[i-1] + t*(ys[i]-ys[i-1])
}

// pickMask takes every third octave of the mask from the quietest capture that
// covers it (an instrument can only add), and gives the worst ratio.
func pickMask(u Unit, l Limit) picked {
	var p picked
	var worst float64
	var missLow, missHigh float64
	missing := 0
	for _, hz := range maskBands(l.NeedLowHz, l.NeedHighHz) {
		limit, ok := MaskAt(l.Points, hz)
		if !ok {
			continue
		}
		best, from := math.Inf(1), (*analysis.Measurement)(nil)
		for _, m := range u.Captures {
			if v, ok := ungated(m, hz, l.LessMains); ok && v < best {
				best, from = v, m
			}
		}
		if from == nil {
			if missing == 0 {
				missLow = hz
			}
			missHigh = hz
			missing++
			continue
		}
		if r := best / limit; p.from == nil || r > worst {
			worst, p.from = r, []*analysis.Measurement{from}
			p.at = fmt.Sprintf("worst at %s: %s against %s", HzText(hz), DensityText(best), DensityText(limit))
		}
	}
	switch {
	case p.from != nil && (missing == 0 || worst > 1):
		p.fig = figure.Known(worst)
		p.fig.LowerBound = missing > 0
		if p.from[0].FloorMayBeFolded() {
			p.fig.LowerBound, p.fig.UpperBound = false, true // lines are folded, too
		}
		if p.fig.LowerBound {
			p.reason = fmt.Sprintf("%s not covered", spanText(missLow, missHigh))
		}
	case p.from != nil:
		p.reason = fmt.Sprintf("no capture covers %s of the mask; the rest is inside", spanText(missLow, missHigh))
		p.from = nil
	default:
		p.reason = fmt.Sprintf("no capture covers the mask, %s; needs captures that do, a slow and a fast one", spanText(l.NeedLowHz, l.NeedHighHz))
	}
	return p
}

// DensityText writes a density with three digits and its prefix.
func DensityText(v float64) string { return capture.SI(v, "V/√Hz", 3) }

// VoltText writes volts with three digits and their prefix.
func VoltText(v float64) string { return capture.SI(v, "V", 3) }
