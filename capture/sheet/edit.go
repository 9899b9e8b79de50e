package sheet

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"stillglow/capture"
)

// Text is a bench sheet's text under an editor that changes single values and
// leaves every other byte as it stands: comments, order, spacing and the user's
// own way of writing TOML. Places are named by paths such as
// "unit[2].capture[0].load_a".
type Text struct {
	bom, crlf bool
	x         *index
}

// Field is one key with its value: a string, bool, int, float64, []Fields or
// Literal.
type Field struct {
	Key   string // of the sheet
	Value any    // as TOML
}

// Fields are a table's keys in order.
type Fields []Field

// Literal is a value as TOML spells it, taken from a sheet.
type Literal string

var byteOrderMark = []byte("\xef\xbb\xbf")

// NewText takes a sheet's text. It must be TOML; the error is a
// *capture.ParseError with line and column. Whether it makes a sheet is for Check
// to say.
func NewText(data []byte, path string) (*Text, error) {
	t := &Text{bom: bytes.HasPrefix(data, byteOrderMark), crlf: bytes.Contains(data, []byte("\r\n"))}
	body := bytes.Clone(bytes.TrimPrefix(data, byteOrderMark))
	if err := wellFormed(body, path); err != nil {
		return nil, err
	}
	t.x = newIndex(body)
	return t, nil
}

// wellFormed reports whether a text is TOML that may be indexed. An empty one is.
func wellFormed(body []byte, path string) error {
	if len(body) > MaxBytes {
		return tooLong(path)
	}
	if len(bytes.TrimSpace(body)) == 0 {
		return nil
	}
	if err := plausible(body, path); err != nil {
		return err
	}
	return syntax(body, path)
}

// Bytes is the text as it is to be written.
func (t *Text) Bytes() []byte {
	if t.bom {
		return append(bytes.Clone(byteOrderMark), t.x.data...)
	}
	return bytes.Clone(t.x.data)
}

// Sheet reads the text as a sheet at path whose captures need not be there yet.
func (t *Text) Sheet(path string) (*Sheet, error) {
	if len(bytes.TrimSpace(t.x.data)) == 0 {
		return &Sheet{Path: path, Dir: filepath.Dir(path)}, nil
	}
	return parse(t.x.data, path, true)
}

// Has reports whether a key, table or element is written.
func (t *Text) Has(path string) bool { _, ok := t.x.start[path]; return ok }

// Count is how many elements an array of tables or of inline tables has.
func (t *Text) Count(array string) int {
	n := 0
	for t.Has(array + "[" + strconv.Itoa(n) + "]") {
		n++
	}
	return n
}

// Fields gives a table's own keys, each as it is written.
func (t *Text) Fields(table string) Fields {
	var out Fields
	var at []int
	for path, v := range t.x.values {
		if v.table != table || parentOf(path) != table {
			continue
		}
		f := Field{lastKey(path), Literal(t.x.data[v.value:v.to])}
		i, _ := slices.BinarySearch(at, v.from)
		at, out = slices.Insert(at, i, v.from), slices.Insert(out, i, f)
	}
	return out
}

// Set writes a value: over the one that stands there, else as a new key of its
// table, which is made where it is missing.
func (t *Text) Set(path string, value any) error {
	text, err := literal(value)
	if err != nil {
		return err
	}
	if v, ok := t.x.values[path]; ok {
		return t.splice(v.value, v.to, text)
	}
	key := lastKey(path)
	if !bareKey.MatchString(key) {
		return fmt.Errorf("sheet: %q is no key", key)
	}
	return t.insertKey(parentOf(path), key, text)
}

// Remove takes away a key, an element of an array, or a table with all that
// belongs to it. A comment behind a key stays, on a line of its own; comments
// inside a table go with it.
func (t *Text) Remove(path string) error {
	if v, ok := t.x.values[path]; ok {
		if e, inside := t.x.inline[v.table]; inside && v.table == parentOf(path) {
			return t.cutItem(v.extent, e)
		}
		return t.cutStatement(v.extent)
	}
	if array, n, ok := element(path); ok && n < len(t.x.arrays[array]) {
		return t.cutItem(t.x.arrays[array][n], extent{t.x.values[array].value, t.x.values[array].to})
	}
	for i, tb := range t.x.tables {
		if i > 0 && tb.path == path {
			return t.splice(t.withBlank(tb.from, t.extentEnd(path)), t.extentEnd(path), "")
		}
	}
	return nil
}

// Append adds an element to an array of tables such as "unit" or
// "unit[0].capture", written the way the array is written already, and gives its
// path.
func (t *Text) Append(array string, fields Fields) (string, error) {
	path := array + "[" + strconv.Itoa(t.Count(array)) + "]"
	if v, ok := t.x.values[array]; ok {
		text, err := literal(fields)
		if err != nil {
			return "", err
		}
		return path, t.appendItem(array, v, text)
	}
	parent := parentOf(array)
	if _, inside := t.x.inline[parent]; inside {
		return path, t.Set(array, []Fields{fields})
	}
	block, err := t.block("[["+bare(array)+"]]", fields)
	if err != nil {
		return "", err
	}
	at, apart := len(t.x.data), !strings.Contains(array, ".")
	switch n := t.Count(array); {
	case n > 0:
		at = t.afterComments(t.extentEnd(array + "[" + strconv.Itoa(n-1) + "]"))
	case parent != "" && t.extentEnd(parent) > 0:
		at = t.afterComments(t.extentEnd(parent))
	case parent != "":
		at, apart = t.beforeUnits(), true
	}
	return path, t.insertBlock(at, block, apart)
}

// literal spells a value in TOML.
func literal(value any) (string, error) {
	switch v := value.(type) {
	case Literal:
		return string(v), nil
	case string:
		return Quote(v), nil
	case bool:
		return strconv.FormatBool(v), nil
	case int:
		return strconv.Itoa(v), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "", fmt.Errorf("found %g, expected a finite number", v)
		}
		return Number(v), nil
	case Fields:
		parts := make([]string, len(v))
		for i, f := range v {
			text, err := literal(f.Value)
			if err != nil {
				return "", err
			}
			parts[i] = f.Key + " = " + text
		}
		return "{ " + strings.Join(parts, ", ") + " }", nil
	case []Fields:
		parts := make([]string, len(v))
		for i, f := range v {
			text, err := literal(f)
			if err != nil {
				return "", err
			}
			parts[i] = text
		}
		return "[" + strings.Join(parts, ", ") + "]", nil
	}
	return "", fmt.Errorf("sheet: %T has no TOML spelling here", value)
}

// Quote spells text as a TOML basic string.
func Quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), r == '\u2028', r == '\u2029', r == '\uFFFD':
			fmt.Fprintf(&b, `\U%08X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

var (
	bareKey  = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)
	indexAt  = regexp.MustCompile(`\[\d+\]`)
	anyIndex = regexp.MustCompile(`^(.*)\[(\d+)\]$`)
)

// bare is a path as a header spells it.
func bare(path string) string { return indexAt.ReplaceAllString(path, "") }

func parentOf(path string) string {
	if i := strings.LastIndexByte(path, '.'); i >= 0 {
		return path[:i]
	}
	return ""
}

func lastKey(path string) string { return path[strings.LastIndexByte(path, '.')+1:] }

// element takes "unit[0].readings[2]" apart.
func element(path string) (array string, n int, ok bool) {
	m := anyIndex.FindStringSubmatch(path)
	if m == nil {
		return "", 0, false
	}
	n, err := strconv.Atoi(m[2])
	return m[1], n, err == nil
}

// Check reports whether the text makes a sheet; files that it names need not be
// there.
func (t *Text) Check(path string) error {
	_, err := t.Sheet(path)
	return err
}

// syntax gives the parser's error as a ParseError with the file's path.
func syntax(body []byte, path string) error {
	var any map[string]any
	err := decodeAny(body, &any)
	if err == nil {
		return nil
	}
	err = tomlError(err, path, body)
	if at, ok := err.(*capture.ParseError); ok && at.Fix == "" {
		at.Fix = "correct it in a text editor, or undo the last change"
	}
	return err
}
