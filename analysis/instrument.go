package analysis

import (
	"stillglow/analysis/spectrum"
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
