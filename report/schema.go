package report

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"text/template"

	"stillglow/analysis"
)

//go:embed assets/results.schema.json.tmpl
var schemaText string

// Schema is the JSON Schema (draft 2020-12) of results.json; its definition
// "capture" is that of a line of `measure --json`. The figures in it are those of
// the register.
func Schema() []byte { return bytes.Clone(schema()) }

var schema = sync.OnceValue(func() []byte {
	t := template.Must(template.New("schema").Funcs(template.FuncMap{
		"required":     func(after, to string) string { return eachFigure(topLevel(after, to), requiredKey(8)) },
		"properties":   func(after, to string) string { return eachFigure(topLevel(after, to), property(8)) },
		"requiredIn":   func(prefix string) string { return eachFigure(within(prefix), requiredKey(16)) },
		"propertiesIn": func(prefix string) string { return eachFigure(within(prefix), property(16)) },
	}).Parse(schemaText))
	var b bytes.Buffer
	if err := t.Execute(&b, nil); err != nil {
		panic("report: schema: " + err.Error()) // the template is a part of the program
	}
	return b.Bytes()
})

// described is a figure in the schema: its key in its object, and what it is.
type described struct{ key, says string }

// topLevel are the figures at the top level of a capture behind one key up to
// another; "" stands for the register's ends.
func topLevel(after, to string) []described {
	var out []described
	on := after == ""
	for _, r := range analysis.Register() {
		if on && !strings.Contains(r.Key, ".") {
			out = append(out, described{r.Key, r.Says})
		}
		on = on && r.Key != to || r.Key == after
	}
	return out
}

// within are the figures whose key has a prefix.
func within(prefix string) []described {
	var out []described
	for _, r := range analysis.Register() {
		if key, ok := strings.CutPrefix(r.Key, prefix); ok {
			out = append(out, described{key, r.Says})
		}
	}
	return out
}

// eachFigure writes a line for every figure.
func eachFigure(figures []described, line func(described) string) string {
	lines := make([]string, len(figures))
	for i, f := range figures {
		lines[i] = line(f)
	}
	return strings.Join(lines, "\n")
}

func requiredKey(indent int) func(described) string {
	return func(f described) string { return fmt.Sprintf("%*s%q,", indent, "", f.key) }
}

// schemaLine is how long a line of the schema grows before it is broken.
const schemaLine = 130

// property writes a figure's own schema: a number, or null where it was not
// measured.
func property(indent int) func(described) string {
	return func(f described) string {
		says, err := json.Marshal(f.says)
		if err != nil {
			panic("report: schema: " + err.Error()) // a string always marshals
		}
		s := fmt.Sprintf(`%*s%q: {"description": %s, "type": ["number", "null"]},`, indent, "", f.key, says)
		if len(s) > schemaLine {
			s = fmt.Sprintf("%[1]*[2]s%[3]q: {\n%[1]*[2]s  \"description\": %[4]s,\n%[1]*[2]s  \"type\": [\"number\", \"null\"]\n%[1]*[2]s},", indent, "", f.key, says)
		}
		return s
	}
}
