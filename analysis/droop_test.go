package analysis_test

import (
	"math"
	"math/rand"
	"testing"

	"stillglow/capture"
)

// A mean over each sample interval takes sin(x)/x of a line, x = π·f/rate: at 0.36 of
// the rate a fifth is gone, and the fundamental of a record made so is a lower bound
// whose ± holds the loss.
func TestFundamentalOfARecordOfMeans(t *testing.T) {
	const n, rate, hz, rms = 50_000, 1e6, 358_400.0, 1.03e-3
	for _, mode := range []capture.AcquisitionMode{capture.AcquisitionHighRes, capture.AcquisitionSample} {
		r := rand.New(rand.NewSource(6))
		v := make([]float64, n)
		x := math.Pi * hz / rate
		for i := range v {
			v[i] = math.Sqrt2*rms*math.Sin(x)/x*math.Sin(2*math.Pi*hz*float64(i)/rate) + 2e-5*r.NormFloat64()
		}
		tr := &capture.Trace{Volts: v, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
		tr.Acquisition.Mode = mode
		f := measured(t, tr).SwitchingFundamentalRMSV
		means := mode == capture.AcquisitionHighRes
		if !f.Known || f.LowerBound != means || means && f.Value+f.U < rms {
			t.Errorf("%s: the fundamental is %+v, true %g", mode, f, rms)
		}
	}
}
