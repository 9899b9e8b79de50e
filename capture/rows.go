package capture

import (
	"bytes"
	"fmt"
	"math"
)

// rowSpec is what a worker must know to read rows of the table.
type rowSpec struct {
	delim, decimal, eol byte
	cells               int // width of the table
	headCells           int // width of the names above it
	time, volt, seg     int // columns, -1 none
	last                int // greatest of them
	clock               bool
	timeUnit            string  // unit that stands behind every time, "" none
	voltUnit            string  // likewise for the volts
	voltFactor          float64 // of the volts column to volts: scales cells with another unit
	step                float64 // expected time step in the file's unit; 0 without a time column
	expMin, digitsMax   int     // how the first rows print their times
	keepTimes           bool
	headerText          []byte // the names row: repeated ahead of each segment
}

// breakKind says why a piece of the record begins where it does.
type breakKind uint8

const (
	breakNone breakKind = iota
	breakTime           // the time jumps
	breakText           // lines of text stand before it
	breakSeg            // the segment column changes
)

// timeBlock is a run of rows whose times fit one line, with the sums for a
// least-squares fit. j counts rows within the block; u is the time less the
// first time less j expected steps, which keeps the sums small and exact.
type timeBlock struct {
	row0, n int
	line    int // of its first row, 1-based
	why     breakKind
	first   float64
	last    float64
	lastJ   int // row of the last stamp
	m       float64
	sj, sjj float64
	su, sju float64
	suu     float64
	ulp     float64 // coarsest printed resolution among first and last
}

// shift adds the sums of b, which begins k rows after a and whose first time
// is du off a's line.
func (a *timeBlock) join(b *timeBlock, step float64) {
	if b.m == 0 {
		a.n += b.n
		return
	}
	if a.m == 0 {
		k := a.n
		n, row0, line, why := a.n, a.row0, a.line, a.why
		*a = *b
		a.row0, a.line, a.why = row0, line, why
		a.n = n + b.n
		a.lastJ += k
		fk := float64(k)
		// first stays the first stamp; j moves by k, u keeps its reference
		// row, so first is moved back by k steps.
		a.first -= fk * step
		a.sjj += 2*fk*a.sj + fk*fk*a.m
		a.sju += fk * a.su
		a.sj += fk * a.m
		return
	}
	k := float64(b.row0 - a.row0)
	d := b.first - a.first - step*k
	a.m += b.m
	a.sjj += b.sjj + 2*k*b.sj + k*k*b.m
	a.sju += b.sju + d*b.sj + k*b.su + k*d*b.m
	a.suu += b.suu + 2*d*b.su + d*d*b.m
	a.sj += b.sj + k*b.m
	a.su += b.su + d*b.m
	a.last = b.last
	a.lastJ = b.row0 - a.row0 + b.lastJ
	a.n = b.row0 - a.row0 + b.n
	a.ulp = max(a.ulp, b.ulp)
}

// badCell is a sample that could not be read as a number.
type badCell struct {
	line int
	text string
	over bool
}

// sideRows is how many of the first rows may have settings beside them.
const sideRows = 100

// maxListed is how many bad cells are kept for messages.
const maxListed = 8

// maxBlocks is how many jumps of the time one chunk may hold before the times
// are taken for disorder.
const maxBlocks = 512

// rowChunk is one piece of the text and what was read from it.
type rowChunk struct {
	buf     []byte
	first   bool // holds the first rows of the table
	final   bool // holds the last
	torn    bool // the text was cut by a damaged end of the compression
	offset  int64
	done    chan struct{}
	volts   []float64
	times   []float64
	blocks  []timeBlock
	lines   int
	bad     []badCell
	badN    int
	overN   int
	noStamp int
	texts   int
	text1   string // first line of text among the rows
	text1At int
	tail    bool // ends with lines of text
	headed  bool // lines of text stand before its first row
	cutRow  string
	open    bool // last row has no line end, but seems whole
	disord  bool
	err     *ParseError
	segLast []byte
	seg1    []byte
	blank   int
}

func (c *rowChunk) reset() {
	*c = rowChunk{buf: c.buf[:0], volts: c.volts[:0], times: c.times[:0], blocks: c.blocks[:0], bad: c.bad[:0], done: make(chan struct{})}
}

// pow10 gives powers of ten for printed resolutions.
func pow10(e int) float64 {
	if e >= -22 && e <= 22 {
		if e < 0 {
			return 1 / pow10tab[-e]
		}
		return pow10tab[e]
	}
	return math.Pow(10, float64(e))
}

// resolution is the step between neighbouring stamps as printed: trailing
// zeros that were left out don't count against it.
func (p *rowSpec) resolution(n number) float64 {
	msd := n.exp10 + n.digits - 1
	e := min(n.exp10, max(p.expMin, msd+1-p.digitsMax))
	return pow10(e)
}

// parse reads all rows of the chunk.
func (p *rowSpec) parse(c *rowChunk) {
	b := c.buf
	var (
		blk      timeBlock
		open     bool
		prev     number
		havePrev bool
		prevRow  int
		pending  = breakNone
		seg      []byte
		half     = 0.5 * math.Abs(p.step)
		cells    []cell
		start    = 0
		r        row
		odd      bool // r was filled by slow
	)
	closeBlock := func() {
		if open {
			// Every row has its j; those without a stamp were counted apart.
			n := float64(blk.n)
			blk.sj = n*(n-1)/2 - blk.sj
			blk.sjj = (n-1)*n*(2*n-1)/6 - blk.sjj
			if blk.m == 0 {
				blk.sj, blk.sjj = 0, 0
			}
			c.blocks = append(c.blocks, blk)
		}
	}
	pair := p.time == 0 && p.volt == 1 && p.cells == 2 && p.seg < 0 && p.delim != ' ' && p.timeUnit == "" && p.voltUnit == "" && !p.clock
	for start < len(b) {
		if odd {
			r, odd = row{}, false
		}
		plain := false
		if pair {
			// The usual row, in one go: number, delimiter, number, line end.
			t, k := scanNumber(b[start:], p.decimal)
			if k += start; k > start && k < len(b) && b[k] == p.delim {
				v, e := scanNumber(b[k+1:], p.decimal)
				if e += k + 1; e > k+1 && e < len(b) && v.v < scpiOver && v.v > -scpiOver {
					if b[e] != p.eol && b[e] == '\r' && e+1 < len(b) {
						e++
					}
					if b[e] == p.eol {
						r.t, r.v, r.stamped = t, v.v, true
						c.lines++
						start, plain = e+1, true
					}
				}
			}
		}
		if !plain {
			e := bytes.IndexByte(b[start:], p.eol)
			end, next := start+e, start+e+1
			lastRow := false
			if e < 0 {
				end, next = len(b), len(b)
				lastRow = true
			}
			line := b[start:end]
			lineStart := start
			start = next
			c.lines++
			for len(line) > 0 && line[len(line)-1] == '\r' {
				line = line[:len(line)-1]
			}
			if lastRow {
				line = bytes.TrimRight(line, "\x1a") // the end mark of old systems
			}
			if lastRow {
				if why := p.looksCut(b[:lineStart], line, c.torn); why {
					c.cutRow = short(cellText(line))
					break
				}
				c.open = true
			}
			if !p.fast(line, &r) {
				r, odd = row{}, true
				cells = p.slow(line, cells, &r)
				if r.kind != rowData {
					c.open = false
				}
				switch r.kind {
				case rowBlank:
					c.blank++
					continue
				case rowRemark:
					continue
				case rowText:
					c.texts++
					if c.text1 == "" {
						c.text1, c.text1At = short(cellText(bytes.TrimSpace(line))), c.lines
					}
					pending = breakText
					if len(c.volts) == 0 {
						c.headed = true
					}
					c.tail = true
					continue
				case rowBad:
					c.err = &ParseError{Line: c.lines, Column: r.col, Found: r.found, Expected: r.expected, Fix: r.fix}
					if lastRow {
						// Garbage at the very end is a cut row, too.
						c.err = nil
						c.cutRow = short(cellText(line))
					}
					closeBlock()
					return
				}
				if r.extra && !(r.side && c.first && len(c.volts) < sideRows) {
					c.err = &ParseError{Line: c.lines, Column: p.cells + 1, Found: "more cells than the rows above", Expected: fmt.Sprintf("%d cells", p.cells), Fix: "check the decimal mark and the delimiter"}
					closeBlock()
					return
				}
				if r.missing {
					c.badN++
					if r.over {
						c.overN++
					}
					if len(c.bad) < maxListed {
						c.bad = append(c.bad, badCell{c.lines, short(r.token), r.over})
					}
				}
			}
		}
		c.tail = false
		i := len(c.volts)
		c.volts = append(c.volts, r.v)
		if p.keepTimes {
			t := r.t.v
			if !r.stamped {
				t = math.NaN()
			}
			c.times = append(c.times, t)
		}
		if p.seg >= 0 {
			if i == 0 {
				c.seg1 = append([]byte(nil), r.seg...)
			} else if !bytes.Equal(seg, r.seg) {
				pending = breakSeg
			}
			seg = r.seg
		}
		if p.time < 0 || !r.stamped {
			if p.time >= 0 {
				c.noStamp++
			}
			if open && pending == breakNone {
				j := float64(i - blk.row0)
				blk.sj += j
				blk.sjj += j * j
				blk.n++
				continue
			}
			closeBlock()
			blk, open = timeBlock{row0: i, n: 1, line: c.lines, why: pending}, true
			pending, havePrev = breakNone, false
			continue
		}
		t := r.t.v
		if havePrev && pending == breakNone {
			dev := t - prev.v - p.step*float64(i-prevRow)
			if (dev > half || dev < -half) && !c.disord {
				tol := half + 1.01*max(p.resolution(r.t), p.resolution(prev))
				if dev > tol || dev < -tol {
					pending = breakTime
					if len(c.blocks) >= maxBlocks {
						c.disord = true
						pending = breakNone
					}
				}
			}
		}
		if !open || pending != breakNone {
			closeBlock()
			blk, open = timeBlock{row0: i, line: c.lines, why: pending, first: t, ulp: p.resolution(r.t)}, true
			pending = breakNone
		} else if blk.m == 0 {
			// The block began with rows without stamps.
			blk.first = t - p.step*float64(i-blk.row0)
			blk.ulp = p.resolution(r.t)
		}
		j := float64(i - blk.row0)
		u := t - blk.first - p.step*j
		blk.m++
		blk.su += u
		blk.sju += j * u
		blk.suu += u * u
		blk.last, blk.lastJ = t, i-blk.row0
		blk.n = i - blk.row0 + 1
		prev, prevRow, havePrev = r.t, i, true
	}
	if open && havePrev {
		blk.ulp = max(blk.ulp, p.resolution(prev))
	}
	closeBlock()
	c.segLast = append([]byte(nil), seg...)
}

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
	seg             []byte
	token           string
	col             int
	found, expected string
	fix             string
}

// fast reads the plain case: numbers where they are expected. Anything else
// is left to slow.
func (p *rowSpec) fast(line []byte, r *row) bool {
	i := 0
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
			// What follows must not be wider than the table.
			if i == len(line) {
				return true
			}
			if blanks {
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

// slow reads any line; it gives the cells back for reuse.
func (p *rowSpec) slow(line []byte, cells []cell, r *row) []cell {
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
	if isComment(line, p.delim) && !at(0).usable() {
		r.kind = rowRemark
		return cells
	}
	// Settings may stand beside the first rows: behind an empty cell, or
	// below names of their own.
	r.extra = used > p.cells
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
					return cells
				}
			}
			if p.voltFactor > 0 {
				f /= p.voltFactor
			}
			r.v *= f
		}
	case vv.usable():
		r.v, r.missing, r.over = math.NaN(), true, vv.kind == cellOver
		if p.volt < len(cells) {
			r.token = cellText(cells[p.volt].text)
		}
		if vv.kind == cellEmpty && p.time < 0 && used > 0 && p.cells == 1 {
			r.kind = rowBlank
		}
	default:
		if r.stamped {
			p.bad(r, line, p.volt, cells, "a number of volts")
		} else {
			p.textOr(r, line, p.volt, cells, "a number of volts")
		}
	}
	return cells
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
		expAll = expAll && bytes.IndexAny(last, "eE") >= 0
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
		if expAll && bytes.IndexAny(last, "eE") < 0 {
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
