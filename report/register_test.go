package report

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// allFigures is a measurement in which every figure of the register is known,
// each with a value of its own times k.
func allFigures(k float64) *analysis.Measurement {
	m := &analysis.Measurement{File: "all.csv", Calibrated: true, SampleRateHz: 1e8, DurationS: 0.1}
	m.Bands = append(spectrum.BandPlan(), spectrum.Band{ID: "bs468_qp", Name: "ITU-R BS.468-4 quasi-peak"})
	m.Cycle.MeanV, m.Cycle.PeriodS = []float64{0, 1}, 1e-5
	for i, row := range analysis.Register() {
		if row.Write != nil {
			row.Write(m, figure.Known(k*float64(i+1)))
		}
	}
	return m
}

// A figure of the register is described once and is then everywhere: in JSON and
// in its schema, and in the terminal's text, on the page and in comparisons unless
// its row leaves it out of one.
func TestEveryFigureIsInEveryOutput(t *testing.T) {
	m := allFigures(1)
	b, err := CaptureJSON(Capture{M: m})
	if err != nil {
		t.Fatal(err)
	}
	if err := validate(t, compileSchema(t, "#/$defs/capture", true), b); err != nil {
		t.Errorf("schema: %v", err)
	}
	var object map[string]json.RawMessage
	if err := json.Unmarshal(b, &object); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := WriteCapture(&out, Capture{M: m}); err != nil {
		t.Fatal(err)
	}
	rows, _ := figureTable([]*analysis.Measurement{m})
	page := map[string]bool{}
	for _, r := range rows {
		page[r.Name] = true
	}
	before, err := SideOf(Capture{M: m})
	if err != nil {
		t.Fatal(err)
	}
	after, err := SideOf(Capture{M: allFigures(2)})
	if err != nil {
		t.Fatal(err)
	}
	c, err := Compare(before, after)
	if err != nil {
		t.Fatal(err)
	}
	compared := map[string]bool{}
	for _, x := range c.Changes {
		compared[x.Key] = true
	}
	schemaOf := schemaProperties(t)
	seen := map[string]bool{}
	for i, row := range analysis.Register() {
		if row.Key == "" || row.Name == "" || row.Says == "" || seen[row.Key] {
			t.Errorf("row %d, key %q: want a key of its own, a name and a line for the schema", i, row.Key)
		}
		seen[row.Key] = true
		if f := row.Read(m); !f.Known || row.Write != nil && f.Value != float64(i+1) {
			t.Errorf("%s reads %+v, want the %d that was written", row.Key, f, i+1)
		}
		if (row.Write == nil) != (row.Behind.Rule == figure.ReadAnew) {
			t.Errorf("%s: only a figure that is read anew has no Write", row.Key)
		}
		if row.Behind.Rule == figure.Unstated {
			t.Errorf("%s has no rule behind a filter", row.Key)
		}
		if v := figureIn(object, row.Key); v == nil || row.Write != nil && *v != float64(i+1) {
			t.Errorf("%s is not in JSON", row.Key)
		}
		if key := schemaPath(row.Key); !schemaOf[key] {
			t.Errorf("%s is not in the schema", key)
		}
		name := strings.TrimSuffix(row.Name, ", rms")
		if as, ok := terminalRows[row.Key]; ok {
			name = as.name
		}
		line := strings.TrimSpace(fmt.Sprintf("%-28s %s", name, figureWithU(row.Read(m), row.Unit)))
		if has := strings.Contains(out.String(), line); has != row.Shown(figure.Terminal) {
			t.Errorf("%s on the terminal: %v", row.Key, has)
		}
		if page[row.Name] != row.Shown(figure.Page) {
			t.Errorf("%s on the page: %v", row.Key, page[row.Name])
		}
		if compared[row.Key] != row.Shown(figure.Compare) {
			t.Errorf("%s in a comparison: %v", row.Key, compared[row.Key])
		}
		if isVolts(row.Key) != strings.HasPrefix(row.Unit, "V") {
			t.Errorf("%s: the key's unit is not %q", row.Key, row.Unit)
		}
	}
	for key := range terminalRows {
		if !seen[key] {
			t.Errorf("the terminal words %s, which is no figure", key)
		}
	}
	for key := range factsBehind {
		if !seen[key] {
			t.Errorf("facts stand behind %s, which is no figure", key)
		}
	}
}

// schemaPath is a figure's place in the schema: a list's id is none.
func schemaPath(key string) string {
	parts := strings.Split(key, ".")
	if len(parts) == 3 {
		return parts[0] + "." + parts[2]
	}
	return key
}

// schemaProperties are the required keys of a capture's object that the schema
// describes, those of bands and of the cycle with a prefix.
func schemaProperties(t *testing.T) map[string]bool {
	t.Helper()
	type shape struct {
		Required   []string                   `json:"required"`
		Properties map[string]json.RawMessage `json:"properties"`
	}
	var doc struct {
		Defs struct{ Capture shape } `json:"$defs"`
	}
	if err := json.Unmarshal(Schema(), &doc); err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	add := func(prefix string, s shape) {
		for _, k := range s.Required {
			if s.Properties[k] != nil {
				out[prefix+k] = true
			}
		}
	}
	capture := doc.Defs.Capture
	add("", capture)
	var bands struct{ Items shape }
	var cycle struct{ OneOf []shape }
	if err := json.Unmarshal(capture.Properties["bands"], &bands); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(capture.Properties["cycle"], &cycle); err != nil || len(cycle.OneOf) == 0 {
		t.Fatal("the schema has no cycle", err)
	}
	add("bands.", bands.Items)
	add("cycle.", cycle.OneOf[0])
	return out
}
