package capture

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestSettingsBetweenSegments reads the second of two records in one file. What stands
// above it may repeat what stands above the first, number it or date it; where it states
// another rate, scale, unit or order of channels, that record is not read by the first's.
func TestSettingsBetweenSegments(t *testing.T) {
	timed := func(scale float64) string {
		return rowsOf(rows200, func(i int) string { return fmt.Sprintf("%.6e,%.4f", float64(i)*1e-6, wave(i)*scale) })
	}
	two := func(other, own string) string {
		return rowsOf(rows200, func(i int) string { return fmt.Sprintf("%.6e,"+other+","+own, float64(i)*1e-6, wave(i)) })
	}
	alone := rowsOf(rows200, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) })
	codes := rowsOf(rows200, func(i int) string { return fmt.Sprintf("%.0f", wave(i)*1000) })
	counted := rowsOf(rows200, func(i int) string { return fmt.Sprintf("%d,%.4f,,", i, wave(i)) })
	for _, c := range []struct {
		name, first, rows, between, second string
		opt                                Options
		line                               int // refused at, behind the first record; 0: read
	}{
		{name: "the same names", first: "Time (s),CH1 (V)\n", rows: timed(1), between: "Time (s),CH1 (V)\n"},
		{name: "a number and the time of day", first: "Segment 1\nTrigger time: 12:00:01\nTime (s),CH1 (V)\n", rows: timed(1), between: "Segment 2\nTrigger time: 12:00:02\nTime (s),CH1 (V)\n"},
		{name: "a number alone", first: "Time (s),CH1 (V)\n", rows: timed(1), between: "Segment 2 of 2\n"},
		{name: "a remark of as many words as columns", first: "Time (s),CH1 (V)\n", rows: timed(1), between: "probe moved,again\n"},
		{name: "the same interval", first: "Sample Interval,1e-6\nCH1\n", rows: alone, between: "Sample Interval,1.0E-06\nCH1\n"},
		{name: "another start", first: "Sample Interval,1e-6\nStart,0\nCH1\n", rows: alone, between: "Sample Interval,1e-6\nStart,0.5\nCH1\n"},
		{name: "another interval beside times", first: "Sample Interval,1e-6\nTime (s),CH1 (V)\n", rows: timed(1), between: "Sample Interval,1e-5\nTime (s),CH1 (V)\n"},
		{name: "another interval, the rate given", first: "Sample Interval,1e-6\nCH1\n", rows: alone, between: "Sample Interval,1e-5\nCH1\n", opt: Options{RateHz: 1e6}},

		{name: "another unit", first: "Time (s),CH1 (V)\n", rows: timed(1), between: "Time (s),CH1 (mV)\n", second: timed(1000), line: 1},
		{name: "another unit of times", first: "Time (s),CH1 (V)\n", rows: timed(1), between: "Time (us),CH1 (V)\n", line: 1},
		{name: "channels changed places", first: "Time (s),CH1 (V),CH2 (V)\n", rows: two("0.5", "%.4f"), between: "Time (s),CH2 (V),CH1 (V)\n", second: two("%.4f", "0.5"), opt: Options{Channel: "CH2"}, line: 1},
		{name: "another interval", first: "Sample Interval,1e-6\nCH1\n", rows: alone, between: "Sample Interval,1e-5\nCH1\n", line: 1},
		{name: "another interval in a remark", first: "# Sample Interval: 1 us\nCH1 (V)\n", rows: alone, between: "CH1 (V)\n# Sample Interval: 10 us\n", line: 2},
		{name: "another interval below its name", first: "X,CH1,Start,Increment\nSequence,Volt,0,1e-6\n", rows: counted, between: "X,CH1,Start,Increment\nSequence,Volt,0,1e-5\n", line: 2},
		{name: "another scale of codes", first: "Sample Interval,1e-6\nYMULT,0.001\nCH1 (counts)\n", rows: codes, between: "Sample Interval,1e-6\nYMULT,0.01\nCH1 (counts)\n", line: 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.second == "" {
				c.second = c.rows
			}
			opt := c.opt
			opt.Segment = 2
			tr, err := Read(context.Background(), strings.NewReader(c.first+c.rows+c.between+c.second), "x.csv", opt)
			if c.line > 0 {
				var pe *ParseError
				if want := strings.Count(c.first, "\n") + rows200 + c.line; !errors.As(err, &pe) || pe.Line != want {
					t.Errorf("%v, want line %d refused", err, want)
				}
				return
			}
			if err != nil || len(tr.Volts) != rows200 || math.Abs(tr.SampleRateHz-1e6) > 1e-3 || math.Abs(tr.Volts[7]-wave(7)) > 1e-9 {
				t.Fatalf("%v %+v", err, tr)
			}
			// The first one is read whatever follows it.
			opt.Segment = 1
			if tr, err = Read(context.Background(), strings.NewReader(c.first+c.rows+c.between+c.second), "x.csv", opt); err != nil || len(tr.Volts) != rows200 {
				t.Errorf("the first: %v", err)
			}
		})
	}
}
