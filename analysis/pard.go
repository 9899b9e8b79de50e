package analysis

import "math"

// pard splits the varying part into periodic and random, both rms; squared they
// add up to ACRMSV squared. The random part is the noise between and under the
// lines, integrated over the span; what is left is periodic: ripple, spikes,
// mains.
func (j *job) pard() {
	m := j.m
	whole := j.basic.rms * j.basic.rms
	if len(j.plain.FreqHz) == 0 {
		miss := NotMeasured("the record is too short to tell periodic from random; a longer one is needed")
		m.PeriodicRMSV, m.RandomRMSV = miss, miss
		return
	}
	random := min(j.randomPower(), whole)
	m.RandomRMSV = Known(math.Sqrt(random))
	m.PeriodicRMSV = Known(math.Sqrt(whole - random))
}

// randomPower is the mean square of the noise in V²: the gated floor integrated
// over all frequencies that the record holds.
func (j *job) randomPower() float64 {
	if len(j.m.Noise.ThirdOctaves) == 0 {
		return 0
	}
	oct := j.m.Noise.ThirdOctaves
	x := make([]float64, len(oct))
	y := make([]float64, len(oct))
	for i, o := range oct {
		x[i], y[i] = o.CentreHz, o.DensityVRHz
	}
	p := 0.0
	for i, f := range j.plain.FreqHz {
		d := logInterp(x, y, f)
		p += d * d * j.plain.WidthHz[i]
	}
	return p
}
