package analysis

import (
	"math"
	"sort"
)

// noise measures the floor with ripple and spikes gated out.
func (j *job) noise() error {
	tr, m := j.tr, j.m
	g := newGatedResidue(j.res, j.fold, &j.spikes, j.mains, tr.SampleRateHz)
	j.gate = g
	opt := noiseOptions{Plain: &j.plain, Lines: m.Lines, Span: tr.Span, StepV: j.stepV}
	if b := j.setup.Baseline; b != nil {
		opt.Baseline = &b.Noise
	}
	var gated gatedSource
	if share := g.gatedShare(); share < 0.6 {
		gated = g
	} else {
		j.ungated = true
	}
	var err error
	m.Noise, err = measureNoiseFloor(j.ctx, gated, sliceSource(tr.Volts), tr.SampleRateHz, opt)
	if err == nil && gated != nil && j.track != nil && j.track.kind == SwitchingBursting {
		j.noiseUnderBursts()
	}
	return err
}

// noiseUnderBursts takes the noise below the switching frequency from the
// spectrum as seen: taking the packets' own rise and fall off the trace takes
// such noise off as well, and a figure too low must not stand.
func (j *job) noiseUnderBursts() {
	n := &j.m.Noise
	for i := range n.ThirdOctaves {
		if o := &n.ThirdOctaves[i]; o.CentreHz < j.track.hz/2 {
			factor := 1.0
			if o.DensityVRHz > 0 {
				factor = o.UngatedVRHz / o.DensityVRHz
			}
			o.DensityVRHz = o.UngatedVRHz
			o.LowVRHz *= factor
			o.HighVRHz *= factor
			if n.LowVRHz.Known && o.CentreHz > 890 && o.CentreHz < 1120 {
				n.LowVRHz.Value, n.LowVRHz.U = o.UngatedVRHz, n.LowVRHz.U*factor
			}
		}
	}
	n.CornerHz = NotMeasured("the packets bury the 1/f part; a capture under the full load is needed")
	var gated, seen []float64
	var low, high float64
	for _, o := range n.ThirdOctaves {
		if o.CentreHz >= j.track.hz && o.CentreHz <= j.tr.Span.HighHz/4 {
			if low == 0 {
				low = o.CentreHz
			}
			high = o.CentreHz
			gated = append(gated, o.DensityVRHz)
			seen = append(seen, o.UngatedVRHz)
		}
	}
	if len(gated) >= 3 && n.DensityVRHz.Known {
		sort.Float64s(gated)
		sort.Float64s(seen)
		n.DensityVRHz.Value = quantileOf(gated, 0.5)
		n.UngatedVRHz.Value = quantileOf(seen, 0.5)
		n.AtHz = Known(math.Sqrt(low * high))
	}
}
