package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"stillglow/capture/sheet"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// What the guide tells the user to write into the sheet, the sheet takes.
func TestGuideWordsAreTheSheets(t *testing.T) {
	t.Parallel()
	text, errs, code := command(t, "guide", "--memory", "14M", "--max-rate", "1G")
	if code != exitDone {
		t.Fatal(errs)
	}
	told := regexp.MustCompile(`\b([a-z_]+) = ("[^"]*"|true|false|[\d.]+(?:e\d+)?)`).FindAllStringSubmatch(strings.Join(strings.Fields(text), " "), -1)
	if len(told) < 5 {
		t.Fatalf("only %v", told)
	}
	for _, m := range told {
		if m[1] == "supply" && m[2] == `"running"` || m[1] == "baseline" {
			continue // told to be refused; the name of a file
		}
		taken := false
		for _, head := range []string{"[[unit]]\nbrand = \"b\"\n[[unit.capture]]\nfile = \"a.csv\"\n", "[instrument]\n", "[instrument.baseline]\nfile = \"a.csv\"\n"} {
			x, err := sheet.NewText([]byte(head+m[0]+"\n"), "b.toml")
			if err == nil {
				_, err = x.Sheet("b.toml")
			}
			taken = taken || err == nil
		}
		if !taken {
			t.Errorf("the guide says %s, and the sheet takes it nowhere", m[0])
		}
	}
}

// guided is what guide --json prescribes for one capture.
type guided struct {
	DivS    float64 `json:"time_per_div_s"`
	RateHz  float64 `json:"sample_rate_hz"`
	Samples int     `json:"samples"`
	VDiv    float64 `json:"first_volts_per_div"`
	HighRes bool    `json:"high_resolution"`
	Mode    string  `json:"mode"`
	Why     string  `json:"why_not"`
}

// scopeTakes is a simulated scope of 8 bits over 8 divisions, 100 MHz wide, its
// channel AC-coupled. In high-resolution mode it converts fast and saves the mean
// of every so many conversions. The range is found as the guide says: begin at
// its first range, go down as long as no peak is cut off, up if one is.
func scopeTakes(s synth.Supply, g guided) []float64 {
	mostConverted := 1e6
	if testrun.Full() {
		mostConverted = 8e6
	}
	over := 1
	s.ACCoupled, s.RateHz, s.Samples, s.BandwidthHz = true, g.RateHz, g.Samples, 100e6
	if g.HighRes {
		over = max(4, int(mostConverted/float64(g.Samples)))
		s.RateHz, s.Samples = g.RateHz*float64(over), g.Samples*over
		// Converted faster still in truth; the first of that averaging stands in.
		s.BandwidthHz = s.RateHz / 4
	}
	v, _ := s.Render()
	peak := 0.0
	for _, x := range v {
		peak = math.Max(peak, math.Abs(x))
	}
	div := g.VDiv
	for div < peak/4 {
		div = ceil125(div * 1.01)
	}
	for next := floor125(div * 0.99); next >= 1e-3 && next >= peak/4; next = floor125(div * 0.99) {
		div = next
	}
	step := 8 * div / 256
	out := make([]float64, g.Samples)
	for i := range out {
		sum := 0.0
		for _, x := range v[i*over : (i+1)*over] {
			sum += step * math.Max(-128, math.Min(127, math.Round(x/step)))
		}
		out[i] = sum / float64(over)
	}
	return out
}

// Following the guide word by word on a scope of 8 bits and little memory leads
// to decided verdicts, the right ones: its captures leave nothing open that
// check would ask for, and quiet supplies are not failed by what folds down. Where
// the memory is too small to keep that out, as the guide says, check asks for
// something else than what was taken.
func TestGuideLeadsToDecidedVerdicts(t *testing.T) {
	memories := []string{"100k"}
	if testrun.Full() {
		memories = []string{"20k", "100k", "1M"}
	}
	quiet := synth.Supply{DCV: 7, MainsHz: 50, MainsPPV: 0.3e-3, RipplePPV: 5e-3, ESRStepV: 0.5e-3, SpikeRiseV: 5e-3, SpikeFallV: -4e-3,
		SpikeWidthS: 60e-9, RingRiseHz: 8e6, NoiseVPerRtHz: 30e-9, CornerHz: 100}
	for _, memory := range memories {
		for _, c := range []struct {
			name     string
			hz       float64
			change   func(*synth.Supply)
			verdicts string
		}{
			{"quiet at 66.6 kHz", 66.6e3, func(*synth.Supply) {}, "pass"},
			{"quiet at 260 kHz", 260e3, func(*synth.Supply) {}, "pass"},
			{"spiky", 110e3, func(s *synth.Supply) { s.SpikeRiseV, s.SpikeFallV = 0.3, -0.3 }, "fail"},
			{"humming", 90e3, func(s *synth.Supply) { s.MainsPPV = 40e-3 }, "fail"},
		} {
			if !testrun.Full() && c.name != "quiet at 66.6 kHz" {
				continue
			}
			s := quiet
			s.Seed, s.SwitchingHz = uint64(c.hz), c.hz
			c.change(&s)
			verdict, checked := followGuide(t, memory, s)
			if verdict != c.verdicts {
				t.Errorf("%s, %s of memory: %s, want %s\n%s", c.name, memory, verdict, c.verdicts, checked)
			}
			folds := memory == "20k" && c.name == "spiky"
			if folds && (!strings.Contains(checked, "audio rms (A-weighted): capture1.csv only shows that it is at most") || strings.Contains(checked, "/div")) ||
				!folds && !strings.Contains(checked, "nothing is open") {
				t.Errorf("%s, %s of memory: check asks for more\n%s", c.name, memory, checked)
			}
		}
	}
}

// bothWires is what such a supply shows across the guide's 100 Ω: mains leakage at
// 50 Hz and the edges that its transformer's capacitance passes.
func bothWires(s synth.Supply) synth.Supply {
	return synth.Supply{Seed: s.Seed + 1, MainsHz: 50, MainsPPV: 1e-3, InstrumentSpurHz: 50, SpurPP: 16e-3,
		SwitchingHz: s.SwitchingHz, RipplePPV: 8e-3, ESRStepV: 1e-3, SpikeRiseV: 45e-3, SpikeFallV: -40e-3,
		SpikeWidthS: 60e-9, RingRiseHz: 8e6, NoiseVPerRtHz: 100e-9, CornerHz: 100}
}

// followGuide takes what the guide prescribes of one supply and gives the
// verdict and what check says.
func followGuide(t *testing.T, memory string, s synth.Supply) (verdict, checked string) {
	t.Helper()
	text, errs, code := command(t, "guide", "--json", "--memory", memory)
	if code != exitDone {
		t.Fatal(errs)
	}
	var doc struct {
		Memory   int `json:"memory_samples"`
		Captures []guided
	}
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	sheet := fmt.Sprintf(`title = "as the guide says"
invented = true
mains_hz = 50
target = "line-preamp"
[instrument]
bandwidth_hz = 100e6
coupling = "ac"
memory_samples = %d
[heaters]
[[heaters.valve]]
type = "12AU7"
count = 2
[[unit]]
brand = "Invented"
mark = "1"
rated_v = 7
rated_a = 2
readings = [{ load_a = 0, v = 7.05 }, { load_a = 0.6, v = 7.0 }]
`, doc.Memory)
	for i, g := range doc.Captures {
		if g.Why != "" {
			t.Fatalf("%s of memory: %s", memory, g.Why)
		}
		var b bytes.Buffer
		shows := s
		if g.Mode == "common" {
			shows = bothWires(s)
		}
		if err := synth.WriteCSV(&b, synth.Preamble, g.RateHz, scopeTakes(shows, g), 7, "AC"); err != nil {
			t.Fatal(err)
		}
		name := fmt.Sprintf("capture%d.csv", i)
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		sheet += fmt.Sprintf("[[unit.capture]]\nfile = %q\nload_a = 0.6\nmode = %q\n", name, g.Mode)
	}
	path := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(path, []byte(sheet), 0o600); err != nil {
		t.Fatal(err)
	}
	checked, errs, code = command(t, "check", "--no-cache", path)
	if code != exitDone {
		t.Fatal(code, errs)
	}
	text, errs, code = command(t, "rank", "--json", "--no-cache", path)
	if code != exitDone && code != exitNonePass {
		t.Fatal(code, errs)
	}
	var ranked struct {
		Units []struct {
			Verdict    string
			CommonMode string `json:"common_mode"`
		}
	}
	if err := json.Unmarshal([]byte(text), &ranked); err != nil || len(ranked.Units) != 1 {
		t.Fatalf("%v in %.300s", err, text)
	}
	if got := ranked.Units[0].CommonMode; got != "measured" {
		t.Errorf("the common-mode half, captured as the guide says, is %q", got)
	}
	return ranked.Units[0].Verdict, checked
}

// The load resistor is computed from the sheet's own volts: a 13.5 V brick under
// 0.6 A of heaters wants 22.5 Ω and 20 W, not what 7 V would want.
func TestGuideLoadFromTheSheet(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bench.toml")
	text := "target = \"line-preamp\"\n[heaters]\n[[heaters.valve]]\ntype = \"12AU7\"\ncount = 2\n" +
		"[[unit]]\nbrand = \"Invented\"\nmark = \"1\"\nrated_v = 13.5\n[[unit.capture]]\nfile = \"a.csv\"\n" +
		"[[unit]]\nbrand = \"Invented\"\nmark = \"2\"\nrated_v = 7\nreadings = [{ load_a = 0.6, v = 6.9 }]\n[[unit.capture]]\nfile = \"b.csv\"\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"a.csv", "b.csv"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("time_s,volts\n0,0\n1e-6,0.001\n2e-6,0\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for args, want := range map[string][]string{
		"":             {"From 13.5 V (Invented 1): 22.5 Ω", "8.1 W", "buy 25 W", "From 6.9 V (Invented 2): 11.5 Ω"},
		"--supply=9.0": {"From 9 V: 15 Ω"},
	} {
		line := []string{"guide", path}
		if args != "" {
			line = append(line, args)
		}
		out, errs, code := command(t, line...)
		out = strings.Join(strings.Fields(out), " ")
		if code != exitDone {
			t.Fatal(errs)
		}
		for _, w := range want {
			if !strings.Contains(out, w) {
				t.Errorf("%q: no %q in\n%.3000s", args, w, out)
			}
		}
	}
}

// Where nothing tells the supply's volts, the load resistor is for volts that suit the
// heaters' rail, and says that they are assumed: 7.5 Ω 15 W, right for 7 V and 0.9 A, would
// take 30 W from 15 V (Ohm's law).
func TestGuideLoadIsForTheRail(t *testing.T) {
	for args, want := range map[string]string{
		"--valves=6x12AX7@series":             "From 14 V (assumed, ",
		"--valves=2x12AU7":                    "From 7 V (assumed, ",
		"--valves=6x12AX7@series --supply=15": "From 15 V: 16.7 Ω, which dissipates 13.5 W",
	} {
		out, errs, code := command(t, append([]string{"guide"}, strings.Fields(args)...)...)
		if out = strings.Join(strings.Fields(out), " "); code != exitDone || !strings.Contains(out, want) {
			t.Errorf("%s: no %q, %s", args, want, errs)
		}
	}
}

// No first range cuts off a unit that is just inside its limits, in the slow
// capture either, which sees the fast ripple and the spikes too.
func TestFirstRangeHoldsRippleAndSpikes(t *testing.T) {
	out, errs, code := command(t, "guide", "--json")
	if code != exitDone {
		t.Fatal(errs)
	}
	var doc struct{ Captures []guided }
	if err := json.Unmarshal([]byte(out), &doc); err != nil {
		t.Fatal(err)
	}
	for _, g := range doc.Captures {
		if g.Mode == "common" { // 350 mV peak-to-peak
			if g.VDiv < 350e-3/8 || g.VDiv > 0.2 {
				t.Errorf("%+v", g)
			}
			continue
		}
		// line-preamp: spikes of 30 mV either way on top of 20 mV of ripple.
		if g.VDiv < 80e-3/8 || g.VDiv > 0.1 {
			t.Errorf("%+v", g)
		}
	}
}

// The RC named for a scope without a high-resolution mode: 1 kΩ and 3.3 nF have
// their corner at 48.2 kHz (1/2πRC), 0.69 dB down at 20 kHz; a rate too near the
// corner gets none.
func TestSlowCapturesLowPass(t *testing.T) {
	s := captureSetting{NeedHz: 50e3, RateHz: 2e6}
	farads, corner := s.lowPass()
	if math.Abs(farads-3.3e-9) > 1e-15 || math.Abs(corner-48229) > 1 {
		t.Errorf("%g F, %g Hz", farads, corner)
	}
	words := s.orLowPass()
	if !strings.Contains(words, "3.3 nF") || !strings.Contains(words, "0.7 dB") {
		t.Error(words)
	}
	if s.RateHz = 200e3; s.orLowPass() != "" {
		t.Error("one pole was offered against aliases from 180 kHz")
	}
}

// A load resistor's rating is one on sale, of twice the heat of the lower standard value
// or more: 7²/2.4 = 20.4 W asks for 50 W, 7.5²/1.2 = 46.9 W for 100 W, and 7²/0.56 =
// 87.5 W for more than any single one.
func TestGuideLoadRatingIsOnSale(t *testing.T) {
	for _, c := range []struct{ valves, supply, want string }{
		{"9x12AX7", "7", "buy 50 W or more"}, {"10x6SN7", "7.5", "buy 100 W or more"}, {"EF86", "7", "buy 3 W or more"},
		{"20x6SN7", "7", "take 2 of 2 times the ohms in parallel, 100 W or more each"},
	} {
		out, errs, code := command(t, "guide", "--valves", c.valves, "--supply", c.supply)
		if code != exitDone || !strings.Contains(strings.Join(strings.Fields(out), " "), c.want) {
			t.Errorf("%s from %s V: exit %d %s, no %q", c.valves, c.supply, code, errs, c.want)
		}
	}
}
