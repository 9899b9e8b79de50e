package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"testing"

	"stillglow/capture/synth/testrun"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(tidy{m}, map[string]func(){
		"stillglow": func() {
			main()
		},
	})
}

// tidy removes what the tests of the whole package share.
type tidy struct{ *testing.M }

func (t tidy) Run() int {
	inUse := make([]byte, 32<<20) // as main does, or the collector would take a tenth of the time
	code := t.M.Run()
	runtime.KeepAlive(inUse)
	if dir := sharedCache.Load(); dir != nil {
		os.RemoveAll(*dir)
	}
	return code
}

var sharedCache atomic.Pointer[string]

// cacheHome is the cache folder of all tests that don't need one of their own: the
// demo bench is measured once.
func cacheHome(t *testing.T) string {
	t.Helper()
	if dir := sharedCache.Load(); dir != nil {
		return *dir
	}
	dir, err := os.MkdirTemp("", "stillglow-tests-")
	if err != nil {
		t.Fatal(err)
	}
	if !sharedCache.CompareAndSwap(nil, &dir) {
		os.RemoveAll(dir)
	}
	return *sharedCache.Load()
}

// TestScripts runs the console scripts in testdata/script: whole commands with what
// they print and what they leave on the disk.
func TestScripts(t *testing.T) {
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	cache := cacheHome(t) // of all scripts that don't set one of their own
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Condition: func(cond string) (bool, error) {
			if cond != "full" {
				return false, fmt.Errorf("unknown condition %q", cond)
			}
			return testrun.Full(), nil
		},
		UpdateScripts: os.Getenv("STILLGLOW_UPDATE") == "1",
		Setup: func(env *testscript.Env) error {
			env.Setenv("ROOT", root)
			env.Setenv("BENCH", filepath.Join(root, "testdata", "bench", "bench.toml"))
			env.Setenv("XDG_CACHE_HOME", cache)
			env.Setenv("HOME", env.WorkDir)
			return nil
		},
	})
}
