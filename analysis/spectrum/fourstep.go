package spectrum

import (
	"math"
	"math/cmplx"

	algofft "github.com/MeKo-Christian/algo-fft"
)

// fourStep transforms long pieces, packed as half as many complex samples, as a grid of
// fourStepRows rows that lie behind each other in time: first its columns, then each
// term turned by its row times its column, then the rows, all of them short enough for
// the library's fastest transforms and for the caches. Term k of the whole is then in
// row k modulo fourStepRows (Bailey 1990, from memory). What it has to prepare is small
// beside one transform, unlike the library's own for such lengths, and gonum's.
type fourStep struct {
	n, cols, stride int // samples, columns, from row to row
	down            *algofft.Plan[complex128]
	along           *mixed // of a row
	grid            []complex128
	column, terms   []complex128 // work space for a column
	near, far       []complex128 // exp(-2πiq/n) of q below fourStepNear, and of its multiples
}

const (
	fourStepRows   = 64
	fourStepNear   = 512
	fourStepAtOnce = 16 // columns: four lines of the cache; with eight columns it takes a third longer
)

// fourSteps reports whether pieces of n samples may be laid out.
func fourSteps(n int) bool {
	return n >= fourStepLeast && n%(2*fourStepRows) == 0 && SmoothLen(n) == n
}

// newFourStep prepares for pieces of n samples, of which fourSteps must be true.
func newFourStep(n int) *fourStep {
	cols := n / 2 / fourStepRows
	// rows a power of two apart would contend for the same places of a cache
	f := &fourStep{n: n, cols: cols, stride: cols + fourStepAtOnce}
	if !fourSteps(n) {
		panic("spectrum: pieces that can't be laid out")
	}
	f.down = newPlan(fourStepRows)
	f.along = newMixed(cols)
	f.grid = make([]complex128, fourStepRows*f.stride)
	f.column, f.terms = make([]complex128, fourStepRows*fourStepAtOnce), make([]complex128, fourStepRows*fourStepAtOnce)
	f.near, f.far = make([]complex128, fourStepNear), make([]complex128, n/fourStepNear+1)
	for q := range f.near {
		sin, cos := math.Sincos(2 * math.Pi * float64(q) / float64(n))
		f.near[q] = complex(cos, -sin)
	}
	for q := range f.far {
		sin, cos := math.Sincos(2 * math.Pi * float64(q) * fourStepNear / float64(n))
		f.far[q] = complex(cos, -sin)
	}
	return f
}

// root is exp(-2πiq/n), 0 <= q < n.
func (f *fourStep) root(q int) complex128 {
	return f.far[q/fourStepNear] * f.near[q%fourStepNear]
}

// forward transforms x less offset under the taper w, nil for none.
func (f *fourStep) forward(x []float64, offset float64, w []float64) {
	for from := 0; from < f.cols; from += fourStepAtOnce {
		wide := min(fourStepAtOnce, f.cols-from)
		for r := range fourStepRows {
			at := 2 * (r*f.cols + from)
			pairs := x[at:][:2*wide]
			if w == nil {
				for c := range wide {
					f.column[c*fourStepRows+r] = complex(pairs[2*c]-offset, pairs[2*c+1]-offset)
				}
				continue
			}
			under := w[at:][:2*wide]
			for c := range wide {
				f.column[c*fourStepRows+r] = complex((pairs[2*c]-offset)*under[2*c], (pairs[2*c+1]-offset)*under[2*c+1])
			}
		}
		for c := 0; c < wide*fourStepRows; c += fourStepRows {
			must(f.down.Forward(f.terms[c:c+fourStepRows], f.column[c:c+fourStepRows]))
		}
		for r := range fourStepRows {
			row := f.grid[r*f.stride+from:][:wide]
			for c := range row {
				row[c] = f.terms[c*fourStepRows+r] * f.root(2*r*(from+c))
			}
		}
	}
	for r := range fourStepRows {
		f.along.transform(f.grid[r*f.stride:][:f.cols])
	}
}

// at is term k of the packed samples.
func (f *fourStep) at(k int) complex128 {
	return f.grid[k%fourStepRows*f.stride+k/fourStepRows]
}

func (f *fourStep) addPowers(power, x []float64, offset float64, w []float64) {
	f.forward(x, offset, w)
	half := f.n / 2
	power = power[:half+1]
	addEnds(power, f.at(0), f.at(half/2))
	var a, b [fourStepRows]complex128
	var cos, sin [fourStepRows]float64
	for from := 1; from < half/2; {
		to := min((from/fourStepRows+1)*fourStepRows, half/2)
		for i := range to - from {
			w := f.root(from + i)
			cos[i], sin[i] = real(w), -imag(w)
			a[i], b[i] = f.at(from+i), f.at(half-to+1+i)
		}
		n := to - from
		addPairs(power[from:to], power[half-to+1:half-from+1], a[:n], b[:n], cos[:n], sin[:n])
		from = to
	}
}

func (f *fourStep) term(k int) complex128 {
	half := f.n / 2
	return unpackTerm(f.at(k%half), f.at((half-k)%half), f.root(k))
}

// coefficients puts the terms 0 to n/2 of x into dst.
func (f *fourStep) coefficients(dst []complex128, x []float64) {
	f.forward(x, 0, nil)
	half := f.n / 2
	dst = dst[:half+1]
	first := f.at(0)
	dst[0], dst[half] = complex(real(first)+imag(first), 0), complex(real(first)-imag(first), 0)
	for k, j := 1, half-1; k <= j; k, j = k+1, j-1 {
		even, odd := halves(f.at(k), f.at(j))
		odd *= f.root(k) * -1i
		dst[k], dst[j] = even+odd, cmplx.Conj(even-odd)
	}
}

// sequence puts into dst the n samples of which c are the terms, the first and the last
// of them real.
func (f *fourStep) sequence(dst []float64, c []complex128) {
	half := f.n / 2
	dst, c = dst[:f.n], c[:half+1]
	// back by the same transform: the inverse is the conjugate of the conjugates' one
	put := func(k int, packed complex128) { dst[2*k], dst[2*k+1] = real(packed), -imag(packed) }
	put(0, complex((real(c[0])+real(c[half]))/2, (real(c[0])-real(c[half]))/2))
	for k, j := 1, half-1; k <= j; k, j = k+1, j-1 {
		even, odd := halves(c[k], c[j])
		odd *= cmplx.Conj(f.root(k)) * 1i
		put(k, even+odd)
		put(j, cmplx.Conj(even-odd))
	}
	f.forward(dst, 0, nil)
	scale := 1 / float64(half)
	for r, from := 0, 0; from < half; r, from = r+1, from+fourStepRows {
		for q := range min(fourStepRows, half-from) {
			v := f.grid[q*f.stride+r]
			dst[2*(from+q)], dst[2*(from+q)+1] = scale*real(v), -scale*imag(v)
		}
	}
}

// halves is half the sum and half the difference of a and the conjugate of b.
func halves(a, b complex128) (sum, diff complex128) {
	b = cmplx.Conj(b)
	return (a + b) / 2, (a - b) / 2
}
