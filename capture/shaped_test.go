package capture

import (
	"bytes"
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
		timeVerb, voltVerb := draw(r, "%.8e", "%.4e", "%.6f", "%.17e", "%+.18e", "%.12f", "%+.9e", "%g", "%.0f"), draw(r, "%.4e", "%.5f", "%.1f", "%.3E", "%+.6f", "%012.4f", "%08.1e", "%g", "%.4g", "%.15e", "%.18e", "%05.0f", "%.0f")
		end := draw(r, "\n", "\r\n")
		spec := &rowSpec{delim: ',', decimal: '.', eol: '\n', cells: 2, time: 0, volt: 1, seg: -1, expMin: -10, digitsMax: 9, keepTimes: r.IntN(3) == 0}
		before, behind := draw(r, "", "", " "), "" // of other channels
		switch r.IntN(6) {
		case 0: // volts alone
			spec.cells, spec.time, spec.volt, spec.keepTimes = 1, -1, 0, false
		case 1: // the second of four channels
			spec.cells, spec.volt, before, behind = 5, 2, "0.25,"+before, draw(r, ",1.5,-7", ",,", ",")
		case 2: // the first of two, without a time
			spec.cells, spec.time, spec.volt, spec.keepTimes, behind = 2, -1, 0, false, ",-0.5"
		}
		spec.last, spec.headCells, spec.rawCells = spec.volt, spec.cells, spec.cells
		spec.delim, spec.decimal = draw[byte](r, ',', ';'), '.'
		if spec.delim == ';' {
			spec.decimal = draw[byte](r, '.', ',')
		}
		step := draw(r, 1e-8, 2e-6, -1e-7, 0.01, 1)
		start := draw(r, 0, -1e-3, 1234.5, 1e6)
		var b []byte
		for i := range 20 + r.IntN(200) {
			v := draw(r, 1, 1e-3, 4e4) * (r.Float64() - draw(r, 0, 0.5))
			volts := fmt.Sprintf(voltVerb, v)
			if r.IntN(60) == 0 {
				volts = draw(r, hostile...)
			}
			row := before + volts + behind + end
			switch r.IntN(100) {
			case 0: // cells of other numbers, and quotes, beside the volts
				row = draw(r, "", "0.25,", "0.25,0.5,", "\"0.25\",", "\"0,25\",", "\"0,25,1\",") + volts + draw(r, "", ",,,,", ",1,2,3,4,5", ",\"1\"", ",\"1,5\"", ",1,\"2") + end
			case 1:
				row = draw(r, before, "0.25") + end
			}
			if spec.time == 0 {
				row = fmt.Sprintf(timeVerb, start+step*float64(i)) + "," + row
			}
			b = append(b, row...)
			switch r.IntN(60) {
			case 0:
				b = append(b, draw(r, "\n", "# note\n", "1,2,3\n", "0,1,2,3,4,5\n", "0.5,\"1\",2\n", "0.5,1,\"2\"\n", ",\n", "1.5e-05,9.9e37\n", "0.0,0.0\n", "1e400,1\n")...)
			case 1:
				if r.IntN(4) == 0 {
					b[len(b)-1-r.IntN(min(20, len(b)))] = draw(r, byte('x'), '9', 'e', '-', '.', ',', 0xb0, '\r', 0)
				}
			}
		}
		spec.step = step
		if spec.delim == ';' {
			b = bytes.ReplaceAll(b, []byte(","), []byte(";"))
			b = bytes.ReplaceAll(b, []byte("."), []byte{spec.decimal})
		}
		var got [2]rowChunk
		for k := range got {
			w := chunkReader{rowChunk: &got[k], spec: spec, stamps: &blockBuilder{spec: spec, half: 0.5 * math.Abs(step)}}
			if w.buf = b; k == 1 {
				w.shape.misses, w.shape.loose = math.MaxInt/2, true // never
			}
			w.read()
			w.stamps.finish(w.rowChunk)
			if w.shape.loose {
				loose += w.shape.hits
			} else {
				shaped += w.shape.hits
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
	if shaped < 3*draws {
		t.Errorf("%d rows of one shape were read by it, want most of them", shaped)
	}
	if loose < 16*draws {
		t.Errorf("%d rows with volts of various lengths were, want most of those", loose)
	}
}

// hostile is what may stand in the place of volts, or almost does.
var hostile = []string{"+5", "-0", "-0.0", "+.5", ".5", "5.", "-.", "1e400", "1e-400", "1.5e", "0.5e-3", "0.5e-003", "0.5E+02", "2.5e-03x", "1.5.3",
	"0.12345678", "0.1234567", "1234567.1234567", "12345678.5", "9007199254740993", "0.020312500000000003", "0.00000000000000000000000000000000000000000000012",
	"1234567890123456789012345678901234567890.5", "0.12345678901234567890123456789012345678", "0.1234567890123456789012345678901234567e-05",
	"\"0.5\"", "NaN", "inf", "9.9e37", "-9.91E+37", "--1", "0,5", "0 .5", "0.5 ", "  0.5", "\t0.5", "0x10", "1_000.5", "", "5V", "0.5 mV", "9.999", "10.001", "99999.99", "999999.99"}

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
