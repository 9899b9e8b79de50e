package analysis_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture"
)

// A 20 MHz limit that nobody states shows by the input's own noise, 15 nV/√Hz (100 to 300 µV
// rms in 100 MHz, common practice, no source): the 20 MHz figures, filtered twice, are lower bounds,
// and a caution says why. A scope of 50 MHz, one of 100 MHz under a supply's noise that
// falls from 10 MHz on, and a limit that is stated are not taken for it. The truth is
// each record's own low-pass, one pole.
func TestUnsaidLimitIsSeen(t *testing.T) {
	const rate, n = 500e6, 60_000
	for name, c := range map[string]struct {
		inputHz, supply float64 // V/√Hz ahead of one pole at 10 MHz
		stated          bool
		seen            bool
	}{
		"20 MHz":                       {20e6, 0, false, true},
		"20 MHz under a supply":        {20e6, 30e-9, false, true},
		"50 MHz":                       {50e6, 0, false, false},
		"100 MHz":                      {100e6, 0, false, false},
		"100 MHz, supply's noise":      {100e6, 40e-9, false, false},
		"100 MHz, more of that":        {100e6, 200e-9, false, false},
		"20 MHz, and the file says so": {20e6, 0, true, false},
	} {
		t.Run(name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(31, 6))
			pole := func(hz float64) func(float64) float64 {
				a, now := 1-math.Exp(-2*math.Pi*hz/rate), 0.0
				return func(v float64) float64 { now += a * (v - now); return now }
			}
			own, input := pole(10e6), pole(c.inputHz)
			x := make([]float64, n)
			for i := range x {
				p := math.Mod(float64(i)*180e3/rate, 1)
				v := 5e-3*math.Min(p/0.3, (1-p)/0.7) + own(c.supply*math.Sqrt(rate/2)*r.NormFloat64())
				// the input's noise is made ahead of its limit
				x[i] = math.Round(input(v+15e-9*math.Sqrt(rate/2)*r.NormFloat64())/50e-6) * 50e-6
			}
			tr := &capture.Trace{Volts: x, SampleRateHz: rate, TrueRateHz: rate, Calibrated: true, Coupling: capture.CouplingAC,
				Span: capture.Span{LowHz: 4 * rate / n, HighHz: 0.4 * rate}, Levels: capture.Levels{Distinct: capture.MostLevels}}
			if c.stated {
				tr.BandwidthHz, tr.BandLimited, tr.Span.HighHz = 20e6, true, 20e6
			}
			m := measured(t, tr)
			if !m.PP20MHzV.Known || m.PP20MHzV.LowerBound != c.seen || m.HasCaution(capture.CautionLimitSeen) != c.seen {
				t.Errorf("p-p %+v, %+v", m.PP20MHzV, m.Cautions)
			}
			if m.PPV.LowerBound || !m.RipplePPV.Known || m.RipplePPV.LowerBound {
				t.Errorf("p-p %+v, ripple %+v", m.PPV, m.RipplePPV)
			}
		})
	}
}
