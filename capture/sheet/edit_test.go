package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
)

// handMade is a sheet as people write them: both ways of arrays, dotted keys,
// comments everywhere, alignment, odd quotes.
const handMade = `# Spring batch.

title    = "Supplies # not a comment"   # shown on top
date     = 2026-03-14
pattern  = '{brand}-{mark}.csv'
instrument.name = "old scope"  # borrowed
instrument.coupling = "ac"

[limits]   # tighter than usual
ripple_pp_20mhz_v = 0.010
heater_dc_v = [
  6.6, # low
  7.6
]

# The heaters.
[heaters]
exponent = 0.6
[[heaters.valve]]
type = "12AU7" # two of them
count = 2

# First unit.
[[unit]]
brand    = "Murrowfen"
mark     = "A1"    # in pencil
readings = [
  { load_a = 0, v = 7.08 },   # cold
  { load_a = 0.94, v = 7.02 } # warm
]
# the fast one
[[unit.capture]]
file = "a1.csv" # 2 µs/div
load_a = 0.94

# Second unit, written in one line.
[[unit]]
brand = "Tindle'wick"
mark = "B1"
capture = [{ file = "b1.csv", load_a = 0.94 }, { file = "b1s.csv" }]
# nothing more
`

func decoded(t *testing.T, data []byte) map[string]any {
	t.Helper()
	var m map[string]any
	if err := toml.Unmarshal(bytes.TrimPrefix(data, byteOrderMark), &m); err != nil {
		t.Fatalf("%v in\n%s", err, data)
	}
	return m
}

func mustText(t *testing.T, s string) *Text {
	t.Helper()
	x, err := NewText([]byte(s), "x.toml")
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// Each edit changes the one line that it must.
func TestTextEdits(t *testing.T) {
	for _, c := range []struct {
		name      string
		edit      func(*Text) error
		gone, new string // lines, in order
	}{
		{"a value in its place", func(x *Text) error { return x.Set("title", "New") },
			`title    = "Supplies # not a comment"   # shown on top`, `title    = "New"   # shown on top`},
		{"the same value written out", func(x *Text) error { return x.Set("unit[0].capture[0].load_a", 0.5) },
			"load_a = 0.94", "load_a = 0.5"},
		{"a new key lines up", func(x *Text) error { return x.Set("unit[0].model", "MF-7") },
			"", `model    = "MF-7"`},
		{"a new key of the bench", func(x *Text) error { return x.Set("mains_hz", 50) }, "", `mains_hz            = 50`},
		{"a dotted table", func(x *Text) error { return x.Set("instrument.probe_factor", 10.0) },
			"", `instrument.probe_factor = 10`},
		{"an array's element", func(x *Text) error { return x.Set("unit[0].readings[1].v", 7.01) },
			"  { load_a = 0.94, v = 7.02 } # warm", "  { load_a = 0.94, v = 7.01 } # warm"},
		{"an inline table", func(x *Text) error { return x.Set("unit[1].capture[1].channel", "2") },
			`capture = [{ file = "b1.csv", load_a = 0.94 }, { file = "b1s.csv" }]`,
			`capture = [{ file = "b1.csv", load_a = 0.94 }, { file = "b1s.csv", channel = "2" }]`},
		{"a capture more, in a table", func(x *Text) error {
			_, err := x.Append("unit[0].capture", Fields{{"file", "a1s.csv"}, {"load_a", 0.94}})
			return err
		}, "", "[[unit.capture]]\nfile   = \"a1s.csv\"\nload_a = 0.94"},
		{"a capture more, in a line", func(x *Text) error {
			_, err := x.Append("unit[1].capture", Fields{{"file", "c.csv"}})
			return err
		}, `capture = [{ file = "b1.csv", load_a = 0.94 }, { file = "b1s.csv" }]`,
			`capture = [{ file = "b1.csv", load_a = 0.94 }, { file = "b1s.csv" }, { file = "c.csv" }]`},
		{"a reading more", func(x *Text) error {
			_, err := x.Append("unit[0].readings", Fields{{"load_a", 0.5}, {"v", 7.05}})
			return err
		}, "  { load_a = 0.94, v = 7.02 } # warm", "  { load_a = 0.94, v = 7.02 },\n  { load_a = 0.5, v = 7.05 } # warm"},
		{"first readings", func(x *Text) error {
			return x.Set("unit[1].readings", []Fields{{{"load_a", 0.0}, {"v", 7.2}}})
		}, "", "readings = [{ load_a = 0, v = 7.2 }]"},
		{"a unit more", func(x *Text) error {
			_, err := x.Append("unit", Fields{{"brand", "Zarplonk"}, {"mark", `C"1`}})
			return err
		}, "", "[[unit]]\nbrand = \"Zarplonk\"\nmark  = \"C\\\"1\"\n"},
		{"a valve more", func(x *Text) error {
			_, err := x.Append("heaters.valve", Fields{{"type", "6N2P"}, {"count", 1}})
			return err
		}, "", "[[heaters.valve]]\ntype  = \"6N2P\"\ncount = 1"},
		{"a table more", func(x *Text) error { return x.Set("hears.cathode_ohm", 1500.0) },
			"", "[hears]\ncathode_ohm = 1500\n"},
		{"a key away, its comment stays", func(x *Text) error { return x.Remove("unit[0].mark") },
			`mark     = "A1"    # in pencil`, "# in pencil"},
		{"a reading away", func(x *Text) error { return x.Remove("unit[0].readings[0]") },
			"  { load_a = 0, v = 7.08 },   # cold", "  # cold"},
		{"an inline key away", func(x *Text) error { return x.Remove("unit[1].capture[0].load_a") },
			`capture = [{ file = "b1.csv", load_a = 0.94 }, { file = "b1s.csv" }]`,
			`capture = [{ file = "b1.csv" }, { file = "b1s.csv" }]`},
		{"a capture away", func(x *Text) error { return x.Remove("unit[0].capture[0]") },
			"[[unit.capture]]\nfile = \"a1.csv\" # 2 µs/div\nload_a = 0.94", ""},
	} {
		for _, crlf := range []bool{false, true} {
			text := handMade
			if crlf {
				text = "\xef\xbb\xbf" + strings.ReplaceAll(text, "\n", "\r\n")
			}
			x := mustText(t, text)
			if err := c.edit(x); err != nil {
				t.Errorf("%s: %v", c.name, err)
				continue
			}
			got := string(x.Bytes())
			if crlf {
				if !strings.HasPrefix(got, "\xef\xbb\xbf") || strings.Count(got, "\n") != strings.Count(got, "\r\n") {
					t.Errorf("%s: the file's own marks are lost", c.name)
				}
				got = strings.ReplaceAll(got[3:], "\r\n", "\n")
			}
			gone, added := difference(handMade, got)
			if gone != c.gone || added != c.new {
				t.Errorf("%s: took away %q, put in %q; want %q and %q", c.name, gone, added, c.gone, c.new)
			}
		}
	}
}

// A first valve stands apart from the units after it, and a second beside it.
func TestFirstValveStandsApart(t *testing.T) {
	x := mustText(t, "title = \"Bench\"\n\n[[unit]]\nbrand = \"Zarplonk\"\n")
	for _, name := range []string{"12AU7", "6N2P"} {
		if _, err := x.Append("heaters.valve", Fields{{"type", name}}); err != nil {
			t.Fatal(err)
		}
	}
	want := "title = \"Bench\"\n\n[[heaters.valve]]\ntype = \"12AU7\"\n[[heaters.valve]]\ntype = \"6N2P\"\n\n[[unit]]\nbrand = \"Zarplonk\"\n"
	if got := string(x.Bytes()); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// difference gives the one stretch of lines in which two texts differ.
func difference(a, b string) (gone, added string) {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for len(x) > 0 && len(y) > 0 && x[0] == y[0] {
		x, y = x[1:], y[1:]
	}
	for len(x) > 0 && len(y) > 0 && x[len(x)-1] == y[len(y)-1] {
		x, y = x[:len(x)-1], y[:len(y)-1]
	}
	return strings.Join(x, "\n"), strings.Join(y, "\n")
}

// Whatever is edited, the rest of the sheet means the same as before, and no
// comment of a line that was left alone is lost.
func TestTextEditsNothingElse(t *testing.T) {
	demo, err := os.ReadFile(filepath.Join("..", "synth", "demobench", "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(7, 9))
	for round := range 100 {
		x := mustText(t, [...]string{handMade, string(demo), good, ""}[round%4])
		for range 1 + rng.IntN(12) {
			before, comments := decoded(t, x.Bytes()), strings.Count(string(x.Bytes()), "#")
			units := x.Count("unit")
			u := "unit[0]"
			if units > 0 {
				u = fmt.Sprintf("unit[%d]", rng.IntN(units))
			}
			path, value := "", any(nil)
			switch rng.IntN(7) {
			case 0:
				path, value = "unit", Fields{{"brand", fmt.Sprint("B", rng.IntN(1e6))}, {"mark", "é#\"'\\"}}
			case 1:
				path, value = "heaters.valve", Fields{{"type", "6N2P"}}
			case 2:
				if units == 0 {
					continue
				}
				path, value = u+".capture", Fields{{"file", fmt.Sprint(rng.IntN(1e6), ".csv")}}
			default:
				path = [...]string{"title", "instrument.gain_percent", "instrument.baseline.file", u + ".note", u + ".rated_v", "heaters.exponent", "hears.mu"}[rng.IntN(7)]
				if units == 0 && strings.HasPrefix(path, "unit") {
					continue
				}
				value = [...]any{"a # b", 2.5, "none", "n", 7.5, 0.55, 40.5}[slices.Index([]string{"title", "instrument.gain_percent", "instrument.baseline.file", u + ".note", u + ".rated_v", "heaters.exponent", "hears.mu"}, path)]
				if err := x.Set(path, value); err != nil {
					t.Fatalf("%s: %v in\n%s", path, err, x.Bytes())
				}
				want := with(before, path, value)
				if got := decoded(t, x.Bytes()); !reflect.DeepEqual(got, want) {
					t.Fatalf("set %s: %v, want %v\n%s", path, got, want, x.Bytes())
				}
				continue
			}
			if _, err := x.Append(path, value.(Fields)); err != nil {
				t.Fatalf("%s: %v in\n%s", path, err, x.Bytes())
			}
			if got, want := x.Count(path), countOf(before, path)+1; got != want {
				t.Fatalf("append to %s gives %d, want %d\n%s", path, got, want, x.Bytes())
			}
			if err := x.Remove(fmt.Sprintf("%s[%d]", path, x.Count(path)-1)); err != nil {
				t.Fatal(err)
			}
			if got := decoded(t, x.Bytes()); !reflect.DeepEqual(emptied(got), emptied(before)) {
				t.Fatalf("append to and remove from %s: %v, want %v\n%s", path, got, before, x.Bytes())
			}
			if n := strings.Count(string(x.Bytes()), "#"); n != comments {
				t.Fatalf("append to and remove from %s: %d comments, want %d", path, n, comments)
			}
		}
	}
}

// walk finds the table or slice that a path leads to.
func walk(m map[string]any, path string) (table map[string]any, key string) {
	parts := strings.Split(path, ".")
	for _, p := range parts[:len(parts)-1] {
		array, n, indexed := element(p)
		if !indexed {
			if m[p] == nil {
				m[p] = map[string]any{}
			}
			m = m[p].(map[string]any)
			continue
		}
		m = m[array].([]any)[n].(map[string]any)
	}
	return m, parts[len(parts)-1]
}

func with(m map[string]any, path string, value any) map[string]any {
	table, key := walk(m, path)
	table[key] = value
	return m
}

func countOf(m map[string]any, path string) int {
	table, key := walk(m, path)
	list, _ := table[key].([]any)
	return len(list)
}

// emptied takes away empty lists and tables, which say nothing.
func emptied(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k, e := range v {
			switch e := emptied(e).(type) {
			case nil:
				delete(v, k)
			case []any:
				if len(e) == 0 {
					delete(v, k)
				}
			case map[string]any:
				if len(e) == 0 {
					delete(v, k)
				}
			}
		}
	case []any:
		for _, e := range v {
			emptied(e)
		}
	}
	return v
}

// Blocks that come and go leave no trace.
func TestTextComesAndGoes(t *testing.T) {
	x := mustText(t, handMade)
	for range 3 {
		for range 4 {
			if _, err := x.Append("capture", Fields{{"file", "c.csv"}}); err != nil {
				t.Fatal(err)
			}
		}
		for n := x.Count("capture"); n > 0; n-- {
			if err := x.Remove("capture[0]"); err != nil {
				t.Fatal(err)
			}
		}
	}
	if gone, added := difference(handMade, string(x.Bytes())); gone != "" || added != "" {
		t.Errorf("took away %q, put in %q", gone, added)
	}
}

func TestTextRefuses(t *testing.T) {
	if _, err := NewText([]byte("title = \n"), "x.toml"); err == nil || !strings.HasPrefix(err.Error(), "x.toml:1:") {
		t.Errorf("broken TOML: %v", err)
	}
	x := mustText(t, handMade)
	for _, edit := range []func() error{
		func() error { return x.Set("title\n", "x") },
		func() error { return x.Set("unit[0].no key", "x") },
		func() error { return x.Set("title", struct{}{}) },
	} {
		if edit() == nil {
			t.Error("a senseless edit is done")
		}
	}
	if string(x.Bytes()) != handMade {
		t.Error("a refused edit changes the text")
	}
}

// What an editor saves between the look at the sheet and the write is not lost: the change
// is made anew on it. One that saves all the time is told.
func TestChangeWhileTheEditorSaves(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.toml")
	f, err := OpenFile(path, []byte("title = \"blank\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	saves := 0
	save := func() {
		saves++
		if err := os.WriteFile(path, fmt.Appendf(nil, "title = \"by hand %d\"\n", saves), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Change(func(x *Text) error {
		if saves == 0 {
			save()
		}
		return x.Set("workshop", "shed")
	}); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := decoded(t, data); got["title"] != "by hand 1" || got["workshop"] != "shed" {
		t.Errorf("%s", data)
	}
	err = f.Change(func(x *Text) error { save(); return x.Set("workshop", "barn") })
	if err == nil || !strings.Contains(err.Error(), "another program writes") {
		t.Errorf("%v", err)
	}
	if data, _ := os.ReadFile(path); !strings.Contains(string(data), fmt.Sprintf("by hand %d", saves)) || strings.Contains(string(data), "barn") {
		t.Errorf("%s", data)
	}
}

func TestFileUndo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.toml")
	f, err := OpenFile(path, []byte("title = \"blank\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("looking writes the sheet")
	}
	set := func(key string, v any) {
		t.Helper()
		if err := f.Change(func(x *Text) error { return x.Set(key, v) }); err != nil {
			t.Fatal(err)
		}
	}
	title := func() string {
		t.Helper()
		data, _, err := f.Read()
		if err != nil {
			t.Fatal(err)
		}
		s, _ := decoded(t, data)["title"].(string)
		return s
	}
	for i := range 25 {
		set("title", fmt.Sprint(i))
	}
	for i := range 24 {
		if err := f.Undo(); err != nil {
			t.Fatal(err)
		}
		if got, want := title(), fmt.Sprint(23-i); got != want {
			t.Fatalf("undone to %q, want %q", got, want)
		}
	}
	// What comes in a row is one step.
	back, _ := f.Steps()
	for i := range 5 {
		if err := f.ChangeInRow("arrive", func(x *Text) error { return x.Set("title", fmt.Sprint("row ", i)) }); err != nil {
			t.Fatal(err)
		}
	}
	if now, _ := f.Steps(); now != back+1 {
		t.Errorf("a row of changes makes %d steps", now-back)
	}
	if err := f.Undo(); err != nil || title() != "0" {
		t.Fatalf("a row undone: %v, %q", err, title())
	}
	if err := f.Redo(); err != nil {
		t.Fatal(err)
	}
	if err := f.Undo(); err != nil || title() != "0" {
		t.Fatalf("a row undone again: %v, %q", err, title())
	}
	set("title", "1")
	if err := f.Undo(); err != nil || title() != "0" {
		t.Fatalf("%v, %q", err, title())
	}
	// Another run goes on.
	if f, err = OpenFile(path, nil); err != nil {
		t.Fatal(err)
	}
	if err := f.Redo(); err != nil || title() != "1" {
		t.Fatalf("done again: %v, %q", err, title())
	}
	// An editor's change is noticed and is a step of its own.
	if err := errors.Join(os.WriteFile(path, []byte("title = \"by hand\" # mine\n"), 0o600), os.Chmod(path, 0o600)); err != nil {
		t.Fatal(err)
	}
	if _, changed, err := f.Read(); !changed || err != nil {
		t.Fatalf("changed %v, %v", changed, err)
	}
	set("note", "n")
	if err := f.Undo(); err != nil || title() != "by hand" {
		t.Fatalf("%v, %q", err, title())
	}
	if err := f.Undo(); err != nil || title() != "1" {
		t.Fatalf("%v, %q", err, title())
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file's mode is %v", info.Mode())
	}
	// A sheet that is broken, or would be, stays as it is.
	for _, edit := range []func(*Text) error{
		func(x *Text) error { return x.Set("mains_hz", 55.0) },
		func(x *Text) error { return x.Set("titel", "x") },
	} {
		before, _, _ := f.Read()
		if err := f.Change(edit); err == nil {
			t.Error("a sheet that does not read is written")
		}
		if after, _, _ := f.Read(); !bytes.Equal(before, after) {
			t.Error("a refused change is written")
		}
	}
	if err := os.WriteFile(path, []byte("title = \n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := f.Change(func(x *Text) error { return x.Set("title", "x") }); err == nil {
		t.Error("a broken sheet is edited")
	}
	if err := f.Undo(); err != nil || title() != "1" {
		t.Fatalf("out of a broken sheet: %v, %q", err, title())
	}
}
