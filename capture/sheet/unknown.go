package sheet

import (
	"fmt"
	"reflect"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"

	"stillglow/capture"
)

// maxLimits bounds [limits], the one table whose keys this package does not
// know; the criteria are two dozen.
const maxLimits = 200

// unknownKey gives the first key that no sheet has, in one pass over the text,
// before the decoder is let loose on it: the decoder compares every key with
// all its neighbours, and gathers all unknown ones with their places, which on
// many thousand takes minutes. Text that is no TOML is left to the decoder.
func unknownKey(data []byte, path string) error {
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
			c.check(nil, keys, at)
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

// keyValue checks a key, and those of the tables in its value.
func (c *keyCheck) keyValue(n *unstable.Node, table []string) {
	keys, at := c.keyPath(n)
	c.check(table, keys, at)
	if c.err == nil {
		c.value(n.Value(), append(table[:len(table):len(table)], keys...))
	}
}

func (c *keyCheck) value(v *unstable.Node, table []string) {
	if v.Kind != unstable.InlineTable && v.Kind != unstable.Array {
		return
	}
	for it := v.Children(); c.err == nil && it.Next(); {
		if v.Kind == unstable.InlineTable {
			c.keyValue(it.Node(), table)
		} else {
			c.value(it.Node(), table)
		}
	}
}

// check wants keys to be known in table.
func (c *keyCheck) check(table, keys []string, at place) {
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
				return
			}
			t = f.Type
		case reflect.Map:
			if c.limits++; c.limits > maxLimits {
				c.err = &capture.ParseError{Path: c.path, Line: at.line, Column: at.column, Found: fmt.Sprintf("more than %d keys in [limits]", maxLimits), Expected: "the criteria, see \"stillglow target\""}
				return
			}
			t = t.Elem()
		case reflect.Interface:
			c.err = unknownKeyError(c.path, full[:i], k, at)
			return
		default:
			return // a key in what is no table: the decoder's to say
		}
	}
}

// unknownKeyError names the key, its table and the nearest key of that table.
func unknownKeyError(path string, table []string, key string, at place) error {
	e := &capture.ParseError{Path: path, Line: at.line, Column: at.column, Found: fmt.Sprintf("unknown key %q", shortened(key))}
	if len(table) > 0 {
		e.Found += " in [" + shortened(strings.Join(table, ".")) + "]"
	}
	valid := keysOf(table)
	if near := nearest(key, valid); near != "" {
		e.Expected = fmt.Sprintf("%q", near)
	} else if len(valid) > 0 {
		e.Expected = "one of " + strings.Join(valid, ", ")
	}
	return e
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
