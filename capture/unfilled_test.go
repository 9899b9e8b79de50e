package capture

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestUnfilled leaves out what was never recorded, and nothing else.
func TestUnfilled(t *testing.T) {
	const n = 4000
	r := rand.New(rand.NewPCG(5, 6))
	noisy := func(i int) float64 { return 0.002 * math.Round(5*math.Sin(float64(i)/40)+r.NormFloat64()) }
	for _, c := range []struct {
		name string
		v    func(i int) float64
		from int // of what is kept
		kept int
	}{
		{"whole", noisy, 0, n},
		{"zeros ahead", func(i int) float64 {
			if i < 900 {
				return 0
			}
			return 0.0001 + noisy(i)
		}, 900, n - 900},
		{"zeros ahead of 7 V", func(i int) float64 {
			if i < 900 {
				return 0
			}
			return 7 + noisy(i)
		}, 900, n - 900},
		{"a level behind", func(i int) float64 {
			if i >= 3000 {
				return 0.0011
			}
			return noisy(i)
		}, 0, 3000},
		{"lost in the middle", func(i int) float64 {
			if i >= 1000 && i < 1500 {
				return 0.0011
			}
			return noisy(i)
		}, 1500, 2500},
		{"saturated ahead", func(i int) float64 {
			if i < 900 {
				return 0.05
			}
			return noisy(i)
		}, 0, n},
		{"a coarse wave that rests", func(i int) float64 { return 0.01 * math.Round(0.7*math.Sin(float64(i)/400)) }, 0, n},
		{"pulses", func(i int) float64 { return 0.01 * float64(max(i%1000-990, 0)) }, 0, n},
		{"a top that rests two steps below its overshoot", func(i int) float64 {
			switch {
			case i < 1500:
				return 0.02 * float64(i/3%2)
			case i < 1510:
				return 1.8
			case i < 2400:
				return 1.76
			}
			return 1.7 + 0.02*float64(i/3%3)
		}, 0, n},
		{"flat", func(int) float64 { return 0.01 }, 0, n},
	} {
		text := "Time (s),CH1 (V)\n" + rowsOf(n, func(i int) string { return fmt.Sprintf("%.6f,%.4f", float64(i)*1e-6, c.v(i)) })
		tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if len(tr.Volts) != c.kept || math.Abs(tr.StartS-float64(c.from)*1e-6) > 1e-9 {
			t.Errorf("%s: %d samples from %g s, want %d from sample %d", c.name, len(tr.Volts), tr.StartS, c.kept, c.from)
		}
		if said := strings.Contains(strings.Join(codesOf(tr), " "), CautionSkipped); said != (c.kept < n) {
			t.Errorf("%s: cautions %v", c.name, codesOf(tr))
		}
		if want := periodsForLow / (float64(c.kept) * 1e-6); math.Abs(tr.Span.LowHz/want-1) > 0.01 {
			t.Errorf("%s: the span begins at %g Hz, want %g", c.name, tr.Span.LowHz, want)
		}
	}
}
