package filter

import (
	"fmt"
	"math"
	"strings"

	"stillglow/analysis/heater"
	"stillglow/capture"
)

// Kinds of capacitor.
const (
	Electrolytic = "electrolytic"
	Polymer      = "polymer"
	Ceramic      = "ceramic"     // with leads
	CeramicSMD   = "smd ceramic" // soldered straight across the pins
	Film         = "film"
)

// Catalogue is what a search may fit.
type Catalogue struct {
	Bulk   []Capacitor // across the rail
	Bypass []Capacitor // small ones beside a bulk capacitor
	Coils  []Inductor  // series inductors
}

// NewCapacitor is a capacitor of a kind with that kind's usual parasitics: an
// aluminium electrolytic of the low-impedance sort has an ESR of about
// 40 Ω·µF (40 mΩ at 1000 µF), no less than 15 mΩ; a polymer 12 to 20 mΩ; a
// ceramic 5 mΩ; a film 20 mΩ. ESL is that of the part with 5 mm of lead each:
// 15, 6, 8 and 8 nH; a ceramic without leads has 2 nH. A ceramic of more than 1 µF is of a kind that loses value
// under DC and counts for half of what is printed on it. All from memory; measure
// or read the sheet of yours.
func NewCapacitor(kind string, farads float64) (Capacitor, error) {
	c := Capacitor{F: farads, Kind: kind}
	if !(farads > 0) || math.IsInf(farads, 0) {
		return c, fmt.Errorf("%g F is not a capacitor", farads)
	}
	switch kind {
	case Electrolytic, "":
		c.Kind = Electrolytic
		c.ESROhm, c.ESLH = math.Max(40e-6/farads, 15e-3), 15e-9
	case Polymer:
		c.ESROhm, c.ESLH = 16e-3, 6e-9
	case Ceramic, CeramicSMD:
		c.ESROhm, c.ESLH = 5e-3, 8e-9
		if kind == CeramicSMD {
			c.ESLH = 2e-9
		}
		if farads > ceramicWorthF {
			c.F, c.NominalF = farads/2, farads
		}
	case Film:
		c.ESROhm, c.ESLH = 20e-3, 8e-9
	default:
		return c, fmt.Errorf("unknown kind of capacitor %q, expected electrolytic, polymer, ceramic, smd ceramic or film", kind)
	}
	return c, nil
}

// LeadH is the inductance of a pair of wires side by side: 1 µH a metre (common
// practice, no source; a twisted pair has about half).
func LeadH(metres float64) float64 { return 1e-6 * metres }

// NewInductor is a wound power inductor: DCR 60 mΩ, self-resonance 25 MHz and 2 A
// at 10 µH, the first going up and the others down with the square root of the
// inductance. From memory.
func NewInductor(henries float64) (Inductor, error) {
	if !(henries > 0) || math.IsInf(henries, 0) {
		return Inductor{}, fmt.Errorf("%g H is not a coil", henries)
	}
	x := math.Sqrt(henries / 10e-6)
	return Inductor{H: henries, DCROhm: 60e-3 * x, SelfResonanceHz: 25e6 / x, RatedA: 2 / x}, nil
}

// DefaultCatalogue holds the standard values (IEC 60063: E3 for capacitors, E6
// for coils) that an engineer would fit on a heater rail: low-impedance
// electrolytics of 470 µF and more, which keep their worth as they age, with a
// short ceramic beside them.
func DefaultCatalogue() Catalogue {
	var c Catalogue
	add := func(to *[]Capacitor, kind string, microfarads ...float64) {
		for _, v := range microfarads {
			part, err := NewCapacitor(kind, v*1e-6)
			if err != nil {
				panic("filter: " + err.Error())
			}
			*to = append(*to, part)
		}
	}
	add(&c.Bulk, Electrolytic, 470, 1000, 2200)
	add(&c.Bulk, Polymer, 220, 470, 1000)
	add(&c.Bypass, Ceramic, 1)
	add(&c.Bypass, CeramicSMD, 1, 10, 22)
	for _, v := range []float64{1, 2.2, 4.7, 10, 22, 47, 100} {
		l, err := NewInductor(v * 1e-6)
		if err != nil {
			panic("filter: " + err.Error())
		}
		c.Coils = append(c.Coils, l)
	}
	return c
}

// CostOrder says how a search tells cheap from dear.
const CostOrder = "the fewest parts; between equal numbers, a coil costs more than a capacitor, a polymer more than an electrolytic, an SMD ceramic more than one with leads; then the smallest values; only sets that still pass with the capacitors' ESR doubled and their capacitance down by 20 % count"

// cost of a part set: 1000 a part, then 100 a coil, 40 and 20 for polymer and
// ceramic, then ten a decade of value. The dropper is there anyway.
func (c Circuit) cost() float64 {
	var sum float64
	capacitor := func(p Capacitor) {
		if p.F == 0 {
			return
		}
		sum += 1000 + 10*math.Log10(max(p.F, p.NominalF)/1e-9)
		switch p.Kind {
		case Polymer:
			sum += 40
		case CeramicSMD:
			sum += 30
		case Ceramic, Film:
			sum += 20
		}
	}
	capacitor(c.C1)
	capacitor(c.C2)
	capacitor(c.CFilm)
	if c.Topology != RC {
		sum += 1100 + 10*math.Log10(c.L.H/1e-9)
	}
	if c.CDamp.F > 0 {
		sum += 2000 + 10*math.Log10(c.CDamp.F/1e-9)
	}
	return sum
}

// worn is the circuit with its capacitors as a promise must stand them: ESR
// doubled and value 20 % down, by age, cold and the makers' spread (common
// practice, no source).
func (c Circuit) worn() Circuit {
	for _, p := range []*Capacitor{&c.C1, &c.C2, &c.CFilm, &c.CDamp} {
		p.F *= wornF
		p.ESROhm *= wornESR
	}
	return c
}

const (
	wornF   = 0.8
	wornESR = 2
)

// Shopping lists the parts; mostV is the most the supply ever shows, for the
// capacitors' rating, and loadA the heaters' current, for the resistor's and the
// coil's (0: not known).
func (c Circuit) Shopping(mostV, loadA float64) []string {
	var list []string
	capacitor := func(p Capacitor, where string) {
		if p.F > 0 {
			list = append(list, p.words(mostV, where))
		}
	}
	if c.Topology == CLC {
		capacitor(c.C1, "ahead of the coil")
	}
	if c.Topology != RC {
		rated := ""
		if loadA > 0 {
			rated = fmt.Sprintf(" for %.2g A or more, rated and saturation current", math.Ceil(coilReserve*loadA*10)/10)
		}
		list = append(list, fmt.Sprintf("%s coil%s (DCR %s, self-resonance %s)", si(c.L.H, "H"), rated, about(c.L.DCROhm, "Ω"), about(c.L.SelfResonanceHz, "Hz")))
	}
	if c.ROhm > 0 || c.Topology == RC {
		list = append(list, c.seriesWords(loadA))
	}
	if c.Topology == CLC {
		capacitor(c.C2, "across the heaters")
	} else {
		capacitor(c.C1, "across the heaters")
	}
	capacitor(c.CFilm, "across it, leads as short as possible")
	if c.CDamp.F > 0 {
		resistor := ""
		if c.DampOhm > 0 {
			resistor = si(c.DampOhm, "Ω") + " in series with "
		}
		list = append(list, resistor+fmt.Sprintf("a %s %.3g V 105 °C low-impedance electrolytic capacitor across the heaters, as damping, its + towards the positive wire, mounted clear of the dropper (ESR %s assumed)", si(c.CDamp.F, "F"), ratedVolts(mostV), about(c.CDamp.ESROhm, "Ω")))
	}
	return list
}

// seriesWords names the series resistor with its watts.
func (c Circuit) seriesWords(loadA float64) string {
	series := c.RLabel
	if series == "" {
		series = si(c.ROhm, "Ω")
	}
	if loadA > 0 {
		if w := math.Max(heater.BuyWatts(loadA*loadA*c.ROhm), c.RatingW); w > 0 {
			series += fmt.Sprintf(" %g W", w)
		}
	}
	if c.Topology == RC {
		return series + " in series (the dropper)"
	}
	return series + " in series (part of the dropper)"
}

// HasElectrolytic reports whether a capacitor with a + is among the parts.
func (c Circuit) HasElectrolytic() bool {
	for _, p := range []Capacitor{c.C1, c.C2} {
		if p.F > 0 && (p.Kind == Electrolytic || p.Kind == Polymer) {
			return true
		}
	}
	return c.CDamp.F > 0
}

// words names a capacitor as it is bought and fitted.
func (p Capacitor) words(mostV float64, where string) string {
	printed, counted, rated := p.F, "", ratedVolts(mostV)
	if p.NominalF > 0 {
		rated = ratedVolts(1.5 * mostV) // to keep its half
		printed, counted = p.NominalF, ", counted as "+si(p.F, "F")+" under DC"
	}
	if p.Kind != Electrolytic && p.Kind != Polymer {
		return fmt.Sprintf("%s %.3g V %s capacitor %s (ESR %s, ESL %s%s)", si(printed, "F"), rated, p.Kind, where, about(p.ESROhm, "Ω"), about(p.ESLH, "H"), counted)
	}
	kind := p.Kind
	if kind == Electrolytic {
		kind = "low-impedance electrolytic"
	}
	return fmt.Sprintf("%s %.3g V 105 °C %s capacitor %s, its + to the positive wire, mounted clear of the dropper (ESR at most %s at 100 kHz; %s assumed, ESL %s)",
		si(printed, "F"), rated, kind, where, about(wornESR*p.ESROhm, "Ω"), about(p.ESROhm, "Ω"), about(p.ESLH, "H"))
}

// ratedVolts is the usual rating at least a third above the volts.
func ratedVolts(volts float64) float64 {
	for _, v := range []float64{6.3, 10, 16, 25, 35, 50, 63} {
		if v >= volts*(ratedOver+1)/ratedOver {
			return v
		}
	}
	return 100
}

// about writes what is only usual for the kind of part, with two digits.
func about(v float64, unit string) string {
	if v > 0 {
		e := math.Pow(10, 1-math.Floor(math.Log10(v)))
		v = math.Round(v*e) / e
	}
	return si(v, unit)
}

// si writes a value with three digits and an SI prefix; capacitors stay in
// microfarads and resistors in ohms, as they are sold.
func si(v float64, unit string) string {
	if unit == "F" && v > 0.9995e-6 {
		digits := 0
		if v < 99.95e-6 {
			digits = 2
		}
		return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.*f", digits+1, v*1e6), "0"), ".") + " µF"
	}
	if unit == "Ω" && v >= 0.0995 && v < 999.5 {
		return fmt.Sprintf("%.3g Ω", v)
	}
	return capture.SI(v, unit, 3)
}

// Ohms writes a resistance as it is sold: "0.75 Ω", "1.2 kΩ".
func Ohms(ohm float64) string { return si(ohm, "Ω") }

// Farads writes a capacitance as it is sold: "470 µF", "100 nF".
func Farads(f float64) string { return si(f, "F") }
