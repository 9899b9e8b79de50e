package filter_test

import (
	"context"
	"fmt"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/filter"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// A unit whose mains line is 3 dB over its limit, and the cheapest part set that
// brings it inside with the usual reserve.
func ExampleSearch() {
	goal, err := target.Custom(map[string]float64{"mains_line_rms_v": 1e-3}, nil, [2]float64{}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	slow := &analysis.Measurement{
		File: "unit-1-slow.csv", Calibrated: true, SampleRateHz: 100e3, DurationS: 1,
		Span:        capture.Span{LowHz: 4, HighHz: 40e3},
		MainsLineHz: figure.Known(100), MainsLineRMS: figure.Known(1.4e-3),
	}
	unit := target.Unit{Key: "invented 1", HeaterA: 0.6, Captures: []*analysis.Measurement{slow},
		Readings: []target.Reading{{LoadA: 0, V: 7.2}, {LoadA: 0.6, V: 7.0}}}

	advice, err := filter.Search(context.Background(), filter.Input{Unit: unit, Target: goal}, filter.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("found:", advice.Found)
	for _, part := range advice.Best.Parts {
		fmt.Println(part)
	}
	fmt.Printf("margin behind it: %.1f dB\n", advice.Best.After.Margins[0].DB)
	// Output:
	// found: true
	// 1.2 Ω 1 W in series (the dropper)
	// 2200 µF 10 V 105 °C low-impedance electrolytic capacitor across the heaters, its + to the positive wire, mounted clear of the dropper (ESR at most 36 mΩ at 100 kHz; 18 mΩ assumed, ESL 15 nH)
	// 1 µF 10 V ceramic capacitor across it, leads as short as possible (ESR 5 mΩ, ESL 8 nH)
	// margin behind it: 4.5 dB
}
