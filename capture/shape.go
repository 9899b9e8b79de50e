package capture

import "encoding/binary"

// numberShape is how a number is printed, its sign aside. The zero value is no
// shape and fits nothing.
type numberShape struct {
	whole, frac int  // digits ahead of the decimal mark and behind it; without a mark frac is 0
	exponent    bool // e, a sign and two digits
	tail        int  // bytes from the first digit to the exponent, or the end
	words       int
	word        [shapedWords]digitWord // that digits and mark are read in, from the last digit back
}

// digitWord is eight bytes of a number that are read at once: digits, the decimal mark
// somewhere or nowhere, and perhaps bytes ahead that belong to nothing.
type digitWord struct {
	chars   uint64 // 0 in the place of every digit, and the mark
	own     uint64 // the bytes that belong to the number
	beyond  uint64 // added, a byte that is no digit, or not the mark, passes 127
	ahead   uint64 // the bytes ahead of the mark
	further uint64 // times which, and added, these move a byte on, to where the mark was
	scale   uint64 // 10 to the digits behind this word
}

// Bounds of what is read by shape: what scanNumber's exact way and Eisel-Lemire take.
const (
	shapedWhole  = 8
	shapedDigits = 19
	shapedWords  = 4 // three, 19 digits and a mark, and one that nothing is read in
	// shapedAhead is how many bytes ahead of a row may be read, with the digits of a
	// number that is shorter than two words.
	shapedAhead = 16
	// shapedPlaces, a power of two, is beyond every place in a row, counted from there:
	// two of the longest numbers, 1+20+4 each, the delimiter and a line end of two.
	shapedPlaces = 128
	// shapedReach is how many bytes are read from there on at most.
	shapedReach = shapedPlaces + 40
)

// shapedRow is the text in which a row is read, from shapedAhead bytes ahead of it on;
// shapedNumber that in which a number is, from two words ahead of where its digits end.
type (
	shapedRow    = [shapedReach]byte
	shapedNumber = [40]byte
)

// notDigits is the bits of which one is set in what digitWord.read calls bad.
const notDigits = 0x8080808080808080

// shapeOf is the shape of the number at the start of b, which scanNumber has read
// to end; ok is false where it is none of those read by shape.
func shapeOf(b []byte, end int, decimal byte) (s numberShape, ok bool) {
	i := signBytes(b[0])
	for i < end && b[i]-'0' <= 9 {
		s.whole++
		i++
	}
	s.tail = s.whole
	if i < end && b[i] == decimal {
		for i++; i < end && b[i]-'0' <= 9; i++ {
			s.frac++
		}
		if s.tail += 1 + s.frac; s.frac == 0 {
			return s, false
		}
	}
	s.exponent = i < end
	if s.whole == 0 || s.whole > shapedWhole || s.whole+s.frac > shapedDigits || s.exponent && i+4 != end {
		return s, false
	}
	s.cut(decimal)
	return s, true
}

// signBytes is 1 where c is a sign, else 0, without a branch.
func signBytes(c byte) int {
	var minus, plus int
	if c == '-' {
		minus = 1
	}
	if c == '+' {
		plus = 1
	}
	return minus + plus
}

// cut lays out the words that the digits are read in.
func (s *numberShape) cut(decimal byte) {
	scale := uint64(1)
	for from := s.tail - 8; from > -8; from -= 8 {
		w := digitWord{further: 0xFF, scale: scale}
		for k := max(0, -from); k < 8; k++ {
			char, beyond, bits := byte('0'), uint64(0x76), 8*k
			if from+k == s.whole {
				char, beyond = decimal, 0x7F
			} else {
				scale *= 10
			}
			w.chars |= uint64(char) << bits
			w.own |= 0xFF << bits
			w.beyond |= beyond << bits
		}
		if mark := s.whole - from; mark < 8 {
			w.ahead = w.own & (1<<(8*max(mark, 0)) - 1)
		}
		s.word[s.words] = w
		s.words++
	}
}

// read is the number of the word's digits in the text w; bad has one of the bits
// notDigits where something else is among them.
func (d *digitWord) read(w uint64) (n, bad uint64) {
	w = (w ^ d.chars) & d.own
	bad = w + d.beyond | w
	w += w & d.ahead * d.further
	w = w * (10<<8 + 1) >> 8 & 0x00FF00FF00FF00FF
	w = w * (100<<16 + 1) >> 16 & 0x0000FFFF0000FFFF
	return w * (10000<<32 + 1) >> 32, bad
}

// mantissa is the digits of the number that begins, behind its sign, at b[at], as a whole
// number; ok is false where something else is among them.
func (s *numberShape) mantissa(b *shapedRow, at int) (man uint64, ok bool) {
	at += s.tail
	man, bad := s.word[0].read(binary.LittleEndian.Uint64(b[(at-8)&(shapedPlaces-1):]))
	for k := 1; k < s.words; k++ {
		at -= 8
		w := &s.word[k&3]
		n, odd := w.read(binary.LittleEndian.Uint64(b[(at-8)&(shapedPlaces-1):]))
		man, bad = man+n*w.scale, bad|odd
	}
	return man, bad&notDigits == 0
}

// exponentAt is the power of ten of the last digit of a number of this shape, whose digits
// end before b[at], and the bytes of its exponent; ok is false where it has none and should.
func (s *numberShape) exponentAt(b *shapedRow, at int) (exp10, length int, ok bool) {
	if !s.exponent {
		return -s.frac, 0, true
	}
	e, ok := exponentOf(binary.LittleEndian.Uint32(b[at&(shapedPlaces-1):]))
	return e - s.frac, 4, ok
}

// exponentOf is the exponent that four bytes print: e, a sign and two digits.
func exponentOf(e uint32) (exp int, ok bool) {
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
