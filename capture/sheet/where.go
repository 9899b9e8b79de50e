package sheet

import (
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// place is where a key stands in the sheet, both 1-based.
type place struct{ line, column int }

// placeOf is where a key stands, or the nearest table that holds it.
func placeOf(at map[string]place, key string) place {
	for {
		if p, ok := at[key]; ok {
			return p
		}
		i := strings.LastIndexAny(key, ".[")
		if i < 0 {
			return place{}
		}
		key = key[:i]
	}
}

// Place is where a key such as "unit[2].capture[0].file" stands, or the nearest
// table that holds it; both are 0 where the sheet has neither.
func (s *Sheet) Place(key string) (line, column int) {
	p := placeOf(s.at, key)
	return p.line, p.column
}

// places maps "unit[2].capture[0].load_a" to where it stands. The parse must
// have succeeded before.
func places(data []byte) map[string]place {
	w := newWalker(data)
	counts := map[string]int{} // next index of an array of tables
	p := &unstable.Parser{}
	p.Reset(data)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			keys, at := w.keyPath(e)
			table = tablePath(keys, e.Kind == unstable.ArrayTable, counts)
			w.at[table] = at
		case unstable.KeyValue:
			w.keyValue(e, table)
		}
	}
	return w.at
}

// walker collects places; breaks holds the offsets of the line ends.
type walker struct {
	at     map[string]place
	breaks []int
}

func newWalker(data []byte) walker {
	w := walker{at: map[string]place{}, breaks: []int{-1}}
	for i, c := range data {
		if c == '\n' {
			w.breaks = append(w.breaks, i)
		}
	}
	return w
}

func (w *walker) place(r unstable.Range) place {
	line, _ := slices.BinarySearch(w.breaks, int(r.Offset))
	return place{line, int(r.Offset) - w.breaks[line-1]}
}

func join(table, key string) string {
	if table == "" {
		return key
	}
	return table + "." + key
}

func (w *walker) keyPath(n *unstable.Node) (keys []string, at place) {
	for it := n.Key(); it.Next(); {
		k := it.Node()
		if len(keys) == 0 {
			at = w.place(k.Raw)
		}
		keys = append(keys, string(k.Data))
	}
	return keys, at
}

func (w *walker) keyValue(n *unstable.Node, table string) {
	keys, at := w.keyPath(n)
	path := join(table, strings.Join(keys, "."))
	w.at[path] = at
	w.value(n.Value(), path, at)
}

func (w *walker) value(v *unstable.Node, path string, at place) {
	switch v.Kind {
	case unstable.InlineTable:
		for it := v.Children(); it.Next(); {
			w.keyValue(it.Node(), path)
		}
	case unstable.Array:
		i := 0
		for it := v.Children(); it.Next(); i++ {
			c := it.Node()
			here := at
			if c.Raw.Length > 0 {
				here = w.place(c.Raw)
			}
			item := path + "[" + strconv.Itoa(i) + "]"
			w.at[item] = here
			w.value(c, item, here)
		}
	}
}

// tablePath is a header's path with the place of every array table in it; counts
// holds how many of each were seen, an array's own header among them.
func tablePath(keys []string, array bool, counts map[string]int) string {
	table := ""
	for i, k := range keys {
		table = join(table, k)
		if array && i == len(keys)-1 {
			n := counts[table]
			counts[table] = n + 1
			table += "[" + strconv.Itoa(n) + "]"
		} else if n := counts[table]; n > 0 {
			table += "[" + strconv.Itoa(n-1) + "]"
		}
	}
	return table
}
