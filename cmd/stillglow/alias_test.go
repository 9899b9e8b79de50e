package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/cmd/stillglow/pipeline"
)

const aliasSheet = `
title = "two rates"
invented = true
mains_hz = 50
target = "line-preamp"
[instrument]
coupling = "ac"
[limits]
ripple_pp_v = 0.02
[[unit]]
brand = "Murrowfen"
mark = "A1"
rated_v = 7
rated_a = 2
readings = [{ load_a = 0, v = 7.05 }, { load_a = 0.3, v = 7 }]
[[unit.capture]]
file = "slow.csv"
[[unit.capture]]
file = "fast.csv"
`

// twoRates writes one invented supply at 200 kS/s and at 50 MS/s with a sheet,
// and decides on it; without the fast capture the slow one stands alone.
func twoRates(t *testing.T, s synth.Supply, alone bool) target.Evaluation {
	t.Helper()
	dir := t.TempDir()
	s.ACCoupled = true
	text := []byte(aliasSheet)
	for name, c := range map[string][2]float64{"slow.csv": {200e3, 60000}, "fast.csv": {50e6, 100000}} {
		s.RateHz, s.Samples = c[0], int(c[1])
		v, _ := s.Render()
		var b bytes.Buffer
		if err := synth.WriteCSV(&b, synth.Preamble, s.RateHz, v, 7, "AC"); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if alone {
		text = bytes.Replace(text, []byte("[[unit.capture]]\nfile = \"fast.csv\"\n"), nil, 1)
	}
	path := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := pipeline.Evaluate(context.Background(), path, pipeline.Options{Version: version, SkipFilter: true})
	if err != nil {
		t.Fatal(err)
	}
	u := r.Units[0]
	for i, c := range u.Captures { // what decides is what is shown
		if c.M != u.Eval.Unit.Captures[i] {
			t.Errorf("%s is shown otherwise than decided on", c.M.File)
		}
	}
	return u.Eval
}

func cautioned(e target.Evaluation, code string) bool {
	for _, c := range e.Cautions {
		if c.Code == code {
			return true
		}
	}
	return false
}

// Through the whole pipeline: 165.1 kHz stands at 34.9 kHz in the slow capture.
func TestTwoRatesThroughThePipeline(t *testing.T) {
	s := synth.Supply{Seed: 4, SwitchingHz: 165.1e3, Duty: 0.5, RipplePPV: 8e-3, NoiseVPerRtHz: 100e-9, NoiseBandwidthHz: 1e6}
	if e := twoRates(t, s, true); !cautioned(e, capture.CautionAlias) || cautioned(e, capture.CautionAliasShown) {
		t.Errorf("one capture alone: %+v", e.Cautions)
	}
	e := twoRates(t, s, false)
	if cautioned(e, capture.CautionAlias) || !cautioned(e, capture.CautionAliasShown) {
		t.Errorf("two captures: %+v", e.Cautions)
	}
	for _, m := range e.Margins {
		if m.Limit.Criterion == target.FoldedRipple && (!m.Covered || m.From != "fast.csv" || m.Figure.Value < 7.5e-3 || m.Figure.Value > 8.5e-3) {
			t.Errorf("folded ripple %+v from %q", m.Figure, m.From)
		}
	}
	if slow := e.Unit.Captures[0]; slow.SwitchingHz.Known || slow.RipplePPV.Known {
		t.Errorf("the alias gives %+v", slow.SwitchingHz)
	}

	s.SwitchingHz, s.RipplePPV, s.NoiseVPerRtHz, s.NoiseBandwidthHz = 55.3e3, 1e-3, 1e-6, 200e3
	if e := twoRates(t, s, true); !cautioned(e, capture.CautionAlias) {
		t.Errorf("a true line alone: %+v", e.Cautions)
	}
	if e := twoRates(t, s, false); cautioned(e, capture.CautionAlias) || cautioned(e, capture.CautionAliasShown) {
		t.Errorf("a true line shown twice: %+v", e.Cautions)
	}
}
