package analysis

import (
	"context"
	"math"
	"testing"

	"stillglow/capture"
)

// A transmitter of 97.3 MHz picked up by the probe's loop is folded to 2.7 MHz at 100 MS/s
// and to where it belongs at 250 MS/s (|k·rate - f|, sampling theorem). The figures that
// hold the alias are upper limits; a line of the unit's own where no transmitter would
// come down, and a supply alone, leave them as they are.
func TestBroadcastIsFolded(t *testing.T) {
	for name, c := range map[string]struct {
		rate, hz float64
		bound    bool
	}{
		"97.3 MHz at 100 MS/s":             {100e6, 97.3e6, true},
		"91 MHz at 125 MS/s, above 20":     {125e6, 91e6, true},
		"97.3 MHz at 250 MS/s":             {250e6, 97.3e6, false},
		"the unit's 13.1 MHz at 125 MS/s":  {125e6, 13.1e6, false},
		"nothing beside the supply's comb": {100e6, 0, false},
	} {
		t.Run(name, func(t *testing.T) {
			tr := tracedBy(100_000, c.rate, 100e-6, func(s float64) float64 {
				_, phase := math.Modf(s * 231.7e3)
				return 6e-3*(math.Abs(2*phase-1)-0.5) + 1e-3*math.Sin(2*math.Pi*c.hz*s)
			})
			tr.BandwidthHz = 200e6
			m, err := Measure(context.Background(), tr, Setup{})
			if err != nil {
				t.Fatal(err)
			}
			band := m.band("1m_20m").RMSV
			if !m.PP20MHzV.Known || !band.Known || m.PP20MHzV.UpperBound != c.bound || c.bound && c.rate == 100e6 && !band.UpperBound || m.HasCaution(capture.CautionUnfiltered) != c.bound {
				t.Errorf("peak-to-peak in 20 MHz %+v, 1 to 20 MHz %+v, cautions %v; want upper bounds: %v", m.PP20MHzV, band, m.Cautions, c.bound)
			}
		})
	}
}
