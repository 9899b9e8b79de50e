package heater

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Volts and amps that were read in a public text (section 6 of the project's
// check values, the rows marked as read): a 12AX7 family list, an encyclopedia's
// 12AX7 and 6SN7 articles, data pages on the 12BH7A, a quoted maker's sheet of
// the 6386.
func TestPublishedHeaterData(t *testing.T) {
	for _, c := range []struct {
		name    string
		v, a    float64
		tap     bool
		pins    string
		voltTol float64
	}{
		{"12AX7", 6.3, 0.30, true, "4, 5", 0}, {"ECC83", 6.3, 0.30, true, "4, 5", 0}, {"7025", 6.3, 0.30, true, "4, 5", 0},
		{"7025A", 6.3, 0.30, true, "", 0}, {"ECC803S", 6.3, 0.30, true, "", 0}, {"6057", 6.3, 0.30, true, "", 0},
		{"12AD7", 6.3, 0.45, true, "", 0}, {"6EU7", 6.3, 0.30, false, "", 0},
		{"6AV6", 6.3, 0.30, false, "", 0}, {"12AV6", 12.6, 0.15, false, "", 0},
		{"6DJ8", 6.3, 0.365, false, "", 0}, {"ECC88", 6.3, 0.365, false, "", 0},
		{"7DJ8", 7.0, 0.30, false, "", 0}, {"PCC88", 7.0, 0.30, false, "", 0},
		{"6922", 6.3, 0.30, false, "", 0}, {"E88CC", 6.3, 0.30, false, "", 0},
		{"7308", 6.3, 0.335, false, "", 0}, {"E188CC", 6.3, 0.335, false, "", 0},
		{"12BH7A", 6.3, 0.60, true, "4, 5", 0},
		{"6SN7GT", 6.3, 0.60, false, "", 0}, {"6N8S", 6.3, 0.60, false, "", 0},
		{"6386", 6.3, 0.35, false, "1, 9", 0.10},
		// Read in public pages beyond the check values: encyclopedia articles on
		// the EF86 and the EL84, data pages on the ECC81 and the 12AZ7, a forum
		// note on wiring the ECC81, ECC82 and ECC83.
		{"EF86", 6.3, 0.20, false, "", 0}, {"EL84", 6.3, 0.76, false, "", 0},
		{"ECC81", 6.3, 0.30, true, "4, 5", 0}, {"ECC82", 6.3, 0.30, true, "4, 5", 0},
		{"12AZ7", 6.3, 0.45, true, "4, 5", 0},
	} {
		v, err := Lookup(c.name, nil)
		if err != nil {
			t.Error(err)
			continue
		}
		if v.Volts != c.v || v.Amps != c.a || v.CentreTapped != c.tap || !strings.HasPrefix(v.Pins, c.pins) {
			t.Errorf("%s: %g V %g A tap %v pins %q, published %g V %g A tap %v pins %q", c.name, v.Volts, v.Amps, v.CentreTapped, v.Pins, c.v, c.a, c.tap, c.pins)
		}
		if !strings.HasPrefix(v.Source, "source: ") {
			t.Errorf("%s: source %q, want the text it was read in", c.name, v.Source)
		}
		if c.voltTol != 0 && v.VoltTol != c.voltTol {
			t.Errorf("%s: volts ±%g, published ±%g", c.name, v.VoltTol, c.voltTol)
		}
	}
}

// From memory (section 6): the traps where a socket fits and the current does
// not.
func TestSameSocketOtherCurrent(t *testing.T) {
	for _, c := range []struct {
		a, b string
		ampA float64
		ampB float64
	}{{"12AX7", "5751", 0.30, 0.35}, {"12AU7", "5814A", 0.30, 0.35}, {"6DJ8", "6922", 0.365, 0.30}, {"6N23P", "6N1P", 0.31, 0.60}, {"E80CC", "12AU7", 0.60, 0.30}} {
		a, errA := Lookup(c.a, nil)
		b, errB := Lookup(c.b, nil)
		if errA != nil || errB != nil || a.Amps != c.ampA || b.Amps != c.ampB {
			t.Errorf("%s %g A, %s %g A (%v, %v), want %g and %g", c.a, a.Amps, c.b, b.Amps, errA, errB, c.ampA, c.ampB)
		}
	}
}

// Common practice, no source: 6.3 V at 0.3 A is 12.6 V at 0.15 A within 6 %, a
// 600 mA type draws exactly twice a 300 mA type, and currents are summed.
func TestFactsOfTheTrade(t *testing.T) {
	nominal := func(list string) float64 {
		l, err := ParseLoad(list, nil)
		if err != nil {
			t.Fatal(err)
		}
		return l.NominalA()
	}
	near(t, "12.6 V connection", nominal("12AU7@series"), 0.15, 0.06*0.15)
	near(t, "600 mA type", nominal("E80CC"), 2*nominal("12AU7"), 0)
	near(t, "sum", nominal("2x12AU7,1x6N2P,3xE80CC"), 0.6+0.34+1.8, 1e-12)
	near(t, "string", nominal("2x6N2P@string"), 0.34, 1e-12)
}

func TestTableIsSound(t *testing.T) {
	rows := Table()
	if len(rows) < 40 {
		t.Fatalf("%d types, want at least 40", len(rows))
	}
	seen := map[string]string{}
	for _, v := range rows {
		for _, n := range append([]string{v.Type}, v.Aliases...) {
			if other, twice := seen[normalise(n)]; twice {
				t.Errorf("%s stands for %s and for %s", n, other, v.Type)
			}
			seen[normalise(n)] = v.Type
			got, err := Lookup(strings.ToLower(n), nil)
			if err != nil || got.Type != v.Type {
				t.Errorf("Lookup(%q) = %s, %v", n, got.Type, err)
			}
		}
		if v.Source == "" || v.Base == "" || v.VoltTol <= 0 || v.AmpTol <= 0 {
			t.Errorf("%s: incomplete: %+v", v.Type, v)
		}
		if w := v.Volts * v.Amps; !v.Filament && (w < 0.8 || w > 6.5) {
			t.Errorf("%s: %.2f W is no small valve's heater", v.Type, w)
		}
		if v.CentreTapped && v.Volts != 6.3 {
			t.Errorf("%s: centre-tapped at %g V", v.Type, v.Volts)
		}
	}
	rows[0].Type, rows[0].Aliases = "changed", []string{"changed"}
	if Table()[0].Type == "changed" {
		t.Error("Table hands out its own memory")
	}
}

func TestLookup(t *testing.T) {
	own := []Valve{{Type: "6P99", Volts: 6.3, Amps: 0.35}, {Type: "12AX7", Volts: 6.3, Amps: 0.31, Source: "measured"}}
	for name, want := range map[string]string{
		"12au7": "12AU7", " ECC-82 ": "12AU7", "ecc 83": "12AX7", "6n2p-ev": "6N2P", "6Н2П": "6N2P", "6н2п-ев": "6N2P",
		"6sn7": "6SN7GT", "12AU7-WA": "12AU7", "6p99": "6P99",
		// Latin letters for the Cyrillic ones they look like.
		"6H1P": "6N1P", "6H2P": "6N2P", "6H8C": "6SN7GT", "6H23P": "6N23P", "6h30p": "6N30P", "6H2P-EB": "6N2P", "6H6n": "6N6P", "6C45P": "6S45P",
		// And Cyrillic ones for the Latin that they look like.
		"12ах7": "12AX7", "12АТ7": "12AT7", "ЕСС83": "12AX7", "6ВК7": "6BK7",
		"6C4": "6C4", "6H30": "6N30P", "6Ж1П": "6ZH1P", "CV4003": "6067", "CV4004": "6057", "VT-231": "6SN7GT", "417A": "5842",
	} {
		v, err := Lookup(name, own)
		if err != nil || v.Type != want {
			t.Errorf("Lookup(%q) = %q, %v, want %s", name, v.Type, err, want)
		}
	}
	if v, _ := Lookup("12AX7", own); v.Amps != 0.31 {
		t.Errorf("the user's own 12AX7 gives %g A, want 0.31", v.Amps)
	}
	if v, _ := Lookup("6P99", own); v.VoltTol != 0.10 || v.AmpTol != 0.07 || v.Source == "" {
		t.Errorf("an own valve is not completed: %+v", v)
	}
	// У may be a Y or a U, С an S or a C, which are two valves each: no guess.
	for _, name := range []string{"12АУ7", "6С4"} {
		var unknown *UnknownValveError
		if v, err := Lookup(name, nil); !errors.As(err, &unknown) || len(unknown.Near) < 2 {
			t.Errorf("%s is taken for %s, %v", name, v.Type, err)
		}
	}
	_, err := Lookup("12AV7X", nil)
	var unknown *UnknownValveError
	if !errors.As(err, &unknown) || len(unknown.Near) == 0 || strings.Contains(err.Error(), "\n") {
		t.Errorf("got %v", err)
	}
	if _, err := Lookup("ECC84", nil); !strings.Contains(err.Error(), "ECC8") {
		t.Errorf("no near name in %v", err)
	}
	if _, err := Lookup("  ", nil); err == nil {
		t.Error("a blank name was accepted")
	}
}

func TestBadValvesAreOneClearLine(t *testing.T) {
	for _, v := range []Valve{
		{Type: "x", Volts: math.NaN(), Amps: 0.3}, {Type: "x", Volts: 6.3, Amps: math.Inf(1)}, {Type: "x", Volts: -6.3, Amps: 0.3},
		{Type: "x", Volts: 6.3}, {Volts: 6.3, Amps: 0.3}, {Type: "x", Volts: 6.3, Amps: 0.3, VoltTol: 3}, {Type: "x", Volts: 6.3, Amps: 0.3, AmpTol: -1},
	} {
		_, err := NewLoad([]Group{{Valve: v, Count: 1}}, 0)
		var bad *InputError
		if !errors.As(err, &bad) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%+v: got %v", v, err)
		}
	}
}

// A centre tap on pin 9 is said only of types whose pin 9 is one: the 5687 and
// those on its base have the tap on 8 and an anode on 9 (from memory; that the
// E182CC keeps off the ECC82's socket was read in a valve tester's manual).
func TestCentreTapIsNoAnode(t *testing.T) {
	for _, name := range []string{"5687", "7044", "E182CC", "7119", "6900"} {
		v, err := Lookup(name, nil)
		if err != nil || !v.CentreTapped || v.Pins != "4, 5, centre tap 8" || !strings.Contains(v.Note, "pin 9 is an anode") {
			t.Errorf("%s: pins %q, note %q, %v", name, v.Pins, v.Note, err)
		}
	}
	for _, v := range Table() {
		if strings.Contains(v.Pins, "9") && v.Note == noteTap8 {
			t.Errorf("%s: pins %q name an anode", v.Type, v.Pins)
		}
		if strings.Contains(v.Pins, "centre tap") && !v.CentreTapped {
			t.Errorf("%s: a tap on %q without a tapped heater", v.Type, v.Pins)
		}
	}
}

// A filament is a cathode: one valve a supply, and no string.
func TestFilamentsStandAlone(t *testing.T) {
	for list, ok := range map[string]bool{
		"300B": true, "1x2A3": true, "26": true, "2x300B": false, "300B,12AU7": false, "2x01A@string": false, "1x01A@string": false, "71A,45": false,
	} {
		_, err := ParseLoad(list, nil)
		var bad *InputError
		if ok != (err == nil) || !ok && (!errors.As(err, &bad) || bad.Fix == "" || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%s: %v", list, err)
		}
	}
}

// A rectifier's heated cathode stands on the high voltage.
func TestRectifiersAreRefused(t *testing.T) {
	for _, name := range []string{"GZ34", "5AR4", "5u4gb", "5Ц3С", "5C3S"} {
		_, err := Lookup(name, nil)
		var bad *RectifierError
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), "--own") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Lookup("6XYZ9", nil); !strings.Contains(err.Error(), "--own NAME=VOLTS:AMPS") {
		t.Error(err)
	}
}

// A valve may be written by several of its names, or with its maker in brackets; names of
// two valves are none.
func TestLookupBySeveralNames(t *testing.T) {
	for name, want := range map[string]string{"12AU7A/ECC82": "12AU7", "ECC83 / 12AX7": "12AX7", "12AX7 (own make)": "12AX7", "6N2P = 6Н2П": "6N2P", "12AU7/12AX7": "", "12AU7/99ZZ9": "", "/": "", "12AU7/ECC82/5814/6189/ECC802S/B329": ""} {
		v, err := Lookup(name, nil)
		if (err == nil) != (want != "") || v.Type != want {
			t.Errorf("%s: %s %v, want %q", name, v.Type, err, want)
		}
	}
}

// An own entry under a built-in name is taken, and where its heater is another that is said.
func TestOwnEntryAgainstTheTable(t *testing.T) {
	for _, c := range []struct {
		amps float64
		said bool
	}{{0.3, false}, {0.32, false}, {3, true}, {0.15, true}} {
		own := []Valve{{Type: "ECC83", Volts: 6.3, Amps: c.amps, CentreTapped: true}}
		v, err := Lookup("ecc83", own)
		if err != nil || v.Amps != c.amps || strings.Contains(v.Note, "the table 6.3 V and 0.3 A") != c.said {
			t.Errorf("%g A: %v, %q", c.amps, err, v.Note)
		}
	}
	if v, err := Lookup("5687", nil); err != nil || v.Note != noteTap8 {
		t.Errorf("%v, %q", err, v.Note)
	}
}

// Letters of later makes leave the heater, with a note (from memory); what is no such
// letter, a filament or a rectifier does not pass for another type.
func TestLettersOfLaterMakes(t *testing.T) {
	for name, want := range map[string]string{
		"12AX7WB": "12AX7", "12ax7b": "12AX7", "5687WB": "5687", "6SN7WGT": "6SN7GT", "6SL7G": "6SL7GT", "6AU6WC": "6AU6",
		"12AX7LPS": "", "300BA": "", "45A": "", "5Y3GTA": "", "EL34B": "", "ECC83X": "", "12AX7ABC": "",
	} {
		v, err := Lookup(name, nil)
		switch {
		case want == "" && err == nil:
			t.Errorf("%s: taken for %s", name, v.Type)
		case want != "" && (err != nil || v.Type != want || !strings.Contains(v.Note, name+" is taken for it")):
			t.Errorf("%s: %q, %q, %v", name, v.Type, v.Note, err)
		}
	}
	if v, err := Lookup("12AX7A", nil); err != nil || strings.Contains(v.Note, "taken for") {
		t.Errorf("a name of the table: %q, %v", v.Note, err)
	}
}
