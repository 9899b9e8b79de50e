package spectrum

import (
	"math"
	"math/cmplx"

	algofft "github.com/MeKo-Christian/algo-fft"
)

// packed transforms blocks of n real samples as n/2 complex ones: the samples of even
// number are the real parts, those of odd number the imaginary ones. With a and b the
// terms k and n/2-k of these, b conjugated, and w = exp(-2πik/n), the samples' own terms
// are
//
//	X(k) = E + wO, conj X(n/2-k) = E - wO; E = (a+b)/2, O = (a-b)/2i
//
// (Sorensen, Jones, Heideman and Burrus 1987, from memory). What is wanted of them,
// their powers or what a response makes of them, follows from a and b in one pass. Not
// for use by two goroutines at once.
type packed struct {
	n        int
	plan     *algofft.Plan[complex128]
	in, out  []complex128 // n/2 of them
	cos, sin []float64    // of 2πk/n, k up to n/4
}

// packs reports whether blocks of n samples may be packed: others are not worth it.
func packs(n int) bool { return n >= fastLeast && n <= fastMost && n&(n-1) == 0 }

// newPacked prepares for blocks of n samples, of which packs must be true.
func newPacked(n int) *packed {
	if !packs(n) {
		panic("spectrum: blocks that can't be packed")
	}
	p := &packed{n: n, plan: newPlan(n / 2), in: make([]complex128, n/2), out: make([]complex128, n/2), cos: make([]float64, n/4+1), sin: make([]float64, n/4+1)}
	for k := range p.cos {
		p.sin[k], p.cos[k] = math.Sincos(2 * math.Pi * float64(k) / float64(n))
	}
	return p
}

// again transforms in to out.
func (p *packed) again() { must(p.plan.Forward(p.out, p.in)) }

func (p *packed) addPowers(power, x []float64, offset float64, w []float64) {
	half := p.n / 2
	in, x, w := p.in[:half], x[:2*half], w[:2*half]
	for i := range in {
		in[i] = complex((x[2*i]-offset)*w[2*i], (x[2*i+1]-offset)*w[2*i+1])
	}
	p.again()
	middle := half / 2
	addEnds(power[:half+1], p.out[0], p.out[middle])
	addPairs(power[1:middle], power[middle+1:half], p.out[1:middle], p.out[middle+1:half], p.cos[1:middle], p.sin[1:middle])
}

func (p *packed) term(k int) complex128 {
	half := p.n / 2
	sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(p.n))
	return unpackTerm(p.out[k%half], p.out[(half-k)%half], complex(cos, -sin))
}

// addPairs adds the powers of terms k to up, ascending, and those of the terms n/2-k to
// down, ascending too, so that the last belongs to the first of up. a and b are the
// packed samples' terms in the same orders, not conjugated yet, cos and sin of 2πk/n.
func addPairs(up, down []float64, a, b []complex128, cos, sin []float64) {
	last := len(a) - 1
	up, down, b, cos, sin = up[:last+1], down[:last+1], b[:last+1], cos[:last+1], sin[:last+1]
	for i, a := range a {
		b := b[last-i]
		evenRe, evenIm := real(a)+real(b), imag(a)-imag(b)
		oddRe, oddIm := imag(a)+imag(b), real(b)-real(a)
		c, s := cos[i], sin[i]
		turnedRe, turnedIm := oddRe*c+oddIm*s, oddIm*c-oddRe*s // by w
		sum := 0.25 * (evenRe*evenRe + evenIm*evenIm + oddRe*oddRe + oddIm*oddIm)
		cross := 0.5 * (evenRe*turnedRe + evenIm*turnedIm)
		up[i] += sum + cross
		down[last-i] += sum - cross
	}
}

// addEnds adds the powers of the first term, of the last and of the one between, which
// follow from first and middle, the packed samples' terms 0 and n/4.
func addEnds(power []float64, first, middle complex128) {
	re, im, half := real(first), imag(first), len(power)-1
	power[0] += (re + im) * (re + im)
	power[half] += (re - im) * (re - im)
	// there E is its real part, and wO is -i times its imaginary one
	power[half/2] += real(middle)*real(middle) + imag(middle)*imag(middle)
}

// unpackTerm is term k of the samples from the packed ones' a and b, b not conjugated
// yet, and w.
func unpackTerm(a, b, w complex128) complex128 {
	b = cmplx.Conj(b)
	return (a+b)/2 + w*(a-b)/2i
}

// Filter runs blocks of real samples through a response in the frequency domain: a
// circular convolution. Not for use by two goroutines at once.
//
// Of a response h, with S and D half the sum and half the difference of h(k) and
// conj h(n/2-k), the packed samples' term k becomes (S - D·sin)·a + iD·cos·b, sine and
// cosine those of 2πk/n.
type Filter struct {
	*packed
	own, mirrored []complex128 // what a and b are multiplied by, conjugated, over n/2
}

// NewFilter takes the response at the terms 0 to n/2 of blocks of n samples, n a power
// of two from 64 to 32768 (it panics else). The first and the last count as real.
func NewFilter(response []complex128) *Filter {
	half := len(response) - 1
	f := &Filter{packed: newPacked(2 * half), own: make([]complex128, half), mirrored: make([]complex128, half)}
	at := func(k int) complex128 {
		if k == 0 || k == half {
			return complex(real(response[k]), 0)
		}
		return response[k]
	}
	for k := range half {
		h, m := at(k), cmplx.Conj(at(half-k))
		sum, diff := (h+m)/2, (h-m)/2
		sin, cos := math.Sincos(math.Pi * float64(k) / float64(half))
		f.own[k] = cmplx.Conj(sum-diff*complex(sin, 0)) / complex(float64(half), 0)
		f.mirrored[k] = cmplx.Conj(diff*complex(0, cos)) / complex(float64(half), 0)
	}
	return f
}

// Run puts the n samples of x less offset, filtered, into dst, which may be x.
func (f *Filter) Run(dst, x []float64, offset float64) {
	f.transform(x, offset)
	f.Through(dst, f.out[:f.n/2])
}

// Terms puts the transform of the n samples of x into dst, of n/2 terms: what Through
// takes, of this filter and of others of n.
func (f *Filter) Terms(dst []complex128, x []float64) {
	f.transform(x, 0)
	copy(dst, f.out[:f.n/2])
}

func (f *Filter) transform(x []float64, offset float64) {
	half := f.n / 2
	in, x := f.in[:half], x[:2*half]
	for i := range in {
		in[i] = complex(x[2*i]-offset, x[2*i+1]-offset)
	}
	f.again()
}

// Through puts the n samples of a transform z (Terms), filtered, into dst.
func (f *Filter) Through(dst []float64, z []complex128) {
	half := f.n / 2
	in, dst := f.in[:half], dst[:2*half]
	// back by the same transform: the inverse is the conjugate of the conjugates' one
	z, own, mirrored := z[:half], f.own[:half], f.mirrored[:half]
	turn := func(k int, a, b complex128) complex128 { // conj(own·a + mirrored·conj b), as they are kept
		o, m := own[k], mirrored[k]
		return complex(
			real(o)*real(a)+imag(o)*imag(a)+real(m)*real(b)-imag(m)*imag(b),
			imag(o)*real(a)-real(o)*imag(a)+imag(m)*real(b)+real(m)*imag(b))
	}
	in[0] = turn(0, z[0], z[0])
	for k, j := 1, half-1; k <= j; k, j = k+1, j-1 {
		a, b := z[k], z[j]
		in[k], in[j] = turn(k, a, b), turn(j, b, a)
	}
	f.again()
	for i, c := range f.out[:half] {
		dst[2*i], dst[2*i+1] = real(c), -imag(c)
	}
}
