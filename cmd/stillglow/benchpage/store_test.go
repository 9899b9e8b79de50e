package benchpage

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

func testStore(t *testing.T, most int64) (*store, string) {
	t.Helper()
	dir := t.TempDir()
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = root.Close() })
	return newStore(root, most), filepath.Join(dir, capturesDir)
}

func TestStoreNeverWritesOver(t *testing.T) {
	s, dir := testStore(t, 1000)
	for _, c := range []struct {
		name, bytes, want string
		same              bool
	}{
		{"a.csv", "one", "a.csv", false},
		{"a.csv", "one", "a.csv", true},
		{"other.csv", "one", "a.csv", true}, // the same bytes under another name
		{"a.csv", "two", "a-2.csv", false},
		{"a.csv", "three", "a-3.csv", false},
		{"a.csv", "two", "a-2.csv", true},
		{"b.csv.gz", "x", "b.csv.gz", false},
		{"b.csv.gz", "y", "b-2.csv.gz", false},
		{"Größe 1 Ω.csv", "z", "Größe 1 Ω.csv", false},
		{"console.csv", "console", "console.csv", false},
		{"com10.csv", "com10", "com10.csv", false},
	} {
		got, err := s.put(c.name, strings.NewReader(c.bytes))
		if err != nil || got.Name != c.want || got.Same != c.same {
			t.Errorf("%s %q: %+v, %v; want %s, same %v", c.name, c.bytes, got, err, c.want, c.same)
		}
		if data, err := os.ReadFile(filepath.Join(dir, c.want)); err != nil || string(data) != c.bytes {
			t.Errorf("%s holds %q, %v; want %q", c.want, data, err, c.bytes)
		}
	}
	// A file that the user changed is another one.
	if err := os.WriteFile(filepath.Join(dir, "a.csv"), []byte("eno"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err := s.put("a.csv", strings.NewReader("one")); err != nil || got.Same || got.Name != "a-4.csv" {
		t.Errorf("after a change by hand: %+v, %v", got, err)
	}
}

func TestStoreRefuses(t *testing.T) {
	s, dir := testStore(t, 10)
	for name, status := range map[string]int{
		"": 400, "../a.csv": 400, "..": 400, ".hidden": 400, "a/b.csv": 400, `a\b.csv`: 400, "C:a.csv": 400, "a\x00.csv": 400,
		"a\n.csv": 400, "<img src=x>.csv": 400, "a\u202egnp.csv": 400, strings.Repeat("a", 300): 400, "a.csv ": 400, "a.": 400, "\xff.csv": 400,
		"CON": 400, "nul.csv": 400, "Com1.wav": 400, "aux .csv": 400, "lpt¹.txt": 400, ".htaccess": 400, `..\\a.csv`: 400, "a.csv:stream": 400,
		"a\u200b.csv": 400, "a\u2066b.csv": 400, "\ufeffa.csv": 400, "a\u00a0.csv": 400, "a\x7f.csv": 400, "\ttab.csv": 400, "captures/../../x": 400,
	} {
		var e *storeError
		if _, err := s.put(name, strings.NewReader("x")); !errors.As(err, &e) || e.status != status {
			t.Errorf("%q: %v", name, err)
		}
	}
	var e *storeError
	if _, err := s.put("big.csv", strings.NewReader("01234567890")); !errors.As(err, &e) || e.status != 413 {
		t.Errorf("too large: %v", err)
	}
	if _, err := s.put("empty.csv", strings.NewReader("")); !errors.As(err, &e) || e.status != 400 {
		t.Errorf("empty: %v", err)
	}
	if _, err := s.put("cut.csv", io.MultiReader(strings.NewReader("x"), broken{})); err == nil {
		t.Error("a file that broke off is kept")
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 0 {
		t.Errorf("left behind: %v", entries)
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }

// A link among the captures is neither written through nor taken for a capture.
func TestStoreLeavesLinksAlone(t *testing.T) {
	s, dir := testStore(t, 1000)
	outside := filepath.Join(t.TempDir(), "secret.csv")
	if err := os.WriteFile(outside, []byte("secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(dir, "link.csv")); err != nil {
		t.Skip(err)
	}
	if list := s.list(); len(list) != 0 {
		t.Errorf("a link is taken for a capture: %v", list)
	}
	if got, err := s.put("link.csv", strings.NewReader("other")); err != nil || got.Name != "link-2.csv" {
		t.Errorf("%+v, %v; want another name", got, err)
	}
	if got, err := s.put("same.csv", strings.NewReader("secret")); err != nil || got.Same {
		t.Errorf("%+v, %v: tells what a file elsewhere holds", got, err)
	}
	if data, err := os.ReadFile(outside); err != nil || string(data) != "secret" {
		t.Errorf("the file elsewhere holds %q, %v", data, err)
	}
}

// A link in the folder leads nowhere.
func TestStoreStaysInside(t *testing.T) {
	s, dir := testStore(t, 1000)
	outside := t.TempDir()
	if err := os.Symlink(outside, dir); err != nil {
		t.Skip(err)
	}
	if _, err := s.put("a.csv", strings.NewReader("x")); err == nil {
		t.Error("a capture is written out of the bench folder")
	}
	if entries, _ := os.ReadDir(outside); len(entries) != 0 {
		t.Errorf("written outside: %v", entries)
	}
}

func TestStoreManyAtOnce(t *testing.T) {
	s, dir := testStore(t, 1000)
	var wg sync.WaitGroup
	for i := range 40 {
		wg.Go(func() {
			if _, err := s.put("same.csv", strings.NewReader(fmt.Sprint("bytes ", i%20))); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 20 {
		t.Errorf("%d files, %v; want 20", len(entries), err)
	}
}

func TestStoreSweepsWhatAKillLeft(t *testing.T) {
	s, dir := testStore(t, 1000)
	if _, err := s.put("a.csv", strings.NewReader("x")); err != nil {
		t.Fatal(err)
	}
	left := filepath.Join(dir, arriving+"left")
	if err := os.WriteFile(left, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	s.sweep(time.Now())
	if _, err := os.Stat(left); err != nil {
		t.Error("an upload on its way is swept")
	}
	s.sweep(time.Now().Add(time.Hour))
	if _, err := os.Stat(left); err == nil {
		t.Error("what a killed server left stays")
	}
	if len(s.list()) != 1 {
		t.Error("a capture is swept")
	}
}
