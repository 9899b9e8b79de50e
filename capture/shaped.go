package capture

import (
	"encoding/binary"
	"math"
	"slices"
)

// Most files print every row alike: as many digits ahead of the decimal mark and
// behind it, with or without an exponent of two digits. Where that is known from
// the row before, a number is read at fixed places, eight digits at a time, without
// looking for its end; what comes out is what scanNumber gives. A row of another
// shape is left to it.

// numberShape is how a number is printed, its sign aside. The zero value is no
// shape and fits nothing.
type numberShape struct {
	whole, frac int  // digits ahead of the decimal mark and behind it
	exponent    bool // e, a sign and two digits
	// the digits behind the mark as they are read: up to eight, up to eight more,
	// and the rest
	parts [3]digitPart
	tail  int // bytes from the first digit to the exponent, or the end
}

// digitPart is a group of 0 to 8 digits.
type digitPart struct {
	digits int
	shift  uint   // that leaves them alone of eight bytes
	scale  uint64 // 10 to the digits
}

// Bounds of what is read by shape: what scanNumber's exact way and Eisel-Lemire take.
const (
	shapedWhole  = 8
	shapedDigits = 19
	// shapedReach is how many bytes from the start of a number on may be read: the
	// longest shape, 1+19+1+4, ends by 32, and eight more.
	shapedReach = 40
	// Attempts in a chunk end where more than one row in shapedShare, and
	// shapedMisses besides, have another shape than the one before.
	shapedMisses, shapedShare = 64, 4
)

// shapeOf is the shape of the number at the start of b, which scanNumber has read
// to end; ok is false where it is none of those read by shape.
func shapeOf(b []byte, end int, decimal byte) (s numberShape, ok bool) {
	i := 0
	if b[0] == '-' || b[0] == '+' {
		i++
	}
	for i < end && b[i]-'0' <= 9 {
		s.whole++
		i++
	}
	if i == end || b[i] != decimal {
		return s, false
	}
	for i++; i < end && b[i]-'0' <= 9; i++ {
		s.frac++
	}
	s.exponent = i < end
	s.readParts()
	return s, s.whole > 0 && s.whole <= shapedWhole && s.frac > 0 && s.whole+s.frac <= shapedDigits && (!s.exponent || i+4 == end)
}

// length is the bytes of a number of this shape, its sign aside.
func (s *numberShape) length() int {
	if s.exponent {
		return s.tail + 4
	}
	return s.tail
}

// readParts lays out how the digits behind the mark are read.
func (s *numberShape) readParts() {
	s.tail = s.whole + 1 + s.frac
	left := s.frac
	for k := range s.parts {
		n := min(left, 8)
		s.parts[k] = digitPart{n, uint(64 - 8*n), pow10uint[n]}
		left -= n
	}
}

// shapedRow is the stretch of text in which one number is read.
type shapedRow = [shapedReach]byte

// digitsAt is the number of the digits of p at b[i]; bad is not 0 where there is
// something else among them.
func digitsAt(b *shapedRow, i int, p *digitPart) (n, bad uint64) {
	w := (binary.LittleEndian.Uint64(b[i:]) ^ zeroChars) << (p.shift & 63)
	return eightDigits(w), (w&0x7F7F7F7F7F7F7F7F + 0x7676767676767676 | w) & 0x8080808080808080
}

// mantissa is the digits at b[i] as a whole number; bad is not 0 where something else
// is among them, or no decimal mark where one belongs.
func (s *numberShape) mantissa(b *shapedRow, i int, decimal byte) (man, bad uint64) {
	for range s.whole {
		c := uint64(b[i&31] - '0')
		man = man*10 + c
		bad |= (9 - c) >> 63
		i++
	}
	bad |= uint64(b[i&31] ^ decimal)
	n, odd := digitsAt(b, (i+1)&31, &s.parts[0])
	if man, bad = man*s.parts[0].scale+n, bad|odd; s.frac > 8 {
		return s.further(b, i+1, man, bad)
	}
	return man, bad
}

// further is mantissa from the ninth digit behind the mark on, the first being b[i].
func (s *numberShape) further(b *shapedRow, i int, man, bad uint64) (uint64, uint64) {
	for k := 1; k < len(s.parts) && s.parts[k].digits > 0; k++ {
		p := &s.parts[k]
		i += 8
		n, odd := digitsAt(b, i&31, p)
		man, bad = man*p.scale+n, bad|odd
	}
	return man, bad
}

// exponentAt is the exponent, e, a sign and two digits, at b[i].
func exponentAt(b *shapedRow, i int) (exp int, ok bool) {
	e := binary.LittleEndian.Uint32(b[i&31:])
	tens, ones := byte(e>>16)-'0', byte(e>>24)-'0'
	if byte(e)|0x20 != 'e' || tens > 9 || ones > 9 {
		return 0, false
	}
	switch p := int(tens)*10 + int(ones); byte(e >> 8) {
	case '-':
		return -p, true
	case '+':
		return p, true
	}
	return 0, false
}

// read gives the number of this shape at the start of b, its digits as a whole
// number with its power of ten, and where it ends, which the caller must find to be
// followed by what ends a cell; end 0 where it has another shape.
func (s *numberShape) read(b *shapedRow, decimal byte) (man uint64, exp, end int) {
	if b[0] == '-' || b[0] == '+' {
		end = 1
	}
	man, bad := s.mantissa(b, end, decimal)
	if bad != 0 {
		return 0, 0, 0
	}
	exp, end = -s.frac, end+s.tail
	if s.exponent {
		e, ok := exponentAt(b, end)
		if !ok {
			return 0, 0, 0
		}
		exp, end = exp+e, end+4
	}
	return man, exp, end
}

// rowShape is how the rows of a plain table print their time and their volts.
type rowShape struct {
	time, volts  numberShape
	known        bool
	hits, misses int
}

// learn takes the shape of the row that begins at b[start], which pair has read.
func (s *rowShape) learn(p *rowSpec, b []byte, start int) {
	s.misses++
	if s.known = false; s.misses > s.hits/shapedShare+shapedMisses {
		return
	}
	_, k := scanNumber(b[start:], p.decimal)
	_, e := scanNumber(b[start+k+1:], p.decimal)
	var timeOK, voltsOK bool
	s.time, timeOK = shapeOf(b[start:], k, p.decimal)
	s.volts, voltsOK = shapeOf(b[start+k+1:], e, p.decimal)
	s.known = timeOK && voltsOK
}

// shapedRun is how many rows are read by shape before their times are taken.
const shapedRun = 128

// stampRun is up to shapedRun rows in a row that print their times with the same sign
// and exponent: the times' digits as whole numbers.
type stampRun struct {
	volts    [shapedRun]int // where in the chunk the row's volts begin
	man      [shapedRun]uint64
	n        int
	negative bool
	exp10    int    // power of ten of the last digit
	digits   int    // printed, leading zeros counted
	leading  uint64 // from here on none is a leading zero
	exact    bool   // the power of ten is one of those by which a division is exact
}

// value is the time of row k.
func (r *stampRun) value(k int) float64 {
	var v float64
	if man := r.man[k]; r.exact && man < 1<<53 {
		v = float64(man) / pow10tab[-r.exp10]
	} else {
		v, _ = scaled(man, r.exp10) // it was found to be settled
	}
	if r.negative {
		return -v
	}
	return v
}

// number is the time of row k as scanNumber gives it.
func (r *stampRun) number(k int) number {
	n := number{v: r.value(k), exp10: r.exp10, digits: r.digits}
	if r.man[k] < r.leading {
		n.digits = decimalDigits(r.man[k])
	}
	return n
}

// even reports whether each time is as far from the one before as the second is from
// the first, to the last digit, and that step in the file's unit.
func (r *stampRun) even() (step float64, ok bool) {
	if r.n < 2 {
		return 0, false
	}
	man, off := r.man[:r.n], uint64(0)
	d := man[1] - man[0] // modulo 2^64, where times fall
	for k := 2; k < len(man); k++ {
		off |= man[k] - man[k-1] - d
	}
	if r.negative {
		d = -d
	}
	step = float64(int64(d))
	if math.Abs(step) >= 1<<53 || !r.exact {
		return 0, false
	}
	return step / pow10tab[-r.exp10], off == 0
}

// shaped reads rows from start on as long as they have the known shape, and gives
// where it stopped.
func (w *chunkReader) shaped(start int) int {
	var run stampRun
	for {
		start = w.shapedRows(start, &run)
		if run.n == 0 {
			return start
		}
		w.shape.hits += run.n
		w.tail = false
		// the lines are counted up as the times are taken, which note them
		w.stamps.run(w.rowChunk, &run, w.pending)
		w.pending = breakNone
	}
}

// shapedRows reads rows of the known shape, as many as run holds at most: their times
// into run, their volts to the chunk's. It gives where the next row begins. One column
// after the other leaves the processor's registers to few values at a time.
func (w *chunkReader) shapedRows(start int, run *stampRun) (next int) {
	next = w.shapedTimes(start, run)
	if n := w.shapedVolts(run); n < run.n {
		next = run.volts[n] - (run.volts[0] - start) // times are all as long
		run.n = n
	}
	return next
}

// shapedTimes takes the times of rows whose volts may have the known shape, too. What
// mantissa does stands here and in shapedVolts once more: a call for each number would
// take as long as the number.
func (w *chunkReader) shapedTimes(start int, run *stampRun) (next int) {
	b, s := w.buf, &w.shape.time
	decimal, delim, eol := w.spec.decimal, w.spec.delim, w.spec.eol
	run.n = 0
	if start+2*shapedReach > len(b) {
		return start
	}
	// Of the first row's time the sign, the exponent and the delimiter hold for the run.
	head := (*shapedRow)(b[start:])
	man, exp, length := s.read(head, decimal)
	if man == 0 || b[start+length] != delim {
		return start
	}
	first, signs := head[0], 0
	if first == '-' || first == '+' {
		signs = 1
	}
	at := signs + s.tail
	mask := uint64(1)<<(8*(length-at+1)) - 1
	tail := binary.LittleEndian.Uint64(head[at&31:]) & mask
	run.negative, run.exp10, run.digits = first == '-', exp, s.whole+s.frac
	run.leading, run.exact = pow10uint[run.digits-1], exp < 0 && exp >= -22

	whole, part, long, volts := s.whole, s.parts[0], s.frac > 8, w.shape.volts.length()
	n := 0
	for ; n < len(run.man) && start+2*shapedReach <= len(b); n++ {
		row := (*shapedRow)(b[start:])
		i, man, bad := signs, uint64(0), uint64(0)
		for range whole {
			c := uint64(row[i&31] - '0')
			man = man*10 + c
			bad |= (9 - c) >> 63
			i++
		}
		bad |= uint64(row[i&31]^decimal) | binary.LittleEndian.Uint64(row[at&31:])&mask ^ tail
		d, odd := digitsAt(row, (i+1)&31, &part)
		if man, bad = man*part.scale+d, bad|odd; long {
			man, bad = s.further(row, i+1, man, bad)
		}
		if bad != 0 || man == 0 || signs > 0 && row[0] != first {
			break
		}
		if man >= 1<<53 || !run.exact {
			if _, ok := scaled(man, exp); !ok {
				break
			}
		}
		k := start + length + 1
		run.man[n], run.volts[n] = man, k
		if b[k] == '-' || b[k] == '+' {
			k++
		}
		if k += volts; b[k] != eol && b[k] == '\r' {
			k++
		}
		if b[k] != eol {
			break
		}
		start = k + 1
	}
	run.n = n
	return start
}

// shapedVolts takes the volts of the rows of the run as far as they have the known
// shape, and gives how many did.
func (w *chunkReader) shapedVolts(run *stampRun) int {
	s, decimal := &w.shape.volts, w.spec.decimal
	whole, part, tail, long := s.whole, s.parts[0], s.tail, s.frac > 8
	volts := slices.Grow(w.volts, run.n)
	to := volts[len(volts) : len(volts)+run.n]
	n := 0
	for ; n < len(to); n++ {
		row := (*shapedRow)(w.buf[run.volts[n]:])
		i, man, bad, sign := 0, uint64(0), uint64(0), row[0]
		if sign == '-' || sign == '+' {
			i = 1
		}
		end := i + tail
		for range whole {
			c := uint64(row[i&31] - '0')
			man = man*10 + c
			bad |= (9 - c) >> 63
			i++
		}
		bad |= uint64(row[i&31] ^ decimal)
		d, odd := digitsAt(row, (i+1)&31, &part)
		if man, bad = man*part.scale+d, bad|odd; long {
			man, bad = s.further(row, i+1, man, bad)
		}
		exp, ok := 0, true
		if s.exponent {
			exp, ok = exponentAt(row, end)
		}
		if exp -= s.frac; bad != 0 || !ok {
			break
		}
		var v float64
		if man < 1<<53 && exp < 0 && exp >= -22 {
			v = float64(man) / pow10tab[-exp]
		} else if v, ok = scaled(man, exp); !ok {
			break
		}
		if v >= scpiOver {
			break
		}
		if to[n] = v; sign == '-' {
			to[n] = -v
		}
	}
	w.volts = volts[:len(volts)+n]
	return n
}
