package synth

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

var (
	drawnDir   = flag.String("drawn-dir", "", "folder for TestWriteDrawn to write drawn captures to")
	drawnCount = flag.Int("drawn", 200, "how many captures TestWriteDrawn writes")
)

// TestWriteDrawn writes drawn captures as CSV, every fourth of them slow, for
// .ci/pin to measure with two builds.
func TestWriteDrawn(t *testing.T) {
	if *drawnDir == "" {
		t.Skip("no -drawn-dir given")
	}
	const longest = 1 << 17
	for seed := range uint64(*drawnCount) {
		s := Draw(90_000 + seed)
		s.Samples = min(s.Samples, longest)
		if seed%4 == 3 {
			s = s.Slow(200e3, longest)
		}
		volts, _ := s.Render()
		path := filepath.Join(*drawnDir, fmt.Sprintf("drawn-%03d.csv", seed))
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := WriteCSV(f, Preamble, s.RateHz, volts, 5, "AC"); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
