package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture/synth"
)

// TestWriteSpeedBench makes the bench that .ci/benchmark reports on: 60 units of
// six brands, a fast and a slow capture of a million rows each, in the folder that
// STILLGLOW_SPEED_BENCH names. Ten supplies are computed; the files of units of one
// supply differ in a sample, so that none counts as another's copy.
func TestWriteSpeedBench(t *testing.T) {
	dir := os.Getenv("STILLGLOW_SPEED_BENCH")
	if dir == "" {
		t.Skip("set STILLGLOW_SPEED_BENCH to an empty folder to have the bench of 60 units written there (3 GB)")
	}
	const units, supplies = 60, 10
	rows := 1_000_000
	if os.Getenv("STILLGLOW_SPEED_QUICK") != "" {
		rows = 100_000
	}
	table := map[string][]byte{} // of each supply and rate
	var sheet strings.Builder
	sheet.WriteString("title = \"Speed\"\ninvented = true\nmains_hz = 50\n[[heaters.valve]]\ntype = \"12AU7\"\ncount = 2\n")
	for i := range units {
		s := synth.Draw(uint64(1000 + i%supplies))
		s.DCV, s.ACCoupled, s.Samples = 7, true, rows
		fmt.Fprintf(&sheet, "[[unit]]\nbrand = \"Brand %c\"\nmodel = \"M\"\nmark = \"%d\"\nrated_v = 7\nrated_a = 2\nreadings = [{ load_a = 0, v = 7.1 }, { load_a = 0.6, v = 7.0 }]\n", 'A'+i%6, i)
		for _, c := range []struct {
			name   string
			rateHz float64
		}{{"fast", 100e6}, {"slow", 2e6}} {
			file := fmt.Sprintf("%d-%s.csv", i, c.name)
			fmt.Fprintf(&sheet, "[[unit.capture]]\nfile = %q\ncoupling = \"ac\"\n", file)
			key := fmt.Sprint(i%supplies, c.name)
			if table[key] == nil {
				s.RateHz = c.rateHz
				volts, _ := s.Render()
				var b bytes.Buffer
				if err := synth.WriteCSV(&b, synth.TimeVolts, s.RateHz, volts, 5, ""); err != nil {
					t.Fatal(err)
				}
				table[key] = b.Bytes()
			}
			// A sample of the first row is the unit's own: records of the same samples
			// count as one saved twice.
			rows := bytes.SplitN(table[key], []byte("\n"), 3)
			at, _, _ := bytes.Cut(rows[1], []byte(","))
			whole := bytes.Join([][]byte{rows[0], fmt.Appendf(nil, "%s,%.5f", at, 1e-5*float64(i+1)), rows[2]}, []byte("\n"))
			if err := os.WriteFile(filepath.Join(dir, file), whole, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte(sheet.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}
