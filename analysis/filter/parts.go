package filter

import (
	"fmt"
	"math"
	"strings"

	"stillglow/capture"
)

// Kinds of capacitor.
const (
	Electrolytic = "electrolytic"
	Polymer      = "polymer"
	Ceramic      = "ceramic"
	Film         = "film"
)

// Catalogue is what a search may fit.
type Catalogue struct {
	Bulk   []Capacitor // across the rail
	Bypass []Capacitor // small ones beside a bulk capacitor
	Coils  []Inductor
}

// NewCapacitor is a capacitor of a kind with that kind's usual parasitics: an
// aluminium electrolytic of the low-impedance sort has an ESR of about
// 40 Ω·µF (40 mΩ at 1000 µF), no less than 15 mΩ; a polymer 12 to 20 mΩ; a
// ceramic 5 mΩ; a film 20 mΩ. ESL is that of the part with 5 mm of lead each:
// 15, 6, 2 and 8 nH. A ceramic of more than 1 µF is of a kind that loses value
// under DC and counts for half of what is printed on it. All from memory; measure
// or read the sheet of yours.
func NewCapacitor(kind string, farads float64) (Capacitor, error) {
	c := Capacitor{F: farads, Kind: kind}
	if !(farads > 0) || math.IsInf(farads, 0) {
		return c, fmt.Errorf("%g F is no capacitor", farads)
	}
	switch kind {
	case Electrolytic, "":
		c.Kind = Electrolytic
		c.ESROhm, c.ESLH = math.Max(40e-6/farads, 15e-3), 15e-9
	case Polymer:
		c.ESROhm, c.ESLH = 16e-3, 6e-9
	case Ceramic:
		c.ESROhm, c.ESLH = 5e-3, 2e-9
		if farads > ceramicWorthF {
			c.F, c.NominalF = farads/2, farads
		}
	case Film:
		c.ESROhm, c.ESLH = 20e-3, 8e-9
	default:
		return c, fmt.Errorf("unknown kind of capacitor %q, expected electrolytic, polymer, ceramic or film", kind)
	}
	return c, nil
}

// NewInductor is a wound power inductor of 1 to 2 A: DCR 60 mΩ and
// self-resonance 25 MHz at 10 µH, both going with the square root of the
// inductance (up and down). From memory.
func NewInductor(henries float64) (Inductor, error) {
	if !(henries > 0) || math.IsInf(henries, 0) {
		return Inductor{}, fmt.Errorf("%g H is no coil", henries)
	}
	x := math.Sqrt(henries / 10e-6)
	return Inductor{H: henries, DCROhm: 60e-3 * x, SelfResonanceHz: 25e6 / x}, nil
}

// DefaultCatalogue holds standard values (IEC 60063: E3 for capacitors, E6 for
// coils) of the kinds a workshop has in the drawer.
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
	add(&c.Bulk, Electrolytic, 100, 220, 470, 1000, 2200, 4700)
	add(&c.Bulk, Polymer, 100, 220, 470, 1000)
	add(&c.Bulk, Ceramic, 4.7, 10, 22, 47)
	add(&c.Bypass, Ceramic, 0.1, 1, 10, 22)
	add(&c.Bypass, Film, 0.47, 1)
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
const CostOrder = "fewer parts first; then a coil counts more than a capacitor, a polymer more than a ceramic, a ceramic more than an electrolytic; then the smaller values"

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
	if c.CDampF > 0 {
		sum += 2000 + 10*math.Log10(c.CDampF/1e-9)
	}
	return sum
}

// shopping lists the parts; volts is the supply's, for the capacitors' rating.
func (c Circuit) shopping(volts float64) []string {
	var list []string
	capacitor := func(p Capacitor, where string) {
		if p.F > 0 {
			printed, counted, rated := p.F, "", ratedVolts(volts)
			if p.NominalF > 0 {
				rated = ratedVolts(1.5 * volts) // to keep its half
				printed, counted = p.NominalF, ", counted as "+si(p.F, "F")+" under DC"
			}
			list = append(list, fmt.Sprintf("%s %.3g V %s capacitor %s (ESR %s, ESL %s%s)", si(printed, "F"), rated, p.Kind, where, si(p.ESROhm, "Ω"), si(p.ESLH, "H"), counted))
		}
	}
	series := c.RLabel
	if series == "" {
		series = si(c.ROhm, "Ω")
	}
	if c.Topology == RC {
		series += " in series (the dropper)"
	} else {
		series += " in series (part of the dropper)"
	}
	if c.Topology == CLC {
		capacitor(c.C1, "ahead of the coil")
	}
	if c.Topology != RC {
		list = append(list, fmt.Sprintf("%s coil (DCR %s, self-resonance %s)", si(c.L.H, "H"), si(c.L.DCROhm, "Ω"), si(c.L.SelfResonanceHz, "Hz")))
	}
	if c.ROhm > 0 {
		list = append(list, series)
	}
	if c.Topology == CLC {
		capacitor(c.C2, "across the heaters")
	} else {
		capacitor(c.C1, "across the heaters")
	}
	capacitor(c.CFilm, "beside it, leads as short as they go")
	if c.CDampF > 0 {
		list = append(list, fmt.Sprintf("%s in series with %s across the heaters, as damping", si(c.DampOhm, "Ω"), si(c.CDampF, "F")))
	}
	return list
}

// ratedVolts is the usual rating at least a third above the volts.
func ratedVolts(volts float64) float64 {
	for _, v := range []float64{6.3, 10, 16, 25, 35, 50, 63} {
		if v >= volts*4/3 {
			return v
		}
	}
	return 100
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

// Farads writes a capacitance as it is sold: "470 µF", "100 nF".
func Farads(f float64) string { return si(f, "F") }
