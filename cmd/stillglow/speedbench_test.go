package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture/synth"
)

// TestWriteSpeedBench makes the bench that .ci/benchmark reports on: 60 units of
// six brands, a fast and a slow capture of a million rows each, in the folder that
// STILLGLOW_SPEED_BENCH names. Ten supplies are computed; the units share their
// files by links, which reading and hashing know nothing of.
func TestWriteSpeedBench(t *testing.T) {
	dir := os.Getenv("STILLGLOW_SPEED_BENCH")
	if dir == "" {
		t.Skip("set STILLGLOW_SPEED_BENCH to an empty folder to have the bench of 60 units written there (2 GB by ls, a sixth of it by du)")
	}
	const units, supplies = 60, 10
	rows := 1_000_000
	if os.Getenv("STILLGLOW_SPEED_QUICK") != "" {
		rows = 100_000
	}
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
			path := filepath.Join(dir, file)
			if i >= supplies {
				if err := os.Link(filepath.Join(dir, fmt.Sprintf("%d-%s.csv", i%supplies, c.name)), path); err != nil {
					t.Fatal(err)
				}
				continue
			}
			s.RateHz = c.rateHz
			volts, _ := s.Render()
			f, err := os.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := synth.WriteCSV(f, synth.TimeVolts, s.RateHz, volts, 5, ""); err != nil {
				t.Fatal(err)
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte(sheet.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}
