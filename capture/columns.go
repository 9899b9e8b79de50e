package capture

import (
	"bytes"
	"math"
)

// columnData is the numbers of the table's first rows, one slice per column.
type columnData struct {
	x       []float64
	ints    bool // printed without decimal mark or exponent throughout
	clock   bool
	parts   int    // most parts of a time of day, apart by colons
	unit    string // unit behind each number, when always the same
	some    bool   // holds a number at all
	changes bool   // the unit behind the numbers is not the same throughout
	line    int    // where it changes first
	exp10   int    // power of ten of the finest digit printed
	plain   bool   // a number is printed without an exponent
	beside  string // the text in the cell behind the first number, when it is so behind each, or always a unit of volts
}

const schemaRows = 512

// data reads the table's first rows, for what the columns mean.
func (t *table) data(h *textHead) []columnData {
	cols := make([]columnData, t.cells)
	for j := range cols {
		cols[j].ints, cols[j].exp10 = true, math.MaxInt
	}
	n := 0
	for i := t.first; i < len(h.lines) && n < schemaRows; i++ {
		if i == len(h.lines)-1 && !h.eof && n > 0 {
			break
		}
		cells := splitCells(h.line(i), t.delim, nil)
		if !t.fits(cells) {
			if len(bytes.TrimSpace(h.line(i))) == 0 || isComment(h.line(i), t.delim) {
				continue
			}
			break
		}
		if len(t.numeric) > 1 && t.bare(cells) {
			continue // the screen was wider than the memory
		}
		n++
		for _, j := range t.numeric {
			var text []byte
			if j < len(cells) {
				text = cells[j].text
			}
			cols[j].add(text, t.decimal, h.lines[i].number)
			cols[j].besides(cells, j, n == 1, h.lines[i].number)
		}
	}
	for j := range cols {
		if cols[j].changes {
			cols[j].unit = ""
		}
	}
	return cols
}

// besides takes what stands in the cell behind column j, in the first row or a later one
// in line.
func (c *columnData) besides(cells []cell, j int, first bool, line int) {
	if !first && c.beside == "" {
		return // settled: it changes, or nothing is there
	}
	text := ""
	if j+1 < len(cells) {
		text = cellText(cells[j+1].text)
	}
	switch {
	case first:
		c.beside = text
	case c.beside != text && !(isVoltWord(c.beside) && isVoltWord(text)):
		if isTimeWord(c.beside) && isTimeWord(text) {
			c.changes, c.line = true, line
		}
		c.beside = ""
	}
}

// add takes a cell of the column, in line.
func (c *columnData) add(text []byte, decimal byte, line int) {
	v := readCell(text, decimal)
	if !v.numeric() {
		c.x = append(c.x, math.NaN())
		return
	}
	unit := ""
	if v.kind == cellQuantity {
		unit = v.unit
	}
	switch {
	case !c.some:
		c.some, c.unit = true, unit
	case c.unit != unit && !c.changes:
		c.changes, c.line = true, line
	}
	if v.kind == cellClock {
		c.clock, c.parts = true, max(c.parts, bytes.Count(text, []byte{':'})+1)
	}
	if bytes.IndexByte(text, decimal) >= 0 || bytes.ContainsAny(text, "eE") {
		c.ints = false
	}
	c.plain = c.plain || !bytes.ContainsAny(text, "eE")
	c.exp10 = min(c.exp10, v.num.exp10)
	c.x = append(c.x, v.num.v)
}

// numbersRows reports whether a column counts from 0 or 1 by one with every row, as the
// number of a reading does and no voltage.
func (c *columnData) numbersRows() bool {
	for i, v := range c.x {
		if v != c.x[0]+float64(i) {
			return false
		}
	}
	return len(c.x) >= minSamples && (c.x[0] == 0 || c.x[0] == 1)
}

// whole reports whether all numbers are whole, however printed: data frames write
// sample numbers as 0.0, 1.0.
func (c *columnData) whole() bool {
	for _, v := range c.x {
		if v != math.Trunc(v) && !math.IsNaN(v) {
			return false
		}
	}
	return true
}

// bare reports whether a row holds nothing but its first number.
func (t *table) bare(cells []cell) bool {
	for _, j := range t.numeric[1:] {
		if j < len(cells) && len(cells[j].text) > 0 {
			return false
		}
	}
	return true
}

// mostVoltsOfCodes is the greatest value that a column named for codes may hold
// for its decimals to be volts.
const mostVoltsOfCodes = 50

// decimals reports whether a column holds fractions of small numbers, which
// converter codes do not.
func (c *columnData) decimals() bool {
	broken := false
	for _, v := range c.x {
		if math.Abs(v) > mostVoltsOfCodes {
			return false
		}
		broken = broken || v != math.Trunc(v) && !math.IsNaN(v)
	}
	return broken
}

// ramp reports whether a column grows (or falls) all the way, as only a time or
// a sample number does, and whether it does so by 1.
func ramp(x []float64) (ok, unitStep bool) {
	up, down, same, unit, n := 0, 0, 0, 0, 0
	prev := math.NaN()
	for _, v := range x {
		if math.IsNaN(v) {
			continue
		}
		if !math.IsNaN(prev) {
			n++
			switch {
			case v > prev:
				up++
			case v < prev:
				down++
			default:
				same++
			}
			if v-prev == 1 {
				unit++
			}
		}
		prev = v
	}
	if n < 1 {
		return false, false
	}
	// Restarts (segments) and a few rows out of order are allowed for.
	ok = up+same >= n-n/20 && up > 0 && up*20 >= n || down+same >= n-n/20 && down > 0 && down*20 >= n
	return ok, unit*20 >= n*19
}

// leastStairs is how many steps of a rounded time must be seen.
const leastStairs = 3

// stairs reports whether a column rises (or falls) in steps of several rows each along a
// straight line, as a time does that is printed with too few digits for ramp.
func stairs(x []float64) bool {
	rises, most := 0, 0.0
	for i := 1; i < len(x); i++ {
		if d := x[i] - x[i-1]; d != 0 {
			rises++
			most = math.Max(most, math.Abs(d))
		}
	}
	if rises < leastStairs || math.IsNaN(most) {
		return false
	}
	slope, sign := (x[len(x)-1]-x[0])/float64(len(x)-1), 1.0
	if slope < 0 {
		sign = -1
	}
	for i, v := range x {
		if math.IsNaN(v) || i > 0 && sign*(v-x[i-1]) < 0 || math.Abs(v-x[0]-slope*float64(i)) > 1.01*most {
			return false
		}
	}
	return true
}

// straight reports whether a column lies on a straight line over its rows.
func straight(x []float64) bool {
	n := make([]float64, len(x))
	for i := range n {
		n[i] = float64(i)
	}
	return affine(n, x)
}

func sameColumn(a, b []float64) bool {
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// affine reports whether y = a + b·x within the printed precision of y, with x
// taking at least three values.
func affine(x, y []float64) bool {
	var n, sx, sy, sxx, sxy float64
	for i := range min(len(x), len(y)) {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		n++
		sx += x[i]
		sy += y[i]
	}
	if n < 3 {
		return false
	}
	mx, my := sx/n, sy/n
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range min(len(x), len(y)) {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
		lo, hi = min(lo, y[i]), max(hi, y[i])
	}
	if sxx == 0 || hi == lo {
		return false
	}
	b := sxy / sxx
	for i := range min(len(x), len(y)) {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		if math.Abs(my+b*(x[i]-mx)-y[i]) > 0.01*(hi-lo)+1e-12 {
			return false
		}
	}
	return true
}
