package report

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/plot"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/report/canvas"
)

// svgText reads an SVG as XML and returns its texts and the number of paths.
func svgText(t *testing.T, b []byte) (texts []string, paths int) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	in := false
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return texts, paths
		}
		if err != nil {
			t.Fatalf("no well-formed SVG: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			in = tok.Name.Local == "text"
			if tok.Name.Local == "path" {
				paths++
				for _, a := range tok.Attr {
					if a.Name.Local == "d" && (strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf")) {
						t.Errorf("path with NaN or Inf: %.60s", a.Value)
					}
				}
			}
		case xml.CharData:
			if in {
				texts = append(texts, string(tok))
			}
		case xml.EndElement:
			in = false
		}
	}
}

func TestEveryPlotHasAxesWithUnits(t *testing.T) {
	r := fixture(5)
	axes := map[string][]string{
		"waveform":   {"time in ms", "time in µs", "mV, about 7.02 V"},
		"cycle":      {"time in the switching cycle in µs", "mV"},
		"spike":      {"time in ns", "mV"},
		"spectrum":   {"frequency in Hz", "noise density in V/√Hz", "10k", "1M", "100n", "2 x mains (100 Hz)", "limit of the target", "baseline (instrument)"},
		"histograms": {"spike peak in mV", "interval to the next spike in µs"},
		"filter":     {"frequency in Hz", "noise density in V/√Hz", "measured"},
		"brands":     {"worst margin in dB: right of 0 is inside the target", "Marlpit"},
		"overlay":    {"frequency in Hz", "noise density in V/√Hz"},
	}
	seen := map[string]bool{}
	for _, p := range r.plotList() {
		seen[p.kind] = true
		texts, paths := svgText(t, p.figure(plotColumns).SVG())
		if paths < 5 {
			t.Errorf("%s: %d paths", p.name, paths)
		}
		all := strings.Join(texts, "\n")
		if p.unit <= 0 || p.kind == "filter" {
			for _, want := range axes[p.kind] {
				if !strings.Contains(all, want) {
					t.Errorf("%s: no %q among %q", p.name, want, texts)
				}
			}
		}
		if !strings.Contains(all, "invented data") {
			t.Errorf("%s doesn't say that its data are invented", p.name)
		}
		if p.alt == "" || p.caption == "" {
			t.Errorf("%s has no text alternative or caption", p.name)
		}
	}
	for kind := range axes {
		if !seen[kind] {
			t.Errorf("no %s plot", kind)
		}
	}
}

func TestPNGIs1280Wide(t *testing.T) {
	for _, p := range fixture(1).plotList() {
		if p.kind != "spike" {
			continue
		}
		b, err := p.figure(plotColumns).PNG(canvas.NewRaster())
		if err != nil {
			t.Fatal(err)
		}
		c, err := png.DecodeConfig(bytes.NewReader(b))
		if err != nil || c.Width != 1280 || c.Height != 720 {
			t.Errorf("%d by %d, %v; want 1280 by 720", c.Width, c.Height, err)
		}
	}
}

// A spike of one column must survive any reduction.
func TestReduceKeepsPeaks(t *testing.T) {
	for _, n := range []int{1, 2, 7, 999, 1000, 1001, 12345} {
		for _, at := range []int{0, n / 3, n - 1} {
			e := analysis.Envelope{StepS: 1, MinV: make([]float64, n), MaxV: make([]float64, n)}
			e.MaxV[at], e.MinV[at] = 5, -3
			for _, columns := range []int{1, 3, 100, 1000} {
				g := reduce(e, columns)
				lo, _ := extent(g.MinV)
				_, hi := extent(g.MaxV)
				if lo != -3 || hi != 5 || len(g.MinV) > columns {
					t.Fatalf("n %d, spike at %d, %d columns: %d columns from %v to %v", n, at, columns, len(g.MinV), lo, hi)
				}
				i := int(float64(at) * e.StepS / g.StepS)
				if g.MaxV[i] != 5 {
					t.Fatalf("n %d, spike at %d: not in the column of its time", n, at)
				}
			}
		}
	}
}

func TestThinKeepsPeaksAndOrder(t *testing.T) {
	var x, y []float64
	for i := range 5000 {
		x, y = append(x, float64(i)), append(y, 1)
	}
	y[1234], y[4321] = 100, 0.01
	tx, ty := thin(x, y, 50)
	lo, hi := extent(ty)
	if lo != 0.01 || hi != 100 || len(tx) > 101 {
		t.Errorf("%d points from %v to %v", len(tx), lo, hi)
	}
	for i := 1; i < len(tx); i++ {
		if tx[i] <= tx[i-1] {
			t.Fatalf("x falls at %d", i)
		}
	}
}

func TestTicks(t *testing.T) {
	labels := func(ts []plot.Tick) string {
		var s []string
		for _, x := range ts {
			if !x.IsMinor() {
				s = append(s, x.Label)
			}
		}
		return strings.Join(s, " ")
	}
	for _, c := range []struct {
		ticker plot.Ticker
		lo, hi float64
		want   string
	}{
		{linearTicks{}, 0, 200, "0 50 100 150 200"},
		{linearTicks{}, -2.6, 2.6, "-2 -1 0 1 2"},
		{linearTicks{}, 0, 1.1, "0.0 0.2 0.4 0.6 0.8 1.0"},
		{linearTicks{}, 1, 1, ""},
		{linearTicks{}, math.NaN(), 1, ""},
		{logTicks{}, 1, 7.6, "10 100 1k 10k 100k 1M 10M"},
		{logTicks{}, -9, -5, "1n 10n 100n 1µ 10µ"},
		{logTicks{}, 3, 3, ""},
	} {
		if got := labels(c.ticker.Ticks(c.lo, c.hi)); got != c.want {
			t.Errorf("%T from %v to %v: %q, want %q", c.ticker, c.lo, c.hi, got, c.want)
		}
	}
	// Minor marks stand at 2 to 9 times the decade, in equal ratios.
	n := 0
	for _, x := range (logTicks{}).Ticks(2, 3) {
		if x.IsMinor() {
			n++
		}
	}
	if n != 8 {
		t.Errorf("%d minor marks in a decade, want 8", n)
	}
}

func TestPlotsOfLittleOrOddDataDoNotPanic(t *testing.T) {
	nan := math.NaN()
	odd := map[string]*analysis.Measurement{
		"empty":     {},
		"flat":      {Calibrated: true, Waveform: analysis.Envelope{StepS: 1, MinV: []float64{1, 1, 1}, MaxV: []float64{1, 1, 1}}},
		"one point": {Calibrated: true, Detail: analysis.Envelope{StepS: 1, MinV: []float64{1}, MaxV: []float64{1}}},
		"not finite": {Calibrated: true, Waveform: analysis.Envelope{StepS: 1, MinV: []float64{nan, 1}, MaxV: []float64{nan, 2}},
			Spectrum: spectrum.Curve{FrequencyHz: []float64{0, 1, 2}, VPerRtHz: []float64{0, nan, -1}},
			Cycle:    analysis.Cycle{MeanV: []float64{nan, nan}, PeriodS: 1}},
		"zeros": {Calibrated: true, Spectrum: spectrum.Curve{FrequencyHz: []float64{1, 2}, VPerRtHz: []float64{0, 0}}, Cycle: analysis.Cycle{MeanV: []float64{0, 0}, PeriodS: 0}},
		"two points": {Spectrum: spectrum.Curve{FrequencyHz: []float64{1, 2}, VPerRtHz: []float64{1e-9, 1e-9}},
			Spikes: analysis.SpikeSummary{Typical: analysis.Envelope{StepS: 1e-9, MinV: []float64{0, 1}, MaxV: []float64{0, 1}},
				AmplitudeHist: analysis.Histogram{Edges: []float64{0, 1}, Counts: []int{0}}, IntervalHist: analysis.Histogram{Edges: []float64{1}, Counts: []int{3}}}},
	}
	for name, m := range odd {
		r := fixture(2)
		r.Units[0].Captures = []Capture{{M: m}}
		r.Units[1].Captures = nil
		for _, p := range r.plotList() {
			if g := p.figure(plotColumns); g != nil {
				svgText(t, g.SVG())
			}
		}
		for what, f := range map[string]func() ([]byte, error){"page": func() ([]byte, error) { return r.HTML(t.Context()) }, "labels": r.Labels, "JSON": r.JSON, "CSV": r.CSV} {
			b, err := f()
			if err != nil {
				t.Errorf("%s, %s: %v", name, what, err)
			}
			if regexp.MustCompile(`\b(NaN|Inf)\b`).Match(bytes.ReplaceAll(b, []byte("Infinity"), nil)) && what != "page" {
				t.Errorf("%s: NaN or Inf in %s", name, what)
			}
		}
	}
	for _, r := range []*Report{{}, {Units: make([]Unit, 1)}} {
		if _, err := r.HTML(t.Context()); err != nil {
			t.Error(err)
		}
	}
}

// The picture of a ten-million-sample capture is drawn from its envelope; making
// the envelope is the engine's part, done here the plain way to be counted too.
func BenchmarkPlot10M(b *testing.B) {
	const n, columns = 10_000_000, 4000
	v := make([]float64, n)
	g := lcg(1)
	for i := range v {
		v[i] = 7 + 0.01*g.next()
	}
	u := fixture(1).Units[0]
	m := u.Captures[0].M
	m.DurationS = 0.1
	var scan, draw time.Duration
	for b.Loop() {
		start := time.Now()
		e := analysis.Envelope{StepS: m.DurationS / columns}
		for i := 0; i < n; i += n / columns {
			lo, hi := v[i], v[i]
			for _, x := range v[i : i+n/columns] {
				lo, hi = min(lo, x), max(hi, x)
			}
			e.MinV, e.MaxV = append(e.MinV, lo), append(e.MaxV, hi)
		}
		m.Waveform = e
		scan += time.Since(start)
		start = time.Now()
		if _, err := waveformFigure(&u, plotColumns).PNG(canvas.NewRaster()); err != nil {
			b.Fatal(err)
		}
		draw += time.Since(start)
	}
	// Against one pass over the samples in the same run.
	b.ReportMetric(float64(draw)/float64(scan), "draw/scan")
}

func BenchmarkPage25(b *testing.B) {
	r := fixture(25)
	for b.Loop() {
		if _, err := r.HTML(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
}

// A unit that keeps its margins across the output and fails in common mode is
// drawn as failing, and the footer says why its mark stands where it does.
func TestBrandsPlotDrawsTheVerdict(t *testing.T) {
	draw := func(pass bool) string {
		r := &Report{Brands: []target.Brand{{Name: "Marlpit", Units: 2, Judged: 2, Passing: 1, OneHalf: true,
			UnitWorstDB: []float64{5.7, 3}, UnitPass: []bool{pass, true}, MedianDB: 4.35, WorstDB: 3, BestDB: 5.7}}}
		return brandFigure(r, false).Inline("brands")
	}
	const said = "a cross right of 0"
	passing, failing := draw(true), draw(false)
	if strings.Contains(passing, "s-verm") || strings.Contains(passing, said) {
		t.Error("two passing units: a cross or its note is drawn")
	}
	if !strings.Contains(failing, "s-verm") || !strings.Contains(failing, said) {
		t.Errorf("a unit that fails in common mode is not drawn as a cross that is explained: %s", failing)
	}
}

// A plot's file needs nothing beside it: its colours stand in it, transparent grounds
// too, and long texts keep the length they were measured to have.
func TestPlotFilesStandAlone(t *testing.T) {
	b := brandFigure(fixture(5), false).SVG()
	for _, text := range regexp.MustCompile(`(?s)<text [^>]*>[^<]{25,}</text>`).FindAll(b, -1) {
		if !bytes.Contains(text, []byte(" textLength=")) && !bytes.Contains(text, []byte("<text textLength=")) {
			t.Errorf("may run out of its place: %s", text)
		}
	}
	if !bytes.Contains(b, []byte("sans-serif")) {
		t.Error("no font to fall back on")
	}
	r := fixture(5)
	for _, p := range r.plotList() {
		if p.kind == "spectrum" {
			b = p.figure(plotColumns).SVG()
		}
	}
	for what, want := range map[string]string{"curve": `fill="none" stroke="#0072b2"`, "text": `fill="#1b2026" font-size`, "ground": `fill="#ffffff" fill-opacity="0.85"`} {
		if !bytes.Contains(b, []byte(want)) {
			t.Errorf("a spectrum's file has no %s with %s", what, want)
		}
	}
	if bytes.Contains(b, []byte("class=")) {
		t.Error("a file refers to a style sheet that it has not")
	}
}

// A sideband's name is cut to what a plot has room for, not in its middle.
func TestLineLabelsFit(t *testing.T) {
	for name, want := range map[string]string{
		"switching 3rd harmonic":                            "switching 3rd harmonic",
		"switching fundamental sideband at 1 x 5.3 kHz":     "switching ± 1 x 5.3 kHz",
		"switching 13th harmonic sideband at 10 x mains":    "13th harmonic ± 10 x mains",
		"burst rate, 3rd harmonic, sideband at 2 x mains":   "burst rate, 3rd harmonic ± 2 x mains",
		"second converter fundamental sideband at 1 x 5 Hz": "second converter ± 1 x 5 Hz",
	} {
		if got := lineLabel(name); got != shorten(want, 34) {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}

func TestNamesBreakAtBlanksOnly(t *testing.T) {
	if got := string(UnbrokenName("Quibblet Q-1 <D1> a-name-too-long-for-one-line")); got != `Quibblet <span class="nowrap">Q-1</span> &lt;D1&gt; a-name-too-long-for-one-line` {
		t.Error(got)
	}
}
