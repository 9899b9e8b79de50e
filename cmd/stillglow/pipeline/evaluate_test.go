package pipeline

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"stillglow/analysis/target"
)

// someBench writes a sheet of n units with a capture each and a baseline.
func someBench(t *testing.T, n int) string {
	t.Helper()
	dir := t.TempDir()
	wave := func(peakV float64) string {
		var b bytes.Buffer
		b.WriteString("time (s),volts (V)\n")
		for i := range 600 {
			fmt.Fprintf(&b, "%.7e,%.6f\n", float64(i)*1e-6, 7+peakV*math.Sin(2*math.Pi*float64(i)*0.05))
		}
		return b.String()
	}
	var b strings.Builder
	b.WriteString("target = \"line-preamp\"\n[instrument.baseline]\nfile = \"base.csv\"\n")
	write(t, filepath.Join(dir, "base.csv"), wave(1e-5))
	for i := range n {
		write(t, filepath.Join(dir, fmt.Sprintf("u%d.csv", i)), wave(1e-3*float64(i+1)))
		fmt.Fprintf(&b, "[[unit]]\nbrand = \"Alder\"\nmark = \"%d\"\n[[unit.capture]]\nfile = \"u%d.csv\"\n", i, i)
	}
	path := filepath.Join(dir, "bench.toml")
	write(t, path, b.String())
	return path
}

// Every capture is told of when it starts and when it is done, one event at a
// time, with its measurement and whether that was kept from an earlier run.
func TestEvents(t *testing.T) {
	const units = 5
	path := someBench(t, units)
	c, err := OpenCache(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for _, kept := range []bool{false, true} {
		var started, opened, done []string
		last := 0
		_, err := Evaluate(context.Background(), path, Options{Cache: c, SkipFilter: true, Progress: func(e Event) {
			at := fmt.Sprint(e.Unit, e.Capture, e.File)
			if e.Total != units+1 {
				t.Errorf("total %d, want %d", e.Total, units+1)
			}
			switch e.Kind {
			case CaptureStarted:
				started = append(started, at)
			case CaptureOpened:
				opened = append(opened, at)
				if e.Trace == nil || len(e.Trace.Volts) == 0 || !slices.Contains(started, at) || slices.Contains(done, at) {
					t.Errorf("%s is opened: %+v", at, e)
				}
			case CaptureDone:
				done = append(done, at)
				if !slices.Contains(started, at) {
					t.Errorf("%s is done and was not started", at)
				}
				if last++; e.Done != last {
					t.Errorf("done %d, want %d", e.Done, last)
				}
				if e.Err != nil || e.Result == nil || e.Result.M.File != e.File || e.FromCache != kept {
					t.Errorf("%s: %+v, want from the cache: %v", at, e, kept)
				}
			}
		}})
		if err != nil {
			t.Fatal(err)
		}
		if wantOpened := map[bool]int{false: units + 1}[kept]; len(started) != units+1 || len(done) != units+1 || len(opened) != wantOpened {
			t.Errorf("%d started, %d opened, %d done, want %d, %d and %d", len(started), len(opened), len(done), units+1, wantOpened, units+1)
		}
	}
}

// A capture that can't be read is told of, and the others are still measured.
func TestEventsOfBadCaptures(t *testing.T) {
	path := someBench(t, 4)
	for _, name := range []string{"u1.csv", "u3.csv"} {
		write(t, filepath.Join(filepath.Dir(path), name), "no capture\n")
	}
	var bad, good []string
	_, err := Evaluate(context.Background(), path, Options{Progress: func(e Event) {
		switch {
		case e.Kind == CaptureDone && e.Err != nil && e.Result == nil:
			bad = append(bad, e.File)
		case e.Kind == CaptureDone && e.Result != nil:
			good = append(good, e.File)
		}
	}})
	var list ErrorList
	if !errors.As(err, &list) || len(list) != 2 {
		t.Fatalf("%v", err)
	}
	if slices.Sort(bad); fmt.Sprint(bad) != "[u1.csv u3.csv]" || len(good) != 3 {
		t.Errorf("bad %v, good %v", bad, good)
	}
}

// An ended context ends the work with its error, before and while captures are
// measured.
func TestInterruptedEvaluation(t *testing.T) {
	path := someBench(t, 3)
	ctx, cancel := context.WithCancel(context.Background())
	_, err := Evaluate(ctx, path, Options{Workers: 1, Progress: func(e Event) { cancel() }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	r, err := Evaluate(context.Background(), path, Options{SkipFilter: true})
	if err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(t.TempDir(), "out")
	if _, err := WriteReport(ctx, r, folder, FolderOptions{}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	wantOnly(t, filepath.Dir(folder))
	if _, err := WriteReport(context.Background(), r, folder, FolderOptions{}); err != nil {
		t.Error(err)
	}
}

// One unit's volts that no heater supply has, by a slip in its readings or an
// AC-coupled capture told to be DC-coupled, don't stop the others.
func TestOneUnitsSlipStopsNoBench(t *testing.T) {
	path := someBench(t, 2)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var ac bytes.Buffer
	ac.WriteString("time (s),volts (V)\n")
	for i := range 600 {
		fmt.Fprintf(&ac, "%.7e,%.6f\n", float64(i)*1e-6, 1e-3*math.Sin(2*math.Pi*float64(i)*0.05))
	}
	write(t, filepath.Join(filepath.Dir(path), "ac.csv"), ac.String())
	write(t, path, string(b)+`
[[heaters.valve]]
type = "12AX7"
[[unit]]
brand = "Birch"
mark = "in millivolts"
rated_v = 7
readings = [{ load_a = 0, v = 7200000 }, { load_a = 0.3, v = 7100 }]
[[unit]]
brand = "Birch"
mark = "without DC"
rated_v = 7
[[unit.capture]]
file = "ac.csv"
coupling = "dc"
`)
	r := mustEvaluate(t, path, nil)
	if len(r.Units) != 4 {
		t.Fatalf("%d units", len(r.Units))
	}
	for _, u := range r.Units {
		if odd := u.Eval.Unit.Brand == "Birch"; (u.Plan == nil) != odd {
			t.Errorf("%s: a plan for %+v", u.Eval.Unit.Key, u.Eval.LoadedV)
		} else if odd && u.Eval.Verdict == target.Fail {
			t.Errorf("%s fails: %s", u.Eval.Unit.Key, u.Eval.Why)
		}
	}
}
