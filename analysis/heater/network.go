package heater

import "math"

// element is one heater (or mult equal ones in a row) within a branch.
type element struct {
	valve    Valve
	v0, i0   float64 // rating in the connection used, V and A
	exponent float64 // I = i0·(V/v0)^exponent
	mult     int     // that many in a row
	shuntOhm float64 // a resistor across each of them, 0: none; in ohm where ohmic
	place    int     // of its kind in the strand
	empty    bool    // no heater is left in it, only its shunt
	ohm      float64 // when ohmic: resistance of one
	ohmic    bool    // cold or mid-warm-up: a plain resistance; ohm 0 is a short
}

// volts across all mult heaters of the element at current i.
func (e element) volts(i float64) float64 {
	if e.ohmic {
		return float64(e.mult) * e.ohm * i
	}
	alone := e.v0 * math.Pow(i/e.i0, 1/e.exponent) // the most, with no current through a shunt
	if e.shuntOhm > 0 {
		alone = root(func(v float64) float64 { return e.amps(v) - i }, 0, alone)
	}
	return float64(e.mult) * alone
}

// amps through one heater and its shunt at v volts across it.
func (e element) amps(v float64) float64 {
	i := e.i0 * math.Pow(v/e.v0, e.exponent)
	if e.shuntOhm > 0 {
		i += v / e.shuntOhm
	}
	return i
}

// beside is a heater's resistance with its shunt.
func (e element) beside(ohm float64) float64 {
	if e.shuntOhm > 0 {
		return ohm * e.shuntOhm / (ohm + e.shuntOhm)
	}
	return ohm
}

// branch is count equal strings side by side, each its own resistor and
// heaters one after the other.
type branch struct {
	name  string
	count int
	ohm   float64 // own resistor
	elems []element
}

// volts across the branch at current i through each string.
func (b branch) volts(i float64) float64 {
	v := b.ohm * i
	for _, e := range b.elems {
		v += e.volts(i)
	}
	return v
}

// resistance is that of an all-ohmic branch; ok is false for any other.
func (b branch) resistance() (ohm float64, ok bool) {
	ohm = b.ohm
	for _, e := range b.elems {
		if !e.ohmic {
			return 0, false
		}
		ohm += float64(e.mult) * e.ohm
	}
	return ohm, true
}

// amps through one string of the branch at v volts across it.
func (b branch) amps(v float64) float64 {
	if v <= 0 {
		return 0
	}
	if r, ok := b.resistance(); ok {
		return v / r // +Inf for a short
	}
	if b.ohm == 0 && len(b.elems) == 1 {
		e := b.elems[0]
		return e.amps(v / float64(e.mult))
	}
	hi := 0.0
	for _, e := range b.elems {
		if !e.ohmic && (hi == 0 || e.i0 < hi) {
			hi = e.i0
		}
	}
	for b.volts(hi) < v {
		hi *= 2
	}
	return root(func(i float64) float64 { return b.volts(i) - v }, 0, hi)
}

// network is a source with resistance, a shared dropper and branches.
type network struct {
	openV     float64
	sourceOhm float64 // output, leads, filter
	sharedOhm float64
	diode     *diodeModel
	diodes    int
	branches  []branch
	limitA    float64 // the source holds its current at this, 0: it never limits
}

// point is a solved operating point.
type point struct {
	busV      float64   // ahead of the branches
	totalA    float64   //
	branchA   []float64 // through one string of each branch
	unlimited bool      // a short with no resistance in its way
}

// drop between source and bus at current i.
func (n network) drop(i float64) float64 {
	v := i * (n.sourceOhm + n.sharedOhm)
	if n.diodes > 0 {
		v += float64(n.diodes) * n.diode.volts(i)
	}
	return v
}

// solve finds the operating point. The drop rises and the bus falls with the
// current, so there is exactly one.
func (n network) solve() point {
	p := point{branchA: make([]float64, len(n.branches))}
	shorted := -1
	for k, b := range n.branches {
		if r, ok := b.resistance(); ok && r == 0 && b.count > 0 {
			shorted = k
		}
	}
	if shorted >= 0 {
		switch {
		case n.sourceOhm+n.sharedOhm > 0:
			hi := n.openV / (n.sourceOhm + n.sharedOhm)
			p.totalA = root(func(i float64) float64 { return n.drop(i) - n.openV }, 0, hi)
		case n.limitA > 0:
			p.totalA = n.limitA
		default:
			p.unlimited = true
			return p
		}
		if n.limitA > 0 {
			p.totalA = math.Min(p.totalA, n.limitA)
		}
		p.branchA[shorted] = p.totalA / float64(n.branches[shorted].count)
		return p
	}
	total := func(v float64) float64 {
		sum := 0.0
		for _, b := range n.branches {
			if b.count > 0 {
				sum += float64(b.count) * b.amps(v)
			}
		}
		return sum
	}
	p.busV = root(func(v float64) float64 { return v + n.drop(total(v)) - n.openV }, 0, n.openV)
	if n.limitA > 0 && total(p.busV) > n.limitA {
		p.busV = root(func(v float64) float64 { return total(v) - n.limitA }, 0, p.busV)
	}
	for k, b := range n.branches {
		if b.count > 0 {
			p.branchA[k] = b.amps(p.busV)
			p.totalA += float64(b.count) * p.branchA[k]
		}
	}
	return p
}

// root finds where f, rising from f(lo) <= 0 to f(hi) >= 0, crosses zero:
// bisection with inverse quadratic steps where they are safe (Chandrupatla,
// Advances in Engineering Software 28, 1997, 145-149).
func root(f func(float64) float64, lo, hi float64) float64 {
	a, b := hi, lo
	fa, fb := f(a), f(b)
	if fa <= 0 {
		return a
	}
	if fb >= 0 {
		return b
	}
	c, fc := a, fa
	t := 0.5
	for range 200 {
		x := a + t*(b-a)
		fx := f(x)
		if (fx > 0) == (fa > 0) {
			c, fc = a, fa
		} else {
			c, b = b, a
			fc, fb = fb, fa
		}
		a, fa = x, fx
		best, fbest := b, fb
		if math.Abs(fa) < math.Abs(fb) {
			best, fbest = a, fa
		}
		tol := 1e-13*math.Abs(best) + 1e-300
		tl := tol / math.Abs(b-c)
		if fbest == 0 || tl > rootStep {
			return best
		}
		xi, phi := (a-b)/(c-b), (fa-fb)/(fc-fb)
		if phi*phi < xi && (1-phi)*(1-phi) < 1-xi {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		} else {
			t = 0.5
		}
		t = math.Min(1-tl, math.Max(tl, t))
	}
	return a
}
