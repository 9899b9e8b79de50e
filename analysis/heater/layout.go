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
	gone     bool    // a heater with a shunt is out of its string, see strand and elem: the shunt stays
	last     int     // index of the strand of which one is all that is left, plus 1; 0: all in
	shorted  bool    // one heater is shorted, see strand and elem
	limitsAt float64 // shorted: the share of its rating at which a supply of unknown limit does
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
	place  int // of its kind in the strand
	valve  Valve
	rated  float64 // volts in its connection
	volts  float64
}

// relErr is the heater's volts against its rating.
func (h heaterAt) relErr() float64 { return h.volts/h.rated - 1 }

// solve finds the operating point of the layout under a supply.
func (l layout) solve(s Supply, exponent float64, sc scenario) solved {
	net := l.feed(s, sc)
	strandOf, shorted := l.addBranches(&net, exponent, sc)
	p := solved{point: net.solve()}
	if p.unlimited {
		return p
	}
	if shorted >= 0 {
		p.shortA = p.branchA[shorted]
		p.limited = net.limitA > 0 && p.totalA > net.limitA*(1-rounding)
	}
	for i, b := range net.branches {
		if b.count == 0 {
			continue
		}
		for _, e := range b.elems {
			if e.empty || e.ohmic && e.ohm == 0 {
				continue
			}
			p.heaters = append(p.heaters, heaterAt{strandOf[i], e.place, e.valve, e.v0, e.volts(p.branchA[i]) / float64(e.mult)})
		}
	}
	if !sc.straight {
		p.partW = l.heat(net, strandOf, p.point)
	}
	return p
}

// feed is the network ahead of the strands: the supply and the shared part.
func (l layout) feed(s Supply, sc scenario) network {
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
		net.limitA = s.limit(sc.limitsAt)
	}
	return net
}

// addBranches adds the strands as the scenario has them. strandOf is the strand of
// each branch, shorted the branch with the shorted heater, -1 when none.
func (l layout) addBranches(net *network, exponent float64, sc scenario) (strandOf []int, shorted int) {
	shorted = -1
	for k, st := range l.strands {
		b := branch{name: st.name, count: sc.lit(k, st.count)}
		if l.strandOhm != nil && !sc.straight {
			b.ohm = l.strandOhm[k] * (1 + sc.part)
		}
		for j, e := range st.elems {
			b.elems = append(b.elems, e.applyScenario(sc, exponent, k, j)...)
		}
		if sc.last == 0 && sc.pulled != k+1 && sc.shorted && sc.strand == k {
			shorted = len(net.branches)
			net.branches = append(net.branches, b.withShort(sc.elem))
			strandOf = append(strandOf, k)
			b.count--
		}
		net.branches = append(net.branches, b)
		strandOf = append(strandOf, k)
	}
	return strandOf, shorted
}

// lit is how many of count like branches of strand k the scenario leaves in.
func (sc scenario) lit(k, count int) int {
	switch {
	case sc.last == k+1:
		return 1
	case sc.last > 0:
		return 0
	case sc.pulled == k+1:
		return count - 1
	}
	return count
}

// withShort is one branch of the kind in which a heater of element elem is shorted.
func (b branch) withShort(elem int) branch {
	faulty := b
	faulty.count, faulty.elems = 1, nil
	for j, e := range b.elems {
		if j == elem {
			short := e
			short.ohmic, short.ohm, short.mult = true, 0, 1
			faulty.elems = append(faulty.elems, short)
			e.mult--
		}
		if e.mult > 0 {
			faulty.elems = append(faulty.elems, e)
		}
	}
	return faulty
}

// heat is the watts of the hottest single part: of the shared one, or of each
// strand's.
func (l layout) heat(net network, strandOf []int, p point) []float64 {
	var partW []float64
	switch {
	case l.diodes > 0:
		partW = []float64{p.totalA * net.diode.volts(p.totalA)}
	case l.strandOhm != nil:
		partW = make([]float64, len(l.strands))
		for i, b := range net.branches {
			if b.count > 0 {
				k := strandOf[i]
				partW[k] = math.Max(partW[k], p.branchA[i]*p.branchA[i]*b.ohm)
			}
		}
	case l.sharedOhm > 0:
		partW = []float64{p.totalA * p.totalA * net.sharedOhm}
	}
	if l.heatShare != nil {
		for k := range partW {
			partW[k] *= l.heatShare[k]
		}
	}
	return partW
}

// applyScenario gives the element as the scenario has it: split in two where one odd
// heater stands among its like in a string. k and j are its strand and place.
func (e element) applyScenario(sc scenario, exponent float64, k, j int) []element {
	e.exponent = exponent
	if sc.cold > 0 {
		e.ohmic, e.ohm = true, e.beside(e.v0/e.i0/sc.cold)
		return []element{e}
	}
	if sc.gone && sc.strand == k && sc.elem == j {
		left, rest := e, e
		left.mult, left.ohmic, left.ohm, left.empty = 1, true, e.shuntOhm, true
		rest.mult--
		if rest.mult == 0 {
			return []element{left}
		}
		return []element{left, rest}
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

// excess is how far the heater lies outside its own tolerance, relative to its
// rating: over it where that is positive, under it negative, 0 inside.
func (h heaterAt) excess() float64 {
	switch e, tol := h.relErr(), h.valve.VoltTol+limitSlack; {
	case e > tol:
		return e - tol
	case e < -tol:
		return e + tol
	}
	return 0
}

// worst gives the heater most over its own limit, else the one most under its own,
// else the one furthest from its rating, relatively.
func (p solved) worst() (heaterAt, bool) {
	w, found := p.hottest()
	if found && w.excess() > 0 {
		return w, true
	}
	for _, h := range p.heaters {
		switch {
		case h.excess() < w.excess()-sameHeater:
			w = h
		case w.excess() == 0 && math.Abs(h.relErr()) > math.Abs(w.relErr())+sameHeater:
			w = h
		}
	}
	return w, found
}

// hottest gives the heater most over its own limit, else the one with the most
// volts against its rating.
func (p solved) hottest() (heaterAt, bool) {
	var w heaterAt
	found := false
	for _, h := range p.heaters {
		if !found {
			w, found = h, true
			continue
		}
		over, most := max(h.excess(), 0), max(w.excess(), 0)
		if over > most+sameHeater || over > most-sameHeater && h.relErr() > w.relErr()+sameHeater {
			w = h
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
		c.Note = "only the supply's own limit, which is not known, limits the current: fit a fuse"
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
	c.low, c.high = c.RelErr, c.RelErr
	for _, h := range p.heaters {
		c.low, c.high = math.Min(c.low, h.relErr()), math.Max(c.high, h.relErr())
		if kind != KindCold {
			c.OverLimit = c.OverLimit || h.excess() > 0
			c.UnderLimit = c.UnderLimit || h.excess() < 0
		}
	}
	return c
}

// cornerList collects the worst cases of one layout under one supply.
type cornerList struct {
	l   layout
	s   Supply
	o   Options
	out []Corner
}

func (c *cornerList) add(name string, kind Kind, sc scenario) *Corner {
	c.out = append(c.out, c.l.solve(c.s, c.o.Exponent, sc).corner(name, kind))
	return &c.out[len(c.out)-1]
}

// corners lists every case that matters for the layout.
func (l layout) corners(s Supply, o Options) []Corner {
	c := &cornerList{l: l, s: s, o: o}
	c.add("nominal", KindNominal, scenario{})
	c.addSpread()
	c.addOddHeaters()
	c.addPulled()
	c.addShorts()
	c.add("cold start", KindCold, scenario{cold: o.ColdRatio}).Note = "first instant; see the warm-up"
	return c.out
}

// partTolerance names the dropping part, with its tolerance as a scenario takes it (0:
// there is none) and the supply's.
func (c *cornerList) partTolerance() (word string, part, supply float64) {
	hasPart := c.l.sharedOhm > 0
	for _, r := range c.l.strandOhm {
		hasPart = hasPart || r > 0
	}
	switch {
	case c.l.diodes > 0:
		return "diode drop", 1, c.s.TolFrac
	case hasPart:
		return "resistor", c.o.partTol(), c.s.TolFrac
	}
	return "", 0, c.s.TolFrac
}

// addSpread adds the tolerances, one by one and the worst together.
func (c *cornerList) addSpread() {
	partWord, tol, supplyTol := c.partTolerance()
	hasPart := tol > 0
	if supplyTol > 0 {
		c.add("supply high", KindSpread, scenario{supply: supplyTol})
		c.add("supply low", KindSpread, scenario{supply: -supplyTol})
	}
	if hasPart {
		c.add(partWord+" low", KindSpread, scenario{part: -tol})
		c.add(partWord+" high", KindSpread, scenario{part: tol})
	}
	high, low := scenario{heaters: -1}, scenario{heaters: 1}
	highName, lowName := "heaters draw less", "heaters draw more"
	c.add(highName, KindSpread, high)
	c.add(lowName, KindSpread, low)
	if hasPart {
		high.part, low.part = -tol, tol
		highName, lowName = partWord+" low, "+highName, partWord+" high, "+lowName
	}
	if supplyTol > 0 {
		high.supply, low.supply = supplyTol, -supplyTol
		highName, lowName = "supply high, "+highName, "supply low, "+lowName
	}
	if hasPart || supplyTol > 0 {
		c.add(highName, KindSpread, high)
		c.add(lowName, KindSpread, low)
	}
}

// addOddHeaters adds, for each heater in a string, it against the rest, by itself and
// with the supply and the part at the end of their tolerance that makes it worse.
func (c *cornerList) addOddHeaters() {
	partWord, part, supply := c.partTolerance()
	highName, lowName := "", ""
	if part > 0 {
		highName, lowName = partWord+" low, ", partWord+" high, "
	}
	if supply > 0 {
		highName, lowName = "supply high, "+highName, "supply low, "+lowName
	}
	for k, st := range c.l.strands {
		for j, e := range st.elems {
			if len(st.elems) == 1 && e.mult == 1 {
				continue
			}
			high := scenario{heaters: -1, oddOne: true, strand: k, elem: j}
			low := scenario{heaters: 1, oddOne: true, strand: k, elem: j}
			less := fmt.Sprintf("one %s draws less, the rest of its string more", e.valve.Type)
			more := fmt.Sprintf("one %s draws more, the rest of its string less", e.valve.Type)
			c.add(less, KindSpread, high)
			c.add(more, KindSpread, low)
			if highName == "" {
				continue
			}
			high.supply, low.supply = supply, -supply
			high.part, low.part = -part, part
			c.add(highName+less, KindSpread, high).oddAtWorst = true
			c.add(lowName+more, KindSpread, low).oddAtWorst = true
		}
	}
}

// pulledOne is a valve out of its socket: its type, the scenario, and what to know of it.
type pulledOne struct {
	name string
	sc   scenario
	note string
}

// pulledOnes are all that can be pulled: one of each type in a strand. A string goes out
// with any of its valves, but for one whose shunt carries on.
func (l layout) pulledOnes() []pulledOne {
	var all []pulledOne
	for k, st := range l.strands {
		told := map[string]bool{}
		for j, e := range st.elems {
			name := e.valve.Type
			switch {
			case e.shuntOhm > 0:
				all = append(all, pulledOne{name, scenario{gone: true, strand: k, elem: j}, "its shunt carries the string on"})
			case told[name]:
			case st.string:
				all = append(all, pulledOne{name, scenario{pulled: k + 1}, "its whole string goes out"})
			default:
				all = append(all, pulledOne{name, scenario{pulled: k + 1}, ""})
			}
			told[name] = true
		}
	}
	return all
}

// addPulled adds every valve pulled from its socket, and the lightest left alone.
func (c *cornerList) addPulled() {
	for _, out := range c.l.pulledOnes() {
		pulled := c.add(out.name+" pulled", KindPulled, out.sc)
		if pulled.Note = out.note; pulled.AllOff {
			pulled.Note = "no valve is left"
		}
	}
	if c.l.valves() <= 2 {
		return
	}
	if k := c.l.lightest(); k >= 0 {
		name := fmt.Sprintf("only one %s left in", c.l.strands[k].name)
		if c.l.strands[k].string {
			name = fmt.Sprintf("only %s left in", c.l.strands[k].name)
		}
		c.add(name, KindLast, scenario{last: k + 1})
	}
}

// addShorts adds every heater shorted, as it heats the dropping part most.
func (c *cornerList) addShorts() {
	for k, st := range c.l.strands {
		for j, e := range st.elems {
			short := c.l.hotShort(c.s, c.o, k, j).corner(e.valve.Type+" heater shorted", KindShort)
			if !short.Unlimited {
				short.Note = c.s.faultNote(short)
			}
			c.out = append(c.out, short)
		}
	}
}

// Branch is one path from the supply to the return with its heaters, as a part's
// circuit has it; Part.Set and Part.Fuses follow the same order where a part has one a
// branch.
type Branch struct {
	Count   int     // equal ones side by side
	String  bool    // its heaters are one after the other
	Heaters []Group // of one branch; Wiring tells the connection of each heater
}

// Branches are the paths of the part's circuit, which for a rewired arrangement are
// other ones than the load's.
func (p Part) Branches() []Branch {
	var out []Branch
	for _, st := range p.layout.strands {
		b := Branch{Count: st.count, String: st.string}
		for _, e := range st.elems {
			g := Group{Valve: e.valve, Count: e.mult, Wiring: Parallel, ShuntOhm: e.shuntOhm}
			doubled := e.v0 > e.valve.Volts*(1+sameRail) // both halves one after the other
			switch {
			case st.string && doubled:
				g.Wiring = StringSeries
			case st.string:
				g.Wiring = String
			case doubled:
				g.Wiring = Series
			}
			b.Heaters = append(b.Heaters, g)
		}
		out = append(out, b)
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
