package pipeline

import (
	"errors"
	"strings"

	"stillglow/capture"
	"stillglow/capture/sheet"
)

// ErrorList is several errors, each of which gets its own line.
type ErrorList []error

// Error gives all of them in one line.
func (t ErrorList) Error() string {
	lines := make([]string, len(t))
	for i, err := range t {
		lines[i] = err.Error()
	}
	return strings.Join(lines, "; ")
}

// Unwrap gives the errors, for errors.Is and errors.As.
func (t ErrorList) Unwrap() []error { return t }

// atLine names the sheet's line an error is about.
func atLine(s *sheet.Sheet, line int, err error) error {
	var at *capture.ParseError
	if errors.As(err, &at) && at.Path != "" {
		return err
	}
	return &capture.ParseError{Path: s.Path, Line: line, Found: err.Error(), Err: err}
}
