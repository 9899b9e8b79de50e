package target

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// cautionCodes are the values of all constants Caution… of the packages that raise
// cautions.
func cautionCodes(t *testing.T) map[string]string {
	t.Helper()
	codes := map[string]string{}
	for _, pattern := range []string{"../../capture/*.go", "../*.go", "*.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range files {
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(file, func(n ast.Node) bool {
				v, ok := n.(*ast.ValueSpec)
				if !ok || len(v.Values) != 1 || !strings.HasPrefix(v.Names[0].Name, "Caution") {
					return true
				}
				if text, ok := v.Values[0].(*ast.BasicLit); ok {
					if code, err := strconv.Unquote(text.Value); err == nil {
						codes[v.Names[0].Name] = code
					}
				}
				return true
			})
		}
	}
	return codes
}

// Every caution says what it makes of a margin, if only that it makes nothing.
func TestEveryCautionHasARow(t *testing.T) {
	codes := cautionCodes(t)
	if len(codes) < 25 {
		t.Fatalf("%d cautions found", len(codes))
	}
	rows := map[string]bool{}
	for _, r := range doubtTable {
		rows[r.code] = true
	}
	for name, code := range codes {
		if !rows[code] {
			t.Errorf("%s has no row in doubtTable", name)
		}
	}
}

// The judges of the truth apart know every caution of their table; one misspelt there
// would excuse nothing.
func TestConcernsNameCautions(t *testing.T) {
	var table struct {
		Cautions map[string]any `json:"cautions"`
	}
	data, err := os.ReadFile("../../testdata/reference/truth/concerns.json")
	if err == nil {
		err = json.Unmarshal(data, &table)
	}
	if err != nil || len(table.Cautions) < 25 {
		t.Fatal(err, len(table.Cautions))
	}
	codes := slices.Collect(maps.Values(cautionCodes(t)))
	for code := range table.Cautions {
		if !slices.Contains(codes, code) {
			t.Errorf("concerns.json has a row for %s, which is no caution", code)
		}
	}
}

// A row behind one of the same caution that takes every figure would never count.
func TestNoRowIsHidden(t *testing.T) {
	taken := map[string]figure.Group{}
	for _, r := range doubtTable {
		if r.of&^taken[r.code] == 0 {
			t.Errorf("%s: the row for %b comes too late", r.code, r.of)
		}
		taken[r.code] |= r.of
	}
}

// What some cautions do, spelled out: the worked rows of the table.
func TestMarginShifts(t *testing.T) {
	m := &analysis.Measurement{ADCStepV: figure.Known(1e-3)}
	for _, c := range []struct {
		code     string
		of       Criterion
		value    float64
		down, up float64
	}{
		{capture.CautionClipped, RipplePP, 20e-3, unboundedDB, 0},
		{capture.CautionClipped, HeaterDC, 7, 6, 6},
		{capture.CautionUndersampled, SpikePeak, 20e-3, unboundedDB, 0},
		{capture.CautionUndersampled, MainsLine, 1e-3, 0, 0},
		{capture.CautionProbeFactor, Noise, 1e-6, 20.1, 20.1},
		{capture.CautionFewSteps, HeaterDC, 7, 0, 0},
		{capture.CautionFewSteps, SpikePeak, 1e-3, 6.0206, unboundedDB}, // one step on one step
		{capture.CautionFewSteps, RipplePP, 2e-3, 3.5218, 6.0206},       // 3/2 and 1/2
		{capture.CautionMains, MainsLine, 1e-3, 3, 3},
		{capture.CautionMains, Noise, 1e-6, 0, 0},
		{capture.CautionRingFills, FoldedRipple, 20e-3, 6, unboundedDB},
		{capture.CautionRingFills, RipplePP, 20e-3, 0, 0},
		{capture.CautionDithered, RipplePP, 20e-3, 0, 0},
	} {
		k, ok := lookup(c.of)
		if !ok {
			t.Fatal(c.of)
		}
		down, up := marginShift(c.code, k, m, figure.Known(c.value))
		if d, u := down-c.down, up-c.up; d*d > 1e-6 || u*u > 1e-6 {
			t.Errorf("%s on %s: %g and %g dB, want %g and %g", c.code, c.of, down, up, c.down, c.up)
		}
	}
}

// A criterion on a figure that asks for no span is covered by any capture.
func TestNoSpanIsCovered(t *testing.T) {
	s := capture.Span{LowHz: 1e3, HighHz: 1e6}
	if !roughlyCovers(s, 0, 0) || roughlyCovers(s, 100, 10e3) || !roughlyCovers(s, 2e3, 10e3) {
		t.Error("coverage of no span, of one that reaches lower, of one inside")
	}
}

// In a record of few steps none counted is none seen where half of it stays under
// the threshold, and says nothing of how many there are.
func TestUnseenSpikesOfFewSteps(t *testing.T) {
	k, _ := lookup(SpikeRate)
	for threshold, want := range map[float64]float64{54e-3: unboundedDB, 20e-3: 0} {
		m := &analysis.Measurement{PPV: figure.Known(60e-3)}
		m.Spikes.PerS, m.Spikes.ThresholdV = figure.Known(0), threshold
		if down, _ := marginShift(capture.CautionFewSteps, k, m, m.Spikes.PerS); down != want {
			t.Errorf("threshold %g V: %g dB, want %g", threshold, down, want)
		}
	}
}
