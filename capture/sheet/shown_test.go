package sheet

import (
	"os"
	"strings"
	"testing"
)

const shownSheet = `[instrument]
bandwidth_hz = 100e6
[[unit]]
brand = "Quibble"
[[unit.reading]]
on    = "ripple_pp_20mhz_v"
value = 0.060
[[unit.reading]]
on    = "mains_line_rms_v"
value = 0.004
plus_minus_percent = 50
by = "pocket scope"
band_limited = true
`

func TestShown(t *testing.T) {
	path := bench(t)
	if err := os.WriteFile(path, []byte(shownSheet), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	criteria := []string{"heater_dc_v", "ripple_pp_20mhz_v", "mains_line_rms_v"}
	if err := s.CheckWords(nil, criteria); err != nil {
		t.Error(err)
	}
	got := s.Units[0].Shown
	for i, want := range []Shown{
		{On: "ripple_pp_20mhz_v", Value: 0.06, PlusMinusPercent: UsualPlusMinusPercent, Key: "unit[0].reading[0]"},
		{On: "mains_line_rms_v", Value: 0.004, PlusMinusPercent: 50, By: "pocket scope", BandLimited: true, Key: "unit[0].reading[1]"},
	} {
		if len(got) != 2 || got[i] != want {
			t.Errorf("reading %d of %+v, want %+v", i, got, want)
		}
	}
	for _, c := range []struct{ from, to, want string }{
		{`"ripple_pp_20mhz_v"`, `"ripple_pp_20mhz"`, `:6:1: unknown criterion "ripple_pp_20mhz", expected "ripple_pp_20mhz_v"`},
		{`"ripple_pp_20mhz_v"`, `"heater_dc_v"`, ":6:1: a reading on heater_dc_v, expected readings = ["},
		{"value = 0.060\n", "", ":5:3: a reading without value"},
		{"0.060", "60", ":7:1: value = 60 on ripple_pp_20mhz_v, expected less than 1, since readings are in volts; for 60 mV write 0.06"},
		{"0.004", "4", ":10:1: value = 4 on mains_line_rms_v, expected less than 1"},
		{"0.060", "0", ":7:1: value = 0, expected a number over 0"},
		{"percent = 50", "percent = 100", ":11:1: plus_minus_percent = 100, expected a number under 100"},
		{"by =", "from =", `:12:1: unknown key "from" in [unit.reading]`},
		{"on    = \"mains_line_rms_v\"\n", "", ":8:3: a reading without on"},
	} {
		s, err := Parse([]byte(strings.Replace(shownSheet, c.from, c.to, 1)), path)
		if err == nil {
			err = s.CheckWords(nil, criteria)
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.to, err, c.want)
		}
	}
	text, err := NewText([]byte(shownSheet), path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := text.Append("unit[0].reading", Fields{{"on", "spike_peak_p95_v"}, {"value", 0.1}}); err != nil {
		t.Fatal(err)
	}
	if s, err := text.Sheet(path); err != nil || len(s.Units[0].Shown) != 3 {
		t.Errorf("%v\n%s", err, text.Bytes())
	}
}
