//go:build unix

package capture

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
)

// Whatever a file repeats, reading four times as much of it takes about four times
// the work, never its square: bounded by ten, in the same run.
func TestWorkGrowsWithTheFile(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: measures processor time")
	}
	const n = 100_000
	each := func(n int, line func(i int) string) []byte {
		var b strings.Builder
		for i := range n {
			b.WriteString(line(i))
		}
		return []byte(b.String())
	}
	row := func(i int) string { return fmt.Sprintf("%.7f,%.4f\n", float64(i)*1e-6, wave(i)) }
	for name, c := range map[string]struct {
		head string
		line func(i int) string
	}{
		"rows":                {"time,volts\n", row},
		"keys above the rows": {"", func(i int) string { return fmt.Sprintf("key %d,%d\n", i, i) }},
		"comments":            {"", func(i int) string { return fmt.Sprintf("# comment %d: %d\n", i, i) }},
		"empty lines":         {"time,volts\n", func(int) string { return "\n" }},
		"names again":         {"", func(int) string { return "time,volts\n" }},
		"gaps":                {"time,volts\n", func(i int) string { return row(i + i/10*5) }},
		"time begins anew":    {"time,volts\n", func(i int) string { return row(i % 50) }},
		"words among rows":    {"time,volts\n", func(i int) string { return strings.Repeat("x", i%7) + row(i) }},
		"missing volts":       {"time,volts\n", func(i int) string { return fmt.Sprintf("%.7f,\n", float64(i)*1e-6) }},
		"changing columns":    {"", func(i int) string { return strings.Repeat("1,", 1+i%40) + "2\n" }},
		"one line":            {"time,volts\n", func(i int) string { return fmt.Sprintf("%d,", i) }},
		"quotes":              {"", func(i int) string { return fmt.Sprintf("\"a\"\"%d\",\"\n", i) }},
		"zeros":               {"", func(int) string { return "\x00\x00\x00\x00" }},
	} {
		t.Run(name, func(t *testing.T) {
			testrun.FourTimes(t, n, "lines", func(n int) float64 {
				b := append([]byte(c.head), each(n, c.line)...)
				return testrun.ProcessorS(t, func() { _, _ = Read(context.Background(), bytes.NewReader(b), "f", Options{}) })
			})
		})
	}
}
