package heater

import (
	"fmt"
	"math"
	"strings"
)

// Names of arrangements; those with diodes are named after the diode.
const (
	NameShared    = "one shared resistor" // ahead of all heaters
	namePerValve  = "one per valve"
	namePerString = "one per string"
	NameNone      = "no dropper"
)

// slot is one place where a resistor of its own value goes.
type slot struct {
	what  string // "all heaters", "each 12AU7"
	count int
	exact float64 // ohms
	bare  bool    // no resistor: the supply suits its heaters as it is
}

// sizing is what all arrangements share.
type sizing struct {
	load     Load
	supply   Supply
	opt      Options
	strands  []strand
	strandA  []float64 // nominal current of one of each
	nominalA float64
	availV   float64 // ahead of the dropper at nominalA
	dropV    float64 // volts to drop
	starts   *starts // of its heaters, ahead of fuses
}

// newSizing finds the nominal currents and what there is to drop.
func newSizing(load Load, strands []strand, s Supply, o Options) sizing {
	z := sizing{load: load, supply: s, opt: o, strands: strands}
	for _, st := range strands {
		b := branch{}
		for _, e := range st.elems {
			e.exponent = o.Exponent
			b.elems = append(b.elems, e)
		}
		a := b.amps(st.volts())
		z.strandA = append(z.strandA, a)
		z.nominalA += float64(st.count) * a
	}
	z.availV = s.Volts + s.AtA*s.OutputOhm - z.nominalA*(s.OutputOhm+s.LeadOhm+s.FilterOhm)
	z.dropV = z.availV - load.Volts
	return z
}

// arrangements sizes every way of dropping the load's excess volts.
func (z sizing) arrangements() ([]Arrangement, error) {
	if z.load.Mixed() {
		return z.apart()
	}
	shared, err := z.resistors(NameShared, []slot{{what: "all heaters", count: 1, exact: z.dropV / z.nominalA}}, func(ohms []float64) layout {
		return layout{strands: z.strands, sharedOhm: ohms[0]}
	})
	if err != nil {
		return nil, err
	}
	own, err := z.perStrand()
	if err != nil {
		return nil, err
	}
	out := []Arrangement{shared}
	out = append(out, own...)
	out = append(out, z.diodes(&siliconDiode), z.diodes(&schottkyDiode), z.none())
	return out, nil
}

// apart sizes heaters that share no rail: each valve or string has its own resistor, and
// nothing ahead of all of them suits all.
func (z sizing) apart() ([]Arrangement, error) {
	own, err := z.perStrand()
	if err != nil {
		return nil, err
	}
	out := []Arrangement{z.noShared(NameShared)}
	out = append(out, own...)
	return append(out, z.noShared(siliconDiode.name), z.noShared(schottkyDiode.name), z.none()), nil
}

func (z sizing) noShared(name string) Arrangement {
	return Arrangement{Name: name, Best: -1, Exact: "not possible",
		Warnings: []string{fmt.Sprintf("heaters of %s have no drop in common", z.load.railWords())}}
}

// RailText names the rail: "a 6.3 V rail", "rails of 12.6 V and 6.3 V".
func (l Load) RailText() string {
	if l.Mixed() {
		return "rails of " + l.railWords()
	}
	return "a " + volts(l.Volts) + " rail"
}

// railWords names the rails of a mixed load: "12.6 V and 6.3 V".
func (l Load) railWords() string {
	words := make([]string, len(l.Rails))
	for i, v := range l.Rails {
		words[i] = volts(v)
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// perStrand sizes one resistor per valve and one per string. A load without
// strings is also tried rewired: equal valves one after the other, as many as
// the supply's volts take.
func (z sizing) perStrand() ([]Arrangement, error) {
	anyString, anySingle := false, false
	for _, st := range z.strands {
		anyString = anyString || st.string
		anySingle = anySingle || !st.string
	}
	own := func(name string, y sizing) (Arrangement, error) {
		var slots []slot
		for k, st := range y.strands {
			what := "each " + st.name
			if st.string {
				if what = st.describe(); st.count > 1 {
					what = "each " + what
				}
			}
			slots = append(slots, slot{what: what, count: st.count, exact: y.headspaceOf(k) / y.strandA[k], bare: y.bare(k)})
		}
		return y.resistors(name, slots, func(ohms []float64) layout { return layout{strands: y.strands, strandOhm: ohms} })
	}
	name := namePerValve
	if anyString {
		name = namePerString
		if anySingle {
			name = namePerString + ", one per single valve"
		}
	}
	a, err := own(name, z)
	if err != nil || anyString {
		return []Arrangement{a}, err
	}
	if l := (layout{strands: z.strands}); l.valves() == 1 {
		a.Warnings = append(a.Warnings, "with a single valve this is the shared resistor")
	}
	rewired, n := z.rewire()
	if n < 2 {
		b := Arrangement{Name: namePerString, Best: -1, Exact: "not possible"}
		b.Warnings = append(b.Warnings, rewireWhy(z))
		return []Arrangement{a, b}, nil
	}
	b, err := own(namePerString, rewired)
	b.Rewired = (layout{strands: rewired.strands}).describe()
	b.Warnings = append(b.Warnings, fmt.Sprintf("needs rewiring: equal valves in strings of up to %d; one pulled valve then puts out its whole string", n))
	return []Arrangement{a, b}, err
}

func rewireWhy(z sizing) string {
	least := math.Inf(1)
	for _, st := range z.strands {
		least = math.Min(least, st.volts())
	}
	if z.availV < 2*least {
		return fmt.Sprintf("%s is less than two heaters in series need (%s)", volts(z.availV), volts(2*least))
	}
	return "a string needs two or more equal valves"
}

// rewire puts equal valves in strings as long as the supply's volts take. The
// second result is the longest string, under 2 when it makes none.
func (z sizing) rewire() (sizing, int) {
	longest := 0
	var out []strand
	for _, st := range z.strands {
		n := min(int((z.availV+1e-9)/st.volts()), st.count)
		if n < 2 {
			out = append(out, st)
			continue
		}
		longest = max(longest, n)
		e := st.elems[0]
		e.mult = n
		out = append(out, strand{name: "string", count: st.count / n, string: true, elems: []element{e}})
		if rest := st.count % n; rest > 0 {
			e.mult = rest
			out = append(out, strand{name: restName(rest, st.name), count: 1, string: rest > 1, elems: []element{e}})
		}
	}
	if longest < 2 {
		return z, longest
	}
	y := newSizing(z.load, out, z.supply, z.opt)
	y.starts = z.starts
	return y, longest
}

// restName names what a rewiring leaves over.
func restName(n int, valve string) string {
	if n > 1 {
		return "string"
	}
	return valve
}

// headspaceOf is what a strand's own resistor has to drop, V.
func (z sizing) headspaceOf(k int) float64 { return z.availV - z.strands[k].volts() }

// bare reports whether a strand of a mixed load needs no resistor: the supply is no more
// than directOver above its volts, and not outside its heaters' tolerance under them.
func (z sizing) bare(k int) bool {
	off := z.headspaceOf(k) / z.strands[k].volts()
	for _, e := range z.strands[k].elems {
		if off < -e.valve.VoltTol {
			return false
		}
	}
	return z.load.Mixed() && off <= directOver
}

// describe names a string with what is in it.
func (s strand) describe() string {
	var parts []string
	for _, e := range s.elems {
		parts = append(parts, fmt.Sprintf("%dx%s", e.mult, e.valve.Type))
	}
	return s.name + " of " + strings.Join(parts, ", ")
}

// describe names the strands of a layout: "2 strings of 2x6SN7GT, 1 x 6922 by itself".
func (l layout) describe() string {
	var words []string
	for _, st := range l.strands {
		switch {
		case !st.string:
			words = append(words, fmt.Sprintf("%d x %s by itself", st.count, st.name))
		case st.count == 1:
			words = append(words, "a "+st.describe())
		default:
			words = append(words, fmt.Sprintf("%d strings, each%s", st.count, strings.TrimPrefix(st.describe(), st.name)))
		}
	}
	return strings.Join(words, ", ")
}

// resistors tries the standard values on both sides of every slot's exact one,
// the nearest of each, and pairs where a single one misses by over 1 %.
func (z sizing) resistors(name string, slots []slot, build func(ohms []float64) layout) (Arrangement, error) {
	a := Arrangement{Name: name, Best: -1}
	if len(slots) == 1 || sameOhms(slots) {
		a.ExactOhm = slots[0].exact
	}
	var words []string
	for _, s := range slots {
		if s.bare {
			words = append(words, "none for "+s.what)
			continue
		}
		words = append(words, fmt.Sprintf("%s for %s", ohms(s.exact), s.what))
	}
	a.Exact = strings.Join(words, ", ")
	for _, s := range slots {
		if why := s.impractical(); why != "" {
			if s.exact < smallestOhm {
				a.ExactOhm = math.Max(0, a.ExactOhm)
			}
			a.Warnings = append(a.Warnings, why)
			return a, nil
		}
	}
	columns := make([][]Choice, slotChoices)
	missed := false
	for _, s := range slots {
		choices, off, err := s.choices(z.opt.Series)
		if err != nil {
			return a, err
		}
		missed = missed || off
		for k, c := range choices {
			columns[k] = append(columns[k], c)
		}
	}
	for i, set := range columns {
		if i > 2 && !missed || seen(columns[:i], set) {
			continue
		}
		values := make([]float64, len(set))
		for k, c := range set {
			values[k] = c.Ohm
		}
		p := z.evaluate(build(values), set)
		p.Below = below(set, slots)
		a.Parts = append(a.Parts, p)
	}
	if a.Best = bestPart(a.Parts); a.Best < 0 {
		return a, nil
	}
	if len(slots) == 1 && a.Parts[a.Best].pulledHigh {
		if err := z.kinder(&a, slots[0], build); err != nil {
			return a, err
		}
	}
	z.ripple(&a)
	return a, nil
}

// kinder adds the first standard value further up that keeps a pulled valve from taking
// another over its limit at the supply's highest volts, if it costs no other corner.
func (z sizing) kinder(a *Arrangement, s slot, build func(ohms []float64) layout) error {
	ohm := s.exact
	for _, p := range a.Parts {
		if !p.Pair {
			ohm = math.Max(ohm, p.Ohm)
		}
	}
	for {
		_, above, err := Neighbours(z.opt.Series, ohm*nextValue)
		if err != nil || above == 0 {
			return err
		}
		ohm = above
		p := z.evaluate(build([]float64{ohm}), []Choice{{For: s.what, Count: s.count, Label: ohms(ohm), Ohm: ohm, Ohms: []float64{ohm}}})
		if p.ErrFrac < -kinderBy {
			return nil
		}
		if !p.pulledHigh && !p.PulledOver {
			if with := append(a.Parts[:len(a.Parts):len(a.Parts)], p); bestPart(with) == len(with)-1 {
				a.Parts, a.Best = with, len(with)-1
			}
			return nil
		}
	}
}

// nextValue is less than the step from a standard value to the next, E96's 2.4 %.
const nextValue = 1.005

// impractical words why no standard resistor serves the slot, "" where one does.
func (s slot) impractical() string {
	switch {
	case s.bare:
	case s.exact < smallestOhm/1000:
		return s.what + ": no volts are left to drop"
	case s.exact < smallestOhm:
		return fmt.Sprintf("%s would need %s, below the smallest standard value of %s: the leads and sockets already have as much", s.what, ohms(math.Max(0, s.exact)), ohms(smallestOhm))
	case s.exact > largestOhm:
		return fmt.Sprintf("%s would need %s, which is too much for a heater dropper", s.what, ohms(s.exact))
	}
	return ""
}

// slotChoices is how many ways a slot is filled: the standard value below, the one
// above, the nearest, a pair in series, a pair in parallel.
const slotChoices = 5

// choices gives the ways to fill the slot, in the order of slotChoices. off reports
// that the nearest single value misses by over 1 %, so that pairs are worth it;
// where no pair is nearer, its place holds the nearest single one.
func (s slot) choices(series string) (c [slotChoices]Choice, off bool, err error) {
	if s.bare {
		for k := range c {
			c[k] = Choice{For: s.what, Count: s.count, Label: "none", Ohms: []float64{}}
		}
		return c, false, nil
	}
	below, above, err := Neighbours(series, s.exact)
	if err != nil {
		return c, false, err
	}
	pairs, err := BestPairs(series, s.exact)
	if err != nil {
		return c, false, err
	}
	single := func(v float64) Choice {
		return Choice{For: s.what, Count: s.count, Label: ohms(v), Ohm: v, Ohms: []float64{v}}
	}
	if below == 0 {
		below = above
	}
	if above == 0 {
		above = below
	}
	near := below
	if math.Abs(above-s.exact) < math.Abs(near-s.exact) {
		near = above
	}
	c = [slotChoices]Choice{single(below), single(above), single(near), single(near), single(near)}
	if math.Abs(near-s.exact) <= nearValue*s.exact {
		return c, false, nil
	}
	for _, p := range pairs {
		if math.Abs(p.Ohm-s.exact) >= math.Abs(near-s.exact) {
			continue
		}
		pair := Choice{For: s.what, Count: s.count, Ohm: p.Ohm, Ohms: []float64{p.A, p.B}}
		if p.Parallel {
			pair.Label = ohms(p.A) + " ∥ " + ohms(p.B)
			c[4] = pair
		} else {
			pair.Label = ohms(p.A) + " + " + ohms(p.B)
			c[3] = pair
		}
	}
	return c, true, nil
}

func below(set []Choice, slots []slot) bool {
	for k, c := range set {
		if c.Ohm > slots[k].exact {
			return false
		}
	}
	return true
}

func sameOhms(slots []slot) bool {
	for _, s := range slots {
		if math.Abs(s.exact-slots[0].exact) > rounding*math.Abs(slots[0].exact) {
			return false
		}
	}
	return true
}

// seen is true when an equal set of choices stands in a column already.
func seen(columns [][]Choice, set []Choice) bool {
	for _, c := range columns {
		same := len(c) == len(set)
		for k := range set {
			same = same && c[k].Label == set[k].Label
		}
		if same {
			return true
		}
	}
	return false
}

// evaluate puts one set of resistors through every corner.
func (z sizing) evaluate(l layout, set []Choice) Part {
	share := make([]float64, len(set))
	p := Part{Set: append([]Choice(nil), set...)}
	for k, c := range set {
		share[k] = 1
		if len(c.Ohms) == 2 {
			p.Pair = true
			hi := math.Max(c.Ohms[0], c.Ohms[1])
			lo := math.Min(c.Ohms[0], c.Ohms[1])
			share[k] = hi / (hi + lo) // the larger in series, the smaller in parallel
		}
		p.Count += c.Count * len(c.Ohms)
	}
	l.heatShare = share
	p.layout, p.Label = l, setLabel(set)
	if sameChoice(set) {
		p.Ohm = set[0].Ohm
	}
	nominal := l.solve(z.supply, z.opt.Exponent, scenario{})
	worst := make([]float64, len(set))
	for _, sc := range z.spreads() {
		s := l.solve(z.supply, z.opt.Exponent, sc)
		for k, w := range s.partW {
			worst[k] = math.Max(worst[k], w)
		}
	}
	for k, w := range nominal.partW {
		c := &p.Set[k]
		if c.Ohm == 0 {
			continue
		}
		c.W, c.worstW = w, worst[k]
		c.BuyW = buyWatts(worst[k]/derated(z.opt.airC()), z.opt.DeratingX)
		p.TotalW += w / share[k] * float64(c.Count)
		p.W = math.Max(p.W, c.W)
		if c.BuyW == 0 {
			p.Warnings = append(p.Warnings, fmt.Sprintf("%s %s takes %s: no standard power rating is large enough", c.Label, c.For, watts(worst[k])))
		}
		p.BuyW = math.Max(p.BuyW, c.BuyW)
	}
	p.Corners = l.corners(z.supply, z.opt)
	p.Fuses = z.fuses(l)
	z.summarise(&p)
	p.FaultBuyW = faultWatts(p.FaultW, z.opt.airC())
	z.faults(&p)
	if w := z.seldomSold(p); w != "" {
		p.Warnings = append(p.Warnings, w)
	}
	hottestW := 0.0
	for k, c := range p.Set {
		if t := surface(worst[k], c.FitW, z.opt.airC()); t > p.SurfaceC {
			p.SurfaceC, hottestW = t, c.FitW
		}
	}
	if p.SurfaceC > touchC {
		p.Warnings = append(p.Warnings, fmt.Sprintf("surface about %.0f °C at the %s rating: too hot to touch, keep it clear of electrolytics, cables and plastic", p.SurfaceC, watts(hottestW)))
	}
	for k, c := range p.Set {
		if c.FaultW > c.BuyW && c.BuyW > 0 {
			p.Warnings = append(p.Warnings, z.faultWarning(p, k))
		}
	}
	p.Shopping = append(z.shopping(p), z.shunts(l)...)
	return p
}

// seldomSold warns of a power resistor in a fine series, "" where each is to be had.
func (z sizing) seldomSold(p Part) string {
	if fine := strings.ToUpper(strings.TrimSpace(z.opt.Series)); fine != "E48" && fine != "E96" {
		return ""
	}
	for _, c := range p.Set {
		for _, v := range c.Ohms {
			below, above, err := Neighbours("E24", v)
			if err != nil || c.FitW < powerW || v-below < rounding*v || above-v < rounding*v {
				continue // an E24 value too
			}
			return fmt.Sprintf("%s of %s: resistors of %g W and more are seldom sold in %s; see that you can buy it, or take --series E24 (common practice, no source)", ohms(v), watts(c.FitW), powerW, strings.ToUpper(z.opt.Series))
		}
	}
	return ""
}

// powerW is from where on resistors are sold in coarse series, E12 and E24 mostly.
const powerW = 3.0

// faults finds what a shorted heater puts into each resistor of the part, whose fuse
// is its own branch's, and the rating to fit for it.
func (z sizing) faults(p *Part) {
	l := p.layout
	for k, st := range l.strands {
		for j := range st.elems {
			s := l.hotShort(z.supply, z.opt, k, j)
			for i, w := range s.partW { // one shared, or one a strand
				if i == k || l.strandOhm == nil {
					p.Set[i].FaultW = math.Max(p.Set[i].FaultW, w)
				}
			}
		}
	}
	for k := range p.Set {
		c, f := &p.Set[k], p.Fuses[k]
		c.heldW = c.FaultW
		if most := fuseOpens * f.RatingA; most > 0 {
			c.heldW = math.Min(c.FaultW, most*most*c.Ohm*(1+z.opt.partTol())*l.heatShare[k])
		}
		c.FitW = z.fit(*c, f, 1, c.BuyW)
	}
}

// fit is the rating to fit of one of the choice's resistors, which takes the share of its
// hottest one's heat and buy by its own: more where that must stand what no fuse ends, or
// a short until the fuse opens.
func (z sizing) fit(c Choice, f Fuse, share, buy float64) float64 {
	if buy == 0 {
		return 0
	}
	fit := buy
	if !f.Sure {
		fit = math.Max(fit, faultWatts(share*c.heldW, z.opt.airC()))
	}
	return math.Max(fit, faultWatts(share*f.overloadW(c.FaultW), z.opt.airC()))
}

// faultWarning says what protects a resistor that a shorted heater overloads.
func (z sizing) faultWarning(p Part, k int) string {
	c, f := p.Set[k], p.Fuses[k]
	into := "it"
	if len(p.Set) > 1 {
		into = fmt.Sprintf("the %s of %s", c.Label, c.For)
	}
	s := fmt.Sprintf("a shorted heater puts %s into %s", watts(c.FaultW), into)
	survives := faultWatts(c.FaultW, z.opt.airC())
	if !f.Sure {
		stands := "no resistor of a sensible size survives that"
		if faultWatts(c.heldW, z.opt.airC()) > 0 {
			stands = fmt.Sprintf("fit the %s rating, which survives it", watts(c.FitW))
		}
		fuse := ", and no fuse value clears it: "
		if f.RatingA > 0 {
			fuse = fmt.Sprintf("; the fuse opens only where the supply gives %s or more, and up to %s stays on under that: ", amps(fuseOpens*f.RatingA), watts(c.heldW))
		}
		return s + fuse + stands + z.fusedApart(p) + "; or clamp a thermal cut-out to the resistor (common practice, no source)"
	}
	s += " until the fuse opens, within " + f.opensWithin()
	if z.supply.limit(leastLimit) == 0 {
		s += fmt.Sprintf(" where the supply gives %s or more (its rating is not given)", amps(fuseOpens*f.RatingA))
	}
	switch needs := f.overloadW(c.FaultW) / derated(z.opt.airC()); {
	case needs > c.FitW:
		s += ", which is more than it stands so long, so it may burn out first: mount it clear of anything that can catch fire"
		if survives > 0 {
			s += fmt.Sprintf(", or fit the %s rating, which survives it", watts(survives))
		}
	case c.FitW > c.BuyW:
		s += fmt.Sprintf(": fit the %s rating, which stands it that long", watts(c.FitW))
	}
	return s
}

// opensWithin words the time in which the fuse opens on the least short of its branch;
// the longest where that is not known.
func (f Fuse) opensWithin() string { return fuseTimes[f.step()].within }

// step is the place in fuseTimes of the least short of the fuse's branch.
func (f Fuse) step() int {
	at := 0
	for i, t := range fuseTimes {
		if f.ShortA >= t.times*f.RatingA {
			at = i
		}
	}
	return at
}

// spreads are the tolerance scenarios in which a part must stay cool.
func (z sizing) spreads() []scenario {
	var out []scenario
	for _, s := range []float64{0, z.supply.TolFrac, -z.supply.TolFrac} {
		for _, r := range []float64{0, z.opt.partTol(), -z.opt.partTol()} {
			for _, h := range []float64{0, 1, -1} {
				out = append(out, scenario{supply: s, part: r, heaters: h})
			}
		}
	}
	return out
}

// summarise draws the part's own figures from its corners.
func (z sizing) summarise(p *Part) {
	for i, c := range p.Corners {
		switch c.Kind {
		case KindNominal, KindSpread:
			if i == 0 {
				p.HeaterV, p.LoadA, p.ErrFrac = c.HeaterV, c.LoadA, c.RelErr
				p.WorstLow, p.WorstHigh = c.low, c.high
			}
			p.WorstLow, p.WorstHigh = math.Min(p.WorstLow, c.low), math.Max(p.WorstHigh, c.high)
			p.WorstW = math.Max(p.WorstW, c.PartW)
		case KindPulled:
			if c.AllOff {
				continue
			}
			over := c.OverLimit && c.RelErr > p.ErrFrac+rounding
			if p.PulledV == 0 || over && !p.PulledOver || over == p.PulledOver && c.RelErr > p.PulledErr {
				p.PulledV, p.PulledErr, p.PulledOver = c.HeaterV, c.RelErr, over
			}
		case KindLast:
			if c.OverLimit && !p.PulledOver {
				p.Warnings = append(p.Warnings, fmt.Sprintf("with %s, it gets %s (%s), over its limit: never power up with valves missing", c.Name, volts3(c.HeaterV), percent(c.RelErr)))
			}
		case KindShort:
			p.FaultW = math.Max(p.FaultW, c.PartW)
		}
	}
	if p.PulledOver {
		p.Overrun = overrun(p.PulledErr)
		p.Warnings = append(p.Warnings, p.pulledWarning())
	}
	z.pulledHigh(p)
	p.shortedInString()
}

// pulledHigh warns where a pulled valve takes another over its limit only with the
// supply at the high end of its tolerance.
func (z sizing) pulledHigh(p *Part) {
	if p.PulledOver || z.supply.TolFrac == 0 {
		return
	}
	high := scenario{supply: z.supply.TolFrac}
	allIn, _ := p.layout.solve(z.supply, z.opt.Exponent, high).hottest()
	var worst heaterAt
	name := ""
	for _, out := range p.layout.pulledOnes() {
		sc := out.sc
		sc.supply = high.supply
		h, ok := p.layout.solve(z.supply, z.opt.Exponent, sc).hottest()
		if ok && h.excess() > worst.excess() && h.relErr() > allIn.relErr()+sameHeater {
			worst, name = h, out.name
		}
	}
	if name == "" {
		return
	}
	p.pulledHigh = true
	p.Warnings = append(p.Warnings, fmt.Sprintf("with one %s pulled and the supply %g %% high, a remaining %s rises to %s (%s), over its limit",
		name, roundSig(100*z.supply.TolFrac, 3), worst.valve.Type, volts3(worst.volts), percent(worst.relErr())))
}

// shortedInString warns of a string in which a shorted heater leaves the others far
// more than they stand.
func (p *Part) shortedInString() {
	most := damagesOver
	var worst Corner
	for _, c := range p.Corners {
		if c.Kind == KindShort && c.OverLimit && c.RelErr > most && c.RelErr > p.ErrFrac+rounding {
			worst, most = c, c.RelErr
		}
	}
	if worst.Kind == KindShort {
		p.Warnings = append(p.Warnings, fmt.Sprintf("one shorted heater leaves %s (%s) across a %s of its string: %s (common practice, no source)",
			volts3(worst.HeaterV), percent(worst.RelErr), worst.Heater, overrun(worst.RelErr).Words()))
	}
}

// pulledWarning says what a pulled valve does to the rest.
func (p Part) pulledWarning() string {
	for _, c := range p.Corners {
		if c.Kind == KindPulled && c.OverLimit && c.RelErr == p.PulledErr {
			return fmt.Sprintf("with one %s, a remaining %s rises to %s (%s), over its limit: %s (common practice, no source)", c.Name, c.Heater, volts3(c.HeaterV), percent(c.RelErr), p.Overrun.Words())
		}
	}
	return ""
}

// bestPart picks the nearest single value, or the nearest pair when the single
// one leaves the heaters over 1 % from their rating; but where a pulled valve then
// takes another over its limit with the supply at its high end, the next value up that
// leaves every heater inside in all corners. -1 when there is none.
func bestPart(parts []Part) int {
	best := nearestPart(parts)
	if best < 0 || !parts[best].pulledHigh {
		return best
	}
	key, kinder := parts[best].choiceKey(), best
	for i, p := range parts {
		k := p.choiceKey()
		if k.pulled || k.pulledHigh || k.nominal || k.corners && !key.corners || p.ErrFrac < -kinderBy || p.Pair && !parts[best].Pair {
			continue
		}
		if kinder == best || math.Abs(p.ErrFrac) < math.Abs(parts[kinder].ErrFrac) {
			kinder = i
		}
	}
	return kinder
}

// kinderBy is how far under their rating heaters may be taken for a pulled valve's sake,
// well inside the 5 % that the tightest types stand (common practice, no source).
const kinderBy = 0.02

// nearestPart is bestPart with all valves in.
func nearestPart(parts []Part) int {
	best := -1
	for i, p := range parts {
		if !p.Pair && (best < 0 || math.Abs(p.ErrFrac) < math.Abs(parts[best].ErrFrac)) {
			best = i
		}
	}
	if best >= 0 && math.Abs(parts[best].ErrFrac) <= nearValue {
		return best
	}
	for i, p := range parts {
		if best < 0 || math.Abs(p.ErrFrac) < math.Abs(parts[best].ErrFrac) {
			best = i
		}
	}
	return best
}

func sameChoice(set []Choice) bool {
	for _, c := range set {
		if c.Label != set[0].Label {
			return false
		}
	}
	return true
}

// setLabel is "2.4 Ω" for a set of equal values, else every value with its
// place.
func setLabel(set []Choice) string {
	if sameChoice(set) {
		if set[0].Ohm == 0 {
			return set[0].Label
		}
		n := 0
		for _, c := range set {
			n += c.Count
		}
		if n == 1 {
			return set[0].Label
		}
		return countedLabel(n, set[0].Label)
	}
	var words []string
	for _, c := range set {
		label := countedLabel(c.Count, c.Label)
		if c.Ohm == 0 {
			label = c.Label
		}
		words = append(words, fmt.Sprintf("%s (%s)", label, strings.TrimPrefix(c.For, "each ")))
	}
	return strings.Join(words, ", ")
}

// countedLabel is "2 x 2.4 Ω", with a pair of values in brackets: "2 x (11 Ω + 10 Ω)".
func countedLabel(n int, label string) string {
	if n > 1 && strings.ContainsAny(label, "+∥") {
		label = "(" + label + ")"
	}
	return fmt.Sprintf("%d x %s", n, label)
}
