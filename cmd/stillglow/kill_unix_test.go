//go:build unix

package main

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"stillglow/capture/synth/testrun"
	"stillglow/cmd/stillglow/pipeline"
)

var kills = flag.Int("kills", 0, "how many random instants TestKilledAnywhere kills a report at")

// buildTool builds the program once for tests that need a process of its own.
func buildTool(t *testing.T) string {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "stillglow")
	if out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return bin
}

const demoSheet = "../../testdata/bench/bench.toml"

// wholeReport checks every file of a report folder against its list.
func wholeReport(t *testing.T, dir string) {
	t.Helper()
	sums, err := os.ReadFile(filepath.Join(dir, pipeline.ListFile))
	if err != nil {
		t.Fatalf("no whole report: %v", err)
	}
	n := 0
	for line := range strings.Lines(string(sums)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		want, name, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatalf("a listed file is missing: %v", err)
		}
		if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != want {
			t.Fatalf("%s is not what the list says", name)
		}
		n++
	}
	if n < 5 {
		t.Fatalf("the list has %d files", n)
	}
}

// TestKilledAnywhere kills report at random instants, by each of four signals,
// and wants a whole report in the folder every time. The full count of 200 runs
// in .ci/run.
func TestKilledAnywhere(t *testing.T) {
	if *kills == 0 {
		t.Skip("give -kills, as .ci/run does")
	}
	bin := buildTool(t)
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	// A quarter of the demo bench: what matters is the writing.
	args := []string{"report", "--cache", filepath.Join(parent, "cache"), "--no-filter", "--out", dir, unitsOfDemo(t, "A1", "B1", "C1")}
	if out, err := exec.Command(bin, args...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	start := time.Now()
	if out, err := exec.Command(bin, args...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	whole := time.Since(start)

	rng := rand.New(rand.NewPCG(1, 2))
	signals := []os.Signal{syscall.SIGKILL, syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP}
	for i := range *kills {
		cmd := exec.Command(bin, args...)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// The second half of a run is where files are written: aim most there.
		after := time.Duration(rng.Float64() * 1.2 * float64(whole))
		time.Sleep(after)
		_ = cmd.Process.Signal(signals[i%len(signals)])
		_ = cmd.Wait()
		wholeReport(t, dir)
	}
	// The next undisturbed run clears what the killed ones left.
	if out, err := exec.Command(bin, args...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	wholeReport(t, dir)
	onlyIn(t, parent, "cache", "out")
}

// unitsOfDemo is a sheet of the demo bench's units with these marks.
func unitsOfDemo(t *testing.T, marks ...string) string {
	t.Helper()
	text, err := os.ReadFile(demoSheet)
	if err != nil {
		t.Fatal(err)
	}
	dir, err := filepath.Abs(filepath.Dir(demoSheet))
	if err != nil {
		t.Fatal(err)
	}
	into := t.TempDir()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() != filepath.Base(demoSheet) {
			if err := os.Symlink(filepath.Join(dir, e.Name()), filepath.Join(into, e.Name())); err != nil {
				t.Fatal(err)
			}
		}
	}
	parts := strings.Split(string(text), "\n[[unit]]\n")
	kept := parts[:1]
	for _, unit := range parts[1:] {
		if slices.ContainsFunc(marks, func(m string) bool { return strings.Contains(unit, `mark     = "`+m+`"`) }) {
			kept = append(kept, unit)
		}
	}
	if len(kept) != 1+len(marks) {
		t.Fatalf("%d units of %v", len(kept)-1, marks)
	}
	path := filepath.Join(into, "bench.toml")
	if err := os.WriteFile(path, []byte(strings.Join(kept, "\n[[unit]]\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestFullDisk runs report where no file may grow beyond a few kilobytes, as on
// a disk that fills up: the earlier report stays whole.
func TestFullDisk(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does")
	}
	if _, err := exec.LookPath("sh"); err != nil {
		t.Skip("no sh to set a limit with")
	}
	bin := buildTool(t)
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	args := []string{"report", "--no-cache", "--no-filter", "--out", dir, demoSheet}
	if out, err := exec.Command(bin, args...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	before, err := os.ReadFile(filepath.Join(dir, pipeline.ListFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, blocks := range []string{"0", "1", "16", "64"} {
		full := append([]string{"-c", "ulimit -f " + blocks + "; exec \"$0\" \"$@\"", bin}, args...)
		var errs bytes.Buffer
		cmd := exec.Command("sh", full...)
		cmd.Stderr = &errs
		if err := cmd.Run(); err == nil {
			t.Errorf("%s blocks: no error on a full disk", blocks)
		}
		if !oneClearLine(errs.String()) {
			t.Errorf("%s blocks: want one clear line, got %q", blocks, errs.String())
		}
		wholeReport(t, dir)
		after, err := os.ReadFile(filepath.Join(dir, pipeline.ListFile))
		if err != nil || !bytes.Equal(before, after) {
			t.Errorf("%s blocks: the earlier report changed: %v", blocks, err)
		}
	}
	onlyIn(t, parent, "out")
}

// onlyIn wants a folder to hold these names and no others.
func onlyIn(t *testing.T, dir string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("%s holds %q, want %q", dir, got, want)
	}
}

// TestForeignOldReport has another user's earlier report in the place: it can
// be moved and not removed. The new report is a success with a note, and so are
// those after it.
func TestForeignOldReport(t *testing.T) {
	if !testrun.Full() || os.Geteuid() != 0 {
		t.Skip("set STILLGLOW_FULL=1 as root, as .ci/run does: it needs two users")
	}
	bin := buildTool(t)
	parent := t.TempDir()
	for dir := parent; dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) {
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	_ = os.Chmod(filepath.Dir(bin), 0o755)
	const nobody = 65534
	sheet := filepath.Join(parent, "bench.toml")
	if err := os.WriteFile(filepath.Join(parent, "a.csv"), goodCSV(300), 0o644); err != nil {
		t.Fatal(err)
	}
	text := "[[unit]]\nbrand = \"Alder\"\n[[unit.capture]]\nfile = \"a.csv\"\n"
	if err := os.WriteFile(sheet, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(parent, "out")
	report := func(uid uint32) string {
		var errs bytes.Buffer
		cmd := exec.Command(bin, "report", "--no-cache", "--out", dir, sheet)
		cmd.Dir, cmd.Stderr = parent, &errs
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uid, Gid: uid}}
		err := cmd.Run()
		if code := cmd.ProcessState.ExitCode(); code != exitDone && code != exitNonePass {
			t.Fatalf("user %d: %v: %s", uid, err, errs.String())
		}
		wholeReport(t, dir)
		return errs.String()
	}
	report(0)
	if err := os.Chown(parent, nobody, nobody); err != nil {
		t.Fatal(err)
	}
	if note := report(nobody); strings.Count(note, "\n") != 1 || !strings.Contains(note, "note: ") {
		t.Errorf("want one note, got %q", note)
	}
	for range 2 {
		if note := report(nobody); note != "" {
			t.Errorf("a leftover of another user is not this run's matter: %q", note)
		}
	}
}

// TestHangUp closes the terminal on a watch: the report is written, as after
// Ctrl-C.
func TestHangUp(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does")
	}
	bin := buildTool(t)
	sheet := twinSheet(t, []int{0, 1})
	for _, signal := range []os.Signal{syscall.SIGHUP, syscall.SIGTERM} {
		dir := filepath.Join(t.TempDir(), "out")
		cmd := exec.Command(bin, "watch", "--no-cache", "--settle", "0s", "--out", dir, sheet)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// The first ranking is drawn: it is watching.
		lines := bufio.NewScanner(out)
		for lines.Scan() && !strings.HasPrefix(lines.Text(), "watching ") {
		}
		_ = cmd.Process.Signal(signal)
		for lines.Scan() {
		}
		_ = cmd.Wait()
		if code := cmd.ProcessState.ExitCode(); code != exitDone && code != exitNonePass {
			t.Errorf("%v: %v", signal, cmd.ProcessState)
		}
		wholeReport(t, dir)
	}
}
