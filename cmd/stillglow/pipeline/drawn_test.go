package pipeline

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/report"
)

// A report whose pictures come from the cache has the bytes of one that is drawn: on
// the first run and the next, with entries exchanged, and after another title.
func TestKeptPicturesAreThoseDrawn(t *testing.T) {
	r := mustEvaluate(t, someBench(t, 2), nil)
	c, err := OpenCache(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	same := func(what string, r *report.Report) {
		t.Helper()
		kept, drawn := rendered(t, r, c), rendered(t, r, nil)
		for name, want := range drawn {
			if kept[name] != want {
				t.Errorf("%s: %s differs from the one drawn", what, name)
			}
		}
		if len(kept) != len(drawn) {
			t.Errorf("%s: %d files, want %d", what, len(kept), len(drawn))
		}
	}
	same("first", r)
	entries, _, err := c.Entries()
	if err != nil || len(entries) < 4 {
		t.Fatalf("%d entries, %v: want each unit's waveform and spectrum at least", len(entries), err)
	}
	same("again", r)
	if more, _, _ := c.Entries(); len(more) != len(entries) {
		t.Errorf("%d entries after the second run, %d after the first", len(more), len(entries))
	}
	first, second := entries[0], entries[1]
	if err := firstError(os.Rename(first, first+".x"), os.Rename(second, first), os.Rename(first+".x", second)); err != nil {
		t.Fatal(err)
	}
	same("entries exchanged", r)
	r.Invented = !r.Invented // under every picture
	same("other words", r)
	if more, _, _ := c.Entries(); len(more) != 2*len(entries) {
		t.Errorf("%d entries after other words, want %d", len(more), 2*len(entries))
	}
}

// rendered are the plots of a report as written with a cache.
func rendered(t *testing.T, r *report.Report, c *Cache) map[string]string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "out")
	if _, err := WriteReport(context.Background(), r, folder, FolderOptions{Cache: c}); err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	list, err := os.ReadDir(filepath.Join(folder, "plots"))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		b, err := os.ReadFile(filepath.Join(folder, "plots", e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(e.Name(), ".png") && !strings.HasPrefix(string(b), "\x89PNG") {
			t.Errorf("%s is no PNG", e.Name())
		}
		files[e.Name()] = string(b)
	}
	return files
}
