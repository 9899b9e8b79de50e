package sheet

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture"
)

// Every slip of a hurried hand is one line with its place, what was found, what belongs
// there and what to write.
func TestSlips(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"fast.csv", "a b #1.csv"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("0,1\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "b.toml")
	for _, c := range []struct {
		text, want string // want: "line:column: words", parts joined by |
	}{
		{"mains_hz = 50,0", "1:12: 50,0, expected a decimal point|write 50.0"},
		{"[[unit]]\nbrand = \"A\"\nreadings = [{ load_a = 0,5, v = 7.1 }]", "3:24: 0,5, expected a decimal point|write 0.5"},
		{"title = “x”", "1:9: “, expected a straight quotation mark"},
		{"title = x and y", "1:9: x and y, expected text in quotes|write \"x and y\""},
		{"[[unit]]\nbrand = \"A\"\n[[unit.capture]]\nfile = a b #1.csv", "4:8: a b #1.csv, expected text in quotes|write \"a b #1.csv\""},
		{"[[unit]]\nbrand = \"A\"\n[[unit.capture]]\nfile = \"C:\\Users\\fast.csv\"", "4:8: |expected a forward slash|write \"C:/Users/fast.csv\""},
		{"mains_hz: 50", "1:1: mains_hz:, expected an equals sign|write mains_hz = "},
		{"mains_hz = 50 Hz", "1:12: 50 Hz, expected the number alone|mains_hz is in hertz"},
		{"[[unit]]\nbrand = \"A\"\nrated_v = 7V", "3:11: 7V, expected the number alone|rated_v is in volts"},
		{"[[unit]]\nbrand = \"A\"\nrated_v = 07", "3:11: 07|write 7"},
		{"[[unit]]\nbrand = \"A\"\nrated_a = .94", "3:11: .94|write 0.94"},
		{"[[unit]]\nbrand = \"A\"\nrated_a = 00.94", "3:11: 00.94|write 0.94"},
		{"[[unit]]\nbrand = \"A\"\nrated_a = 2.", "3:11: 2.|write 2.0"},
		{"invented = yes", "1:12: yes, expected true or false in small letters; write true"},
		{"invented = False", "1:12: False|write false"},
		{"mains_hz = 50 // hum", "1:15: //|expected # before a comment"},
		{"mains_hz = 50,", "1:14: ,|leave the comma out"},
		{"[[unit]\nbrand = \"A\"", "1:1: [[unit]|write [[unit]]"},
		{"[unit]\nbrand = \"A\"\n[[unit]]\nbrand = \"B\"", "1:1: [unit], expected two brackets|write [[unit]]"},
		{"mains_hz = 50\nmains_hz = 60", "2:1: |already defined|take one of the two out"},
		{"title = \"x", "1:9: \"x, expected a quotation mark at its end"},
		{"mains_hz =", "1:11: nothing after the equals sign, expected a value"},
		{"date = \"14.03.2026\"", "1:1: |write 2026-03-14"},
		{"date = \"03/04/2026\"", "1:1: |write 2026-04-03 or 2026-03-04"},
		{"[instrument]\nbandwidth_hz = \"100 MHz\"", "2:16: |write 1e+08"},
		{"[instrument]\nbandwidth_hz = 100", "2:1: bandwidth_hz = 100, expected hertz, 1000 or more; for 100 MHz write 1e+08"},
		{"[[unit]]\nbrand = \"A\"\nrated_a = 1500", "3:1: rated_a = 1500, expected amperes, 100 at most; for 1500 mA write 1.5"},
		{"[instrument]\ngain_percent = 300", "2:1: gain_percent = 300, expected percent, 100 at most"},
		{"[heaters]\nheadroom_percent = 0.8", "2:1: headroom_percent = 0.8, expected percent, 2 or more; for a share of 0.8 write 80"},
		{"[heaters]\nambient_c = 450", "2:1: ambient_c = 450, expected °C, -40 to 100"},
		{"[[unit]]\nbrand = \"A\"\nlimit_a = 2600", "3:1: limit_a = 2600, expected amperes, 100 at most; for 2600 mA write 2.6"},
		{"[instrument]\nrated_v = 7", "2:1: unknown key \"rated_v\" in [instrument], expected it in [[unit]]; move the line there"},
		{"[heaters]\nmains_hz = 50", "2:1: unknown key \"mains_hz\" in [heaters], expected it in the head of the sheet|move the line there"},
		{"[heaters]\nload_a = 0.94", "2:1: unknown key \"load_a\" in [heaters]|[[unit.capture]]|move the line there"},
		{"[[unit]]\nbrand = \"A\"\nreadings = [{ load_a = 0.94, volts = 7.03 }]", "3:30: unknown key \"volts\" in [unit.readings], expected one of load_a, v"},
		{"[heaters]\nleads_ohm = 0.1", "2:1: unknown key \"leads_ohm\" in [heaters], expected \"lead_ohm\""},
		{"[[heaters.valve]]\ntype = \"12AX7\"\n[heaters.valve]\ntype = \"6N2P\"", "3:2: [heaters.valve], expected two brackets|write [[heaters.valve]]"},
		{"[limits]\nsupply_v = 7", "2:1: supply_v = 7, expected less than 1|heater_dc_v = [lowest, highest]"},
		{"[[unit]]\nbrand = \"A\"\nreadings = [{ load_a = 940, v = 7.1 }]", "3:15: load_a = 940|for 940 mA write 0.94"},
		{"[limits]\nripple_pp_v = \"20 mV\"", "2:1: ripple_pp_v = \"20 mV\"|for 20 mV write 0.02"},
		{"[[unit]]\nbrand = \"A\"\n[[unit.capture]]\nfile = \"Fast.CSV\"", "4:1: no capture at \"Fast.CSV\"; \"fast.csv\" is there"},
		{"[[unit]]\nbrand = \"A\"\n[[unit.capture]]\nfile = \"fsat.csv\"", "4:1: no capture at \"fsat.csv\"|paths are relative"},
		{"[[unit]]\nbrand = \"A\"\n[[unit.capture]]\nfile = \"fast\"", "4:1: no capture at \"fast\"; \"fast.csv\" is there"},
		{"[[unit]]\nbrand = \"A\"\n[[unit.capture]]\nfile = \"fast.csv\"\nprobe = 10", "5:1: unknown key \"probe\"|expected \"probe_factor\""},
	} {
		_, err := Parse([]byte(c.text+"\n"), path)
		var pe *capture.ParseError
		if !errors.As(err, &pe) {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		got := strings.TrimPrefix(err.Error(), path+":")
		for i, w := range strings.Split(c.want, "|") {
			if !strings.Contains(got, w) || i == 0 && !strings.HasPrefix(got, w) {
				t.Errorf("%q: %q, want %q", c.text, got, w)
			}
		}
		if strings.Contains(got, "U+") || strings.Contains(got, "\n") {
			t.Errorf("%q: %q", c.text, got)
		}
	}
}

// A capture whose file is named after another unit of the sheet is told; one that is named
// after its own, or after none, is not.
func TestNamedAfter(t *testing.T) {
	s := &Sheet{Units: []Unit{{Brand: "Murrowfen", Model: "MF-7", Mark: "A1"}, {Brand: "Murrowfen", Model: "MF-7", Mark: "A2"}, {Brand: "Tindle Wick", Mark: "B1"},
		{Brand: "Murrowfen", Model: "MF-7", Mark: "A1", State: BehindFilter}}}
	for _, c := range []struct {
		unit int
		file string
		want string
	}{
		{0, "murrowfen-a1-fast.csv", ""}, {0, "murrowfen-a2-fast.csv", "Murrowfen MF-7 A2"}, {0, "tindlewick-b1-slow.csv.gz", "Tindle Wick B1"}, {2, "captures/murrowfen-a1.wav", "Murrowfen MF-7 A1"},
		{3, "murrowfen-a1-filter.csv", ""}, {0, "SDS00001.csv", ""}, {0, "scope-7.csv", ""}, {1, "murrowfen-fast.csv", ""}, {2, "murrowfen-fast.csv", "Murrowfen MF-7 A1"},
		{0, "tindlewick-b7-slow.csv", "Tindle Wick"}, {0, "murrowfen-a7-fast.csv", ""},
	} {
		if other := s.NamedAfter(c.unit, c.file); other != c.want {
			t.Errorf("%s under unit %d: %q, want %q", c.file, c.unit, other, c.want)
		}
	}
}

// A capture given for the sheet is called one, whatever its layout, and no sheet with a
// slip in it is.
func TestCaptureGivenForTheSheet(t *testing.T) {
	for name, c := range map[string]struct {
		path, text string
		capture    bool
	}{
		"columns":        {"a.csv", "time_s,volts\n0,0.001\n1e-6,0.002\n", true},
		"German":         {"a.txt", "Zeit;Kanal A\n0,1;0,2\n0,2;0,3\n", true},
		"preamble":       {"a.csv", "Record Length,1000\nSample Interval,1e-8\n0,1\n", true},
		"colons":         {"a.csv", "Model: X\nRate: 1e6\n0,1\n", true},
		"equals signs":   {"a.CSV", "Units=V\nRate=1e6\n0,1\n", true},
		"sound":          {"a.wav", "RIFF\x24\x00\x00\x00WAVEfmt ", true},
		"gzipped":        {"a.csv.gz", "\x1f\x8b\x08\x00\x00", true},
		"sheet":          {"a.toml", "mains_hz = 50\n", false},
		"other ending":   {"bench.txt", "title = \"x\"\nmains_hz = 50\n", false},
		"colon":          {"bench.txt", "title: \"x\"\nmains_hz: 50\n", false},
		"sheet of prose": {"a.toml", "my bench\nof spring\n", false},
	} {
		_, err := Parse([]byte(c.text), c.path)
		got := err != nil && strings.Contains(err.Error(), "reads a capture by itself")
		if got != c.capture {
			t.Errorf("%s: %v", name, err)
		}
		if got && (strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), "as TOML writes it")) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
