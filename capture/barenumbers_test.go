package capture

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// TestBareNumbers reads a column of samples below settings that nothing names, at a rate
// that the user gives: a count or an interval is no sample.
func TestBareNumbers(t *testing.T) {
	rows := rowsOf(rows200, func(i int) string { return fmt.Sprintf("%.3f", wave(i)) })
	for _, c := range []struct {
		name, above string
		line        int // refused at, 0: read
		words       string
	}{
		{"count, interval, trigger's place and level", "200\n2.e-07\n100\n.0211792\n", 1, "as many as the rows below line 4"},
		{"interval, then the count", "2.e-07\n200\n", 1, "the sample interval"},
		{"the count alone", "200\n", 1, "as many as the rows below line 1"},
		{"the rate alone", "5000\n", 0, ""}, // 5 kV, and not the rate given
		{"the interval alone", "0.0000002\n", 1, "the sample interval"},
		{"the count behind the trigger's level", "4.2\n200\n", 2, "as many as the rows below line 2"},
		{"a peak of another size", "190\n", 0, ""},
		{"a small first sample", "0.0000003\n", 0, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr, err := Read(context.Background(), strings.NewReader(c.above+rows), "x.csv", Options{RateHz: 5e6, VoltUnit: "V"})
			var pe *ParseError
			switch {
			case c.line == 0:
				if err != nil || len(tr.Volts) != rows200+1 {
					t.Errorf("%v %+v", err, tr)
				}
			case !errors.As(err, &pe) || pe.Line != c.line || !strings.Contains(err.Error(), c.words):
				t.Errorf("%v, want line %d, %q", err, c.line, c.words)
			}
		})
	}
	low := rowsOf(rows200, func(i int) string { return fmt.Sprintf("%.3f", wave(i)-4) })
	_, err := Read(context.Background(), strings.NewReader("1000\n"+low), "x.csv", Options{RateHz: 1000})
	if err == nil || !strings.Contains(err.Error(), "the sample rate") {
		t.Errorf("the rate above the samples: %v", err)
	}
}
