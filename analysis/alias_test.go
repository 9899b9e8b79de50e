package analysis

import (
	"context"
	"reflect"
	"strings"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/internal/reference"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
	"stillglow/capture/synth"
)

// lineCapture measures a capture that shows nothing but one line and noise.
func lineCapture(t *testing.T, file string, hz, rateHz float64) *Measurement {
	t.Helper()
	const n = 1 << 14
	x := reference.Tones(n, rateHz, [3]float64{hz, 5e-3, 1})
	for i, e := range reference.WhiteNoise(n, 1e-4, uint64(hz+rateHz)) {
		x[i] += e
	}
	m, err := Measure(context.Background(), &capture.Trace{File: file, Volts: x, SampleRateHz: rateHz, TrueRateHz: rateHz,
		Coupling: capture.CouplingAC, Calibrated: true, Span: capture.Span{LowHz: 4 * rateHz / n, HighHz: 0.4 * rateHz}}, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func aliasText(m *Measurement) string {
	for _, c := range m.Cautions {
		if c.Code == capture.CautionAliasShown {
			return c.Text
		}
	}
	return ""
}

// Two captures too slow to be sure. The folded frequencies by hand: 165 kHz
// stands at 35 kHz at 200 kS/s and at 75 kHz at 240 kS/s, and nothing else up to
// 1 MHz does; with 250 kS/s (85 kHz) 835 kHz does as well.
func TestTwoSlowCapturesExposeAnAlias(t *testing.T) {
	taken := map[[2]float64]*Measurement{}
	take := func(file string, hz, rate float64) *Measurement {
		m := taken[[2]float64{hz, rate}]
		if m == nil {
			m = lineCapture(t, file, hz, rate)
			taken[[2]float64{hz, rate}] = m
		}
		again := *m
		again.File = file
		return &again
	}
	for _, c := range []struct {
		hz, rateA, rateB       float64
		exposedA, exposedB     string // words of the caution, "" none
		suspectedA, suspectedB bool
	}{
		{165.1e3, 200e3, 240e3, "only be switching at 165 kHz", "only be switching at 165 kHz", false, false},
		{165.1e3, 200e3, 250e3, "165 kHz or 835 kHz", "165 kHz or 835 kHz", false, false},
		{130.3e3, 200e3, 350e3, "switching at 130 kHz", "", false, false}, // true in the faster one
		{65.1e3, 200e3, 240e3, "", "", false, false},                      // both true
		{65.1e3, 200e3, 400e3, "", "", true, true},                        // 335 kHz would look alike in both
		{65.1e3, 200e3, 200e3, "", "", true, true},                        // the same rate twice tells nothing
	} {
		a, b := take("a.csv", c.hz, c.rateA), take("b.csv", c.hz, c.rateB)
		if !a.HasCaution(capture.CautionAlias) || !b.HasCaution(capture.CautionAlias) {
			t.Fatalf("%g Hz: one alone earns no caution", c.hz)
		}
		before := *a
		got := SettleAliases([]*Measurement{a, b})
		for i, want := range []string{c.exposedA, c.exposedB} {
			if text := aliasText(got[i]); (text == "") != (want == "") || !strings.Contains(text, want) {
				t.Errorf("%g Hz at %g and %g S/s, capture %d: %q, want %q", c.hz, c.rateA, c.rateB, i, text, want)
			}
		}
		if got[0].HasCaution(capture.CautionAlias) != c.suspectedA || got[1].HasCaution(capture.CautionAlias) != c.suspectedB {
			t.Errorf("%g Hz at %g and %g S/s: %v and %v, want suspicion %v and %v", c.hz, c.rateA, c.rateB, got[0].Cautions, got[1].Cautions, c.suspectedA, c.suspectedB)
		}
		if !reflect.DeepEqual(before, *a) {
			t.Error("the measurement given was changed")
		}
	}
}

// A fast capture settles slow ones, also one whose half rate lies above what the
// trade switches at, and takes back what it said of the switching.
func TestFastCaptureExposesAnAlias(t *testing.T) {
	s := synth.Supply{Seed: 8, ACCoupled: true, SwitchingHz: 1.2e6, RipplePPV: 10e-3, NoiseVPerRtHz: 50e-9}
	at := func(rate float64) *Measurement {
		s.RateHz, s.Samples = rate, 1<<16
		m, _ := measureSupply(t, s, Setup{})
		return m
	}
	fast, folded := at(50e6), at(1.25e6)
	within(t, "1.2 MHz at 50 MS/s", fast.SwitchingHz, 1.2e6, 2e-6)
	if !folded.SwitchingHz.Known || !folded.RipplePPV.Known {
		t.Fatalf("1.2 MHz at 1.25 MS/s shows no line to mistake: %+v", folded.SwitchingHz)
	}
	got := SettleAliases([]*Measurement{folded, fast})
	if text := aliasText(got[0]); !strings.Contains(text, "50 kHz") || !strings.Contains(text, "1.2 MHz") {
		t.Errorf("%q", text)
	}
	for _, l := range got[0].Lines {
		if strings.Contains(l.Name, "switching") || l.Comb == spectrum.CombSwitching {
			t.Errorf("a line is still named %q", l.Name)
		}
	}
	if l := lineAt(got[0].Lines, 50e3, 10); l == nil || l.Name != "alias (50 kHz)" {
		t.Errorf("the alias is named %+v", l)
	}
	for name, f := range map[string]figure.Figure{"switching": got[0].SwitchingHz, "ripple": got[0].RipplePPV, "rms": got[0].RippleRMSV, "slope": got[0].Cycle.RiseSlopeVPerS} {
		if f.Known || f.Missing == "" {
			t.Errorf("%s: %+v from an alias", name, f)
		}
	}
	if !reflect.DeepEqual(got[1], fast) {
		t.Error("the fast capture is changed")
	}

	s.SwitchingHz = 165.1e3
	got = SettleAliases([]*Measurement{at(200e3), at(20e6)})
	if text := aliasText(got[0]); !strings.Contains(text, "165 kHz") || got[0].HasCaution(capture.CautionAlias) {
		t.Errorf("165 kHz at 200 kS/s: %q, %+v", text, got[0].Cautions)
	}
	// a dithered supply smears its alias and is told all the same
	s.DitherFrac = 0.02
	got = SettleAliases([]*Measurement{at(200e3), at(20e6)})
	if aliasText(got[0]) == "" {
		t.Errorf("dithered: %+v", got[0].Cautions)
	}
	s.DitherFrac = 0
	// a true line whose third harmonic is folded to 4.7 kHz
	s.SwitchingHz = 65.1e3
	got = SettleAliases([]*Measurement{at(200e3), at(20e6)})
	if text := aliasText(got[0]); !strings.Contains(text, "3rd harmonic") {
		t.Errorf("third harmonic folded into the audio band: %q, %+v", text, got[0].Cautions)
	}
}
