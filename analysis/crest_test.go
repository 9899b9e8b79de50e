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

// A short record of few spikes has an rms that another would not have: its crest
// factor's ± is no smaller than the rms's own, as a share. Where peaks are cut off it is
// a lower bound.
func TestCrestFactorIsAsUnsureAsItsParts(t *testing.T) {
	row, _ := Lookup("crest_factor")
	s := trapSupply()
	s.Samples = 3000
	tr, _ := s.Trace("few cycles")
	m, err := Measure(context.Background(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	f, rms := row.Read(m), m.ACRMSV
	own := math.Sqrt(max(rms.U*rms.U-math.Pow(defaultGainFraction*rms.Value, 2), 0)) / rms.Value
	if f.LowerBound || !(f.U > 0) || math.Abs(f.U/f.Value-own) > 0.2*own+1e-3 {
		t.Errorf("crest factor %.3g ± %.2g, rms ± %.2g of it without the gain", f.Value, f.U, own)
	}
	top := 0.7 * m.PPV.Value / 2
	for i, v := range tr.Volts {
		tr.Volts[i] = min(max(v, -top), top)
	}
	tr.FullScaleMinV, tr.FullScaleMaxV = -top, top
	if m, err = Measure(context.Background(), tr, Setup{}); err != nil {
		t.Fatal(err)
	}
	if f := row.Read(m); !f.LowerBound || !m.HasCaution(capture.CautionClipped) {
		t.Errorf("cut off: %+v, cautions %v", f, m.Cautions)
	}
}
