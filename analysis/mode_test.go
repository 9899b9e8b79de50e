package analysis

import (
	"context"
	"strings"
	"testing"

	"stillglow/capture"
	"stillglow/capture/synth"
)

// A common-mode trace shows no DC of the output, whatever its mean, and no baseline
// of the other mode is taken off it.
func TestCommonModeShowsNoDC(t *testing.T) {
	s := synth.Supply{Seed: 7, RateHz: 1e6, Samples: 1 << 14, DCV: 7, SwitchingHz: 98.7e3, RipplePPV: 5e-3, NoiseVPerRtHz: 100e-9}
	v, _ := s.Render()
	tr := &capture.Trace{File: "c.csv", Volts: v, SampleRateHz: s.RateHz, Coupling: capture.CouplingDC, Mode: capture.Common, Calibrated: true,
		Span: capture.Span{LowHz: 4 * s.RateHz / float64(len(v)), HighHz: 400e3}}
	m, err := Measure(context.Background(), tr, Setup{RatedV: 70})
	if err != nil {
		t.Fatal(err)
	}
	if m.Mode != capture.Common || m.DCV.Known || m.HasCaution(capture.CautionProbeFactor) {
		t.Errorf("mode %q, DC %+v, %+v", m.Mode, m.DCV, m.Cautions)
	}
	if !m.SwitchingHz.Known || !m.PPV.Known {
		t.Error("the rest is not measured")
	}
	base, _ := measureSupply(t, spurBaseline(s), Setup{})
	if _, err := Measure(context.Background(), tr, Setup{Baseline: base}); err == nil || !strings.Contains(err.Error(), "same mode") {
		t.Errorf("a differential baseline: %v", err)
	}
}

// A line switching above half of a slow rate is shown to be an alias by a faster
// capture of its own mode alone.
func TestAliasesSettleByMode(t *testing.T) {
	fast := synth.Supply{Seed: 8, RateHz: 5e6, Samples: 1 << 16, ACCoupled: true, SwitchingHz: 70e3, RipplePPV: 10e-3, NoiseVPerRtHz: 100e-9}
	slow := fast
	slow.RateHz, slow.Samples = 100e3, 1<<15
	f, _ := measureSupply(t, fast, Setup{})
	s, _ := measureSupply(t, slow, Setup{})
	shown := func(modeOfFast capture.Mode) bool {
		a, b := *f, *s
		a.Mode = modeOfFast
		return SettleAliases([]*Measurement{&a, &b})[1].HasCaution(capture.CautionAliasShown)
	}
	if !shown(capture.Differential) {
		t.Fatal("no alias shown at all: the test shows nothing")
	}
	if shown(capture.Common) {
		t.Error("a common-mode capture settles a differential one's aliases")
	}
}

// A baseline with the unit's own switching in it was made with the supply running:
// what is taken off by it is cautioned, unless the sheet says that it was off.
func TestBaselineOfTheUnit(t *testing.T) {
	s := synth.Supply{Seed: 9, RateHz: 10e6, Samples: 1 << 15, ACCoupled: true, SwitchingHz: 98.7e3, RipplePPV: 20e-3, NoiseVPerRtHz: 100e-9}
	running := s
	running.Seed, running.RipplePPV = 10, 8e-3
	base, _ := measureSupply(t, running, Setup{})
	m, _ := measureSupply(t, s, Setup{Baseline: base})
	if !m.HasCaution(capture.CautionBaselineOfUnit) {
		t.Errorf("no caution: %+v", m.Cautions)
	}
	if told, _ := measureSupply(t, s, Setup{Baseline: base, BaselineOff: true}); told.HasCaution(capture.CautionBaselineOfUnit) {
		t.Error("cautioned though the supply is told to be off")
	}
	still, _ := measureSupply(t, spurBaseline(s), Setup{})
	if quiet, _ := measureSupply(t, s, Setup{Baseline: still}); quiet.HasCaution(capture.CautionBaselineOfUnit) {
		t.Error("a baseline of noise alone is cautioned")
	}
}
