package target

import (
	"math"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
)

// shaped is a capture from 5 Hz to 60 kHz whose density is f(hz).
func shaped(f func(hz float64) float64) *analysis.Measurement {
	m := &analysis.Measurement{File: "shaped.wav", Calibrated: true, Span: capture.Span{LowHz: 5, HighHz: 60e3}}
	for hz := 5.0; hz < 60e3; hz *= 1.005 {
		m.Spectrum.FrequencyHz = append(m.Spectrum.FrequencyHz, hz)
		m.Spectrum.VPerRtHz = append(m.Spectrum.VPerRtHz, f(hz))
	}
	return m
}

// By hand: 1 kΩ unbypassed against 10 MΩ beside 5 pF. At 100 Hz the capacitor
// is 318 MΩ, so 1e3/10e6 = -80.0 dB; at 100 kHz it is 318.31 kΩ beside the
// 10 MΩ, so 1e3/318.15e3 = -50.06 dB; mu 100 adds 20·log10(1.01) = 0.086 dB.
func TestCouplingByHand(t *testing.T) {
	s := Stage{CathodeOhm: 1e3}
	for hz, want := range map[float64]float64{100: -80.0 + 0.086, 100e3: -50.06 + 0.086} {
		if got := 20 * math.Log10(s.Coupling(hz)); math.Abs(got-want) > 0.02 {
			t.Errorf("%g Hz: %.3f dB, want %.3f", hz, got, want)
		}
	}
	// A bypass of 100 µF is 1.59 Ω at 1 kHz: 1 kΩ falls to that, 56 dB.
	b := Stage{CathodeOhm: 1e3, BypassF: 100e-6}
	if got := 20 * math.Log10(b.Coupling(1e3)/s.Coupling(1e3)); math.Abs(got+55.96) > 0.02 {
		t.Errorf("bypass: %.3f dB", got)
	}
	second := Stage{CathodeOhm: 1e3, Position: "second", GainBefore: 50}
	if got := s.Coupling(1e3) / second.Coupling(1e3); math.Abs(got-50) > 1e-9 {
		t.Errorf("second stage: %g", got)
	}
}

// Johnson noise of 1 kΩ at 300 K is 4.070 nV/√Hz; 2.5/1.6 mS is 1562.5 Ω. Flat,
// so the A-weighted sum is the density times √(the A-weighting's noise
// bandwidth), which is 12467.18 Hz from 20 Hz to 20 kHz (closed form of
// IEC 61672-1 integrated with scipy 1.10.1).
func TestOwnNoise(t *testing.T) {
	h := Hear(Stage{CathodeOhm: 1e3, Mu: 1e9}, shaped(func(float64) float64 { return 1e-9 }))
	want := 4.070355e-9 * math.Sqrt(2.5625) * math.Sqrt(12467.18)
	if math.Abs(h.ThermalAVRMS/want-1) > 0.003 {
		t.Errorf("%g, want %g", h.ThermalAVRMS, want)
	}
}

// A supply whose density is the derived mask adds just its share of what was
// allowed: the mask read backwards.
func TestMaskAndHearAgree(t *testing.T) {
	for _, s := range []Stage{
		{CathodeOhm: 1500},
		{CathodeOhm: 1500, BypassF: 47e-6, BypassESROhm: 0.5},
		{CathodeOhm: 820, RIAA: true, HeaterCathodeF: 3e-12},
		{CathodeOhm: 820, RIAA: true, Position: "second", GainBefore: 30, GainAfter: 100},
	} {
		const allowed = 0.5e-6
		tg, err := DeriveTarget(s, allowed)
		if err != nil {
			t.Fatal(err)
		}
		var mask Limit
		for _, l := range tg.Limits {
			if l.Criterion == Mask {
				mask = l
			}
		}
		h := Hear(s, shaped(func(hz float64) float64 {
			if v, ok := MaskAt(mask.Points, hz); ok {
				return v
			}
			return 1e-12
		}))
		if want := allowed / math.Sqrt2; math.Abs(h.InputAVRMS/want-1) > 0.01 {
			t.Errorf("%+v: adds %g, want %g", s, h.InputAVRMS, want)
		}
		if s.GainAfter > 0 && math.Abs(h.OutputAVRMS/h.InputAVRMS-3000) > 1e-6 {
			t.Errorf("output %g", h.OutputAVRMS)
		}
		e := Evaluate(Unit{Captures: []*analysis.Measurement{shaped(func(hz float64) float64 { return 1e-9 })}}, tg)
		if m := marginOf(t, e, Mask); !m.Covered || m.At == "" {
			t.Errorf("mask: %+v", m)
		}
	}
}

// More coupling, more heard: every input moves the result the right way.
func TestHearMovesTheRightWay(t *testing.T) {
	quiet := shaped(func(float64) float64 { return 1e-6 })
	base := Hear(Stage{CathodeOhm: 1e3, BypassF: 1e-6}, quiet).InputAVRMS
	for name, s := range map[string]Stage{
		"greater cathode resistor": {CathodeOhm: 3e3, BypassF: 1e-6},
		"smaller bypass":           {CathodeOhm: 1e3, BypassF: 0.1e-6},
		"more capacitance":         {CathodeOhm: 1e3, BypassF: 1e-6, HeaterCathodeF: 10e-12},
		"less insulation":          {CathodeOhm: 1e3, BypassF: 1e-6, HeaterCathodeOhm: 1e6},
		"lower mu":                 {CathodeOhm: 1e3, BypassF: 1e-6, Mu: 10},
	} {
		if got := Hear(s, quiet).InputAVRMS; got <= base {
			t.Errorf("%s: %g, not above %g", name, got, base)
		}
	}
	loud := Hear(Stage{CathodeOhm: 1e3, BypassF: 1e-6}, shaped(func(float64) float64 { return 2e-6 }))
	if math.Abs(loud.InputAVRMS/base-2) > 1e-9 {
		t.Errorf("twice the noise: %g times", loud.InputAVRMS/base)
	}
}

func TestHearSaysWhatIsNotCovered(t *testing.T) {
	m := shaped(func(float64) float64 { return 1e-6 })
	m.Span = capture.Span{LowHz: 5, HighHz: 8e3}
	h := Hear(Stage{CathodeOhm: 1e3}, m)
	if !h.Known || !strings.Contains(h.Missing, "20 kHz") || !strings.Contains(h.CannotDecide, "rectifies") {
		t.Errorf("%+v", h)
	}
	if h := Hear(Stage{CathodeOhm: 1e3}); h.Known || h.Missing == "" {
		t.Errorf("%+v", h)
	}
	if h := Hear(Stage{}, m); h.Known || h.Missing == "" {
		t.Errorf("no cathode resistor: %+v", h)
	}
}

func TestMaskInterpolatesInLogs(t *testing.T) {
	p := []MaskPoint{{100, 1e-6}, {10e3, 1e-8}}
	if v, ok := MaskAt(p, 1e3); !ok || math.Abs(v-1e-7) > 1e-13 {
		t.Errorf("%g %v", v, ok)
	}
	for _, hz := range []float64{99, 10.1e3} {
		if _, ok := MaskAt(p, hz); ok {
			t.Errorf("inside at %g Hz", hz)
		}
	}
}
