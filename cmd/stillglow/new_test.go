package main

import (
	"regexp"
	"strings"
	"testing"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
)

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
