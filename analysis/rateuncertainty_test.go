package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// TestRateUncertaintyReachesFrequency: a sample rate known to 100 ppm gives no
// frequency to less, and a rate that is known leaves it as sharp as it was.
func TestRateUncertaintyReachesFrequency(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	tr := &capture.Trace{SampleRateHz: 10e6, Span: capture.Span{LowHz: 500, HighHz: 4e6}, Volts: make([]float64, 20000)}
	for i := range tr.Volts {
		tr.Volts[i] = 5e-3*math.Abs(2*math.Mod(float64(i)*0.0101, 1)-1) + 1e-4*rng.NormFloat64()
	}
	of := func(rateUHz float64) float64 {
		tr.SampleRateUHz = rateUHz
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		if !m.SwitchingHz.Known || math.Abs(m.SwitchingHz.Value-101e3) > 10 {
			t.Fatalf("switching at %v Hz, want 101 kHz", m.SwitchingHz)
		}
		return m.SwitchingHz.U
	}
	if u := of(0); u > 2 {
		t.Errorf("± %.3g Hz where the rate is known", u)
	}
	if u := of(1e3); u < 10.1 || u > 11 {
		t.Errorf("± %.3g Hz where the rate is known to 100 ppm, want 10.1 Hz and little more", u)
	}
}
