package main

import (
	"io"
	"os"

	"golang.org/x/term"

	"stillglow/report"
)

// tableOptions fits a table to where it goes: the terminal's width and colour
// on a terminal (colour unless NO_COLOR is set, see no-color.org), 100 plain
// columns elsewhere.
func tableOptions(w io.Writer) report.TableOptions {
	opt := report.TableOptions{Width: 100}
	f := terminalOf(w)
	if f == nil {
		return opt
	}
	if width, _, err := term.GetSize(int(f.Fd())); err == nil && width > 0 {
		opt.Width = width
	}
	opt.Colour = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
	return opt
}
