package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"stillglow/analysis/heater"
)

// command runs the program and gives both streams and the exit code.
func command(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs strings.Builder
	code = run(context.Background(), args, strings.NewReader(""), &out, &errs)
	return out.String(), errs.String(), code
}

// No line of the dropper's or the valve table's output is wider than 100
// columns, whatever supply and valves are asked for.
func TestDropperFitsHundredColumns(t *testing.T) {
	runs := [][]string{
		{"valves"},
		{"dropper", "--supply", "6,6.5,7,7.5,9,12,15,24,60", "--valves", "2x12AU7,1x6N2P", "--rated-a", "2", "--all"},
		{"dropper", "--supply", "15,25,59", "--valves", "2x12AX7@series,2x6N2P@string", "--all"},
		{"dropper", "--supply", "30", "--valves", "3x6N2P@string:A,1x6N1P@string:A", "--all"},
		{"dropper", "--supply", "6.4,6.45,6.5,13.33", "--valves", "2x12AX7", "--all"},
		{"dropper", "--supply", "13.33", "--valves", "12SN7,2x6N2P@string", "--all"},
		{"dropper", "--supply", "7,12,20", "--valves", "2x12BH7,8x6N30P,12x5687,EF86", "--all"},
	}
	for _, args := range runs {
		out, errs, code := command(t, args...)
		if code != exitDone {
			t.Fatalf("%v: exit %d, %s", args, code, errs)
		}
		for _, line := range strings.Split(out, "\n") {
			if n := utf8.RuneCountInString(line); n > textWidth {
				t.Errorf("%v: %d columns: %s", args, n, line)
			}
			if words := strings.Fields(line); len(words) > 0 && len(strings.Trim(strings.Join(words, ""), "VWAΩm%!∥x")) == 0 {
				t.Errorf("%v: a unit stands alone: %q", args, line)
			}
			if strings.Contains(line, "NaN") || strings.Contains(line, "Inf") {
				t.Errorf("%v: %s", args, line)
			}
		}
	}
}

func TestDropperJSON(t *testing.T) {
	out, errs, code := command(t, "dropper", "--supply", "5,7", "--valves", "12AU7", "--json")
	if code != exitDone {
		t.Fatal(code, errs)
	}
	var got struct {
		Plans []struct {
			CanFeed      bool    `json:"can_feed"`
			NominalA     float64 `json:"nominal_a"`
			Arrangements []struct {
				ExactOhm float64 `json:"exact_ohm"`
			} `json:"arrangements"`
		} `json:"plans"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Plans) != 2 || got.Plans[0].CanFeed || !got.Plans[1].CanFeed || got.Plans[1].NominalA != 0.3 {
		t.Errorf("got %+v", got)
	}
	if r := got.Plans[1].Arrangements[0].ExactOhm; r < 2.333 || r > 2.334 {
		t.Errorf("exact %g Ω, want 0.7 V over 0.3 A", r)
	}
}

// The console scripts are whole outputs; STILLGLOW_UPDATE=1 writes them afresh.
func TestDropperTranscripts(t *testing.T) {
	for name, args := range map[string][]string{
		"dropper-7v":       {"dropper", "--supply", "7", "--valves", "2x12AU7,1x6N2P"},
		"dropper-supplies": {"dropper", "--supply", "6,6.5,7,7.5,9,12,15", "--valves", "2x12AU7,1x6N2P", "--rated-a", "2"},
		"dropper-direct":   {"dropper", "--supply", "12", "--valves", "2x12AU7@series,1x12SN7", "--rated-a", "1", "--cathode-v", "85"},
		"dropper-string":   {"dropper", "--supply", "15", "--valves", "2x12AX7@series,2x6N2P@string", "--output-ohm", "0.1", "--lead-ohm", "0.05", "--all"},
		"valves-ecc8":      {"valves", "ecc8"},
	} {
		out, errs, code := command(t, args...)
		if code != exitDone || errs != "" {
			t.Fatalf("%s: exit %d, %s", name, code, errs)
		}
		path := "../../testdata/golden/" + name + ".txt"
		if os.Getenv("STILLGLOW_UPDATE") != "" {
			if err := os.WriteFile(path, []byte(out), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if out != string(want) {
			t.Errorf("%s differs from %s:\n%s", name, path, firstDifference(out, string(want)))
		}
	}
}

// firstDifference shows the first line in which two texts differ.
func firstDifference(got, want string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(g), len(w)) {
		if g[i] != w[i] {
			return fmt.Sprintf("line %d\n got %s\nwant %s", i+1, g[i], w[i])
		}
	}
	return fmt.Sprintf("%d lines, want %d", len(g), len(w))
}

// The README's two figures by Ohm's law: 2.33 Ω between 2.2 and 2.4 for a 300 mA
// heater from 7 V, 1.17 Ω between 1.1 and 1.2 for a 600 mA one.
func TestDropperByOhmsLaw(t *testing.T) {
	for valve, words := range map[string][]string{"12AU7": {"exactly 2.333 Ω", "2.2 Ω", "2.4 Ω"}, "E80CC": {"exactly 1.167 Ω", "1.1 Ω", "1.2 Ω"}} {
		out, errs, code := command(t, "dropper", "--supply", "7", "--valves", valve)
		if code != exitDone {
			t.Fatal(errs)
		}
		for _, w := range words {
			if !strings.Contains(out, w) {
				t.Errorf("%s: no %q in\n%s", valve, w, out)
			}
		}
	}
}

func TestDropperBadInput(t *testing.T) {
	taken := filepath.Join(t.TempDir(), "kept.png")
	if err := os.WriteFile(taken, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		word string
	}{
		{[]string{"--supply", "7"}, exitUsage, "--valves"},
		{[]string{"--supply", "seven", "--valves", "12AU7"}, exitUsage, `found "seven"`},
		{[]string{"--supply", "230", "--valves", "12AU7"}, exitUsage, "at most 60 V"},
		{[]string{"--supply", "mains", "--valves", "12AU7"}, exitUsage, "no dropper is planned"},
		{[]string{"--supply", "6.3 V AC", "--valves", "12AU7"}, exitUsage, "no dropper is planned"},
		{[]string{"--supply", "B+", "--valves", "12AU7"}, exitUsage, "no dropper is planned"},
		{[]string{"--supply", "7", "--valves", "2x300B"}, exitUsage, "floating supply"},
		{[]string{"--supply", "7", "--valves", "GZ34"}, exitUsage, "--own"},
		{[]string{"--supply", "7,12", "--valves", "12AU7", "--sketch", "x.svg"}, exitUsage, "one supply"},
		{[]string{"--supply", "7", "--valves", "12AU7", "--sketch", "x.png"}, exitUsage, ".svg"},
		{[]string{"--supply", "NaN", "--valves", "12AU7"}, exitUsage, "found NaN"},
		{[]string{"--supply", "-7", "--valves", "12AU7"}, exitUsage, "found -7"},
		{[]string{"--supply", "7", "--valves", "12AB7"}, exitUsage, "nearest are"},
		{[]string{"--supply", "7", "--valves", "12SN7", "--rail", "6.3"}, exitUsage, "12.6 V rail of its own"},
		{[]string{"--supply", "7", "--valves", "12AU7", "--series", "E7"}, exitUsage, "E96"},
		{[]string{"--supply", "7", "--valves", "12AU7", "--own", "x"}, exitUsage, "NAME=VOLTS:AMPS"},
		{[]string{"--supply", "7", "--valves", "12AU7", "--warmup-plot", "x.gif"}, exitUsage, ".png or .svg"},
		{[]string{"--supply", "7", "--valves", "12AU7", "--warmup-plot", taken}, exitError, "exists already"},
		{[]string{"--supply", "5", "--valves", "12AU7", "--warmup-plot", filepath.Join(t.TempDir(), "x.png")}, exitError, "can't"},
	} {
		out, errs, code := command(t, append([]string{"dropper"}, c.args...)...)
		if code != c.code || !strings.Contains(errs, c.word) || strings.Count(errs, "\n") != 1 || out != "" {
			t.Errorf("%v: exit %d, stdout %q, stderr %q; want exit %d and %q", c.args, code, out, errs, c.code, c.word)
		}
	}
	if kept, _ := os.ReadFile(taken); string(kept) != "mine" {
		t.Error("an existing file was overwritten")
	}
}

// The warm-up picture is a PNG or SVG of real content; --force may replace one.
func TestWarmUpPicture(t *testing.T) {
	dir := t.TempDir()
	for name, magic := range map[string]string{"w.png": "\x89PNG", "w.svg": "<?xml"} {
		path := filepath.Join(dir, name)
		for range 2 {
			_, errs, code := command(t, "dropper", "--supply", "7,12", "--valves", "12AU7", "--warmup-plot", path, "--force")
			if code != exitDone {
				t.Fatal(errs)
			}
		}
		data, err := os.ReadFile(path)
		if err != nil || !strings.HasPrefix(string(data), magic) || len(data) < 5000 {
			t.Errorf("%s: %d bytes, %v", name, len(data), err)
		}
		if name == "w.svg" {
			for _, w := range []string{"heater volts in V", "load current in A", "time from switch-on in s", "7 V supply", "12 V supply"} {
				if !strings.Contains(string(data), w) {
					t.Errorf("no %q on the picture", w)
				}
			}
		}
	}
}

// An own valve on the command line is looked up before the table.
func TestDropperOwnValve(t *testing.T) {
	out, errs, code := command(t, "dropper", "--supply", "7", "--valves", "2x6P99", "--own", "6P99=6.3:0.35")
	if code != exitDone || !strings.Contains(out, "exactly 2 Ω for each 6P99") || !strings.Contains(out, "own entry") {
		t.Errorf("exit %d %s\n%s", code, errs, out)
	}
}

func TestValvesFilter(t *testing.T) {
	out, errs, code := command(t, "valves", "octal", "0.3A")
	if code != exitDone || !strings.Contains(out, "6SL7GT") || !strings.Contains(out, "12SN7GT") || strings.Contains(out, "6SN7GTA") {
		t.Errorf("exit %d %s\n%s", code, errs, out)
	}
	want, _, _ := command(t, "valves", "noval", "0.3A")
	for _, words := range [][]string{{"noval", "0.3", "A"}, {"noval", "300mA"}, {"noval", "300", "mA"}, {"noval 0,3A"}} {
		if got, errs, code := command(t, append([]string{"valves"}, words...)...); code != exitDone || got != want {
			t.Errorf("%q: exit %d %s\n%s", words, code, errs, got)
		}
	}
	if _, errs, code = command(t, "valves", "12AB7"); code != exitError || !strings.Contains(errs, "nearest are") {
		t.Errorf("exit %d %s", code, errs)
	}
}

// A small bench: two units with meter readings, one without, and one slow
// capture each. Nothing of it can pass a target, so --all sizes them.
func smallBench(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	var csv strings.Builder
	csv.WriteString("time_s,volts\n")
	for k := range 4000 {
		fmt.Fprintf(&csv, "%.7f,%.6f\n", float64(k)*1e-6, 0.004*math.Sin(2*math.Pi*50e3*float64(k)*1e-6)+0.0005*math.Sin(float64(k*k%977)))
	}
	sheet := `title = "two bricks"
mains_hz = 50
target = "line-preamp"
[instrument]
bandwidth_hz = 20e6
coupling = "ac"
[heaters]
[[heaters.valve]]
type = "12AU7"
count = 2
[[heaters.valve]]
type = "6N2P"
count = 1
`
	files := map[string]string{}
	for i, u := range []string{
		"mark = \"1\"\nrated_v = 7\nrated_a = 2\nreadings = [{ load_a = 0, v = 7.10 }, { load_a = 0.94, v = 7.02 }]",
		"mark = \"2\"\nrated_v = 6.2\nrated_a = 1\nreadings = [{ load_a = 0.94, v = 6.1 }]",
		"mark = \"3\"\nrated_v = 7\nrated_a = 2",
	} {
		sheet += "[[unit]]\nbrand = \"Invented\"\nmodel = \"Brick\"\n" + u + "\n[[unit.capture]]\nfile = \"" + fmt.Sprint(i) + ".csv\"\nload_a = 0.94\n"
		files[fmt.Sprint(i)+".csv"] = csv.String() + fmt.Sprintf("%.7f,%.6f\n", 4000e-6, 0.001*float64(i+1))
	}
	files["bench.toml"] = sheet
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "bench.toml")
}

func TestDropperFromASheet(t *testing.T) {
	path := smallBench(t)
	out, errs, code := command(t, "dropper", path, "--all", "--no-cache")
	if code != exitDone {
		t.Fatal(code, errs)
	}
	for _, w := range []string{"Invented Brick 1", "85 mΩ", "no dropper", "volts not measured", "50 %", "101 %"} {
		if !strings.Contains(out, w) {
			t.Errorf("no %q in\n%s", w, out)
		}
	}
	for _, line := range strings.Split(out, "\n") {
		if n := utf8.RuneCountInString(line); n > textWidth {
			t.Errorf("%d columns: %s", n, line)
		}
	}

	out, errs, code = command(t, "dropper", path, "--unit", "brick 1", "--json", "--no-cache", "--part-tol", "1")
	if code != exitDone {
		t.Fatal(code, errs)
	}
	var got struct {
		Units []struct {
			Unit string
			Plan *heater.Plan
		}
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Units) != 1 || got.Units[0].Plan == nil {
		t.Fatalf("got %s", out)
	}
	// By Ohm's law: 7.02 V at 0.94 A leaves 0.72 V, the output's 80 mV already
	// taken off, so 0.766 Ω.
	p := got.Units[0].Plan
	if r := p.Arrangements[0].ExactOhm; math.Abs(r-0.72/0.94) > 1e-6 || *p.Options.PartTol != 0.01 {
		t.Errorf("exact %g Ω, part tolerance %g", r, *p.Options.PartTol)
	}

	for _, c := range []struct {
		args []string
		code int
		word string
	}{
		{[]string{path, "--no-cache"}, exitNonePass, "--all sizes the others too"},
		{[]string{path, "--no-cache", "--unit", "nobody"}, exitUsage, "Invented Brick 1"},
		{[]string{path, "--supply", "7"}, exitUsage, "don't go together"},
		{[]string{path + "x"}, exitError, "bench.tomlx"},
		{[]string{"--unit", "1", "--supply", "7", "--valves", "12AU7"}, exitUsage, "name the sheet"},
	} {
		out, errs, code := command(t, append([]string{"dropper"}, c.args...)...)
		if code != c.code || !strings.Contains(errs, c.word) || out != "" {
			t.Errorf("%v: exit %d, stdout %q, stderr %q; want exit %d and %q", c.args, code, out, errs, c.code, c.word)
		}
	}
}

// Further lines of a table's cell begin under the first, behind the star of what is
// recommended too, and no line parts a figure from its unit or its mark.
func TestWrapCell(t *testing.T) {
	for _, c := range []struct {
		in    string
		width int
		want  string
	}{
		{"* 1 x 39 Ω ∥ 10 Ω (6N2P)", 18, "* 1 x 39 Ω ∥ 10 Ω|  (6N2P)"},
		{"  1 x 39 Ω ∥ 10 Ω (6N2P)", 18, "  1 x 39 Ω ∥ 10 Ω|  (6N2P)"},
		{"* 2 x 2.4 Ω|  1 x 2 Ω", 18, "* 2 x 2.4 Ω|  1 x 2 Ω"},
		{"takes it to 7.14 V !", 12, "takes it to|7.14 V !"},
		{"one shared resistor: 0.22 Ω", 20, "one shared resistor:|0.22 Ω"},
	} {
		got := strings.ReplaceAll(wrapCell(strings.ReplaceAll(c.in, "|", "\n"), c.width), "\n", "|")
		if got != c.want {
			t.Errorf("%q in %d columns is %q, want %q", c.in, c.width, got, c.want)
		}
	}
}

// The prose of the guide keeps figures with their units as the page does.
func TestWrapTextKeepsUnits(t *testing.T) {
	if got, want := wrapText("- ", "  ", "one from each wire to the 100 Ω: at 7 V", 33), "- one from each wire to the\n  100 Ω: at 7 V\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
