package cycle

import (
	"math"
	"slices"
)

// pieces is a cycle described by low polynomials between breaks, with free
// steps at the breaks.
type pieces struct {
	bins   int
	cells  int       // cells of a few bins that the fit is made on
	breaks []float64 // in bins, ascending
	marked []bool    // the break lies at a transient's onset
	degree int
	coef   [][4]float64 // by piece, over u = -1..1 along it
	rms    float64      // of the residue of cells, V
	rss    float64
	points float64      // cells that count
	endVar [][2]float64 // variance of the values at both ends of a piece over that of a cell
}

// like reports whether both describe the same curve.
func (p *pieces) like(q pieces) bool {
	return slices.Equal(p.breaks, q.breaks) && slices.Equal(p.coef, q.coef)
}

// fitPieces finds the breaks and polynomials that describe the weighted cycle
// best: two breaks first, more only where they pay, parabolas only where they
// pay. Hints are bins where a transient starts; a break close by moves there.
func fitPieces(y, weight []float64, hints []int, sigma float64) pieces {
	m := len(y)
	c := newCells(y, weight)
	per := float64(m) / float64(c.n)
	stride := max(c.n/breakPlaces, 1)
	best := math.Inf(1)
	breaks := []int{0, c.n / 2}
	for a := 0; a < c.n; a += stride {
		for b := a + c.least(); b < c.n && b-a <= c.n-c.least(); b += stride {
			if r := c.rss(a, b) + c.rss(b, a+c.n); r < best {
				best = r
				breaks[0], breaks[1] = a, b
			}
		}
	}
	breaks = c.refine(breaks, stride)
	noise := sigma * sigma / per * float64(c.n) // what is left of a perfect fit
	fit := c.fit(y, breaks, hints, 1)
	// transients mark the edges unless the ripple clearly says otherwise
	if len(hints) == 2 {
		marked := []int{int(float64(hints[0]) / per), int(float64(hints[1]) / per)}
		if marked[0] > marked[1] {
			marked[0], marked[1] = marked[1], marked[0]
		}
		if marked[1]-marked[0] >= c.least() && marked[1]-marked[0] <= c.n-c.least() {
			if at := c.fit(y, marked, hints, 1); at.rss < fit.rss+costSigmas*noise/float64(c.n) || at.rss < markedCosts*fit.rss {
				fit, breaks = at, marked
			}
		}
	}
	// a third and a fourth straight part (discontinuous conduction)
	for len(breaks) < mostPieces {
		best := math.Inf(1)
		var next []int
		for a := 0; a < c.n; a += stride {
			try := insertSorted(breaks, a)
			if r := c.total(try); r < best {
				best, next = r, try
			}
		}
		if next == nil {
			break
		}
		next = c.refine(next, stride)
		more := c.fit(y, next, hints, 1)
		curved := c.fit(y, breaks, hints, 2)
		if more.rss < pieceGain*fit.rss && more.rss < pieceOverBend*curved.rss && fit.rss-more.rss > pieceNoise*noise {
			fit, breaks = more, next
			continue
		}
		break
	}
	// a parabola costs one number a piece; it has to earn it clearly
	curved := c.fit(y, breaks, hints, 2)
	if curved.rss < bendGain*fit.rss && fit.rss-curved.rss > costSigmas*noise/float64(c.n) {
		fit = curved
	}
	return fit
}

// fit fits polynomials between breaks given in cells, moved to a hint within
// three hundredths of the cycle or at the start of the transient around it.
func (c *cellData) fit(y []float64, cellBreaks, hints []int, degree int) pieces {
	bins := len(y)
	per := float64(bins) / float64(c.n)
	p := pieces{bins: bins, cells: c.n, degree: degree}
	for _, b := range cellBreaks {
		place := (float64(b) + 0.5) * per
		at, near := place, hintReach*float64(bins)
		for _, h := range hints {
			if d := math.Abs(math.Remainder(float64(h)-place, float64(bins))); d < near {
				near, at = d, float64(h)
			}
		}
		if at == place {
			// anywhere in what a transient covers the misfit is the same
			for _, h := range hints {
				from := int(float64(h) / per)
				n := (b - from + c.n) % c.n
				covered := n < c.n*hintCovers5/5+2
				for k := 2; k < n-1 && covered; k++ {
					covered = c.w[(from+k)%c.n] < hintWeight
				}
				if covered {
					at = float64(h)
				}
			}
		}
		p.breaks = append(p.breaks, at)
	}
	slices.Sort(p.breaks)
	for _, b := range p.breaks {
		marked := false
		for _, h := range hints {
			marked = marked || float64(h) == b
		}
		p.marked = append(p.marked, marked)
	}
	p.solve(c)
	p.sharpen(y, c)
	return p
}

// solve fits every piece between p.breaks; the cell that holds a break is left
// out.
func (p *pieces) solve(c *cellData) {
	per := float64(p.bins) / float64(c.n)
	p.coef = make([][4]float64, len(p.breaks))
	p.endVar = make([][2]float64, len(p.breaks))
	p.rss, p.points = 0, 0
	us, ys, ws := make([]float64, 0, c.n+2), make([]float64, 0, c.n+2), make([]float64, 0, c.n+2)
	for i := range p.breaks {
		from, length := p.breaks[i]/per, p.length(i)/per
		first := int(math.Floor(from)) + 1
		last := int(math.Floor(from + length)) // exclusive
		if last-first < leastInPiece {
			first--
			last++
		}
		us, ys, ws = us[:0], ys[:0], ws[:0]
		for k := first; k < last; k++ {
			j := ((k % c.n) + c.n) % c.n
			if c.w[j] <= 0 {
				continue
			}
			x := c.x[j] + float64(k-j)
			us = append(us, (x-from)/max(length, noLength)*2-1)
			ys = append(ys, c.y[j])
			ws = append(ws, c.w[j])
		}
		d := p.degree
		if len(us) < bendCells || len(us) > 0 && us[len(us)-1]-us[0] < bendSpan {
			d = min(d, 1)
		}
		if len(us) > 0 && us[len(us)-1]-us[0] < slopeSpan {
			d = 0
		}
		fit := polyFitAt(us, ys, ws, d)
		p.coef[i], p.endVar[i] = fit.coef, fit.endVar
		p.rss += fit.rss
		p.points += fit.weight
	}
	p.rms = math.Sqrt(p.rss / max(p.points, 1))
}

// length of piece i in bins.
func (p *pieces) length(i int) float64 {
	if i+1 < len(p.breaks) {
		return p.breaks[i+1] - p.breaks[i]
	}
	return p.breaks[0] + float64(p.bins) - p.breaks[i]
}

// end is the value of piece i at u = -1 (start) to 1 (end).
func (p *pieces) end(i int, u float64) float64 {
	c := p.coef[i]
	return c[0] + u*(c[1]+u*c[2])
}

// slope of piece i at u = -1 or 1, per bin.
func (p *pieces) slope(i int, u float64) float64 {
	c := p.coef[i]
	return (c[1] + 2*c[2]*u) * 2 / max(p.length(i), 1)
}

// at is the value of piece i at bin place x, extrapolated beyond its ends.
func (p *pieces) at(i int, x float64) float64 {
	n := p.length(i)
	d := x - p.breaks[i]
	m := float64(p.bins)
	if d < -(m-n)/2 {
		d += m
	} else if d > n+(m-n)/2 {
		d -= m
	}
	return p.end(i, d/max(n, noLength)*2-1)
}

// extremes are the least and greatest value of the fit, and the variance of
// their difference over that of a cell.
func (p *pieces) extremes() (lo, hi, variance float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	var vlo, vhi float64
	see := func(v float64) { lo, hi = min(lo, v), max(hi, v) }
	for i, c := range p.coef {
		for k, u := range [2]float64{-1, 1} {
			v := p.end(i, u)
			if v < lo {
				vlo = p.endVar[i][k]
			}
			if v > hi {
				vhi = p.endVar[i][k]
			}
			see(v)
		}
		if c[2] != 0 {
			if u := -c[1] / (2 * c[2]); u > -1 && u < 1 {
				see(p.end(i, u))
			}
		}
	}
	return lo, hi, vlo + vhi
}

// sharpen moves each break with a step to the bin where the curve changes over
// from one piece to the next, within two cells or, where a transient may hide
// the place, a fortieth of the cycle, and fits again.
func (p *pieces) sharpen(y []float64, c *cellData) {
	m := p.bins
	reach := 2 * m / p.cells
	k := len(p.breaks)
	moved := append([]float64(nil), p.breaks...)
	for i, b := range p.breaks {
		reach := reach
		if p.marked[i] {
			reach = max(reach, m/sharpenPart)
		}
		before := (i + k - 1) % k
		step := math.Abs(p.at(before, b) - p.at(i, b))
		if step < stepOverRMS*p.rms {
			continue
		}
		limit := step * step // a spike on the step must not outweigh it
		best, at, sum := 0.0, -reach, 0.0
		for d := -reach; d < reach; d++ {
			x := math.Floor(b) + float64(d)
			j := ((int(x) % m) + m) % m
			l := y[j] - p.at(before, x+0.5)
			r := y[j] - p.at(i, x+0.5)
			if sum += min(max(l*l-r*r, -limit), limit); sum < best {
				best, at = sum, d+1
			}
		}
		moved[i] = math.Mod(math.Floor(b)+float64(at)+float64(m), float64(m))
	}
	slices.Sort(moved)
	for i := range moved {
		next := moved[(i+1)%k]
		if i+1 == k {
			next += float64(m)
		}
		if next-moved[i] < 2*float64(m)/float64(p.cells) {
			return
		}
	}
	p.breaks = moved
	p.solve(c)
}

// corridor draws the fit on the bins. For zone bins after each break, and one
// before, the curve y itself counts as long as it runs between the two pieces:
// a step takes its time. A pole of round bins also cuts the corner between two
// slopes short.
func (p *pieces) corridor(y []float64, zone int, round float64) []float64 {
	m := p.bins
	out := make([]float64, m)
	k := len(p.breaks)
	for i, b := range p.breaks {
		n := int(math.Ceil(p.length(i)))
		start := int(math.Ceil(b - 0.5))
		for d := range n {
			j := (start + d) % m
			out[j] = p.at(i, float64(start+d)+0.5)
		}
	}
	for i, b := range p.breaks {
		before := (i + k - 1) % k
		start := int(math.Ceil(b - 0.5))
		bend := p.slope(i, -1) - p.slope(before, 1)
		low, high := 0.0, bend*round // a valley is filled up
		if bend < 0 {
			low, high = bend*round, 0 // a crest is cut down
		}
		for d := -2 - zone/4; d <= zone; d++ {
			j := (start + d + m) % m
			l, r := p.at(before, float64(start+d)+0.5), p.at(i, float64(start+d)+0.5)
			out[j] = min(max(y[j], min(l, r)+low), max(l, r)+high)
		}
	}
	return out
}
