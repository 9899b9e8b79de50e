package spectrum

import (
	"context"
	"math"
	"testing"

	"stillglow/analysis/internal/reference"
	"stillglow/capture"
)

// Wherever a clean tone falls between two bins: 0.01 bin and 0.5 %.
func TestFindLinesBetweenBins(t *testing.T) {
	const rate, n = 1e6, 100_000
	for d := 0.0; d < 1; d += 0.1 {
		f1, f2, f3 := (5000+d)*rate/n, (20+d)*rate/n, (41000+d)*rate/n
		x := reference.Tones(n, rate, [3]float64{f1, 0.02, 0.3}, [3]float64{f2, 0.003, -2}, [3]float64{f3, 0.0005, 1})
		for i, e := range reference.WhiteNoise(n, 1e-5, 3) {
			x[i] += 7 + e
		}
		_, lines := linesOf(t, x, rate)
		if len(lines) != 3 {
			t.Fatalf("offset %.1f: %d lines, want 3: %+v", d, len(lines), lines)
		}
		for i, w := range [][3]float64{{f1, 0.02, 0.3}, {f2, 0.003, -2}, {f3, 0.0005, 1}} {
			l := lines[i]
			if e := math.Abs(l.FrequencyHz-w[0]) * n / rate; e > 0.01 {
				t.Errorf("offset %.1f, %g Hz: off by %.4f bin", d, w[0], e)
			}
			if e := math.Abs(l.RMSV/w[1] - 1); e > 0.005 {
				t.Errorf("offset %.1f, %g Hz: amplitude off by %.2f %%", d, w[0], 100*e)
			}
			if e := math.Abs(wrapPhase(l.PhaseRad - w[2])); e > 0.05 {
				t.Errorf("offset %.1f, %g Hz: phase off by %.3f", d, w[0], e)
			}
		}
	}
}

func TestNoLinesInNoise(t *testing.T) {
	for seed := range uint64(5) {
		x := Samples(reference.WhiteNoise(300_000, 1, 100+seed))
		m, _ := Of(context.Background(), x, 1e6, Options{Keep: true})
		lines, _ := FindLines(context.Background(), x, 1e6, m, LineOptions{})
		if len(lines) > 0 {
			t.Errorf("seed %d: %d lines in white noise: %+v", seed, len(lines), lines)
		}
	}
}

func BenchmarkFindLines(b *testing.B) {
	x := Samples(reference.Tones(1<<20, 1e7, [3]float64{1e5, 1, 0}, [3]float64{2e5, 0.5, 0}, [3]float64{100, 0.1, 0}))
	for i, e := range reference.WhiteNoise(len(x), 0.01, 1) {
		x[i] += e
	}
	m, err := Of(context.Background(), x, 1e7, Options{Keep: true})
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(8 * len(x)))
	for b.Loop() {
		if _, err := FindLines(context.Background(), x, 1e7, m, LineOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNoiseFloor(b *testing.B) {
	x := Samples(reference.WhiteNoise(1<<20, 1, 1))
	m, err := Of(context.Background(), x, 1e7, Options{})
	if err != nil {
		b.Fatal(err)
	}
	opt := NoiseOptions{Span: capture.Span{LowHz: 40, HighHz: 4e6}}
	for b.Loop() {
		MeasureNoiseFloor(&m, &m, opt)
	}
}

// Levels between places, each by the exponential of a straight line, in the long and the
// short stretches that a spectrum's blocks have.
func TestJoinLevels(t *testing.T) {
	at := []float64{2, 7.5, 8, 1200.5, 1201, 5000}
	level := []float64{-3, 1, 0.5, -20, -19, 4}
	const n = 6000
	for i, got := range JoinLevels(at, level, n) {
		x, want := float64(i), level[0]
		for j := range len(at) - 1 {
			if x > at[j] {
				want = level[j] + (level[j+1]-level[j])*min((x-at[j])/(at[j+1]-at[j]), 1)
			}
		}
		if want = math.Exp(want); math.Abs(got/want-1) > 1e-12 {
			t.Fatalf("place %d: %g, want %g", i, got, want)
		}
	}
	for i, v := range JoinLevels(nil, nil, 3) {
		if v != 0 {
			t.Errorf("without places number %d is %g, want 0", i, v)
		}
	}
}
