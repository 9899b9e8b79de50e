package sheet

import "fmt"

// nesting goes through a text byte by byte, past strings and comments, and counts
// what a parser may recurse on.
type nesting struct {
	line, column        int
	depth, dots, tables int
	quote               byte // of the string we are in
	long, comment       bool // of three quotes; in a comment

	found, expected string // what is too much
}

// step takes the next byte of what rest begins with, and tells how many more it took
// along.
func (n *nesting) step(rest []byte) (more int) {
	c := rest[0]
	triple := len(rest) > 2 && rest[1] == c && rest[2] == c
	switch {
	case c == '\n':
		n.line, n.column, n.dots, n.comment = n.line+1, 0, 0, false
		if !n.long {
			n.quote = 0
		}
	case n.comment:
	case n.quote != 0:
		return n.inString(c, triple)
	case c == '#':
		n.comment = true
	case c == '"' || c == '\'':
		n.quote, n.long = c, triple
		if triple {
			return 2
		}
	default:
		n.outside(c)
	}
	return 0
}

// inString passes a byte inside a string.
func (n *nesting) inString(c byte, triple bool) (more int) {
	switch {
	case c == '\\' && n.quote == '"':
		return 1
	case c != n.quote || n.long && !triple:
		return 0
	case n.long:
		more = 2
	}
	n.quote, n.long = 0, false
	return more
}

// outside counts a byte outside of strings and comments.
func (n *nesting) outside(c byte) {
	switch c {
	case '[', '{':
		if n.column == 1 {
			n.tables++
		}
		n.depth++
	case ']', '}':
		n.depth = max(0, n.depth-1)
	case '=', ',':
		n.dots = 0
	case '.':
		n.dots++
	}
	switch {
	case n.tables > maxTable:
		n.found, n.expected = fmt.Sprintf("more than %d tables", maxTable), "a bench sheet"
	case n.depth > maxDepth:
		n.found, n.expected = "brackets nested too deeply", fmt.Sprintf("at most %d levels", maxDepth)
	case n.dots > maxDots:
		n.found, n.expected = "a key of too many parts", fmt.Sprintf("at most %d", maxDots)
	}
}
