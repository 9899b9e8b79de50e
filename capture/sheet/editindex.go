package sheet

import (
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// index tells where in a sheet's text everything stands, in bytes, by paths such
// as "unit[2].capture[0].load_a".
type index struct {
	data   []byte
	start  map[string]int // first key of a statement or header; an array's element
	tables []tableAt      // in the text's order; the first is the root
	values map[string]valueAt
	inline map[string]extent   // inline tables, braces included
	arrays map[string][]extent // elements of arrays that are scalars or inline tables
}

// extent is a stretch of text, to not included.
type extent struct{ from, to int }

// tableAt is a table written with a header. It ends after the line of its last
// key, or of its header.
type tableAt struct {
	path     string
	from     int // of the header's line
	keysFrom int // after the header's line
	end      int
	keys     int // statements in it
}

// valueAt is one statement: key, equals sign and value.
type valueAt struct {
	extent
	key   int    // of the last part of the key
	value int    // where the value begins
	table string // path of the table with a header, or of the inline table, that it stands in
}

// newIndex walks the text as far as it parses.
func newIndex(data []byte) *index {
	x := &index{data: data, start: map[string]int{}, values: map[string]valueAt{}, inline: map[string]extent{}, arrays: map[string][]extent{}}
	x.tables = []tableAt{{}}
	counts := map[string]int{} // next index of an array of tables
	p := &unstable.Parser{}
	p.Reset(data)
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			x.header(e, counts)
		case unstable.KeyValue:
			t := &x.tables[len(x.tables)-1]
			x.keyValue(e, t.path, t.path)
			t.end, t.keys = x.lineEnd(int(e.Raw.Offset+e.Raw.Length)), t.keys+1
		}
	}
	return x
}

func (x *index) header(e *unstable.Node, counts map[string]int) {
	keys, at, _ := keyParts(e)
	table := tablePath(keys, e.Kind == unstable.ArrayTable, counts)
	x.start[table] = at
	end := x.lineEnd(at)
	x.tables = append(x.tables, tableAt{path: table, from: x.lineStart(at), keysFrom: end, end: end})
}

// keyParts gives the parts of a key, where its first part begins, and its last.
func keyParts(n *unstable.Node) (keys []string, first, last int) {
	for it := n.Key(); it.Next(); {
		k := it.Node()
		last = int(k.Raw.Offset)
		if len(keys) == 0 {
			first = last
		}
		keys = append(keys, string(k.Data))
	}
	return keys, first, last
}

func (x *index) keyValue(n *unstable.Node, prefix, table string) {
	keys, at, last := keyParts(n)
	path := join(prefix, strings.Join(keys, "."))
	x.start[path] = at
	v := valueAt{extent: extent{at, int(n.Raw.Offset + n.Raw.Length)}, key: last, table: table}
	v.value = v.to
	if raw := n.Value().Raw; raw.Length > 0 {
		v.value = int(raw.Offset)
	} else { // an array
		v.value = afterEquals(x.data, last)
	}
	x.values[path] = v
	x.value(n.Value(), path, at, v.value)
}

// value indexes what stands inside a value that begins at from; at is what its
// elements are told to stand at where the parser doesn't say.
func (x *index) value(v *unstable.Node, path string, at, from int) {
	switch v.Kind {
	case unstable.InlineTable:
		x.inline[path] = extent{from, valueEnd(x.data, from)}
		for it := v.Children(); it.Next(); {
			x.keyValue(it.Node(), path, path)
		}
	case unstable.Array:
		i := 0
		for it := v.Children(); it.Next(); i++ {
			c := it.Node()
			item := path + "[" + strconv.Itoa(i) + "]"
			here := at
			if c.Raw.Length > 0 {
				here = int(c.Raw.Offset)
				end := here + int(c.Raw.Length)
				if c.Kind == unstable.InlineTable {
					end = valueEnd(x.data, here)
				}
				x.arrays[path] = append(x.arrays[path], extent{here, end})
			}
			x.start[item] = here
			x.value(c, item, here, here)
		}
	}
}

// afterEquals is where the value begins of the statement whose last key part
// begins at key.
func afterEquals(data []byte, key int) int {
	i := key
	if q := data[i]; q == '"' || q == '\'' {
		i = valueEnd(data, i)
	}
	for i < len(data) && data[i] != '=' {
		i++
	}
	for i++; i < len(data) && (data[i] == ' ' || data[i] == '\t'); i++ {
	}
	return i
}

// valueEnd is the end of the bracketed or quoted value that begins at from.
func valueEnd(data []byte, from int) int {
	depth := 0
	for i := from; i < len(data); i++ {
		switch c := data[i]; c {
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		case '#':
			for i < len(data) && data[i] != '\n' {
				i++
			}
		case '"', '\'':
			i = stringEnd(data, i) - 1
		}
		if depth <= 0 {
			return min(i+1, len(data))
		}
	}
	return len(data)
}

// stringEnd is the end of the string that begins at from.
func stringEnd(data []byte, from int) int {
	q := data[from]
	quote := 1
	if from+2 < len(data) && data[from+1] == q && data[from+2] == q {
		quote = 3
	}
	for i := from + quote; i < len(data); i++ {
		switch {
		case data[i] == '\\' && q == '"':
			i++
		case data[i] == q && quote == 1:
			return i + 1
		case data[i] == q && i+2 < len(data) && data[i+1] == q && data[i+2] == q:
			i += 3
			for i < len(data) && data[i] == q { // quotes may end the text itself
				i++
			}
			return i
		}
	}
	return len(data)
}

func (x *index) lineStart(at int) int {
	for at > 0 && x.data[at-1] != '\n' {
		at--
	}
	return at
}

// lineEnd is after the line break of the line that at stands in.
func (x *index) lineEnd(at int) int {
	for at < len(x.data) && x.data[at] != '\n' {
		at++
	}
	return min(at+1, len(x.data))
}
