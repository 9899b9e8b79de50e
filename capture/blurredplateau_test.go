package capture

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Waves cut off ahead of the noise are known by the level that they come back to, and
// natural ones, spikes and noise alone are not.
func TestBlurredPlateau(t *testing.T) {
	const n, period, pp = 50_000, 1250.0, 56e-3
	triangle := func(i int) float64 { return pp * (0.5 - math.Abs(2*math.Mod(float64(i)/period, 1)-1)) }
	sine := func(i int) float64 { return pp / 2 * math.Sin(2*math.Pi*float64(i)/period) }
	parabolas := func(i int) float64 {
		x := 4*math.Mod(float64(i)/period, 1) - 1
		if x > 1 {
			return -pp / 2 * (1 - (x-2)*(x-2))
		}
		return pp / 2 * (1 - x*x)
	}
	spikes := func(i int) float64 {
		v := 0.2 * triangle(i)
		if m := math.Mod(float64(i), period/2); m < 8 {
			v += pp * math.Exp(-m/3)
		}
		return v
	}
	quarters := func(i int) float64 { return triangle(int(period) * i / n * n / 4) }
	cut := func(wave func(int) float64, at float64) func(int) float64 {
		return func(i int) float64 { return max(min(wave(i), at), -at) }
	}
	for _, c := range []struct {
		name  string
		wave  func(int) float64
		flatV float64 // where it is cut off; 0: it is not
	}{
		{"triangle", triangle, 0},
		{"sine", sine, 0},
		{"parabolas", parabolas, 0},
		{"spikes on a triangle", spikes, 0},
		{"noise alone", func(int) float64 { return 0 }, 0},
		{"a quarter of a triangle", quarters, 0},
		{"triangle cut off", cut(triangle, 24e-3), 24e-3},
		{"sine cut off", cut(sine, 24e-3), 24e-3},
		{"triangle cut off at half", cut(triangle, 14e-3), 14e-3},
	} {
		for _, noise := range []float64{0.1e-3, 0.5e-3} {
			rng := rand.New(rand.NewPCG(3, 4))
			x := make([]float64, n)
			for i := range x {
				x[i] = math.Round((c.wave(i)+noise*rng.NormFloat64())/0.2e-3) * 0.2e-3
			}
			top, bottom := blurredPlateau(x, -1), blurredPlateau(x, 1)
			if (top.Samples > 0) != (c.flatV > 0) || (bottom.Samples > 0) != (c.flatV > 0) {
				t.Errorf("%s, noise %g V: top %+v, bottom %+v", c.name, noise, top, bottom)
			}
			if c.flatV > 0 && (math.Abs(top.LevelV-c.flatV) > 0.5e-3 || math.Abs(bottom.LevelV+c.flatV) > 0.5e-3) {
				t.Errorf("%s: levels %g and %g V", c.name, top.LevelV, bottom.LevelV)
			}
		}
	}
}
