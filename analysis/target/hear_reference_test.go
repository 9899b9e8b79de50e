package target

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
)

// The hearing sum against six cases solved as networks with numpy and integrated
// with scipy (testdata/reference/hearing/hearing.py, run by .ci/run with --check).
func TestHearingCases(t *testing.T) {
	data, err := os.ReadFile("../../testdata/reference/hearing/cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []struct {
		Stage struct {
			Name             string  `json:"name"`
			CathodeOhm       float64 `json:"cathode_ohm"`
			BypassF          float64 `json:"bypass_f"`
			BypassESROhm     float64 `json:"bypass_esr_ohm"`
			HeaterCathodeF   float64 `json:"heater_cathode_f"`
			HeaterCathodeOhm float64 `json:"heater_cathode_ohm"`
			HeaterGridF      float64 `json:"heater_grid_f"`
			SourceOhm        float64 `json:"source_ohm"`
			Mu               float64 `json:"mu"`
			GmS              float64 `json:"gm_s"`
			GainBefore       float64 `json:"gain_before"`
			RIAA             bool    `json:"riaa"`
			Reference        string  `json:"reference"`
			ReferenceOhm     float64 `json:"reference_ohm"`
			ReferenceF       float64 `json:"reference_f"`

			Across, Common []float64 // V/√Hz at 1 kHz, and its slope in log frequency
		} `json:"stage"`
		Heard struct {
			Across  float64 `json:"across_a_rms_v"`
			Common  float64 `json:"common_a_rms_v"`
			Input   float64 `json:"input_a_rms_v"`
			Own     float64 `json:"own_a_rms_v"`
			UnderDB float64 `json:"under_db"`
		} `json:"heard"`
	}
	if err := json.Unmarshal(data, &cases); err != nil || len(cases) != 6 {
		t.Fatalf("%v, %d cases", err, len(cases))
	}
	for _, c := range cases {
		s := c.Stage
		var captures []*analysis.Measurement
		add := func(mode capture.Mode, density []float64) {
			if len(density) == 2 {
				m := shaped(func(hz float64) float64 { return density[0] * math.Pow(hz/1e3, density[1]) })
				m.Mode = mode
				captures = append(captures, m)
			}
		}
		add(capture.Differential, s.Across)
		add(capture.Common, s.Common)
		h := Hear(Stage{
			CathodeOhm: s.CathodeOhm, BypassF: s.BypassF, BypassESROhm: s.BypassESROhm,
			HeaterCathodeF: s.HeaterCathodeF, HeaterCathodeOhm: s.HeaterCathodeOhm, HeaterGridF: s.HeaterGridF, SourceOhm: s.SourceOhm,
			Mu: s.Mu, GmS: s.GmS, GainBefore: s.GainBefore, RIAA: s.RIAA,
			Reference: Reference(s.Reference), ReferenceOhm: s.ReferenceOhm, ReferenceF: s.ReferenceF,
		}, captures...)
		const within = 0.01
		for _, f := range []struct {
			what      string
			got, want float64
		}{{"across the heater", h.DifferentialAVRMS, c.Heard.Across}, {"common mode", h.CommonAVRMS, c.Heard.Common},
			{"both", h.InputAVRMS, c.Heard.Input}, {"own noise", h.ThermalAVRMS, c.Heard.Own}} {
			if math.Abs(f.got-f.want) > within*f.want {
				t.Errorf("%s: %s %g V, by the network %g V", s.Name, f.what, f.got, f.want)
			}
		}
		if want := math.Min(c.Heard.UnderDB, MarginCapDB); math.Abs(h.UnderDB-want) > 0.1 {
			t.Errorf("%s: %.2f dB under, by the network %.2f dB", s.Name, h.UnderDB, want)
		}
	}
}
