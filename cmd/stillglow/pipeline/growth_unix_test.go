//go:build unix

package pipeline

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/capture/synth/testrun"
	"stillglow/report"
)

// Four times as many captures take about four times the work to tell those of one record
// apart, unlike ones and ones that are all alike.
func TestWorkGrowsWithTheRecords(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: measures processor time")
	}
	for name, alike := range map[string]bool{"unlike": false, "alike in level": true} {
		t.Run(name, func(t *testing.T) {
			testrun.FourTimes(t, 5000, "records", func(n int) float64 {
				r := rand.New(rand.NewPCG(1, 2))
				s := &sheet.Sheet{Units: []sheet.Unit{{Brand: "b", Mark: "1", Captures: make([]sheet.Capture, n)}}}
				got := make([]report.Capture, n)
				for i := range got {
					f := capture.Fingerprint{Samples: 1000, SDV: 1}
					if !alike {
						f.SDV += r.Float64()
					}
					for k := range f.Projections {
						f.Projections[k] = r.NormFloat64()
					}
					s.Units[0].Captures[i].Path = fmt.Sprint(i)
					got[i] = report.Capture{M: &analysis.Measurement{SHA256: fmt.Sprint(i)}, Samples: f}
				}
				return testrun.ProcessorS(t, func() {
					if _, once, err := countOnce(s, [][]report.Capture{got}); err != nil || len(once[0]) != n {
						t.Fatal(err, len(once[0]))
					}
				})
			})
		})
	}
}

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
