package analysis

import (
	"fmt"

	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// baselineOf picks the figures of a baseline that lines are compared with, nil
// when there is none.
func baselineOf(m *Measurement) *spectrum.Baseline {
	if m == nil {
		return nil
	}
	b := &spectrum.Baseline{Lines: m.Lines, MainsLineHz: m.MainsLineHz, MainsLineV: m.MainsLineRMS}
	if m.ADCStepV.Known {
		b.StepV = m.ADCStepV.Value
	}
	return b
}

// baselineCurve is the baseline's spectrum, empty when there is none.
func baselineCurve(m *Measurement) spectrum.Curve {
	if m == nil {
		return spectrum.Curve{}
	}
	return m.Spectrum
}

// ownSwitching looks once more for the switching where what was found is a line
// of the instrument: wholly so at its fundamental and for the most part as a
// whole. It reports whether it did.
func (j *job) ownSwitching(lines []spectrum.Line) bool {
	if j.track == nil || j.setup.Baseline == nil {
		return false
	}
	var seen, own float64
	var not []float64
	fundamental := false
	for _, l := range lines {
		if l.Comb == spectrum.CombInstrument {
			not = append(not, l.FrequencyHz)
		}
		if n := l.HarmonicOf(j.track.hz, 1e-4); n > 0 {
			seen += l.SeenRMSV() * l.SeenRMSV()
			if l.Comb != spectrum.CombInstrument {
				own += l.RMSV * l.RMSV
			} else if n == 1 {
				fundamental = true
			}
		}
	}
	if !fundamental || own > seen/2 {
		return false
	}
	j.th.NotHz = not
	j.forgetSwitching()
	j.spikes = spikeFinding{}
	j.switching()
	j.spikeSearch()
	return true
}

// instrumentCautions says what the comparison with the baseline left in doubt.
func (j *job) instrumentCautions(add func(code, text, fix string)) {
	const again = "take the baseline with the capture's own settings: same time base, memory and volts per division"
	if l := j.look.TooWide; l != nil {
		add(capture.CautionBaselineUnlike, fmt.Sprintf("the baseline was made with more volts per division (steps of %.3g mV, the capture's are %.3g mV): its line at %s can't be compared and stays charged to the unit",
			1e3*j.setup.Baseline.ADCStepV.Value, 1e3*j.stepV, hertz(l.FrequencyHz)), again)
	}
	if l := j.look.TooCoarse; l != nil {
		add(capture.CautionBaselineUnlike, fmt.Sprintf("the baseline's line at %s is resolved to %s only and can't be compared with the capture's there, which stays charged to the unit",
			hertz(l.FrequencyHz), hertz(l.BinHz)), again)
	}
	if j.look.MainsIsInstruments {
		add(capture.CautionInstrumentMains,
			fmt.Sprintf("the line at %s stands as high in the baseline: it is the instrument's or picked up by its leads, and the figure is an upper one", hertz(j.m.MainsLineHz.Value)),
			"keep the probe's leads short and away from mains leads and transformers, and run the instrument from the same socket as the supply's load")
	}
}
