package analysis

import (
	"context"
	"math"
	"testing"

	"stillglow/capture"
)

// The crest factors of a sine and of a square wave are √2 and 1 by their definition;
// of a constant there is none.
func TestCrestFactorInClosedForm(t *testing.T) {
	row, ok := Lookup("crest_factor")
	if !ok {
		t.Fatal("no row")
	}
	const n = 10000
	for name, c := range map[string]struct {
		wave func(i int) float64
		want float64 // 0: not measured
	}{
		"sine":     {func(i int) float64 { return math.Sin(2 * math.Pi * float64(i) / 100) }, math.Sqrt2},
		"square":   {func(i int) float64 { return float64(i / 50 % 2) }, 1},
		"constant": {func(int) float64 { return 5 }, 0},
	} {
		tr := &capture.Trace{SampleRateHz: 1e6, TrueRateHz: 1e6, Calibrated: true, Span: capture.Span{LowHz: 100, HighHz: 4e5}}
		for i := range n {
			tr.Volts = append(tr.Volts, c.wave(i))
		}
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		f := row.Read(m)
		if f.Known != (c.want > 0) || f.Known && math.Abs(f.Value-c.want) > 1e-3 {
			t.Errorf("%s: %+v, want %.4f", name, f, c.want)
		}
		if !f.Known && f.Missing == "" {
			t.Errorf("%s: not measured without a reason", name)
		}
	}
}
