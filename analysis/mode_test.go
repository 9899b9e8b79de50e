package analysis

import (
	"context"
	"math"
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

// A baseline whose mean is a supply's DC was made across one that ran, whatever the
// sheet says of it.
func TestBaselineWithDC(t *testing.T) {
	s := synth.Supply{Seed: 9, RateHz: 10e6, Samples: 1 << 15, ACCoupled: true, SwitchingHz: 98.7e3, RipplePPV: 20e-3, NoiseVPerRtHz: 100e-9}
	other := s
	other.Seed, other.ACCoupled, other.DCV = 10, false, 7
	base, _ := measureSupply(t, other, Setup{})
	if m, _ := measureSupply(t, s, Setup{Baseline: base, BaselineOff: true}); !m.HasCaution(capture.CautionBaselineOfUnit) {
		t.Errorf("no caution: %+v", m.Cautions)
	}
}

// A capture told to be AC-coupled whose mean is volts, and many times what varies, was
// DC-coupled: its DC is measured, and its probe factor judged by it. One whose mean is an
// input's offset stays AC-coupled, and so does a common-mode one.
func TestDCToldAsAC(t *testing.T) {
	for _, c := range []struct {
		name     string
		dcV      float64
		mode     capture.Mode
		told, ok bool // told: as AC; ok: so it stays
	}{
		{"a supply's DC", 7, capture.Differential, true, false},
		{"at a wrong probe factor", 70, capture.Differential, true, false},
		{"an offset", 0.2, capture.Differential, true, true},
		{"common mode", 7, capture.Common, true, true},
		{"told right", 7, capture.Differential, false, true},
	} {
		s := synth.Supply{Seed: 9, RateHz: 10e6, Samples: 1 << 15, DCV: c.dcV, SwitchingHz: 98.7e3, RipplePPV: 20e-3, NoiseVPerRtHz: 100e-9}
		tr, _ := s.Trace("synthetic")
		tr.Mode, tr.Coupling = c.mode, capture.CouplingDC
		if c.told {
			tr.Coupling = capture.CouplingAC
		}
		m, err := Measure(context.Background(), tr, Setup{RatedV: 7})
		if err != nil {
			t.Fatal(err)
		}
		if m.HasCaution(capture.CautionDCAsAC) == c.ok || (m.Coupling == tr.Coupling) != c.ok {
			t.Errorf("%s: coupling %q, cautions %+v", c.name, m.Coupling, m.Cautions)
		}
		if !c.ok && (!m.DCV.Known || math.Abs(m.DCV.Value-c.dcV) > m.DCV.U) {
			t.Errorf("%s: DC %+v", c.name, m.DCV)
		}
		if off := c.dcV > 50; m.HasCaution(capture.CautionProbeFactor) != off {
			t.Errorf("%s: probe factor suspected: %v", c.name, !off)
		}
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
