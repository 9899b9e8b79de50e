package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
)

// What 'target --toml' prints reads back from a sheet as the same limits, for
// every named target and a derived one.
func TestTargetTOMLReadsBack(t *testing.T) {
	cases := map[string][]string{"derived": {"target", "hears", "--cathode-ohm", "1500", "--toml"}}
	for _, name := range target.Names() {
		cases[name] = []string{"target", name, "--toml"}
	}
	for name, args := range cases {
		var out, errs bytes.Buffer
		if code := run(context.Background(), args, strings.NewReader(""), &out, &errs); code != 0 {
			t.Fatalf("%s: exit %d: %s", name, code, errs.String())
		}
		path := filepath.Join(t.TempDir(), "bench.toml")
		text := "title = \"x\"\n" + out.String() + "\n[[unit]]\nbrand = \"Invented\"\nmark = \"1\"\nreadings = [{ load_a = 0.6, v = 7 }]\n"
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		s, err := sheet.Read(path)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, text)
		}
		got, _, err := pipeline.Target(s)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		want, err := target.Named(name)
		if name == "derived" {
			want, err = target.DeriveTarget(target.Stage{CathodeOhm: 1500}, 0.3e-6)
		}
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Limits) != len(want.Limits) {
			t.Fatalf("%s: %d limits read back, want %d", name, len(got.Limits), len(want.Limits))
		}
		for i, w := range want.Limits {
			g := got.Limits[i]
			near := func(a, b float64) bool { return a == b || a/b < 1.002 && b/a < 1.002 }
			if g.Criterion != w.Criterion || !near(g.Max, w.Max) || !near(g.Min, w.Min) || g.LessMains != w.LessMains || len(g.Points) != len(w.Points) {
				t.Errorf("%s: %+v read back, want %+v", name, g, w)
				continue
			}
			for k := range w.Points {
				if !near(g.Points[k].Hz, w.Points[k].Hz) || !near(g.Points[k].VPerRtHz, w.Points[k].VPerRtHz) {
					t.Errorf("%s: mask corner %d is %+v, want %+v", name, k, g.Points[k], w.Points[k])
				}
			}
		}
	}
}
