package report

import (
	"bytes"
	"encoding/json"
	"html"
	"math"
	"regexp"
	"strings"
	"testing"

	"stillglow/analysis/heater"
)

// tables gives the text of a page's tables by caption, cells parted by "|".
func tables(t *testing.T, page []byte) map[string]string {
	t.Helper()
	tags := regexp.MustCompile(`<[^>]*>`)
	out := map[string]string{}
	for _, m := range regexp.MustCompile(`(?s)<caption>(.*?)</caption>(.*?)</table>`).FindAllSubmatch(page, -1) {
		body := bytes.ReplaceAll(m[2], []byte("</td>"), []byte("|"))
		body = bytes.ReplaceAll(body, []byte("</th>"), []byte("|"))
		body = bytes.ReplaceAll(body, []byte("</tr>"), []byte("\n"))
		out[string(tags.ReplaceAll(m[1], nil))] = html.UnescapeString(string(tags.ReplaceAll(body, nil)))
	}
	return out
}

func hasRow(t *testing.T, table, row string) {
	t.Helper()
	for _, l := range strings.Split(table, "\n") {
		if strings.TrimSpace(l) == row {
			return
		}
	}
	t.Errorf("no row %q in\n%s", row, table)
}

func TestPageShowsTheWholeHeaterPlan(t *testing.T) {
	r := fixture(1)
	page := []byte(plainSpaces(string(htmlOf(t, r))))
	var compared string
	for caption, body := range tables(t, page) {
		if strings.HasPrefix(caption, "Ways of dropping compared") {
			compared = body
		}
	}
	hasRow(t, compared, "one shared resistor (fit this) ▲ over the limit with a valve pulled|0.82 Ω|6.28 V|-4.0 to +5.7 %|▲ 6.53 V, over the limit|640 mW|2 W|71 °C|-1.2 dB|")
	hasRow(t, compared, "silicon diode|does not fit|")
	corners := tables(t, page)["Worst cases with 0.82 Ω"]
	hasRow(t, corners, "supply high, resistor low, heaters low|12AU7|6.66 V|+5.7 %|920 mA|740 mW|▲ over|")
	hasRow(t, corners, "12AU7 heater shorted (1)|–|not lit|–|supply's limit|–|–|")
	hasRow(t, corners, "cold start|12AU7|2.10 V|–|3.90 A|12.0 W|–|")
	text := html.UnescapeString(string(page))
	p := r.Units[0].Plan
	for _, s := range [][]string{p.Hints, p.Warnings, p.Arrangements[0].Warnings, p.Arrangements[1].Warnings, p.Assumptions, heater.DropperCautions(),
		{p.BestWhy, p.Headroom, p.ColdRides, "nothing in the way of the current: fit a fuse", "6.1 s to 90 % and 9.4 s to 99 %"}} {
		for _, want := range s {
			if !strings.Contains(text, want) && !strings.Contains(text, sentence(want)) {
				t.Errorf("the page leaves out %q", want)
			}
		}
	}
	if strings.Contains(text, "0.00 V") {
		t.Error("a dark heater is told as 0.00 V")
	}
	if n := strings.Count(text, `data-kind="warm-up"`); n != 1 {
		t.Errorf("%d warm-up pictures, want 1", n)
	}
	_, warmUp, _ := strings.Cut(text, `data-kind="warm-up"`)
	warmUp, _, _ = strings.Cut(warmUp, "</figure>")
	for _, screen := range []string{"widescreen", "narrowscreen"} {
		if !strings.Contains(warmUp, `<div class="`+screen+`"><svg`) {
			t.Errorf("no warm-up picture of class %s", screen)
		}
	}
}

// A plan of the engine's own goes through, with the numbers it has.
func TestPageShowsARealPlan(t *testing.T) {
	load, err := heater.ParseLoad("2x12AU7,1x6N2P", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, volts := range []float64{5, 7} {
		plan, err := heater.MakePlan(load, heater.Supply{Volts: volts, RatedA: 2}, heater.Options{})
		if err != nil {
			t.Fatal(err)
		}
		r := fixture(2)
		r.Units[0].Plan = &plan
		page := html.UnescapeString(plainSpaces(string(htmlOf(t, r))))
		if !plan.CanFeed {
			if !strings.Contains(page, clean(plan.Why)) {
				t.Errorf("%g V: the page leaves out why it can't feed them: %s", volts, plan.Why)
			}
			continue
		}
		for _, a := range plan.Arrangements {
			if !strings.Contains(page, a.Name) {
				t.Errorf("%g V: arrangement %q is left out", volts, a.Name)
			}
		}
	}
}

func TestWarmUpSeriesInResults(t *testing.T) {
	r := fixture(9)
	b, err := r.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Units []struct {
			Verdict string
			Dropper *struct {
				WarmUp *struct {
					TimeS   []float64 `json:"time_s"`
					HeaterV []float64 `json:"heater_v"`
					LoadA   []float64 `json:"load_a"`
					To99S   float64   `json:"to_99_s"`
				} `json:"warm_up"`
			}
		}
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	without := 0
	for i, u := range got.Units {
		if u.Dropper == nil || u.Dropper.WarmUp == nil {
			t.Fatalf("unit %d has no warm-up", i+1)
		}
		w, full := u.Dropper.WarmUp, &r.Units[i].Plan.WarmUp
		if i > 0 && u.Verdict != "pass" {
			without++
			if len(w.TimeS) != 0 {
				t.Errorf("unit %d (%s) carries %d points", i+1, u.Verdict, len(w.TimeS))
			}
			continue
		}
		n := len(w.TimeS)
		if n < 50 || n > warmUpPoints+10 || len(w.HeaterV) != n || len(w.LoadA) != n {
			t.Fatalf("unit %d: %d, %d, %d points", i+1, n, len(w.HeaterV), len(w.LoadA))
		}
		for k := range n {
			if v := valueAt(full.TimeS, full.HeaterV, w.TimeS[k]); math.Abs(v-w.HeaterV[k]) > 1e-3 {
				t.Errorf("unit %d at %g s: %g V, want %g", i+1, w.TimeS[k], w.HeaterV[k], v)
			}
		}
		if w.TimeS[0] != 0 || math.Abs(w.TimeS[n-1]-full.TimeS[len(full.TimeS)-1]) > 1e-3 {
			t.Errorf("unit %d: from %g to %g s", i+1, w.TimeS[0], w.TimeS[n-1])
		}
	}
	if without == 0 {
		t.Error("no unit without a curve, the test has nothing to compare")
	}
}

func TestDarkAndUnlimitedCornersAreNullInResults(t *testing.T) {
	b, err := json.Marshal(cornerObjects([]heater.Corner{{Name: "shorted", AllOff: true, Unlimited: true}, {Name: "nominal", HeaterV: 6.3, LoadA: 0.3}}))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"heater_v":null`, `"load_a":null`, `"all_off":true`, `"unlimited":true`, `"heater_v":6.3`, `"load_a":0.3`} {
		if !strings.Contains(string(b), want) {
			t.Errorf("no %s in %s", want, b)
		}
	}
}
