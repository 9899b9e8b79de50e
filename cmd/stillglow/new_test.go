package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
)

// Files that tell a common-mode capture, a state or a day are written as such, and
// the sheet of them reads.
func TestNewSheetOfFiles(t *testing.T) {
	f := newFlags{
		title: "t", brand: "Murrowfen", ratedV: "7", ratedA: "2", units: "1", valves: "2x12AU7", target: target.Default, mains: "50", instrument: "scope",
		bandwidth: "100MHz", probe: "1", coupling: "ac", memory: "1M", loadA: "0.94",
		files: []string{"murrowfen-a1-fast.csv", "murrowfen-a1-common-fast.csv", "murrowfen-a1-filter-2026-01-10.csv", "murrowfen-a1-dropper-slow.csv"},
	}
	dir := t.TempDir()
	for _, name := range f.files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("t,v\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	got, err := sheet.Parse([]byte(f.sheet()), filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatalf("%v\n%s", err, f.sheet())
	}
	if len(got.Units) != 3 || len(got.Units[0].Captures) != 2 || got.Units[0].Captures[1].Options.Mode != capture.Common ||
		got.Units[1].State != sheet.BehindFilter || got.Units[1].Date != "2026-01-10" || got.Units[2].State != sheet.BehindDropper {
		t.Errorf("%+v", got.Units)
	}
}

// Three captures under the names that a scope gives them are not three units: they wait
// in the sheet until they are told whose they are.
func TestNewSheetOfNumberedFiles(t *testing.T) {
	for _, c := range []struct {
		name         string
		files        []string
		units, loose int
	}{
		{"a scope's running numbers", []string{"scope_01.csv", "scope_02.csv", "scope_03.csv"}, 0, 3},
		{"after the brand", []string{"murrowfen_scope_01.csv", "murrowfen_wave_2.csv"}, 0, 2},
		{"marks alone", []string{"1-fast.csv", "1-slow.csv", "2-fast.csv"}, 2, 0},
		{"a word for the unit", []string{"psu-1.csv", "psu-2.csv"}, 2, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := newFlags{brand: "Murrowfen", loadA: "0.6", files: c.files}
			if got := f.sort(); len(got.units) != c.units || len(got.loose) != c.loose {
				t.Errorf("%d units and %d files of none, want %d and %d: %+v", len(got.units), len(got.loose), c.units, c.loose, got)
			}
		})
	}
}

// The reading that "new" writes as a comment is one once its marks are taken off.
func TestNewSheetShownUncommented(t *testing.T) {
	f := newFlags{title: "t", brand: "b", ratedV: "7", ratedA: "2", units: "1", valves: "2x12AU7", target: target.Default, mains: "50", instrument: "scope", bandwidth: "100MHz", probe: "1", coupling: "ac", memory: "1M"}
	text := f.sheet()
	at := strings.Index(text, "# [[unit.reading]]")
	if at < 0 {
		t.Fatal("no [[unit.reading]]")
	}
	s, err := sheet.Parse([]byte(text[:at]+regexp.MustCompile(`(?m)^# `).ReplaceAllString(text[at:], "")), "bench.toml")
	if err != nil {
		t.Fatal(err)
	}
	u := s.Units[0].Shown
	if len(u) != 1 || u[0].On != string(target.RipplePP) || u[0].PlusMinusPercent != sheet.UsualPlusMinusPercent || !u[0].BandLimited {
		t.Errorf("%+v", u)
	}
}

// What "new" writes as comments is a valid sheet once its marks are taken off:
// the tables, and every key of [hears] with the value that it says is usual.
func TestNewSheetUncommented(t *testing.T) {
	f := newFlags{title: "t", brand: "b", ratedV: "7", ratedA: "2", units: "1", valves: "2x12AU7", target: target.Default, mains: "50", instrument: "scope", bandwidth: "100MHz", probe: "1", coupling: "ac", memory: "1M"}
	text := f.sheet()
	at := strings.Index(text, "# [hears]")
	if at < 0 {
		t.Fatal("no [hears]")
	}
	end := strings.Index(text[at:], "\n\n")
	block := regexp.MustCompile(`(?m)^# `).ReplaceAllString(text[at:at+end], "")
	s, err := sheet.Parse([]byte(text[:at]+block+text[at+end:]), "bench.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := sheet.Hears{
		CathodeOhm: 1500, BypassF: 100e-6, BypassESROhm: 0.2,
		HeaterCathodeF: target.DefaultHeaterCathodeF, HeaterCathodeOhm: target.DefaultHeaterCathodeOhm,
		Valve: "12AX7", HeaterGridF: target.DefaultHeaterGridF, SourceOhm: target.DefaultSourceOhm, HeaterReference: string(target.OneEnd),
		Mu: target.DefaultMu, GmMAPerV: 1e3 * target.DefaultGmS, Stage: "first", GainBefore: 1, Gain: 20, AllowedInputV: 0.3e-6,
	}
	if s.Hears == nil || *s.Hears != want {
		t.Errorf("got %+v\nwant %+v", s.Hears, want)
	}
	if goal, stage, err := pipeline.Target(s); err != nil || stage == nil || len(goal.Assumptions) == 0 {
		t.Errorf("%v, stage %v, %d assumptions", err, stage, len(goal.Assumptions))
	}
}
