package capture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture/synth/testrun"
)

// Rows read by the shape of the row before give what they give one by one: drawn
// tables of every way to print a number, with odd rows and damaged bytes among them.
func TestShapedRowsAreReadAlike(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	shaped, loose := 0, 0
	draws := testrun.Short(3000, 1000)
	for n := range draws {
		timeVerb, voltVerb := draw(r, "%.8e", "%.4e", "%.6f", "%.17e", "%+.18e", "%.12f", "%+.9e", "%g", "%.0f"), draw(r, "%.4e", "%.5f", "%.1f", "%.3E", "%+.6f", "%012.4f", "%08.1e", "%g", "%.15e", "%.18e", "%05.0f")
		end := draw(r, "\n", "\r\n")
		step := draw(r, 1e-8, 2e-6, -1e-7, 0.01, 1)
		start := draw(r, 0, -1e-3, 1234.5, 1e6)
		var b []byte
		for i := range 20 + r.IntN(200) {
			v := draw(r, 1, 1e-3, 4e4) * (r.Float64() - draw(r, 0, 0.5))
			b = fmt.Appendf(b, timeVerb+","+voltVerb+end, start+step*float64(i), v)
			switch r.IntN(60) {
			case 0:
				b = append(b, draw(r, "\n", "# note\n", "1,2,3\n", ",\n", "1.5e-05,9.9e37\n", "0.0,0.0\n", "1e400,1\n")...)
			case 1:
				if r.IntN(4) == 0 {
					b[len(b)-1-r.IntN(min(20, len(b)))] = draw(r, byte('x'), '9', 'e', '-', '.', ',', 0xb0, '\r', 0)
				}
			}
		}
		spec := &rowSpec{delim: ',', decimal: '.', eol: '\n', cells: 2, headCells: 2, rawCells: 2, time: 0, volt: 1, seg: -1, last: 1, step: step, expMin: -10, digitsMax: 9, keepTimes: r.IntN(3) == 0}
		var got [2]rowChunk
		for k := range got {
			w := chunkReader{rowChunk: &got[k], spec: spec, stamps: &blockBuilder{spec: spec, half: 0.5 * math.Abs(step)}}
			if w.buf = b; k == 1 {
				w.shape.misses, w.shape.loose = math.MaxInt/2, true // never
			}
			w.read()
			w.stamps.finish(w.rowChunk)
			shaped += w.shape.hits
			if w.shape.loose {
				loose += w.shape.hits
			}
		}
		var errs [2]string
		for k := range got {
			got[k].buf = nil
			if got[k].err != nil {
				errs[k], got[k].err = got[k].err.Error(), nil
			}
		}
		alikeSums(t, got[0].blocks, got[1].blocks)
		if a, c := fmt.Sprintf("%+v %s", &got[0], errs[0]), fmt.Sprintf("%+v %s", &got[1], errs[1]); a != c {
			k := 0
			for k < min(len(a), len(c)) && a[k] == c[k] {
				k++
			}
			k = max(k-80, 0)
			t.Fatalf("draw %d, %s,%s: read by shape\n%.200s\none by one\n%.200s", n, timeVerb, voltVerb, a[k:], c[k:])
		}
	}
	if shaped < 17*draws {
		t.Errorf("%d rows were read by their shape, want most of them", shaped)
	}
	if loose < 5*draws/3 {
		t.Errorf("%d rows with volts of various lengths were, want most of those", loose)
	}
}

// alikeSums holds the sums of two lists of blocks against each other, within the
// rounding of the times they are of, and leaves the blocks without them.
func alikeSums(t *testing.T, a, b []timeBlock) {
	t.Helper()
	for i := range min(len(a), len(b)) {
		p, q := &a[i], &b[i]
		n := float64(max(p.n, q.n))
		u := 2e-16 * max(math.Abs(p.first), math.Abs(p.last)) // rounding of a time
		most := math.Sqrt(max(p.suu, q.suu)) + u              // the greatest u
		for _, d := range [][2]float64{{p.su - q.su, n * u}, {p.sju - q.sju, n * n * u}, {p.suu - q.suu, 4 * n * most * u}} {
			if !(math.Abs(d[0]) <= d[1]) {
				t.Fatalf("sums of times\n%+v\n%+v", *p, *q)
			}
		}
		p.su, p.sju, p.suu, q.su, q.sju, q.suu = 0, 0, 0, 0, 0, 0
	}
}

// draw picks one.
func draw[T any](r *rand.Rand, from ...T) T { return from[r.IntN(len(from))] }
