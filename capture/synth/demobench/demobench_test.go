package demobench

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/capture/sheet"
	"stillglow/capture/synth/testrun"
)

// committed is the demo bench in the repository.
const committed = "../../../testdata/bench"

// TestCommittedBench renders the bench afresh, in short every third file of it, and
// compares it with the one in the repository: byte for byte, gzip streams by what they
// hold, since the compressor may change from one Go release to the next.
func TestCommittedBench(t *testing.T) {
	var total int64
	names := map[string]bool{}
	for i, f := range Files() {
		names[f.Name] = true
		want, err := os.ReadFile(filepath.Join(committed, f.Name))
		if err != nil {
			t.Errorf("%v; write it afresh with: go run ./cmd/stillglow demo DIR", err)
			continue
		}
		total += int64(len(want))
		if i%testrun.Short(1, 3) > 0 {
			continue
		}
		var got bytes.Buffer
		if err := f.Write(&got); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(plain(t, f.Name, got.Bytes()), plain(t, f.Name, want)) {
			t.Errorf("%s differs from the committed one; write it afresh with: go run ./cmd/stillglow demo DIR", f.Name)
		}
	}
	if total > 6<<20 {
		t.Errorf("the demo bench is %d bytes, more than 6 MB", total)
	}
	entries, err := os.ReadDir(committed)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !names[e.Name()] {
			t.Errorf("%s is no file of the demo bench", e.Name())
		}
	}
}

func plain(t *testing.T, name string, b []byte) []byte {
	t.Helper()
	if !strings.HasSuffix(name, ".gz") {
		return b
	}
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	out, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// The sheet names every capture and says that all of it is invented.
func TestSheet(t *testing.T) {
	s, err := sheet.Read(filepath.Join(committed, Sheet))
	if err != nil {
		t.Fatal(err)
	}
	if !s.Invented || !strings.HasPrefix(sheetText, "# INVENTED DATA") {
		t.Error("the sheet does not say that its data is invented")
	}
	brands, used := map[string]bool{}, map[string]bool{Sheet: true, s.Instrument.Baseline.File: true}
	for _, u := range s.Units {
		brands[u.Brand] = true
		for _, c := range u.Captures {
			used[c.File] = true
			if c.Baseline != nil {
				used[c.Baseline.File] = true
			}
		}
	}
	if len(s.Units) < 8 || len(brands) != 4 {
		t.Errorf("%d units of %d brands", len(s.Units), len(brands))
	}
	for _, f := range Files() {
		if !used[f.Name] {
			t.Errorf("%s is in the bench but not in its sheet", f.Name)
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	dir := t.TempDir()
	precious := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(precious, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := Write(context.Background(), dir, nil)
	if err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("got %v", err)
	}
	if err := Write(context.Background(), precious, nil); err == nil || !strings.Contains(err.Error(), "a file of that name") {
		t.Errorf("got %v", err)
	}
	if b, _ := os.ReadFile(precious); string(b) != "mine" {
		t.Error("the file there was changed")
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("%d files, want the one", len(entries))
	}
	ctx, cancel := context.WithCancel(context.Background())
	fresh := filepath.Join(t.TempDir(), "a", "b")
	err = Write(ctx, fresh, func(string, int64) { cancel() })
	if err == nil {
		t.Error("an interrupted run reports nothing")
	}
	if _, err := os.Stat(fresh); !os.IsNotExist(err) {
		t.Error("an interrupted run leaves files")
	}
}
