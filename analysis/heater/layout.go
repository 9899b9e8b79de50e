package heater

import (
	"fmt"
	"math"
)

// layout is a load with its dropping parts in place: one shared part, or one
// in every strand.
type layout struct {
	strands   []strand
	sharedOhm float64
	strandOhm []float64 // own resistor of each strand, nil: none
	heatShare []float64 // of each dropping resistor's heat in its hottest single part, nil: all
	diode     *diodeModel
	diodes    int
}

// scenario is one way the world can be. The zero value is nominal.
type scenario struct {
	supply   float64 // relative error of the supply's volts
	part     float64 // relative error of every resistor; diodes: +1 or -1 takes the whole spread
	heaters  float64 // +1: every heater draws its most, -1: its least
	oddOne   bool    // the heaters' spread applies to one heater of a string only, the rest opposite
	strand   int     // oddOne and shorted: which strand
	elem     int     // oddOne and shorted: which kind of heater in it
	pulled   int     // index of the strand that lost one, plus 1; 0: none
	last     int     // index of the strand of which one is all that is left, plus 1; 0: all in
	shorted  bool    // one heater is shorted, see strand and elem
	cold     float64 // hot over cold resistance at the first instant; 0: hot
	straight bool    // no dropping parts
}

// solved is a layout's operating point with each heater's volts.
type solved struct {
	point
	heaters []heaterAt
	shortA  float64   // through the shorted heater, where there is one
	limited bool      // the supply's limit holds the current
	partW   []float64 // heat of the hottest single part: of the shared dropper, or of each strand's
}

// heaterAt is one kind of heater in a solved layout.
type heaterAt struct {
	strand int
	valve  Valve
	rated  float64 // volts in its connection
	volts  float64
}

// relErr is the heater's volts against its rating.
func (h heaterAt) relErr() float64 { return h.volts/h.rated - 1 }

// solve finds the operating point of the layout under a supply.
func (l layout) solve(s Supply, exponent float64, sc scenario) solved {
	net := network{
		openV:     (s.Volts + s.AtA*s.OutputOhm) * (1 + sc.supply),
		sourceOhm: s.OutputOhm + s.LeadOhm + s.FilterOhm,
	}
	if !sc.straight {
		net.sharedOhm = l.sharedOhm * (1 + sc.part)
		if l.diodes > 0 {
			// A spread of the forward drop moves the saturation current.
			d := *l.diode
			d.isA *= math.Exp(-sc.part * d.spreadV / (d.n * thermalV))
			net.diode, net.diodes = &d, l.diodes
		}
	}
	if sc.shorted {
		net.limitA = s.limit()
	}
	bad := -1        // branch with the shorted heater
	owner := []int{} // strand of each branch
	for k, st := range l.strands {
		b := branch{name: st.name, count: st.count}
		if l.strandOhm != nil && !sc.straight {
			b.ohm = l.strandOhm[k] * (1 + sc.part)
		}
		for j, e := range st.elems {
			b.elems = append(b.elems, e.under(sc, exponent, k, j)...)
		}
		switch {
		case sc.last > 0:
			b.count = 0
			if sc.last == k+1 {
				b.count = 1
			}
		case sc.pulled == k+1:
			b.count--
		case sc.shorted && sc.strand == k:
			bad = len(net.branches)
			faulty := b
			faulty.count = 1
			faulty.elems = nil
			for j, e := range b.elems {
				if j == sc.elem {
					short := e
					short.ohmic, short.ohm, short.mult = true, 0, 1
					faulty.elems = append(faulty.elems, short)
					e.mult--
				}
				if e.mult > 0 {
					faulty.elems = append(faulty.elems, e)
				}
			}
			b.count--
			net.branches = append(net.branches, faulty)
			owner = append(owner, k)
		}
		net.branches = append(net.branches, b)
		owner = append(owner, k)
	}
	p := solved{point: net.solve()}
	if p.unlimited {
		return p
	}
	if bad >= 0 {
		p.shortA = p.branchA[bad]
		p.limited = net.limitA > 0 && p.totalA > net.limitA*(1-1e-9)
	}
	for i, b := range net.branches {
		if b.count == 0 {
			continue
		}
		for _, e := range b.elems {
			if e.ohmic && e.ohm == 0 {
				continue
			}
			p.heaters = append(p.heaters, heaterAt{owner[i], e.valve, e.v0, e.volts(p.branchA[i]) / float64(e.mult)})
		}
	}
	if sc.straight {
		return p
	}
	switch {
	case l.diodes > 0:
		p.partW = []float64{p.totalA * net.diode.volts(p.totalA)}
	case l.strandOhm != nil:
		p.partW = make([]float64, len(l.strands))
		for i, b := range net.branches {
			if b.count > 0 {
				k := owner[i]
				p.partW[k] = math.Max(p.partW[k], p.branchA[i]*p.branchA[i]*b.ohm)
			}
		}
	case l.sharedOhm > 0:
		p.partW = []float64{p.totalA * p.totalA * net.sharedOhm}
	}
	if l.heatShare != nil {
		for k := range p.partW {
			p.partW[k] *= l.heatShare[k]
		}
	}
	return p
}

// under gives the element as the scenario has it: split in two where one odd
// heater stands among its like in a string. k and j are its strand and place.
func (e element) under(sc scenario, exponent float64, k, j int) []element {
	e.exponent = exponent
	if sc.cold > 0 {
		e.ohmic, e.ohm = true, e.v0/e.i0/sc.cold
		return []element{e}
	}
	spread := sc.heaters * e.valve.AmpTol
	if !sc.oddOne {
		e.i0 *= 1 + spread
		return []element{e}
	}
	if k != sc.strand {
		return []element{e}
	}
	odd, rest := e, e
	odd.mult, rest.mult = 1, e.mult-1
	odd.i0 *= 1 + spread
	rest.i0 *= 1 - spread
	if j != sc.elem {
		rest.mult = e.mult
		return []element{rest}
	}
	if rest.mult == 0 {
		return []element{odd}
	}
	return []element{odd, rest}
}

// worst gives the heater most over its limit, else the one furthest from its
// rating, relatively.
func (p solved) worst() (heaterAt, bool) {
	w, found := p.hottest()
	if found && w.relErr() > w.valve.VoltTol+limitSlack {
		return w, true
	}
	for _, h := range p.heaters {
		if math.Abs(h.relErr()) > math.Abs(w.relErr())+1e-12 {
			w = h
		}
	}
	return w, found
}

// hottest gives the heater with the most volts against its rating.
func (p solved) hottest() (heaterAt, bool) {
	var w heaterAt
	found := false
	for _, h := range p.heaters {
		if !found || h.relErr() > w.relErr()+1e-12 {
			w, found = h, true
		}
	}
	return w, found
}

// maxW is the dissipation of the hottest dropping part, W.
func (p solved) maxW() float64 {
	w := 0.0
	for _, x := range p.partW {
		w = math.Max(w, x)
	}
	return w
}

// limitSlack keeps rounding from calling a heater that sits on its limit over.
const limitSlack = 1e-6

// corner turns a solved scenario into a row of the table.
func (p solved) corner(name string, kind Kind) Corner {
	c := Corner{Name: name, Kind: kind, LoadA: p.totalA, PartW: p.maxW(), Limited: p.limited}
	if p.unlimited {
		c.Unlimited, c.AllOff = true, true
		c.Note = "nothing but the supply's own limit, which is not known, holds the current: fit a fuse"
		return c
	}
	w, ok := p.worst()
	if kind == KindPulled || kind == KindLast || kind == KindShort {
		w, ok = p.hottest()
	}
	if !ok || w.volts == 0 {
		c.AllOff = true
		return c
	}
	c.Heater, c.HeaterV, c.RelErr = w.valve.Type, w.volts, w.relErr()
	if kind != KindCold {
		for _, h := range p.heaters {
			c.OverLimit = c.OverLimit || h.relErr() > h.valve.VoltTol+limitSlack
			c.UnderLimit = c.UnderLimit || h.relErr() < -h.valve.VoltTol-limitSlack
		}
	}
	return c
}

// corners lists every case that matters for the layout.
func (l layout) corners(s Supply, o Options) []Corner {
	solve := func(sc scenario) solved { return l.solve(s, o.Exponent, sc) }
	var out []Corner
	add := func(name string, kind Kind, sc scenario) *Corner {
		out = append(out, solve(sc).corner(name, kind))
		return &out[len(out)-1]
	}
	partWord, tol := "part", o.PartTol
	hasPart := l.sharedOhm > 0 || l.diodes > 0
	for _, r := range l.strandOhm {
		hasPart = hasPart || r > 0
	}
	if l.diodes > 0 {
		partWord, tol = "drop", 1
	}
	add("nominal", KindNominal, scenario{})
	if s.TolFrac > 0 {
		add("supply high", KindSpread, scenario{supply: s.TolFrac})
		add("supply low", KindSpread, scenario{supply: -s.TolFrac})
	}
	if hasPart {
		add(partWord+" low", KindSpread, scenario{part: -tol})
		add(partWord+" high", KindSpread, scenario{part: tol})
	}
	add("heaters draw little", KindSpread, scenario{heaters: -1})
	add("heaters draw much", KindSpread, scenario{heaters: 1})
	high, low := scenario{heaters: -1}, scenario{heaters: 1}
	highName, lowName := "heaters draw little", "heaters draw much"
	if hasPart {
		high.part, low.part = -tol, tol
		highName, lowName = partWord+" low, "+highName, partWord+" high, "+lowName
	}
	if s.TolFrac > 0 {
		high.supply, low.supply = s.TolFrac, -s.TolFrac
		highName, lowName = "supply high, "+highName, "supply low, "+lowName
	}
	if len(out) > 1 && (hasPart || s.TolFrac > 0) {
		add(highName, KindSpread, high)
		add(lowName, KindSpread, low)
	}
	for k, st := range l.strands {
		for j, e := range st.elems {
			if len(st.elems) == 1 && e.mult == 1 {
				continue
			}
			add(fmt.Sprintf("one %s draws little, its string's rest much", e.valve.Type), KindSpread, scenario{heaters: -1, oddOne: true, strand: k, elem: j})
			add(fmt.Sprintf("one %s draws much, its string's rest little", e.valve.Type), KindSpread, scenario{heaters: 1, oddOne: true, strand: k, elem: j})
		}
	}
	for k, st := range l.strands {
		for _, name := range st.types() {
			c := add(name+" pulled", KindPulled, scenario{pulled: k + 1})
			if st.string {
				c.Note = "its string goes dark"
			}
			if c.AllOff {
				c.Note = "no heater is left lit"
			}
		}
	}
	if l.valves() > 2 {
		if k := l.lightest(); k >= 0 {
			name := fmt.Sprintf("only one %s left in", l.strands[k].name)
			if l.strands[k].string {
				name = fmt.Sprintf("only %s left in", l.strands[k].name)
			}
			add(name, KindLast, scenario{last: k + 1})
		}
	}
	for k, st := range l.strands {
		for j, e := range st.elems {
			c := add(e.valve.Type+" heater shorted", KindShort, scenario{shorted: true, strand: k, elem: j})
			if !c.Unlimited {
				c.Note = s.faultNote(*c)
			}
		}
	}
	c := add("cold start", KindCold, scenario{cold: o.ColdRatio})
	c.Note = "first instant; see the warm-up"
	return out
}

// types names the valve types of a strand without repeats.
func (s strand) types() []string {
	var out []string
	for _, e := range s.elems {
		seen := false
		for _, t := range out {
			seen = seen || t == e.valve.Type
		}
		if !seen {
			out = append(out, e.valve.Type)
		}
	}
	return out
}

func (l layout) hasString() bool {
	for _, st := range l.strands {
		if st.string && (len(st.elems) > 1 || st.elems[0].mult > 1) {
			return true
		}
	}
	return false
}

// valves counts sockets: strands side by side.
func (l layout) valves() int {
	n := 0
	for _, st := range l.strands {
		n += st.count
	}
	return n
}

// lightest gives the strand that draws least: left alone it leaves the dropper
// doing least.
func (l layout) lightest() int {
	best, least := -1, math.Inf(1)
	for k, st := range l.strands {
		for _, e := range st.elems {
			if e.i0 < least {
				best, least = k, e.i0
			}
		}
	}
	return best
}
