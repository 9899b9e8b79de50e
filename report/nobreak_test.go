package report

import (
	"regexp"
	"strings"
	"testing"
)

// plainSpaces is a page's text with ordinary spaces and hyphens, for comparing words.
func plainSpaces(s string) string { return strings.NewReplacer(noBreak, " ", joiner, "").Replace(s) }

func TestUnbreakable(t *testing.T) {
	for in, want := range map[string]string{
		"takes 50 % of it, 1 kΩ":            "takes 50~% of it, 1~kΩ",
		"7.49 ± 0.27 mV":                    "7.49 ±~0.27~mV",
		"≤ 187 nV/√Hz at 96.0 kS/s":         "≤~187~nV/√Hz at 96.0~kS/s",
		"2 x 2.4 Ω (12AU7), T 2 A, 238 k/s": "2~x~2.4~Ω (12AU7), T~2~A, 238~k/s",
		"at 48 °C, -3.2 dB.":                "at 48~°C, -3.2~dB.",
		"2 MHz":                             "2~MHz",
		"CM p-p, ripple p-p (20 MHz)":       "CM p-" + joiner + "p, ripple p-" + joiner + "p (20~MHz)",
		// What is no unit, and what is no text.
		"3 of 12 pass, 20 A-weighted, T 70 B1, 4 mains":          "3 of 12 pass, 20 A-weighted, T 70 B1, 4 mains",
		`<p title="5 V">5 V</p><bdi>Brick 5 V</bdi> 5 V`:         `<p title="5 V">5~V</p><bdi>Brick 5 V</bdi> 5~V`,
		`<script>a = 5 V</script><option>5 V</option>5 V`:        `<script>a = 5 V</script><option>5 V</option>5~V`,
		`<svg aria-label="5 V"><text>5 V</text></svg><b>5</b> V`: `<svg aria-label="5 V"><text>5 V</text></svg><b>5</b> V`,
		`5 V <`:   `5~V <`,
		`<p`:      `<p`,
		"":        "",
		"5 V<pre": "5~V<pre",
	} {
		if got := strings.ReplaceAll(string(Unbreakable([]byte(in))), noBreak, "~"); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
		if once := Unbreakable([]byte(in)); string(Unbreakable(once)) != string(once) {
			t.Errorf("%q changes when it is done twice", in)
		}
	}
}

// A terminal's lines end where the page's may: at no space before a unit or behind
// a sign, and no column is lost to that.
func TestWrapUnits(t *testing.T) {
	for _, c := range []struct {
		in    string
		width int
		want  string
	}{
		{"85 mΩ assumed, ESL 15 nH), 1 µF 10 V", 24, "85 mΩ assumed, ESL|15 nH), 1 µF 10 V"},
		{"leaves the other at 6.91 V, just inside +10 %", 24, "leaves the other at|6.91 V, just inside|+10 %"},
		{"down by 20 % count", 10, "down by|20 % count"},
		{"7.49 ± 0.27 mV", 11, "7.49|± 0.27 mV"},
		{"3 of 12 pass", 6, "3 of|12|pass"},
	} {
		if got := strings.Join(WrapUnits(c.in, c.width), "|"); got != c.want {
			t.Errorf("%q in %d columns is %q, want %q", c.in, c.width, got, c.want)
		}
	}
}

// The page and the labels hold no number that a line could part from its unit.
func TestPageKeepsNumbersWithTheirUnits(t *testing.T) {
	r := fixture(9)
	labels, err := r.Labels()
	if err != nil {
		t.Fatal(err)
	}
	parted := regexp.MustCompile(`[0-9] (?:[pnµmk]?V|[mk]?Ω|m?A|m?W|[kM]?Hz|dB|%|[nµm]?s)(?:[ ,.;)]|$)`)
	names := regexp.MustCompile(`(?s)<(bdi|svg|script|style|title)\b.*?</(?:bdi|svg|script|style|title)>`)
	for what, page := range map[string][]byte{"page": htmlOf(t, r), "labels": labels} {
		text := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(names.ReplaceAllString(string(page), ""), "\n")
		if n := strings.Count(text, noBreak); n < 20 {
			t.Errorf("%s: only %d numbers are kept with their units", what, n)
		}
		for _, found := range parted.FindAllString(text, 5) {
			t.Errorf("%s: a line may end within %q", what, found)
		}
	}
}
