package report

import (
	"context"
	"testing"
)

// BenchmarkRender makes all files of a bench of 12 units.
func BenchmarkRender(b *testing.B) {
	r := fixture(12)
	for b.Loop() {
		if _, err := Render(context.Background(), r, RenderOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
