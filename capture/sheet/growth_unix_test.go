//go:build unix

package sheet

import (
	"fmt"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
)

// Whatever a sheet repeats, four times as much of it takes about four times the work,
// never its square: bounded by ten, in the same run.
func TestWorkGrowsWithTheSheet(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: measures processor time")
	}
	for name, c := range map[string]struct{ head, line string }{
		"unknown keys":        {"", "k%d=1\n"},
		"unknown keys in one": {"[[unit]]\nbrand=\"a\"\n", "k%d=1\n"},
		"limits":              {"[limits]\n", "l%d=1\n"},
		"tables":              {"", "[t%d]\n"},
		"units":               {"", "[[unit]]\nbrand=\"b%d\"\n"},
		"units of captures":   {"", "[[unit]]\nbrand=\"b\"\nmark=\"%d\"\n[[unit.capture]]\nfile=\"none.csv\"\n"},
		"one unit's captures": {"[[unit]]\nbrand=\"b\"\n", "[[unit.capture]]\nfile=\"%d.csv\"\n"},
		"one unit's readings": {"[[unit]]\nbrand=\"b\"\n", "[[unit.reading]]\non=\"a%d\"\n"},
		"valves":              {"[heaters]\n", "[[heaters.valve]]\ntype=\"%d\"\n"},
		"comments":            {"", "# %d\n"},
	} {
		t.Run(name, func(t *testing.T) {
			testrun.FourTimes(t, MaxBytes/32, "bytes of "+strings.TrimSpace(c.line), func(bytes int) float64 {
				b := []byte(c.head)
				for i := 0; len(b) < bytes; i++ {
					b = fmt.Appendf(b, c.line, i)
				}
				return testrun.ProcessorS(t, func() { _, _ = Parse(b, "bench.toml") })
			})
		})
	}
}
