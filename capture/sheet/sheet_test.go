package sheet

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture"
)

// bench makes a folder with the named empty files and gives its sheet's path.
func bench(t testing.TB, files ...string) string {
	t.Helper()
	dir := t.TempDir()
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(dir, f), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "bench.toml")
}

const good = `
title = "Spring bricks"
date = 2026-03-14
invented = true
mains_hz = 50
target = "line-preamp"
reserve_db = 3
mask = [[100, 1e-4], [1e6, 1e-6]]
pattern = "{brand}-{mark}-{load}A{rest}.csv"

[limits]
heater_dc_v = [6.6, 7.6]
spikes_per_s = 1000

[instrument]
name = "two channels, 100 MHz"
probe_factor = 10
bandwidth_hz = 100e6
coupling = "ac"
volts_per_full_scale = 2
[instrument.baseline]
file = "base.csv"

[heaters]
exponent = 0.6
[[heaters.valve]]
type = "12AU7"
count = 2
wiring = "6.3 V parallel"
[[heaters.valve]]
type = "6N2P"

[[unit]]
brand = "Quibble"
mark = "Q1"
rated_v = 7
rated_a = 2
readings = [{ load_a = 0, v = 7.1 }, { load_a = 0.94, v = 7 }]
[[unit.capture]]
file = "a.csv"
load_a = 0.94
coupling = "dc"
channel = 2
[[unit.capture]]
file = "b.WAV"

[[unit]]
brand = "Quibble"
mark = "Q2"

[hears]
cathode_ohm = 820
bypass_f = 1e-4
bypass_esr_ohm = 0.2
stage = "second"
mu = 18.5
gm_ma_per_v = 2.2
gain_before = 3
`

func TestReadWhole(t *testing.T) {
	path := bench(t, "base.csv", "a.csv", "b.WAV")
	if err := os.WriteFile(path, []byte(good), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	if s.Date != "2026-03-14" || s.MainsHz != 50 || s.Limits["heater_dc_v"] != 7.6 || s.HeaterDCMinV != 6.6 || s.Limits["spikes_per_s"] != 1000 {
		t.Errorf("%+v", s)
	}
	if want := (Hears{CathodeOhm: 820, BypassF: 1e-4, BypassESROhm: 0.2, Mu: 18.5, GmMAPerV: 2.2, GainBefore: 3, Stage: "second"}); s.Hears == nil || *s.Hears != want {
		t.Errorf("hears %+v, want %+v", s.Hears, want)
	}
	if g := s.Heaters.Groups; len(g) != 2 || g[0].Count != 2 || g[0].Wiring != "parallel" || g[1].Count != 1 || g[0].Line != 26 {
		t.Errorf("groups %+v", g)
	}
	u := s.Units[0]
	if u.Name() != "Quibble Q1" || u.Readings[1] != (Reading{0.94, 7}) || len(u.Captures) != 2 {
		t.Errorf("unit %+v", u)
	}
	a, b := u.Captures[0], u.Captures[1]
	if a.Options.Coupling != capture.CouplingDC || a.Options.ProbeFactor != 10 || a.Options.BandwidthHz != 100e6 ||
		a.Options.Channel != "2" || a.Path != filepath.Join(s.Dir, "a.csv") || a.Baseline == nil || a.Line != 39 {
		t.Errorf("capture %+v", a)
	}
	// the scope's probe, bandwidth, coupling and baseline are not the sound card's
	if b.Options.ProbeFactor != 0 || b.Options.Coupling != "" || b.Options.BandwidthHz != 0 || b.Options.VoltsPerFullScale != 2 || b.Baseline != nil {
		t.Errorf("WAV %+v", b)
	}
}

// Each mistake gives one line with file, line and column, what was found and
// what was expected.
func TestMistakes(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"key":           {"rated_a = 2", "ratd_a = 2", `:37:1: unknown key "ratd_a" in [unit], expected "rated_a"`},
		"key top":       {"reserve_db", "reserve_bd", `:7:1: unknown key "reserve_bd", expected "reserve_db"`},
		"key deep":      {"load_a = 0.94\n", "load = 0.94\n", `unknown key "load" in [unit.capture], expected "load_a"`},
		"key far":       {"rated_a = 2", "zzzzzzzzzz = 2", "expected one of brand, capture"},
		"type":          {"rated_a = 2", `rated_a = "2"`, ":37:11: unit.rated_a is a TOML string, expected a number"},
		"brand":         {"brand = \"Quibble\"\nmark = \"Q1\"", `mark = "Q1"`, ":33:3: a unit without a brand"},
		"twice":         {`mark = "Q2"`, `mark = "Q1"`, `:49:1: unit "Quibble Q1" again, first in line 33`},
		"capture twice": {`"b.WAV"`, "\"a.csv\"\nchannel = 2", `"a.csv" again, first in line 39`},
		"missing":       {`"b.WAV"`, `"c.wav"`, `:45:1: no capture at "c.wav"; paths are relative to the sheet's folder`},
		"folder":        {`"b.WAV"`, `"."`, `"." is a folder`},
		"nan":           {"rated_a = 2", "rated_a = nan", ":37:1: rated_a = NaN, expected a finite number"},
		"inf":           {"rated_a = 2", "rated_a = +inf", "expected a finite number"},
		"negative":      {"load_a = 0.94\ncoup", "load_a = -1\ncoup", "load_a = -1, expected 0 or more"},
		"negative read": {"{ load_a = 0,", "{ load_a = -1,", ":38:15: load_a = -1, expected 0 or more"},
		"reading":       {"{ load_a = 0, v = 7.1 }", "{ load_a = 0 }", "a reading without load_a or v"},
		"type int":      {"count = 2", "count = 2.5", "heaters.valve.count is a TOML float, expected a whole number"},
		"type list":     {"readings = [{ load_a = 0, v = 7.1 }, { load_a = 0.94, v = 7 }]", "readings = 7", ":38:12: unit.readings is a TOML integer, expected a list in brackets"},
		"type date":     {"rated_a = 2", "rated_a = 2026-01-02", ":37:11: unit.rated_a is a TOML date, expected a number"},
		"type once":     {"[instrument]", "[[instrument]]", ": [[instrument]], expected [instrument], which a sheet has once"},
		"type dotted":   {"rated_a = 2", "rated_a.x = 2", `:37:1: a key "x" inside unit.rated_a, expected a number`},
		"type hex":      {"rated_a = 2", "rated_a = 0x2", ":37:11: unit.rated_a = 0x2, expected a decimal number"},
		"type table":    {"rated_a = 2", "rated_a = {}", "unit.rated_a"},
		"type array":    {"[[unit]]\nbrand = \"Quibble\"\nmark = \"Q2\"", "[units]", "unknown key"},
		"wiring":        {`"6.3 V parallel"`, `"paralel"`, `wiring = "paralel", expected`},
		"mains":         {"mains_hz = 50", "mains_hz = 55", "mains_hz = 55, expected 50 or 60"},
		"coupling":      {`coupling = "dc"`, `coupling = "gnd"`, "expected one of ac, dc"},
		"limit pair":    {"heater_dc_v = [6.6, 7.6]", "heater_dc_v = 7", "expected two numbers"},
		"limit order":   {"[6.6, 7.6]", "[7.6, 6.6]", "heater_dc_v = [lowest, highest]"},
		"limit text":    {"spikes_per_s = 1000", `spikes_per_s = "few"`, "expected a number over 0"},
		"bypass in uF":  {"bypass_f = 1e-4", "bypass_f = 22", "bypass_f = 22, expected farads, 0.1 at most; for 22 µF write 2.2e-05"},
		"stray in pF":   {"bypass_f = 1e-4", "heater_cathode_f = 5", "heater_cathode_f = 5, expected farads, 1e-08 at most; for 5 pF write 5e-12"},
		"cathode in k":  {"cathode_ohm = 820", "cathode_ohm = 1.5", "cathode_ohm = 1.5, expected ohms, 10 or more; for 1.5 kΩ write 1500"},
		"insulation":    {"bypass_f = 1e-4", "heater_cathode_ohm = 50", "for 50 MΩ write 5e+07"},
		"gm in uS":      {"gm_ma_per_v = ", "gm_ma_per_v = 2200 #", "for 2200 µS write 2.2"},
		"input in nV":   {"cathode_ohm = 820", "cathode_ohm = 820\nallowed_input_v = 300", "for 300 nV write 3e-07"},
		"output in F":   {"rated_a = 2", "rated_a = 2\noutput_uf = 0.001", "output_uf = 0.001, expected microfarads, 0.01 or more; for 0.001 F write 1000"},
		"leads in mΩ":   {"[heaters]", "[heaters]\nlead_ohm = 50", "lead_ohm = 50, expected ohms, 10 at most; for 50 mΩ write 0.05"},
		"lead in cm":    {"[heaters]", "[heaters]\nlead_m = 150", "lead_m = 150, expected metres, 20 at most; for 150 cm write 1.5"},
		"gain share":    {"[instrument]", "[instrument]\ngain_percent = 0.03", "gain_percent = 0.03, expected percent, 0.1 or more; for a share of 0.03 write 3"},
		"part share":    {"[heaters]", "[heaters]\npart_tolerance_percent = 0.05", "part_tolerance_percent = 0.05, expected percent, 0.1 or more; for a share of 0.05 write 5"},
		"full scale mV": {"volts_per_full_scale = 2", "volts_per_full_scale = 500", "for 500 mV write 0.5"},
		"limit in mV":   {"spikes_per_s = 1000", "ripple_pp_20mhz_v = 20", "ripple_pp_20mhz_v = 20, expected less than 1, since limits are in volts; for 20 mV write 0.02"},
		"limit in nV":   {"spikes_per_s = 1000", "noise_density_v_per_rthz = 300", "expected less than 0.01"},
		"mains in mV":   {"spikes_per_s = 1000", "mains_line_rms_v = 10", "expected less than 10"},
		"mask":          {"[1e6, 1e-6]", "[10, 1e-6]", "10 Hz after 100 Hz"},
		"mask point":    {"[1e6, 1e-6]", "[1e6]", "a mask point of 1 numbers"},
		"date":          {"2026-03-14", `"14.3.26"`, "expected a date like"},
		"count":         {"count = 2", "count = 0", "count = 0, expected a number over 0"},
		"pattern":       {"{rest}", "{what}", "{what} in pattern"},
		"syntax":        {"[limits]", "[limits", ":11:"},
		"duplicate":     {"mains_hz = 50", "mains_hz = 50\nmains_hz = 60", ":6:"},
		"exponent":      {"exponent = 0.6", "exponent = 6", "expected 0.3 to 1"},
		"channel":       {"channel = 2", "channel = 0", "channel = 0"},
		"hears":         {"gain_before = 3", "gain_befor = 3", `:58:1: unknown key "gain_befor" in [hears], expected "gain_before"`},
		"hears mu":      {"mu = 18.5", "mu = 0", ":56:1: mu = 0, expected a number over 0"},
		"hears gm":      {"gm_ma_per_v = 2.2", `gm_ma_per_v = "2.2"`, ":57:15: hears.gm_ma_per_v is a TOML string, expected a number"},
		"hears esr":     {"bypass_f = 1e-4\n", "", ":53:1: bypass_esr_ohm without bypass_f, expected the bypass capacitor in farads"},
		"hears bare":    {"cathode_ohm = 820\n", "", ":51:2: [hears] without cathode_ohm"},
		"hears stage":   {`stage = "second"`, `stage = "third"`, `stage = "third", expected one of first, second`},
	} {
		t.Run(name, func(t *testing.T) {
			path := bench(t, "base.csv", "a.csv", "b.WAV")
			text := strings.Replace(good, c.from, c.to, 1)
			if text == good {
				t.Fatal("the replacement does nothing")
			}
			_, err := Parse([]byte(text), path)
			var pe *capture.ParseError
			if !errors.As(err, &pe) {
				t.Fatalf("got %v, want a ParseError", err)
			}
			if !strings.HasPrefix(err.Error(), path+":") || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("got %q\nwant %q in it", err, c.want)
			}
			if pe.Line == 0 || pe.Column == 0 {
				t.Errorf("no line or column in %q", err)
			}
		})
	}
}

func TestHostileSheets(t *testing.T) {
	for name, data := range map[string][]byte{
		"empty":        nil,
		"blank":        []byte(" \n\t\n"),
		"binary":       {0, 1, 2, 3},
		"latin1":       []byte("title = \"\xe9\""),
		"50 MB":        bytes.Repeat([]byte("a=1\n"), 50<<18),
		"deep arrays":  append([]byte("mask = "), bytes.Repeat([]byte("["), MaxBytes-10)...),
		"deep tables":  append([]byte("a = "), bytes.Repeat([]byte("{a="), MaxBytes/4)...),
		"dotted":       append(bytes.Repeat([]byte("a."), MaxBytes/3), "a = 1"...),
		"dotted table": append(append([]byte("["), bytes.Repeat([]byte("a."), MaxBytes/3)...), "a]"...),
		"many tables":  bytes.Repeat([]byte("[[unit]]\n"), MaxBytes/10),
		"open string":  []byte("title = \"abc"),
		"many keys":    bytes.Repeat([]byte("a=1\n"), MaxBytes/4),
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Parse(data, "x.toml")
			if err == nil || strings.Contains(err.Error(), "\n") {
				t.Errorf("got %v, want one line", err)
			}
		})
	}
}

func TestNotAFile(t *testing.T) {
	dir := t.TempDir()
	loop := filepath.Join(dir, "loop.toml")
	if err := os.Symlink(loop, loop); err != nil {
		t.Skip(err)
	}
	big := filepath.Join(dir, "big.toml")
	if err := os.WriteFile(big, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(big, 50<<20); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		dir:                             "a folder",
		loop:                            "too many",
		filepath.Join(dir, "none.toml"): "no such file",
		big:                             "more than 2 MiB",
	} {
		if _, err := Read(path); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("got %v, want %q", err, want)
		}
	}
}

func TestCheckWords(t *testing.T) {
	s, err := Parse([]byte("target = \"line-preamb\"\n[limits]\nspike_per_s = 3\n"), "x.toml")
	if err != nil {
		t.Fatal(err)
	}
	check := func(err error, want string) {
		t.Helper()
		if err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	check(s.CheckWords([]string{"line-preamp", "phono"}, nil), `x.toml:1:1: unknown target "line-preamb", expected "line-preamp"`)
	s.Target = ""
	check(s.CheckWords(nil, []string{"spikes_per_s", "ripple_pp_v"}), `x.toml:3:1: unknown criterion "spike_per_s", expected "spikes_per_s"`)
}

func TestAdd(t *testing.T) {
	path := bench(t, "base.csv", "a.csv", "b.WAV", "new.csv")
	s, err := Parse([]byte(good), path)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Add(1, "new.csv", 0.9); err != nil {
		t.Fatal(err)
	}
	c := s.Units[1].Captures[0]
	if c.LoadA != 0.9 || c.Options.ProbeFactor != 10 || c.Baseline == nil || c.Path != filepath.Join(s.Dir, "new.csv") {
		t.Errorf("%+v", c)
	}
	if err := s.Add(1, "gone.csv", 0); err == nil {
		t.Error("a file that is not there is added")
	}
}

func TestReadAwaiting(t *testing.T) {
	path := bench(t, "a.csv")
	if err := os.WriteFile(path, []byte(good), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(path); err == nil {
		t.Error("a missing file is no error for Read")
	}
	s, err := ReadAwaiting(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(s.Awaited, " "); got != "base.csv b.WAV" {
		t.Errorf("awaited %q", got)
	}
	if c := s.Units[0].Captures; len(c) != 1 || c[0].File != "a.csv" || c[0].Baseline != nil {
		t.Errorf("%+v", c)
	}
}

func TestPattern(t *testing.T) {
	units := []Unit{{Brand: "Quibble", Model: "Q 7", Mark: "A1"}, {Brand: "Quibble", Mark: "A11"}, {Brand: "Tarn Oak", Mark: "A1"}}
	p, err := ParsePattern("{brand}-{mark}-{load}A{rest}.csv")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]struct {
		unit  int
		loadA float64
	}{
		"quibble-a1-0.94A fast.csv":  {0, 0.94},
		"Quibble-A11-1,2A.csv":       {1, 1.2},
		"tarn_oak-A1-2A-slow.csv":    {2, 2},
		"TarnOak-A1-2A.csv":          {2, 2},
		"quibble-a2-0.94A.csv":       {-1, 0},
		"quibble-a1-0.94A.csv.part":  {-1, 0},
		"xquibble-a1-0.94A fast.csv": {-1, 0},
	} {
		unit, load, ok := p.Match(name, units)
		if unit != want.unit || load != want.loadA || ok != (want.unit >= 0) {
			t.Errorf("%s: unit %d at %g A, %v", name, unit, load, ok)
		}
	}
	for _, c := range []struct {
		pattern, name string
		unit          int
		loadA         float64
	}{
		// A word ends where what stands for anything begins.
		{"{mark}{rest}.csv", "1-fast.csv", 0, 0}, {"{mark}{rest}.csv", "11-fast.csv", -1, 0}, {"{mark}{rest}.csv", "1a.csv", 0, 0},
		{"*{mark}.csv", "scope21.csv", -1, 0}, {"*{mark}.csv", "scope1.csv", 0, 0}, {"*{mark}.csv", "2 1.csv", 0, 0},
		{"{brand}{rest}-{mark}.csv", "aldermoor-1.csv", -1, 0}, {"{brand}{rest}-{mark}.csv", "alder-moor-1.csv", 0, 0}, {"{brand}*{mark}.csv", "alder1.csv", 0, 0},
		// One way of writing each letter, whatever gaps.
		{"{brand}-{mark}.csv", "mu\u0308he_7-2.csv", 1, 0}, {"{brand}-{mark}.csv", "M\u00dcHE7-2.csv", 1, 0}, {"{brand}-{mark}.csv", "m\u00fche-7-2.csv", 1, 0},
		// Amperes and milliamperes.
		{"{brand}-{mark}-{load}mA.csv", "alder-1-940mA.csv", 0, 0.94}, {"{brand}-{mark}-{load}A.csv", "alder-1-940mA.csv", 0, 0.94}, {"{brand}-{mark}-{load}A.csv", "alder-1-0,94A.csv", 0, 0.94},
		{"{brand}-{mark}-{load}{rest}.csv", "alder-1-940mA fast.csv", 0, 0.94}, {"{brand}-{mark}-{load}{rest}.csv", "alder-1-0.94max.csv", 0, 0.94}, {"{mark}-{load}*.csv", "1-2 A.csv", 0, 2},
	} {
		p, err := ParsePattern(c.pattern)
		if err != nil {
			t.Fatal(err)
		}
		unit, load, ok := p.Match(c.name, []Unit{{Brand: "Alder", Mark: "1"}, {Brand: "M\u00fche-7", Mark: "2"}})
		if unit != c.unit || math.Abs(load-c.loadA) > 1e-12 || ok != (c.unit >= 0) {
			t.Errorf("%s, %s: unit %d at %g A, %v", c.pattern, c.name, unit, load, ok)
		}
	}
	p, _ = ParsePattern("{mark}*.csv")
	if u, _, ok := p.Match("A1.csv", units); ok {
		t.Errorf("a name that fits two units went to %d", u)
	}
	for _, bad := range []string{"", "*.csv", "{mark}/x.csv", "{mark", "{marks}.csv"} {
		if _, err := ParsePattern(bad); err == nil {
			t.Errorf("%q is accepted", bad)
		}
	}
}

// Every key has a tag of its own and keysOf finds every table.
func TestKeysOf(t *testing.T) {
	for _, table := range [][]string{nil, {"unit"}, {"unit", "capture"}, {"unit", "readings"}, {"heaters", "own_valve"}, {"instrument", "baseline"}, {"hears"}} {
		keys := keysOf(table)
		if len(keys) < 2 || keys[0] == "" {
			t.Errorf("%v: %v", table, keys)
		}
	}
	if keysOf([]string{"limits"}) != nil || keysOf([]string{"nothing"}) != nil {
		t.Error("a table without fixed keys has some")
	}
}

func FuzzSheet(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("[[unit]]\nbrand='x'\n[[unit]]\nbrand=\"x\"\n"))
	f.Add([]byte("unit = [{brand='x', readings=[{load_a=1,v=2}]}]\n"))
	f.Add([]byte("heaters.valve = [{type='a', count=3}]\nmask=[[1,2],[2,nan]]\n"))
	f.Add([]byte("date = 07:32:00\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Parse(data, filepath.Join("no", "such", "folder", "x.toml"))
		if (s == nil) == (err == nil) {
			t.Fatal("neither sheet nor error, or both")
		}
		if err != nil && strings.ContainsAny(err.Error(), "\n\r") {
			t.Fatalf("more than one line: %q", err)
		}
	})
}

// Captures that no unit has yet are read with the instrument's settings, and count
// as named.
func TestLooseCaptures(t *testing.T) {
	path := bench(t, "a.csv", "b.csv")
	text := "[instrument]\nprobe_factor = 10\nmax_rate_hz = 1e9\n[[capture]]\nfile = 'a.csv'\n[[capture]]\nfile = 'gone.csv'\n[[capture]]\nfile = 'b.csv'\n"
	if _, err := Parse([]byte(text), path); err == nil {
		t.Error("a missing file is no error")
	}
	x := mustText(t, text)
	s, err := x.Sheet(path)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Loose) != 2 || s.Loose[1].Key != "capture[2]" || s.Loose[1].Options.ProbeFactor != 10 || s.Instrument.MaxRateHz != 1e9 {
		t.Errorf("%+v", s.Loose)
	}
	if err := mustText(t, text+"[[unit]]\nbrand='x'\n[[unit.capture]]\nfile='a.csv'\n").Check(path); err == nil {
		t.Error("a file named twice is no error")
	}
}
