package capture

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestFitSine(t *testing.T) {
	for _, c := range []struct {
		n                    int
		rate, f, a, ph, off  float64
		noise, tolF, tolAmpl float64
	}{
		{64, 1000, 87.3, 1, 0.3, 0, 0, 1e-9, 1e-9},
		{1001, 48000, 997.1, 0.25, -2, 0.01, 0, 1e-9, 1e-9},
		{48000, 48000, 1000, 0.7, 3, -0.2, 0, 1e-10, 1e-9},
		// Noise of rms s: the amplitude's standard error is s·sqrt(2/n), the
		// frequency's rate·sqrt(6)·s/(a·pi·n^1.5) (the Cramér-Rao bound of a
		// sine, from memory); five of each are allowed.
		{192000, 192000, 60.02, 0.5, 1, 0, 0.01, 5 * 192000 * 2.45 * 0.01 / (0.5 * math.Pi * math.Pow(192000, 1.5)) / 60, 5 * 0.01 * math.Sqrt(2./192000) / 0.5},
		{1 << 20, 96000, 12345.678, 0.9, 0, 0.1, 0.001, 1e-9, 1e-5},
		{4099, 44100, 21000, 0.9, 0, 0.1, 0, 1e-9, 1e-9},
	} {
		r := rand.New(rand.NewPCG(5, 6))
		x := make([]float64, c.n)
		for i := range x {
			x[i] = c.off + c.a*math.Cos(2*math.Pi*c.f*float64(i)/c.rate+c.ph) + c.noise*r.NormFloat64()
		}
		f, err := FitSine(x, c.rate, 0)
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		if math.Abs(f.FrequencyHz/c.f-1) > c.tolF || math.Abs(f.Amplitude/c.a-1) > c.tolAmpl || math.Abs(math.Remainder(f.PhaseRad-c.ph, 2*math.Pi)) > 1e-6+10*c.noise {
			t.Errorf("%+v: got %+v", c, f)
		}
		if math.Abs(f.ResidualRMS-c.noise) > 0.02*c.noise+1e-9 {
			t.Errorf("%+v: residual %g", c, f.ResidualRMS)
		}
	}
}

func TestFitSineRefuses(t *testing.T) {
	nan := make([]float64, 100)
	nan[5] = math.NaN()
	slow := make([]float64, 1000)
	for i := range slow {
		slow[i] = math.Sin(float64(i) * 2 * math.Pi / 900)
	}
	for name, x := range map[string][]float64{"short": make([]float64, 10), "constant": make([]float64, 1000), "NaN": nan, "one cycle": slow} {
		if f, err := FitSine(x, 1000, 0); err == nil {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// What a computed sine leaves is not printed as if it had been measured.
func TestResidualText(t *testing.T) {
	for share, want := range map[float64]string{0.0123: "1.23 %", 3e-5: "0.003 %", 1.3e-7: "under 0.001 %", 0: "under 0.001 %"} {
		if got := (Calibration{Residual: share}).ResidualText(3); got != want {
			t.Errorf("%g: %q, want %q", share, got, want)
		}
	}
}
