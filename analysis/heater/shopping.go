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

// shopping lists a resistor part's resistors and fuses, each resistor of a pair by its
// own heat. Where no fuse clears a short the resistor that stands it is the one to buy.
func (z sizing) shopping(p Part) []Item {
	var out []Item
	for k, c := range p.Set {
		for i, ohm := range c.Ohms {
			fit, buy := z.ratings(c, i, p.Fuses[k])
			rating := "no standard power rating is large enough"
			switch {
			case fit > buy:
				rating = fmt.Sprintf("%s or more (%s would carry the heaters, not a shorted one)", watts(fit), watts(buy))
			case buy > 0:
				rating = watts(buy) + " or more"
			}
			out = append(out, Item{Count: c.Count, What: fmt.Sprintf("%s resistor, %s", ohms(ohm), rating), Where: "in series with " + c.For})
		}
	}
	return append(out, fuseItems(p.Fuses)...)
}

// heatOf is the heat of the choice's resistor i, over that of its hottest: 1 for that
// one, less for the smaller of two in series and the larger of two side by side.
func (c Choice) heatOf(i int) float64 {
	if len(c.Ohms) != 2 {
		return 1
	}
	mine, other := c.Ohms[i], c.Ohms[1-i]
	if c.Ohm < math.Min(mine, other) { // side by side
		mine, other = other, mine
	}
	return math.Min(1, mine/other)
}

// ratings are those of one of the choice's resistors: to fit, and by its own heat alone.
func (z sizing) ratings(c Choice, i int, f Fuse) (fit, buy float64) {
	share := c.heatOf(i)
	buy = buyWatts(share*c.worstW/derated(z.opt.airC()), z.opt.DeratingX)
	return z.fit(c, f, share, buy), buy
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

// diodeAmps are the ratings that rectifier diodes are sold in, A.
var diodeAmps = []float64{1, 3, 5, 10}

// shortA is the most that a shorted heater drives through a part that all heaters share,
// A; ok is false where only the supply's own, unknown limit holds it.
func (p Part) shortA() (amps float64, ok bool) {
	for _, c := range p.Corners {
		if c.Kind == KindShort {
			if c.Unlimited {
				return 0, false
			}
			amps = math.Max(amps, c.LoadA)
		}
	}
	return amps, true
}

// diodeRating is the least of diodeAmps that carries twice the steady current, and a shorted
// heater's for good, or as long as a fuse that is sure to end it takes; 0 where none does.
func (p Part) diodeRating() float64 {
	least := 2 * p.LoadA
	if short, ok := p.shortA(); ok {
		if f := p.Fuses[0]; f.Sure {
			short /= fuseTimes[f.step()].diode
		}
		least = math.Max(least, short)
	}
	for _, r := range diodeAmps {
		if r >= least {
			return r
		}
	}
	return 0
}

// faultWarning says what a shorted heater does to the diodes, and a diode that fails of it
// to the heaters.
func (d *diodeModel) faultWarning(p Part, s Supply) string {
	short, known := p.shortA()
	through := "all that the supply gives, whose limit is not known,"
	if known {
		through = "up to " + amps(short)
	}
	what := fmt.Sprintf("a shorted heater drives %s through the %s", through, d.name)
	if p.Count > 1 {
		what += "s"
	}
	switch f := p.Fuses[0]; {
	case f.Sure:
		what += " until the fuse opens, within " + f.opensWithin()
		if s.limit(leastLimit) == 0 {
			what += fmt.Sprintf(" where the supply gives %s or more (its rating is not given)", amps(fuseOpens*f.RatingA))
		}
	case p.diodeRating() > 0:
		what += fmt.Sprintf(", %s: take the %s rating, which carries it where the leads are cooled", UnsureFault, amps(p.diodeRating()))
	default:
		what += fmt.Sprintf(", %s, and no diode of up to %s carries it: take a resistor", UnsureFault, amps(diodeAmps[len(diodeAmps)-1]))
	}
	return what + "; a diode mostly fails shorted, and the heaters then get what it dropped as well: check it after every fault (common practice, no source)"
}

// toBuy names a diode by its kind and the ratings to ask for: at least twice
// the steady current, a shorted heater's where no fuse is sure to end it, and twice the
// supply's volts in reverse (common practice, no source).
func (d *diodeModel) toBuy(n int, p Part, s Supply) Item {
	amp := p.diodeRating()
	if amp == 0 {
		amp = diodeAmps[len(diodeAmps)-1]
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
