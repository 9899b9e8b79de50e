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
