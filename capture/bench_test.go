package capture

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// benchFile is a two-column CSV of n rows as "%.8e,%.4e": the file named by
// STILLGLOW_BENCH_CSV when that is set, else one written for the run.
func benchFile(b *testing.B, n int) string {
	if p := os.Getenv("STILLGLOW_BENCH_CSV"); p != "" {
		return p
	}
	p := filepath.Join(b.TempDir(), "bench.csv")
	f, err := os.Create(p)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	for i := range n {
		fmt.Fprintf(w, "%.8e,%.4e\n", float64(i)*1e-8, 5+0.02*math.Sin(0.004*float64(i))+0.001*float64(i*7919%101-50)/50)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
	return p
}

func BenchmarkImportCSV(b *testing.B) {
	for _, n := range []int{10_000, 1_000_000, 5_000_000} {
		if os.Getenv("STILLGLOW_BENCH_CSV") != "" && n != 5_000_000 {
			continue
		}
		b.Run(fmt.Sprintf("rows=%d", n), func(b *testing.B) {
			p := benchFile(b, n)
			st, err := os.Stat(p)
			if err != nil {
				b.Fatal(err)
			}
			b.SetBytes(st.Size())
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Open(context.Background(), p, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkScanNumber(b *testing.B) {
	for _, s := range []string{"5.0003e+00", "1.23456789e-05", "0.000123", "3.141592653589793116e+00"} {
		t := []byte(s)
		b.Run(s, func(b *testing.B) {
			b.SetBytes(int64(len(t)))
			for b.Loop() {
				scanNumber(t, '.')
			}
		})
	}
}
