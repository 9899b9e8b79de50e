package heater

import (
	"errors"
	"strings"
	"testing"
)

func TestParseLoad(t *testing.T) {
	for _, c := range []struct {
		text  string
		rail  float64
		amps  float64
		words string
	}{
		{"2x12AU7,1x6N2P", 6.3, 0.94, "2 x 12AU7 parallel, 1 x 6N2P parallel"},
		{"12AX7", 6.3, 0.3, "1 x 12AX7 parallel"},
		{" 3 X ecc83 , ef86 ", 6.3, 1.1, "3 x 12AX7 parallel, 1 x EF86 parallel"},
		{"2×12AU7@series", 12.6, 0.3, "2 x 12AU7 in series (12.6 V)"},
		{"12SN7,2x12AX7", 12.6, 0.6, "1 x 12SN7GT parallel, 2 x 12AX7 in series (12.6 V)"},
		{"2x12AX7@series,2x6N2P@string", 12.6, 0.64, "2 x 12AX7 in series (12.6 V), 2 x 6N2P in string"},
		{"1x6N2P@string:A,1x6N2P@string:a,2x6N1P@string:b", 12.6, 0.94, "2 x 6N2P in string A, 2 x 6N1P in string b"},
		{"2x12AX7@string-of-series", 25.2, 0.15, "2 x 12AX7 in string"},
		{"7DJ8", 7, 0.3, "1 x 7DJ8 parallel"},
	} {
		l, err := ParseLoad(c.text, nil)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		near(t, c.text+" rail", l.Volts, c.rail, 1e-9)
		near(t, c.text+" amps", l.NominalA(), c.amps, 1e-9)
		if l.Describe() != c.words {
			t.Errorf("%q reads as %q, want %q", c.text, l.Describe(), c.words)
		}
	}
}

func TestParseLoadSaysWhatToDo(t *testing.T) {
	for text, want := range map[string]string{
		"":                "2x12AU7",
		"2x12AU7,":        "2x12AU7",
		"0x12AU7":         "count of 0",
		"-3x12AU7":        "count of -3",
		"999x12AU7":       "1 to 200",
		"2x12AB7":         "nearest are 12A",
		"6N2P@series":     "2x6N2P@string",
		"6N2P@sideways":   "parallel, series, string",
		"6N2P@parallel:A": "only after string",
		"1e9x12AU7":       "not in the table",
		"NaNx12AU7":       "not in the table",
	} {
		_, err := ParseLoad(text, nil)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want a word of %q", text, err, want)
			continue
		}
		if strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: more than one line: %v", text, err)
		}
	}
}

// A 12.6 V-only type on a 6.3 V rail is an error that says what to do.
func TestTwelveVoltTypeOnSixVoltRail(t *testing.T) {
	groups, err := ParseGroups("12SN7", nil)
	if err != nil {
		t.Fatal(err)
	}
	_, err = NewLoad(groups, 6.3)
	var bad *InputError
	if !errors.As(err, &bad) || !strings.Contains(bad.Fix, "12.6 V rail of its own") {
		t.Errorf("got %v", err)
	}
	groups, _ = ParseGroups("12AU7@series", nil)
	if _, err = NewLoad(groups, 6.3); err == nil || !strings.Contains(err.Error(), "wire it in parallel") {
		t.Errorf("got %v", err)
	}
	groups, _ = ParseGroups("12AU7@parallel", nil)
	if _, err = NewLoad(groups, 12.6); err == nil || !strings.Contains(err.Error(), "wire it in series") {
		t.Errorf("got %v", err)
	}
}

func TestWiringInTheSheetsWords(t *testing.T) {
	for text, want := range map[string]Wiring{
		"": "", "6.3 V parallel": Parallel, "12.6 V series": Series, "string": String, "Parallel": Parallel, "string of series": StringSeries,
	} {
		w, _, err := ParseWiring(text)
		if err != nil || w != want {
			t.Errorf("%q reads as %q, %v", text, w, err)
		}
	}
	if _, name, err := ParseWiring("string: left"); err != nil || name != "left" {
		t.Errorf("name %q, %v", name, err)
	}
}

// A string's name is printed as it was written, and its case tells no two apart.
func TestStringsKeepTheirNames(t *testing.T) {
	l, err := ParseLoad("6SN7@string:A,6N1P@string:a", nil)
	if err != nil || len(l.strands()) != 1 || !strings.Contains(l.Describe(), "in string A") {
		t.Errorf("%v: %s", err, l.Describe())
	}
}
