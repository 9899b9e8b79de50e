package capture

import (
	"encoding/binary"
	"math"
)

// Most files print every row alike: as many digits ahead of the decimal mark and
// behind it, with or without an exponent of two digits. Where that is known from
// the row before, a number is read at fixed places, eight digits at a time, without
// looking for its end; what comes out is what scanNumber gives. A row of another
// shape is left to it.

// Where more than one row in shapedShare, and shapedMisses besides, have another shape
// than the one before, the times alone are read by shape from there on, since many
// programs print volts with as many digits as each needs. Where that fits as few rows,
// attempts in the chunk end.
const shapedMisses, shapedShare = 16, 4

// rowShape is how the rows of a bare table print their time and, in a plain one, their
// volts.
type rowShape struct {
	time, volts  numberShape
	known        bool
	loose        bool // volts of various lengths, or among other cells, or alone
	usual        bool // row reads them, or of loose ones the time
	row          usualRow
	hits, misses int
}

// learn takes the shape of the row that begins at b[start], which was read as usual.
func (s *rowShape) learn(p *rowSpec, b []byte, start int) {
	s.misses++
	s.loose = s.loose || !p.plain()
	if s.known = false; s.misses > s.hits/shapedShare+shapedMisses {
		if s.loose {
			return
		}
		s.loose, s.hits, s.misses = true, 0, 0
	}
	if p.time < 0 {
		s.known = true
		return
	}
	_, k := scanNumber(b[start:], p.decimal)
	var timeOK, voltsOK bool
	if s.time, timeOK = shapeOf(b[start:], k, p.decimal); s.loose {
		if s.known = timeOK; timeOK {
			s.usual = s.time.tail <= usualTail
			s.row.time = s.time.usual()
		}
		return
	}
	_, e := scanNumber(b[start+k+1:], p.decimal)
	s.volts, voltsOK = shapeOf(b[start+k+1:], e, p.decimal)
	if s.known = timeOK && voltsOK; !s.known {
		return
	}
	if s.usual = s.time.tail <= usualTail && s.volts.tail <= usualTail; s.usual {
		s.row = usualRowOf(s, p.eol)
	}
}

// shapedRun is how many rows are read by shape before their times are taken.
const shapedRun = 256

// stampRun is up to shapedRun rows in a row that print their times with the same sign
// and exponent: the times' digits as whole numbers.
type stampRun struct {
	man           [shapedRun]uint64
	volts         [shapedRun]float64
	n             int
	sign          byte   // ahead of every time, 0 for none
	timeTail      int    // where the digits of the first end in its row
	tail, tailOwn uint64 // what follows them in every row, exponent and delimiter, and the bytes of that
	exp10         int    // power of ten of the last digit
	digits        int    // printed, leading zeros counted
	leading       uint64 // from here on none is a leading zero
	exact         bool   // the power of ten is one of those by which a division is exact
}

// begin empties the run and takes from the first row, shapedAhead bytes into b, how its
// times are printed, and where the volts begin; ok is false where the row has no time of
// that shape.
func (r *stampRun) begin(b *shapedRow, shape *numberShape, delim byte) (volts int, ok bool) {
	r.n, r.sign = 0, 0
	at := shapedAhead
	if c := b[at]; signBytes(c) > 0 {
		r.sign = c
		at++
	}
	r.timeTail = at + shape.tail
	exp10, length, ok := shape.exponentAt(b, r.timeTail)
	volts = r.timeTail + length + 1
	if !ok || b[(volts-1)&(shapedPlaces-1)] != delim {
		return 0, false
	}
	r.tailOwn = 1<<(8*(length+1)) - 1
	r.tail = binary.LittleEndian.Uint64(b[r.timeTail&(shapedPlaces-1):]) & r.tailOwn
	r.exp10, r.digits = exp10, shape.whole+shape.frac
	r.leading, r.exact = pow10uint[r.digits-1], exactBelow(exp10)
	return volts, true
}

// exactBelow reports whether 10 to the -exp is exact and no less than 1.
func exactBelow(exp int) bool { return exp <= 0 && -exp < len(pow10tab) }

// value is the time of row k.
func (r *stampRun) value(k int) float64 {
	var v float64
	if man := r.man[k]; r.exact && man>>53 == 0 {
		v = float64(man) / pow10tab[-r.exp10]
	} else {
		v, _ = scaled(man, r.exp10) // it is settled
	}
	if r.sign == '-' {
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
	if r.sign == '-' {
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
		if w.spec.time < 0 {
			for k := range run.n {
				w.lines++
				w.stamps.unstamped(w.rowChunk, len(w.volts)-run.n+k, w.pending)
				w.pending = breakNone
			}
			continue
		}
		if w.spec.keepTimes {
			for k := range run.n {
				w.times = append(w.times, run.value(k))
			}
		}
		// the lines are counted up as the times are taken, which note them
		w.stamps.run(w.rowChunk, &run, w.pending)
		w.pending = breakNone
	}
}

// shapedRows reads rows of the known shape, as many as run holds at most: their times
// into run, their volts to the chunk's. It gives where the next row begins.
func (w *chunkReader) shapedRows(start int, run *stampRun) (next int) {
	run.n = 0
	if start < shapedAhead || len(w.buf)-start < shapedReach {
		return start
	}
	b, s := w.buf[start-shapedAhead:], &w.shape
	from := shapedAhead
	if w.spec.time >= 0 {
		var ok bool
		if from, ok = run.begin((*shapedRow)(b), &s.time, w.spec.delim); !ok {
			return start
		}
	}
	switch {
	case s.loose:
		next = s.looseRows(b, from, run, w.spec)
	case s.usual && run.exact:
		next = s.row.rows(b, from, run)
	}
	if run.n == 0 && !s.loose {
		next = s.rows(b, from, run, w.spec.eol)
	}
	w.volts = append(w.volts, run.volts[:run.n]...)
	return start + next
}

// timeAt is the digits of the time in a row of the run; ok is false where they, the sign
// or what follows is otherwise than in the first.
func (r *stampRun) timeAt(b *shapedRow, shape *numberShape) (man uint64, ok bool) {
	at := shapedAhead
	if r.sign != 0 {
		at++
		if b[shapedAhead] != r.sign {
			return 0, false
		}
	}
	if binary.LittleEndian.Uint64(b[r.timeTail&(shapedPlaces-1):])&r.tailOwn != r.tail {
		return 0, false
	}
	if man, ok = shape.mantissa(b, at); ok && (man>>53 != 0 || !r.exact) {
		_, ok = scaled(man, r.exp10)
	}
	return man, ok
}

// rows reads rows of any shape, whose volts begin at from in b, which begins shapedAhead
// bytes ahead of the first. It gives how far from there the next row begins.
func (s *rowShape) rows(b []byte, from int, run *stampRun, eol byte) (next int) {
	for run.n < shapedRun && next+shapedReach <= len(b) {
		row := (*shapedRow)(b[next : next+shapedReach])
		man, ok := run.timeAt(row, &s.time)
		if !ok {
			break
		}
		sign := row[from&(shapedPlaces-1)]
		at := from + signBytes(sign)
		voltMan, ok := s.volts.mantissa(row, at)
		if !ok {
			break
		}
		at += s.volts.tail
		exp10, length, ok := s.volts.exponentAt(row, at)
		if !ok {
			break
		}
		if at += length; row[at&(shapedPlaces-1)] != eol && row[at&(shapedPlaces-1)] == '\r' {
			at++
		}
		v, ok := scaled(voltMan, exp10)
		if !ok || v >= scpiOver || row[at&(shapedPlaces-1)] != eol {
			break
		}
		if sign == '-' {
			v = -v
		}
		run.man[run.n], run.volts[run.n] = man, v
		run.n++
		next += at + 1 - shapedAhead
	}
	return next
}

// usualRow is what rows are read by whose numbers have two words at most and are, exactly,
// a whole number over a power of ten: most files'. All that a row needs is kept here, since
// the processor has fewer registers, and no function is called on the way.
type usualRow struct {
	time, volts usualNumber
	eol         byte
	voltsTail   int    // bytes of the volts' digits and mark
	frac        int    // digits behind that
	expOwn      uint64 // the bytes of the volts' exponent
	expBytes    int
	exp         uint64  // of the row before, as printed
	divisor     float64 // that goes with it
}

// usualNumber is a number of two words.
type usualNumber struct {
	last, first digitWord
	own         uint64 // the bytes of first
	text        uint64 // first in the row before, which is mostly that of the next
	n           uint64 // the number of it, scaled
}

// usualTail is the longest number, exponent aside, that usualRow reads: one byte of two
// words is left for a text that is no number's.
const usualTail = 15

// usualRowOf lays out how rows of a shape are read.
func usualRowOf(s *rowShape, eol byte) usualRow {
	u := usualRow{time: s.time.usual(), volts: s.volts.usual(), eol: eol, voltsTail: s.volts.tail, frac: s.volts.frac}
	if u.divisor = pow10tab[u.frac]; s.volts.exponent {
		u.expOwn, u.expBytes, u.exp = math.MaxUint32, 4, math.MaxUint64 // no row has it
	}
	return u
}

// usual is how a number of two words at most is read.
func (s *numberShape) usual() usualNumber {
	u := usualNumber{last: s.word[0], first: s.word[1], own: s.word[1].own}
	if s.words > 1 {
		u.text = ^u.own // no row has it
	}
	return u
}

// rows is rowShape.rows for usual ones: the digits ahead of a number's last eight, and the
// volts' exponent, are looked up only where they are not those of the row before.
func (u *usualRow) rows(b []byte, from int, run *stampRun) (next int) {
	n := 0
	for ; n < shapedRun && next+shapedReach <= len(b); n++ {
		row := (*shapedRow)(b[next : next+shapedReach])
		t := (*shapedNumber)(row[(run.timeTail-16)&(shapedPlaces-1):])
		man, bad := u.time.last.read(binary.LittleEndian.Uint64(t[8:]))
		if text := binary.LittleEndian.Uint64(t[:]) & u.time.own; text != u.time.text {
			n, odd := u.time.first.read(text)
			if odd&notDigits != 0 {
				break
			}
			u.time.text, u.time.n = text, n*u.time.first.scale
		}
		if binary.LittleEndian.Uint64(t[16:])&run.tailOwn != run.tail || run.sign != 0 && row[shapedAhead] != run.sign {
			break
		}
		run.man[n] = man + u.time.n

		var minus, plus int // as numbers: no branch
		if row[from&(shapedPlaces-1)] == '-' {
			minus = 1
		}
		if row[from&(shapedPlaces-1)] == '+' {
			plus = 1
		}
		at := from + u.voltsTail + minus + plus - 16
		v := (*shapedNumber)(row[at&(shapedPlaces-1):])
		man, odd := u.volts.last.read(binary.LittleEndian.Uint64(v[8:]))
		if (bad|odd)&notDigits != 0 {
			break
		}
		if text := binary.LittleEndian.Uint64(v[:]) & u.volts.own; text != u.volts.text {
			n, odd := u.volts.first.read(text)
			if odd&notDigits != 0 {
				break
			}
			u.volts.text, u.volts.n = text, n*u.volts.first.scale
		}
		if exp := uint64(binary.LittleEndian.Uint32(v[16:])) & u.expOwn; exp != u.exp {
			e, ok := exponentOf(uint32(exp))
			if e -= u.frac; !ok || !exactBelow(e) {
				break
			}
			u.exp, u.divisor = exp, pow10tab[-e]
		}
		end := 16 + u.expBytes&7
		if v[end] != u.eol && v[end] == '\r' {
			end++
		}
		if v[end] != u.eol {
			break
		}
		value := float64(int64(man+u.volts.n)) / u.divisor
		run.volts[n] = math.Float64frombits(math.Float64bits(value) | uint64(minus)<<63)
		next += at + end + 1 - shapedAhead
	}
	run.n = n
	return next
}
