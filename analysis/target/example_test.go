package target_test

import (
	"fmt"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// A unit with one fast capture against the line preamp's limits: its ripple breaks
// the limit by 1.6 dB, and what no capture covers stays open.
func ExampleEvaluate() {
	goal, err := target.Named("line-preamp")
	if err != nil {
		fmt.Println(err)
		return
	}
	fast := &analysis.Measurement{
		File: "unit-1-fast.csv", Calibrated: true, SampleRateHz: 100e6, DurationS: 1e-3,
		Span:     capture.Span{LowHz: 4e3, HighHz: 40e6},
		PP20MHzV: figure.Figure{Value: 24e-3, Known: true, U: 0.7e-3},
	}
	fast.Spikes.PeakP95V = figure.Known(12e-3)
	unit := target.Unit{Key: "invented 1", HeaterA: 0.6, Captures: []*analysis.Measurement{fast},
		Readings: []target.Reading{{LoadA: 0, V: 7.2}, {LoadA: 0.6, V: 7.0}}}

	e := target.Evaluate(unit, goal)
	fmt.Println(e.Verdict)
	for _, m := range e.Margins {
		if m.Covered {
			fmt.Printf("%s: %s, margin %.1f dB\n", m.Limit.Name, m.FigureText(), m.DB)
		}
	}
	// Output:
	// near miss
	// supply volts (loaded): 7 V, margin 14.0 dB
	// ripple p-p (20 MHz): 24 mV, margin -1.6 dB
	// spike peak (95th percentile): 12 mV, margin 8.0 dB
}
