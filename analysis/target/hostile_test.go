package target

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
	"stillglow/capture/synth/testrun"
)

// Whatever stands in the measurements, nothing panics, no margin is a NaN, and a
// pass means that every criterion is covered and inside.
func TestHostileMeasurements(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	values := []float64{0, -1, 1e-9, 1e-3, 2e-2, 7, 1e9, math.NaN(), math.Inf(1), math.Inf(-1), math.SmallestNonzeroFloat64, math.MaxFloat64}
	value := func() float64 { return values[r.IntN(len(values))] }
	figure := func() figure.Figure {
		switch r.IntN(5) {
		case 0:
			return figure.NotMeasured("not there")
		case 1:
			return figure.Figure{Value: value(), Known: true, U: value(), LowerBound: true}
		}
		return figure.Figure{Value: math.Abs(r.NormFloat64()) * 1e-3, Known: true, U: value()}
	}
	codes := []string{capture.CautionClipped, capture.CautionFewSteps, capture.CautionUndersampled, capture.CautionAlias, capture.CautionAliasShown, capture.CautionStepHides, capture.CautionProbeFactor,
		capture.CautionBaselineNear, capture.CautionBaselineUnlike, capture.CautionInstrumentMains, capture.CautionLoadUnlike, capture.CautionUngated, capture.CautionGaps, "unheard_of"}
	mask := [][2]float64{{20, 1e-3}, {20e3, 1e-6}}
	base, _ := Named("line-preamp")
	goal, err := Custom(map[string]float64{"spikes_per_s": 1e5, "ripple_pp_v": 1e-2, "audio_rms_v": 1e-3, "density_1khz_v_per_rthz": 1e-6}, mask, [2]float64{}, &base)
	if err != nil {
		t.Fatal(err)
	}
	for trial := 0; trial < testrun.Short(3000, 800); trial++ {
		u := Unit{Key: "x", Brand: "y", HeaterA: value()}
		for range r.IntN(4) {
			u.Readings = append(u.Readings, Reading{LoadA: value(), V: value()})
		}
		for range r.IntN(4) {
			m := &analysis.Measurement{
				File: "f", Calibrated: r.IntN(5) > 0, LoadA: value(), SampleRateHz: value(), DurationS: value(),
				Span:     capture.Span{LowHz: value(), HighHz: value()},
				PP20MHzV: figure(), RipplePPV: figure(), MainsLineRMS: figure(), MainsLineHz: figure(), DCV: figure(), BurstHz: figure(),
				ADCStepV: figure(), QuantNoiseVPerRtHz: figure(), SwitchingHz: figure(),
			}
			if r.IntN(2) == 0 {
				m.Span = capture.Span{LowHz: 5, HighHz: 30e6}
			}
			m.Spikes.PeakP95V, m.Spikes.PerS, m.Spikes.ThresholdV, m.Spikes.Count = figure(), figure(), value(), r.IntN(2)
			m.Noise.DensityVPerRtHz = figure()
			m.Noise.ThirdOctaves = []spectrum.ThirdOctave{{CentreHz: 1000, DensityVPerRtHz: value(), LowVPerRtHz: value(), HighVPerRtHz: value()}}
			m.Bands = []spectrum.Band{{ID: "audio", RMSV: figure()}, {ID: "audio_a", RMSV: figure()}, {ID: "20k_1m", RMSV: figure()}}
			m.Lines = []spectrum.Line{{FrequencyHz: value(), RMSV: value()}}
			for range r.IntN(3) {
				m.Spectrum.FrequencyHz = append(m.Spectrum.FrequencyHz, math.Abs(value()))
				m.Spectrum.VPerRtHz = append(m.Spectrum.VPerRtHz, value())
			}
			for range r.IntN(3) {
				m.Cautions = append(m.Cautions, capture.Caution{Code: codes[r.IntN(len(codes))], Text: "a doubt"})
			}
			u.Captures = append(u.Captures, m)
		}
		e := Evaluate(u, goal)
		for _, m := range e.Margins {
			for _, v := range []float64{m.DB, m.LowDB, m.HighDB, m.Figure.Value} {
				if !finite(v) {
					t.Fatalf("trial %d: %s: %+v", trial, m.Limit.Criterion, m)
				}
			}
			if e.Verdict == Pass && (!m.Covered || m.DB < 0 || m.Figure.LowerBound && m.Limit.Criterion != HeaterDC) {
				t.Fatalf("trial %d passes with %+v", trial, m)
			}
			if !m.Covered && m.Reason == "" {
				t.Fatalf("trial %d: %s is not covered for no reason", trial, m.Limit.Criterion)
			}
		}
		if !finite(e.WorstDB) || !finite(e.SumRestDB) || e.Why == "" {
			t.Fatalf("trial %d: %+v", trial, e)
		}
		Rank([]Evaluation{e, e})
		h := Hear(Stage{CathodeOhm: 1e3}, u.Captures...)
		if !finite(h.InputAVRMS) || !finite(h.UnderDB) {
			t.Fatalf("trial %d: %+v", trial, h)
		}
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
