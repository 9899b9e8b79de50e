package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"stillglow/capture/synth"
)

// speedRates are the rates of a unit's two captures in the bench of speed.
var speedRates = []struct {
	name   string
	rateHz float64
}{{"fast", 100e6}, {"slow", 2e6}}

// TestWriteSpeedBench makes the bench that .ci/benchmark reports on: 60 units of
// six brands, a fast and a slow capture of a million rows each, in the folder that
// STILLGLOW_SPEED_BENCH names. There are ten designs of supply; units of one design
// have noise, jitter and phases of their own, so that no record is another's copy.
func TestWriteSpeedBench(t *testing.T) {
	dir := os.Getenv("STILLGLOW_SPEED_BENCH")
	if dir == "" {
		t.Skip("set STILLGLOW_SPEED_BENCH to an empty folder to have the bench of 60 units written there (3 GB)")
	}
	const units, designs = 60, 10
	rows := 1_000_000
	if os.Getenv("STILLGLOW_SPEED_QUICK") != "" {
		rows = 100_000
	}
	var sheet strings.Builder
	sheet.WriteString("title = \"Speed\"\ninvented = true\nmains_hz = 50\n[[heaters.valve]]\ntype = \"12AU7\"\ncount = 2\n")
	todo := make(chan int, units)
	for i := range units {
		todo <- i
		fmt.Fprintf(&sheet, "[[unit]]\nbrand = \"Brand %c\"\nmodel = \"M\"\nmark = \"%d\"\nrated_v = 7\nrated_a = 2\nreadings = [{ load_a = 0, v = 7.1 }, { load_a = 0.6, v = 7.0 }]\n", 'A'+i%6, i)
		for _, c := range speedRates {
			fmt.Fprintf(&sheet, "[[unit.capture]]\nfile = \"%d-%s.csv\"\ncoupling = \"ac\"\n", i, c.name)
		}
	}
	close(todo)
	var writers sync.WaitGroup
	for range 2 {
		writers.Go(func() {
			for i := range todo {
				s := synth.Draw(uint64(1000 + i%designs))
				s.Seed, s.DCV, s.ACCoupled, s.Samples = uint64(1000+i), 7, true, rows
				for _, c := range speedRates {
					s.RateHz = c.rateHz
					if err := writeSpeedCapture(filepath.Join(dir, fmt.Sprintf("%d-%s.csv", i, c.name)), s); err != nil {
						t.Error(err)
						return
					}
				}
			}
		})
	}
	writers.Wait()
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte(sheet.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// writeSpeedCapture renders a supply to a CSV of five digits.
func writeSpeedCapture(path string, s synth.Supply) error {
	volts, _ := s.Render()
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	b := bufio.NewWriterSize(f, 1<<20)
	return errors.Join(synth.WriteCSV(b, synth.TimeVolts, s.RateHz, volts, 5, ""), b.Flush(), f.Close())
}
