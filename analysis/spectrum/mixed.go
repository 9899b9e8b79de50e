package spectrum

import (
	"math"

	algofft "github.com/MeKo-Christian/algo-fft"
)

// mixed transforms complex sequences of a length of factors 2, 3 and 5: the library's
// transforms of its power of two, joined in threes and fives (Cooley and Tukey 1965). The
// library's own for such lengths are wrong for some, as 40 and 1000, and gonum's take
// several times as long. Not for use by two goroutines at once.
type mixed struct {
	n     int
	plan  *algofft.Plan[complex128] // of a power of two, and nothing of the following
	radix int                       // 3 or 5
	part  *mixed                    // of every radix-th number
	parts []complex128              // those, part by part
	turns []complex128              // exp(-2πijk/n) of j from 1 to radix-1, at each k below n/radix
}

// newMixed prepares for sequences of n, whose only factors are 2, 3 and 5.
func newMixed(n int) *mixed {
	m := &mixed{n: n, radix: 5}
	switch {
	case n%5 == 0:
	case n%3 == 0:
		m.radix = 3
	default:
		m.plan = newPlan(n)
		return m
	}
	size := n / m.radix
	m.part, m.parts = newMixed(size), make([]complex128, n)
	for k := range size {
		for j := 1; j < m.radix; j++ {
			sin, cos := math.Sincos(2 * math.Pi * float64(j*k) / float64(n))
			m.turns = append(m.turns, complex(cos, -sin))
		}
	}
	return m
}

// transform replaces x, of n numbers, by its terms.
func (m *mixed) transform(x []complex128) {
	if m.plan != nil {
		must(m.plan.InPlace(x))
		return
	}
	size := m.n / m.radix
	for j := range m.radix {
		part := m.parts[j*size:][:size]
		for i := range part {
			part[i] = x[i*m.radix+j]
		}
		m.part.transform(part)
	}
	if m.radix == 3 {
		m.join3(x[:3*size])
	} else {
		m.join5(x[:5*size])
	}
}

// Sines and cosines of a third and of a fifth of a turn, and of two fifths.
var (
	sin3       = math.Sqrt(3) / 2
	sin5, cos5 = math.Sincos(2 * math.Pi / 5)
	sin52      = math.Sin(4 * math.Pi / 5)
	cos52      = math.Cos(4 * math.Pi / 5)
)

// join3 puts the terms of the whole into x.
func (m *mixed) join3(x []complex128) {
	size := len(x) / 3
	p0, p1, p2 := m.parts[:size], m.parts[size:][:size], m.parts[2*size:][:size]
	x0, x1, x2 := x[:size], x[size:][:size], x[2*size:][:size]
	turns := m.turns[:2*size]
	for k := range p0 {
		a, b := p1[k]*turns[2*k], p2[k]*turns[2*k+1]
		sum, diff := a+b, a-b
		mid := complex(real(p0[k])-real(sum)/2, imag(p0[k])-imag(sum)/2)
		side := complex(sin3*imag(diff), -sin3*real(diff))
		x0[k], x1[k], x2[k] = p0[k]+sum, mid+side, mid-side
	}
}

// join5 is join3 of five parts.
func (m *mixed) join5(x []complex128) {
	size := len(x) / 5
	part := func(j int) []complex128 { return m.parts[j*size:][:size] }
	p0, p1, p2, p3, p4 := part(0), part(1), part(2), part(3), part(4)
	x0, x1, x2, x3, x4 := x[:size], x[size:][:size], x[2*size:][:size], x[3*size:][:size], x[4*size:][:size]
	turns := m.turns[:4*size]
	for k := range p0 {
		t := turns[4*k:][:4]
		a, b, c, d := p1[k]*t[0], p2[k]*t[1], p3[k]*t[2], p4[k]*t[3]
		outer, inner, outerDiff, innerDiff := a+d, b+c, a-d, b-c
		near := complex(real(p0[k])+cos5*real(outer)+cos52*real(inner), imag(p0[k])+cos5*imag(outer)+cos52*imag(inner))
		far := complex(real(p0[k])+cos52*real(outer)+cos5*real(inner), imag(p0[k])+cos52*imag(outer)+cos5*imag(inner))
		nearSide := complex(sin5*imag(outerDiff)+sin52*imag(innerDiff), -sin5*real(outerDiff)-sin52*real(innerDiff))
		farSide := complex(sin52*imag(outerDiff)-sin5*imag(innerDiff), -sin52*real(outerDiff)+sin5*real(innerDiff))
		x0[k] = p0[k] + outer + inner
		x1[k], x4[k] = near+nearSide, near-nearSide
		x2[k], x3[k] = far+farSide, far-farSide
	}
}
