package heater

import (
	"fmt"
	"math"
)

// diodes tries the diode counts on both sides of what is to be dropped.
func (z sizing) diodes(d *diodeModel) Arrangement {
	a := Arrangement{Name: d.name, Best: -1}
	one := d.volts(z.nominalA)
	need := z.dropV / one
	a.Exact = fmt.Sprintf("%.2f diodes of %s", math.Max(0, need), volts3(one))
	if need > float64(d.maxCount)+diodeMore {
		a.Warnings = append(a.Warnings, fmt.Sprintf("%s would take %.1f %ss in series: use a resistor", volts3(z.dropV), need, d.name))
		return a
	}
	if z.dropV <= 0 {
		a.Warnings = append(a.Warnings, "no volts are left to drop")
		return a
	}
	if need < diodeLeast {
		a.Warnings = append(a.Warnings, fmt.Sprintf("%s to drop is too little for one %s (%s)", volts3(z.dropV), d.name, volts3(one)))
		return a
	}
	low := max(1, int(need))
	for n := low; n <= low+1 && n <= d.maxCount; n++ {
		l := layout{strands: z.strands, diode: d, diodes: n}
		p := Part{Label: fmt.Sprintf("%d %s", n, d.name), Below: float64(n) <= need, Count: n, layout: l}
		if n > 1 {
			p.Label += "s"
		}
		p.Corners = l.corners(z.supply, z.opt)
		z.summarise(&p)
		p.W = p.Corners[0].PartW
		p.TotalW = float64(n) * p.W
		p.Fuses = z.fuses(l)
		p.Warnings = append(p.Warnings, d.faultWarning(p, z.supply))
		p.Shopping = append([]Item{d.toBuy(n, p, z.supply)}, fuseItems(p.Fuses)...)
		p.Shopping = append(p.Shopping, z.shunts(l)...)
		a.Parts = append(a.Parts, p)
	}
	a.Best = bestPart(a.Parts)
	if a.Best >= 0 {
		a.Warnings = append(a.Warnings, "the forward drop varies from part to part and with temperature: measure the heaters warm")
		z.ripple(&a)
	}
	return a
}

// none is the supply straight on the heaters.
func (z sizing) none() Arrangement {
	a := Arrangement{Name: NameNone, Exact: "connected directly", Best: 0}
	l := layout{strands: z.strands}
	p := Part{Label: "none", layout: l, Corners: l.corners(z.supply, z.opt)}
	p.Fuses = z.fuses(l)
	p.Shopping = append(fuseItems(p.Fuses), z.shunts(l)...)
	z.summarise(&p)
	if p.Corners[0].OverLimit {
		p.Warnings = append(p.Warnings, fmt.Sprintf("connected directly, the heaters get %s (%s): over their limit", volts3(p.HeaterV), percent(p.ErrFrac)))
	}
	a.Parts = []Part{p}
	return a
}

// hintF and hintESR are the capacitor of the ripple hint.
const (
	hintF   = 1000e-6
	hintESR = 0.05
)

// ripple says what the recommended part does to ripple by itself, and with a
// capacitor behind it. At 100 Hz and above a heater's temperature no longer
// follows, so it counts with its hot resistance.
func (z sizing) ripple(a *Arrangement) {
	p := a.Parts[a.Best]
	source := z.supply.OutputOhm + z.supply.LeadOhm + z.supply.FilterOhm
	series, load, where := 0.0, z.load.Volts/z.nominalA, "across the heaters"
	switch {
	case a.Name == siliconDiode.name:
		series = float64(p.Count) * siliconDiode.slopeOhm(p.LoadA)
	case a.Name == schottkyDiode.name:
		series = float64(p.Count) * schottkyDiode.slopeOhm(p.LoadA)
	case a.Name == NameShared:
		series = p.Set[0].Ohm
	default:
		// The strand whose resistor does least is the one that hears most.
		for k, c := range p.Set {
			if k >= len(z.strands) || len(p.Set) != len(z.strands) {
				break
			}
			st := z.strands[k]
			if r := st.volts() / z.strandA[k]; k == 0 || c.Ohm/r < series/load {
				series, load = c.Ohm, r
			}
		}
		where = "across each heater"
	}
	if series == 0 {
		return
	}
	a.RippleDB = 20 * math.Log10((load+source)/(load+source+series))
	at := func(hz float64) float64 { return rippleBehind(hz, source+series, load, hintF, hintESR) }
	a.RippleHint = fmt.Sprintf("with 1000 µF (ESR 50 mΩ) %s: %.1f dB at 100 Hz, %.1f dB at 100 kHz", where, at(100), at(100e3))
}

// rippleBehind is what a capacitor of farads and its ESR leave of ripple at hz,
// in dB, behind series ohms and across a load.
func rippleBehind(hz, series, load, farads, esr float64) float64 {
	w := 2 * math.Pi * hz
	divider := load / (series + load)
	behind := series * load / (series + load)
	return 20 * math.Log10(divider*math.Hypot(1, w*esr*farads)/math.Hypot(1, w*(behind+esr)*farads))
}
