package cycle

import (
	"math"
)

// cellData is a folded cycle on cells, with running sums twice around so that
// the misfit of a straight line over any stretch costs a few operations.
type cellData struct {
	n    int
	x    []float64 // mean place, in cells
	y, w []float64
	sums [][6]float64 // w, wx, wxx, wy, wxy, wyy
}

func newCells(y, weight []float64) *cellData {
	m := len(y)
	n := min(m, maxCells)
	per := float64(m) / float64(n)
	c := &cellData{n: n, x: make([]float64, n), y: make([]float64, n), w: make([]float64, n), sums: make([][6]float64, 2*n+1)}
	for i, v := range y {
		w := weight[i]
		if w == 0 {
			continue
		}
		k := i * n / m
		c.w[k] += w
		c.y[k] += w * v
		c.x[k] += w * (float64(i) + 0.5) / per
	}
	for k := range c.w {
		if c.w[k] > 0 {
			c.y[k] /= c.w[k]
			c.x[k] /= c.w[k]
			c.w[k] /= per
		}
	}
	for i := range 2 * n {
		k := i % n
		x := c.x[k] + float64(i-k)
		w, v := c.w[k], c.y[k]
		s := c.sums[i]
		c.sums[i+1] = [6]float64{s[0] + w, s[1] + w*x, s[2] + w*x*x, s[3] + w*v, s[4] + w*x*v, s[5] + w*v*v}
	}
	return c
}

// rss of the straight line through cells a to b, the cells at the breaks
// themselves left out.
func (c *cellData) rss(a, b int) float64 {
	p, q := c.sums[a+1], c.sums[b]
	w := q[0] - p[0]
	if w <= 0 {
		return 0
	}
	x, xx, y, xy, yy := q[1]-p[1], q[2]-p[2], q[3]-p[3], q[4]-p[4], q[5]-p[5]
	sxx := xx - x*x/w
	sxy := xy - x*y/w
	syy := yy - y*y/w
	if sxx > noLength*w {
		syy -= sxy * sxy / sxx
	}
	return max(syy, 0)
}

// total is the misfit of straight lines between breaks, in cells, ascending.
func (c *cellData) total(breaks []int) float64 {
	sum := 0.0
	for i, b := range breaks {
		next := 0
		if i+1 < len(breaks) {
			next = breaks[i+1]
		} else {
			next = breaks[0] + c.n
		}
		if next-b < c.least() {
			return math.Inf(1)
		}
		sum += c.rss(b, next)
	}
	return sum
}

// least is the shortest piece allowed, in cells.
func (c *cellData) least() int { return max(c.n/piecePart, pieceCells) }

func insertSorted(list []int, v int) []int {
	out := make([]int, 0, len(list)+1)
	done := false
	for _, x := range list {
		if !done && v <= x {
			out = append(out, v)
			done = true
		}
		out = append(out, x)
	}
	if !done {
		out = append(out, v)
	}
	return out
}

// refine moves each break to where the straight-line fit is best.
func (c *cellData) refine(breaks []int, reach int) []int {
	breaks = append([]int(nil), breaks...)
	best := c.total(breaks)
	for range breakRounds {
		moved := false
		for i := range breaks {
			for d := -2 * reach; d <= 2*reach; d++ {
				if d == 0 {
					continue
				}
				at := breaks[i] + d
				if at < 0 || at >= c.n || (i > 0 && at <= breaks[i-1]) || (i+1 < len(breaks) && at >= breaks[i+1]) {
					continue
				}
				was := breaks[i]
				breaks[i] = at
				if r := c.total(breaks); r < best {
					best, moved = r, true
				} else {
					breaks[i] = was
				}
			}
		}
		if !moved {
			break
		}
	}
	return breaks
}

// endsFit is a polynomial through weighted points between u = -1 and 1.
type endsFit struct {
	coef   [4]float64
	rss    float64 // weighted square of what it leaves
	weight float64
	endVar [2]float64 // variance of its values at -1 and 1 over that of a point of weight one
}

// polyFitAt fits a polynomial of degree up to 2 through weighted points.
func polyFitAt(us, ys, ws []float64, degree int) (f endsFit) {
	asked := min(degree, len(us)-1)
	for degree = asked; degree >= 0; degree-- {
		var a system5
		var right [5]float64
		for i, u := range us {
			b := [3]float64{1, u, u * u}
			for j := 0; j <= degree; j++ {
				wb := ws[i] * b[j]
				for k := 0; k <= degree; k++ {
					a[j][k] += wb * b[k]
				}
				right[j] += wb * ys[i]
			}
		}
		for j := degree + 1; j < len(a); j++ {
			a[j][j] = 1
		}
		known, ok := a.factor()
		if !ok {
			continue
		}
		x, ok := known.solve(right)
		if !ok {
			continue
		}
		copy(f.coef[:], x[:4])
		if degree == asked {
			f.endVar = [2]float64{known.variance(degree, -1), known.variance(degree, 1)}
		}
		break
	}
	for i, u := range us {
		d := ys[i] - f.coef[0] - u*(f.coef[1]+u*f.coef[2])
		f.rss += ws[i] * d * d
		f.weight += ws[i]
	}
	return f
}

// variance is the variance of a fitted polynomial's value at u over that of a point of
// weight one; f are the fit's normal equations.
func (f *factored5) variance(degree int, u float64) float64 {
	var at [5]float64
	copy(at[:], []float64{1, u, u * u}[:degree+1])
	x, ok := f.solve(at)
	if !ok {
		return 0
	}
	v := 0.0
	for j := 0; j <= degree; j++ {
		v += x[j] * at[j]
	}
	return max(v, 0)
}
