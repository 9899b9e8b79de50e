package analysis

import (
	"context"
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// floorResult is the noise floor and how it was come by.
type floorResult struct {
	figures  spectrum.NoiseFloor
	ungated  bool // gating leaves too little: the plain spectrum's floor
	cautions []capture.Caution
}

// newGate prepares the record with ripple, transients and mains taken off.
func newGate(rec *record, sw switching, mains spectrum.Mains) *spike.Gate {
	period, hz := onePeriod(mains)
	return spike.NewGate(sw.Residue, sw.Fold, &sw.spikes, period, hz, rec.tr.SampleRateHz)
}

// measureNoise measures the floor with ripple and spikes gated out. The error is
// the context's.
func measureNoise(ctx context.Context, rec *record, view spectralView, named namedLines, sw switching, g *spike.Gate) (floorResult, error) {
	tr := rec.tr
	opt := spectrum.NoiseOptions{Lines: named.lines, Span: tr.Span, StepV: rec.stepV, GainFraction: rec.setup.GainFraction}
	if tr.BandwidthHz == 0 {
		opt.InputHz = unstatedInputHz
	}
	if b := rec.setup.Baseline; b != nil {
		opt.Baseline = &b.Noise
	}
	out := floorResult{ungated: g.ExcisedShare() >= mostGated}
	gated := &view.plain
	if out.ungated {
		// between the lines of spikes stand their jitter's skirts
		opt.ModelShare = skirtsShare
	} else {
		how := spectrum.Options{NoiseOnly: true}
		if g.Excises() {
			how.Weights = g.Weights
		}
		m, err := spectrum.Of(ctx, g, tr.SampleRateHz, how)
		if err != nil {
			return out, err
		}
		gated, opt.GateFromHz, opt.GateHeld = &m, g.TrustedFromHz(), g.RemovedNoise
		opt.HeldLowHz, opt.HeldHighHz = g.RemovedBand()
	}
	out.figures = spectrum.MeasureNoiseFloor(gated, &view.plain, opt)
	if !out.ungated && sw.bursting() {
		out.figures.CornerHz = figure.NotMeasured("the bursts hide the 1/f part; a capture under the full load is needed")
		if at := out.figures.AtHz; at.Known && at.Value < opt.GateFromHz {
			out.cautions = append(out.cautions, capture.Caution{Code: capture.CautionUngated,
				Text: "the bursts' rise and fall can't be separated from the noise; the noise floor is what the spectrum shows between the lines",
				Fix:  "load the supply as the heaters will, so that it switches continuously"})
		}
	}
	return out, nil
}

// onePeriod draws the mains comb over one period of the mains: volts at even
// places, the first value repeated at the end, and the mains frequency. nil
// where no comb was measured or no single period repeats.
func onePeriod(mains spectrum.Mains) (volts []float64, hz float64) {
	if !mains.LineRMS.Known || !mains.MainsHz.Known || len(mains.Lines) == 0 || mains.Wanders {
		return nil, 0
	}
	const points = 4096
	volts, hz = make([]float64, points+1), mains.MainsHz.Value
	for _, l := range mains.Lines {
		h := math.Round(l.FrequencyHz / hz)
		for i := range volts {
			volts[i] += math.Sqrt2 * l.RMSV * math.Cos(2*math.Pi*h*float64(i)/points+l.PhaseRad)
		}
	}
	return volts, hz
}
