package main

import (
	"testing"

	"stillglow/analysis"
	"stillglow/capture"
)

// Two channels of one file are two baselines, and what was measured against one
// is not what the other would give.
func TestCacheTellsBaselinesApart(t *testing.T) {
	c := &cache{dir: t.TempDir(), program: func() string { return "program" }}
	a := &analysis.Measurement{SHA256: "same", Lines: []analysis.Line{{FrequencyHz: 100, RMSV: 1e-3, BinHz: 10}}}
	b := &analysis.Measurement{SHA256: "same", Lines: []analysis.Line{{FrequencyHz: 100, RMSV: 2e-3, BinHz: 10}}}
	key := func(m *analysis.Measurement) string {
		return c.key("content", capture.Options{}, analysis.Setup{Baseline: m})
	}
	switch {
	case key(a) == "" || key(a) != key(a):
		t.Error("no steady key")
	case key(a) == key(b), key(a) == key(nil):
		t.Error("one key for two baselines")
	}
}
