package synth

import (
	"math"

	"stillglow/capture"
)

// lowPeriods is how many periods of its lowest frequency a record must hold.
const lowPeriods = 4

// Trace renders the supply as the importer would hand it over. The span runs
// from a few periods in the record to the least of the bandwidth and 0.4 of the
// rate.
func (s Supply) Trace(name string) (*capture.Trace, Truth) {
	v, truth := s.Render()
	high := 0.4 * s.RateHz
	if s.BandwidthHz > 0 {
		high = math.Min(high, s.BandwidthHz)
	}
	coupling := capture.CouplingDC
	if s.ACCoupled {
		coupling = capture.CouplingAC
	}
	return &capture.Trace{
		File: name, Layout: "synthetic",
		Volts: v, SampleRateHz: s.RateHz, TrueRateHz: s.RateHz,
		Coupling: coupling, Calibrated: true, ProbeFactor: 1,
		BandwidthHz: s.BandwidthHz,
		Span:        capture.Span{LowHz: lowPeriods / s.durationS(), HighHz: high},
		StepV:       truth.ADCStepV, FullScaleMinV: truth.FullScale[0], FullScaleMaxV: truth.FullScale[1],
		TimeUnit: "s", VoltUnit: "V",
	}, truth
}
