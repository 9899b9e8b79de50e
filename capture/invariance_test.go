package capture

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestSameRecordInEveryLayout writes one record in many layouts: rate, start
// and volts come out alike to the last bit that the layouts print, and the
// facts that a measurement rests on with them.
func TestSameRecordInEveryLayout(t *testing.T) {
	const n = 400
	mv := func(i int) int { return int(math.Round(wave(i) * 1000)) }
	us := func(i int) string { return fmt.Sprintf("%d", i) }
	layouts := map[string]string{
		"seconds and volts":   "time (s),CH1 (V)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%.6f,%.3f", float64(i)*1e-6, wave(i)) }),
		"exponents":           "time (s),CH1 (V)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%.5e,%.3e", float64(i)*1e-6, wave(i)) }),
		"microseconds, mV":    "time (us),CH1 (mV)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%s,%d.0", us(i), mv(i)) }),
		"decimal commas":      "Zeit (ms);CH1 (V)\n" + commaFor(rowsOf(n, func(i int) string { return fmt.Sprintf("%.3f;%.3f", float64(i)*1e-3, wave(i)) })),
		"units in cells":      "time,CH1\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%sus,%d.0mV", us(i), mv(i)) }),
		"interval above":      "Sample Interval,1e-6\nCH1 (V)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%.3f", wave(i)) }),
		"rate above, numbers": "Sample Rate,1 MSa/s\nsample,CH1 (V)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%d,%.3f", i, wave(i)) }),
		"codes with a scale":  "Sample Interval,1e-6\nVolts per count,0.001\ncounts\n" + rowsOf(n, func(i int) string { return fmt.Sprint(mv(i)) }),
		"settings at the left": rowsOf(n, func(i int) string {
			return []string{"Sample Interval,1e-6", "Source,CH1", ","}[min(i, 2)] + fmt.Sprintf(",%.6f,%.3f", float64(i)*1e-6, wave(i))
		}),
		"tabs":                   "time (s)\tCH1 (V)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%.6f\t%.3f", float64(i)*1e-6, wave(i)) }),
		"UTF-16":                 utf16Text("\ufefftime (s),CH1 (V)\r\n"+rowsOf(n, func(i int) string { return fmt.Sprintf("%.6f,%.3f", float64(i)*1e-6, wave(i)) }), false),
		"second of two channels": "time (s),CH2 (A),CH1 (V)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%.6f,0.5,%.3f", float64(i)*1e-6, wave(i)) }),
		"screen wider than record": "time (s),CH1 (V)\n" + rowsOf(n+20, func(i int) string {
			if i >= n {
				return fmt.Sprintf("%.6f,", float64(i)*1e-6)
			}
			return fmt.Sprintf("%.6f,%.3f", float64(i)*1e-6, wave(i))
		}),
	}
	for name, text := range layouts {
		tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if tr.SampleRateHz != 1e6 || tr.TrueRateHz != 1e6 || tr.StartS != 0 || len(tr.Volts) != n || tr.Span != (Span{LowHz: 4 / (n * 1e-6), HighHz: 400e3}) {
			t.Errorf("%s: %.17g Hz of %g, from %g s, %d samples, span %+v", name, tr.SampleRateHz, tr.TrueRateHz, tr.StartS, len(tr.Volts), tr.Span)
			continue
		}
		for i, v := range tr.Volts {
			if math.Abs(v-wave(i)) > 1e-12 {
				t.Errorf("%s: sample %d is %.17g", name, i, v)
				break
			}
		}
		if len(tr.Cautions) > 0 || tr.Levels.Distinct != MostLevels || math.Abs(tr.Levels.ResolutionV-1e-3) > 1e-12 && name != "exponents" && !strings.Contains(name, "mV") && name != "units in cells" {
			t.Errorf("%s: %v %+v", name, tr.Cautions, tr.Levels)
		}
	}
}
