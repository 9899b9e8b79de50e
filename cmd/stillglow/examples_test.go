package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"

	"github.com/spf13/cobra"
)

// TestHelpExamples runs the example of every command's help as it stands there,
// from a folder that has the project's testdata. Left out are the few that wait
// for a person, for files to arrive, or that use places outside of the project.
// Unless the full tests are asked for, those that read captures are only looked
// up, with their flags.
func TestHelpExamples(t *testing.T) {
	data, err := filepath.Abs("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	t.Setenv("XDG_CACHE_HOME", filepath.Join(dir, "cache"))
	t.Setenv("HOME", dir)
	t.Chdir(dir)
	if err := os.Symlink(data, "testdata"); err != nil {
		t.Skip(err)
	}
	var walk func(c *cobra.Command)
	ran := 0
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			walk(sub)
		}
		if c.Example == "" && c.Runnable() && c.Name() != "help" && c.Parent() != nil && c.Parent().Name() != "completion" {
			t.Errorf("%s: no example", c.CommandPath())
		}
		for line := range strings.Lines(c.Example) {
			args := strings.Fields(line)
			if len(args) < 2 || args[0] != "stillglow" || args[1] == "watch" || args[1] == "bench" ||
				strings.Contains(line, "/tmp/") || strings.Contains(line, "results.json") {
				continue
			}
			if args[1] == "new" && len(args) == 2 {
				continue // asks
			}
			ran++
			if !testrun.Full() && (strings.Contains(line, "testdata/") || args[1] == "demo") {
				sub, rest, err := newRootCmd().Find(args[1:])
				if err == nil {
					err = sub.ParseFlags(rest)
				}
				if err != nil {
					t.Errorf("%s: %v", strings.TrimSpace(line), err)
				}
				continue
			}
			var out, errs bytes.Buffer
			if code := run(context.Background(), args[1:], strings.NewReader(""), &out, &errs); code != exitDone {
				t.Errorf("%s: exit %d: %s", strings.TrimSpace(line), code, errs.String())
			}
			if out.Len() == 0 {
				t.Errorf("%s: printed nothing", strings.TrimSpace(line))
			}
		}
	}
	walk(newRootCmd())
	if ran < 20 {
		t.Errorf("ran %d examples", ran)
	}
}
