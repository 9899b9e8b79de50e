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
}

// Bounds of what is read by shape: what scanNumber's exact way and Eisel-Lemire take.
const (
	shapedWhole  = 8
	shapedDigits = 19
	// shapedReach is how many bytes behind the start of a number may be read: more
	// than any shape within the bounds takes, and eight more.
	shapedReach = 48
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
	return s, s.whole > 0 && s.whole <= shapedWhole && s.frac > 0 && s.whole+s.frac <= shapedDigits && (!s.exponent || i+4 == end)
}

// digitsIn is the number of the k digits (1 to 8) at the start of b, which holds
// eight bytes at least; bad is not 0 where there is something else among them.
func digitsIn(b []byte, k int) (n, bad uint64) {
	w := (binary.LittleEndian.Uint64(b) ^ zeroChars) << ((64 - 8*k) & 63)
	return eightDigits(w), (w&0x7F7F7F7F7F7F7F7F + 0x7676767676767676 | w) & 0x8080808080808080
}

// read gives the digits of the number of this shape at b[at], as a whole number
// and its power of ten, and where it ends; end 0 where it has another shape. b
// must reach shapedReach further than at.
func (s numberShape) read(b []byte, at int, decimal byte) (man uint64, exp int, negative bool, end int) {
	b = b[at : at+shapedReach : at+shapedReach]
	i := 0
	if c := b[0]; c == '-' || c == '+' {
		negative, i = c == '-', 1
	}
	var bad uint64
	if s.whole == 1 {
		man = uint64(b[i] - '0')
		if man > 9 {
			return 0, 0, false, 0
		}
	} else {
		man, bad = digitsIn(b[i:], s.whole)
	}
	i += s.whole
	if b[i] != decimal || bad != 0 {
		return 0, 0, false, 0
	}
	i++
	for left := s.frac; left > 0; {
		k := min(left, 8)
		n, odd := digitsIn(b[i:], k)
		if odd != 0 {
			return 0, 0, false, 0
		}
		man = man*pow10uint[k] + n
		i += k
		left -= k
	}
	exp = -s.frac
	if s.exponent {
		e := b[i : i+5]
		tens, ones := e[2]-'0', e[3]-'0'
		if e[0]|0x20 != 'e' || tens > 9 || ones > 9 {
			return 0, 0, false, 0
		}
		switch p := int(tens)*10 + int(ones); e[1] {
		case '+':
			exp += p
		case '-':
			exp -= p
		default:
			return 0, 0, false, 0
		}
		i += 4
	}
	// no digit and no exponent may follow: the number would go on
	if c := b[i]; c-'0' <= 9 || c|0x20 == 'e' {
		return 0, 0, false, 0
	}
	return man, exp, negative, at + i
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
	p, b, timeShape, voltShape := w.spec, w.buf, w.shape.time, w.shape.volts
	decimal, delim, eol := p.decimal, p.delim, p.eol
	digits := timeShape.whole + timeShape.frac
	leading := pow10uint[digits-1]
	volts := w.volts
	for n < len(run) && start+2*shapedReach <= len(b) {
		man, exp, negative, k := timeShape.read(b, start, decimal)
		if k == 0 || man == 0 || b[k] != delim {
			break
		}
		voltMan, voltExp, voltNegative, e := voltShape.read(b, k+1, decimal)
		if e == 0 {
			break
		}
		if b[e] != eol && b[e] == '\r' {
			e++
		}
		if b[e] != eol {
			break
		}
		t, ok := scaled(man, exp)
		v, voltOK := scaled(voltMan, voltExp)
		if !ok || !voltOK || v >= scpiOver {
			break
		}
		if negative {
			t = -t
		}
		if voltNegative {
			v = -v
		}
		stamp := &run[n]
		if stamp.v, stamp.exp10, stamp.digits = t, exp, digits; man < leading {
			stamp.digits = decimalDigits(man)
		}
		n++
		volts = append(volts, v)
		start = e + 1
	}
	w.volts = volts
	return start, n
}
