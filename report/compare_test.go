package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
)

func side(t *testing.T, name string, r *Report) *Side {
	t.Helper()
	b, err := r.JSON()
	if err != nil {
		t.Fatal(err)
	}
	s, err := ReadSide(name, b)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestCompareTwoCaptures(t *testing.T) {
	before := fixture(1).Units[0].Captures[1]
	after := fixture(1).Units[0].Captures[1]
	m := after.M
	// Half the volts is 20 log10(1/2) = -6.0206 dB; a decade is 20 dB.
	m.RipplePPV.Value /= 2
	m.Spikes.PeakP95V.Value *= 10
	m.SwitchingHz.Value *= 1.01
	m.PP20MHzV.Value *= 1.001 // within its uncertainty
	a, err := SideOf(before)
	if err != nil {
		t.Fatal(err)
	}
	b, err := SideOf(after)
	if err != nil {
		t.Fatal(err)
	}
	c, err := Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]Change{}
	for _, x := range c.Changes {
		got[x.Key] = x
	}
	for key, want := range map[string]float64{"ripple_pp_v": -6.0206, "spike_peak_p95_v": 20, "noise_density_v_per_rthz": 0} {
		if x := got[key]; x.DB == nil || math.Abs(*x.DB-want) > 1e-4 {
			t.Errorf("%s changed by %v, want %v dB", key, x.DB, want)
		}
	}
	if _, ok := got["mains_line_rms_v"]; ok {
		t.Error("a figure that neither side has makes a line")
	}
	var w bytes.Buffer
	if err := WriteComparison(&w, c, TableOptions{Width: 80}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"-6.0 dB", "+20.0 dB", "+1.00 %", "(+0.0 dB)"} {
		if !strings.Contains(w.String(), want) {
			t.Errorf("no %q in\n%s", want, w.String())
		}
	}
	for _, format := range []string{"png", "svg"} {
		if b, err := c.Plot(format); err != nil || len(b) < 5000 {
			t.Errorf("%s: %d bytes, %v", format, len(b), err)
		}
	}
}

func TestCompareTwoResults(t *testing.T) {
	was, is := fixture(5), fixture(5)
	is.Units[4].Eval.Verdict = "pass"
	is.Units[4].Eval.WorstDB = 2
	is.Units[4].Eval.Margins[is.Units[4].Eval.Worst].DB = 2
	is.Units[0].Eval.Unit.Key, is.Units[0].Eval.Unit.Mark = "Marlpit MK7 #99", "#99"
	c, err := Compare(side(t, "a.json", was), side(t, "b.json", is))
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Units) != 4 || len(c.OnlyA) != 1 || len(c.OnlyB) != 1 || !c.Invented {
		t.Fatalf("%d units on both sides, %v only before, %v only after, invented %v", len(c.Units), c.OnlyA, c.OnlyB, c.Invented)
	}
	if u := c.Units[3]; u.VerdictBefore != "near miss" || u.Verdict != "pass" || *u.MarginDB != 2 || *u.MarginBeforeDB > -4 {
		t.Errorf("unit 5: %+v", u)
	}
	var w bytes.Buffer
	if err := WriteComparison(&w, c, TableOptions{Width: 70}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Invented data", "near miss, worst margin -4.1 dB → pass", "only before: Marlpit MK7 #1", "only after: Marlpit MK7 #99"} {
		if !strings.Contains(strings.ReplaceAll(w.String(), "\n", " "), want) {
			t.Errorf("no %q in\n%s", want, w.String())
		}
	}
	b, err := c.JSON()
	if err != nil || !json.Valid(b) {
		t.Errorf("JSON: %v", err)
	}
	if b, err := c.Plot("svg"); err != nil || !strings.Contains(string(b), "invented data") || !strings.Contains(string(b), "Oskelund MK7 #4") {
		t.Errorf("picture: %d bytes, %v", len(b), err)
	}
}

// Several lines of measure --json are matched by file and channel.
func TestCompareSeveralLines(t *testing.T) {
	lines := func(ripple float64, files ...string) string {
		var b strings.Builder
		for i, f := range files {
			c := fixture(1).Units[0].Captures[1]
			c.M.File, c.M.Channel, c.M.SHA256 = f, "CH1", fmt.Sprintf("%s %g", f, ripple)
			c.M.RipplePPV.Value *= ripple * float64(i+1)
			one, err := CaptureJSON(c)
			if err != nil {
				t.Fatal(err)
			}
			b.Write(bytes.TrimSpace(one))
			b.WriteByte('\n')
		}
		return b.String()
	}
	compare := func(before, after string) (*Comparison, error) {
		a, err := ReadSide("a.json", []byte(before))
		if err != nil {
			t.Fatal(err)
		}
		b, err := ReadSide("b.json", []byte(after))
		if err != nil {
			t.Fatal(err)
		}
		return Compare(a, b)
	}
	c, err := compare(lines(1, "old/x.csv", "old/y.csv", "old/z.csv"), lines(0.5, "new/y.csv", "new/x.csv"))
	if err != nil || len(c.Units) != 2 || len(c.OnlyA) != 1 || c.OnlyA[0] != "z.csv, CH1" || len(c.OnlyB) != 0 {
		t.Fatalf("%+v, %v", c, err)
	}
	// y is 2 before and 0.5 after, x 1 and 1.
	for i, want := range []float64{-12.0412, 0} {
		for _, x := range c.Units[i].Changes {
			if x.Key == "ripple_pp_v" && math.Abs(*x.DB-want) > 1e-3 {
				t.Errorf("%s: %.3f dB, want %.3f", c.Units[i].Key, *x.DB, want)
			}
		}
	}
	var w bytes.Buffer
	if err := WriteComparison(&w, c, TableOptions{Width: 80}); err != nil {
		t.Fatal(err)
	}
	if s := w.String(); !strings.Contains(s, "\ny.csv, CH1\n") || strings.Contains(s, "→") {
		t.Errorf("%s", s)
	}
	if c, err = compare(lines(1, "a.csv", "b.csv"), lines(1, "c.csv", "d.csv")); err != nil || len(c.Units) != 2 || len(c.Notes) != 1 {
		t.Errorf("other names: %+v, %v", c, err)
	}
	if c, err = compare(lines(1, "a.csv"), lines(1, "a.csv")); err != nil || len(c.Notes) != 1 || !strings.Contains(c.Notes[0], "the same bytes") {
		t.Errorf("the same file: %+v, %v", c, err)
	}
	if _, err = compare(lines(1, "a.csv", "b.csv"), lines(1, "c.csv")); err == nil {
		t.Error("two captures against one of another name are compared")
	}
}

// What changed beyond the uncertainty stands first, the most changed on top.
func TestCompareChangedFirst(t *testing.T) {
	db := func(v float64) *float64 { return &v }
	got := changedFirst([]Change{{Key: "missing"}, {Key: "still", DB: db(1), UDB: 2}, {Key: "some", DB: db(3)}, {Key: "most", DB: db(-9), UDB: 1}})
	if got[0].Key != "most" || got[1].Key != "some" || got[2].Key != "still" || got[3].Key != "missing" {
		t.Errorf("%+v", got)
	}
	got = changedFirst([]Change{{Key: "missing"}, {Key: "small", DB: db(-0.1), UDB: 2}, {Key: "large", DB: db(0.9), UDB: 2}, {Key: "some", DB: db(0.5)}})
	if got[0].Key != "some" || got[1].Key != "large" || got[2].Key != "small" || got[3].Key != "missing" {
		t.Errorf("changes in brackets are not by size: %+v", got)
	}
	units := unitsChangedFirst([]UnitChange{{Key: "as before", Verdict: "pass", VerdictBefore: "pass"}, {Key: "moved", Verdict: "pass", VerdictBefore: "pass", MarginDB: db(4), MarginBeforeDB: db(1)}, {Key: "turned", Verdict: "fail", VerdictBefore: "pass"}})
	if units[0].Key != "turned" || units[1].Key != "moved" {
		t.Errorf("%+v", units)
	}
}

// A change within the uncertainty of the two figures is in brackets, in dB as in percent.
func TestCompareBrackets(t *testing.T) {
	v := func(x float64) *float64 { return &x }
	for _, c := range []struct {
		unit                  string
		before, after, ub, ua float64
		want                  string
	}{
		{"Hz", 9.04e6, 8.98e6, 0.23e6, 0.35e6, "(-0.66 %)"},
		{"Hz", 67.4e3, 68.9e3, 1, 3, "+2.23 %"},
		{"V", 1, 1.02, 0.05, 0.05, "(+0.2 dB)"},
		{"V", 1, 2, 0.05, 0.05, "+6.0 dB"},
	} {
		if got := changeText(change("k", "k", c.unit, v(c.before), v(c.after), c.ub, c.ua)); got != c.want {
			t.Errorf("%g to %g %s: %q, want %q", c.before, c.after, c.unit, got, c.want)
		}
	}
}

func TestReadSideRefusesWhatIsNoResult(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty":         {"", "no JSON at byte 0"},
		"text":          {"hello", "no JSON at byte 1"},
		"a list":        {"[1,2]", "JSON of another kind"},
		"another JSON":  {`{"name":"x"}`, "no schema_version"},
		"a newer file":  {`{"schema_version":"2.0","units":[]}`, `schema version "2.0", expected 1.x`},
		"neither":       {`{"schema_version":"1.0"}`, "neither units nor a sample rate"},
		"spoilt units":  {`{"schema_version":"1.0","units":{"a":1}}`, "results that do not read"},
		"cut in middle": {`{"schema_version":"1.0","units":[`, "no JSON at byte"},
	} {
		_, err := ReadSide("x.json", []byte(c.text))
		if err == nil || !strings.HasPrefix(err.Error(), "x.json: ") || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
		}
	}
	r := side(t, "r.json", fixture(1))
	k, err := SideOf(fixture(1).Units[0].Captures[0])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Compare(r, k); err == nil || !strings.Contains(err.Error(), "expected two of a kind") {
		t.Errorf("a capture against results: %v", err)
	}
	other := fixture(1)
	other.Units[0].Eval.Unit.Key, other.Units[0].Eval.Unit.Mark = "someone else", "other"
	if _, err := Compare(r, side(t, "o.json", other)); err == nil || !strings.Contains(err.Error(), "no unit of the same name") {
		t.Errorf("two strangers: %v", err)
	}
}

// What a side only bounds is no figure of a change: where the before is at least what it
// says, the change is at most so, where both are bounds it stays open.
func TestCompareOfBounds(t *testing.T) {
	for _, c := range []struct {
		before, after, is Bound
		text              string
	}{
		{Exact, Exact, Exact, "-20.0 dB"}, {AtLeast, Exact, AtMost, "≤ -20.0 dB"}, {AtMost, Exact, AtLeast, "≥ -20.0 dB"},
		{Exact, AtLeast, AtLeast, "≥ -20.0 dB"}, {Exact, AtMost, AtMost, "≤ -20.0 dB"}, {AtLeast, AtMost, AtMost, "≤ -20.0 dB"},
		{AtMost, AtLeast, AtLeast, "≥ -20.0 dB"}, {AtLeast, AtLeast, NoBound, "(-20.0 dB)"}, {AtMost, AtMost, NoBound, "(-20.0 dB)"},
	} {
		before, after := 0.01, 0.001 // 20 dB
		x := change("pp_v", "peak-to-peak", "V", &before, &after, 0, 0).bounded(c.before, c.after)
		if x.DBIs != c.is || changeText(x) != c.text {
			t.Errorf("%q before, %q after: %q, %q", c.before, c.after, x.DBIs, changeText(x))
		}
	}
}

// A DC that is a tenth of the other's is a probe's slip, which takes 20 dB off every figure;
// a dropper's 6.3 V of 12 V is none. The cautions of one side alone are told.
func TestCompareSaysWhatIsUnlike(t *testing.T) {
	for _, c := range []struct {
		before, after, says string
	}{
		{`"dc_v": 7`, `"dc_v": 0.7`, "about a factor of 10: a probe factor or a unit is wrong on one side, and every change in volts is off by 20 dB"},
		{`"dc_v": 0.0063`, `"dc_v": 7`, "about a factor of 1000: a probe factor or a unit is wrong on one side, and every change in volts is off by 60 dB"},
		{`"dc_v": 12`, `"dc_v": 6.3`, ""},
		{`"dc_v": null`, `"dc_v": 6.3`, ""},
		{`"cautions": [{"code": "clipped", "text": "cut off"}, {"code": "b", "text": "both"}]`, `"cautions": [{"code": "b", "text": "both"}]`, "caution on the before side alone: cut off"},
		{`"cautions": []`, `"cautions": [{"code": "a", "text": "aliased"}]`, "caution on the after side alone: aliased"},
	} {
		var sides [2]*Side
		for i, s := range []string{c.before, c.after} {
			var err error
			if sides[i], err = ReadSide("x.json", []byte(`{"schema_version": "1.0", "sample_rate_hz": 1e6, "calibrated": true, `+s+`}`)); err != nil {
				t.Fatal(err)
			}
		}
		got, err := Compare(sides[0], sides[1])
		if err != nil {
			t.Fatal(err)
		}
		if notes := strings.Join(got.Notes, "\n"); !strings.Contains(notes, c.says) || c.says == "" && notes != "" || strings.Contains(notes, "both") {
			t.Errorf("%s, %s: %q", c.before, c.after, notes)
		}
	}
}
