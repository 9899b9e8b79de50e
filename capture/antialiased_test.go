package capture

import (
	"context"
	"strings"
	"testing"
)

// What was told of a filter ahead of the scope is on the trace, and leaves its
// span that of a scope.
func TestAntiAliasedIsGiven(t *testing.T) {
	text := "time,volts\n0,1\n0.001,1.5\n0.002,1\n0.003,1.5\n0.004,1.2\n0.005,1\n0.006,1.5\n0.007,1\n0.008,1.1\n0.009,1.3\n0.010,1\n0.011,1.5\n0.012,1\n0.013,1.5\n0.014,1.2\n0.015,1\n0.016,1.5\n0.017,1\n"
	for _, given := range []bool{false, true} {
		tr, err := Read(context.Background(), strings.NewReader(text), "a.csv", Options{AntiAliased: &given})
		if err != nil {
			t.Fatal(err)
		}
		if tr.AntiAliased != given || tr.Span.HighHz != spanShare*tr.SampleRateHz {
			t.Errorf("given %v: filter %v, span to %v Hz", given, tr.AntiAliased, tr.Span.HighHz)
		}
	}
}
