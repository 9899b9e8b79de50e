package capture

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"sync"
)

// rowSpec is what a worker must know to read rows of the table.
type rowSpec struct {
	delim, decimal, eol byte
	cells               int  // width of the table
	headCells           int  // width of the names above it
	rawCells            int  // cells of its first rows, with empty ones at the end
	time, volt, seg     int  // columns, -1 none
	last                int  // greatest of them
	blank0              bool // the rows begin with an empty cell
	clock               bool
	timeUnit            string  // unit that stands behind every time, "" none
	voltUnit            string  // likewise for the volts
	voltFactor          float64 // of the volts column to volts: scales cells with another unit
	unitText            string  // unit of the volts in a column of its own, in the first row; "" where there is none
	unitCol             int     // that column
	step                float64 // expected time step in the file's unit; 0 without a time column
	expMin, digitsMax   int     // how the first rows print their times
	keepTimes           bool
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

// oddRows are the rows and lines that were not read as samples, by kind.
type oddRows struct {
	badN         int           // cells that are no number
	overN        int           // over-range
	noStamp      int           // rows whose time could not be read
	hidden       int           // remarks that hold rows of numbers
	hidden1      int           // line of the first
	texts        seenTexts     // lines of text among the rows
	between      []betweenLine // these and remarks, the first of them
	remarks      seenTexts     // text behind the samples of a row
	remarksOver  int           // of these, marks for over range
	cutRow       string        // the last row, when it was cut
	torn         bool          // the compressed data ends early
	open         bool          // the last row has no line end, but seems whole
	tooManyJumps bool          // of the time, to list them
}

// seenTexts counts texts of one kind and keeps the first.
type seenTexts struct {
	n     int
	first string
	at    int // its line
}

// see counts one more.
func (s *seenTexts) see(text []byte, line int) {
	if s.n++; s.first == "" {
		s.first, s.at = short(cellText(text)), line
	}
}

// add adds those of a later part of the text; base is the line before its first.
func (s *seenTexts) add(later seenTexts, base int) {
	s.n += later.n
	if s.first == "" && later.first != "" {
		s.first, s.at = later.first, later.at+base
	}
}

// rowChunk is one piece of the text and what was read from it.
type rowChunk struct {
	buf     []byte
	fresh   []byte // what the file gave: buf minus the last chunk's tail, but with its own
	first   bool   // holds the first rows of the table
	offset  int64
	busy    sync.WaitGroup // the parser, and the checksum where it runs apart
	volts   []float64
	times   []float64
	blocks  []timeBlock
	lines   int
	bad     []badCell
	oddRows      // lines counted from the chunk's first
	tail    bool // ends with lines of text
	err     *ParseError
	segLast []byte
	seg1    []byte
}

func (c *rowChunk) reset() {
	*c = rowChunk{buf: c.buf[:0], volts: c.volts[:0], times: c.times[:0], blocks: c.blocks[:0], bad: c.bad[:0]}
}

// chunkReader is a worker's state within one chunk.
type chunkReader struct {
	*rowChunk
	spec    *rowSpec
	stamps  *blockBuilder
	pending breakKind // of the next row
	seg     []byte    // of the last row
	cells   []cell    // for reuse
	shape   rowShape
}

// parse reads all rows of the chunk. shape is how the rows of an earlier chunk are
// printed, which those of this one mostly are, too; it is brought up to date.
func (p *rowSpec) parse(c *rowChunk, shape *rowShape) {
	w := chunkReader{rowChunk: c, spec: p, stamps: &blockBuilder{spec: p, half: 0.5 * math.Abs(p.step)}}
	if shape.known {
		w.shape = *shape
		w.shape.hits, w.shape.misses = 0, 0
	}
	w.read()
	*shape = w.shape
	w.stamps.finish(c)
	c.segLast = append([]byte(nil), w.seg...)
}

// read goes through the lines until the end or the first error.
func (w *chunkReader) read() {
	var r row
	odd := false // r was filled by slow
	plain, bare := w.spec.plain(), w.spec.bare()
	for start := 0; start < len(w.buf); {
		if odd {
			r, odd = row{}, false
		}
		if w.shape.known {
			start = w.shaped(start)
		}
		if plain {
			if next := w.spec.pair(w.buf, start, &r); next > 0 {
				w.shape.learn(w.spec, w.buf, start)
				w.lines++
				start = next
				w.add(&r)
				continue
			}
		}
		lineStart := start
		line, next, last := w.line(start)
		start = next
		w.lines++
		if last {
			if k := loneReturn(line); k >= 0 {
				w.err = &ParseError{Line: w.lines, Found: "a lone carriage return within the last line", Expected: "one kind of line end", Fix: "save the record again, or make all line ends alike"}
				return
			}
			if w.spec.looksCut(w.buf[:lineStart], line, w.torn) {
				w.cutRow = short(cellText(line))
				return
			}
			w.open = true
		}
		if !w.spec.fast(line, &r) {
			r, odd = row{}, true
			w.cells = w.spec.slow(line, w.cells, &r)
			if last && r.kind != rowData {
				w.open = false
			}
			if !w.odd(line, last, &r) {
				if w.err != nil || r.kind == rowBad {
					return
				}
				continue
			}
		} else if bare {
			w.shape.learn(w.spec, w.buf, lineStart)
		}
		w.add(&r)
	}
}

// line cuts the line at start; last tells that no line end closes it.
func (w *chunkReader) line(start int) (line []byte, next int, last bool) {
	end := bytes.IndexByte(w.buf[start:], w.spec.eol)
	if last = end < 0; last {
		line, next = w.buf[start:], len(w.buf)
	} else {
		line, next = w.buf[start:start+end], start+end+1
	}
	for len(line) > 0 && line[len(line)-1] == '\r' {
		line = line[:len(line)-1]
	}
	if last {
		line = bytes.TrimRight(line, "\x1a") // the end mark of old systems
	}
	return line, next, last
}

// odd judges what slow made of a line: true for a sample, else the line is
// passed over, or the chunk ends there (a bad row, or err).
func (w *chunkReader) odd(line []byte, last bool, r *row) bool {
	switch r.kind {
	case rowBlank:
		return false
	case rowRemark:
		if r.numbers {
			if w.hidden++; w.hidden == 1 {
				w.hidden1 = w.lines
			}
		} else {
			w.keep(line, w.lines)
		}
		return false
	case rowText:
		w.keep(line, w.lines)
		w.texts.see(bytes.TrimSpace(line), w.lines)
		w.pending = breakText
		w.tail = true
		return false
	case rowBad:
		if last {
			// Garbage at the very end is a cut row, too.
			w.cutRow = short(cellText(line))
			return false
		}
		w.err = &ParseError{Line: w.lines, Column: r.col, Found: r.found, Expected: r.expected, Fix: r.fix}
		return false
	}
	if r.extra && !(r.side && w.first && len(w.volts) < sideRows) {
		w.err = &ParseError{Line: w.lines, Column: w.spec.cells + 1, Found: "more cells than the rows above", Expected: fmt.Sprintf("%d cells", w.spec.cells), Fix: "check the decimal mark and the delimiter"}
		return false
	}
	if len(r.remark) > 0 {
		w.remarks.see(r.remark, w.lines)
		if isOver(strings.ToLower(cellText(r.remark))) {
			w.remarksOver++
		}
	}
	if r.missing {
		w.badN++
		if r.over {
			w.overN++
		}
		if len(w.bad) < maxListed {
			w.bad = append(w.bad, badCell{w.lines, short(r.token), r.over})
		}
	}
	return true
}

// add takes a row's sample, time and segment.
func (w *chunkReader) add(r *row) {
	w.tail = false
	i := len(w.volts)
	w.volts = append(w.volts, r.v)
	if w.spec.keepTimes {
		t := r.t.v
		if !r.stamped {
			t = math.NaN()
		}
		w.times = append(w.times, t)
	}
	if w.spec.seg >= 0 {
		if i == 0 {
			w.seg1 = append([]byte(nil), r.seg...)
		} else if !bytes.Equal(w.seg, r.seg) {
			w.pending = breakSeg
		}
		w.seg = r.seg
	}
	if w.spec.time >= 0 && r.stamped {
		w.stamps.stamped(w.rowChunk, i, r.t, w.pending)
	} else {
		if w.spec.time >= 0 {
			w.noStamp++
		}
		w.stamps.unstamped(w.rowChunk, i, w.pending)
	}
	w.pending = breakNone
}
