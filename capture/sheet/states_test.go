package sheet

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

const statesSheet = `[[unit]]
brand = "Quibble"
mark  = "Q1"
date  = 2026-01-10
[[unit]]
brand = "Quibble"
mark  = "Q1"
date  = "2026-05-02"
[[unit]]
brand = "quibble"
mark  = "Q1"
state = "filter"
date  = 2026-06-01
[[unit]]
brand = "Quibble"
mark  = "Q1"
state = "dropper"
[[unit]]
brand = "Quibble"
mark  = "Q2"
state = "dropper"
[[unit]]
brand = "Quibble"
mark  = "Q3"
`

func TestStates(t *testing.T) {
	path := bench(t)
	if err := os.WriteFile(path, []byte(statesSheet), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"Quibble Q1 bare, 2026-01-10", "Quibble Q1 bare, 2026-05-02", "Quibble Q1 behind its filter",
		"Quibble Q1 behind its dropper", "Quibble Q2 behind its dropper", "Quibble Q3"} {
		if got := s.Units[i].Name(); got != want {
			t.Errorf("unit %d: %q, want %q", i, got, want)
		}
	}
	for _, c := range []struct{ from, to, want string }{
		{`"2026-05-02"`, `"2026-01-10"`, `:7:1: unit "Quibble Q1" again, first in line 1`},
		{`"filter"`, `"filtered"`, `:12:1: state = "filtered", expected one of bare, filter, dropper`},
		{"2026-06-01", `"June"`, ":13:1: date \"June\", expected a date like 2026-03-14"},
	} {
		if _, err := Parse([]byte(strings.Replace(statesSheet, c.from, c.to, 1)), path); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.to, err, c.want)
		}
	}
	p, err := ParsePattern("{brand}-{mark}-{state}-{rest}.csv")
	if err != nil {
		t.Fatal(err)
	}
	if unit, _, ok := p.Match("quibble-q1-dropper-fast.csv", s.Units); !ok || unit != 3 {
		t.Errorf("by its state: unit %d, %v, want 3", unit, ok)
	}
}

// Names that read alike are one name however they are written: accents as characters
// of their own, wide letters and ligatures, hyphens, capitals, spaces. Two units of
// one name are an error, and one brand keeps the spelling it had first.
func TestNamesThatReadAlike(t *testing.T) {
	path := bench(t)
	unit := func(brand, mark string) string {
		return fmt.Sprintf("[[unit]]\nbrand = %q\nmodel = \"Model %[1]s\"\nmark = %q\n", brand, mark)
	}
	for _, c := range []struct {
		first, second string
		alike         bool
	}{
		{"R\u00f6hre", "Ro\u0308hre", true},
		{"Alder", "ALDER", true},
		{"Moor", "Mооr", true}, // Cyrillic о
		{"ΑΒΕ", "ABE", true},   // Greek
		{"Нора", "Нота", false},
		{"\u00b5 Works", "m Works", false}, // micro
		{"Alder Vale", "Alder\u00a0 Vale", true},
		{"\u03a9 Works", "\u2126 Works", true}, // omega, ohm sign
		{"Fir", "\ufb01r", true},               // ligature
		{"Alder", "\uff21lder", true},          // full width
		{"Q-1", "Q\u20111", true},
		{"Q-1", "Q\u20131", true},
		{"R\u00f6hre", "Rohre", false},
		{"Q-1", "Q1", false},
	} {
		s, err := Parse([]byte(unit(c.first, "1")+unit(c.second, "2")), path)
		if err != nil {
			t.Fatalf("%+q and %+q: %v", c.first, c.second, err)
		}
		a, b := s.Units[0], s.Units[1]
		if got := a.Brand == b.Brand && a.Model == b.Model; got != c.alike || a.Brand != c.first {
			t.Errorf("%+q and %+q: brands %+q and %+q, models %+q and %+q; want one of each: %v", c.first, c.second, a.Brand, b.Brand, a.Model, b.Model, c.alike)
		}
		_, err = Parse([]byte(unit(c.first, "1")+unit(c.second, "1")), path)
		if again := err != nil && strings.Contains(err.Error(), "again, first in line 1"); again != c.alike {
			t.Errorf("%+q and %+q with one mark: %v", c.first, c.second, err)
		}
	}
	if a, b := Squash("R\u00f6hre 1"), Squash("ro\u0308hre_1"); a != b {
		t.Errorf("a file's name: %q, want %q", b, a)
	}
}
