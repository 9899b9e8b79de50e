package capture

import (
	"encoding/binary"
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

// readParts lays out how the digits behind the mark are read.
func (s *numberShape) readParts() {
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

// read gives the number of this shape at the start of b, its digits as a whole
// number with its power of ten, and where it ends; end 0 where it has another shape
// or isn't settled by the exact way or Eisel-Lemire.
func (s *numberShape) read(b *shapedRow, decimal byte) (v float64, man uint64, exp, end int) {
	i := 0
	sign := b[0]
	if sign == '-' || sign == '+' {
		i = 1
	}
	var bad uint64
	for k := range s.whole {
		c := uint64(b[(i+k)&31] - '0')
		if c > 9 {
			return 0, 0, 0, 0
		}
		man = man*10 + c
	}
	i += s.whole
	if b[i&31] != decimal {
		return 0, 0, 0, 0
	}
	i = (i + 1) & 31
	n, odd := digitsAt(b, i, &s.parts[0])
	man, bad = man*s.parts[0].scale+n, odd
	if i += s.parts[0].digits; s.frac > 8 {
		for k := 1; k < len(s.parts); k++ {
			p := &s.parts[k]
			if p.digits == 0 {
				break
			}
			n, odd := digitsAt(b, i&31, p)
			man, bad = man*p.scale+n, bad|odd
			i += p.digits
		}
	}
	if bad != 0 {
		return 0, 0, 0, 0
	}
	exp = -s.frac
	if s.exponent {
		e := binary.LittleEndian.Uint32(b[i&31:])
		tens, ones := byte(e>>16)-'0', byte(e>>24)-'0'
		if byte(e)|0x20 != 'e' || tens > 9 || ones > 9 {
			return 0, 0, 0, 0
		}
		switch p := int(tens)*10 + int(ones); byte(e >> 8) {
		case '-':
			exp -= p
		case '+':
			exp += p
		default:
			return 0, 0, 0, 0
		}
		i += 4
	}
	// no digit and no exponent may follow: the number would go on
	if c := b[i&31]; c-'0' <= 9 || c|0x20 == 'e' {
		return 0, 0, 0, 0
	}
	if man < 1<<53 && exp < 0 && exp >= -22 {
		v = float64(man) / pow10tab[-exp]
	} else {
		var ok bool
		if v, ok = scaled(man, exp); !ok {
			return 0, 0, 0, 0
		}
	}
	if sign == '-' {
		v = -v
	}
	return v, man, exp, i
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

// shaped reads rows from start on as long as they have the known shape, and gives
// where it stopped.
func (w *chunkReader) shaped(start int) int {
	var run [shapedRun]number
	for {
		next, n := w.shapedRows(start, &run)
		if n == 0 {
			return start
		}
		w.shape.hits += n
		w.tail = false
		// the lines are counted up as the times are taken, which note them
		w.stamps.run(w.rowChunk, run[:n], w.pending)
		w.pending = breakNone
		if start = next; n < len(run) {
			return start
		}
	}
}

// shapedRows takes the volts of rows of the known shape, as many as run holds at
// most, and puts their times into run. It gives where the next row begins and how
// many were read.
func (w *chunkReader) shapedRows(start int, run *[shapedRun]number) (next, n int) {
	p, b, timeShape, voltShape := w.spec, w.buf, &w.shape.time, &w.shape.volts
	decimal, delim, eol := p.decimal, p.delim, p.eol
	digits := timeShape.whole + timeShape.frac
	leading := pow10uint[digits-1]
	volts := w.volts
	for n < len(run) && start+2*shapedReach <= len(b) {
		t, man, exp, k := timeShape.read((*shapedRow)(b[start:]), decimal)
		k += start
		if man == 0 || b[k] != delim {
			break
		}
		v, _, _, e := voltShape.read((*shapedRow)(b[k+1:]), decimal)
		if e == 0 || v >= scpiOver || v <= -scpiOver {
			break
		}
		e += k + 1
		if b[e] != eol && b[e] == '\r' {
			e++
		}
		if b[e] != eol {
			break
		}
		stamp := &run[n]
		if stamp.v, stamp.exp10, stamp.digits = t, exp, digits; man < leading { // zeros ahead
			stamp.digits = decimalDigits(man)
		}
		n++
		volts = append(volts, v)
		start = e + 1
	}
	w.volts = volts
	return start, n
}
