package report

import (
	"encoding/xml"
	"html"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/report/canvas"
)

// fitsUpright checks that nothing of a sketch for a phone reaches beyond it, and that
// no two of its texts stand over each other.
func fitsUpright(t *testing.T, what string, d *drawnSketch) {
	t.Helper()
	st := canvas.TextStyle(14, canvas.Ink)
	type box struct {
		text             string
		x0, x1, baseline float64
	}
	var texts []box
	for _, m := range regexp.MustCompile(`<text x="([0-9.]+)" y="([0-9.]+)" text-anchor="(\w+)"[^>]*>(.*?)</text>`).FindAllStringSubmatch(d.body, -1) {
		x, _ := strconv.ParseFloat(m[1], 64)
		y, _ := strconv.ParseFloat(m[2], 64)
		w := st.Width(html.UnescapeString(m[4])).Points()
		if m[3] == "middle" {
			x -= w / 2
		}
		if x < 0 || x+w > d.width || y > d.height {
			t.Errorf("%s: %q reaches to %.0f, %.0f in a sketch of %.0f by %.0f", what, m[4], x+w, y, d.width, d.height)
		}
		for _, o := range texts {
			if x < o.x1 && o.x0 < x+w && math.Abs(y-o.baseline) < 13 {
				t.Errorf("%s: %q stands over %q", what, m[4], o.text)
			}
		}
		texts = append(texts, box{m[4], x, x + w, y})
	}
	if len(texts) < 6 {
		t.Errorf("%s: only %d texts", what, len(texts))
	}
}

// The sketch is well-formed, shows polarity, fuse, watts, pins and the earth
// point, and carries no style that the page's policy would forbid.
func TestWiringSketch(t *testing.T) {
	for _, c := range []struct {
		valves string
		volts  float64
		rated  float64
		want   []string
		not    []string
	}{
		{"2x12AU7,1x6N2P", 7, 2, []string{"+", "−", "0.75 Ω", " W", "pins 4+5 and 9", "pins 4 and 5", "one earth point only"}, []string{"fuse"}},
		{"12AU7", 6.3, 2, []string{"fuse", "T 0.8 A"}, []string{"Ω"}},
		{"2x12AU7,1x6N2P", 12, 10, []string{"16 Ω + 3 Ω", "10 Ω + 6.8 Ω"}, nil},
		{"E182CC", 7, 2, []string{"pins 4+5 and 8"}, []string{"and 9"}},
		{"2x12AX7@series,2x6N2P@string", 15, 5, []string{"pins 4 and 5, 9 open", "2 x 6N2P in series"}, nil},
		{"12SL7,6SL7", 12, 1, []string{"18 Ω", "pins 7 and 8", "1 x 12SL7GT", "1 x 6SL7GT"}, []string{">none<"}}, // the first goes straight on
		{"300B", 5.3, 3, []string{"the filament is the cathode"}, []string{"one earth point"}},
	} {
		l, err := heater.ParseLoad(c.valves, nil)
		if err != nil {
			t.Fatal(err)
		}
		p, err := heater.MakePlan(l, heater.Supply{Volts: c.volts, RatedA: c.rated}, heater.Options{})
		if err != nil {
			t.Fatal(err)
		}
		svg := string(WiringSketch(&p, `<a> & "b"`))
		tall := sketch(&p, nil, `<a> & "b"`, true)
		fitsUpright(t, c.valves, tall)
		for _, w := range c.want {
			if !strings.Contains(tall.body, w) {
				t.Errorf("%s from %g V: no %q in the sketch for a phone", c.valves, c.volts, w)
			}
			if !strings.Contains(tall.words, w) && w != "+" && w != "−" {
				t.Errorf("%s from %g V: no %q in the sketch's words: %s", c.valves, c.volts, w, tall.words)
			}
		}
		for d := xml.NewDecoder(strings.NewReader(svg)); ; {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", c.valves, err)
			}
		}
		for _, w := range c.want {
			if !strings.Contains(svg, w) {
				t.Errorf("%s from %g V: no %q", c.valves, c.volts, w)
			}
		}
		for _, w := range append(c.not, "style=", "NaN", "Inf") {
			if strings.Contains(svg, w) {
				t.Errorf("%s from %g V: shows %q", c.valves, c.volts, w)
			}
		}
	}
	// Heaters rewired from parallel are drawn as strings, equal ones once with their number.
	strings2, _ := heater.ParseLoad("4x6SN7,1x6922", nil)
	rewired, err := heater.MakePlan(strings2, heater.Supply{Volts: 13.2, RatedA: 3, TolFrac: 0.05}, heater.Options{})
	if err != nil {
		t.Fatal(err)
	}
	tall := sketch(&rewired, nil, "two strings", true)
	fitsUpright(t, "two strings", tall)
	for _, w := range []string{"2 x 6SN7GT in series", "2 such strings", "1 x 6922"} {
		if !strings.Contains(tall.body, w) || !strings.Contains(string(WiringSketch(&rewired, "two strings")), w) {
			t.Errorf("no %q in %s", w, tall.words)
		}
	}
	// A post-filter's resistor has the name that its list of parts gives it.
	l, _ := heater.ParseLoad("2x12AU7,1x6N2P", nil)
	p, err := heater.MakePlan(l, heater.Supply{Volts: 7, RatedA: 2}, heater.Options{})
	if err != nil {
		t.Fatal(err)
	}
	a := &filter.Advice{Found: true}
	a.Best.Circuit = filter.Circuit{Topology: filter.RC, ROhm: 0.75, C1: filter.Capacitor{F: 470e-6, Kind: filter.Electrolytic}}
	svg := wiringInline(&p, a, "")
	if strings.Count(svg, ">0.75 Ω<") != 2 || !strings.Contains(svg, "in series 0.75 Ω") {
		t.Errorf("the sketches with a post-filter name no 0.75 Ω: %s", svg)
	}
	a.Best.Circuit = filter.Circuit{Topology: filter.CLC, L: filter.Inductor{H: 100e-6}, C1: filter.Capacitor{F: 470e-6, Kind: filter.Electrolytic}, C2: filter.Capacitor{F: 2200e-6, Kind: filter.Electrolytic}, DampOhm: 0.47, CDamp: filter.Capacitor{F: 4700e-6, Kind: filter.Electrolytic}}
	fitsUpright(t, "CLC", sketch(&p, a, "", true))
	if svg := wiringInline(&p, a, ""); !strings.Contains(svg, ">damping<") || !strings.Contains(svg, ">0.47 Ω<") {
		t.Errorf("the damping is not drawn: %s", svg)
	}
	// Many heaters side by side would be small on the page: they stand upright there.
	l, _ = heater.ParseLoad("1x12AU7,1x6N2P,1x12AX7,1x6SN7,1x6SL7", nil)
	if p, err = heater.MakePlan(l, heater.Supply{Volts: 7, RatedA: 10}, heater.Options{}); err != nil {
		t.Fatal(err)
	}
	if svg := wiringInline(&p, nil, ""); strings.Count(svg, "<svg") != 1 || !strings.Contains(svg, `width="320"`) {
		t.Errorf("five heaters are drawn as %.200s", svg)
	}
	l, _ = heater.ParseLoad("12AU7", nil)
	if p, _ := heater.MakePlan(l, heater.Supply{Volts: 5}, heater.Options{}); WiringSketch(&p, "") != nil {
		t.Error("a supply that can't feed was drawn")
	}
}
