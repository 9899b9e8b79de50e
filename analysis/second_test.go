package analysis

import (
	"context"
	"math"
	"testing"

	"stillglow/analysis/cycle"
)

// Two converters in one box, a pre-regulator and the main one: the stronger is
// the switching frequency, the other the second, and neither is a harmonic or a
// sum of the two.
func TestTwoConverters(t *testing.T) {
	main, pre := trapSupply(), trapSupply()
	pre.SwitchingHz, pre.RipplePPV, pre.ESRStepV, pre.Seed = 65.27e3, 7e-3, 0, 12
	pre.SpikeRiseV, pre.SpikeFallV, pre.NoiseVPerRtHz, pre.ADCBits = 0, 0, 0, 0
	tr, truth := main.Trace("two")
	other, _ := pre.Trace("pre")
	for i, v := range other.Volts {
		tr.Volts[i] += v
	}
	tr.StepV = 0
	m, err := Measure(context.Background(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "switching", m.SwitchingHz, truth.SwitchingHz, 50e-6)
	within(t, "second", m.SecondSwitchingHz, pre.SwitchingHz, 1e-3)
	if u := m.SecondSwitchingHz.U; math.Abs(m.SecondSwitchingHz.Value-pre.SwitchingHz) > u || !(u > 0) || u > 1e-3*pre.SwitchingHz {
		t.Errorf("second ± %g Hz, %g Hz off", u, m.SecondSwitchingHz.Value-pre.SwitchingHz)
	}
	within(t, "ripple", m.RipplePPV, truth.RipplePPV, 0.03)
	if m.Kind != cycle.Fixed {
		t.Errorf("kind %q", m.Kind)
	}
	second := 0
	for _, l := range m.Lines {
		if l.Comb == "second" {
			second++
		}
	}
	if second == 0 {
		t.Error("no line is named after the second converter")
	}
	within(t, "random part", m.RandomRMSV, math.Hypot(truth.RandomRMSV, truth.ADCStepV/math.Sqrt(12)), 0.1)
}

// Two alike converters whose clocks lie 2 % apart: in a record of 40 cycles their first
// harmonics are one line, and a higher one of the second stands by itself. It is no
// fundamental.
func TestAlikeConvertersAreNoSecondAtAHarmonic(t *testing.T) {
	for _, share := range []float64{1.012, 1.02, 0.985} {
		one := trapSupply()
		one.Samples = 20e3
		two := one
		two.SwitchingHz, two.Seed, two.NoiseVPerRtHz, two.ADCBits = share*one.SwitchingHz, 12, 0, 0
		one.ADCBits = 0
		tr, _ := one.Trace("alike")
		other, _ := two.Trace("alike")
		for i, v := range other.Volts {
			tr.Volts[i] += v
		}
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		if f := m.SecondSwitchingHz; f.Known && math.Abs(f.Value-two.SwitchingHz) > f.U && math.Abs(f.Value-one.SwitchingHz) > f.U {
			t.Errorf("%g kHz beside %g: a second converter at %g ± %g Hz", two.SwitchingHz/1e3, one.SwitchingHz/1e3, f.Value, f.U)
		}
	}
}
