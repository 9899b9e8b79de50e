package report

import (
	"context"
	"os"
	"path/filepath"
	"testing"
)

// TestWriteForLooking writes the fixture's report to STILLGLOW_LOOK, to be
// opened and judged by eye.
func TestWriteForLooking(t *testing.T) {
	dir := os.Getenv("STILLGLOW_LOOK")
	if dir == "" {
		t.Skip("set STILLGLOW_LOOK to a folder to write the fixture's report there")
	}
	r := fixture(9)
	files, err := Render(context.Background(), r, RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		p := filepath.Join(dir, f.Name)
		os.MkdirAll(filepath.Dir(p), 0o755)
		if err := os.WriteFile(p, f.Bytes, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, w := range []int{100, 60, 40} {
		WriteTable(os.Stdout, r, TableOptions{Width: w})
	}
}
