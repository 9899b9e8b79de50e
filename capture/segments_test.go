package capture

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
)

// Of several segments the first is read; one that swings further is named, with by how
// much, and so is bounded what its peaks say of the whole. The truth is how the text
// was made.
func TestOtherSegmentsSwing(t *testing.T) {
	for name, c := range map[string]struct {
		swings  []float64
		segment int // asked for
		times   float64
	}{"alike": {[]float64{1, 1, 1.05}, 0, 0}, "the third further": {[]float64{1, 0.5, 1.6}, 0, 1.6}, "the first furthest": {[]float64{2, 1, 1}, 0, 0}, "asked for": {[]float64{1, 1.6}, 1, 0}} {
		var b strings.Builder
		b.WriteString("time,volts\n")
		for _, s := range c.swings {
			for i := range 200 {
				fmt.Fprintf(&b, "%.6e,%.5f\n", float64(i)*1e-6, s*math.Sin(float64(i)/3))
			}
		}
		tr, err := Read(context.Background(), strings.NewReader(b.String()), "segments.csv", Options{Segment: c.segment})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if math.Abs(tr.OtherSegmentsPP-c.times) > 0.01 {
			t.Errorf("%s: %g times as far, want %g", name, tr.OtherSegmentsPP, c.times)
		}
		said := false
		for _, k := range tr.Cautions {
			said = said || k.Code == CautionSegments && strings.Contains(k.Text, "number 3 swings 1.6 times as far")
		}
		if said != (c.times > 0) {
			t.Errorf("%s: %v", name, tr.Cautions)
		}
	}
}
