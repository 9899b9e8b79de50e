package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"regexp"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
)

// printableWriter is the last gate before a terminal or a pipe: whatever a name
// from outside holds, no control character, no escape sequence but the colours
// and the clearing that the tool itself uses on a terminal, and nothing that
// turns the direction of text gets through. It keeps the first write error,
// which ends the run with an error of its own.
type printableWriter struct {
	w        io.Writer
	terminal bool
	part     []byte // of a rune that the next write completes
	err      error
}

func newPrintableWriter(w io.Writer) *printableWriter {
	p := &printableWriter{w: w}
	if f, ok := w.(*os.File); ok {
		p.terminal = term.IsTerminal(int(f.Fd()))
	}
	return p
}

// ownEscape matches the sequences that the tool writes: colours, and to the top
// and clear.
var ownEscape = regexp.MustCompile("^\x1b\\[[0-9;]*[mHJ]")

func (p *printableWriter) Write(b []byte) (int, error) {
	if p.err != nil {
		return 0, p.err
	}
	data := append(p.part, b...)
	p.part = nil
	var out bytes.Buffer
	out.Grow(len(data))
	for len(data) > 0 {
		if n := plainLength(data); n > 0 {
			out.Write(data[:n])
			data = data[n:]
			continue
		}
		if data[0] == 0x1b && p.terminal {
			if own := ownEscape.Find(data); own != nil {
				out.Write(own)
				data = data[len(own):]
				continue
			}
		}
		r, n := utf8.DecodeRune(data)
		if r == utf8.RuneError && n == 1 && !utf8.FullRune(data) {
			p.part = bytes.Clone(data)
			break
		}
		writePrintable(&out, r)
		data = data[n:]
	}
	if _, err := p.w.Write(out.Bytes()); err != nil {
		p.err = err
		return 0, err
	}
	return len(b), nil
}

// plainLength is how many bytes at the start of b are printable ASCII or line ends:
// nearly all, and good as they are.
func plainLength(b []byte) int {
	for i, c := range b {
		if c != '\n' && (c < ' ' || c > '~') {
			return i
		}
	}
	return len(b)
}

// writePrintable is capture.Printable for one rune, but for the isolates that
// the tool puts around a name in a right-to-left script and the joiner that it
// puts into addresses.
func writePrintable(out *bytes.Buffer, r rune) {
	switch {
	case r == '\n', r == '\t', r == '\u2068', r == '\u2069', r == '\u2060', r == '\u200c', r == '\u200d':
		out.WriteRune(r)
	case unicode.IsControl(r), r == '\u2028', r == '\u2029':
		out.WriteByte(' ')
	case unicode.Is(unicode.Cf, r):
	default:
		out.WriteRune(r)
	}
}

// finish writes what is left of a rune that never was completed, and gives the
// first error of all writes.
func (p *printableWriter) finish() error {
	if len(p.part) > 0 {
		p.part = nil
		_, _ = p.Write([]byte("\uFFFD"))
	}
	return p.err
}

// isWriteError reports whether err is what a write to stdout ended with.
func isWriteError(stdout io.Writer, err error) bool {
	p, ok := stdout.(*printableWriter)
	return ok && p.err != nil && errors.Is(err, p.err)
}

// terminalOf gives the terminal that w writes to; nil where it is none.
func terminalOf(w io.Writer) *os.File {
	if p, ok := w.(*printableWriter); ok {
		w = p.w
	}
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return f
	}
	return nil
}
