package synth

import "math"

// convert applies the wrong probe factor and the converter: values land on its
// steps and stop at its ends.
func (s Supply) convert(out []float64, t *Truth) {
	k := s.ProbeFactorWrong
	if s.ADCBits <= 0 {
		for i := range out {
			out[i] *= k
		}
		return
	}
	full, offset := s.ADCFullScaleV, s.ADCOffsetV
	if full == 0 {
		full, offset = fitFullScale(out)
	}
	levels := math.Ldexp(1, s.ADCBits)
	step := full / levels
	lo, hi := -levels/2, levels/2-1
	for i, v := range out {
		code := math.RoundToEven((v - offset) / step)
		if code <= lo || code >= hi {
			code = math.Max(lo, math.Min(hi, code))
			t.Clipped++
		}
		out[i] = k * (offset + code*step)
	}
	t.ADCStepV = k * step
	t.FullScale = [2]float64{k * (offset + lo*step), k * (offset + hi*step)}
}

// fitFullScale picks the least span of 8 divisions in 1-2-5 steps that leaves
// a tenth free, its middle on a division.
func fitFullScale(v []float64) (full, offset float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	for e := -6.0; ; e++ {
		for _, m := range [3]float64{1, 2, 5} {
			div := m * math.Pow(10, e)
			offset = div * math.Round((lo+hi)/2/div)
			if math.Max(hi-offset, offset-lo) <= 3.6*div {
				return 8 * div, offset
			}
		}
	}
}
