package sheet

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"stillglow/capture"
	"stillglow/capture/synth/testrun"
)

// Sheets as large as one may be, of keys that no sheet has, of limits, mask
// points or heaters without end. What compares each with all others would take
// an hour here, and not end within the tests' own limit.
func TestSheetsWithoutEnd(t *testing.T) {
	many := func(n int, line string) string {
		var b strings.Builder
		for i := range testrun.Short(n, n/8) {
			fmt.Fprintf(&b, line+"\n", i)
			if b.Len() > MaxBytes-100 {
				break
			}
		}
		return b.String()
	}
	for name, c := range map[string]struct{ text, want string }{
		"unknown keys":              {many(200000, "k%d=1"), `unknown key "k0"`},
		"unknown keys in a unit":    {"[[unit]]\nbrand=\"a\"\n" + many(200000, "k%d=1"), `unknown key "k0" in [unit]`},
		"unknown keys of a reading": {"[[unit]]\nreadings=[{" + strings.ReplaceAll(strings.TrimSpace(many(150000, "k%d=1")), "\n", ",") + "}]", `unknown key "k0" in [unit.readings]`},
		"unknown tables":            {many(15000, "[t%d]"), `unknown key "t0"`},
		"keys under a date":         {many(200000, "date.d%d=1"), `unknown key "d0" in [date]`},
		"limits":                    {"[limits]\n" + many(200000, "l%d=1"), "more than 200 keys in [limits]"},
		"mask":                      {"mask=[" + strings.ReplaceAll(strings.TrimSpace(many(100000, "[1%d,1]")), "\n", ",") + "]", "a mask of "},
		"heaters":                   {many(15000, "[[heaters.valve]]\ntype=\"%d\""), "entries of [[heaters.valve]]"},
		"own valves":                {many(15000, "[[heaters.own_valve]]\ntype=\"%d\"\nvolts=6\namps=1"), "entries of [[heaters.own_valve]]"},
		"one long key":              {strings.Repeat("k", MaxBytes-10) + "=1", `unknown key "kkkk`},
		"one long date":             {"date=\"" + strings.Repeat("9", MaxBytes-10) + "\"", `date "9999`},
		"one key again and again":   {many(200000, "title=\"%d\""), "title"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Parse([]byte(c.text), "bench.toml")
			var at *capture.ParseError
			if !errors.As(err, &at) || at.Line == 0 {
				t.Fatalf("want an error with its line, got %.200v", err)
			}
			if msg := err.Error(); !strings.Contains(msg, c.want) || len(msg) > 1000 {
				t.Errorf("%d bytes: %.300s, want %q in it", len(msg), msg, c.want)
			}
		})
	}
}

// A quoted key with a dot in it is one key, and a key is known in any case of
// letters, as the decoder takes it.
func TestKeysAsTheDecoderTakesThem(t *testing.T) {
	for text, known := range map[string]bool{
		"\"instrument.name\" = \"x\"": false, "instrument.name = \"x\"": true, "[instrument]\nNAME = \"x\"": true,
		"instrument = {name = \"x\"}": true, "instrument = {nme = \"x\"}": false, "[instrument.name.x]": false,
		"[[unit]]\nbrand=\"a\"\n[unit.capture]": true,
	} {
		_, err := Parse([]byte(text), "bench.toml")
		unknown := err != nil && strings.Contains(err.Error(), "unknown key")
		if unknown == known && !strings.Contains(text, "name.x") {
			t.Errorf("%q: %v", text, err)
		}
		if !known && err == nil {
			t.Errorf("%q was read", text)
		}
	}
}

func TestDates(t *testing.T) {
	for date, good := range map[string]bool{
		`"2026-03-14"`: true, "2026-03-14": true, "2026-03-14T10:30:00": true, "2026-03-14T10:30:00Z": true, `"2026-03-14 10:30"`: true, `"2024-02-29"`: true,
		`"2026-99-99"`: false, `"2026-02-29"`: false, `"2026-00-10"`: false, `"2026-03-14T99:99"`: false, `"14.03.2026"`: false, `"2026-3-4"`: false, `"2026-03-14 soon"`: false,
		"5": false, "10:30:00": false,
	} {
		s, err := Parse([]byte("date = "+date), "bench.toml")
		if (err == nil) != good || good && !strings.HasPrefix(s.Date, "202") {
			t.Errorf("%s: %v", date, err)
		}
	}
}

// Two units that read alike are told apart; two that differ by blanks or case
// alone are one.
func TestUnitNames(t *testing.T) {
	toml := func(s string) string { return "'" + s + "'" }
	unit := func(brand, model, mark string) string {
		return fmt.Sprintf("[[unit]]\nbrand = %s\nmodel = %s\nmark = %s\n", toml(brand), toml(model), toml(mark))
	}
	s, err := Parse([]byte(unit("Alder", "T 70", "B1")+unit("Alder", "T", "70 B1")+unit("Alder", "T", "9")), "bench.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := []string{`Alder, model "T 70", mark "B1"`, `Alder, model "T", mark "70 B1"`, "Alder T 9"}
	for i, u := range s.Units {
		if u.Name() != want[i] {
			t.Errorf("%s, want %s", u.Name(), want[i])
		}
	}
	for _, again := range []string{unit("alder", "T 70", "b1"), unit("Alder", "T  70", " B1"), unit("Alder", "T\u200e 70", "B1")} {
		if _, err := Parse([]byte(unit("Alder", "T 70", "B1")+again), "bench.toml"); err == nil || !strings.Contains(err.Error(), "again") {
			t.Errorf("%q: %v", again, err)
		}
	}
}
