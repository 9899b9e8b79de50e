package spectrum

import (
	"math"

	algofft "github.com/MeKo-Christian/algo-fft"
	"gonum.org/v1/gonum/dsp/fourier"
)

// powers transforms real pieces of one length n for what averages need of them. Not for
// use by two goroutines at once.
type powers struct {
	// add adds to power the squared magnitudes of the terms 0 to n/2 of x less offset,
	// under the taper w.
	add func(power, x []float64, offset float64, w []float64)
	// term is term k, 0 to n/2, of the last piece.
	term func(k int) complex128
}

// newPowers prepares for pieces of n samples, n > 0, the fastest way that there is for
// their length.
func newPowers(n int) powers {
	switch {
	case packs(n):
		p := newPacked(n)
		return powers{p.addPowers, p.term}
	case fourSteps(n):
		f := newFourStep(n)
		return powers{f.addPowers, f.term}
	default:
		p := &plainPowers{fft: NewTransform(n), work: make([]float64, n), coef: make([]complex128, n/2+1)}
		return powers{p.addPowers, p.term}
	}
}

// fastLen is the largest length not above n, or hardly below it, whose powers are fast.
func fastLen(n int) int {
	smooth := SmoothLen(n)
	if laid := 2 * fourStepRows * SmoothLen(n/(2*fourStepRows)); fourSteps(laid) && float64(laid) >= fourStepShare*float64(smooth) {
		return laid
	}
	return smooth
}

// plainPowers are those of any length, term by term.
type plainPowers struct {
	fft  *Transform
	work []float64
	coef []complex128
}

func (p *plainPowers) addPowers(power, x []float64, offset float64, w []float64) {
	for i, v := range x {
		p.work[i] = (v - offset) * w[i]
	}
	p.fft.Coefficients(p.coef, p.work)
	for k, c := range p.coef {
		power[k] += real(c)*real(c) + imag(c)*imag(c)
	}
}

func (p *plainPowers) term(k int) complex128 { return p.coef[k] }

// fourStep transforms long pieces, packed as half as many complex samples, as a grid of
// fourStepRows rows that lie behind each other in time: first its columns, then each
// term turned by its row times its column, then the rows, all of them short enough for
// the library's fastest transforms and for the caches. Term k of the whole is then in
// row k modulo fourStepRows (Bailey 1990, from memory). What it has to prepare is small
// beside one transform, unlike the library's own for such lengths, and gonum's.
type fourStep struct {
	n, cols, stride int // samples, columns, from row to row
	down            *algofft.Plan[complex128]
	along           func(row []complex128) // transforms a row in place
	grid            []complex128
	column, terms   []complex128 // work space for a column
	near, far       []complex128 // exp(-2πiq/n) of q below fourStepNear, and of its multiples
}

const (
	fourStepRows   = 64
	fourStepNear   = 512
	fourStepAtOnce = 8 // columns: two lines of the cache
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
	if cols&(cols-1) == 0 {
		plan := newPlan(cols)
		f.along = func(row []complex128) { must(plan.InPlace(row)) }
	} else { // the faster library's terms are wrong for some lengths, as 40 and 1000
		plan := fourier.NewCmplxFFT(cols)
		f.along = func(row []complex128) { plan.Coefficients(row, row) }
	}
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

// forward transforms x less offset under the taper w.
func (f *fourStep) forward(x []float64, offset float64, w []float64) {
	for from := 0; from < f.cols; from += fourStepAtOnce {
		wide := min(fourStepAtOnce, f.cols-from)
		for r := range fourStepRows {
			at := 2 * (r*f.cols + from)
			pairs, under := x[at:][:2*wide], w[at:][:2*wide]
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
		f.along(f.grid[r*f.stride:][:f.cols])
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

// newPlan prepares for n complex samples, n a power of two.
func newPlan(n int) *algofft.Plan[complex128] {
	plan, err := algofft.NewPlanT[complex128](n)
	must(err)
	return plan
}

// must panics on an error of a transform, which lengths that fit never give.
func must(err error) {
	if err != nil {
		panic("spectrum: transform: " + err.Error())
	}
}
