package filter

import (
	"context"
	"math"
	"testing"

	"stillglow/capture"
)

// BenchmarkApply filters a million samples; BenchmarkInTime does the same work
// by the difference equation of the tests, as the reference in the same run.
func BenchmarkApply(b *testing.B) {
	tr, c := benchTrace()
	b.SetBytes(int64(8 * len(tr.Volts)))
	for b.Loop() {
		if _, err := new(workspace).apply(context.Background(), tr, c); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkInTime(b *testing.B) {
	tr, c := benchTrace()
	b.SetBytes(int64(8 * len(tr.Volts)))
	for b.Loop() {
		stepped(tr.Volts, tr.SampleRateHz, c, 1)
	}
}

// BenchmarkSearch looks for the filter of a near miss on the estimate alone.
func BenchmarkSearch(b *testing.B) {
	in := nearMiss(6, 20e-3, 10e6)
	for b.Loop() {
		if _, err := Search(context.Background(), in, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func benchTrace() (*capture.Trace, Circuit) {
	tr := &capture.Trace{SampleRateHz: 100e6, Coupling: capture.CouplingAC, Volts: make([]float64, 1000000)}
	for i := range tr.Volts {
		tr.Volts[i] = 0.01 * math.Sin(float64(i)*0.00628)
	}
	return tr, Circuit{Topology: RC, ROhm: 1, LoadOhm: 10, C1: Capacitor{F: 100e-6, ESROhm: 0.3}}
}
