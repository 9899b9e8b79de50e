package capture

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"sync"
)

// rowsRead is everything one pass over the table's rows gives.
type rowsRead struct {
	volts  []float64
	times  []float64 // only when asked for
	pieces []timeBlock
	bad    []badCell
	oddRows
	first int // line of the first row
	lines int // last line read
	// lastTail and lastSeg carry over to the next chunk.
	lastTail bool
	lastSeg  []byte
}

const (
	chunkBytes = 256 << 10
	// maxLineBytes bounds a row.
	maxLineBytes = 4 << 20
	// gzipAhead is how many rows of a compressed file are made room for before
	// they are read.
	gzipAhead = 1 << 18
	// maxWorkers bounds the memory that chunks hold.
	maxWorkers = 8
	// maxPieces bounds the list of jumps of the time in one record.
	maxPieces = 4096
)

// tableStart is where the table's rows begin in the decoded text.
type tableStart struct {
	enc      encoding
	skip     int   // byte order mark
	offset   int64 // of the first row
	line     int   // its number, 1-based
	rowBytes float64
}

// readRows streams the table through parallel workers. The first pass also
// hashes the stored bytes.
func (s *source) readRows(ctx context.Context, spec *rowSpec, at tableStart, firstPass bool) (*rowsRead, error) {
	raw, stored, err := s.open(firstPass)
	if err != nil {
		return nil, err
	}
	text, err := at.enc.decode(raw, at.skip)
	if err != nil {
		return nil, streamError(s.name, err)
	}
	if _, err := io.CopyN(io.Discard, text, at.offset); err != nil {
		return nil, streamError(s.name, err)
	}
	// Plain bytes are hashed chunk by chunk, beside the reading; what stands
	// before the rows has gone through stored.
	p := &rowPipe{source: s, spec: spec, text: text, stored: stored, apart: firstPass && s.sum != nil && !s.gz && at.enc == encUTF8, total: s.textAhead(at)}
	if p.apart {
		stored.sum = nil
	}
	out := &rowsRead{first: at.line, lines: at.line - 1}
	// Rows are counted ahead from their length in the head. What is never
	// touched of the slice costs no memory.
	ahead := max(64, int(float64(p.total)/at.rowBytes*1.02)+512)
	if s.gz {
		ahead = min(ahead, gzipAhead) // the trailer may claim anything
	}
	out.volts = make([]float64, 0, min(ahead, s.most+1))
	inLargePages(out.volts)
	if spec.keepTimes {
		out.times = make([]float64, 0, cap(out.volts))
	}
	if err := p.run(ctx, out); err != nil {
		return nil, err
	}
	out.resolveOver()
	if firstPass {
		stored.sum = s.sum
		// Trailing bytes behind a torn end still belong to the checksum.
		if _, err := io.Copy(io.Discard, stored); err != nil {
			return nil, streamError(s.name, err)
		}
	}
	if stored.n < s.size && !s.gz {
		return nil, &ParseError{Path: s.name, Line: out.lines, Found: "a file that got shorter while being read", Expected: "a file that stays as it is", Fix: "wait until it is written, then read it again"}
	}
	return out, nil
}

// rowPipe cuts the text into chunks, has workers parse them and takes their rows
// in order.
type rowPipe struct {
	*source
	spec    *rowSpec
	text    io.Reader
	stored  *storedReader
	apart   bool  // the chunks are hashed beside the parsing
	total   int64 // bytes of text, estimated
	free    chan *rowChunk
	todo    chan *rowChunk
	ordered chan *rowChunk
	toHash  chan *rowChunk
	wg      sync.WaitGroup
}

// run reads all rows into out.
func (p *rowPipe) run(ctx context.Context, out *rowsRead) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	p.start()
	var readErr error
	p.wg.Go(func() {
		defer close(p.ordered)
		defer close(p.todo)
		defer close(p.toHash)
		readErr = cutChunks(ctx, p.text, p.spec.eol, p.free, p.hand)
	})
	var rowErr error
	var bytesRead int64
	for c := range p.ordered {
		c.busy.Wait()
		if rowErr == nil {
			bytesRead += int64(len(c.buf))
			rowErr = out.appendChunk(p.name, p.spec, c, float64(p.total)/float64(max(bytesRead, 1)))
			if rowErr == nil && len(out.volts) > p.most {
				rowErr = p.tooMany(out.lines - c.lines + p.spec.lineOfRow(c, len(c.volts)-(len(out.volts)-p.most)))
			}
			if rowErr != nil {
				cancel()
			}
			if p.progress != nil {
				p.progress(min(c.offset, p.size-1), p.size)
			}
		}
		p.free <- c
	}
	p.wg.Wait()
	if rowErr != nil {
		return rowErr
	}
	if readErr == nil {
		return nil
	}
	var pe *ParseError
	if errors.As(readErr, &pe) && pe.Path == "" {
		pe.Path, pe.Line = p.name, out.lines+1
	}
	return streamError(p.name, readErr)
}

// lineOfRow gives the number, within the chunk and from 1, of the line that holds
// row i, from 0.
func (p *rowSpec) lineOfRow(c *rowChunk, i int) int {
	at := 0
	for n := 1; n <= c.lines; n++ {
		end := bytes.IndexByte(c.buf[at:], p.eol) + 1
		if end == 0 {
			end = len(c.buf) - at
		}
		one := rowChunk{buf: c.buf[at : at+end], first: c.first}
		p.parse(&one, new(rowShape))
		if i -= len(one.volts); i < 0 {
			return n
		}
		at += end
	}
	return c.lines
}

// start makes the chunks and starts who hashes and parses them.
func (p *rowPipe) start() {
	workers := min(runtime.GOMAXPROCS(0), maxWorkers)
	n := 2*workers + 1
	p.free, p.todo = make(chan *rowChunk, n), make(chan *rowChunk, n)
	p.ordered, p.toHash = make(chan *rowChunk, n), make(chan *rowChunk, n)
	for range n {
		p.free <- &rowChunk{}
	}
	p.wg.Go(func() {
		for c := range p.toHash {
			p.sum.Write(c.fresh)
			c.busy.Done()
		}
	})
	for range workers {
		p.wg.Go(func() {
			var shape rowShape
			for c := range p.todo {
				p.spec.parse(c, &shape)
				c.busy.Done()
			}
		})
	}
}

// hand gives a chunk to the workers.
func (p *rowPipe) hand(c *rowChunk) {
	c.offset = p.stored.n
	c.busy.Add(1)
	if p.apart {
		c.busy.Add(1)
		p.toHash <- c
	}
	p.todo <- c
	p.ordered <- c
}

// textAhead estimates the bytes of decoded text from the first row on.
func (s *source) textAhead(at tableStart) int64 {
	total := s.textSize()
	if s.gz && (total < s.size || total/gzipMaxRatio > s.size) {
		total = 5 * s.size
	}
	if at.enc != encUTF8 {
		total /= 2
	}
	return total - at.offset
}

// cutChunks reads text into chunks that end at line ends.
func cutChunks(ctx context.Context, text io.Reader, eol byte, free <-chan *rowChunk, send func(*rowChunk)) error {
	var tail []byte
	first := true
	for {
		var c *rowChunk
		select {
		case c = <-free:
		case <-ctx.Done():
			return ctx.Err()
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		c.reset()
		c.first = first
		first = false
		c.buf = append(c.buf, tail...)
		want := max(chunkBytes, 2*len(tail))
		for {
			at := len(c.buf)
			if cap(c.buf) < want {
				b := make([]byte, at, want)
				copy(b, c.buf)
				c.buf = b
			}
			n, err := io.ReadFull(text, c.buf[at:want])
			c.buf = c.buf[:at+n]
			c.fresh = c.buf[len(tail):]
			if err != nil {
				if !isEOF(err) {
					return err
				}
				// A gzip stream that ends early reports it like a short read.
				c.torn = err == io.ErrUnexpectedEOF && n < want-at && !cleanEOF(text)
				send(c)
				return nil
			}
			if k := bytes.LastIndexByte(c.buf, eol); k >= 0 {
				tail = append(tail[:0], c.buf[k+1:]...)
				c.buf = c.buf[:k+1]
				break
			}
			want *= 2
			if want > maxLineBytes {
				return &ParseError{Found: fmt.Sprintf("a line of more than %d MB", maxLineBytes>>20), Expected: "rows of numbers", Fix: "export one sample per line"}
			}
		}
		send(c)
	}
}

// cleanEOF tells a whole end from a torn one: io.ReadFull maps both to
// io.ErrUnexpectedEOF, the next read does not.
func cleanEOF(r io.Reader) bool {
	var b [1]byte
	_, err := r.Read(b[:])
	return err == io.EOF
}

// appendChunk appends what a worker read.
func (o *rowsRead) appendChunk(name string, p *rowSpec, c *rowChunk, growth float64) error {
	base := o.lines
	if c.err != nil {
		c.err.Path = name
		c.err.Line += base
		return c.err
	}
	o.lines += c.lines
	row0 := len(o.volts)
	o.room(row0+len(c.volts), growth, p.keepTimes)
	o.volts = append(o.volts, c.volts...)
	o.times = append(o.times, c.times...)
	o.count(c, base)
	for i := range c.blocks {
		b := c.blocks[i]
		b.row0 += row0
		b.line += base
		if i == 0 && b.why == breakNone {
			b.why = o.breakBefore(p, c, &b)
		}
		o.addBlock(p, &b)
	}
	if len(c.volts) > 0 || c.texts.n > 0 {
		o.lastTail = c.tail
	}
	if len(c.volts) > 0 {
		o.lastSeg = append(o.lastSeg[:0], c.segLast...)
	}
	return nil
}

// room makes room for need rows in all, or for as many as the growth of the
// text read so far promises.
func (o *rowsRead) room(need int, growth float64, keepTimes bool) {
	if need <= cap(o.volts) {
		return
	}
	n := max(need+need/8, min(int(float64(need)*growth*1.03), 2*need))
	volts := make([]float64, 0, n)
	inLargePages(volts)
	o.volts = append(volts, o.volts...)
	if keepTimes {
		o.times = append(make([]float64, 0, n), o.times...)
	}
}

// count adds what a chunk says of its odd lines; base is the line before its
// first.
func (o *rowsRead) count(c *rowChunk, base int) {
	for _, b := range c.bad {
		if len(o.bad) < maxListed {
			b.line += base
			o.bad = append(o.bad, b)
		}
	}
	o.add(&c.oddRows, base)
}

// add adds what a later part of the text says; base is the line before its first.
func (o *oddRows) add(c *oddRows, base int) {
	o.badN += c.badN
	o.overN += c.overN
	o.noStamp += c.noStamp
	if o.hidden == 0 && c.hidden > 0 {
		o.hidden1 = c.hidden1 + base
	}
	o.hidden += c.hidden
	o.texts.add(c.texts, base)
	for _, l := range c.between {
		if len(o.between) < mostTexts {
			l.line += base
			o.between = append(o.between, l)
		}
	}
	o.remarks.add(c.remarks, base)
	o.remarksOver += c.remarksOver
	if c.cutRow != "" {
		o.cutRow = c.cutRow
	}
	o.torn = o.torn || c.torn
	o.open = o.open || c.open
	o.tooManyJumps = o.tooManyJumps || c.tooManyJumps
}

// breakBefore tells why a chunk's first block does not go on the last one.
func (o *rowsRead) breakBefore(p *rowSpec, c *rowChunk, b *timeBlock) breakKind {
	if len(o.pieces) > 0 {
		if why := o.boundary(p, b); why != breakNone {
			return why
		}
	}
	switch {
	case o.lastTail:
		return breakText
	case p.seg >= 0 && len(o.pieces) > 0 && !bytes.Equal(o.lastSeg, c.seg1):
		return breakSeg
	}
	return breakNone
}

// addBlock joins a block to the last piece, or begins another.
func (o *rowsRead) addBlock(p *rowSpec, b *timeBlock) {
	switch {
	case len(o.pieces) > 0 && (b.why == breakNone || o.tooManyJumps):
		o.pieces[len(o.pieces)-1].join(b, p.step)
	case len(o.pieces) >= maxPieces:
		o.tooManyJumps = true
	default:
		o.pieces = append(o.pieces, *b)
	}
}

// boundary judges the step from the last piece to a chunk's first block.
func (o *rowsRead) boundary(p *rowSpec, b *timeBlock) breakKind {
	a := &o.pieces[len(o.pieces)-1]
	if p.time < 0 || a.m == 0 || b.m == 0 {
		return breakNone
	}
	steps := float64(b.row0 - (a.row0 + a.lastJ))
	dev := b.first - a.last - p.step*steps
	if math.Abs(dev) > 0.5*math.Abs(p.step)+1.01*max(a.ulp, b.ulp) {
		return breakTime
	}
	return breakNone
}
