package capture_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"stillglow/capture"
)

// A small CSV with a line of units: what the importer makes of it.
func ExampleOpen() {
	dir, err := os.MkdirTemp("", "capture")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "unit-1.csv")
	text := "Time,Channel A\n(us),(mV)\n"
	for i := range 64 {
		text += fmt.Sprintf("%d,%d\n", i, 7000+i%5)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		fmt.Println(err)
		return
	}
	tr, err := capture.Open(context.Background(), path, capture.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("channel %q: %d samples at %.0f S/s, first %.3f V\n", tr.Channel, len(tr.Volts), tr.SampleRateHz, tr.Volts[0])
	// Output:
	// channel "Channel A": 64 samples at 1000000 S/s, first 7.000 V
}
