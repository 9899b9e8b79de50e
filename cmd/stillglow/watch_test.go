package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// screen is a buffer that a test reads while the watcher writes.
type screen struct {
	mu sync.Mutex
	b  strings.Builder
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// await waits until the screen shows want after its first from bytes. No limit but
// that of the whole run: how long a loaded machine takes is no fault of the watcher.
func (s *screen) await(t *testing.T, from int, want string) {
	t.Helper()
	for out := testrun.Ends(t); ; {
		if text := s.String(); strings.Contains(text[from:], want) {
			return
		}
		select {
		case <-out:
			t.Fatalf("no %q on the screen before the run's time was up:\n%s", want, s.String()[from:])
		case <-time.After(50 * time.Millisecond):
		}
	}
}

const watchSheet = `
title = "watched"
invented = true
mains_hz = 50
target = "line-preamp"
pattern = "{brand}-{mark}-{rest}.csv"
[instrument]
bandwidth_hz = 100e6
coupling = "ac"
[[heaters.valve]]
type = "12AU7"
[[unit]]
brand = "Murrowfen"
mark = "A1"
rated_v = 7
rated_a = 2
readings = [{ load_a = 0, v = 7.05 }, { load_a = 0.3, v = 7 }]
[[unit.capture]]
file = "named-later.csv"
load_a = 0.3
[[unit]]
brand = "Murrowfen"
mark = "A2"
rated_v = 7
`

// watchCSV renders a quick capture of an invented supply.
func watchCSV(t *testing.T, seed uint64, rippleV float64) []byte {
	t.Helper()
	s := synth.Supply{Seed: seed, RateHz: 62.5e6, Samples: 20000, SwitchingHz: 120e3, RipplePPV: rippleV,
		NoiseVPerRtHz: 50e-9, NoiseBandwidthHz: 2e6, ADCBits: 8, BandwidthHz: 100e6, ACCoupled: true}
	v, _ := s.Render()
	var b bytes.Buffer
	if err := synth.WriteCSV(&b, synth.Preamble, s.RateHz, v, 6, "AC"); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A bench session: a half-written file is waited for, a whole one is matched by
// pattern, one named in the sheet comes later, strangers and broken files are
// told, the sheet is edited, Ctrl-C leaves a report. Without the search for
// post-filters, which is the same as report's and costs more than all of the rest.
func TestWatchSession(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bench.toml")
	// Files arrive in one step: on a busy machine the watcher may else look
	// between a file's emptying and its writing, which the slow file below tries.
	apart := t.TempDir()
	write := func(name string, data []byte) {
		t.Helper()
		fresh := filepath.Join(apart, name)
		if err := os.WriteFile(fresh, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(fresh, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	write("bench.toml", []byte(watchSheet))
	out := filepath.Join(t.TempDir(), "report")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	shown, errs := new(screen), new(screen)
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"watch", path, "--out", out, "--no-cache", "--no-filter", "--interval", "50ms", "--settle", "800ms"}, strings.NewReader(""), shown, errs)
	}()
	shown.await(t, 0, "still to arrive: named-later.csv")

	whole := watchCSV(t, 1, 3e-3)
	from := len(shown.String())
	f, err := os.Create(filepath.Join(dir, "murrowfen-a2-first.csv"))
	if err != nil {
		t.Fatal(err)
	}
	// The scope writes slowly: in pieces, the file's date moving on until the watcher,
	// which may be kept waiting on a busy machine, has seen it half written.
	half := len(whole) / 2
	if _, err := f.Write(whole[:half]); err != nil {
		t.Fatal(err)
	}
	for out := testrun.Ends(t); !strings.Contains(shown.String()[from:], "murrowfen-a2-first.csv is being written"); {
		select {
		case <-out:
			t.Fatalf("a file half written is not told:\n%s", shown.String()[from:])
		case <-time.After(50 * time.Millisecond):
		}
		if err := os.Chtimes(f.Name(), time.Now(), time.Now()); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := f.Write(whole[half:]); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	shown.await(t, from, "Murrowfen A2: + murrowfen-a2-first.csv")

	from = len(shown.String())
	write("named-later.csv", watchCSV(t, 2, 50e-3))
	shown.await(t, from, "Murrowfen A1: + named-later.csv")

	from = len(shown.String())
	write("stranger.csv", whole)
	shown.await(t, from, "stranger.csv fits no unit")
	write("murrowfen-a1-broken.csv", []byte("this is,no capture\nat,all\n"))
	shown.await(t, from, "murrowfen-a1-broken.csv")

	from = len(shown.String())
	write("murrowfen-a2-first.csv", watchCSV(t, 3, 80e-3))
	shown.await(t, from, "saved again: murrowfen-a2-first.csv")

	from = len(shown.String())
	write("bench.toml", []byte(strings.Replace(watchSheet, "mark = \"A2\"", "mrk = \"A2\"", 1)))
	shown.await(t, from, `unknown key "mrk"`)
	write("bench.toml", []byte(watchSheet))

	cancel()
	select {
	case got := <-code:
		if got != exitNonePass {
			t.Errorf("exit %d, want %d: %s", got, exitNonePass, errs)
		}
	case <-testrun.Ends(t):
		t.Fatal("no end after the interruption")
	}
	if !strings.Contains(shown.String(), "report written to "+out) {
		t.Errorf("no report told of:\n%s", shown.String()[from:])
	}
	if _, err := os.Stat(filepath.Join(out, "index.html")); err != nil {
		t.Error(err)
	}
	if strings.Contains(shown.String(), "\x1b[2J") {
		t.Error("the screen is cleared where there is none")
	}

	// report after watch finds what arrived, and says the same of it.
	if err := os.Remove(filepath.Join(dir, "murrowfen-a1-broken.csv")); err != nil {
		t.Fatal(err)
	}
	watched, err := os.ReadFile(filepath.Join(out, "results.json"))
	if err != nil {
		t.Fatal(err)
	}
	_, notes, got := command(t, "report", path, "--out", out, "--no-cache", "--no-filter")
	if got != exitNonePass || !strings.Contains(notes, "note: stranger.csv fits no unit") {
		t.Errorf("report after watch: exit %d, %q", got, notes)
	}
	reported, err := os.ReadFile(filepath.Join(out, "results.json"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(watched, reported) {
		t.Error("report after watch writes other results than watch did")
	}
	for _, args := range [][]string{{"rank", "--no-filter"}, {"check"}} {
		shown, _, _ := command(t, append(args, path, "--no-cache", "--json")...)
		if !strings.Contains(shown, "murrowfen-a2-first.csv") {
			t.Errorf("%s knows nothing of what arrived:\n%s", args[0], shown)
		}
	}
}

// What watch can't do is told before the session, not after it.
func TestWatchRefusesEarly(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(path, []byte(watchSheet), 0o600); err != nil {
		t.Fatal(err)
	}
	taken := filepath.Join(dir, "taken")
	if err := os.Mkdir(taken, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(taken, "mine.txt"), []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
		code int
	}{
		{[]string{"watch", path, "--out", taken}, "mine.txt", exitError},
		{[]string{"watch", path, "--folder", filepath.Join(dir, "none")}, "no such folder", exitError},
		{[]string{"watch", filepath.Join(dir, "none.toml")}, "no such file", exitError},
		{[]string{"watch", path, "--interval", "0s"}, "--interval", exitUsage},
		{[]string{"watch"}, "needs a bench sheet", exitUsage},
	} {
		_, errs, code := command(t, c.args...)
		if code != c.code || !strings.Contains(errs, c.want) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%v: exit %d, %q", c.args, code, errs)
		}
	}
}
