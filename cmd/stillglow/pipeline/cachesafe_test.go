package pipeline

import (
	"context"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
	"stillglow/report"
)

func mustEvaluate(t *testing.T, path string, c *Cache) *report.Report {
	t.Helper()
	r, err := Evaluate(context.Background(), path, Options{Cache: c, SkipFilter: true})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Entries whose files are exchanged, copied over each other or linked to each
// other give no figures: every unit has its own again.
func TestExchangedEntries(t *testing.T) {
	path := someBench(t, 2)
	want := mustEvaluate(t, path, nil)
	for name, spoil := range map[string]func(a, b string) error{
		"exchanged": func(a, b string) error {
			return firstError(os.Rename(a, a+".x"), os.Rename(b, a), os.Rename(a+".x", b))
		},
		"copied": func(a, b string) error {
			data, err := os.ReadFile(a)
			return firstError(err, os.WriteFile(b, data, 0o644))
		},
		"linked": func(a, b string) error { return firstError(os.Remove(b), os.Symlink(a, b)) },
		"folder": func(a, b string) error { return firstError(os.Remove(b), os.Mkdir(b, 0o755)) },
		"pipe": func(a, b string) error {
			if err := os.Remove(b); err != nil {
				return err
			}
			makeFIFO(b)
			return nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			if runtime.GOOS == "windows" && name == "linked" {
				t.Skip("links need rights")
			}
			c, err := OpenCache(t.TempDir())
			if err != nil {
				t.Fatal(err)
			}
			mustEvaluate(t, path, c)
			entries, _, err := c.Entries()
			if err != nil || len(entries) != 3 {
				t.Fatalf("%d entries, %v", len(entries), err)
			}
			for i := range entries {
				if err := spoil(entries[i], entries[(i+1)%len(entries)]); err != nil {
					t.Fatal(err)
				}
				if name == "folder" || name == "pipe" {
					break // the others are of no use to it
				}
			}
			got := mustEvaluate(t, path, c)
			for i, u := range got.Units {
				if !reflect.DeepEqual(u.Eval.Margins, want.Units[i].Eval.Margins) || u.Captures[0].M.SHA256 != want.Units[i].Captures[0].M.SHA256 {
					t.Errorf("%s has other figures than without a cache", u.Eval.Unit.Key)
				}
			}
		})
	}
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// A result is kept for the very program that made it.
func TestCacheOfAnotherProgram(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(filepath.Dir(someBench(t, 1)), "u0.csv")
	one := &Cache{dir: dir, program: func() string { return "one" }}
	if _, kept, err := measureFile(context.Background(), path, path, capture.Options{}, analysis.Setup{}, one, true, func(*capture.Trace) {}); kept || err != nil {
		t.Fatal(kept, err)
	}
	for program, want := range map[string]bool{"one": true, "two": false, "": false} {
		c := &Cache{dir: dir, program: func() string { return program }}
		if _, ok := c.lookup(path, capture.Options{}, analysis.Setup{}); ok != want {
			t.Errorf("program %q: found %v", program, ok)
		}
	}
	running := runningProgram()
	exe, err := os.Executable()
	if err != nil {
		t.Skip(err)
	}
	if sum, err := fileSum(exe); err != nil || running() != sum {
		t.Errorf("the running program is %q, its file %q: %v", running(), sum, err)
	}
}

// Every option that changes how a capture is read is part of its key.
func TestEveryOptionIsInTheKey(t *testing.T) {
	plain := optionsKey(capture.Options{})
	typ := reflect.TypeFor[capture.Options]()
	for i := range typ.NumField() {
		var opt capture.Options
		f := reflect.ValueOf(&opt).Elem().Field(i)
		switch f.Kind() {
		case reflect.String:
			f.SetString("1 2")
		case reflect.Float64:
			f.SetFloat(2)
		case reflect.Int, reflect.Int64:
			f.SetInt(2)
		case reflect.Bool:
			f.SetBool(true)
		case reflect.Pointer:
			f.Set(reflect.New(f.Type().Elem()))
		case reflect.Func:
			continue
		default:
			t.Fatalf("%s: a kind this test does not know", typ.Field(i).Name)
		}
		if optionsKey(opt) == plain {
			t.Errorf("%s is not part of the key", typ.Field(i).Name)
		}
	}
	opt := capture.Options{Progress: func(int64, int64) {}}
	if optionsKey(opt) != plain {
		t.Error("a progress callback changes the key")
	}
}
