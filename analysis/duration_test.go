package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// Gaussian pulses of known duration at half height (closed form: 2·√(ln 2)·… of the
// exponent used here) in 1 mV of white noise at 200 MS/s. The ± holds the durations that
// are there, stays narrow where all are alike, and does not fall silent.
func TestPulseDurations(t *testing.T) {
	const rate, n = 200e6, 100000
	every := func(periodS, jitterS float64) func(r *rand.Rand) []float64 {
		return func(r *rand.Rand) (times []float64) {
			for k := 1.0; k*periodS < n/rate-periodS; k++ {
				times = append(times, k*periodS+jitterS*r.NormFloat64())
			}
			return times
		}
	}
	anywhere := func(r *rand.Rand) (times []float64) {
		for range 40 {
			times = append(times, n/rate*r.Float64())
		}
		return times
	}
	for name, c := range map[string]struct {
		times     func(*rand.Rand) []float64
		durationS [2]float64                  // of every other pulse
		under     func(timeS float64) float64 // volts
		mostShare float64                     // of ± in the greater duration
	}{
		"alike, at no cycle":         {anywhere, [2]float64{100e-9, 100e-9}, func(float64) float64 { return 0 }, 0.25},
		"unlike, at no cycle":        {anywhere, [2]float64{40e-9, 160e-9}, func(float64) float64 { return 0 }, 1},
		"on slopes of a slow ripple": {anywhere, [2]float64{100e-9, 100e-9}, func(s float64) float64 { return 0.2 * math.Sin(2*math.Pi*1.3e3*s) }, 0.4},
		"edges that jitter":          {every(10.01e-6, 50e-9), [2]float64{40e-9, 40e-9}, func(s float64) float64 { return 0.01 * math.Sin(2*math.Pi*s/10.01e-6) }, 1.2},
		"edges that keep time":       {every(10.01e-6, 0), [2]float64{40e-9, 40e-9}, func(s float64) float64 { return 0.01 * math.Sin(2*math.Pi*s/10.01e-6) }, 0.25},
	} {
		t.Run(name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(11, 13))
			v := make([]float64, n)
			for i := range v {
				v[i] = 1e-3*r.NormFloat64() + c.under(float64(i)/rate)
			}
			for k, at := range c.times(r) {
				d := c.durationS[k%2]
				for i := max(int((at-3*d)*rate), 0); i < min(int((at+3*d)*rate), n); i++ {
					x := (float64(i)/rate - at) / d
					v[i] += 60e-3 * math.Exp(-4*math.Ln2*x*x)
				}
			}
			m, err := Measure(context.Background(), &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true,
				Coupling: capture.CouplingAC, Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}}, Setup{})
			if err != nil {
				t.Fatal(err)
			}
			d := m.Spikes.DurationMedianS
			for _, want := range c.durationS {
				if !d.Known || math.Abs(d.Value-want) > d.U {
					t.Errorf("%.3g ± %.2g s, want %.3g inside", d.Value, d.U, want)
				}
			}
			if most := c.mostShare * max(c.durationS[0], c.durationS[1]); d.U > most {
				t.Errorf("± %.2g s, want %.2g at most", d.U, most)
			}
		})
	}
}
