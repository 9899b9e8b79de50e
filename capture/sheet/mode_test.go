package sheet

import (
	"errors"
	"os"
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
