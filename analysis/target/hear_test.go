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
// 10 MΩ, so 1e3/318.15e3 = -50.06 dB; mu 100 adds 20·log10(1.01) = 0.086 dB. One
// end at ground leaves half of the heater's volts, -6.02 dB. A grid circuit of no
// resistance takes nothing.
func TestCouplingByHand(t *testing.T) {
	s := Stage{CathodeOhm: 1e3, SourceOhm: 1e-6}
	for hz, want := range map[float64]float64{100: -80.0 + 0.086 - 6.02, 100e3: -50.06 + 0.086 - 6.02} {
		if got := 20 * math.Log10(s.Coupling(hz)); math.Abs(got-want) > 0.02 {
			t.Errorf("%g Hz: %.3f dB, want %.3f", hz, got, want)
		}
	}
	// A bypass of 100 µF is 1.59 Ω at 1 kHz: 1 kΩ falls to that, 56 dB.
	b := Stage{CathodeOhm: 1e3, BypassF: 100e-6, SourceOhm: 1e-6}
	if got := 20 * math.Log10(b.Coupling(1e3)/s.Coupling(1e3)); math.Abs(got+55.96) > 0.02 {
		t.Errorf("bypass: %.3f dB", got)
	}
	second := Stage{CathodeOhm: 1e3, SourceOhm: 1e-6, Position: "second", GainBefore: 50}
	if got := s.Coupling(1e3) / second.Coupling(1e3); math.Abs(got-50) > 1e-9 {
		t.Errorf("second stage: %g", got)
	}
	// The grid's path: 0.15 pF is 1.061 GΩ at 1 kHz, into 47 kΩ: 4.430e-5. Bypassed,
	// the cathode's is 1.59/31.8e6·1.01 = 5.1e-8 and counts no more.
	g := Stage{CathodeOhm: 1e3, BypassF: 100e-6, HeaterGridF: 0.15e-12, SourceOhm: 47e3}
	if got := g.Coupling(1e3); math.Abs(got/(0.5*4.435e-5)-1) > 0.005 {
		t.Errorf("grid: %g", got)
	}
	// The reference: a common-mode volt over 100 Ω is 10 mA, and makes 0.5 V in the
	// 50 Ω of a centre tap; half of 50 kΩ beside 10 µF at 100 Hz is 159.15 Ω, 1.59 V.
	for ref, want := range map[Reference]float64{CentreTap: 0.5, Elevated: 1.5915, OneEnd: 0.001} {
		at := s
		at.Reference = ref
		if got := at.commonCoupling(100) / at.withDefaults().heaterPath(100); math.Abs(got/want-1) > 0.001 {
			t.Errorf("%s: %g V a volt, want %g", ref, got, want)
		}
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
		const allowed = 0.002e-6 // so little that no limit of a named target bounds the mask
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
		if want := allowed / 2; math.Abs(h.InputAVRMS/want-1) > 0.01 {
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
	start := Stage{CathodeOhm: 1e3, BypassF: 1e-6, HeaterGridF: 0.01e-12}
	base := Hear(start, quiet).InputAVRMS
	for name, change := range map[string]func(*Stage){
		"greater cathode resistor": func(s *Stage) { s.CathodeOhm = 3e3 },
		"smaller bypass":           func(s *Stage) { s.BypassF = 0.1e-6 },
		"more capacitance":         func(s *Stage) { s.HeaterCathodeF = 10e-12 },
		"less insulation":          func(s *Stage) { s.HeaterCathodeOhm = 1e6 },
		"lower mu":                 func(s *Stage) { s.Mu = 10 },
		"more to the grid":         func(s *Stage) { s.HeaterGridF = 0.1e-12 },
		"greater source":           func(s *Stage) { s.SourceOhm = 500e3 },
	} {
		s := start
		change(&s)
		if got := Hear(s, quiet).InputAVRMS; got <= base {
			t.Errorf("%s: %g, not above %g", name, got, base)
		}
	}
	loud := Hear(start, shaped(func(float64) float64 { return 2e-6 }))
	if math.Abs(loud.InputAVRMS/base-2) > 1e-9 {
		t.Errorf("twice the noise: %g times", loud.InputAVRMS/base)
	}
}

// A centre tap takes most of the volts across the heater away and lets common mode
// in; one end at ground does the reverse. Both halves add in power.
func TestReferenceOfTheHeater(t *testing.T) {
	across := shaped(func(float64) float64 { return 1e-6 })
	both := shaped(func(float64) float64 { return 3e-6 })
	both.Mode = capture.Common
	h := Hear(Stage{CathodeOhm: 1e3, Reference: CentreTap}, across, both)
	if h.Missing != "" || !h.CommonWhole || !h.DifferentialWhole || len(h.ByReference) != 3 {
		t.Fatalf("%+v", h)
	}
	if got := math.Hypot(h.DifferentialAVRMS, h.CommonAVRMS); math.Abs(got/h.InputAVRMS-1) > 1e-9 {
		t.Errorf("halves make %g, the sum says %g", got, h.InputAVRMS)
	}
	by := map[Reference]HeardBy{}
	for _, r := range h.ByReference {
		by[r.Reference] = r
	}
	if by[CentreTap].InputAVRMS != h.InputAVRMS || h.Reference != CentreTap {
		t.Error("the stage's own reference is not in the table as it is")
	}
	if r := by[OneEnd].DifferentialAVRMS / by[CentreTap].DifferentialAVRMS; math.Abs(r-10) > 1e-6 {
		t.Errorf("across the heater: one end is %g times a centre tap", r)
	}
	if by[OneEnd].CommonAVRMS > by[CentreTap].CommonAVRMS/100 {
		t.Errorf("common mode: one end %g, centre tap %g", by[OneEnd].CommonAVRMS, by[CentreTap].CommonAVRMS)
	}
	// Without the other half the sum is a lower bound, and says which is missing.
	one := Hear(Stage{CathodeOhm: 1e3}, across)
	if !one.Known || one.CommonKnown || !strings.Contains(one.Missing, "common mode not captured") {
		t.Errorf("%+v", one.Missing)
	}
	if other := Hear(Stage{CathodeOhm: 1e3}, both); !other.Known || other.DifferentialAVRMS != 0 || other.DifferentialKnown {
		t.Errorf("a common-mode capture is heard across the heater: %+v", other)
	}
}

// No derived limit is looser than the loosest of the named ones: 1.08 V of mains
// ripple on a bypassed stage's heater was what the cathode's path alone allowed.
func TestDerivedLimitsAreBounded(t *testing.T) {
	tg, err := DeriveTarget(Stage{CathodeOhm: 1500, BypassF: 100e-6}, 0.3e-6)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range tg.Limits {
		switch l.Criterion {
		case MainsLine, CommonMains, CommonAudio:
			if l.Max > loosest(l.Criterion) || l.Basis != Derived || !(l.Max > 0) {
				t.Errorf("%s: %g V", l.Criterion, l.Max)
			}
		case Mask:
			// Spread evenly per octave, 1 mV A-weighted is 12 µV/√Hz at 1 kHz.
			if v, ok := MaskAt(l.Points, 1e3); !ok || v > 12.1e-6 || l.Basis != Derived {
				t.Errorf("mask %g V/√Hz at 1 kHz", v)
			}
		}
	}
	d := derivation{Stage: Stage{CathodeOhm: 1500, BypassF: 100e-6}.withDefaults(), shareV: 0.15e-6}
	if v := d.allows(d.Coupling, 100); v < 0.05 || v > 0.5 {
		t.Errorf("the sum alone allows %g V, want some tenths: the grid's path is in it", v)
	}
}

func TestUnderText(t *testing.T) {
	for db, want := range map[float64]string{60: "60 dB or more under", 17.24: "17.2 dB under", -3: "3.0 dB over", -60: "60 dB or more over"} {
		if got := UnderText(db); got != want {
			t.Errorf("%g: %q", db, got)
		}
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
