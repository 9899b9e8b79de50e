//go:build unix

package pipeline

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"stillglow/capture/synth/testrun"
	"stillglow/report"
)

// A bench of four times as many units takes about four times the work to evaluate and
// to render, whatever the units have in common: bounded by ten, in the same run.
func TestWorkGrowsWithTheBench(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: measures processor time")
	}
	for name, unit := range map[string]string{
		"brands of their own": "[[unit]]\nbrand=\"b%d\"\nmark=\"1\"\n",
		"one brand":           "[[unit]]\nbrand=\"b\"\nmark=\"%d\"\n",
		"names alike":         "[[unit]]\nbrand=\"b\"\nmark=\"1\"\nmodel=\"m%.0[1]d\"\ndate=\"2%03[1]d-01-02\"\n",
	} {
		t.Run(name, func(t *testing.T) {
			testrun.FourTimes(t, 200, "units", func(units int) float64 {
				var b []byte
				for i := range units {
					b = fmt.Appendf(b, unit, i)
				}
				path := filepath.Join(t.TempDir(), "bench.toml")
				write(t, path, string(b))
				return testrun.ProcessorS(t, func() {
					r, err := Evaluate(context.Background(), path, Options{})
					if err != nil {
						t.Fatal(err)
					}
					if _, err := report.Render(context.Background(), r, report.RenderOptions{}); err != nil {
						t.Fatal(err)
					}
				})
			})
		})
	}
}
