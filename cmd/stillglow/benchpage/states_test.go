package benchpage

import (
	"encoding/binary"
	"math"
	"net/url"
	"strings"
	"testing"

	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
)

// What a scope without files shows is typed with its unit, shown with what it says of
// its limit, and proves a fail; what it can't prove it says.
func TestReadOffAScreen(t *testing.T) {
	s := serve(t, Options{})
	s.must(t, "unit-new", "brand", "Quibble", "mark", "Q1", "rated_v", "7")
	for _, bad := range [][]string{
		{"on", "ripple_pp_20mhz_v", "value", "60"}, // V or mV?
		{"on", "ripple_pp_20mhz_v", "value", "-60 mV"},
		{"on", "ripple_pp_20mhz_v", "value", "much"},
		{"on", "heater_dc_v", "value", "7 V"},
		{"on", "made_up", "value", "7 V"},
		{"on", "ripple_pp_20mhz_v", "value", "60 mV", "plus_minus_percent", "100"},
	} {
		if a := s.edit(t, "shown", append([]string{"unit", "Quibble Q1"}, bad...)...); a.OK || a.Field == "" {
			t.Errorf("%v: %+v", bad, a)
		}
	}
	s.must(t, "shown", "unit", "Quibble Q1", "on", "ripple_pp_20mhz_v", "value", "60 mV p-p", "band_limited", "true", "by", "pocket scope")
	s.must(t, "shown", "unit", "Quibble Q1", "on", "mains_line_rms_v", "value", "200 µV", "load_a", "0,94")
	u := s.sheet(t).Units[0]
	want := []sheet.Shown{
		{On: "ripple_pp_20mhz_v", Value: 0.06, PlusMinusPercent: sheet.UsualPlusMinusPercent, By: "pocket scope", BandLimited: true, Key: "unit[0].reading[0]"},
		{On: "mains_line_rms_v", Value: 200e-6, PlusMinusPercent: sheet.UsualPlusMinusPercent, LoadA: 0.94, Key: "unit[0].reading[1]"},
	}
	if len(u.Shown) != 2 || u.Shown[0] != want[0] || u.Shown[1] != want[1] {
		t.Fatalf("%+v", u.Shown)
	}
	s.until(t, "/part/whose", "a reading never shows that a unit passes") // of the second
	if body := s.until(t, "/part/whose", "the unit fails"); !strings.Contains(body, "60 mV") {
		t.Errorf("what the readings say is not shown:\n%s", body)
	}
	s.until(t, "/part/decided", "fail")
	s.must(t, "shown-away", "unit", "Quibble Q1", "n", "0", "was", "ripple_pp_20mhz_v")
	if a := s.edit(t, "shown-away", "unit", "Quibble Q1", "n", "0", "was", "ripple_pp_20mhz_v"); a.OK {
		t.Error("another reading is removed in its place")
	}
	if u := s.sheet(t).Units[0]; len(u.Shown) != 1 || u.Shown[0].On != "mains_line_rms_v" {
		t.Errorf("%+v", u.Shown)
	}
}

func TestScaled(t *testing.T) {
	for typed, want := range map[string]float64{
		"60 mV": 0.06, "60mV p-p": 0.06, "0,5 V": 0.5, "900 µV rms": 900e-6, "900uV": 900e-6, "150 nV/√Hz": 150e-9, "47k": 47e3, "1.5 kΩ": 1500,
		"100 µF": 100e-6, "5e-12 F": 5e-12, "6e-2V": 0.06, "10 M": 1e7, "120 /s": 120,
	} {
		if got, err := scaled(typed, false); err != nil || math.Abs(got/want-1) > 1e-15 {
			t.Errorf("%q: %g, %v; want %g", typed, got, err, want)
		}
	}
	for _, typed := range []string{"", "V", "6 0 mV", "1,000 V,", "60 mX", "1e3 kV", "0x10", "NaN", "Inf V", "--1 V", "1e999 V"} {
		if got, err := scaled(typed, false); err == nil {
			t.Errorf("%q is taken for %g", typed, got)
		}
	}
}

// One supply bare, behind its filter and behind its dropper, on two days: each capture
// goes to the state that is chosen, and the page shows them side by side.
func TestStatesOfOneUnit(t *testing.T) {
	s := serve(t, Options{})
	ids := map[string]string{}
	for i, name := range []string{"q1-bare.csv", "q1-later.csv", "q1-filter.csv", "q1-dropper.csv", "q1-common.csv"} {
		s.send(t, name, 7+0.01*float64(i))
		ids[name] = s.id(t, name)
	}
	who := []string{"brand", "Quibble", "mark", "Q1", "load_a", "1"}
	s.must(t, "give", append(who, "id", ids["q1-bare.csv"], "state", "bare", "date", "2026-01-10")...)
	s.must(t, "give", append(who, "id", ids["q1-filter.csv"], "state", "filter")...)
	s.must(t, "unit-again", "unit", "Quibble Q1 bare", "state", "bare", "date", "2026-05-02")
	s.must(t, "give", append(who, "id", ids["q1-later.csv"], "state", "bare", "date", "2026-05-02")...)
	s.must(t, "give-all", "id", ids["q1-dropper.csv"], "id", ids["q1-common.csv"],
		"brand."+ids["q1-dropper.csv"], "Quibble", "mark."+ids["q1-dropper.csv"], "Q1", "state."+ids["q1-dropper.csv"], "dropper",
		"brand."+ids["q1-common.csv"], "quibble", "mark."+ids["q1-common.csv"], "q1", "state."+ids["q1-common.csv"], "bare")
	got := s.sheet(t)
	state := map[string]string{}
	for _, u := range got.Units {
		for _, c := range u.Captures {
			state[c.File] = u.State + " " + u.Date
		}
	}
	for file, want := range map[string]string{
		"captures/q1-bare.csv": "bare 2026-01-10", "captures/q1-later.csv": "bare 2026-05-02", "captures/q1-filter.csv": "filter ",
		"captures/q1-dropper.csv": "dropper ", "captures/q1-common.csv": "bare 2026-05-02",
	} {
		if state[file] != want {
			t.Errorf("%s is of %q, want %q", file, state[file], want)
		}
	}
	if len(got.Units) != 4 || len(got.Loose) != 0 {
		t.Errorf("%d units, %d captures of none", len(got.Units), len(got.Loose))
	}
	if c := got.Units[2].Captures; len(c) != 2 || c[1].Options.Mode != capture.Common {
		t.Errorf("the common-mode capture: %+v", c)
	}
	for _, name := range []string{"Quibble Q1 bare, 2026-01-10", "Quibble Q1 behind its filter", "Quibble Q1 behind its dropper"} {
		s.until(t, "/part/whose", "Unit "+name)
	}
	if a := s.edit(t, "unit-again", "unit", "Quibble Q1 behind its filter", "state", "filter", "date", ""); a.OK || a.Field != "state" {
		t.Errorf("one state twice: %+v", a)
	}
	if a := s.edit(t, "unit-again", "unit", "Quibble Q1 behind its filter", "state", "filter", "date", "in May"); a.OK || a.Field != "date" {
		t.Errorf("no day: %+v", a)
	}
	if a := s.edit(t, "unit-new", "brand", "Quibble", "mark", "q1"); a.OK {
		t.Error("a unit that is there already")
	}
	s.must(t, "unit", "unit", "Quibble Q1 behind its filter", "state", "filter", "date", "2026-06-01", "limit_a", "2.6", "output_uf", "1000", "note", "LC of 33 µH")
	if u := s.sheet(t).Units[1]; u.State != sheet.BehindFilter || u.Date != "2026-06-01" || u.OutputUF != 1000 || u.LimitA != 2.6 {
		t.Errorf("%+v", u)
	}
	s.must(t, "heaters", "ambient_c", "0", "headroom_percent", "70")
	if h := s.sheet(t).Heaters; h.AmbientC == nil || *h.AmbientC != 0 || h.HeadroomPercent != 70 {
		t.Errorf("%+v", h)
	}
	s.must(t, "heaters", "ambient_c", "", "headroom_percent", "")
	if h := s.sheet(t).Heaters; h.AmbientC != nil || h.HeadroomPercent != 0 {
		t.Errorf("%+v", h)
	}
}

// sineWAV is a second of 1 kHz at a level of full scale, 16 bit, 48 kS/s.
func sineWAV(level, noise float64) string {
	const rate = 48000
	b := []byte("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00")
	b = binary.LittleEndian.AppendUint32(b, rate)
	b = binary.LittleEndian.AppendUint32(b, 2*rate)
	b = append(b, 2, 0, 16, 0)
	b = binary.LittleEndian.AppendUint32(append(b, "data"...), 2*rate)
	for i := range rate {
		x := level*math.Sin(2*math.Pi*1000*float64(i)/rate) + noise*math.Sin(float64(i)*float64(i))
		b = binary.LittleEndian.AppendUint16(b, uint16(int16(math.Round(32768*x))))
	}
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
	return string(b)
}

// A sound card is calibrated on the page by a sine of known volts, whose recording
// then leaves the sheet; noise calibrates nothing.
func TestCalibrateOnThePage(t *testing.T) {
	s := serve(t, Options{})
	for name, body := range map[string]string{"sine.wav": sineWAV(0.4, 0), "noise.wav": sineWAV(0.1, 0.2), "unit.wav": sineWAV(0.01, 0.001)} {
		if got := s.raw(t, s.request("POST", "/captures?name="+name, body)); got != 201 {
			t.Fatalf("%s: %d", name, got)
		}
	}
	cal := func(name, rms string) answer {
		return s.post(t, "/calibrate", url.Values{"id": {s.id(t, name)}, "volts_rms": {rms}})
	}
	for _, bad := range [][2]string{{"noise.wav", "1 V"}, {"sine.wav", ""}, {"sine.wav", "0.5"}, {"sine.wav", "-1 V"}} {
		if a := cal(bad[0], bad[1]); a.OK || a.Field != "volts_rms" {
			t.Errorf("%v: %+v", bad, a)
		}
	}
	s.until(t, "/part/check", "calibrate from it")
	a := cal("sine.wav", "500 mV")
	if strings.Contains(a.Said, "e-0") {
		t.Errorf("a residual that no builder reads: %s", a.Said)
	}
	if !a.OK || !strings.Contains(a.Said, "1.7678 V") { // 0.5·√2/0.4
		t.Fatalf("%+v", a)
	}
	got := s.sheet(t)
	if v := got.Instrument.VoltsPerFullScale; math.Abs(v/1.767767-1) > 1e-5 || len(got.Loose) != 2 {
		t.Errorf("%g V at full scale, %d captures", v, len(got.Loose))
	}
	s.until(t, "/part/bring", "Calibrated: ")
	s.until(t, "/part/check", "<dd>12.5") // 0.01 of it, rms, and some noise, of the unit's capture
}

// The baseline for all can be told to be made with the supply off, and is a capture
// again without that.
func TestBaselineWithTheSupplyOff(t *testing.T) {
	s := serve(t, Options{})
	s.send(t, "floor.csv", 0)
	s.must(t, "baseline", "id", s.id(t, "floor.csv"))
	s.until(t, "/part/check", "It was made with the supply off")
	s.must(t, "baseline-off", "id", s.id(t, "floor.csv"))
	if c := s.sheet(t).Instrument.Baseline; c == nil || !c.SupplyOff {
		t.Errorf("%+v", c)
	}
	s.must(t, "baseline-away", "id", s.id(t, "floor.csv"))
	if got := s.sheet(t); len(got.Loose) != 1 || got.Instrument.Baseline != nil {
		t.Errorf("%+v", got)
	}
}

// The stage is told with prefixes and units, stands in the sheet in its own, and what
// is typed comes back as it was meant.
func TestHearsOnThePage(t *testing.T) {
	s := serve(t, Options{})
	if a := s.edit(t, "hears", "cathode_ohm", "", "gain", "20"); a.OK || a.Field != "cathode_ohm" {
		t.Errorf("%+v", a)
	}
	s.must(t, "hears", "cathode_ohm", "1.5 kΩ", "bypass_f", "100 µF", "valve", "12AX7", "heater_reference", "centre tap", "riaa", "true", "allowed_input_v", "0,3 µV")
	h := s.sheet(t).Hears
	if h == nil || h.CathodeOhm != 1500 || h.BypassF != 100e-6 || h.HeaterReference != string(target.CentreTap) || !h.RIAA || h.AllowedInputV != 0.3e-6 {
		t.Fatalf("%+v", h)
	}
	body := s.until(t, "/part/decided", `value="1.5 kΩ"`)
	for _, want := range []string{`value="100 µF"`, `value="300 nV"`, "<option selected>centre tap"} {
		if !strings.Contains(body, want) {
			t.Errorf("no %s", want)
		}
	}
	s.must(t, "hears-away")
	if s.sheet(t).Hears != nil {
		t.Error("it stays")
	}
}
