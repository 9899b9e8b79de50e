package analysis

import (
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// noise measures the floor with ripple and spikes gated out.
func (j *job) noise() error {
	tr, m := j.tr, j.m
	g := newGatedResidue(j.res, j.fold, &j.spikes, j.mains, tr.SampleRateHz)
	j.gate = g
	opt := spectrum.NoiseOptions{Plain: &j.plain, Lines: m.Lines, Span: tr.Span, StepV: j.stepV}
	if b := j.setup.Baseline; b != nil {
		opt.Baseline = &b.Noise
	}
	var gated spectrum.GatedSource
	if share := g.gatedShare(); share < 0.6 {
		gated, opt.GateFromHz, opt.GateHeld = g, g.trustedFromHz(), g.held
		opt.HeldLowHz, opt.HeldHighHz = g.heldBand()
	} else {
		j.ungated = true
	}
	var err error
	m.Noise, err = spectrum.MeasureNoiseFloor(j.ctx, gated, spectrum.Samples(tr.Volts), tr.SampleRateHz, opt)
	if j.ungated && m.Noise.DensityVPerRtHz.Known {
		// between the lines of spikes stand their jitter's skirts
		m.Noise.DensityVPerRtHz.U = math.Hypot(m.Noise.DensityVPerRtHz.U, 0.1*m.Noise.DensityVPerRtHz.Value)
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
