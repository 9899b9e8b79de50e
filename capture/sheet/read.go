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
	if err := checkKeys(data, path); err != nil {
		return nil, err
	}
	var raw rawSheet
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields() // there are none left: see checkKeys
	if err := d.Decode(&raw); err != nil {
		return nil, tomlError(err, path, data)
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
	if len(bytes.TrimSpace(data)) == 0 {
		return &capture.ParseError{Path: path, Found: "an empty file", Expected: "a bench sheet in TOML",
			Fix: "make one with \"stillglow new\""}
	}
	if what := captureInstead(data, path); what != "" {
		return &capture.ParseError{Path: path, Found: what, Expected: "a bench sheet in TOML",
			Fix: fmt.Sprintf("name the sheet that lists it; \"stillglow measure %s\" reads a capture by itself", capture.OneLine(path))}
	}
	if i := bytes.IndexByte(data, 0); i >= 0 || !utf8.Valid(data) {
		return &capture.ParseError{Path: path, Found: "text that is not UTF-8", Expected: "a bench sheet in TOML", Fix: "save it as UTF-8 in the editor"}
	}
	n := nesting{line: 1}
	for i := 0; i < len(data); i++ {
		n.column++
		more := n.step(data[i:])
		i, n.column = i+more, n.column+more
		if n.found != "" {
			return &capture.ParseError{Path: path, Line: n.line, Column: n.column, Found: n.found, Expected: n.expected}
		}
	}
	return nil
}

// captureInstead says that a capture was given for the sheet, "" where it was none: by
// its first bytes, or by lines of which none begins as a table or a key does.
func captureInstead(data []byte, path string) string {
	switch {
	case bytes.HasPrefix(data, []byte("RIFF")):
		return "a sound file"
	case bytes.HasPrefix(data, []byte{0x1f, 0x8b}):
		return "a gzipped file, which captures are"
	}
	switch strings.ToLower(filepath.Ext(path)) {
	case ".toml":
		return ""
	case ".csv", ".tsv", ".wav", ".gz":
		return "a capture, by its name"
	}
	rows := 0
	for line := range bytes.Lines(data[:min(len(data), 4096)]) {
		line = bytes.TrimSpace(line)
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		if tableOrKey.Match(line) {
			return ""
		}
		rows++
	}
	if rows > 1 {
		return "rows of text or numbers, as a capture has them"
	}
	return ""
}

// tableOrKey matches a line of TOML that begins a table or gives a key its value, or would
// but for a slip.
var tableOrKey = regexp.MustCompile(`^(\[|[A-Za-z0-9_."'-]+\s*[=:])`)

// tomlError gives the decoder's error in our one-line form. Values of the wrong kind
// are told before it sees them: see checkKeys.
func tomlError(err error, path string, data []byte) error {
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, col := de.Position()
		out := &capture.ParseError{Path: path, Line: line, Column: col, Err: err, Found: firstLine(strings.TrimPrefix(de.Error(), "toml: "))}
		if len(de.Key()) > 0 {
			out.Found = fmt.Sprintf("%s: %s", strings.Join(de.Key(), "."), out.Found)
		}
		return explain(out, data)
	}
	return &capture.ParseError{Path: path, Err: err, Found: firstLine(strings.TrimPrefix(err.Error(), "toml: "))}
}

// firstLine is what a message says ahead of its first line end.
func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}
