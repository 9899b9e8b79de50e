package capture

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
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
			means := newBlurredMeans(x, extentOf(x).blocks)
			top, bottom := means.plateau(-1), means.plateau(1)
			if (top.Samples > 0) != (c.flatV > 0) || (bottom.Samples > 0) != (c.flatV > 0) {
				t.Errorf("%s, noise %g V: top %+v, bottom %+v", c.name, noise, top, bottom)
			}
			if c.flatV > 0 && (math.Abs(top.LevelV-c.flatV) > 0.5e-3 || math.Abs(bottom.LevelV+c.flatV) > 0.5e-3) {
				t.Errorf("%s: levels %g and %g V", c.name, top.LevelV, bottom.LevelV)
			}
		}
	}
}

// A record of 56 mV peak-to-peak whose input saturated at 24 mV to either side reads
// below 50 mV; the importer says why it is not to be believed.
func TestRecordSaturatedAheadOfItsNoise(t *testing.T) {
	for _, c := range []struct {
		endV float64
		said bool
	}{{24e-3, true}, {1, false}} {
		rng := rand.New(rand.NewPCG(5, 6))
		rows := rowsOf(20000, func(i int) string {
			v := 56e-3 * (0.5 - math.Abs(2*math.Mod(float64(i)/1250, 1)-1))
			return fmt.Sprintf("%.4f", math.Round((max(min(v, c.endV), -c.endV)+0.3e-3*rng.NormFloat64())/0.8e-3)*0.8e-3)
		})
		tr, err := Read(context.Background(), strings.NewReader("Sample Interval,1e-8\n\nCH1 (V)\n"+rows), "x.csv", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if said := hasCode(tr, CautionFlatTops); said != c.said {
			t.Errorf("cut off at %g V: cautions %+v", c.endV, tr.Cautions)
		}
	}
}

func hasCode(tr *Trace, code string) bool {
	return slices.ContainsFunc(tr.Cautions, func(k Caution) bool { return k.Code == code })
}
