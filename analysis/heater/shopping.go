package heater

import (
	"fmt"
	"math"
)

// Item is one line of a list of parts.
type Item struct {
	Count int    `json:"count"` // pieces
	What  string `json:"what"`  // "2.4 Ω ±5 % wirewound resistor, 2 W or more"
	Where string `json:"where"` // "in series with each 12AU7"
}

// Text is the line as it is printed: "2 x 2.4 Ω resistor, 2 W: each 12AU7".
func (i Item) Text() string {
	s := fmt.Sprintf("%d x %s", i.Count, i.What)
	if i.Where != "" {
		s += ", " + i.Where
	}
	return s
}

// BuyWatts gives the smallest resistor rating on sale of at least twice the
// dissipation in watts, or 0 when none on the list is large enough.
func BuyWatts(w float64) float64 { return buyWatts(w, defaultDerating) }

// FitW is the greatest rating in watts to fit of the part's resistors, 0 where none is
// large enough or there are none.
func (p Part) FitW() float64 {
	w := p.BuyW
	for _, c := range p.Set {
		w = math.Max(w, c.FitW)
	}
	return w
}

// shopping lists a resistor part's resistors and fuses. Where no fuse clears a
// short the resistor that stands it is the one to buy.
func (p Part) shopping() []Item {
	var out []Item
	for _, c := range p.Set {
		for _, ohm := range c.Ohms {
			rating := "no standard power rating is large enough"
			switch {
			case c.FitW > c.BuyW:
				rating = fmt.Sprintf("%s or more (%s would carry the heaters, not a shorted one)", watts(c.FitW), watts(c.BuyW))
			case c.BuyW > 0:
				rating = watts(c.BuyW) + " or more"
			}
			out = append(out, Item{Count: c.Count, What: fmt.Sprintf("%s resistor, %s", ohms(ohm), rating), Where: "in series with " + c.For})
		}
	}
	return append(out, fuseItems(p.Fuses)...)
}

// fuseItems lists the fuses that have a value.
func fuseItems(fuses []Fuse) []Item {
	var out []Item
	for _, f := range fuses {
		if f.RatingA > 0 {
			out = append(out, Item{Count: f.Count, What: fmt.Sprintf("fuse T %s (slow, IEC 60127) with holder", amps(f.RatingA)), Where: "ahead of " + f.For})
		}
	}
	return out
}

// toBuy names a diode by its kind and the ratings to ask for: at least twice
// the steady current, and twice the supply's volts in reverse (common practice,
// no source).
func (d *diodeModel) toBuy(n int, p Part, s Supply) Item {
	amp := 10.0
	for _, r := range []float64{1, 3, 5, 10} {
		if r >= 2*p.LoadA {
			amp = r
			break
		}
	}
	kind := "general-purpose silicon rectifier diode, not a fast or a Schottky type"
	if d == &schottkyDiode {
		kind = "Schottky rectifier diode"
	}
	reverse := 40.0
	for reverse < 2*s.Volts {
		reverse += 20
	}
	where := "in series with all heaters, the band towards the heaters"
	if n > 1 {
		where = "in series with each other, " + where
	}
	return Item{Count: n, What: fmt.Sprintf("%s, %s, %g V or more", kind, amps(amp), reverse), Where: where}
}
