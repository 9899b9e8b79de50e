package report

import (
	"bytes"
	"context"
	"encoding/csv"
	"flag"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"github.com/jedib0t/go-pretty/v6/text"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
)

var update = flag.Bool("update", false, "rewrite the golden files in testdata")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		g, w := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
		for i := range min(len(g), len(w)) {
			if g[i] != w[i] {
				t.Fatalf("%s line %d:\n got %.300s\nwant %.300s\n(go test ./report -update rewrites it after a change on purpose)", name, i+1, g[i], w[i])
			}
		}
		t.Fatalf("%s: %d lines, want %d", name, len(g), len(w))
	}
}

func TestGoldenOutputs(t *testing.T) {
	r := fixture(9)
	golden(t, "buildlog.md", r.Markdown())
	b, err := r.CSV()
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "results.csv", b)
	one := fixture(1)
	for i := range one.Units[0].Captures { // curves would make the golden file unreadable
		m := one.Units[0].Captures[i].M
		m.Spectrum, m.Waveform, m.Detail, m.Spikes.Typical = spectrum.Curve{}, analysis.Envelope{}, analysis.Envelope{}, analysis.Envelope{}
		m.Spikes.List, m.Cycle.MeanV, m.Noise.ThirdOctaves = m.Spikes.List[:min(2, len(m.Spikes.List))], nil, nil
	}
	one.Baseline = nil
	if b, err = one.JSON(); err != nil {
		t.Fatal(err)
	}
	golden(t, "results.json", append(bytes.ReplaceAll(b, []byte(`,"`), []byte(",\n\"")), '\n'))
	for _, width := range []int{100, 60, 40} {
		var w bytes.Buffer
		if err := WriteTable(&w, r, TableOptions{Width: width}); err != nil {
			t.Fatal(err)
		}
		golden(t, "table-"+strconv.Itoa(width)+".txt", w.Bytes())
	}
}

// A caution that two captures of a unit raise is named once in its row.
func TestCSVNamesACautionOnce(t *testing.T) {
	r := fixture(1)
	r.Units[0].Eval.Cautions = []capture.Caution{{Code: "short_record", Text: "a"}, {Code: "clipped", Text: "b"}, {Code: "short_record", Text: "c"}}
	if b, err := r.CSV(); err != nil || !strings.Contains(string(b), ",short_record; clipped,") {
		t.Errorf("%v\n%s", err, b)
	}
}

func TestTableKeepsToTheWidth(t *testing.T) {
	nasty := fixture(9)
	hostile(nasty)
	for name, r := range map[string]*Report{"bench": fixture(9), "hostile names": nasty, "empty": {}} {
		for _, colour := range []bool{false, true} {
			for _, width := range []int{30, 40, 57, 80, 100, 160} {
				var w bytes.Buffer
				if err := WriteTable(&w, r, TableOptions{Width: width, Colour: colour}); err != nil {
					t.Fatal(err)
				}
				for line := range strings.SplitSeq(w.String(), "\n") {
					if n := text.StringWidthWithoutEscSequences(line); n > width {
						t.Errorf("%s at %d: %d columns: %q", name, width, n, line)
					}
				}
				if !colour && strings.Contains(w.String(), "\x1b") {
					t.Errorf("%s at %d: escape sequence without colour", name, width)
				}
			}
		}
	}
}

func TestTableTellsVerdictsByShapeAndWord(t *testing.T) {
	var w bytes.Buffer
	if err := WriteTable(&w, fixture(9), TableOptions{}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"● pass", "◐ near miss", "✕ fail", "◌ open", "↻ retake"} {
		if !strings.Contains(w.String(), want) {
			t.Errorf("no %q in the table", want)
		}
	}
}

// What is cut of a long name is its middle: the mark stands at the end.
func TestShortenKeepsTheMark(t *testing.T) {
	for _, c := range []struct {
		in   string
		n    int
		want string
	}{{"short", 5, "short"}, {"Marlpit Heater supply with a long name #12", 24, "Marlpit Heater…name #12"}, {"äöüäöüäöü", 6, "äöü…öü"}} {
		if got := shorten(c.in, c.n); got != c.want || len([]rune(got)) > c.n {
			t.Errorf("%q to %d: %q, want %q", c.in, c.n, got, c.want)
		}
	}
}

func TestCSVDisarmsFormulasAndKeepsNumbers(t *testing.T) {
	r := fixture(9)
	r.Units[0].Eval.Unit.Brand = "=HYPERLINK(\"http://x\")"
	r.Units[1].Eval.Unit.Brand = "+1+1"
	r.Units[2].Eval.Unit.Brand = "-2+3"
	r.Units[3].Eval.Unit.Brand = "@SUM(A1)"
	r.Units[4].Eval.Unit.Brand = "\t=1"
	r.Units[5].Eval.Unit.Brand = "\r=1"
	r.Units[6].Eval.Unit.Brand = "quiet;=cmd()"
	r.Units[7].Eval.Unit.Brand = "＝1+1"
	r.Units[8].Eval.Unit.Brand = "plain, \"quoted\" - name"
	b, err := r.CSV()
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 10 {
		t.Fatalf("%d rows, want a head and 9 units", len(rows))
	}
	column := map[string]int{}
	for i, h := range rows[0] {
		if _, twice := column[h]; twice {
			t.Errorf("column %q comes twice", h)
		}
		column[h] = i
	}
	numeric := regexp.MustCompile(`(_db|_v|_a|_ohm|_w|_per_s|_per_rthz|^position|^rank)$`)
	for n, row := range rows[1:] {
		for i, cell := range row {
			if numeric.MatchString(rows[0][i]) {
				if cell == "" {
					continue
				}
				if _, err := strconv.ParseFloat(cell, 64); err != nil {
					t.Errorf("%s is %q, no number", rows[0][i], cell)
				}
				continue
			}
			if cell != "" && strings.ContainsRune("=+-@\t\r＝", []rune(cell)[0]) {
				t.Errorf("row %d, %s: %q would run as a formula", n+1, rows[0][i], cell)
			}
			if strings.Contains(cell, ";=") {
				t.Errorf("row %d, %s: %q runs where the semicolon parts cells", n+1, rows[0][i], cell)
			}
		}
	}
	// The unit over its limit has a negative margin, bare.
	got, _ := strconv.ParseFloat(rows[9][column["worst_margin_db"]], 64)
	if want := r.Units[8].Eval.WorstDB; got != want && strconv.FormatFloat(want, 'g', figureDigits, 64) != rows[9][column["worst_margin_db"]] {
		t.Errorf("worst margin %v, want %v", got, want)
	}
	if got := rows[9][column["brand"]]; got != "plain, \"quoted\" - name" {
		t.Errorf("a harmless name came out as %q", got)
	}
	if got := rows[3][column["lower_bounds"]]; got != "spike_peak_p95_v" {
		t.Errorf("lower bounds %q", got)
	}
	if m := rows[1][column["mask_margin_db"]]; m != "" {
		t.Errorf("a criterion not measured shows %q, want an empty cell", m)
	}
	if m := rows[1][column["not_measured"]]; !strings.Contains(m, "mask: no capture spans") {
		t.Errorf("reason %q", m)
	}
}

func TestHostileNamesAreHarmlessAndReadable(t *testing.T) {
	r := fixture(4)
	hostile(r)
	files, err := Render(context.Background(), r, RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	safeName := regexp.MustCompile(`^(plots/)?[a-z0-9][a-z0-9.-]*$`)
	for _, f := range files {
		if !safeName.MatchString(f.Name) || strings.Contains(f.Name, "..") || len(f.Name) > 100 {
			t.Errorf("file name %q", f.Name)
		}
	}
	byName := map[string]string{}
	for _, f := range files {
		byName[f.Name] = string(f.Bytes)
	}
	html := byName["index.html"]
	for _, bad := range []string{"<script>alert", "<img src=x", "</script><b>", "\x1b", "\u202e"} {
		if strings.Contains(html, bad) {
			t.Errorf("page holds %q", bad)
		}
	}
	if n := strings.Count(html, "<script"); n != 3 {
		t.Errorf("%d script elements, want the data and two scripts", n)
	}
	for _, want := range []string{"&lt;script&gt;alert(1)&lt;/script&gt;", "🔌🔥", "שלום", "exe.tiuq", "../../etc/passwd"} {
		if !strings.Contains(html, want) {
			t.Errorf("page has lost %q", want)
		}
	}
	if !strings.Contains(html, "Permission is hereby granted, free of charge") {
		t.Error("the page carries the plotting library without its licence")
	}
	log := byName["buildlog.md"]
	for _, bad := range []string{"<script>", "<img", "](http", "@everyone", "\x1b", "\u202e", "*bold*"} {
		if strings.Contains(log, bad) && !strings.Contains(log, "\\"+bad) {
			t.Errorf("build log holds %q", bad)
		}
	}
	if !strings.Contains(log, "&lt;script&gt;") || !strings.Contains(log, "🔌🔥") {
		t.Error("build log has lost a name")
	}
	for line := range strings.SplitSeq(log, "\n") {
		if strings.HasPrefix(line, "|") && strings.Count(line, "|")-strings.Count(line, `\|`) != 10 && strings.Count(line, "|")-strings.Count(line, `\|`) != 6 {
			t.Errorf("table row with a stray cell: %s", line)
		}
	}
	for name, b := range byName {
		if strings.HasSuffix(name, ".svg") && (strings.Contains(b, "<script") || strings.ContainsFunc(b, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' })) {
			t.Errorf("%s holds raw mark-up or control characters", name)
		}
	}
}

func TestRenderIsDeterministicAndSaysInvented(t *testing.T) {
	a, err := Render(context.Background(), fixture(2), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Render(context.Background(), fixture(2), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range a {
		if a[i].Name != b[i].Name || !bytes.Equal(a[i].Bytes, b[i].Bytes) {
			t.Errorf("%s differs from run to run", a[i].Name)
		}
		s := strings.ToLower(string(a[i].Bytes))
		if !strings.HasSuffix(a[i].Name, ".png") && !strings.HasSuffix(a[i].Name, "schema.json") && !strings.Contains(s, "invented") {
			t.Errorf("%s doesn't say that its data are invented", a[i].Name)
		}
	}
}

func TestRenderStopsWhenAsked(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if files, err := Render(ctx, fixture(2), RenderOptions{}); err == nil || files != nil {
		t.Errorf("%d files and error %v after being cancelled", len(files), err)
	}
}

func TestMarkdownPicturesExist(t *testing.T) {
	r := fixture(2)
	files, err := Render(context.Background(), r, RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]bool{}
	for _, f := range files {
		have[f.Name] = true
	}
	links := regexp.MustCompile(`\]\(([^)]+)\)`).FindAllStringSubmatch(string(r.Markdown()), -1)
	if len(links) < 4 {
		t.Errorf("%d links, want pictures and files", len(links))
	}
	for _, l := range links {
		if !have[l[1]] {
			t.Errorf("link to %s, which is no file of the report", l[1])
		}
	}
}

func TestAnswerWhenNothingPasses(t *testing.T) {
	r := fixture(9)
	r.Units = r.Units[4:]
	if a := r.Answer(); !strings.HasPrefix(a.Best, `No unit passes the target "line preamp, quiet heaters". Marlpit MK8 #5 comes closest, 4.1 dB over`) {
		t.Errorf("answer: %s", a.Best)
	}
	for i := range r.Units {
		r.Units[i].Eval.Verdict = target.Retake
	}
	if a := r.Answer(); !strings.Contains(a.Best, "No unit can be judged yet") {
		t.Errorf("answer: %s", a.Best)
	}
	if a := (&Report{}).Answer(); !strings.Contains(a.Best, "names no unit") {
		t.Errorf("answer: %s", a.Best)
	}
}

func TestEngineeringNotation(t *testing.T) {
	for _, c := range []struct {
		v    float64
		unit string
		want string
	}{{0.0123456, "V", "12.3 mV"}, {65000, "Hz", "65.0 kHz"}, {1.82e-8, "V/√Hz", "18.2 nV/√Hz"}, {131000, "1/s", "131 k/s"}, {0.9999, "V", "1.00 V"},
		{999.6e-6, "V", "1.00 mV"}, {0, "V", "0 V"}, {-0.0042, "V", "-4.20 mV"}, {4.7, "", "4.70"}, {1e-20, "V", "1e-05 fV"}} {
		if got := eng(c.v, c.unit); got != c.want {
			t.Errorf("eng(%v, %q) = %q, want %q", c.v, c.unit, got, c.want)
		}
	}
	for _, c := range []struct {
		f    figure.Figure
		want string
	}{{figure.Figure{Value: 0.0123, Known: true, U: 0.0004}, "12.30 ± 0.40 mV"}, {figure.Figure{Value: 0.0801, Known: true, LowerBound: true}, "≥ 80.1 mV"},
		{figure.NotMeasured("x"), "not measured"}, {figure.Figure{Value: 7.0213, Known: true}, "7.021 V"}} {
		if got := figureWithU(c.f, "V"); got != c.want {
			t.Errorf("%+v: %q, want %q", c.f, got, c.want)
		}
	}
}

// JCGM 100 (GUM), 7.2.6: an uncertainty has at most two significant digits and
// the figure is rounded to match. It never shows as nought.
func TestUncertaintyDigits(t *testing.T) {
	for _, c := range []struct {
		v, u float64
		unit string
		want string
	}{
		{118000.213, 0, "Hz", "118 kHz"},
		{118000.213, math.Inf(1), "Hz", "118 kHz"},
		{118000.213, 45, "Hz", "118.000 ± 0.045 kHz"},
		{118000.213, 3.2, "Hz", "118.000 ± 0.003 kHz"},
		{118000.213, 0.32, "Hz", "118.0002 ± 0.0003 kHz"},
		{118000.213, 0.096, "Hz", "118.0002 ± 0.0001 kHz"},
		{118000.213, 0.024, "Hz", "118.0002 kHz ± 1 ppm"},
		{118000.213, 1e-5, "Hz", "118 kHz"},
		{99.9987, 0.0047, "Hz", "99.999 ± 0.005 Hz"},
		{0.0123, 0.0004, "V", "12.30 ± 0.40 mV"},
		{0.0123, 0.000996, "V", "12.3 ± 1.0 mV"},
		{0.812, 0.123, "V", "810 ± 120 mV"},
		{0.0104, 0.0021, "Ω", "10.4 ± 2.1 mΩ"},
		{7.0213, 0.0031, "V", "7.021 ± 0.003 V"},
		{0, 0.0003, "V", "0 ± 300 µV"},
		{-0.0000001, 0.0003, "V", "0 ± 300 µV"},
		{0.4e-6, 1.234e-6, "V", "0.4 ± 1.2 µV"},
		{131234, 5678, "1/s", "131.2 ± 5.7 k/s"},
		{0.4567, 0.0123, "", "0.457 ± 0.012"},
	} {
		f := figure.Figure{Value: c.v, Known: true, U: c.u}
		if got := figureWithU(f, c.unit); got != c.want {
			t.Errorf("%v ± %v %s: %q, want %q", c.v, c.u, c.unit, got, c.want)
		}
	}
	bound := figure.Figure{Value: 118000.213, U: 0.32, Known: true, LowerBound: true}
	if got := figureWithU(bound, "Hz"); got != "≥ 118.0002 ± 0.0003 kHz" {
		t.Errorf("lower bound: %q", got)
	}
	for e := -9.0; e < 3; e += 0.01 {
		u := math.Pow(10, e)
		text := figureWithU(figure.Figure{Value: 7.25, U: u, Known: true}, "V")
		_, after, has := strings.Cut(text, "±")
		if u > 1e-8 && (!has || strings.Trim(strings.Fields(after)[0], "0.") == "") {
			t.Errorf("7.25 ± %g: %q", u, text)
		}
	}
}
