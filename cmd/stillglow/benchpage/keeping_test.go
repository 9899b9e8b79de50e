package benchpage

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"stillglow/capture"
)

// A reading is made once for a file and its settings, however often the sheet is
// read anew.
func TestReadingsAreMadeOnce(t *testing.T) {
	s := serve(t, Options{})
	s.send(t, "a.csv", 7)
	id := s.id(t, "a.csv")
	s.must(t, "correct", "id", id, "anti_aliased", "true", "band_limited", "false", "probe_factor", "2")
	version := regexp.MustCompile(`data-version="(\d+)"`)
	find := func() string {
		t.Helper()
		body := s.until(t, "/part/check", "All figures")
		m := version.FindStringSubmatch(body)
		if m == nil {
			t.Fatalf("no waveform:\n%s", body)
		}
		return m[1]
	}
	s.until(t, "/part/check", "14.")
	was := find()
	for range 3 {
		s.must(t, "bench", "note", fmt.Sprint("looked at ", time.Now()))
		time.Sleep(300 * time.Millisecond)
	}
	if is := find(); is != was {
		t.Errorf("reading %s became %s though nothing about the capture changed", was, is)
	}
}

// What is corrected for all of a layout leaves alone what is each capture's own,
// and what was corrected at another one only.
func TestCorrectAllOfALayout(t *testing.T) {
	s := serve(t, Options{})
	for i, name := range []string{"a.csv", "b.csv", "c.csv"} {
		s.send(t, name, 7+0.1*float64(i))
	}
	a, b := s.id(t, "a.csv"), s.id(t, "b.csv")
	s.until(t, "/part/bar", "all read")
	s.must(t, "correct", "id", b, "probe_factor", "0.1", "load_a", "0.94", "coupling", "dc")
	s.until(t, "/part/bar", "all read")
	s.must(t, "correct", "id", a, "coupling", "ac", "probe_factor", "", "load_a", "", "segment", "", "all", "1")
	got := s.sheet(t).Loose
	if len(got) != 3 || got[1].LoadA != 0.94 || got[1].Options.ProbeFactor != 0.1 {
		t.Fatalf("b lost its own: %+v", got)
	}
	for _, c := range got {
		if c.Options.Coupling != "ac" {
			t.Errorf("%s: coupling %q, want ac", c.File, c.Options.Coupling)
		}
	}
	s.until(t, "/part/bar", "all read")
	s.must(t, "correct", "id", a, "coupling", "", "all", "1") // was ac everywhere
	for _, c := range s.sheet(t).Loose {
		if c.Options.Coupling != "" {
			t.Errorf("%s: coupling %q, want none", c.File, c.Options.Coupling)
		}
	}
}

// A rating typed once holds for all units of the brand and model.
func TestRatingOfAllAlike(t *testing.T) {
	s := serve(t, Options{})
	for i, mark := range []string{"1", "2", "3"} {
		name := fmt.Sprint("x", mark, ".csv")
		s.send(t, name, 7+0.1*float64(i))
		model := "M"
		if mark == "3" {
			model = "N"
		}
		s.must(t, "give", "id", s.id(t, name), "brand", "Murrowfen", "model", model, "mark", mark)
	}
	s.must(t, "unit", "unit", "Murrowfen M 1", "rated_v", "7", "rated_a", "2 A", "note", "mine", "all", "1")
	u := s.sheet(t).Units
	if u[0].RatedV != 7 || u[1].RatedV != 7 || u[1].RatedA != 2 || u[2].RatedV != 0 || u[1].Note != "" || u[1].Mark != "2" {
		t.Errorf("%+v", u)
	}
}

// The sheet deleted while the page is open: it is said, nothing is written over it,
// and undo puts it back.
func TestSheetDeleted(t *testing.T) {
	s := serve(t, Options{})
	path := filepath.Join(s.dir, "bench.toml")
	s.send(t, "a.csv", 7)
	s.must(t, "bench", "title", "Precious")
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	s.until(t, "/part/leave", "Precious")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	s.until(t, "/part/bar", "The bench sheet is gone")
	if body := s.get(t, "/part/check"); !strings.Contains(body, "Capture a.csv") {
		t.Error("the captures are no longer shown")
	}
	if a := s.edit(t, "bench", "title", "Other"); a.OK || !strings.Contains(a.Error, "gone") {
		t.Errorf("an edit of no sheet: %+v", a)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("a sheet was begun in its place")
	}
	if a := s.post(t, "/undo", nil); !a.OK {
		t.Errorf("undo: %+v", a)
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != string(want) {
		t.Errorf("after undo: %v\n%s\nwant\n%s", err, got, want)
	}
	s.until(t, "/part/leave", "Precious")
	s.must(t, "bench", "title", "Other")
}

// What was tried and what is followed is there again for the next run, and a unit
// that gets another name keeps its try.
func TestTriesAndFolderAreKept(t *testing.T) {
	s := serve(t, Options{})
	s.send(t, "a.csv", 7)
	s.must(t, "give", "id", s.id(t, "a.csv"), "brand", "Murrowfen", "mark", "A1", "load_a", "1")
	if err := os.Mkdir(filepath.Join(s.dir, "from-scope"), 0o755); err != nil {
		t.Fatal(err)
	}
	if a := s.post(t, "/follow", url.Values{"folder": {"from-scope"}}); !a.OK {
		t.Fatal(a.Error)
	}
	s.must(t, "filter-try", "unit", "Murrowfen A1", "topology", "LC", "c_uf", "4711", "l_uh", "33", "kind", "polymer")
	s.must(t, "unit", "unit", "Murrowfen A1", "mark", "A7")
	if got := s.sheet(t); len(got.Units) != 1 { // the sheet knows nothing of it
		t.Fatalf("%+v", got.Units)
	}
	again := serve(t, Options{Sheet: filepath.Join(s.dir, "bench.toml")})
	fit := again.until(t, "/part/fit", "Murrowfen A7")
	for _, want := range []string{`value="4711"`, `value="33"`, `<option value="LC" selected>`, "Remove it"} {
		if !strings.Contains(fit, want) {
			t.Errorf("the try is not there again: no %s in\n%s", want, fit)
		}
	}
	again.until(t, "/part/bring", `value="from-scope"`)
	again.must(t, "filter-forget", "unit", "Murrowfen A7")
	if fit := again.get(t, "/part/fit"); strings.Contains(fit, "4711") {
		t.Error("a try that was taken out is still there")
	}
}

// An upload that breaks off leaves nothing, and its place is free for the next.
func TestUploadBrokenOff(t *testing.T) {
	s := serve(t, Options{})
	for range uploadsAtOnce + 2 {
		conn, err := net.Dial("tcp", s.host)
		if err != nil {
			t.Fatal(err)
		}
		whole := s.request("POST", "/captures?name=half.csv", strings.Repeat("1,2\n", 5000))
		if _, err := io.WriteString(conn, whole[:len(whole)/2]); err != nil {
			t.Fatal(err)
		}
		if tcp, ok := conn.(*net.TCPConn); ok {
			_ = tcp.CloseWrite()
			if r, err := http.ReadResponse(bufio.NewReader(conn), nil); err == nil && r.StatusCode < 400 {
				t.Errorf("half a file: %s", r.Status)
			}
		}
		conn.Close()
	}
	s.send(t, "whole.csv", 7)
	entries, err := os.ReadDir(filepath.Join(s.dir, capturesDir))
	if err != nil || len(entries) != 1 || entries[0].Name() != "whole.csv" {
		t.Errorf("left: %v, %v", entries, err)
	}
}

// A folder that can't be written to is said in one line with what to do.
func TestReadOnlyFolder(t *testing.T) {
	s := serve(t, Options{})
	s.must(t, "bench", "title", "Before")
	if err := os.Chmod(s.dir, 0o555); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.Chmod(s.dir, 0o755) })
	if f, err := os.Create(filepath.Join(s.dir, "probe")); err == nil {
		f.Close()
		t.Skip("this user may write everywhere")
	}
	if got := s.raw(t, s.request("POST", "/captures?name=a.csv", "t,v\n0,1\n1,2\n")); got != 500 {
		t.Errorf("a capture: status %d", got)
	}
	if a := s.edit(t, "bench", "title", "After"); a.OK || !strings.Contains(a.Error, "permission") || strings.Contains(a.Error, "\n") {
		t.Errorf("an edit: %+v", a)
	}
	if !strings.Contains(s.get(t, "/part/leave"), "Before") {
		t.Error("the page lost the sheet")
	}
}

// Files that the sheet's pattern gives to a unit are the unit's on the page too.
func TestPatternOnThePage(t *testing.T) {
	s := serve(t, Options{})
	text := "pattern = \"{brand}-{mark}-{rest}.csv\"\n[[unit]]\nbrand = \"Murrowfen\"\nmark = \"A1\"\n"
	if err := os.WriteFile(filepath.Join(s.dir, "bench.toml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("time,volts\n")
	for i := range 3000 {
		fmt.Fprintf(&b, "%.7f,%.6f\n", float64(i)*1e-5, 7+0.001*float64(i%17))
	}
	for _, name := range []string{"murrowfen-a1-slow.csv", "quibblet-d1-slow.csv"} {
		if err := os.WriteFile(filepath.Join(s.dir, name), []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if body := s.until(t, "/part/check", "Capture murrowfen-a1-slow.csv"); strings.Contains(body, "Capture quibblet") {
		t.Error("a file of no unit is taken")
	}
	s.until(t, "/part/bring", "quibblet-d1-slow.csv")
	s.until(t, "/part/whose", "murrowfen-a1-slow.csv")
	if a := s.edit(t, "correct", "id", s.id(t, "murrowfen-a1-slow.csv"), "coupling", "ac"); a.OK || !strings.Contains(a.Error, "pattern") {
		t.Errorf("%+v", a)
	}
}

// A baseline of one layout, and back.
func TestBaselineOfALayout(t *testing.T) {
	s := serve(t, Options{})
	s.send(t, "a.csv", 7)
	s.send(t, "floor.csv", 0)
	s.send(t, "a-common.csv", 1)
	s.must(t, "give", "id", s.id(t, "a-common.csv"), "brand", "Murrowfen", "load_a", "1")
	a, floor := s.id(t, "a.csv"), s.id(t, "floor.csv")
	s.must(t, "give", "id", a, "brand", "Murrowfen", "load_a", "1")
	waitFor(t, func() (bool, string) { // its rate must be known
		got := s.edit(t, "baseline", "id", floor, "scope", "layout")
		return got.OK, got.Error
	})
	got := s.sheet(t)
	if c := got.Units[0].Captures[0]; c.Options.Mode != capture.Common || c.Baseline != nil {
		t.Fatalf("the common-mode capture has a baseline across the output: %+v", c)
	}
	if c := got.Units[0].Captures[1]; c.Baseline == nil || c.Baseline.File != "captures/floor.csv" || len(got.Loose) != 0 || got.Instrument.Baseline != nil {
		t.Fatalf("%+v", got)
	}
	s.until(t, "/part/check", "Read with the instrument's settings")
	s.must(t, "baseline-away", "id", s.id(t, "floor.csv"))
	if got := s.sheet(t); got.Units[0].Captures[1].Baseline != nil || len(got.Loose) != 1 {
		t.Errorf("%+v", got)
	}
}
