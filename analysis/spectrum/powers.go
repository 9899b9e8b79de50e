package spectrum

import (
	"math"

	algofft "github.com/MeKo-Christian/algo-fft"
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

// FastLen is the length not above n, by no more than a thirtieth below it, whose
// transform is fastest: of those that can be laid out as a grid (fourStep) the one whose
// columns have the greatest power of two, else the largest without a prime factor over 5.
func FastLen(n int) int {
	smooth := SmoothLen(n)
	if best := fastest(int(math.Ceil(fourStepShare*float64(smooth))), n); best > 0 {
		return best
	}
	return smooth
}

// FastLenOver is such a length not below n, by no more than a thirtieth over it, and 0
// where there is none.
func FastLenOver(n int) int { return fastest(n, int(float64(n)/fourStepShare)) }

// fastest is the length from least to most that can be laid out as a grid whose columns
// have the greatest power of two; 0 where there is none.
func fastest(least, most int) int {
	const unit = 2 * fourStepRows
	best, twos := 0, 0
	for cols := most / unit; unit*cols >= max(least, 1); cols-- {
		if p := cols & -cols; p > twos && fourSteps(unit*cols) {
			best, twos = unit*cols, p
		}
	}
	return best
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
