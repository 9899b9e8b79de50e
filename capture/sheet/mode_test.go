package sheet

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture"
)

const twoModes = `
[instrument]
coupling = "ac"
[instrument.baseline]
file = "base.csv"
supply = "off"
[[unit]]
brand = "Quibble"
mark = "Q1"
[[unit.capture]]
file = "a.csv"
[[unit.capture]]
file = "c.csv"
mode = "common"
[[unit.capture]]
file = "d.csv"
mode = "Common"
baseline = "base-common.csv"
`

// The instrument's baseline serves captures of its own mode; a capture's own takes
// the capture's.
func TestModeOfCapturesAndBaselines(t *testing.T) {
	path := bench(t, "base.csv", "a.csv", "c.csv", "d.csv", "base-common.csv")
	s, err := Parse([]byte(twoModes), path)
	if err != nil {
		t.Fatal(err)
	}
	got := s.Units[0].Captures
	if got[0].Options.Mode != capture.Differential || got[1].Options.Mode != capture.Common || got[2].Options.Mode != capture.Common {
		t.Errorf("modes: %q %q %q", got[0].Options.Mode, got[1].Options.Mode, got[2].Options.Mode)
	}
	if got[0].Baseline != s.Instrument.Baseline || !got[0].Baseline.SupplyOff {
		t.Errorf("differential: baseline %+v", got[0].Baseline)
	}
	if got[1].Baseline != nil {
		t.Errorf("a differential baseline serves a common-mode capture: %+v", got[1].Baseline)
	}
	if b := got[2].Baseline; b == nil || b.Options.Mode != capture.Common {
		t.Errorf("own baseline: %+v", b)
	}
	common := strings.Replace(twoModes, "supply = \"off\"", "supply = \"off\"\nmode = \"common\"", 1)
	if s, err = Parse([]byte(common), path); err != nil {
		t.Fatal(err)
	}
	if got := s.Units[0].Captures; got[0].Baseline != nil || got[1].Baseline != s.Instrument.Baseline {
		t.Error("a common-mode baseline serves by mode")
	}
}

// A baseline with the supply running is the unit's own pick-up: refused. So are a
// baseline of the other mode and words that are none.
func TestModeRefusals(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"running": {`supply = "off"`, `supply = "running"`, ":6:1: a baseline made with the supply running"},
		"word":    {`supply = "off"`, `supply = "on"`, `:6:1: supply = "on", expected "off" or "running"`},
		"capture": {"file = \"a.csv\"", "file = \"a.csv\"\nsupply = \"off\"", "supply given for a capture"},
		"mode":    {`mode = "common"`, `mode = "both"`, `:14:1: mode = "both", expected "differential"`},
		"shared":  {`baseline = "base-common.csv"`, `baseline = "base.csv"`, `baseline "base.csv" for a common capture; it is used for a differential one in line 4`},
	} {
		t.Run(name, func(t *testing.T) {
			path := bench(t, "base.csv", "a.csv", "c.csv", "d.csv", "base-common.csv")
			text := strings.Replace(twoModes, c.from, c.to, 1)
			if text == twoModes {
				t.Fatal("the replacement does nothing")
			}
			_, err := Parse([]byte(text), path)
			var pe *capture.ParseError
			if !errors.As(err, &pe) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}

// A file that only the pattern names is a common-mode capture where its name says so.
func TestModeOfNames(t *testing.T) {
	path := bench(t, "base.csv", "a.csv", "c.csv", "d.csv", "base-common.csv")
	s, err := Parse([]byte(twoModes), path)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]capture.Mode{"q1-common-fast.csv": capture.Common, "Q1 Common.csv": capture.Common, "commonwealth-1.csv": "", "q1-CM-slow.csv": capture.Common, "q1_commonmode.csv": capture.Common, "q1-10cm.csv": "", "q1-fast.csv": ""} {
		if err := os.WriteFile(strings.TrimSuffix(path, "bench.toml")+name, []byte("t,v\n0,1\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := s.Add(0, name, 0.9); err != nil {
			t.Fatal(err)
		}
		if got := s.Units[0].Captures; got[len(got)-1].Options.Mode != want {
			t.Errorf("%s: mode %q", name, got[len(got)-1].Options.Mode)
		}
	}
}

// A baseline is of the same set-up: another instrument's, one made with another probe, or
// a unit's own capture takes the wrong thing off, and is refused with its place.
func TestBaselineOfAnotherSetup(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.csv", "b.csv", "base.csv", "base2.csv", "card.wav"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("0,1\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	const head = "[instrument]\n[instrument.baseline]\nfile = \"base.csv\"\n"
	unit := func(captures ...string) string {
		return "[[unit]]\nbrand = \"A\"\ncapture = [" + strings.Join(captures, ", ") + "]\n"
	}
	for name, c := range map[string]struct{ text, want string }{
		"as it should be":          {head + unit(`{ file = "a.csv" }`, `{ file = "b.csv" }`, `{ file = "card.wav" }`), ""},
		"own baseline, own probe":  {head + unit(`{ file = "a.csv", probe_factor = 10, baseline = "base2.csv" }`, `{ file = "b.csv" }`), ""},
		"another probe, none":      {head + unit(`{ file = "a.csv", probe_factor = 10, baseline = "none" }`, `{ file = "b.csv" }`), ""},
		"one baseline, two probes": {unit(`{ file = "a.csv", probe_factor = 10, baseline = "base.csv" }`, `{ file = "b.csv", baseline = "base.csv" }`), `baseline "base.csv" of a capture with probe_factor 1; another capture has it with 10`},
		"a scope's for the card's": {unit(`{ file = "card.wav", baseline = "base.csv" }`), `baseline "base.csv" for "card.wav", expected both from the scope or both from the sound card`},
		"a unit's own capture":     {unit(`{ file = "a.csv", baseline = "b.csv" }`, `{ file = "b.csv" }`), `baseline "b.csv", which is a capture in line 3, expected one of the same set-up with the supply off`},
		"of another unit":          {strings.Replace(head, "base.csv", "b.csv", 1) + unit(`{ file = "a.csv" }`) + strings.Replace(unit(`{ file = "b.csv" }`), `"A"`, `"B"`, 1), `baseline "b.csv", which is a capture in line`},
		"the other channel of it":  {"[instrument]\n[instrument.baseline]\nfile = \"a.csv\"\nchannel = \"CH2\"\n" + unit(`{ file = "a.csv", channel = "CH1" }`), ""},
	} {
		_, err := Parse([]byte(c.text), filepath.Join(dir, "bench.toml"))
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// The instrument's baseline is of the instrument's probe: a capture with another factor
// goes without it, and the sheet says so with its line.
func TestBaselineOfAnotherProbe(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.csv", "b.csv", "base.csv"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("0,1\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s, err := Parse([]byte("[instrument.baseline]\nfile = \"base.csv\"\n[[unit]]\nbrand = \"A\"\ncapture = [{ file = \"a.csv\", probe_factor = 10 },\n { file = \"b.csv\" }]\n"), filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	c := s.Units[0].Captures
	if c[0].Baseline != nil || c[1].Baseline == nil || len(s.Notes) != 1 || !strings.Contains(s.Notes[0], "line 5: a.csv has probe_factor 10 and the instrument's baseline base.csv has 1") {
		t.Errorf("%v, %v, %q", c[0].Baseline, c[1].Baseline, s.Notes)
	}
	s, err = Parse([]byte("[instrument]\nprobe_factor = 10\n[instrument.baseline]\nfile = \"base.csv\"\n[[unit]]\nbrand = \"A\"\ncapture = [{ file = \"a.csv\" }]\n"), filepath.Join(dir, "bench.toml"))
	if err != nil || s.Units[0].Captures[0].Baseline == nil || len(s.Notes) != 0 {
		t.Errorf("one probe for all: %v, %q", err, s.Notes)
	}
}

// µs and µV, with either sign of Unicode, are us and uV.
func TestMicroInUnits(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.csv"), []byte("0,1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, prefix := range []string{"u", "\u00b5", "\u03bc"} {
		s, err := Parse([]byte("[[unit]]\nbrand = \"A\"\ncapture = [{ file = \"a.csv\", time_unit = \""+prefix+"s\", volt_unit = \""+prefix+"V\" }]\n"), filepath.Join(dir, "bench.toml"))
		if err != nil {
			t.Errorf("%q: %v", prefix, err)
		} else if o := s.Units[0].Captures[0].Options; o.TimeUnit != "us" || o.VoltUnit != "uV" {
			t.Errorf("%q: %+v", prefix, o)
		}
	}
}
