package sheet

import (
	"bytes"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

func decodeAny(body []byte, into *map[string]any) error { return toml.Unmarshal(body, into) }

// splice puts text in the place of what stands from one byte to another. A text
// that would be no TOML leaves everything as it was.
func (t *Text) splice(from, to int, text string) error {
	old := t.x.data
	data := make([]byte, 0, len(old)+len(text))
	data = append(append(append(data, old[:from]...), text...), old[to:]...)
	if err := wellFormed(data, ""); err != nil {
		return err
	}
	t.x = newIndex(data)
	return nil
}

func (t *Text) eol() string {
	if t.crlf {
		return "\r\n"
	}
	return "\n"
}

// insertKey writes a key that its table doesn't have yet.
func (t *Text) insertKey(table, key, text string) error {
	if e, ok := t.x.inline[table]; ok {
		return t.addItem(e, key+" = "+text)
	}
	// The last header wins: a table has one, an array's element its own.
	for i := len(t.x.tables) - 1; i >= 0; i-- {
		tb := t.x.tables[i]
		if tb.path != table || table == "" && tb.keys == 0 {
			continue
		}
		return t.insertLine(tb.end, t.like(table, key)+" = "+text)
	}
	if table == "" {
		return t.insertLine(t.afterOpening(), key+" = "+text)
	}
	// Written with dotted keys somewhere above?
	last := -1
	var dotted valueAt
	for path, v := range t.x.values {
		if parentOf(path) == table && v.table != table && v.from > last {
			last, dotted = v.from, v
		}
	}
	if last >= 0 {
		return t.insertLine(t.x.lineEnd(dotted.to), string(t.x.data[dotted.from:dotted.key])+key+" = "+text)
	}
	block, err := t.block("["+bare(table)+"]", Fields{{key, Literal(text)}})
	if err != nil {
		return err
	}
	at := t.beforeUnits()
	if parent := parentOf(table); parent != "" && t.extentEnd(parent) > 0 {
		at = t.afterComments(t.extentEnd(parent))
	}
	return t.insertBlock(at, block, true)
}

// like spells a key with the indentation and the column of the equals sign that
// the table's last statement has.
func (t *Text) like(table, key string) string {
	last := valueAt{}
	for _, v := range t.x.values {
		if v.table == table && v.from >= last.from && t.x.start[table] <= v.from {
			last = v
		}
	}
	line := t.x.data[t.x.lineStart(last.from):last.value]
	indent := line[:len(line)-len(bytes.TrimLeft(line, " \t"))]
	if equals := bytes.IndexByte(line, '='); equals > 0 && len(indent)+len(key) < equals {
		return string(indent) + key + strings.Repeat(" ", equals-1-len(indent)-len(key))
	}
	return string(indent) + key
}

// insertLine puts a line before the one that begins at at, or after the last.
func (t *Text) insertLine(at int, line string) error {
	if at > 0 && at == len(t.x.data) && t.x.data[at-1] != '\n' {
		line = t.eol() + line
		return t.splice(at, at, line)
	}
	return t.splice(at, at, line+t.eol())
}

// block spells a table with its header.
func (t *Text) block(header string, fields Fields) (string, error) {
	wide := 0
	for _, f := range fields {
		wide = max(wide, len(f.Key))
	}
	var b strings.Builder
	b.WriteString(header + t.eol())
	for _, f := range fields {
		text, err := literal(f.Value)
		if err != nil {
			return "", err
		}
		b.WriteString(f.Key + strings.Repeat(" ", wide-len(f.Key)) + " = " + text + t.eol())
	}
	return b.String(), nil
}

// insertBlock puts a table at a line's beginning, apart from what stands before
// it and, when apart, from what follows.
func (t *Text) insertBlock(at int, block string, apart bool) error {
	before := t.x.data[:at]
	if len(before) > 0 && before[len(before)-1] != '\n' {
		block = t.eol() + block
	}
	blank := func(b []byte) bool { return len(bytes.TrimSpace(b)) == 0 }
	if apart {
		if at > 0 && !blank(t.x.data[t.x.lineStart(at-1):at]) {
			block = t.eol() + block
		}
		if at < len(t.x.data) && !blank(t.x.data[at:t.x.lineEnd(at)]) {
			block += t.eol()
		}
	}
	return t.splice(at, at, block)
}

// extentEnd is where a table and all tables inside it end, 0 when none is written
// with a header.
func (t *Text) extentEnd(path string) int {
	end := 0
	for i, tb := range t.x.tables {
		if i > 0 && (tb.path == path || strings.HasPrefix(tb.path, path+".") || strings.HasPrefix(tb.path, path+"[")) {
			end = max(end, tb.end)
		}
	}
	return end
}

// afterComments passes the comment lines that follow at directly, unless they run
// into a header or a key and so belong to it.
func (t *Text) afterComments(at int) int {
	i := at
	for i < len(t.x.data) {
		end := t.x.lineEnd(i)
		line := bytes.TrimSpace(t.x.data[i:end])
		switch {
		case len(line) == 0:
			return i
		case line[0] != '#':
			return at
		}
		i = end
	}
	return i
}

// beforeUnits is where a table of the whole bench goes: before the first unit and
// the comment on it, else at the end.
func (t *Text) beforeUnits() int {
	for _, tb := range t.x.tables {
		if !strings.HasPrefix(tb.path, "unit[") {
			continue
		}
		at := tb.from
		for at > 0 {
			line := t.x.lineStart(at - 1)
			if s := bytes.TrimSpace(t.x.data[line:at]); len(s) == 0 || s[0] != '#' {
				break
			}
			at = line
		}
		return at
	}
	return len(t.x.data)
}

// withBlank takes the blank line before a table that goes along with it, where one
// stands after it too or nothing follows.
func (t *Text) withBlank(from, end int) int {
	blank := func(line int) bool { return len(bytes.TrimSpace(t.x.data[line:t.x.lineEnd(line)])) == 0 }
	if from == 0 || end < len(t.x.data) && !blank(end) {
		return from
	}
	if before := t.x.lineStart(from - 1); blank(before) {
		return before
	}
	return from
}

// afterOpening is where the first key of a sheet without any goes: after the
// comments it opens with, if a blank line sets them apart.
func (t *Text) afterOpening() int {
	at := t.afterComments(0)
	if at > 0 && at < len(t.x.data) {
		return t.x.lineEnd(at) // the blank line
	}
	return at
}

// cutStatement takes a statement's lines away; a comment behind it stays.
func (t *Text) cutStatement(v extent) error {
	from, end := t.x.lineStart(v.from), t.x.lineEnd(v.to)
	rest := t.x.data[v.to:end]
	if i := bytes.IndexByte(rest, '#'); i >= 0 {
		return t.splice(from, v.to+i, "")
	}
	return t.splice(from, end, "")
}

// cutItem takes an item out of a bracketed list with the comma that goes with it.
func (t *Text) cutItem(item, list extent) error {
	from, to := item.from, item.to
	after := to
	for after < list.to && (t.x.data[after] == ' ' || t.x.data[after] == '\t') {
		after++
	}
	if after < list.to && t.x.data[after] == ',' {
		to = after + 1
		for to < list.to && t.x.data[to] == ' ' {
			to++
		}
		return t.splice(from, to, "")
	}
	// The last one: the comma before it goes, and blanks between, but no comment.
	before := from
	for before > list.from && strings.IndexByte(" \t\r\n", t.x.data[before-1]) >= 0 {
		before--
	}
	if before > list.from && t.x.data[before-1] == ',' {
		from = before - 1
	}
	return t.splice(from, to, "")
}

// addItem puts an item at the end of an inline table.
func (t *Text) addItem(e extent, item string) error {
	at := e.to - 1
	for at > e.from+1 && strings.IndexByte(" \t\r\n", t.x.data[at-1]) >= 0 {
		at--
	}
	if at == e.from+1 {
		return t.splice(at, e.to-1, " "+item+" ")
	}
	return t.splice(at, at, ", "+item)
}

// appendItem puts an inline table at the end of an array.
func (t *Text) appendItem(array string, v valueAt, item string) error {
	items := t.x.arrays[array]
	if len(items) == 0 {
		return t.splice(v.value+1, v.value+1, item)
	}
	last := items[len(items)-1]
	if len(items) > 1 { // one line each, where the others have
		gap := t.x.data[items[len(items)-2].to:last.from]
		if i := bytes.LastIndexByte(gap, '\n'); i >= 0 {
			return t.splice(last.to, last.to, ","+t.eol()+string(gap[i+1:])+item)
		}
	}
	return t.splice(last.to, last.to, ", "+item)
}
