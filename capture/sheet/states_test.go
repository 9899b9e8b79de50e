package sheet

import (
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
