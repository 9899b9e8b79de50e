package capture

import (
	"context"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"stillglow/capture/synth/testrun"
)

// strayLines are what stands in exports above the rows and is neither name, unit nor
// setting, and what an editor or a spreadsheet leaves there.
var strayLines = []string{"", "\n\n\n", "===========", "----,----", "(trigger at 0)", "0,start", "-1,7;x", "min,3", "Captured at the bench", "Captured, with care", "note: none", "# remark", "1", "0,0,0,0,0,0", "[Data]", "200 points", "ok", "12:30:05", "2026-11-26 12:30", "20.5 C", "Comment,loaded 300 mA", "Title\tx", "  ", ",,,", ";;;", "200"}

// changedLines are what becomes of a line above the rows that was saved anew.
var changedLines = map[string]func(string) string{
	"a comment mark ahead":  func(l string) string { return "# " + l },
	"indented":              func(l string) string { return "  " + l },
	"empty cells behind":    func(l string) string { return l + ",," },
	"a word behind":         func(l string) string { return l + ",x" },
	"the line twice":        func(l string) string { return l + "\n" + l },
	"quoted as a whole":     func(l string) string { return `"` + l + `"` },
	"in capitals":           strings.ToUpper,
	"in lower case letters": strings.ToLower,
}

// behindRows are what may stand behind the cells of one row.
var behindRows = []string{",x", ",", ",,", " ", " x", ";", "\t", ",OVL"}

// disturbed lists the texts of a case with one line more, or one changed.
func (c *layoutCase) disturbed() (texts map[string]string) {
	texts = map[string]string{}
	n := c.n
	if n == 0 {
		n = rows200
	}
	lines := strings.Split(strings.TrimSuffix(c.text, "\n"), "\n")
	above := len(lines) - n
	if above < 0 || above > 30 || strings.ContainsAny(c.text, "\x00\r") || c.cautions != "" {
		return nil
	}
	text := func(l []string) string { return strings.Join(l, "\n") + "\n" }
	for at := range above + 1 {
		for _, stray := range strayLines {
			texts[fmt.Sprintf("%q ahead of line %d", stray, at+1)] = text(slices.Concat(lines[:at], []string{stray}, lines[at:]))
		}
		for name, change := range changedLines {
			if at < above && !strings.HasPrefix(lines[at], `"`) {
				l := slices.Clone(lines)
				l[at] = change(l[at])
				texts[fmt.Sprintf("line %d: %s", at+1, name)] = text(l)
			}
		}
	}
	for _, row := range []int{0, 1, n / 2, n - 1} {
		for _, more := range behindRows {
			l := slices.Clone(lines)
			l[above+row] += more
			texts[fmt.Sprintf("%q behind row %d", more, row)] = text(l)
		}
	}
	return texts
}

// holds reports whether a trace has the case's rate and, a row or so at its ends apart,
// its volts.
func (c *layoutCase) holds(tr *Trace) bool {
	v := c.v
	if v == nil {
		v = wave
	}
	if math.Abs(tr.SampleRateHz/c.rate-1) > 2e-3 || len(tr.Volts) < rows200-5 && c.n == 0 {
		return false
	}
	for off := -5; off <= 5; off++ {
		same := true
		for i := 5; i < len(tr.Volts)-5 && same; i++ {
			same = math.Abs(tr.Volts[i]-v(i+off)) <= max(c.tol, 1e-9)
		}
		if same {
			return true
		}
	}
	return false
}

// TestDisturbedLayouts puts stray lines into every layout above its rows, changes its
// lines as editors and spreadsheets do, and hangs cells behind rows. What is read then is
// the same record, is told with a caution, or is refused: never other volts in silence.
// And most of it is read.
func TestDisturbedLayouts(t *testing.T) {
	every := testrun.Short(4, 40) // one text of so many
	var total, refused int
	for k, c := range slices.Concat(layoutCases, stackedCases, exportCases) {
		texts := c.disturbed()
		for i, name := range slices.Sorted(maps.Keys(texts)) {
			if (i+k)%every != 0 {
				continue
			}
			total++
			tr, err := Read(context.Background(), strings.NewReader(texts[name]), "x.csv", c.opt)
			switch {
			case err != nil:
				refused++
			case !c.holds(tr) && len(tr.Cautions) == 0:
				t.Errorf("%s, %s: %g S/s, want %g, %d samples, %s %v", c.name, name, tr.SampleRateHz, c.rate, len(tr.Volts), tr.Layout, tr.Assumptions)
			}
		}
	}
	t.Logf("%d texts, %d refused", total, refused)
	if total < 300 || 5*refused > total {
		t.Errorf("%d of %d refused", refused, total)
	}
}

var plainNumber = regexp.MustCompile(`^ *[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)? *$`)

// savedAs is a text of cells between commas as a spreadsheet saves it: each number with up to
// ten digits and, where comma is set, with a decimal comma between semicolons.
func savedAs(text string, comma bool) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		for j, c := range strings.Split(strings.TrimSuffix(line, "\n"), ",") {
			if plainNumber.MatchString(c) {
				v, _ := strconv.ParseFloat(strings.TrimSpace(c), 64)
				c = strconv.FormatFloat(v, 'G', 10, 64)
			}
			if comma {
				c = strings.ReplaceAll(c, ".", ",")
			}
			if j > 0 {
				b.WriteByte(map[bool]byte{false: ',', true: ';'}[comma])
			}
			b.WriteString(c)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// TestSavedBySpreadsheets opens every layout of cells between commas in spreadsheets of two
// countries and saves it. Rows of whole numbers then show neither delimiter nor decimal
// mark, and the settings above them do.
func TestSavedBySpreadsheets(t *testing.T) {
	for _, comma := range []bool{false, true} {
		total, refused := 0, 0
		for _, c := range slices.Concat(layoutCases, stackedCases, exportCases) {
			if strings.ContainsAny(c.text, ";\"\t\x00\r") || c.cautions != "" || c.opt.DecimalMark != "" || c.opt.Delimiter != "" {
				continue
			}
			total++
			tr, err := Read(context.Background(), strings.NewReader(savedAs(c.text, comma)), "x.csv", c.opt)
			switch {
			case err != nil:
				refused++
			case !c.holds(tr) && len(tr.Cautions) == 0:
				t.Errorf("%s, comma %v: %g S/s, want %g, %d samples, first %g V, %s %v", c.name, comma, tr.SampleRateHz, c.rate, len(tr.Volts), tr.Volts[0], tr.Layout, tr.Assumptions)
			}
		}
		t.Logf("comma %v: %d layouts, %d refused", comma, total, refused)
		if total < 100 || 10*refused > total {
			t.Errorf("comma %v: %d of %d refused", comma, refused, total)
		}
	}
}
