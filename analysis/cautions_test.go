package analysis

import (
	"slices"
	"testing"

	"stillglow/capture"
	"stillglow/capture/synth"
)

func TestCautions(t *testing.T) {
	cases := []struct {
		code  string
		make  func(s *synth.Supply)
		setup Setup
	}{
		{capture.CautionClipped, func(s *synth.Supply) { s.ADCBits, s.ADCFullScaleV = 8, 40e-3 }, Setup{}},
		{capture.CautionFewSteps, func(s *synth.Supply) { s.ADCBits, s.ADCFullScaleV = 8, 4 }, Setup{}},
		{capture.CautionUndersampled, func(s *synth.Supply) { s.RateHz, s.Samples, s.BandwidthHz = 10e6, 40e3, 0 }, Setup{}},
		{capture.CautionAlias, func(s *synth.Supply) { s.RateHz, s.Samples, s.BandwidthHz = 200e3, 40e3, 0 }, Setup{}},
		{capture.CautionShortRecord, func(s *synth.Supply) { s.Samples = 5200 }, Setup{}},
		{capture.CautionProbeFactor, func(s *synth.Supply) { s.ACCoupled, s.ProbeFactorWrong = false, 10 }, Setup{RatedV: 7}},
		{capture.CautionLoadUnlike, func(*synth.Supply) {}, Setup{LoadA: 0.1, HeaterA: 0.9}},
		{capture.CautionDithered, func(s *synth.Supply) { s.DitherFrac = 0.05 }, Setup{}},
		{capture.CautionBursting, func(s *synth.Supply) { s.BurstHz = 2000 }, Setup{}},
		{capture.CautionSwitchingLost, func(s *synth.Supply) {
			s.RipplePPV, s.ESRStepV, s.SpikeRiseV, s.SpikeFallV = 0, 0, 0, 0
		}, Setup{}},
	}
	for _, c := range cases {
		s := trapSupply()
		s.DCV, s.Samples = 7, 40e3
		c.make(&s)
		m, _ := measureSupply(t, s, c.setup)
		checkFinite(t, m)
		if !m.HasCaution(c.code) {
			t.Errorf("%s not cautioned: %+v", c.code, m.Cautions)
		}
		for _, k := range m.Cautions {
			if k.Text == "" {
				t.Errorf("%s without a text", k.Code)
			}
		}
		if c.code == capture.CautionClipped && !m.PPV.LowerBound {
			t.Error("a clipped peak-to-peak is no lower bound")
		}
	}
	// nothing to say of a good capture, and the importer's doubts are carried on
	s := trapSupply()
	s.ADCBits = 12
	tr, _ := s.Trace("good")
	tr.AntiAliased = true
	tr.Cautions = []capture.Caution{{Code: capture.CautionSegments, Text: "one of three segments"}}
	m, err := Measure(t.Context(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Cautions) != 1 || m.Cautions[0].Code != capture.CautionSegments {
		t.Errorf("cautions of a good capture: %+v", m.Cautions)
	}
}

// What is cut off is said once, by the stronger of the two cautions that it may raise and
// with one count: samples seen at the end stop, or marked in the file, settle whether the
// waveform has flat tops of its own.
func TestCutOffIsSaidOnce(t *testing.T) {
	plateau := capture.Caution{Code: capture.CautionFlatTops, Text: "923 samples sit at the record's highest or lowest value"}
	marked := capture.Caution{Code: capture.CautionClipped, Text: "12 samples marked"}
	for _, c := range []struct {
		name     string
		clipped  int
		imported []capture.Caution
		want     []string // texts
	}{
		{"a plateau alone", 0, []capture.Caution{plateau}, []string{plateau.Text}},
		{"at the end stop", 900, []capture.Caution{plateau}, []string{"923 samples are clipped at the ADC limit; peaks are cut off"}},
		{"marked in the file", 0, []capture.Caution{marked, plateau}, []string{marked.Text}},
		{"both", 900, []capture.Caution{plateau, marked}, []string{marked.Text}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := &capture.Trace{SampleRateHz: 1e6, Volts: make([]float64, 1000), Levels: capture.Levels{Top: capture.FlatEnd{Samples: 923}}}
			f := findings{rec: &record{tr: tr}, shape: shape{clipped: c.clipped}}
			list := cautionList(c.imported)
			f.converterCautions(&Measurement{}, &list)
			var got []string
			for _, k := range list {
				got = append(got, k.Text)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("%q, want %q", got, c.want)
			}
		})
	}
}

// A figure's ± holds the gain's, and little beside it in a good capture.
func TestUncertaintyHoldsTheGain(t *testing.T) {
	m, truth := measureSupply(t, plainSupply(), Setup{GainFraction: 0.01})
	if u := m.RipplePPV.U; u < 0.01*m.RipplePPV.Value || u > 0.05*m.RipplePPV.Value {
		t.Errorf("ripple %g ± %g, gain 1 %%", m.RipplePPV.Value, u)
	}
	if d := m.SwitchingHz.Value - truth.SwitchingHz; d > 3*m.SwitchingHz.U+1e-3 || -d > 3*m.SwitchingHz.U+1e-3 {
		t.Errorf("switching off by %g Hz, U %g Hz", d, m.SwitchingHz.U)
	}
}
