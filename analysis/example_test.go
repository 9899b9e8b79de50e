package analysis_test

import (
	"context"
	"fmt"
	"math"

	"stillglow/analysis"
	"stillglow/capture"
)

// A sine of 1 mV rms at 100 Hz on 7 V DC, as a recorder of 50 kS/s sees it for a
// second.
func ExampleMeasure() {
	tr := &capture.Trace{File: "sine.wav", SampleRateHz: 50e3, Coupling: capture.CouplingDC, Calibrated: true,
		Volts: make([]float64, 50000), Span: capture.Span{LowHz: 4, HighHz: 20e3}}
	for i := range tr.Volts {
		tr.Volts[i] = 7 + 1e-3*math.Sqrt2*math.Sin(2*math.Pi*100*float64(i)/tr.SampleRateHz)
	}
	m, err := analysis.Measure(context.Background(), tr, analysis.Setup{MainsHz: 50})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("DC %.2f V\n", m.DCV.Value)
	fmt.Printf("mains line %.3f mV rms at %.1f Hz\n", 1e3*m.MainsLineRMS.Value, m.MainsLineHz.Value)
	if f := m.RipplePPV; !f.Known {
		fmt.Println("ripple not measured:", f.Missing)
	}
	// Output:
	// DC 7.00 V
	// mains line 1.000 mV rms at 100.0 Hz
	// ripple not measured: no switching line stands out from the noise between 12 kHz and 22.5 kHz; if the supply was on, use a faster timebase or fewer volts per division
}
