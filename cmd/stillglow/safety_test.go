package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"stillglow/report"
)

// The safety lines read the same in the README, the guide and the report's page.
func TestSafetyWordsAreTheSame(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	var guide bytes.Buffer
	if code := run(context.Background(), []string{"guide"}, strings.NewReader(""), &guide, &guide); code != exitDone {
		t.Fatalf("guide: exit %d: %s", code, guide.String())
	}
	page, err := (&report.Report{}).HTML()
	if err != nil {
		t.Fatal(err)
	}
	plain := func(s string) string {
		return strings.Join(strings.Fields(strings.ReplaceAll(s, "&#39;", "'")), " ")
	}
	for where, text := range map[string]string{"README": string(readme), "guide": guide.String(), "page": string(page)} {
		for _, line := range []string{report.GroundSafety, report.LeakSafety, report.CommonSafety, report.HTSafety, report.CodesSafety} {
			if !strings.Contains(plain(text), strings.TrimSuffix(plain(line), ".")) {
				t.Errorf("%s lacks %q", where, line)
			}
		}
	}
}
