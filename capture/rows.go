package capture

import (
	"bytes"
	"fmt"
	"math"
)

// rowKind is what a line of the table's body is.
type rowKind uint8

const (
	rowData rowKind = iota
	rowBlank
	rowRemark
	rowText
	rowBad
)

// row is one line as read.
type row struct {
	kind            rowKind
	t               number
	v               float64
	stamped         bool
	missing, over   bool
	extra, side     bool
	remark          []byte // behind the samples
	numbers         bool   // a remark that holds a row of numbers
	seg             []byte
	token           string
	col             int
	found, expected string
	fix             string
}

// bare reports whether the rows are numbers between delimiters as far as they are
// read: a time in the first cell or none, and volts.
func (p *rowSpec) bare() bool {
	return p.time <= 0 && p.seg < 0 && p.unitText == "" && p.delim != ' ' && p.timeUnit == "" && p.voltUnit == "" && !p.clock && !p.blank0 && !(p.time < 0 && p.keepTimes)
}

// plain reports whether they are a time, a delimiter and volts, no more.
func (p *rowSpec) plain() bool { return p.bare() && p.time == 0 && p.volt == 1 && p.cells == 2 }

// pair reads the usual row of a plain table in one go: number, delimiter,
// number, line end. It gives the start of the next line, or 0 when fast or
// slow must look.
func (p *rowSpec) pair(b []byte, start int, r *row) int {
	t, k := scanNumber(b[start:], p.decimal)
	if k += start; k == start || k >= len(b) || b[k] != p.delim {
		return 0
	}
	v, e := scanNumber(b[k+1:], p.decimal)
	if e += k + 1; e == k+1 || e >= len(b) || v.v >= scpiOver || v.v <= -scpiOver {
		return 0
	}
	if b[e] != p.eol && b[e] == '\r' && e+1 < len(b) {
		e++
	}
	if b[e] != p.eol {
		return 0
	}
	r.t, r.v, r.stamped = t, v.v, true
	return e + 1
}

// fast reads the plain case: numbers where they are expected. Anything else
// is left to slow.
func (p *rowSpec) fast(line []byte, r *row) bool {
	if p.blank0 && len(line) > 0 && line[0] != p.delim {
		return false
	}
	i := 0
	for col := 0; ; col++ {
		var ok bool
		switch i = p.skipBlanks(line, i); {
		case col == p.time:
			if i, ok = p.numberAt(line, i, &r.t); !ok || p.timeUnit != "" || p.clock {
				return false
			}
			r.stamped = true
		case col == p.volt:
			var n number
			if i, ok = p.numberAt(line, i, &n); !ok || n.v >= scpiOver || n.v <= -scpiOver || p.voltUnit != "" {
				return false
			}
			r.v = n.v
		default:
			from := i
			if i, ok = p.cellEnd(line, i); !ok {
				return false
			}
			if col == p.seg {
				r.seg = line[from:i]
			}
			if p.unitText != "" && col == p.unitCol && string(line[from:i]) != p.unitText {
				return false
			}
		}
		if col == p.last {
			return p.endsAt(line, i, col)
		}
		if i, ok = p.nextCell(line, i); !ok {
			return false
		}
	}
}

// skipBlanks passes over the blanks ahead of a cell.
func (p *rowSpec) skipBlanks(line []byte, i int) int {
	for i < len(line) && (line[i] == ' ' || line[i] == '\t' && p.delim == ' ') {
		i++
	}
	return i
}

// numberAt reads the number at i, which may stand in quotes, and gives where it
// ends.
func (p *rowSpec) numberAt(line []byte, i int, n *number) (end int, ok bool) {
	quoted := i < len(line) && line[i] == '"'
	if quoted {
		i++
	}
	v, k := scanNumber(line[i:], p.decimal)
	if k == 0 {
		return i, false
	}
	*n = v
	i += k
	if quoted {
		if i >= len(line) || line[i] != '"' {
			return i, false
		}
		i++
	}
	for p.delim != ' ' && i < len(line) && line[i] == ' ' {
		i++
	}
	return i, true
}

// cellEnd gives where the cell at i ends that nobody needs; one in quotes is not
// for fast.
func (p *rowSpec) cellEnd(line []byte, i int) (end int, ok bool) {
	if p.delim == ' ' {
		for i < len(line) && line[i] != ' ' && line[i] != '\t' {
			i++
		}
		return i, true
	}
	for i < len(line) && line[i] != p.delim {
		if line[i] == '"' {
			return i, false
		}
		i++
	}
	return i, true
}

// nextCell passes over the delimiter at i.
func (p *rowSpec) nextCell(line []byte, i int) (next int, ok bool) {
	switch {
	case i >= len(line):
		return i, false
	case p.delim == ' ':
		return i, line[i] == ' ' || line[i] == '\t'
	}
	return i + 1, line[i] == p.delim
}

// endsAt reports whether the row, read to the end i of cell col, is not wider
// than the table.
func (p *rowSpec) endsAt(line []byte, i, col int) bool {
	if i == len(line) {
		return true
	}
	if p.delim == ' ' {
		if line[i] != ' ' && line[i] != '\t' {
			return false
		}
		return len(bytes.Fields(line[i:]))+col+1 <= p.cells
	}
	if line[i] != p.delim {
		return false
	}
	rest := line[i+1:]
	if bytes.Count(rest, []byte{p.delim})+col+2 > p.cells {
		return len(bytes.Trim(rest, string([]byte{p.delim, ' '}))) == 0
	}
	return bytes.IndexByte(rest, '"') < 0
}

// slow reads any line; it gives the cells back for reuse.
func (p *rowSpec) slow(line []byte, cells []cell, r *row) []cell {
	line = bytes.TrimPrefix(line, utf8Mark)
	cells = splitCells(line, p.delim, cells)
	used := usedCells(cells)
	switch {
	case used == 0:
		r.kind = rowBlank
		return cells
	case p.blank0 && len(cells[0].text) > 0 && readCell(cells[0].text, p.decimal).kind == cellWords:
		r.kind = rowText // a setting and its values between the records
		return cells
	case isComment(line, p.delim) && !readCell(cells[0].text, p.decimal).usable():
		r.kind = rowRemark
		r.numbers = p.rowBehind(uncomment(line))
		return cells
	}
	// Settings may stand beside the first rows: behind an empty cell, or
	// below names of their own.
	r.extra = used > p.cells && !(len(cells) == p.rawCells && used <= p.rawCells)
	r.side = r.extra && (len(cells[p.cells].text) == 0 || used <= p.headCells)
	if used > p.cells && p.time >= 0 && isRemark(cells[p.cells:], p.delim) {
		r.extra, r.side, r.remark = false, false, cells[p.cells].text
	}
	if p.seg >= 0 && p.seg < len(cells) {
		r.seg = cells[p.seg].text
	}
	vv := p.valueOf(cells, p.volt)
	if p.time < 0 || p.slowTime(line, cells, vv, r) {
		p.slowVolts(line, cells, vv, r)
	}
	return cells
}

// usedCells counts the cells up to the last that holds something.
func usedCells(cells []cell) int {
	used := 0
	for j, c := range cells {
		if len(c.text) > 0 {
			used = j + 1
		}
	}
	return used
}

// valueOf reads cell j, empty where there is none.
func (p *rowSpec) valueOf(cells []cell, j int) value {
	if j >= len(cells) {
		return value{kind: cellEmpty}
	}
	return readCell(cells[j].text, p.decimal)
}

// slowTime reads the time of a line; false tells that the line holds no sample.
func (p *rowSpec) slowTime(line []byte, cells []cell, vv value, r *row) bool {
	tv := p.valueOf(cells, p.time)
	switch {
	case tv.numeric() && p.clock != (tv.kind == cellClock):
		p.bad(r, line, p.time, cells, "a time like those above")
		return false
	case tv.numeric() && tv.unit != p.timeUnit:
		r.kind, r.col = rowBad, p.time+1
		r.found = fmt.Sprintf("a time whose unit changes from row to row (%q)", cellText(cells[p.time].text))
		r.expected, r.fix = "one unit in the whole column", "export the times in seconds"
		return false
	case tv.numeric():
		r.t, r.stamped = tv.num, true
	case !tv.usable():
		p.textOr(r, line, p.time, cells, "a time")
		return false
	case tv.kind == cellEmpty && vv.kind == cellWords:
		r.kind = rowText // names again: ",CH1"
		return false
	case !vv.numeric() && vv.kind == cellWords, p.volt >= len(cells):
		p.textOr(r, line, p.volt, cells, "a number of volts")
		return false
	}
	return true
}

// rowBehind reports whether the text of a remark is a row of the table.
func (p *rowSpec) rowBehind(text []byte) bool {
	cells := splitCells(text, p.delim, nil)
	if len(cells) <= p.last {
		return false
	}
	return readCell(cells[p.volt].text, p.decimal).numeric() && (p.time < 0 || readCell(cells[p.time].text, p.decimal).numeric())
}

// slowVolts reads the sample of a line whose time is read, or that has none.
func (p *rowSpec) slowVolts(line []byte, cells []cell, vv value, r *row) {
	switch {
	case vv.numeric():
		r.v = vv.num.v
		if vv.kind == cellClock {
			p.bad(r, line, p.volt, cells, "a number of volts")
		}
		if vv.unit != p.voltUnit {
			// A unit or prefix of its own: bring it to the column's.
			f := vv.scale
			if vv.kind == cellNumber {
				f = 1
				if p.voltUnit != "" {
					p.bad(r, line, p.volt, cells, "a number with its unit, as above")
					return
				}
			}
			if p.voltFactor > 0 {
				f /= p.voltFactor
			}
			r.v *= f
		}
		if p.unitText != "" {
			p.unitOfRow(line, cells, r)
		}
	case vv.usable():
		r.v, r.missing = math.NaN(), true
		if vv.kind == cellOver {
			r.v, r.over = vv.num.v, true
		}
		if p.volt < len(cells) {
			r.token = cellText(cells[p.volt].text)
		}
		if vv.kind == cellEmpty && p.time < 0 && p.cells == 1 {
			r.kind = rowBlank
		}
	default:
		if r.stamped {
			p.bad(r, line, p.volt, cells, "a number of volts")
		} else {
			p.textOr(r, line, p.volt, cells, "a number of volts")
		}
	}
}

// unitOfRow brings a value in another unit than the first row's to that.
func (p *rowSpec) unitOfRow(line []byte, cells []cell, r *row) {
	text := ""
	if p.unitCol < len(cells) {
		text = cellText(cells[p.unitCol].text)
	}
	if text == p.unitText {
		return
	}
	first, _ := parseUnit(p.unitText)
	if u, ok := parseUnit(text); ok && u.kind == first.kind {
		r.v *= u.factor / first.factor
		return
	}
	p.bad(r, line, p.unitCol, cells, fmt.Sprintf("%s as above, or another unit of the same", p.unitText))
}

// bad makes r an error at a cell.
func (p *rowSpec) bad(r *row, line []byte, col int, cells []cell, expected string) {
	r.kind, r.col, r.expected = rowBad, col+1, expected
	r.found = fmt.Sprintf("%q", short(cellText(bytes.TrimSpace(line))))
	if col < len(cells) {
		r.found = fmt.Sprintf("%q", short(cellText(cells[col].text)))
	}
	r.fix = "correct the row, or export the capture again"
}

// textOr takes a line that begins with a word for text between the rows, any
// other for a damaged row.
func (p *rowSpec) textOr(r *row, line []byte, col int, cells []cell, expected string) {
	t := bytes.TrimLeft(line, " \t\"")
	if len(t) > 0 && (t[0]-'0' <= 9 || bytes.IndexByte([]byte("+-.,"), t[0]) >= 0) {
		if !bytes.HasPrefix(t, []byte("---")) && !bytes.HasPrefix(t, []byte("...")) {
			p.bad(r, line, col, cells, expected)
			return
		}
	}
	r.kind = rowText
}

// wholeDigits is how many digits a number without an exponent must have for what a cut
// may have taken off it not to count.
const wholeDigits = 10

// looksCut compares the last row, which has no line end, with the rows before
// it: a file cut inside its last row shows a shorter last cell or fewer
// cells. A number cut short would read as another number.
func (p *rowSpec) looksCut(before, line []byte, torn bool) bool {
	if torn {
		return true
	}
	if len(bytes.TrimSpace(line)) == 0 {
		return false
	}
	above := p.endings(before)
	if above.rows == 0 {
		return false
	}
	c := splitCells(line, p.delim, nil)
	if usedCells(c) == 0 {
		return false
	}
	if len(c) < above.cells || p.volt >= len(c) {
		return true
	}
	last := c[len(c)-1].text
	if len(last) == 0 {
		return false
	}
	v := readCell(last, p.decimal)
	switch {
	case !v.usable():
		return true
	case v.kind != cellNumber:
	case above.exponents && exponentDigits(last) < above.exponentDigits:
		return true
	case above.fixed && above.rows > 1 && p.decimals(last) < above.decimals:
		return true
	case !above.anyExponent && v.num.digits >= wholeDigits:
		return false // shortest decimals differ in length, and no more than the last digits can be missing
	}
	return unsignedLen(last) < above.shortest
}

// endings is how rows end: with how many cells, and what their last ones have in
// common.
type endings struct {
	rows      int
	cells     int  // least number
	shortest  int  // length of a last cell without its sign
	exponents bool // in all last cells
	// exponentDigits is the least number of their digits.
	exponentDigits int
	// anyExponent tells that one of them has one.
	anyExponent bool
	fixed       bool // the same number of decimals in all
	decimals    int
}

// endings looks at the last rows of text.
func (p *rowSpec) endings(text []byte) endings {
	e := endings{cells: math.MaxInt, shortest: math.MaxInt, exponents: true, exponentDigits: math.MaxInt, fixed: true}
	var c []cell
	for k := 0; k < 32 && len(text) > 0; k++ {
		text = bytes.TrimRight(text, "\r\n")
		i := bytes.LastIndexByte(text, p.eol)
		l := text[i+1:]
		text = text[:i+1]
		var r row
		// A delimiter behind the last cell, as some exporters put it, is for slow.
		if c = p.slow(l, c, &r); r.kind != rowData || r.missing || len(c) == 0 {
			continue
		}
		last := c[len(c)-1].text
		e.cells, e.shortest = min(e.cells, len(c)), min(e.shortest, unsignedLen(last))
		e.exponents, e.exponentDigits = e.exponents && bytes.ContainsAny(last, "eE"), min(e.exponentDigits, exponentDigits(last))
		e.anyExponent = e.anyExponent || bytes.ContainsAny(last, "eE")
		if d := p.decimals(last); e.rows == 0 {
			e.decimals = d
		} else if d != e.decimals {
			e.fixed = false
		}
		e.rows++
	}
	return e
}

// exponentDigits counts the digits behind the E of a number, 0 where there is none.
func exponentDigits(text []byte) int {
	k := bytes.IndexAny(text, "eE")
	if k < 0 {
		return 0
	}
	return len(bytes.TrimLeft(text[k+1:], "+-"))
}

// decimals counts the characters behind the decimal mark.
func (p *rowSpec) decimals(text []byte) int {
	if m := bytes.IndexByte(text, p.decimal); m >= 0 {
		return len(text) - m - 1
	}
	return 0
}

func unsignedLen(b []byte) int { return len(bytes.TrimLeft(b, "+-")) }
