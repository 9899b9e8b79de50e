package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
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
	page, err := (&report.Report{}).HTML(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	printed := func(args ...string) string {
		var out bytes.Buffer
		if code := run(context.Background(), args, strings.NewReader(""), &out, &out); code != exitDone {
			t.Fatalf("%v: exit %d: %s", args, code, out.String())
		}
		return out.String()
	}
	filter := printed("filter", "--topology", "rc", "--r-ohm", "0.75", "--c-uf", "1000", "--heaters-a", "0.94")
	ceramic := printed("filter", "--topology", "rc", "--r-ohm", "0.75", "--c-uf", "1", "--kind", "film", "--heaters-a", "0.94")
	dropper := printed("dropper", "--supply", "7", "--valves", "2x12AU7")
	sheet := filepath.Join(t.TempDir(), "new.toml")
	printed("new", sheet, "--yes", "--brand", "Murrowfen")
	written, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	log := (&report.Report{}).Markdown()
	plain := func(s string) string {
		s = strings.NewReplacer("&#39;", "'", "&#43;", "+", "\n# ", " ").Replace(s)
		return strings.ToLower(strings.Join(strings.Fields(s), " "))
	}
	// Who meets an electrolytic, meets what it does when it is fitted wrong.
	load := report.LoadSafety
	parallel, hot, volts := report.ParallelSafety(), report.HotSafety(), report.VoltsSafety()
	for _, c := range []struct {
		where, text string
		lines       []string
	}{
		{"README", string(readme), []string{report.EarthSafety, report.LeakSafety, report.CommonSafety, report.HTSafety, report.CodesSafety, report.CapSafety(), parallel, load, hot, volts}},
		{"guide", guide.String(), []string{report.EarthSafety, report.LeakSafety, report.CommonSafety, report.HTSafety, report.CodesSafety, report.CapSafety(), parallel, load}},
		{"page", string(page), []string{report.EarthSafety, report.LeakSafety, report.CommonSafety, report.HTSafety, report.CodesSafety, report.CapSafety(), parallel, hot, volts}},
		{"build log", string(log), []string{report.EarthSafety, report.LeakSafety, report.HTSafety, report.CodesSafety, report.CapSafety(), parallel, hot, volts}},
		{"filter", filter, []string{report.CapSafety(), report.HTSafety, report.CodesSafety}},
		{"filter without electrolytic", ceramic, []string{report.HTSafety, report.CodesSafety}},
		{"dropper", dropper, []string{report.CapSafety(), report.HTSafety, hot, volts, parallel, report.CodesSafety}},
		{"sheet of new", string(written), []string{"clip the ground only to a point", "join grounds with everything unplugged", "local codes and licensed practice decide"}},
	} {
		for _, line := range c.lines {
			if !strings.Contains(plain(c.text), strings.TrimSuffix(plain(line), ".")) {
				t.Errorf("%s lacks %q", c.where, line)
			}
		}
	}
	if strings.Contains(plain(ceramic), "vents or bursts") {
		t.Error("a film capacitor is warned of as an electrolytic")
	}
	// The page links to them from where the part to fit is named, and more follows.
	if s := string(page); strings.Index(s, `<section id="safety"`) > strings.Index(s, `<section id="units"`) {
		t.Error("the page's safety section stands behind the units")
	}
}
