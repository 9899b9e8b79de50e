package capture

import (
	"fmt"
	"strings"
	"unicode"
)

// Printable makes text from outside (names in a sheet, in a file's head, of the
// file itself) safe to show anywhere: control characters of both sets, with them
// terminal escapes and the bell, become spaces, characters that steer the
// direction of text or that nobody can see are dropped, and what is not UTF-8
// turns into U+FFFD. Line ends and tabs stay; see OneLine.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		case unicode.IsControl(r), r == '\u2028', r == '\u2029':
			return ' '
		case r == '\u200c' || r == '\u200d': // joiners that some scripts need
			return r
		case unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

// OneLine is Printable without line ends and tabs.
func OneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return ' '
		}
		return r
	}, Printable(s))
}

// Plural is "1 unit" or "3 units".
func Plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// printable is the trace with all that its file says made printable. The samples
// and the hash are as they were.
func (t *Trace) printable() *Trace {
	t.File, t.Layout, t.Channel = OneLine(t.File), OneLine(t.Layout), OneLine(t.Channel)
	t.Acquisition.ModeWhy = OneLine(t.Acquisition.ModeWhy)
	for i := range t.Channels {
		t.Channels[i] = OneLine(t.Channels[i])
	}
	for i := range t.Assumptions {
		a := &t.Assumptions[i]
		a.Value, a.Why = OneLine(a.Value), OneLine(a.Why)
	}
	for i := range t.Cautions {
		c := &t.Cautions[i]
		c.Text, c.Fix = OneLine(c.Text), OneLine(c.Fix)
	}
	return t
}
