package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"stillglow/capture"
)

// TestInspectNamesItsRules has inspect say of every layout, and of every
// capture that other programs wrote, which rule gave the rate, the volts and
// the channel's name.
func TestInspectNamesItsRules(t *testing.T) {
	mv := layoutRecord()[:1500]
	files := map[string][]string{} // path: arguments
	dir := t.TempDir()
	k := 0
	for _, l := range layoutTexts {
		k++
		path := filepath.Join(dir, string(rune('a'+k/26))+string(rune('a'+k%26))+".csv")
		if err := os.WriteFile(path, l.bytes(mv), 0o600); err != nil {
			t.Fatal(err)
		}
		files[path] = l.args
	}
	others, err := filepath.Glob("../../testdata/captures/*")
	if err != nil || len(others) < 20 {
		t.Fatalf("%d captures, %v", len(others), err)
	}
	for _, f := range others {
		switch filepath.Ext(f) {
		case ".sh", ".cir": // how they were made
		default:
			if filepath.Base(f) != "sox-alaw.wav" { // refused
				files[f] = nil
			}
		}
	}
	for path, args := range files {
		var out bytes.Buffer
		root := newRootCmd()
		root.SetOut(&out)
		root.SetErr(&bytes.Buffer{})
		root.SetArgs(append([]string{"inspect", "--json", path}, args...))
		if err := root.Execute(); err != nil {
			t.Errorf("%v", err)
			continue
		}
		var got struct {
			Assumptions []capture.Assumption `json:"assumptions"`
		}
		if err := json.Unmarshal(out.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		said := map[capture.Setting]bool{}
		for _, a := range got.Assumptions {
			if a.Value == "" || a.Why == "" {
				t.Errorf("%s: %+v", path, a)
			}
			said[a.What] = true
		}
		if !said["channel"] || !said["sample rate"] || !said["volt unit"] && !said["volts at full scale"] || said["volt unit"] && countsOf(got.Assumptions) && !said["scale"] {
			t.Errorf("%s %v: says %v", path, args, said)
		}
	}
}

// countsOf reports whether the values were converter codes.
func countsOf(as []capture.Assumption) bool {
	for _, a := range as {
		if a.What == "volt unit" && a.Value == "counts" {
			return true
		}
	}
	return false
}
