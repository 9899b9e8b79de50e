package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
)

// TestReadmeCommands runs every command that the README and the contributor
// guide show in a console block, and wants the output they print there. A line
// "..." stands for lines left out.
func TestReadmeCommands(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: runs the whole demo bench")
	}
	t.Chdir("../..") // the project's root
	ran := 0
	for _, doc := range []string{"README.md", "DEVELOPERS.md"} {
		text, err := os.ReadFile(doc)
		if err != nil {
			t.Fatal(err)
		}
		for _, block := range consoleBlocks(string(text)) {
			for _, c := range block {
				ran++
				got := runLine(t, c.command)
				if missing, ok := holdsInOrder(got, c.output); !ok {
					t.Errorf("%s: %q no longer prints\n\t%s\nit prints\n%s", doc, c.command, missing, got)
				}
			}
		}
	}
	if ran == 0 {
		t.Error("no command found")
	}
}

type shownCommand struct {
	command string
	output  []string
}

// consoleBlocks finds the ```console blocks: lines after "$ " are commands, the
// lines that follow are what they print.
func consoleBlocks(text string) [][]shownCommand {
	var blocks [][]shownCommand
	var block []shownCommand
	inside := false
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		switch {
		case !inside && line == "```console":
			inside, block = true, nil
		case inside && line == "```":
			inside, blocks = false, append(blocks, block)
		case inside && strings.HasPrefix(line, "$ "):
			block = append(block, shownCommand{command: line[2:]})
		case inside && len(block) > 0:
			last := &block[len(block)-1]
			last.output = append(last.output, line)
		}
	}
	return blocks
}

// runLine runs one shown command in this process. Reports go to a temporary
// folder and nothing is kept.
func runLine(t *testing.T, line string) string {
	t.Helper()
	args := strings.Fields(line)
	switch {
	case len(args) > 1 && args[0] == "stillglow":
		args = args[1:]
	case len(args) > 3 && args[0] == "go" && args[1] == "run":
		args = args[3:]
	default:
		t.Fatalf("not a stillglow command: %q", line)
	}
	if args[0] == "report" || args[0] == "rank" {
		args = append(args, "--no-cache")
	}
	if args[0] == "report" {
		args = append(args, "--out", t.TempDir()+"/report")
	}
	var out, errs bytes.Buffer
	if code := run(context.Background(), args, strings.NewReader(""), &out, &errs); code != exitDone {
		t.Errorf("%q: exit %d: %s", line, code, errs.String())
	}
	return out.String()
}

// holdsInOrder reports whether got holds the wanted lines in order: next to each
// other unless "..." stands between, and gives the first that is missing.
func holdsInOrder(got string, want []string) (missing string, ok bool) {
	lines := strings.Split(strings.TrimRight(got, "\n"), "\n")
	at, gap := 0, true
	for _, w := range want {
		if w == "..." {
			gap = true
			continue
		}
		for gap && at < len(lines) && strings.TrimRight(lines[at], " ") != strings.TrimRight(w, " ") {
			at++
		}
		if at >= len(lines) || strings.TrimRight(lines[at], " ") != strings.TrimRight(w, " ") {
			return w, false
		}
		at++
		gap = false
	}
	return "", true
}
