package main

import (
	"bytes"
	"context"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"html"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// TestAllText writes every text that a user can meet into the file that
// STILLGLOW_TEXT names, to be read from start to end by someone who has not
// written it: the help of every command, what the commands print on the demo
// bench, the words of its report and its plots, the README, both pages' templates
// and scripts, and each message in the source with its place.
func TestAllText(t *testing.T) {
	out := os.Getenv("STILLGLOW_TEXT")
	if out == "" {
		t.Skip("set STILLGLOW_TEXT to the file that is to hold all text a user meets")
	}
	out, err := filepath.Abs(out)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	t.Setenv("XDG_CACHE_HOME", filepath.Join(dir, "cache"))
	if err := os.Symlink(filepath.Join(root, "testdata"), filepath.Join(dir, "testdata")); err != nil {
		t.Skip(err)
	}
	t.Chdir(dir)
	collectHelp(&b)
	collectPrinted(&b)
	collectPages(t, &b, dir)
	collectAssets(t, &b, root)
	if n := collectLiterals(t, &b, root); n < 1000 {
		t.Errorf("found %d texts in the source, expected thousands", n)
	}
	if err := os.WriteFile(out, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Logf("%s: %d lines", out, bytes.Count(b.Bytes(), []byte("\n")))
}

// say runs one command line and keeps what it prints.
func say(b *bytes.Buffer, stdin string, args ...string) {
	var out, errs bytes.Buffer
	code := run(context.Background(), args, strings.NewReader(stdin), &out, &errs)
	fmt.Fprintf(b, "\n$ stillglow %s\n%s%s", strings.Join(args, " "), out.String(), errs.String())
	if code != exitDone {
		fmt.Fprintf(b, "(exit %d)\n", code)
	}
}

func collectHelp(b *bytes.Buffer) {
	fmt.Fprint(b, "==== help\n")
	say(b, "", "--help")
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			say(b, "", append(strings.Fields(sub.CommandPath())[1:], "--help")...)
			walk(sub)
		}
	}
	root := newRootCmd()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	walk(root)
}

// collectPrinted runs the help's own examples, the named targets, the sheet that
// new writes, and calls that go wrong.
func collectPrinted(b *bytes.Buffer) {
	fmt.Fprint(b, "\n==== printed\n")
	seen := map[string]bool{}
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for line := range strings.Lines(c.Example) {
			args := strings.Fields(line)
			if len(args) < 2 || args[0] != "stillglow" || args[1] == "watch" || args[1] == "bench" || seen[line] ||
				strings.Contains(line, "/tmp/") || strings.Contains(line, "| ") || strings.Contains(line, "--json") {
				continue
			}
			seen[line] = true
			say(b, "", args[1:]...)
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRootCmd())
	say(b, "Murrowfen\nMF-7\n"+strings.Repeat("\n", 20), "new", "asked.toml")
	if sheet, err := os.ReadFile("asked.toml"); err == nil {
		b.Write(sheet)
	}
	for _, line := range []string{
		"", "help foo", "foo", "completion ksh", "completion", "help completion", "measure", "measure nothing.csv", "measure testdata",
		"rank", "rank a b", "rank nothing.toml", "report", "check", "dropper", "dropper --supply 7", "dropper --valves 2x12AU7",
		"dropper --supply 7 --valves 2xFOO", "dropper --supply 7 --valves 2x12AU7 --series 7", "dropper --supply abc --valves 2x12AU7",
		"dropper --supply 5 --valves 2x12AU7", "dropper --supply 12.6 --valves 2x12AU7 --rated-a 0.2", "filter", "filter --topology xx",
		"filter --topology rc", "target foo", "compare", "compare a", "calibrate", "man", "valves foo", "cache foo", "watch", "new",
		"rank --foo", "rank --workers", "rank --workers=x y.toml", "report testdata/bench/bench.toml --target foo", "inspect", "new asked.toml",
		"inspect testdata/bench/bench.toml", "rank testdata/bench/bench.toml --target foo", "rank testdata/bench/bench.toml --limit foo=3",
	} {
		say(b, "", strings.Fields(line)...)
	}
}

var (
	unread  = regexp.MustCompile(`(?s)<(script|style)\b.*?</(script|style)>`)
	blocks  = regexp.MustCompile(`</?(?:p|li|ul|ol|h\d|td|th|tr|table|caption|dt|dd|dl|div|section|figure|figcaption|label|option|select|button|summary|details|form|fieldset|legend|text|title|header|footer|main|nav|article|input|br)\b[^>]*>`)
	tags    = regexp.MustCompile(`<[^>]*>`)
	digit   = regexp.MustCompile(`\d+`)
	quoted  = regexp.MustCompile("\"((?:[^\"\\\\]|\\\\.)*)\"|`([^`]*)`")
	spoken  = regexp.MustCompile(`(?:alt|title|aria-label|placeholder)="([^"]*)"`)
	newline = regexp.MustCompile(`\n\s*\n+`)
)

// collectPages gives the words of the demo's report: its page, labels, build log
// and table, and what its plots draw. A line that stands in a page already is left
// out, so that what differs can be read.
func collectPages(t *testing.T, b *bytes.Buffer, dir string) {
	t.Helper()
	fmt.Fprint(b, "\n==== the demo's report\n")
	say(b, "", "report", "testdata/bench/bench.toml", "--out", "told")
	names, err := filepath.Glob(filepath.Join(dir, "told", "plots", "*.svg"))
	if err != nil || len(names) == 0 {
		t.Fatalf("no plots in the report: %v", err)
	}
	for i, name := range names {
		names[i] = filepath.Join("plots", filepath.Base(name))
	}
	seen := map[string]bool{}
	for _, name := range append([]string{"index.html", "labels.html", "buildlog.md", "results.csv"}, names...) {
		fmt.Fprintf(b, "\n-- %s\n", name)
		s := read(t, filepath.Join(dir, "told", name))
		if strings.HasSuffix(name, ".html") || strings.HasSuffix(name, ".svg") {
			for line := range strings.Lines(pageText(s)) {
				if key := digit.ReplaceAllString(line, "0"); !seen[key] {
					seen[key] = true
					b.WriteString(line)
				}
			}
			continue
		}
		b.WriteString(s)
	}
}

// collectAssets gives the README, and the words of the pages' templates and scripts.
func collectAssets(t *testing.T, b *bytes.Buffer, root string) {
	t.Helper()
	for _, name := range []string{"README.md", "testdata/bench/bench.toml"} {
		fmt.Fprintf(b, "\n==== %s\n%s", name, read(t, filepath.Join(root, name)))
	}
	for _, name := range []string{"report/assets/page.html", "report/assets/labels.html", "cmd/stillglow/benchpage/assets/page.html"} {
		fmt.Fprintf(b, "\n==== %s\n%s", name, pageText(read(t, filepath.Join(root, name))))
	}
	for _, name := range []string{"report/assets/page.js", "cmd/stillglow/benchpage/assets/bench.js"} {
		fmt.Fprintf(b, "\n==== %s\n", name)
		for line := range strings.Lines(read(t, filepath.Join(root, name))) {
			for _, m := range quoted.FindAllStringSubmatch(line, -1) {
				if text := m[1] + m[2]; strings.Contains(text, " ") && worded.MatchString(text) {
					fmt.Fprintln(b, text)
				}
			}
		}
	}
}

// pageText is what a page says, a line for each block: its texts, and those that
// only a screen reader or a pointer meets.
func pageText(s string) string {
	s = unread.ReplaceAllString(s, "")
	var b strings.Builder
	for _, m := range spoken.FindAllStringSubmatch(s, -1) {
		fmt.Fprintln(&b, m[1])
	}
	b.WriteString(newline.ReplaceAllString(tags.ReplaceAllString(blocks.ReplaceAllString(s, "\n"), ""), "\n"))
	return html.UnescapeString(b.String())
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// worded tells a text with words in it from a key, a format or a path.
var worded = regexp.MustCompile(`[A-Za-z]{2,}[,;:]? [A-Za-z%(]|^[A-Z][a-z]+ |[a-z]{3,}$`)

// collectLiterals gives the texts of the source, file by file; it returns how many.
func collectLiterals(t *testing.T, b *bytes.Buffer, root string) int {
	t.Helper()
	fmt.Fprint(b, "\n==== in the source\n")
	var files []string
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || d.Name() == "synth" || d.Name() == "vendored") {
			return fs.SkipDir
		}
		if strings.HasSuffix(p, ".go") && !strings.HasSuffix(p, "_test.go") {
			files = append(files, p)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(files)
	found := 0
	for _, p := range files {
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, p, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		rel, _ := filepath.Rel(root, p)
		fmt.Fprintf(b, "\n-- %s\n", filepath.ToSlash(rel))
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.ImportSpec:
				return false
			case *ast.Field:
				n.Tag = nil
			case *ast.BasicLit:
				if n.Kind != token.STRING {
					break
				}
				s, err := strconv.Unquote(n.Value)
				if err == nil && strings.Contains(s, " ") && worded.MatchString(s) {
					found++
					fmt.Fprintf(b, "%d: %s\n", set.Position(n.Pos()).Line, s)
				}
			}
			return true
		})
	}
	return found
}
