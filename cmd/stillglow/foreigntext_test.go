package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"stillglow/capture/sheet"
	"stillglow/capture/synth/testrun"
)

// hostileNames are what a name from outside may hold; every one ends in a plain
// word, so that it can be found again.
var hostileNames = []string{
	"\x1b[31mred", "\x1b]0;title\x07bell", "\x1bPdcs\x1b\\end", "\x1b[2Jcleared", "\u009b31mcsi", "\u0085nel", "\u0090dcs2", "\u009dosc",
	"\x07rang", "\x08\x08back", "\rreturn", "line\nend", "tab\tstop", "\x7fdel", "\x1fus", "\x0bvt",
	"\u202edesrever", "\u202aembed", "\u2066isolate", "\u2069pop", "\u200fmark", "\u200emarked", "\u061calm", "\u202cpdf",
	"\u200bzero", "\ufeffbom", "\u00adsoft", "\U000e0041tags", "\u2028line", "\u2029para", "\u206aold", "\u180emvs",
	"=cmd|' /C calc'!A0", ";=1+1semi", ",=1+1comma", "|=1+1pipe", "http://example.invalid/x", "WWW.example.invalid", "<script>alert(1)</script>", "](javascript:alert(1))",
	"\"=1+1\"quoted", "@all", "\u05d0\u05d1\u05d2 rtl", "👩\u200d🔧 joined", "%s%n%x", "../../up",
}

// notPrintable finds a character that no output may hold.
func notPrintable(b []byte) string {
	for i := 0; i < len(b); {
		r, n := utf8.DecodeRune(b[i:])
		bad := r == utf8.RuneError && n == 1 || unicode.IsControl(r) && r != '\n' && r != '\t' ||
			unicode.Is(unicode.Cf, r) && !strings.ContainsRune("\u2068\u2069\u2060\u200c\u200d", r) || r == '\u2028' || r == '\u2029'
		if bad {
			return fmt.Sprintf("%q in %q", b[i:i+n], b[max(0, i-30):min(len(b), i+30)])
		}
		i += n
	}
	return ""
}

// hostileBench is a sheet in which the names stand everywhere that a sheet or a
// capture takes one: four to a unit, in the file's name and in its head.
func hostileBench(t *testing.T) (path string, files []string) {
	t.Helper()
	dir := t.TempDir()
	var b strings.Builder
	name := func(i int) string { return hostileNames[i%len(hostileNames)] }
	fmt.Fprintf(&b, "title = %s\nworkshop = %s\nnote = %s\ntarget = \"line-preamp\"\n", sheet.Quote(name(0)), sheet.Quote(name(4)), sheet.Quote(name(16)))
	fmt.Fprintf(&b, "[instrument]\nname = %s\n[[heaters.own_valve]]\ntype = %s\nvolts = 6.3\namps = 0.3\nbase = %[2]s\npins = %[2]s\nsource = %[2]s\n[[heaters.valve]]\ntype = %[2]s\ncount = 2\n",
		sheet.Quote(name(8)), sheet.Quote(name(17)))
	for i := 0; i < len(hostileNames); i += 4 {
		file := strings.Map(func(r rune) rune {
			if r == '/' || runtime.GOOS == "windows" && (r < 32 || strings.ContainsRune(`<>:"|?*\`, r)) {
				return '_'
			}
			return r
		}, name(i+1)) + fmt.Sprint(i) + ".csv"
		var wave bytes.Buffer
		fmt.Fprintf(&wave, "# Model: %s\ntime (s),%s (V)\n", strings.ReplaceAll(name(i+2), "\n", " "), strings.NewReplacer("\n", " ", "\r", " ", ",", " ", "\"", " ", ";", " ", "\t", " ", "|", " ").Replace(name(i+3)))
		for k := range 400 {
			fmt.Fprintf(&wave, "%.6e,%.5f\n", float64(k)*1e-6, 7+0.02*float64(k%(20+i))/20) // each unit a record of its own
		}
		if err := os.WriteFile(filepath.Join(dir, file), wave.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		files = append(files, filepath.Join(dir, file))
		fmt.Fprintf(&b, "[[unit]]\nbrand = %s\nmodel = %s\nmark = %s\nnote = %s\nrated_a = 2\nreadings = [{load_a = 0, v = 7.3}, {load_a = 0.6, v = 7.0}]\n[[unit.capture]]\nfile = %s\nnote = %s\n",
			sheet.Quote(name(i)), sheet.Quote(name(i+1)), sheet.Quote(name(i+2)), sheet.Quote(name(i+3)), sheet.Quote(file), sheet.Quote(name(i+2)))
	}
	path = filepath.Join(dir, "bench \u009b\u202e.toml")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path, files
}

// writerFunc is told of every write.
type writerFunc func([]byte)

func (f writerFunc) Write(b []byte) (int, error) {
	f(b)
	return len(b), nil
}

// TestForeignText sends hostile names through every command and looks at all it
// writes: both streams, and the report's files.
func TestForeignText(t *testing.T) {
	path, files := hostileBench(t)
	cache := t.TempDir()
	out := filepath.Join(t.TempDir(), "out \u009b31m")
	results := filepath.Join(t.TempDir(), "r\u0085.json")
	say := func(args ...string) (stdout []byte) {
		t.Helper()
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		var o, e bytes.Buffer
		var screen io.Writer = &o
		if args[0] == "watch" {
			screen = io.MultiWriter(&o, writerFunc(func(drawn []byte) {
				if bytes.Contains(drawn, []byte("Ctrl-C")) { // the last line of what it draws
					cancel()
				}
			}))
		}
		code := run(ctx, args, strings.NewReader(""), screen, &e)
		for stream, text := range map[string][]byte{"output": o.Bytes(), "error": e.Bytes()} {
			if bad := notPrintable(text); bad != "" {
				t.Errorf("%s: standard %s: %s", args[0], stream, bad)
			}
		}
		if code != exitDone && code != exitNonePass {
			t.Errorf("%.60q: exit %d: %s", args, code, e.String())
		}
		return o.Bytes()
	}
	say("check", "--cache", cache, path)
	jsonPrintable(t, "check", say("check", "--json", "--cache", cache, path))
	say("rank", "--no-filter", "--cache", cache, path)
	if err := os.WriteFile(results, say("rank", "--json", "--no-filter", "--cache", cache, path), 0o644); err != nil {
		t.Fatal(err)
	}
	say("compare", results, results)
	jsonPrintable(t, "compare", say("compare", "--json", results, results))
	say("dropper", "--all", "--cache", cache, path)
	jsonPrintable(t, "dropper", say("dropper", "--all", "--json", "--cache", cache, path))
	say("filter", "--cache", cache, path)
	say("guide", path)
	for _, file := range files {
		say("inspect", file)
		jsonPrintable(t, "inspect", say("inspect", "--json", file))
	}
	for _, file := range testrun.Some(files, 4) {
		say("measure", file)
		jsonPrintable(t, "measure", say("measure", "--json", file))
	}
	if testrun.Full() {
		say("report", "--no-filter", "--cache", cache, "--out", out, path)
	}
	// Its last report is the command's own, written through the same code.
	say("watch", "--no-filter", "--cache", cache, "--settle", "0s", "--interval", "50ms", "--out", out, path)
	// What does not work says so in one printable line.
	for _, name := range testrun.Some(hostileNames, 4) {
		for _, args := range [][]string{{name}, {"measure", name}, {"report", name}, {"rank", "--" + name}, {"dropper", "--valves", name},
			{"report", "--out", filepath.Join(path, name), path}, {"filter", "--cache", cache, path, name}, {"target", name}} {
			var o, e bytes.Buffer
			code := run(context.Background(), args, strings.NewReader(""), &o, &e)
			if bad := notPrintable(append(o.Bytes(), e.Bytes()...)); bad != "" {
				t.Errorf("%q: %s", args, bad)
			}
			if code == exitError && strings.Count(e.String(), "\n") != 1 {
				t.Errorf("%q: want one line, got %q", args, e.String())
			}
		}
	}
	reportPrintable(t, out)
}

// jsonPrintable looks at the strings behind the escapes.
func jsonPrintable(t *testing.T, what string, data []byte) {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(data))
	for d.More() {
		token, err := d.Token()
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if s, ok := token.(string); ok {
			if bad := notPrintable([]byte(s)); bad != "" {
				t.Errorf("%s: JSON: %s", what, bad)
			}
		}
	}
}

// bareLink is what GFM makes a link without being asked to.
var bareLink = regexp.MustCompile(`(?i)(https?|ftp)://|www\.`)

func reportPrintable(t *testing.T, dir string) {
	t.Helper()
	seen := map[string]int{}
	err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() || filepath.Ext(path) == ".png" {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		seen[filepath.Ext(path)]++
		if bad := notPrintable(data); bad != "" {
			t.Errorf("%s: %s", filepath.Base(path), bad)
		}
		switch filepath.Base(path) {
		case "results.json":
			jsonPrintable(t, "results.json", data)
		case "buildlog.md":
			if link := bareLink.Find(data); link != nil {
				t.Errorf("buildlog.md has a live address: %q", link)
			}
		case "results.csv":
			wantNoFormula(t, data)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, ext := range []string{".html", ".md", ".csv", ".json", ".svg"} {
		if seen[ext] == 0 {
			t.Errorf("no %s file was looked at: %v", ext, seen)
		}
	}
}

// wantNoFormula reads results.csv as a spreadsheet set to each delimiter does
// and wants no cell of text that is a formula. Numbers may be negative.
func wantNoFormula(t *testing.T, data []byte) {
	t.Helper()
	negative := regexp.MustCompile(`^-[0-9.e+-]+$`)
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil || len(rows) < 5 {
		t.Fatalf("results.csv: %d rows, %v", len(rows), err)
	}
	for _, row := range rows {
		for _, cell := range row {
			for _, part := range strings.FieldsFunc(cell, func(r rune) bool { return strings.ContainsRune(",;|\t", r) }) {
				part = strings.TrimLeft(part, " \"")
				if part != "" && strings.ContainsRune("=+-@", rune(part[0])) && !negative.MatchString(part) {
					t.Errorf("results.csv: a formula in %q", cell)
				}
			}
		}
	}
}
