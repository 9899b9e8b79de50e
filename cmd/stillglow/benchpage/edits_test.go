package benchpage

import (
	"errors"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"stillglow/capture"
	"stillglow/capture/sheet"
)

// send drops a small capture of one layout on the page.
func (s *served) send(t *testing.T, name string, level float64) {
	t.Helper()
	var b strings.Builder
	b.WriteString("time,volts\n")
	for i := range 1000 {
		fmt.Fprintf(&b, "%.7f,%.6f\n", float64(i)*1e-5, level+0.01*math.Sin(float64(i)/7)+0.001*math.Sin(float64(i)*float64(i)))
	}
	if got := s.raw(t, s.request("POST", "/captures?name="+url.QueryEscape(name), b.String())); got != 201 {
		t.Fatalf("%s: status %d", name, got)
	}
}

// id finds a capture's on the page.
func (s *served) id(t *testing.T, name string) string {
	t.Helper()
	m := regexp.MustCompile(`id="(c[0-9a-f]+)" aria-label="Capture ` + regexp.QuoteMeta(name) + `"`).FindStringSubmatch(s.until(t, "/part/check", "Capture "+name+`"`))
	if m == nil {
		t.Fatalf("%s is not on the page", name)
	}
	return m[1]
}

func (s *served) edit(t testing.TB, op string, pairs ...string) answer {
	t.Helper()
	form := url.Values{"op": {op}}
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Add(pairs[i], pairs[i+1])
	}
	return s.post(t, "/edit", form)
}

func (s *served) must(t *testing.T, op string, pairs ...string) {
	t.Helper()
	if a := s.edit(t, op, pairs...); !a.OK {
		t.Fatalf("%s %v: %s", op, pairs, a.Error)
	}
}

func (s *served) sheet(t *testing.T) *sheet.Sheet {
	t.Helper()
	got, err := sheet.Read(filepath.Join(s.dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// What the page does stands in the sheet as somebody would write it by hand.
func TestEditsStandInTheSheet(t *testing.T) {
	s := serve(t, Options{})
	for i, name := range []string{"murrowfen-a1.csv", "murrowfen-a2.csv", "floor.csv"} {
		s.send(t, name, 7+0.1*float64(i))
	}
	a1, a2, floor := s.id(t, "murrowfen-a1.csv"), s.id(t, "murrowfen-a2.csv"), s.id(t, "floor.csv")
	s.until(t, "/part/check", "All figures")
	waitFor(t, func() (bool, string) {
		bar := s.get(t, "/part/bar")
		return !strings.Contains(bar, "measured"), "still measuring: " + bar
	})
	s.must(t, "correct", "id", a1, "probe_factor", "10:1", "coupling", "dc", "all", "1")
	if got := s.sheet(t); len(got.Loose) != 3 || got.Loose[2].Options.ProbeFactor != 10 || got.Loose[1].Options.Coupling != "dc" {
		t.Fatalf("corrected: %+v", got.Loose)
	}
	s.until(t, "/part/check", "70.1") // the waveform's volts follow
	// what the probe was across is this capture's alone
	s.must(t, "correct", "id", a1, "mode", "common", "all", "1")
	common := 0
	for _, c := range s.sheet(t).Loose {
		if c.Options.Mode == capture.Common {
			common++
		}
	}
	if common != 1 {
		t.Errorf("%d captures are common-mode, want the one", common)
	}
	s.must(t, "correct", "id", a1, "mode", "")
	if a := s.edit(t, "correct", "id", a1, "mode", "both"); a.OK {
		t.Error("a mode that is none")
	}
	s.must(t, "correct", "id", floor, "probe_factor", "10")
	s.must(t, "give", "id", a1, "brand", "Murrowfen", "model", "MF", "mark", "A1", "load_a", "0,94 A")
	s.must(t, "give", "id", a2, "brand", "murrowfen", "model", "mf", "mark", "a1")
	if got := s.sheet(t); len(got.Units) != 1 || len(got.Units[0].Captures) != 2 || got.Units[0].Captures[0].LoadA != 0.94 || len(got.Loose) != 1 {
		t.Fatalf("given: %+v", got.Units)
	}
	s.must(t, "take-back", "id", a2)
	s.must(t, "give", "id", a2, "brand", "Murrowfen", "model", "MF", "mark", "A2")
	s.must(t, "baseline", "id", floor)
	if a := s.edit(t, "baseline", "id", a2); a.OK {
		t.Error("a second baseline for all")
	}
	if got := s.sheet(t); len(got.Units) != 2 || got.Instrument.Baseline == nil || got.Units[1].Captures[0].Baseline == nil || len(got.Loose) != 0 {
		t.Fatalf("baseline: %+v", got)
	}
	s.must(t, "baseline-away", "id", floor) // at once: the page may not know yet that it is one
	if got := s.sheet(t); got.Instrument.Baseline != nil || len(got.Loose) != 1 || got.Loose[0].Options.Coupling != "dc" {
		t.Fatalf("no longer a baseline: %+v", got)
	}
	s.until(t, "/part/whose", "floor.csv")
	s.until(t, "/part/bar", "all read")
	s.must(t, "baseline", "id", floor)
	s.must(t, "unit", "unit", "Murrowfen MF A2", "rated_v", "7", "note", "loud # really")
	s.must(t, "reading", "unit", "Murrowfen MF A2", "load_a", "0", "v", "7,11 V")
	s.must(t, "reading", "unit", "Murrowfen MF A2", "load_a", "940 mA", "v", "7.02")
	s.must(t, "reading-away", "unit", "Murrowfen MF A2", "n", "0")
	s.must(t, "instrument", "memory_samples", "10M", "max_rate_hz", "1 GS/s", "bandwidth_hz", "100 MHz")
	s.must(t, "valve", "type", "6н2п") // Cyrillic letters
	s.must(t, "valve-change", "n", "0", "was", "6N2P", "count", "3", "wiring", "string")
	got := s.sheet(t)
	if u := got.Units[1]; u.RatedV != 7 || u.Note != "loud # really" || len(u.Readings) != 1 || u.Readings[0] != (sheet.Reading{LoadA: 0.94, V: 7.02}) {
		t.Errorf("unit: %+v", u)
	}
	if in := got.Instrument; in.MemorySamples != 10_000_000 || in.MaxRateHz != 1e9 || in.BandwidthHz != 1e8 {
		t.Errorf("instrument: %+v", in)
	}
	if g := got.Heaters.Groups; len(g) != 1 || g[0].Type != "6N2P" || g[0].Count != 3 || g[0].Wiring != "string" {
		t.Errorf("valves: %+v", g)
	}
	before, _ := os.ReadFile(filepath.Join(s.dir, "bench.toml"))
	for _, bad := range [][]string{
		{"unit", "unit", "Murrowfen MF A2", "rated_v", "seven"}, {"unit", "unit", "Murrowfen MF A2", "rated_v", "-7"}, {"unit", "unit", "gone", "note", "x"},
		{"unit", "unit", "Murrowfen MF A2", "mark", "A1"}, {"correct", "id", "cffff", "coupling", "ac"}, {"correct", "id", a1, "coupling", "both"},
		{"valve", "type", "9ZZ9"}, {"valve-away", "n", "7", "was", "x"}, {"bench", "mains_hz", "55"}, {"instrument", "memory_samples", "some"},
		{"give", "id", a1, "brand", " "}, {"reading", "unit", "Murrowfen MF A1", "load_a", "", "v", "7"}, {"filter-try", "unit", "Murrowfen MF A1", "topology", "RC", "c_uf", "-1", "kind", "film"},
	} {
		if a := s.edit(t, bad[0], bad[1:]...); a.OK || a.Error == "" || strings.Contains(a.Error, "\n") {
			t.Errorf("%v: %+v", bad, a)
		}
	}
	if after, _ := os.ReadFile(filepath.Join(s.dir, "bench.toml")); string(after) != string(before) {
		t.Errorf("refused edits change the sheet:\n%s", after)
	}
	s.must(t, "unit-remove", "unit", "Murrowfen MF A1")
	if got := s.sheet(t); len(got.Units) != 1 || len(got.Loose) != 1 || got.Loose[0].LoadA != 0.94 {
		t.Errorf("unit removed: %+v, %+v", got.Units, got.Loose)
	}
	s.must(t, "leave-out", "id", a1)
	if _, err := os.Stat(filepath.Join(s.dir, capturesDir, "murrowfen-a1.csv")); err != nil {
		t.Errorf("a capture left out is gone: %v", err)
	}
	s.until(t, "/part/bring", "not in the sheet")
	s.must(t, "use")
	if got := s.sheet(t); len(got.Loose) != 1 {
		t.Errorf("used again: %+v", got.Loose)
	}
}

// A followed folder's files are taken once they are whole, and left where they are.
func TestFollow(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for files to stand still")
	}
	s := serve(t, Options{})
	from := filepath.Join(s.dir, "from-scope")
	if err := os.Mkdir(from, 0o755); err != nil {
		t.Fatal(err)
	}
	if a := s.post(t, "/follow", url.Values{"folder": {"from-scope"}}); !a.OK {
		t.Fatalf("%+v", a)
	}
	for _, name := range []string{"a.csv", "screen.png", ".hidden.csv"} {
		if err := os.WriteFile(filepath.Join(from, name), []byte("t,v\n0,1\n1,2\n2,1\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s.until(t, "/part/check", "Capture a.csv")
	if entries, _ := os.ReadDir(filepath.Join(s.dir, capturesDir)); len(entries) != 1 {
		t.Errorf("taken: %v", entries)
	}
	if entries, _ := os.ReadDir(from); len(entries) != 3 {
		t.Errorf("left: %v", entries)
	}
}

// A file with the word common in its name comes in as a common-mode capture, where
// the page lets it be changed.
func TestCommonModeByName(t *testing.T) {
	s := serve(t, Options{})
	s.send(t, "murrowfen-a1-common.csv", 0.1)
	s.send(t, "murrowfen-a1.csv", 7)
	waitFor(t, func() (bool, string) {
		loose := s.sheet(t).Loose
		return len(loose) == 2, fmt.Sprintf("want two captures in the sheet: %+v", loose)
	})
	got := map[string]capture.Mode{}
	for _, c := range s.sheet(t).Loose {
		got[c.File[strings.LastIndexByte(c.File, '/')+1:]] = c.Options.Mode
	}
	if got["murrowfen-a1-common.csv"] != capture.Common || got["murrowfen-a1.csv"] != capture.Differential || len(got) != 2 {
		t.Errorf("%v", got)
	}
}

// A baseline is taken back as the sheet has it, while the page still shows the capture
// as one without a unit; what is none in the sheet is refused.
func TestBaselineAwayAsksTheSheet(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.toml")
	const text = "title = \"t\"\nmains_hz = 50\n[instrument]\n[instrument.baseline]\nfile = \"floor.csv\"\nsupply = \"off\"\n"
	b := &bench{entries: []entry{{ID: "c1", Role: loose, Capture: sheet.Capture{File: "floor.csv"}}, {ID: "c2", Role: baseline, Capture: sheet.Capture{File: "other.csv"}}}}
	away := func(id string) (string, error) {
		x, err := sheet.NewText([]byte(text), path)
		if err != nil {
			t.Fatal(err)
		}
		s := &sheet.Sheet{Instrument: sheet.Instrument{Baseline: &sheet.Capture{File: "floor.csv", Key: "instrument.baseline"}}}
		err = baselineAway(b, x, s, url.Values{"id": {id}})
		return string(x.Bytes()), err
	}
	if got, err := away("c1"); err != nil || strings.Contains(got, "instrument.baseline") || strings.Contains(got, "supply") || !strings.Contains(got, "[[capture]]\nfile = \"floor.csv\"") {
		t.Errorf("%v:\n%s", err, got)
	}
	for _, id := range []string{"c2", "c3"} {
		if got, err := away(id); !errors.Is(err, errGone) || got != text {
			t.Errorf("%s: %v:\n%s", id, err, got)
		}
	}
}

// A number takes a unit of its key's kind, or none; volts typed for amps are no amps.
func TestNumberOfKey(t *testing.T) {
	for _, c := range []struct {
		key, typed string
		want       float64
		refused    string
	}{
		{"rated_a", "0,94 A", 0.94, ""}, {"rated_a", "940 mA", 0.94, ""}, {"load_a", "7 V", 0, "expected amps"}, {"limit_a", "2.6", 2.6, ""},
		{"v", "7,03 V", 7.03, ""}, {"v", "7030 mV", 7.03, ""}, {"v", "0.94 A", 0, "expected volts"}, {"cathode_v", "85 V", 85, ""},
		{"lead_ohm", "150 mΩ", 0.15, ""}, {"lead_ohm", "1 kΩ", 0, "expected ohms"}, {"c_uf", "470 µF", 470, ""}, {"c_uf", "100 nF", 0.1, ""}, {"l_uh", "0.1 mH", 100, ""},
		{"ambient_c", "45 °C", 45, ""}, {"ambient_c", "-5", -5, ""}, {"supply_tolerance_percent", "5 %", 5, ""}, {"supply_tolerance_percent", "5 V", 0, "expected percent"},
		{"probe_factor", "10x", 10, ""}, {"probe_factor", "10:1", 10, ""}, {"gm_ma_per_v", "1.6 mA/V", 1.6, ""}, {"gm_ma_per_v", "1600 µS", 1.6, ""}, {"mains_hz", "50 Hz", 50, ""},
		{"mu", "100", 100, ""}, {"rated_v", "x", 0, "found \"x\""}, {"rated_v", "", 0, "expected a number"},
	} {
		got, err := numberOf(c.key, c.typed)
		switch {
		case c.refused != "" && (err == nil || !strings.Contains(err.Error(), c.refused)):
			t.Errorf("%s %q: %g, %v; want %q", c.key, c.typed, got, err, c.refused)
		case c.refused == "" && (err != nil || got != c.want):
			t.Errorf("%s %q: %g, %v; want %g", c.key, c.typed, got, err, c.want)
		}
	}
	for typed, refused := range map[string]bool{"470": false, "470 µF": false, "0.00047": true} {
		_, err := circuitOf(url.Values{"topology": {"RC"}, "c_uf": {typed}, "r_ohm": {"0.75"}, "kind": {"electrolytic"}})
		if (err != nil) != refused {
			t.Errorf("%q µF: %v", typed, err)
		}
	}
}
