package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
	"stillglow/cmd/stillglow/pipeline"
)

// rippleCSV is a capture of 7 V with a sine of that peak on it, two volt
// channels: the second with ten times the sine.
func rippleCSV(peakV float64) []byte {
	var b bytes.Buffer
	b.WriteString("time (s),CH1 (V),CH2 (V)\n")
	for i := range 4000 {
		x := peakV * math.Sin(2*math.Pi*float64(i)*0.05)
		fmt.Fprintf(&b, "%.7e,%.6f,%.6f\n", float64(i)*1e-6, 7+x, 7+10*x)
	}
	return b.Bytes()
}

// twins are units whose brand, model and mark read the same when they are put
// in one line.
var twins = []struct{ brand, model, mark string }{
	{"Alder", "T 70", "B1"}, {"Alder", "T", "70 B1"}, {"Alder", "", "T 70 B1"}, {"Alder", "T 70 B1", ""}, {"Alder T", "70", "B1"},
}

// twinSheet gives each twin a capture of its own, the k-th with k+1 times the
// ripple, and every second one a second channel.
func twinSheet(t *testing.T, order []int) string {
	t.Helper()
	dir := t.TempDir()
	var b strings.Builder
	b.WriteString("target = \"line-preamp\"\n")
	for _, k := range order {
		u := twins[k]
		file := fmt.Sprintf("unit%d.csv", k)
		if err := os.WriteFile(filepath.Join(dir, file), rippleCSV(1e-3*float64(k+1)), 0o644); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "[[unit]]\nbrand = %q\nmodel = %q\nmark = %q\n[[unit.capture]]\nfile = %q\nchannel = \"CH1\"\n", u.brand, u.model, u.mark, file)
	}
	path := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// Units that read alike keep their own captures, filters and pictures, in any
// order of the sheet, and the outputs tell them apart.
func TestUnitsThatReadAlike(t *testing.T) {
	for _, order := range testrun.Some([][]int{{0, 1, 2, 3, 4}, {4, 3, 2, 1, 0}, {2, 0, 4, 1, 3}}, 2) {
		path := twinSheet(t, order)
		c, err := pipeline.OpenCache(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		for range 2 { // the second time from the cache
			r, err := pipeline.Evaluate(context.Background(), path, pipeline.Options{Version: version, Cache: c, FilterAll: len(order) == 5 && order[0] == 0})
			if err != nil {
				t.Fatal(err)
			}
			names := map[string]bool{}
			for _, u := range r.Units {
				own := u.Eval.Unit
				k := order[own.Index]
				if tw := twins[k]; own.Brand != tw.brand || own.Model != tw.model || own.Mark != tw.mark {
					t.Fatalf("unit %d is %q %q %q, want %q", own.Index, own.Brand, own.Model, own.Mark, tw)
				}
				want := fmt.Sprintf("unit%d.csv", k)
				if len(u.Captures) != 1 || u.Captures[0].M.File != want || own.Captures[0].File != want {
					t.Fatalf("%s: the capture of another: %q, want %q", own.Key, u.Captures[0].M.File, want)
				}
				if got, peak := u.Captures[0].M.PPV.Value/2, 1e-3*float64(k+1); math.Abs(got/peak-1) > 0.05 {
					t.Errorf("%s: ripple of %g V peak, want %g", own.Key, got, peak)
				}
				if u.Filter != nil && u.Filter.UnitKey != own.Key {
					t.Errorf("%s has the filter of %s", own.Key, u.Filter.UnitKey)
				}
				names[own.Key] = true
			}
			if len(names) != len(twins) {
				t.Errorf("%d names for %d units: %v", len(names), len(twins), names)
			}
			page, err := r.HTML(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			for name := range names {
				if !bytes.Contains(page, []byte(strings.ReplaceAll(name, `"`, "&#34;"))) {
					t.Errorf("the page does not name %s", name)
				}
			}
		}
	}
}

// The same for what check and compare say.
func TestCommandsTellUnitsApart(t *testing.T) {
	path := twinSheet(t, []int{0, 1, 2, 3, 4})
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"check", "--no-cache", "--json", path}, nil, &out, &errs); code != exitDone {
		t.Fatal(errs.String())
	}
	var checked struct {
		Captures []struct{ File, Unit string }
		Open     []struct{ Unit string }
	}
	if err := json.Unmarshal(out.Bytes(), &checked); err != nil {
		t.Fatal(err)
	}
	open := map[string]bool{}
	for _, o := range checked.Open {
		open[o.Unit] = true
	}
	if len(open) != len(twins) {
		t.Errorf("check has %d open units, want %d: %v", len(open), len(twins), open)
	}
	files := make([]string, 2)
	for i, order := range [][]int{{0, 1, 2, 3, 4}, {3, 4, 0, 2, 1}} {
		out.Reset()
		if code := run(context.Background(), []string{"rank", "--no-cache", "--no-filter", "--json", twinSheet(t, order)}, nil, &out, &errs); code != exitNonePass {
			t.Fatalf("%d: %s", code, errs.String())
		}
		files[i] = filepath.Join(t.TempDir(), "results.json")
		if err := os.WriteFile(files[i], out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	out.Reset()
	if code := run(context.Background(), []string{"compare", "--json", files[0], files[1]}, nil, &out, &errs); code != exitDone {
		t.Fatal(errs.String())
	}
	var compared struct {
		Units []struct {
			Key     string
			Changes []struct{ Before, After *float64 }
			Figures []struct{ Before, After *float64 }
		}
		OnlyBefore []string `json:"only_before"`
		OnlyAfter  []string `json:"only_after"`
	}
	if err := json.Unmarshal(out.Bytes(), &compared); err != nil {
		t.Fatal(err)
	}
	if len(compared.Units) != len(twins) || len(compared.OnlyBefore)+len(compared.OnlyAfter) > 0 {
		t.Fatalf("compare pairs %d units of %d: %s", len(compared.Units), len(twins), out.String())
	}
	figures := 0
	for _, u := range compared.Units {
		for _, c := range append(u.Changes, u.Figures...) {
			if c.Before != nil && c.After != nil {
				figures++
				if *c.Before != *c.After {
					t.Errorf("%s compared with another unit: %g and %g", u.Key, *c.Before, *c.After)
				}
			}
		}
	}
	if figures == 0 {
		t.Errorf("no figures compared: %s", out.String())
	}
}

// Two channels of one file are two baselines, whatever their names are made of.
func TestBaselinesOfOneFile(t *testing.T) {
	dir := t.TempDir()
	for f, rippleV := range map[string]float64{"a.csv": 2e-4, "b.csv": 3e-4, "base.csv": 1e-4} {
		if err := os.WriteFile(filepath.Join(dir, f), rippleCSV(rippleV), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "bench.toml")
	text := `target = "line-preamp"
[[unit]]
brand = "Alder"
mark = "A"
  [[unit.capture]]
  file = "a.csv"
  channel = "CH1"
  baseline = "base.csv"
[[unit]]
brand = "Alder"
mark = "B"
  [[unit.capture]]
  file = "b.csv"
  channel = "CH2"
  baseline = "base.csv"
`
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	measured := 0
	if _, err := pipeline.Evaluate(context.Background(), path, pipeline.Options{SkipFilter: true, Progress: func(e pipeline.Event) {
		if e.Kind == pipeline.CaptureDone && e.Unit < 0 && e.Result != nil {
			measured++
		}
	}}); err != nil {
		t.Fatal(err)
	}
	if measured != 2 {
		t.Errorf("%d baselines measured, want 2", measured)
	}
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"check", "--no-cache", path}, nil, &out, &errs); code != exitDone {
		t.Fatal(errs.String())
	}
	if n := strings.Count(out.String(), "base.csv"); n != 2 {
		t.Errorf("check opens %d baselines, want 2:\n%s", n, out.String())
	}
}
