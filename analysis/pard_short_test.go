package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// Slow noise has few independent values in a short record: the rms of one scatters by
// a tenth and more about the noise's own, and the ± holds that, by closed form of the
// one pole that made it. White noise stays sharp.
func TestRandomPartOfShortRecords(t *testing.T) {
	const n, draws, rms, rate = 1000, 60, 1e-3, 1e8
	for _, corner := range []float64{6e6, 0} { // Hz, 0: white
		r := rand.New(rand.NewPCG(5, 9))
		held, wide := 0, 0.0
		for range draws {
			v := make([]float64, n)
			keep, y := 0.0, 0.0
			if corner > 0 {
				keep = math.Exp(-2 * math.Pi * corner / rate)
				y = rms * r.NormFloat64()
			}
			for i := range v {
				y = keep*y + rms*math.Sqrt(1-keep*keep)*r.NormFloat64()
				v[i] = y
			}
			tr := &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
				BandwidthHz: 5e7, Span: capture.Span{LowHz: 4e5, HighHz: 4e7}, Levels: capture.Levels{Distinct: capture.MostLevels}}
			m, err := Measure(t.Context(), tr, Setup{})
			if err != nil {
				t.Fatal(err)
			}
			f := m.RandomRMSV
			if !f.Known || math.Abs(f.Value-rms) <= f.U || f.UpperBound && f.Value+f.U >= rms {
				held++
			}
			wide += f.U / rms / draws
		}
		if held < draws*90/100 || corner == 0 && wide > 0.12 {
			t.Errorf("corner %g Hz: held %d of %d, ± %.0f %%", corner, held, draws, 100*wide)
		}
	}
}
