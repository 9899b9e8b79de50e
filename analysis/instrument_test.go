package analysis

import (
	"bytes"
	"encoding/gob"
	"math"
	"reflect"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// bandRMS is the rms of a band of a measurement, NaN where it has none.
func bandRMS(m *Measurement, id string) figure.Figure {
	for _, b := range m.Bands {
		if b.ID == id {
			return b.RMSV
		}
	}
	return figure.NotMeasured("no such band")
}

// spurBaseline is the set-up of a supply's capture with nothing but the
// instrument's own noise and spur in it.
func spurBaseline(s synth.Supply) synth.Supply {
	return synth.Supply{Seed: s.Seed + 1000, RateHz: s.RateHz, Samples: s.Samples, ACCoupled: s.ACCoupled,
		NoiseVPerRtHz: s.NoiseVPerRtHz / 4, InstrumentSpurHz: s.InstrumentSpurHz, SpurPP: s.SpurPP, BandwidthHz: s.BandwidthHz}
}

// A supply measured with an instrument's spur in capture and baseline has the
// figures it has without the spur.
func TestSpurOfTheInstrumentIsNotCharged(t *testing.T) {
	s := synth.Supply{Seed: 5, RateHz: 10e6, Samples: 1 << 15, ACCoupled: true, SwitchingHz: 98.7e3, RipplePPV: 5e-3,
		NoiseVPerRtHz: 100e-9, InstrumentSpurHz: 333.3e3, SpurPP: 20e-3}
	base, _ := measureSupply(t, spurBaseline(s), Setup{})
	m, _ := measureSupply(t, s, Setup{Baseline: base})
	clean := s
	clean.SpurPP = 0
	want, _ := measureSupply(t, clean, Setup{})
	within(t, "20 kHz to 1 MHz", bandRMS(m, "20k_1m"), bandRMS(want, "20k_1m").Value, 0.01)
	charged, _ := measureSupply(t, s, Setup{})
	if a, b := bandRMS(charged, "20k_1m").Value, bandRMS(m, "20k_1m").Value; a < 3*b {
		t.Errorf("without a baseline %g V, with it %g V: the spur is too weak to show anything", a, b)
	}
	l := lineAt(m.Lines, 333.3e3, 10)
	if l == nil || l.Comb != spectrum.CombInstrument || math.Abs(l.InstrumentRMSV/(10e-3/math.Sqrt2)-1) > 0.01 {
		t.Errorf("the spur is %+v", l)
	}
	p, r, whole := m.PeriodicRMSV.Value, m.RandomRMSV.Value, m.ACRMSV.Value
	if math.Abs(p*p+r*r-whole*whole) > 0.01*whole*whole {
		t.Errorf("periodic %g and random %g do not add up to %g", p, r, whole)
	}
	within(t, "periodic, as captured", m.PeriodicRMSV, charged.PeriodicRMSV.Value, 0.001)

	// and from a baseline that was stored in between
	var stored bytes.Buffer
	if err := gob.NewEncoder(&stored).Encode(base); err != nil {
		t.Fatal(err)
	}
	var back Measurement
	if err := gob.NewDecoder(&stored).Decode(&back); err != nil {
		t.Fatal(err)
	}
	again, _ := measureSupply(t, s, Setup{Baseline: &back})
	if !reflect.DeepEqual(again.Lines, m.Lines) || !reflect.DeepEqual(again.Bands, m.Bands) {
		t.Error("a stored baseline gives other lines or bands")
	}
}

// A quiet unit whose only line is the instrument's has no switching frequency;
// one that switches keeps its own beside a stronger spur.
func TestSpurIsNotTheSwitching(t *testing.T) {
	s := synth.Supply{Seed: 6, RateHz: 10e6, Samples: 1 << 17, ACCoupled: true, NoiseVPerRtHz: 100e-9, InstrumentSpurHz: 151e3, SpurPP: 20e-3}
	base, _ := measureSupply(t, spurBaseline(s), Setup{})
	if m, _ := measureSupply(t, s, Setup{}); !m.SwitchingHz.Known {
		t.Fatal("without a baseline the spur should pass for switching")
	}
	if m, _ := measureSupply(t, s, Setup{Baseline: base}); m.SwitchingHz.Known || m.RipplePPV.Known {
		t.Errorf("the instrument's spur gives %g Hz and %g V of ripple", m.SwitchingHz.Value, m.RipplePPV.Value)
	}
	s.SwitchingHz, s.RipplePPV = 62.3e3, 2e-3
	m, truth := measureSupply(t, s, Setup{Baseline: base})
	within(t, "switching", m.SwitchingHz, truth.SwitchingHz, 1e-4)
	within(t, "ripple", m.RipplePPV, truth.RipplePPV, 0.05)
}

// Hum that the leads pick up is in the baseline too.
func TestHumOfTheInstrument(t *testing.T) {
	for _, phase := range testrun.Some([]int{0, 1, 2, 3, 4, 5}, 2) {
		s := synth.Supply{Seed: 20 + uint64(phase), RateHz: 50e3, Samples: 1 << 15, ACCoupled: true, MainsHz: 50, MainsPPV: 4e-3,
			NoiseVPerRtHz: 200e-9, InstrumentSpurHz: 100, SpurPP: 1e-3}
		base, _ := measureSupply(t, spurBaseline(s), Setup{MainsHz: 50})
		m, truth := measureSupply(t, s, Setup{MainsHz: 50, Baseline: base})
		if d := math.Abs(m.MainsLineRMS.Value - truth.MainsLineRMSV); d > m.MainsLineRMS.U {
			t.Errorf("seed %d: %g ± %g V, want %g", s.Seed, m.MainsLineRMS.Value, m.MainsLineRMS.U, truth.MainsLineRMSV)
		}
		if m.HasCaution(capture.CautionInstrumentMains) {
			t.Errorf("seed %d: %g V rms is not the instrument's", s.Seed, m.MainsLineRMS.Value)
		}
	}
	s := synth.Supply{Seed: 30, RateHz: 50e3, Samples: 1 << 15, ACCoupled: true, NoiseVPerRtHz: 200e-9, InstrumentSpurHz: 100, SpurPP: 1e-3}
	base, _ := measureSupply(t, spurBaseline(s), Setup{MainsHz: 50})
	m, _ := measureSupply(t, s, Setup{MainsHz: 50, Baseline: base})
	if !m.HasCaution(capture.CautionInstrumentMains) {
		t.Errorf("hum of the leads alone is not told: %+v", m.Cautions)
	}
	within(t, "hum as an upper figure", m.MainsLineRMS, 0.5e-3/math.Sqrt2, 0.02)
	if b := bandRMS(m, "audio"); b.Value > 1.1*200e-9*math.Sqrt(20e3) {
		t.Errorf("%g V in the audio band hold the hum", b.Value)
	}
}

// A baseline too short, or taken with more volts per division, is not compared
// line by line, and a caution says so.
func TestBaselineUnlikeTheCapture(t *testing.T) {
	s := synth.Supply{Seed: 5, RateHz: 10e6, Samples: 1 << 15, ACCoupled: true, SwitchingHz: 98.7e3, RipplePPV: 5e-3,
		NoiseVPerRtHz: 100e-9, InstrumentSpurHz: 333.3e3, SpurPP: 20e-3, ADCBits: 12}
	short := spurBaseline(s)
	short.Samples /= 32
	wide := spurBaseline(s)
	wide.ADCBits, wide.ADCFullScaleV = 8, 2
	for name, b := range map[string]synth.Supply{"short": short, "wide": wide} {
		base, _ := measureSupply(t, b, Setup{})
		m, _ := measureSupply(t, s, Setup{Baseline: base})
		if !m.HasCaution(capture.CautionBaselineUnlike) {
			t.Errorf("%s: no caution", name)
		}
		if l := lineAt(m.Lines, 333.3e3, 20); l == nil || l.InstrumentRMSV != 0 || l.Comb == spectrum.CombInstrument {
			t.Errorf("%s: %+v", name, l)
		}
	}
	base, _ := measureSupply(t, spurBaseline(s), Setup{})
	if m, _ := measureSupply(t, s, Setup{Baseline: base}); m.HasCaution(capture.CautionBaselineUnlike) {
		t.Error("a like baseline is cautioned")
	}
}

// lineAt is the first of the lines within tol of hz, nil when there is none.
func lineAt(lines []spectrum.Line, hz, tol float64) *spectrum.Line {
	for i := range lines {
		if math.Abs(lines[i].FrequencyHz-hz) < tol {
			return &lines[i]
		}
	}
	return nil
}
