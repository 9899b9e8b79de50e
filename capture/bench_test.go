package capture

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
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

// BenchmarkRows parses chunks of rows as several programs print them; one operation is
// one row.
func BenchmarkRows(b *testing.B) {
	pair := rowSpec{delim: ',', decimal: '.', eol: '\n', cells: 2, headCells: 2, rawCells: 2, time: 0, volt: 1, seg: -1, last: 1, step: 1e-8, expMin: -10, digitsMax: 9}
	four, single := pair, pair
	four.cells, four.headCells, four.rawCells, four.volt, four.last = 5, 5, 5, 2, 2
	single.cells, single.headCells, single.rawCells, single.time, single.volt, single.last, single.step = 1, 1, 1, -1, 0, 0, 0
	const code = 0.0015625 // of an 8-bit converter
	for _, c := range []struct {
		name string
		spec rowSpec
		row  func(b []byte, t float64, n int) []byte
	}{
		{"one shape", pair, func(b []byte, t float64, n int) []byte { return fmt.Appendf(b, "%.8e,%.4e\n", t, 5+code*float64(n)) }},
		{"shortest volts", pair, func(b []byte, t float64, n int) []byte { return fmt.Appendf(b, "%.10e,%.5g\n", t, code*float64(n)) }},
		{"17 digits", pair, func(b []byte, t float64, n int) []byte { return fmt.Appendf(b, "%.10e,%v\n", t, code/3*float64(n)) }},
		{"shortest times", pair, func(b []byte, t float64, n int) []byte { return fmt.Appendf(b, "%.9g,%.5g\n", t, code*float64(n)) }},
		{"four channels", four, func(b []byte, t float64, n int) []byte {
			return fmt.Appendf(b, "%.8e,%.5f,%.5f,%.5f,%.5f\n", t, code*float64(n), -code*float64(n), 0.5, code)
		}},
		{"four channels, shortest", four, func(b []byte, t float64, n int) []byte {
			return fmt.Appendf(b, "%.8e,%.5g,%.5g,%.5g,%.5g\n", t, code*float64(n), -code*float64(n), 0.5, code)
		}},
		{"volts alone", single, func(b []byte, _ float64, n int) []byte { return fmt.Appendf(b, "%.5f\n", code*float64(n)) }},
		{"volts alone, shortest", single, func(b []byte, _ float64, n int) []byte { return fmt.Appendf(b, "%.5g\n", code*float64(n)) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			var text []byte
			rows := 0
			for r := rand.New(rand.NewPCG(1, 2)); len(text) < chunkBytes; rows++ {
				text = c.row(text, 1e-8*float64(rows), r.IntN(60)-20)
			}
			b.ResetTimer()
			chunk, shape := rowChunk{buf: text}, rowShape{}
			for n := 0; n < b.N; n += rows {
				chunk.reset()
				chunk.buf = chunk.buf[:len(text)]
				c.spec.parse(&chunk, &shape)
			}
			if chunk.err != nil || len(chunk.volts) != rows {
				b.Fatalf("%d of %d rows: %v", len(chunk.volts), rows, chunk.err)
			}
		})
	}
}
