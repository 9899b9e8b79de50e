package analysis

import (
	"math"

	"stillglow/analysis/figure"
	"stillglow/capture"
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
		gated, opt.GateFromHz, opt.GateHeld = g, g.trustedFromHz(), g.held
		opt.HeldLowHz, opt.HeldHighHz = g.heldBand()
	} else {
		j.ungated = true
	}
	var err error
	m.Noise, err = measureNoiseFloor(j.ctx, gated, sliceSource(tr.Volts), tr.SampleRateHz, opt)
	if j.ungated && m.Noise.DensityVRHz.Known {
		// between the lines of spikes stand their jitter's skirts
		m.Noise.DensityVRHz.U = math.Hypot(m.Noise.DensityVRHz.U, 0.1*m.Noise.DensityVRHz.Value)
	}
	if err != nil || gated == nil || j.track == nil || j.track.kind != SwitchingBursting {
		return err
	}
	m.Noise.CornerHz = figure.NotMeasured("the packets bury the 1/f part; a capture under the full load is needed")
	if m.Noise.AtHz.Known && m.Noise.AtHz.Value < opt.GateFromHz {
		m.Cautions = append(m.Cautions, capture.Caution{Code: capture.CautionUngated,
			Text: "the packets' rise and fall can't be taken off without the noise; the noise floor is what the spectrum shows between the lines",
			Fix:  "load the supply as the heaters will, so that it runs through"})
	}
	return nil
}
