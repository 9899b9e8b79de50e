package report

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
)

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
		{"12AU7", 6.3, 2, []string{"fuse", "T 1.25 A"}, []string{"Ω"}},
		{"2x12AU7,1x6N2P", 12, 10, []string{"16 Ω + 3 Ω", "10 Ω + 6.8 Ω"}, nil},
		{"E182CC", 7, 2, []string{"pins 4+5 and 8"}, []string{"and 9"}},
		{"2x12AX7@series,2x6N2P@string", 15, 5, []string{"pins 4 and 5, 9 open", "2 x 6N2P in series"}, nil},
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
	// A post-filter's resistor has the name that its list of parts gives it.
	l, _ := heater.ParseLoad("2x12AU7,1x6N2P", nil)
	p, err := heater.MakePlan(l, heater.Supply{Volts: 7, RatedA: 2}, heater.Options{})
	if err != nil {
		t.Fatal(err)
	}
	a := &filter.Advice{Found: true}
	a.Best.Circuit = filter.Circuit{Topology: filter.RC, ROhm: 0.75, C1: filter.Capacitor{F: 470e-6, Kind: filter.Electrolytic}}
	if svg := wiringInline(&p, a, ""); !strings.Contains(svg, ">0.75 Ω<") {
		t.Errorf("the sketch with a post-filter names no 0.75 Ω: %s", svg)
	}
	l, _ = heater.ParseLoad("12AU7", nil)
	if p, _ := heater.MakePlan(l, heater.Supply{Volts: 5}, heater.Options{}); WiringSketch(&p, "") != nil {
		t.Error("a supply that can't feed was drawn")
	}
}
