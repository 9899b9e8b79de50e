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
	numbers         bool // a remark that holds a row of numbers
	seg             []byte
	token           string
	col             int
	found, expected string
	fix             string
}

// plain tells whether the rows are a time, a delimiter and volts, no more.
func (p *rowSpec) plain() bool {
	return p.time == 0 && p.volt == 1 && p.cells == 2 && p.seg < 0 && p.delim != ' ' && p.timeUnit == "" && p.voltUnit == "" && !p.clock
}

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

// single tells whether the rows are one column of volts, no more.
func (p *rowSpec) single() bool {
	return p.time < 0 && p.volt == 0 && p.cells == 1 && p.seg < 0 && p.voltUnit == ""
}

// alone reads the usual row of a single column in one go, as pair does.
func (p *rowSpec) alone(b []byte, start int, r *row) int {
	v, e := scanNumber(b[start:], p.decimal)
	if e += start; e == start || e >= len(b) || v.v >= scpiOver || v.v <= -scpiOver {
		return 0
	}
	if b[e] != p.eol && b[e] == '\r' && e+1 < len(b) {
		e++
	}
	if b[e] != p.eol {
		return 0
	}
	r.v = v.v
	return e + 1
}

// fast reads the plain case: numbers where they are expected. Anything else
// is left to slow.
func (p *rowSpec) fast(line []byte, r *row) bool {
	i := 0
	if p.blank0 && len(line) > 0 && line[0] != p.delim {
		return false
	}
	blanks := p.delim == ' '
	for col := 0; ; col++ {
		for i < len(line) && (line[i] == ' ' || blanks && line[i] == '\t') {
			i++
		}
		if col == p.time || col == p.volt {
			quoted := i < len(line) && line[i] == '"'
			if quoted {
				i++
			}
			n, k := scanNumber(line[i:], p.decimal)
			if k == 0 {
				return false
			}
			i += k
			if quoted {
				if i >= len(line) || line[i] != '"' {
					return false
				}
				i++
			}
			if col == p.time {
				r.t, r.stamped = n, true
				if p.timeUnit != "" || p.clock {
					return false
				}
			} else {
				r.v = n.v
				if n.v >= scpiOver || n.v <= -scpiOver || p.voltUnit != "" {
					return false
				}
			}
			for !blanks && i < len(line) && line[i] == ' ' {
				i++
			}
		} else {
			from := i
			if blanks {
				for i < len(line) && line[i] != ' ' && line[i] != '\t' {
					i++
				}
			} else {
				for i < len(line) && line[i] != p.delim {
					if line[i] == '"' {
						return false
					}
					i++
				}
			}
			if col == p.seg {
				r.seg = line[from:i]
			}
		}
		if col == p.last {
			return p.endsAt(line, i, col)
		}
		if i >= len(line) {
			return false
		}
		if blanks {
			if line[i] != ' ' && line[i] != '\t' {
				return false
			}
			continue
		}
		if line[i] != p.delim {
			return false
		}
		i++
	}
}

// endsAt tells whether the row, read to the end i of cell col, is not wider
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
	used := 0
	for j, c := range cells {
		if len(c.text) > 0 {
			used = j + 1
		}
	}
	if used == 0 {
		r.kind = rowBlank
		return cells
	}
	at := func(j int) value {
		if j < 0 || j >= len(cells) {
			return value{}
		}
		return readCell(cells[j].text, p.decimal)
	}
	if p.blank0 && len(cells[0].text) > 0 && at(0).kind == cellWords {
		r.kind = rowText // a setting and its values between the records
		return cells
	}
	if isComment(line, p.delim) && !at(0).usable() {
		r.kind = rowRemark
		r.numbers = p.rowBehind(uncomment(line))
		return cells
	}
	// Settings may stand beside the first rows: behind an empty cell, or
	// below names of their own.
	r.extra = used > p.cells && !(len(cells) == p.rawCells && used <= p.rawCells)
	r.side = r.extra && (len(cells[p.cells].text) == 0 || used <= p.headCells)
	if p.seg >= 0 && p.seg < len(cells) {
		r.seg = cells[p.seg].text
	}
	vv := at(p.volt)
	if p.volt >= len(cells) {
		vv = value{kind: cellEmpty}
	}
	if p.time >= 0 {
		tv := at(p.time)
		if p.time >= len(cells) {
			tv = value{kind: cellEmpty}
		}
		switch {
		case tv.numeric():
			if p.clock != (tv.kind == cellClock) {
				p.bad(r, line, p.time, cells, "a time like those above")
				return cells
			}
			if tv.unit != p.timeUnit {
				r.kind, r.col = rowBad, p.time+1
				r.found = fmt.Sprintf("a time whose unit changes from row to row (%q)", cellText(cells[p.time].text))
				r.expected, r.fix = "one unit in the whole column", "export the times in seconds"
				return cells
			}
			r.t, r.stamped = tv.num, true
		case !tv.usable():
			p.textOr(r, line, p.time, cells, "a time")
			return cells
		case !vv.numeric() && vv.kind == cellWords, p.volt >= len(cells):
			p.textOr(r, line, p.volt, cells, "a number of volts")
			return cells
		}
	}
	p.slowVolts(line, cells, vv, r)
	return cells
}

// rowBehind tells whether the text of a remark is a row of the table.
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

// bad makes r an error at a cell.
func (p *rowSpec) bad(r *row, line []byte, col int, cells []cell, expected string) {
	r.kind, r.col, r.expected = rowBad, col+1, expected
	r.found = fmt.Sprintf("%q", short(cellText(bytes.TrimSpace(line))))
	if col < len(cells) {
		r.found = fmt.Sprintf("%q", short(cellText(cells[col].text)))
	}
	r.fix = "mend the row, or export the capture again"
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
	var lens []int
	cellsMin := math.MaxInt
	expAll, fixedAll := true, true
	decimals := -1
	for k := 0; k < 32 && len(before) > 0; k++ {
		before = bytes.TrimRight(before, "\r\n")
		i := bytes.LastIndexByte(before, p.eol)
		l := before[i+1:]
		before = before[:i+1]
		var r row
		if !p.fast(l, &r) {
			continue
		}
		c := splitCells(l, p.delim, nil)
		last := c[len(c)-1].text
		cellsMin = min(cellsMin, len(c))
		lens = append(lens, unsignedLen(last))
		expAll = expAll && bytes.ContainsAny(last, "eE")
		d := 0
		if m := bytes.IndexByte(last, p.decimal); m >= 0 {
			d = len(last) - m - 1
		}
		if decimals < 0 {
			decimals = d
		} else if d != decimals {
			fixedAll = false
		}
	}
	if len(lens) == 0 {
		return false
	}
	c := splitCells(line, p.delim, nil)
	if len(c) < cellsMin || p.volt >= len(c) {
		return true
	}
	last := c[len(c)-1].text
	if len(last) == 0 {
		return false
	}
	v := readCell(last, p.decimal)
	if !v.usable() {
		return true
	}
	if v.kind == cellNumber {
		if expAll && !bytes.ContainsAny(last, "eE") {
			return true
		}
		if fixedAll && len(lens) > 1 {
			d := 0
			if m := bytes.IndexByte(last, p.decimal); m >= 0 {
				d = len(last) - m - 1
			}
			if d < decimals {
				return true
			}
		}
	}
	shortest := lens[0]
	for _, n := range lens {
		shortest = min(shortest, n)
	}
	return unsignedLen(last) < shortest
}

func unsignedLen(b []byte) int { return len(bytes.TrimLeft(b, "+-")) }
