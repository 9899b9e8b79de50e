package analysis

import (
	"context"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// Samples that the file marks as over the range, too few to pile up at the record's own
// extremes, make the peaks lower bounds all the same: what they were is not known. Without
// them the same record has no bound.
func TestMarkedOverRangeBoundsThePeaks(t *testing.T) {
	for _, marked := range []int{0, 1, 40} {
		tr := &capture.Trace{
			Volts: reference.WhiteNoise(100_000, 1e-3, 7), SampleRateHz: 100e6, Calibrated: true, Coupling: capture.CouplingAC,
			Span: capture.Span{LowHz: 4e3, HighHz: 40e6}, Levels: capture.Levels{OverRange: marked},
		}
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		if !m.PPV.Known || !m.PP20MHzV.Known {
			t.Fatalf("%d marked: peak-to-peak %+v, behind 20 MHz %+v", marked, m.PPV, m.PP20MHzV)
		}
		for name, bound := range map[string]bool{"peak-to-peak": m.PPV.LowerBound, "20 MHz": m.PP20MHzV.LowerBound, "99.9 %": m.PP20MHz999V.LowerBound} {
			if bound != (marked > 0) {
				t.Errorf("%d marked: %s is a lower bound: %v", marked, name, bound)
			}
		}
	}
}
