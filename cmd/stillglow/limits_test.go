package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"stillglow/capture/synth/testrun"
)

// Arguments without end are refused before any work on them.
func TestArgumentsWithoutEnd(t *testing.T) {
	for name, args := range map[string][]string{
		"supplies": {"dropper", "--valves", "1x6N2P", "--supply", strings.TrimSuffix(strings.Repeat("7,", 5000), ",")},
		"valves":   {"dropper", "--supply", "7", "--valves", strings.TrimSuffix(strings.Repeat("1x6N2P,", 15000), ",")},
		"date":     {"rank", "--date", "2026-99-99", demoSheetPath},
		"longdate": {"rank", "--date", strings.Repeat("9", 100000), demoSheetPath},
	} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), args, nil, &out, &errs); code != exitUsage {
			t.Errorf("%s: exit %d: %.200s", name, code, errs.String())
		}
		if text := errs.String(); !oneClearLine(text) {
			t.Errorf("%s: want one clear line, got %d bytes: %.200q", name, len(text), text)
		}
	}
}

const demoSheetPath = "../../testdata/bench/bench.toml"

// fullWriter takes n bytes and no more, as a full disk.
type fullWriter struct{ left int }

func (f *fullWriter) Write(b []byte) (int, error) {
	if len(b) > f.left {
		n := f.left
		f.left = 0
		return n, &os.PathError{Op: "write", Path: "/dev/stdout", Err: syscall.ENOSPC}
	}
	f.left -= len(b)
	return len(b), nil
}

// Where standard output takes no more, every command ends with exit code 1 and
// one line that says so.
func TestFullOutput(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "a.csv")
	if err := os.WriteFile(file, goodCSV(300), 0o644); err != nil {
		t.Fatal(err)
	}
	sheet := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(sheet, []byte("[[unit]]\nbrand = \"Alder\"\nreadings = [{load_a = 0.3, v = 7}]\n[[unit.capture]]\nfile = \"a.csv\"\n[[heaters.valve]]\ntype = \"6N2P\"\n[hears]\ncathode_ohm = 1500\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	results := filepath.Join(dir, "results.json")
	var doc bytes.Buffer
	if code := run(context.Background(), []string{"rank", "--json", "--no-cache", sheet}, nil, &doc, io.Discard); code != exitNonePass {
		t.Fatalf("exit %d", code)
	}
	if err := os.WriteFile(results, doc.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	commands := [][]string{
		{"inspect", file}, {"inspect", "--json", file}, {"measure", file}, {"measure", "--json", file},
		{"rank", "--no-cache", sheet}, {"rank", "--no-cache", "--json", sheet}, {"report", "--no-cache", "--out", filepath.Join(dir, "out"), sheet},
		{"check", "--no-cache", sheet}, {"check", "--no-cache", "--json", sheet}, {"compare", results, results}, {"compare", "--json", results, results},
		{"dropper", "--supply", "7", "--valves", "1x6N2P"}, {"dropper", "--supply", "7", "--valves", "1x6N2P", "--json"}, {"dropper", "--no-cache", "--all", sheet},
		{"filter", "--no-cache", sheet}, {"guide", sheet}, {"target"}, {"target", "--json"}, {"target", "line-preamp"}, {"valves"}, {"valves", "--json"},
		{"cache"}, {"--help"}, {"report", "--help"}, {"--version"}, {},
	}
	if testrun.Full() {
		commands = append(commands, []string{"demo", filepath.Join(dir, "demo")})
	}
	for i, args := range commands {
		room := 20 * (i % 2)
		var errs bytes.Buffer
		code := run(context.Background(), args, strings.NewReader(""), &fullWriter{room}, &errs)
		if code != exitError || !oneClearLine(errs.String()) || !strings.Contains(errs.String(), "no space left") {
			t.Errorf("%d %v with room for %d bytes: exit %d, %q", i, args, room, code, errs.String())
		}
	}
}

// A write error of another kind than the system's is told too.
func TestBrokenOutput(t *testing.T) {
	var errs bytes.Buffer
	code := run(context.Background(), []string{"valves"}, nil, brokenWriter{}, &errs)
	if code != exitError || !strings.Contains(errs.String(), "gone") {
		t.Errorf("exit %d, %q", code, errs.String())
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("gone") }

// The results are the same whatever folder the sheet is named from.
func TestResultsFromAnyFolder(t *testing.T) {
	path := twinSheet(t, []int{0, 1})
	t.Chdir(filepath.Dir(path))
	var first []byte
	for i, name := range []string{path, filepath.Base(path), "./" + filepath.Base(path), "../" + filepath.Base(filepath.Dir(path)) + "/" + filepath.Base(path)} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), []string{"rank", "--json", "--no-cache", "--no-filter", name}, nil, &out, &errs); code != exitNonePass {
			t.Fatalf("%d: %s", code, errs.String())
		}
		if i == 0 {
			first = out.Bytes()
		} else if !bytes.Equal(first, out.Bytes()) {
			t.Errorf("%s gives other results than %s", name, path)
		}
	}
}

// A baseline that is the capture itself is named as what is wrong.
func TestBaselineIsTheCapture(t *testing.T) {
	dir := t.TempDir()
	for _, f := range []string{"a.csv", "copy.csv"} {
		if err := os.WriteFile(filepath.Join(dir, f), rippleCSV(1e-3), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	sheet := filepath.Join(dir, "bench.toml")
	for _, c := range []struct {
		base string
		bad  bool
	}{{"file = \"copy.csv\"\nchannel = \"CH1\"", true}, {"file = \"copy.csv\"\nchannel = \"CH2\"", false}} {
		text := fmt.Sprintf("[instrument.baseline]\n%s\n[[unit]]\nbrand = \"Alder\"\n[[unit.capture]]\nfile = \"a.csv\"\nchannel = \"CH1\"\n", c.base)
		if err := os.WriteFile(sheet, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		code := run(context.Background(), []string{"rank", "--no-cache", sheet}, nil, &out, &errs)
		if c.bad != (code == exitError && strings.Contains(errs.String(), "copy.csv") && strings.Contains(errs.String(), "baseline")) {
			t.Errorf("%s: exit %d, %q", c.base, code, errs.String())
		}
	}
	var out, errs bytes.Buffer
	file := filepath.Join(dir, "a.csv")
	if code := run(context.Background(), []string{"measure", "--channel", "CH1", "--baseline", file, file}, nil, &out, &errs); code != exitError || !strings.Contains(errs.String(), "baseline") {
		t.Errorf("measure: exit %d, %q", code, errs.String())
	}
}

// Of thousands of errors a hundred are told, each on its line, and how many more there are.
func TestManyErrorsAreBounded(t *testing.T) {
	dir := t.TempDir()
	var b strings.Builder
	b.WriteString("target = \"line-preamp\"\n[[unit]]\nbrand = \"Alder\"\n")
	for i := range mostErrors + 7 {
		name := fmt.Sprintf("c%d.csv", i)
		if err := os.WriteFile(filepath.Join(dir, name), []byte("nothing\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "[[unit.capture]]\nfile = %q\n", name)
	}
	path := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"rank", "--no-cache", path}, nil, &out, &errs); code != exitError {
		t.Fatalf("%d: %s", code, errs.String())
	}
	lines := strings.Split(strings.TrimSpace(errs.String()), "\n")
	if len(lines) != mostErrors+1 || !strings.Contains(lines[mostErrors], "and 7 more errors") {
		t.Errorf("%d lines, the last %q", len(lines), lines[len(lines)-1])
	}
}
