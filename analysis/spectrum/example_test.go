package spectrum_test

import (
	"context"
	"fmt"
	"math"

	"stillglow/analysis/spectrum"
)

// A second of 10 mV rms at 100 Hz and 1 mV rms at 65 kHz.
func ExampleFindLines() {
	const rateHz = 1e6
	volts := make([]float64, rateHz)
	for i := range volts {
		t := float64(i) / rateHz
		volts[i] = math.Sqrt2 * (10e-3*math.Cos(2*math.Pi*100*t) + 1e-3*math.Cos(2*math.Pi*65e3*t))
	}
	ctx, record := context.Background(), spectrum.Samples(volts)
	m, err := spectrum.Of(ctx, record, rateHz, spectrum.Options{Keep: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	lines, err := spectrum.FindLines(ctx, record, rateHz, m, spectrum.LineOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	lines, _ = spectrum.NameLines(lines, 50, spectrum.Clock{Hz: 65e3})
	for _, l := range lines {
		fmt.Printf("%.1f Hz, %.2f mV rms: %s\n", l.FrequencyHz, 1e3*l.RMSV, l.Name)
	}
	// Output:
	// 100.0 Hz, 10.00 mV rms: 2 x mains (100 Hz)
	// 65000.0 Hz, 1.00 mV rms: switching fundamental
}

// A 10-bit converter over 1 V at 100 MS/s.
func ExampleQuantisationDensity() {
	fmt.Printf("%.1f nV/√Hz\n", 1e9*spectrum.QuantisationDensity(1.0/1024, 100e6))
	// Output: 39.9 nV/√Hz
}
