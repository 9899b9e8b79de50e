package main

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"
)

// command runs the program and gives both streams and the exit code.
func command(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs strings.Builder
	code = run(context.Background(), args, strings.NewReader(""), &out, &errs)
	return out.String(), errs.String(), code
}

// No line of the dropper's or the valve table's output is wider than 100
// columns, whatever supply and valves are asked for.
func TestDropperFitsHundredColumns(t *testing.T) {
	runs := [][]string{
		{"valves"},
		{"dropper", "--supply", "6,6.5,7,7.5,9,12,15,24,100", "--valves", "2x12AU7,1x6N2P", "--rated-a", "2", "--all"},
		{"dropper", "--supply", "15,25,100", "--valves", "2x12AX7@series,2x6N2P@string", "--all"},
		{"dropper", "--supply", "30", "--valves", "3x6N2P@string:A,1x6N1P@string:A", "--all"},
		{"dropper", "--supply", "7,12,20", "--valves", "2x12BH7,8x6N30P,12x5687,EF86", "--all"},
	}
	for _, args := range runs {
		out, errs, code := command(t, args...)
		if code != exitDone {
			t.Fatalf("%v: exit %d, %s", args, code, errs)
		}
		for _, line := range strings.Split(out, "\n") {
			if n := utf8.RuneCountInString(line); n > textWidth {
				t.Errorf("%v: %d columns: %s", args, n, line)
			}
			if strings.Contains(line, "NaN") || strings.Contains(line, "Inf") {
				t.Errorf("%v: %s", args, line)
			}
		}
	}
}

func TestDropperJSON(t *testing.T) {
	out, errs, code := command(t, "dropper", "--supply", "6,7", "--valves", "12AU7", "--json")
	if code != exitDone {
		t.Fatal(code, errs)
	}
	var got struct {
		Plans []struct {
			CanFeed      bool    `json:"can_feed"`
			NominalA     float64 `json:"nominal_a"`
			Arrangements []struct {
				ExactOhm float64 `json:"exact_ohm"`
			} `json:"arrangements"`
		} `json:"plans"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Plans) != 2 || got.Plans[0].CanFeed || !got.Plans[1].CanFeed || got.Plans[1].NominalA != 0.3 {
		t.Errorf("got %+v", got)
	}
	if r := got.Plans[1].Arrangements[0].ExactOhm; r < 2.333 || r > 2.334 {
		t.Errorf("exact %g Ω, want 0.7 V over 0.3 A", r)
	}
}
