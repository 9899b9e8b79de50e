package testrun

import (
	"errors"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

func TestMain(m *testing.M) { Main(m) }

// How much of a list runs hangs on STILLGLOW_FULL alone.
func TestHowMuchRuns(t *testing.T) {
	list := []string{"a", "b", "c", "d", "e"}
	for _, c := range []struct {
		full        string
		want        bool
		short       int
		every2nd    string
		every9th    string
		everySingle string
	}{
		{"", false, 3, "ace", "a", "abcde"},
		{"1", true, 30, "abcde", "abcde", "abcde"},
	} {
		t.Setenv("STILLGLOW_FULL", c.full)
		if Full() != c.want || Short(30, 3) != c.short {
			t.Errorf("STILLGLOW_FULL=%q: full %v, %d of 30", c.full, Full(), Short(30, 3))
		}
		for n, want := range map[int]string{1: c.everySingle, 2: c.every2nd, 9: c.every9th} {
			if got := strings.Join(Some(list, n), ""); got != want {
				t.Errorf("STILLGLOW_FULL=%q: one of %d are %q, want %q", c.full, n, got, want)
			}
		}
		if got := Some([]string(nil), 2); len(got) != 0 {
			t.Errorf("of no list: %q", got)
		}
	}
	if !slices.Equal(list, []string{"a", "b", "c", "d", "e"}) {
		t.Errorf("the list is now %q", list)
	}
}

// child runs one test of this file in a process of its own, which the variable tells
// apart from this one, and gives what it printed and its exit code.
func child(t *testing.T, args ...string) (out string, code int) {
	t.Helper()
	c := exec.Command(os.Args[0], append([]string{"-test.run=^TestAsChild$", "-test.v"}, args...)...)
	c.Env = append(os.Environ(), "TESTRUN_CHILD=1")
	b, err := c.CombinedOutput()
	var failed *exec.ExitError
	if err != nil && !errors.As(err, &failed) {
		t.Fatal(err)
	}
	return string(b), c.ProcessState.ExitCode()
}

// TestAsChild is what child runs: it waits in vain where the run has a limit.
func TestAsChild(t *testing.T) {
	if os.Getenv("TESTRUN_CHILD") == "" {
		t.Skip("runs in a process of its own, for TestEnds and TestMainTellsOfFailures")
	}
	ends := Ends(t)
	if ends == nil {
		t.Log("without a limit")
		return
	}
	<-ends
	t.Fatal("waited in vain for a friend")
}

// A test that waits in vain gets its say before go test ends the run with a panic, and
// waits for ever where there is no limit.
func TestEnds(t *testing.T) {
	if out, code := child(t, "-test.timeout=0"); code != 0 || !strings.Contains(out, "without a limit") {
		t.Errorf("no limit: exit %d: %s", code, out)
	}
	out, _ := child(t, "-test.timeout="+(toTell+toTell/20).String())
	if !strings.Contains(out, "waited in vain for a friend") || strings.Contains(out, "panic: test timed out") {
		t.Errorf("limited: %s", out)
	}
}

// A failing test gives the program that Main ends an exit code that says so.
func TestMainTellsOfFailures(t *testing.T) {
	if out, code := child(t, "-test.timeout="+toTell.String()); code != 1 {
		t.Errorf("a failing test: exit %d: %s", code, out)
	}
	if out, code := child(t, "-test.timeout=0"); code != 0 {
		t.Errorf("a passing test: exit %d: %s", code, out)
	}
}
