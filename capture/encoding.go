package capture

import (
	"bytes"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// encoding is how a text file's characters are stored. The rows need only
// ASCII; names and units may hold a micro sign.
type encoding uint8

const (
	encUTF8 encoding = iota // or Latin-1: told apart cell by cell
	encUTF16LE
	encUTF16BE
)

// detectEncoding looks at the first bytes; skip is the length of the mark.
func detectEncoding(b []byte) (enc encoding, skip int, binary bool) {
	switch {
	case bytes.HasPrefix(b, []byte("\xef\xbb\xbf")):
		return encUTF8, 3, false
	case bytes.HasPrefix(b, []byte("\xff\xfe")):
		return encUTF16LE, 2, false
	case bytes.HasPrefix(b, []byte("\xfe\xff")):
		return encUTF16BE, 2, false
	}
	b = b[:min(len(b), 4096)]
	even, odd, control := oddBytes(b)
	half := len(b) / 2
	switch {
	case odd*10 >= half*8 && odd > 1 && even*10 <= half:
		return encUTF16LE, 0, false
	case even*10 >= half*8 && even > 1 && odd*10 <= half:
		return encUTF16BE, 0, false
	}
	return encUTF8, 0, even+odd > 0 || control*50 > len(b)
}

// oddBytes counts zeros at even and at odd places, and control characters that
// text does not hold.
func oddBytes(b []byte) (even, odd, control int) {
	for i, c := range b {
		switch {
		case c == 0 && i%2 == 0:
			even++
		case c == 0:
			odd++
		case c < 32 && bytes.IndexByte([]byte("\t\n\r\f\x1a"), c) < 0:
			control++
		}
	}
	return even, odd, control
}

// decode gives the text behind r, without its byte order mark.
func (e encoding) decode(r io.Reader, skip int) (io.Reader, error) {
	if skip > 0 {
		if _, err := io.CopyN(io.Discard, r, int64(skip)); err != nil {
			return nil, err
		}
	}
	switch e {
	case encUTF16LE:
		return transform.NewReader(r, unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewDecoder()), nil
	case encUTF16BE:
		return transform.NewReader(r, unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewDecoder()), nil
	}
	return r, nil
}

func (e encoding) String() string {
	switch e {
	case encUTF16LE:
		return "UTF-16 little-endian"
	case encUTF16BE:
		return "UTF-16 big-endian"
	}
	return "UTF-8 or Latin-1"
}

// cellText makes a string of a cell: bytes that are not UTF-8 are Latin-1,
// where the micro sign is 0xB5.
func cellText(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	if cyrillic(b) {
		if s, err := charmap.Windows1251.NewDecoder().Bytes(b); err == nil {
			return string(s)
		}
	}
	var s strings.Builder
	for _, c := range b {
		s.WriteRune(rune(c))
	}
	return s.String()
}

// cyrillicRun is how many letters beyond ASCII in a row no word of a Latin alphabet has.
const cyrillicRun = 4

// cyrillic reports whether bytes that are not UTF-8 can only be Cyrillic words in
// Windows-1251, whose letters are 0xC0 to 0xFF.
func cyrillic(b []byte) bool {
	run := 0
	for _, c := range b {
		if run++; c < 0xC0 {
			run = 0
		}
		if run == cyrillicRun {
			return true
		}
	}
	return false
}

// textLine is one line of the head of a file.
type textLine struct {
	start, end int // bytes in the head, line end excluded
	number     int // 1-based
}

// textHead is the beginning of the decoded text.
type textHead struct {
	b     []byte
	eof   bool // b is the whole text
	eol   byte // '\n', or '\r' in files of old machines
	lines []textLine
}

func (h *textHead) line(i int) []byte { return h.b[h.lines[i].start:h.lines[i].end] }

// maxQuotedLines is how far a quoted cell may reach over line ends.
const maxQuotedLines = 20

// maxHeadLines bounds the lines of a head: a file of nothing but line ends must
// not make a list many times its size.
const maxHeadLines = 1 << 19

// split finds the lines; a quoted cell may hold line ends (RFC 4180).
func (h *textHead) split() {
	h.eol = '\n'
	if bytes.IndexByte(h.b, '\n') < 0 && bytes.IndexByte(h.b, '\r') >= 0 {
		h.eol = '\r'
	}
	h.lines = h.lines[:0]
	for i, n := 0, 1; i < len(h.b); n++ {
		if len(h.lines) == maxHeadLines {
			h.b, h.eof = h.b[:i], false
			break
		}
		e := bytes.IndexByte(h.b[i:], h.eol)
		next := i + e + 1
		if e < 0 {
			if !h.eof {
				break // cut by the head's size
			}
			e, next = len(h.b)-i, len(h.b)
		}
		l := textLine{i, i + e, n}
		if bytes.Count(h.b[i:i+e], []byte{'"'})%2 == 1 {
			// Look for the closing quote a few lines on.
			for k, j := 0, next; k < maxQuotedLines && j < len(h.b); k++ {
				e2 := bytes.IndexByte(h.b[j:], h.eol)
				if e2 < 0 {
					e2 = len(h.b) - j - 1
				}
				if bytes.Count(h.b[j:j+e2], []byte{'"'})%2 == 1 {
					l.end, next = j+e2, j+e2+1
					n += k + 1
					break
				}
				j += e2 + 1
			}
		}
		for l.end > l.start && h.b[l.end-1] == '\r' {
			l.end--
		}
		h.lines = append(h.lines, l)
		i = next
	}
}
