package capture

import (
	"bytes"
	"encoding/binary"
	"math"
)

// looseWhole is the most digits ahead of the decimal mark that looseRows reads itself: with
// seven behind it they are a whole number that is exact in binary64.
const looseWhole = 7

// looseRows is rows for volts of various lengths and for those among other cells, which
// are passed over: the time alone, where there is one, is read by shape. Of the volts it
// is tried first whether as many digits stand ahead of the decimal mark as in the row
// before and no more than seven behind it; scanNumber has all others. As in usualRow.rows
// no function is called on the usual way, and no branch hangs on the sign.
func (s *rowShape) looseRows(b []byte, from int, run *stampRun, p *rowSpec) (next int) {
	time, whole, decimal := &s.row.time, 1, p.decimal
	usual, others, wide := p.time >= 0 && s.usual && run.exact, p.volt-p.time-1, p.cells > p.volt+1
	n := 0
	for ; n < shapedRun && next+shapedReach <= len(b); n++ {
		row := (*shapedRow)(b[next : next+shapedReach])
		if usual {
			t := (*shapedNumber)(row[(run.timeTail-16)&(shapedPlaces-1):])
			man, bad := time.last.read(binary.LittleEndian.Uint64(t[8:]))
			if text := binary.LittleEndian.Uint64(t[:]) & time.own; text != time.text {
				n, odd := time.first.read(text)
				if odd&notDigits != 0 {
					break
				}
				time.text, time.n = text, n*time.first.scale
			}
			if bad&notDigits != 0 || binary.LittleEndian.Uint64(t[16:])&run.tailOwn != run.tail || run.sign != 0 && row[shapedAhead] != run.sign {
				break
			}
			run.man[n] = man + time.n
		} else if p.time >= 0 {
			man, ok := run.timeAt(row, &s.time)
			if !ok {
				break
			}
			run.man[n] = man
		}
		at := from
		if others > 0 {
			at = p.passCells(row, at, others)
		}
		for at < shapedPlaces && row[at&(shapedPlaces-1)] == ' ' {
			at++
		}
		if at >= shapedPlaces {
			break
		}

		text := (*shapedNumber)(row[at:])
		var minus, plus int // as numbers: no branch
		if text[0] == '-' {
			minus = 1
		}
		if text[0] == '+' {
			plus = 1
		}
		sign := minus + plus
		ahead := binary.LittleEndian.Uint64(text[sign&1:]) ^ zeroChars
		behind := binary.LittleEndian.Uint64(text[(sign+whole+1)&15:]) ^ zeroChars
		own, k := ahead<<((64-8*whole)&63), leadingDigits(behind)
		length := sign + whole + 1 + k
		var v float64
		if text[(sign+whole)&15] == decimal && leadingDigits(own) == 8 && k < 8 && text[length&31]|0x20 != 'e' {
			man := own >> 56
			if whole > 1 {
				man = eightDigits(own)
			}
			man = man*pow10uint[k&7] + eightDigits(behind<<((56-8*k)&63)<<8)
			v = float64(int64(man)) / pow10tab[k&7]
			v = math.Float64frombits(math.Float64bits(v) | uint64(minus)<<63)
		} else {
			var num number
			num, length = scanNumber(text[:], decimal)
			v, whole = num.v, max(min(leadingDigits(ahead), looseWhole), 1)
		}
		if at += length; length == 0 || v >= scpiOver || v <= -scpiOver {
			break
		}

		if wide && row[at] == p.delim {
			rest := p.restOfRow(b[next+at:])
			if rest < 0 {
				break
			}
			at += rest
		} else {
			if row[at] != p.eol && row[at] == '\r' {
				at++
			}
			if row[at] != p.eol {
				break
			}
		}
		run.volts[n] = v
		next += at + 1 - shapedAhead
	}
	run.n = n
	return next
}

// passCells gives where the cell begins that is n cells behind that at row[at], and
// shapedPlaces where the row has none, or none near enough, or quotes.
func (p *rowSpec) passCells(row *shapedRow, at, n int) int {
	for ; at < shapedPlaces; at++ {
		switch row[at] {
		case p.delim:
			if n--; n == 0 {
				return at + 1
			}
		case p.eol, '"':
			return shapedPlaces
		}
	}
	return at
}

// restOfRow is how far b, which begins at the delimiter behind the volts, goes on to the
// line end; -1 where it may hold more cells than the table. Delimiters in quotes count, too,
// which leaves such a row to others at worst.
func (p *rowSpec) restOfRow(b []byte) int {
	end := bytes.IndexByte(b, p.eol)
	if end < 0 || bytes.Count(b[:end], []byte{p.delim})+p.volt+1 > p.cells {
		return -1
	}
	return end
}
