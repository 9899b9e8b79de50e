package heater

import (
	"slices"
	"testing"
)

// A part of a name finds the valves that it may become, in Latin letters, in
// Cyrillic ones and in Latin ones that look like Cyrillic.
func TestSearch(t *testing.T) {
	own := []Valve{{Type: "6P99", Volts: 6.3, Amps: 0.35}}
	for part, want := range map[string]string{
		"12a": "12AX7", "ecc8": "12AU7", "6n2": "6N2P", "6Н2": "6N2P", "6H2": "6N2P", "6н2п": "6N2P", "6C4": "6S45P", "6С4": "6S45P", "6sn": "6SN7GT",
		"p99": "6P99", "12AX77": "12AX7",
	} {
		got := Search(part, own)
		if !slices.ContainsFunc(got, func(v Valve) bool { return v.Type == want }) {
			t.Errorf("Search(%q) has no %s: %v", part, want, got)
		}
		for i, v := range got {
			if v.VoltTol == 0 || slices.ContainsFunc(got[:i], func(o Valve) bool { return o.Type == v.Type }) {
				t.Errorf("Search(%q): %+v is not complete, or there twice", part, v)
			}
		}
	}
	if got := Search("6C4", nil); len(got) == 0 || got[0].Type != "6C4" {
		t.Errorf("the very name comes first: %v", got)
	}
	for _, part := range []string{"", "  ", "quartz", "ZZZZ99"} {
		if got := Search(part, own); len(got) != 0 {
			t.Errorf("Search(%q) finds %v", part, got)
		}
	}
}
