package heater

import (
	"fmt"
	"math"
)

// shunts lists the resistors across heaters of strings. Each is rated for twice its heat
// in the worst case of the tolerances, and stands what a valve pulled or another heater
// of its string shorted leaves on it.
func (z sizing) shunts(l layout) []Item {
	var out []Item
	for k, st := range l.strands {
		for j, e := range st.elems {
			if e.shuntOhm == 0 {
				continue
			}
			steady, fault := 0.0, 0.0
			heat := func(volts float64) float64 { return volts * volts / e.shuntOhm }
			across := func(s solved) (volts float64) {
				for _, h := range s.heaters {
					if h.strand == k && h.place == e.place {
						volts = math.Max(volts, h.volts)
					}
				}
				return volts
			}
			for _, sc := range z.spreads() {
				steady = math.Max(steady, heat(across(l.solve(z.supply, z.opt.Exponent, sc))))
			}
			high := scenario{supply: z.supply.TolFrac, strand: k}
			for i := range st.elems {
				high.elem, high.shorted, high.gone = i, true, false
				fault = math.Max(fault, heat(across(l.solve(z.supply, z.opt.Exponent, high))))
			}
			high.elem, high.shorted, high.gone = j, false, true
			gone := l.solve(z.supply, z.opt.Exponent, high).branchA[k] * e.shuntOhm
			fault = math.Max(fault, heat(gone))
			rating := "no standard power rating is large enough"
			if buy := math.Max(buyWatts(steady/derated(z.opt.airC()), z.opt.DeratingX), faultWatts(fault, z.opt.airC())); buy > 0 {
				rating = watts(buy) + " or more"
			}
			out = append(out, Item{Count: st.count * e.mult, What: fmt.Sprintf("%s resistor, %s (%s in it, %s with its valve pulled or another of its string shorted)", ohms(e.shuntOhm), rating, watts(steady), watts(fault)),
				Where: "across each " + e.valve.Type + " of its string"})
		}
	}
	return out
}
