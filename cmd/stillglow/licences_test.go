package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture"
)

// Every module that is linked into the program stands in the list of licences,
// in the version that is linked, with the text of its terms.
func TestLicencesOfEveryModule(t *testing.T) {
	list := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}{{end}}{{end}}", ".")
	out, err := list.Output()
	if err != nil {
		t.Skipf("go list: %v", err)
	}
	modules := 0
	for line := range strings.Lines(string(out)) {
		m := strings.TrimSpace(line)
		if m == "" {
			continue
		}
		modules++
		head, text, found := strings.Cut(licences, "\n==== "+m+": ")
		if !found || !strings.Contains(head, "\n"+m+": ") {
			t.Errorf("%s has no notice: run .ci/licences", m)
			continue
		}
		text, _, _ = strings.Cut(text, "\n==== ")
		if low := strings.ToLower(text); len(text) < 100 || !strings.Contains(low, "licen") && !strings.Contains(low, "permission") && !strings.Contains(low, "copyright") {
			t.Errorf("%s: the notice has no terms: %.100q", m, text)
		}
	}
	if modules < 10 {
		t.Errorf("%d modules listed", modules)
	}
}

// What the report's page holds of others has its notice, too, and all of them can be
// printed as they are.
func TestLicencesOfThePage(t *testing.T) {
	scripts, err := filepath.Glob("../../report/assets/*.min.js")
	if err != nil || len(scripts) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	for _, s := range scripts {
		name, _, _ := strings.Cut(filepath.Base(s), ".")
		notice, err := os.ReadFile("../../report/assets/" + name + ".LICENSE")
		if err != nil {
			t.Error(err)
		} else if words := strings.TrimSpace(string(notice)); !strings.Contains(licences, words) || !strings.Contains(licences, "\n"+name+" v") {
			t.Errorf("%s has no notice: run .ci/licences", name)
		}
	}
	if printed := capture.Printable(licences); printed != licences {
		t.Error("the notices hold what can't be printed")
	}
}

func TestVersion(t *testing.T) {
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"--version"}, []string{"stillglow version " + version + "\n"}},
		{[]string{"-v"}, []string{"stillglow version " + version + "\n"}},
		{[]string{"--version", "--licences"}, []string{"stillglow version ", "Go standard library", "FreeType Project", "==== stillglow ===="}},
		{[]string{"--licences"}, []string{"stillglow version ", "MIT License"}},
	} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), c.args, nil, &out, &errs); code != exitDone {
			t.Errorf("%v: exit %d: %s", c.args, code, errs.String())
		}
		for _, want := range c.want {
			if !strings.Contains(out.String(), want) {
				t.Errorf("%v: no %q in %.200q", c.args, want, out.String())
			}
		}
		if long := len(out.String()) > 1000; long != (len(c.want) > 1) {
			t.Errorf("%v: %d bytes", c.args, out.Len())
		}
	}
}
