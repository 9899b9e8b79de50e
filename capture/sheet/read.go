package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"

	"stillglow/capture"
)

const (
	// MaxBytes is the largest sheet read; a bench of a thousand units fits.
	MaxBytes = 2 << 20
	maxDepth = 16           // nested brackets
	maxDots  = 16           // parts of a dotted key
	maxUnits = 5000         // units in a sheet
	maxTable = 4 * maxUnits // table headers
	maxMask  = 1000         // points of a mask
	maxGroup = 200          // lines of heaters, and of own valves
)

// Read reads the sheet at path and resolves its captures' paths against its
// folder. Files named in the sheet must exist; they are not opened. An error in
// the sheet is a *capture.ParseError with line and column.
func Read(path string) (*Sheet, error) {
	data, err := readBounded(path)
	if err != nil {
		return nil, err
	}
	return Parse(data, path)
}

// ReadAwaiting is Read for a bench that is still being measured: a capture
// whose file is not there yet is left out of its unit and listed in Awaited.
func ReadAwaiting(path string) (*Sheet, error) {
	data, err := readBounded(path)
	if err != nil {
		return nil, err
	}
	return parse(data, path, true)
}

func readBounded(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fileError(path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, &capture.ParseError{Path: path, Found: "a " + kind(info), Expected: "a bench sheet in TOML",
			Fix: "name the sheet itself, or make one with \"stillglow new\""}
	}
	if info.Size() > MaxBytes {
		return nil, tooLong(path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fileError(path, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, MaxBytes+1))
	if err != nil {
		return nil, fileError(path, err)
	}
	return data, nil
}

func tooLong(path string) error {
	return &capture.ParseError{Path: path, Found: fmt.Sprintf("a file of more than %d MiB", MaxBytes>>20),
		Expected: "a bench sheet in TOML", Fix: "captures are named in the sheet, not written into it"}
}

func kind(info fs.FileInfo) string {
	switch m := info.Mode(); {
	case m.IsDir():
		return "folder"
	case m&fs.ModeNamedPipe != 0:
		return "pipe"
	case m&fs.ModeDevice != 0:
		return "device"
	}
	return "special file"
}

// fileError turns what the system says into one line without repeating the path.
func fileError(path string, err error) error {
	e := &capture.ParseError{Path: path, Err: err, Found: "can't be read", Expected: "a bench sheet in TOML"}
	var pe *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Found, e.Fix = "no such file", "check the path, or make a sheet with \"stillglow new\""
	case errors.Is(err, fs.ErrPermission):
		e.Found = "not allowed to read it"
	case errors.As(err, &pe):
		e.Found = pe.Err.Error()
	}
	return e
}

// Parse reads a sheet from memory. path is for messages and for resolving the
// captures' paths; the files named must exist. Errors are those of Read.
func Parse(data []byte, path string) (*Sheet, error) { return parse(data, path, false) }

func parse(data []byte, path string, awaiting bool) (*Sheet, error) {
	if len(data) > MaxBytes {
		return nil, tooLong(path)
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if err := plausible(data, path); err != nil {
		return nil, err
	}
	if err := unknownKey(data, path); err != nil {
		return nil, err
	}
	var raw rawSheet
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields() // there are none left: see unknownKey
	if err := d.Decode(&raw); err != nil {
		return nil, tomlError(err, path)
	}
	b := builder{path: path, dir: filepath.Dir(path), at: places(data), awaiting: awaiting}
	s := b.sheet(&raw)
	if b.err != nil {
		return nil, b.err
	}
	s.Awaited = b.awaited
	return s, nil
}

// plausible refuses what is no text, and nesting deep enough to exhaust a
// recursive parser, before one is let loose on it.
func plausible(data []byte, path string) error {
	fail := func(line, col int, found, expected string) error {
		return &capture.ParseError{Path: path, Line: line, Column: col, Found: found, Expected: expected}
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return &capture.ParseError{Path: path, Found: "an empty file", Expected: "a bench sheet in TOML",
			Fix: "make one with \"stillglow new\""}
	}
	if i := bytes.IndexByte(data, 0); i >= 0 || !utf8.Valid(data) {
		return fail(0, 0, "no UTF-8 text", "a bench sheet in TOML")
	}
	line, col, depth, dots, tables := 1, 0, 0, 0, 0
	var quote byte // the string we are in
	var long, comment bool
	for i := 0; i < len(data); i++ {
		c := data[i]
		col++
		if c == '\n' {
			line, col, dots, comment = line+1, 0, 0, false
			if !long {
				quote = 0
			}
			continue
		}
		if comment {
			continue
		}
		triple := i+2 < len(data) && data[i+1] == c && data[i+2] == c
		switch {
		case quote != 0:
			if c == '\\' && quote == '"' {
				i, col = i+1, col+1
			} else if c == quote && (!long || triple) {
				if long {
					i, col = i+2, col+2
				}
				quote, long = 0, false
			}
		case c == '#':
			comment = true
		case c == '"' || c == '\'':
			quote, long = c, triple
			if triple {
				i, col = i+2, col+2
			}
		case c == '[' || c == '{':
			if col == 1 {
				if tables++; tables > maxTable {
					return fail(line, col, fmt.Sprintf("more than %d tables", maxTable), "a bench sheet")
				}
			}
			if depth++; depth > maxDepth {
				return fail(line, col, "brackets nested too deep", fmt.Sprintf("at most %d levels", maxDepth))
			}
		case c == ']' || c == '}':
			depth = max(0, depth-1)
		case c == '=' || c == ',':
			dots = 0
		case c == '.':
			if dots++; dots > maxDots {
				return fail(line, col, "a key of too many parts", fmt.Sprintf("at most %d", maxDots))
			}
		}
	}
	return nil
}

// tomlError gives the decoder's error in our one-line form.
func tomlError(err error, path string) error {
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, col := de.Position()
		msg := strings.TrimPrefix(de.Error(), "toml: ")
		out := &capture.ParseError{Path: path, Line: line, Column: col, Err: err, Found: firstLine(msg)}
		if m := mistyped.FindStringSubmatch(msg); m != nil {
			out.Found = fmt.Sprintf("%s is a TOML %s", strings.Join(de.Key(), "."), m[1])
			out.Expected = wanted(m[2])
		} else if len(de.Key()) > 0 {
			out.Found = fmt.Sprintf("%s: %s", strings.Join(de.Key(), "."), out.Found)
		}
		return out
	}
	return &capture.ParseError{Path: path, Err: err, Found: firstLine(strings.TrimPrefix(err.Error(), "toml: "))}
}

// mistyped matches the decoder's words for a value of the wrong type.
var mistyped = regexp.MustCompile(`cannot (?:decode|store) (?:TOML |a |an )?(\S+(?: \w+)?) (?:into|in) .*?([\w.\[\]*{}]+)$`)

// wanted names a Go type in the sheet's words.
func wanted(goType string) string {
	switch strings.TrimLeft(goType, "*") {
	case "string":
		return "text in quotes"
	case "float64":
		return "a number"
	case "int":
		return "a whole number"
	case "bool":
		return "true or false"
	}
	return "another kind of value, see \"stillglow new\" for an example"
}

// firstLine is what a message says ahead of its first line end.
func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}
