package pipeline

import (
	"os"
	"path/filepath"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/filter"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/sheet"
	"stillglow/report"
)

// Advice is kept under all that it follows from: change any one of it and it is
// another entry.
func TestAdviceKey(t *testing.T) {
	c, err := OpenCache(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	goal, err := target.Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	fresh := func() (filter.Input, sheet.Unit, filter.Options) {
		return filter.Input{
			Unit:   target.Unit{Key: "A 1", HeaterA: 0.6, Captures: []*analysis.Measurement{{SHA256: "11"}}},
			Target: goal,
			Setups: []analysis.Setup{{LoadA: 0.6}},
		}, sheet.Unit{Captures: []sheet.Capture{{}}}, filter.Options{HeaterV: 6.3, DropperOhm: 0.91}
	}
	in, u, opt := fresh()
	first := c.adviceKey(in, u, opt)
	if in, u, opt = fresh(); first == "" || c.adviceKey(in, u, opt) != first {
		t.Fatalf("no key, or not the same twice: %q", first)
	}
	seen := map[string]string{first: "nothing changed"}
	for what, change := range map[string]func(*filter.Input, *sheet.Unit, *filter.Options){
		"content": func(in *filter.Input, _ *sheet.Unit, _ *filter.Options) { in.Unit.Captures[0].SHA256 = "12" },
		"load":    func(in *filter.Input, _ *sheet.Unit, _ *filter.Options) { in.Setups[0].LoadA = 0.5 },
		"baseline": func(in *filter.Input, _ *sheet.Unit, _ *filter.Options) {
			in.Setups[0].Baseline = &analysis.Measurement{}
		},
		"probe": func(_ *filter.Input, u *sheet.Unit, _ *filter.Options) { u.Captures[0].Options.ProbeFactor = 10 },
		"reading": func(in *filter.Input, _ *sheet.Unit, _ *filter.Options) {
			in.Unit.Readings = []target.Reading{{LoadA: 0.6, V: 7}}
		},
		"target":  func(in *filter.Input, _ *sheet.Unit, _ *filter.Options) { in.Target.Limits = in.Target.Limits[1:] },
		"dropper": func(_ *filter.Input, _ *sheet.Unit, opt *filter.Options) { opt.DropperOhm = 1 },
		"reserve": func(_ *filter.Input, _ *sheet.Unit, opt *filter.Options) { opt.ReserveDB = 6 },
	} {
		in, u, opt := fresh()
		change(&in, &u, &opt)
		key := c.adviceKey(in, u, opt)
		if other, taken := seen[key]; key == "" || taken {
			t.Errorf("%s changed: the key of %q", what, other)
		}
		seen[key] = what
	}
	in, u, opt = fresh()
	in.Unit.Captures[0].SHA256 = ""
	if key := c.adviceKey(in, u, opt); key != "" {
		t.Errorf("a capture of unknown content has the key %q", key)
	}
	if key := (*Cache)(nil).adviceKey(in, u, opt); key != "" {
		t.Errorf("without a cache: %q", key)
	}
}

// What is saved comes back; a damaged entry does not.
func TestCacheEntries(t *testing.T) {
	c, err := OpenCache(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	var got filter.Advice
	if c.load("k", &got) || (*Cache)(nil).load("k", &got) {
		t.Error("found before it was saved")
	}
	c.save("k", filter.Advice{UnitKey: "A 1", Why: "because"})
	if !c.load("k", &got) || got.UnitKey != "A 1" || got.Why != "because" {
		t.Errorf("came back as %+v", got)
	}
	path := filepath.Join(c.dir, "k"+cacheSuffix)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)-1] ^= 1
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	if c.load("k", &got) {
		t.Error("a damaged entry was taken")
	}
}

// The entries are what the tool wrote, whole or broken off by a kill, and nothing that
// somebody else named with the same ending.
func TestCacheListsItsOwnAlone(t *testing.T) {
	c := &Cache{dir: t.TempDir(), program: func() string { return "program" }}
	sum := hexSum([]byte("any"))
	c.save(sum, filter.Advice{Why: "because"})
	c.save(measuredKey(1234, sum), filter.Advice{Why: "because"})
	c.KeepPicture("digest", []byte("png"), []byte("svg"))
	half, err := os.CreateTemp(c.dir, "writing-*"+cacheSuffix)
	if err != nil {
		t.Fatal(err)
	}
	if err := half.Close(); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"notes" + cacheSuffix, "a1-2026" + cacheSuffix, sum + "-copy" + cacheSuffix, sum, "writing-my-log" + cacheSuffix} {
		if err := os.WriteFile(filepath.Join(c.dir, name), []byte("mine"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(c.dir, hexSum(nil)+cacheSuffix), 0o755); err != nil {
		t.Fatal(err)
	}
	paths, _, err := c.Entries()
	if err != nil || len(paths) != 4 {
		t.Errorf("%d entries, want 4: %v, %v", len(paths), paths, err)
	}
}

// Two channels of one file are two baselines, and what was measured against one
// is not what the other would give.
func TestCacheTellsBaselinesApart(t *testing.T) {
	c := &Cache{dir: t.TempDir(), program: func() string { return "program" }}
	baseline := func(rmsV float64) *analysis.Measurement {
		return &analysis.Measurement{SHA256: "same", Lines: []spectrum.Line{{FrequencyHz: 100, RMSV: rmsV, BinHz: 10}}}
	}
	key := func(m *analysis.Measurement) string {
		return c.key("content", capture.Options{}, analysis.Setup{Baseline: m})
	}
	first := key(baseline(1e-3))
	if first == "" || key(baseline(1e-3)) != first {
		t.Error("no steady key")
	}
	if key(baseline(2e-3)) == first || key(nil) == first {
		t.Error("one key for two baselines")
	}
}

// Whether a file may be in the cache shows in its size, in this process and the next:
// one that is not is not read just for its hash.
func TestCacheKnowsSizes(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "u.csv")
	if err := os.WriteFile(path, []byte("12345"), 0o644); err != nil {
		t.Fatal(err)
	}
	open := func() *Cache {
		return &Cache{dir: filepath.Join(dir, "cache"), program: func() string { return "program" }}
	}
	c := open()
	if c.holdsSize(5) {
		t.Error("an empty cache holds something")
	}
	c.store(path, "content", capture.Options{}, analysis.Setup{}, report.Capture{M: &analysis.Measurement{}})
	for name, c := range map[string]*Cache{"this process": c, "the next": open()} {
		if !c.holdsSize(5) || c.holdsSize(4) {
			t.Errorf("%s: sizes %v, want 5 alone", name, c.sizes)
		}
	}
}
