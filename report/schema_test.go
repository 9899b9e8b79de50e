package report

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"stillglow/analysis"
	"stillglow/analysis/target"
)

// compileSchema compiles the published schema. strict also forbids keys that
// the schema does not name, so that none goes out undocumented.
func compileSchema(t *testing.T, ref string, strict bool) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	if strict {
		forbidOthers(doc)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("urn:stillglow:results:1", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("urn:stillglow:results:1" + ref)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func forbidOthers(v any) {
	switch v := v.(type) {
	case map[string]any:
		if _, ok := v["properties"].(map[string]any); ok && v["type"] == "object" {
			v["additionalProperties"] = false
		}
		for _, x := range v {
			forbidOthers(x)
		}
	case []any:
		for _, x := range v {
			forbidOthers(x)
		}
	}
}

func validate(t *testing.T, s *jsonschema.Schema, b []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatalf("not JSON: %v", err)
	}
	return s.Validate(v)
}

func TestResultsFollowThePublishedSchema(t *testing.T) {
	s := compileSchema(t, "", true)
	nasty := fixture(4)
	hostile(nasty)
	bare := &Report{Title: "nothing yet"}
	open := fixture(1)
	open.Baseline = nil
	open.Units[0].Plan = nil
	open.Units[0].Eval.Worst = -1
	open.Units[0].Captures = []Capture{{M: &analysis.Measurement{File: "x.wav"}}}
	open.Units[0].Hears = &target.Heard{Known: true, InputAVRMS: 1e-9, ThermalAVRMS: 1e-6, UnderDB: 60, FrequencyHz: []float64{100}, CouplingDB: []float64{-90}, CommonCouplingDB: []float64{-80},
		Reference: target.CentreTap, ByReference: []target.HeardBy{{Reference: target.OneEnd, InputAVRMS: 1e-9, UnderDB: 60}}}
	for name, r := range map[string]*Report{"bench of 9": fixture(9), "hostile names": nasty, "empty": bare, "little measured": open} {
		b, err := r.JSON()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := validate(t, s, b); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCaptureFollowsThePublishedSchema(t *testing.T) {
	s := compileSchema(t, "#/$defs/capture", true)
	for name, c := range map[string]Capture{"full": fixture(1).Units[0].Captures[1], "bare": {M: &analysis.Measurement{File: "x.csv"}}} {
		b, err := CaptureJSON(c)
		if err != nil {
			t.Fatal(err)
		}
		if err := validate(t, s, b); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The schema must be able to say no.
func TestSchemaRefusesWhatBreaksTheContract(t *testing.T) {
	s := compileSchema(t, "#/$defs/capture", false)
	b, err := CaptureJSON(fixture(1).Units[0].Captures[1])
	if err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(map[string]any){
		"a contract key gone": func(m map[string]any) { delete(m, "ripple_pp_v") },
		"a number as text":    func(m map[string]any) { m["dc_v"] = "7.02" },
		"unknown coupling":    func(m map[string]any) { m["coupling"] = "capacitive" },
		"another version":     func(m map[string]any) { m["schema_version"] = "2.0" },
		"caution as text":     func(m map[string]any) { m["cautions"] = []any{"clipped"} },
	} {
		var m map[string]any
		if err := json.Unmarshal(b, &m); err != nil {
			t.Fatal(err)
		}
		spoil(m)
		bad, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if validate(t, s, bad) == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
