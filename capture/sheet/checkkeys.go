package sheet

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"

	"stillglow/capture"
)

// maxLimits bounds [limits], the one table whose keys this package does not
// know; the criteria are two dozen.
const maxLimits = 200

// checkKeys gives the first key that no sheet has, or whose value is of another kind
// than the key takes, in one pass over the text, before the decoder is let loose on
// it: the decoder compares every key with all its neighbours, and gathers all unknown
// ones with their places, which on many thousand takes minutes. Text that is no TOML
// is left to the decoder.
func checkKeys(data []byte, path string) error {
	c := keyCheck{walker: newWalker(data), path: path}
	p := &unstable.Parser{}
	p.Reset(data)
	var table []string
	for c.err == nil && p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			keys, at := c.keyPath(e)
			table = keys
			c.header(keys, at, e.Kind == unstable.ArrayTable)
		case unstable.KeyValue:
			c.keyValue(e, table)
		}
	}
	return c.err
}

type keyCheck struct {
	walker
	path   string
	limits int // keys in [limits] so far
	err    error
}

// header checks a table's name, and that no table there is only one of is written as
// one of many.
func (c *keyCheck) header(keys []string, at place, many bool) {
	t := c.typeOf(nil, keys, at)
	for t != nil && t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if c.err == nil && many && t != nil && t.Kind() != reflect.Slice {
		name := strings.Join(keys, ".")
		c.err = &capture.ParseError{Path: c.path, Line: at.line, Column: at.column,
			Found: fmt.Sprintf("[[%s]]", shortened(name)), Expected: fmt.Sprintf("[%s], which a sheet has once", shortened(name))}
	}
}

// keyValue checks a key, its value, and those of the tables in it.
func (c *keyCheck) keyValue(n *unstable.Node, table []string) {
	keys, at := c.keyPath(n)
	full := append(table[:len(table):len(table)], keys...)
	t := c.typeOf(table, keys, at)
	if c.err == nil && t != nil {
		c.value(n.Value(), full, t, at)
	}
}

// value checks a value that begins at at, or where it says itself, against the type
// of its key.
func (c *keyCheck) value(v *unstable.Node, key []string, t reflect.Type, at place) {
	if v.Raw.Length > 0 {
		at = c.place(v.Raw)
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if takes, words := kindsOf(t); !slices.Contains(takes, v.Kind) && takes != nil {
		c.err = &capture.ParseError{Path: c.path, Line: at.line, Column: at.column,
			Found: fmt.Sprintf("%s is a TOML %s", shortened(strings.Join(key, ".")), kindWords[v.Kind]), Expected: words, Fix: numberFix(key, v, t)}
		return
	}
	if v.Kind == unstable.Integer && t.Kind() == reflect.Float64 && len(v.Data) > 1 && strings.ContainsRune("xob", rune(v.Data[1])) {
		c.err = &capture.ParseError{Path: c.path, Line: at.line, Column: at.column,
			Found: fmt.Sprintf("%s = %s", shortened(strings.Join(key, ".")), shortened(string(v.Data))), Expected: "a decimal number"}
		return
	}
	switch v.Kind {
	case unstable.InlineTable:
		for it := v.Children(); c.err == nil && it.Next(); {
			c.keyValue(it.Node(), key)
		}
	case unstable.Array:
		if t.Kind() != reflect.Slice {
			return // of any kind
		}
		for it := v.Children(); c.err == nil && it.Next(); {
			c.value(it.Node(), key, t.Elem(), at)
		}
	}
}

// numberFix says how to write a number that stands in quotes, perhaps with its unit.
func numberFix(key []string, v *unstable.Node, t reflect.Type) string {
	if v.Kind != unstable.String || t.Kind() != reflect.Float64 && t.Kind() != reflect.Int {
		return ""
	}
	text, name := strings.TrimSpace(string(v.Data)), key[len(key)-1]
	if hz, err := capture.ParseHertz(text); err == nil && strings.HasSuffix(name, "_hz") {
		return fmt.Sprintf("write %g", hz)
	}
	return "without quotes" + unitOfKey(" "+name+" =")
}

// kindsOf are the kinds of TOML values that a Go type takes, and what they are in the
// sheet's words; nil takes any.
func kindsOf(t reflect.Type) (takes []unstable.Kind, words string) {
	switch t.Kind() {
	case reflect.String:
		return []unstable.Kind{unstable.String}, "text in quotes"
	case reflect.Float64:
		return []unstable.Kind{unstable.Float, unstable.Integer}, "a number"
	case reflect.Int:
		return []unstable.Kind{unstable.Integer}, "a whole number"
	case reflect.Bool:
		return []unstable.Kind{unstable.Bool}, "true or false"
	case reflect.Slice:
		return []unstable.Kind{unstable.Array}, "a list in brackets"
	case reflect.Struct, reflect.Map:
		return []unstable.Kind{unstable.InlineTable}, "keys in braces, or a table of its own"
	}
	return nil, ""
}

// kindWords are TOML's names of its kinds of values.
var kindWords = map[unstable.Kind]string{unstable.String: "string", unstable.Float: "float", unstable.Integer: "integer", unstable.Bool: "boolean",
	unstable.Array: "array", unstable.InlineTable: "inline table", unstable.LocalDate: "date", unstable.LocalTime: "time",
	unstable.LocalDateTime: "date and time", unstable.DateTime: "date and time"}

// typeOf wants keys to be known in table, and gives the last one's type; nil where
// the decoder is to say more.
func (c *keyCheck) typeOf(table, keys []string, at place) reflect.Type {
	full := append(table[:len(table):len(table)], keys...)
	t := reflect.TypeFor[rawSheet]()
	for i, k := range full {
		for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		switch t.Kind() {
		case reflect.Struct:
			f, ok := fieldOf(t, k)
			if !ok {
				c.err = unknownKeyError(c.path, full[:i], k, at)
				return nil
			}
			t = f.Type
		case reflect.Map:
			if c.limits++; c.limits > maxLimits {
				c.err = &capture.ParseError{Path: c.path, Line: at.line, Column: at.column, Found: fmt.Sprintf("more than %d keys in [limits]", maxLimits), Expected: "the criteria, see \"stillglow target\""}
				return nil
			}
			t = t.Elem()
		case reflect.Interface:
			c.err = unknownKeyError(c.path, full[:i], k, at)
			return nil
		default:
			_, words := kindsOf(t)
			c.err = &capture.ParseError{Path: c.path, Line: at.line, Column: at.column,
				Found: fmt.Sprintf("a key %q inside %s", shortened(k), shortened(strings.Join(full[:i], "."))), Expected: words}
			return nil
		}
	}
	return t
}

// unknownKeyError names the key, its table and the nearest key of that table.
func unknownKeyError(path string, table []string, key string, at place) error {
	e := &capture.ParseError{Path: path, Line: at.line, Column: at.column, Found: fmt.Sprintf("unknown key %q", shortened(key))}
	if len(table) > 0 {
		e.Found += " in [" + shortened(strings.Join(table, ".")) + "]"
	}
	valid := keysOf(table)
	if tables := tablesWith(key); len(tables) > 0 && len(valid) > fewKeys { // known, but elsewhere
		e.Expected, e.Fix = "it in "+strings.Join(tables, " or "), "move the line there"
		return e
	}
	if near := cmp.Or(beginsAs(key, valid), nearest(key, valid)); near != "" {
		e.Expected = fmt.Sprintf("%q", near)
	} else if len(valid) > 0 {
		e.Expected = "one of " + strings.Join(valid, ", ")
	}
	return e
}

// fewKeys are so few that a table's own are all named, whatever else has the key found.
const fewKeys = 3

// beginsAs gives the one key that goes on where found ends: probe for probe_factor.
func beginsAs(found string, valid []string) string {
	one := ""
	for _, k := range valid {
		if len(found) > 2 && strings.HasPrefix(k, strings.ToLower(found)+"_") {
			if one != "" {
				return ""
			}
			one = k
		}
	}
	return one
}

// maxWord is how much of a word a message shows, and how long one may be to be
// looked up.
const maxWord = 60

func shortened(s string) string {
	if r := []rune(s[:min(len(s), 4*maxWord+4)]); len(r) > maxWord {
		return string(r[:maxWord]) + "…"
	}
	return s
}
