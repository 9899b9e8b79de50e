package capture

import (
	"fmt"
	"strings"
)

// ParseError is a place in a file that does not read. It prints as one line:
// path:line:column: what was found, what was expected; what to do.
type ParseError struct {
	Path     string // as given
	Line     int    // 1-based, 0 when there are no lines (a WAV)
	Column   int    // 1-based cell or character, 0 unknown
	Offset   int64  // byte offset in a binary file; used when Line is 0 and Offset > 0
	Found    string // what stands there
	Expected string // what would read, optional
	Fix      string // what to do, optional
	Err      error  // underlying error, optional
}

// Error gives the one line shown to the user.
func (e *ParseError) Error() string {
	var b strings.Builder
	b.WriteString(e.Path)
	switch {
	case e.Line > 0:
		fmt.Fprintf(&b, ":%d", e.Line)
		if e.Column > 0 {
			fmt.Fprintf(&b, ":%d", e.Column)
		}
	case e.Offset > 0:
		fmt.Fprintf(&b, ": byte %d", e.Offset)
	}
	b.WriteString(": ")
	b.WriteString(e.Found)
	if e.Expected != "" {
		b.WriteString(", expected ")
		b.WriteString(e.Expected)
	}
	if e.Fix != "" {
		b.WriteString("; ")
		b.WriteString(e.Fix)
	}
	return b.String()
}

// Unwrap gives the underlying error, if any.
func (e *ParseError) Unwrap() error { return e.Err }
