package heater

import (
	"fmt"
	"math"
	"strings"
)

// Defaults of Options, stated in every plan.
const (
	defaultExponent = 0.6
	defaultPartTol  = 0.05
	defaultHeadroom = 0.8
	defaultCold     = 6
	defaultDerating = 2
	defaultAmbientC = 25
	defaultSeries   = "E24"
)

// Of directly heated valves, from memory: a filament is up in a second or two, and
// one of thoriated tungsten runs so hot that its resistance grows about tenfold.
const (
	filamentWarmUpS = 1.0
	thoriatedCold   = 10
)

// forFilament gives the options left at zero what suits a directly heated valve.
func (o Options) forFilament(load Load) Options {
	if len(load.Groups) != 1 || !load.Groups[0].Valve.Filament { // one has company nowhere, see checkFilaments
		return o
	}
	if o.WarmUpS == 0 {
		o.WarmUpS = filamentWarmUpS
	}
	if o.ColdRatio == 0 && load.Groups[0].Valve.Thoriated {
		o.ColdRatio = thoriatedCold
	}
	return o
}

// MakePlan sizes the dropper for a load on a supply and puts every arrangement
// through its corners. A supply that is too low gives a plan with CanFeed false
// and Why, not an error, and one over extra-low voltage a plan that is Refused;
// input that means nothing gives an *InputError.
func MakePlan(load Load, supply Supply, opt Options) (Plan, error) {
	opt, err := opt.forFilament(load).withDefaults()
	if err != nil {
		return Plan{}, err
	}
	if err := supply.check(); err != nil {
		return Plan{}, err
	}
	load, err = load.checked()
	if err != nil {
		return Plan{}, err
	}
	z := newSizing(load, load.strands(), supply, opt)
	p := Plan{Load: load, Supply: supply, Options: opt, NominalA: z.nominalA, AvailableV: z.availV, Best: -1}
	p.LowA, p.HighA = z.spreadA()
	p.headroom()
	z.starts = newStarts(opt)
	if why := supply.refuse(); why != "" {
		p.Refused, p.Why, p.Warnings = true, why, []string{why}
		p.Assumptions = p.assumptions(true)
		return p, nil
	}
	p.CanFeed = z.availV >= load.Volts*(1-feedSlack) || !load.Mixed() && z.directInside() || load.Mixed() && z.bare(z.highest())
	switch limit := supply.LimitA; {
	case !p.CanFeed:
		p.Why = z.whyNot()
	case limit > 0 && limit < z.nominalA:
		p.CanFeed, p.Why = false, fmt.Sprintf("it limits at %s and the heaters draw %s: its volts would fall until they draw no more", amps(limit), amps(z.nominalA))
	}
	if p.Arrangements, err = z.arrangements(); err != nil {
		return Plan{}, err
	}
	p.choose(z)
	p.Direct = p.Best >= 0 && p.Arrangements[p.Best].Name == NameNone
	p.dynamics(z)
	p.split(z)
	p.alternatives(z)
	p.warn()
	p.insulation()
	p.beware()
	p.hint()
	p.Assumptions = p.assumptions(true)
	return p, nil
}

// warmUpOver is the relative excess during warm-up that is worth a warning. Up
// to 50 % was held tolerable for series chains ("Controlled Warm-up Times for TV
// Series Heater Chains", a maker's journal of 1963, read in a public copy); 15 %
// is where a builder should know.
const warmUpOver = 0.15

// mostSafeV is the end of extra-low voltage on DC in dry conditions, 60 V (IEC
// 61140, from memory). Above it lie mains and high voltage, from which no heater
// is fed through a resistor here.
const mostSafeV = 60

// refuse says why no plan is made at all from such a supply.
func (s Supply) refuse() string {
	if open := s.Volts + s.AtA*s.OutputOhm; open > mostSafeV {
		return fmt.Sprintf("refused: %s is over %d V DC, where touch is dangerous; a dropper must never feed heaters from mains or high voltage; take an isolated supply of a few volts more than the heaters'", volts(open), mostSafeV)
	}
	return ""
}

// directInside is true where the supply straight on leaves every heater inside
// its own tolerance.
func (z sizing) directInside() bool {
	n := layout{strands: z.strands}.solve(z.supply, z.opt.Exponent, scenario{})
	for _, h := range n.heaters {
		if math.Abs(h.relErr()) > h.valve.VoltTol+limitSlack {
			return false
		}
	}
	return len(n.heaters) > 0
}

// DownTo is the least supply volts, in place of the plan's own, that still leave every
// heater inside its limits in every worst case, connected directly in the end; ok is false
// where the plan's recommendation leaves one outside them as it is.
func (p *Plan) DownTo() (volts float64, ok bool) {
	if p.Best < 0 {
		return 0, false
	}
	part, tol := p.best(), 1.0
	for _, g := range p.Load.Groups {
		tol = math.Min(tol, g.Valve.VoltTol)
	}
	for _, c := range part.Corners {
		if (c.Kind == KindNominal || c.Kind == KindSpread) && (c.OverLimit || c.UnderLimit) {
			return 0, false
		}
	}
	straight := p.Arrangements[len(p.Arrangements)-1].Parts[0]
	return p.Supply.Volts * math.Min(1, (1-tol)/(1+straight.WorstLow)), true // heaters of fewer volts draw less
}

// highest is the strand of the most volts.
func (z sizing) highest() int {
	most := 0
	for k, st := range z.strands {
		if st.volts() > z.strands[most].volts() {
			most = k
		}
	}
	return most
}

// directOver is the excess over the rating that is not worth a resistor, where
// every corner stays comfortable.
const directOver = 0.02

// nearNominal is the share of the nominal volts that nobody trims for.
const nearNominal = 0.01

// feedSlack lets a 6.3 V supply feed 6.3 V heaters in spite of rounding.
const feedSlack = 1e-3

// airC is the air around the dropper in °C, partTol the resistors' tolerance.
func (o Options) airC() float64    { return orUsual(o.AmbientC, defaultAmbientC) }
func (o Options) partTol() float64 { return orUsual(o.PartTol, defaultPartTol) }

func orUsual(told *float64, usual float64) float64 {
	if told == nil {
		return usual
	}
	return *told
}

func (o Options) withDefaults() (Options, error) {
	air, part := o.airC(), o.partTol() // copies: the caller's own stay as they are
	o.AmbientC, o.PartTol = &air, &part
	for _, told := range []struct {
		name          string
		value, lo, hi float64
	}{
		{"resistor tolerance", part, 0, 0.5},
		{"ambient temperature in °C", air, -40, 100},
	} {
		if err := inRange(told.name, told.value, told.lo, told.hi); err != nil {
			return o, err
		}
	}
	for _, d := range []struct {
		name          string
		value         *float64
		usual, lo, hi float64
	}{
		{"heater exponent", &o.Exponent, defaultExponent, 0.3, 1},
		{"headroom share", &o.HeadroomFrac, defaultHeadroom, 0.1, 1},
		{"hot to cold resistance ratio", &o.ColdRatio, defaultCold, 1.5, 20},
		{"derating factor", &o.DeratingX, defaultDerating, 1, 10},
		{"heater warm-up time in seconds", &o.WarmUpS, usualWarmUpS, 0.5, 120},
	} {
		if *d.value == 0 {
			*d.value = d.usual
		}
		if err := inRange(d.name, *d.value, d.lo, d.hi); err != nil {
			return o, err
		}
	}
	if o.Series == "" {
		o.Series = defaultSeries
	}
	_, err := ESeries(o.Series)
	return o, err
}

// check refuses a supply that means nothing.
func (s Supply) check() error {
	for _, c := range []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"supply volts", s.Volts, 1e-3, maxVolts},
		{"load current of the supply's volts", s.AtA, 0, 1000},
		{"output resistance in ohms", s.OutputOhm, 0, 1000},
		{"lead resistance in ohms", s.LeadOhm, 0, 1000},
		{"filter resistance in ohms", s.FilterOhm, 0, 1000},
		{"supply tolerance", s.TolFrac, 0, 0.5},
		{"rated amps", s.RatedA, 0, 1000},
		{"current limit in amps", s.LimitA, 0, 1000},
	} {
		if err := inRange(c.name, c.v, c.lo, c.hi); err != nil {
			return err
		}
	}
	return nil
}

// spreadA is the least and the most that the heaters draw together at their rated
// volts, by the spread of their currents.
func (z sizing) spreadA() (low, high float64) {
	for k, st := range z.strands {
		spread := 0.0 // a string draws between its least and most willing heaters
		for _, e := range st.elems {
			spread = math.Max(spread, e.valve.AmpTol)
		}
		low += float64(st.count) * z.strandA[k] * (1 - spread)
		high += float64(st.count) * z.strandA[k] * (1 + spread)
	}
	return low, high
}

// headroom holds the heaters' highest sum against the supply's rating.
func (p *Plan) headroom() {
	if p.Supply.RatedA == 0 {
		p.Headroom = "the supply's rated current is not given: not checked"
		return
	}
	rated, what := p.Supply.RatedA, "the rated "+amps(p.Supply.RatedA)
	if limit := p.Supply.LimitA; limit > 0 && limit < rated { // it never gives what its label says
		rated, what = limit, fmt.Sprintf("the %s at which it limits, less than its rated %s", amps(limit), amps(rated))
	}
	p.ShareOfRated = p.HighA / rated
	p.HeadroomOK = p.ShareOfRated <= p.Options.HeadroomFrac
	rule := fmt.Sprintf("the %.0f %% rule", 100*p.Options.HeadroomFrac)
	share := fmt.Sprintf("%s (heaters at their highest current) is %.0f %% of %s", amps(p.HighA), 100*p.ShareOfRated, what)
	switch {
	case p.HeadroomOK:
		p.Headroom = share + ", within " + rule
	case p.ShareOfRated <= 1:
		p.Headroom = share + ", under the rating but over " + rule + ": it will run hot; use a larger supply"
	default:
		p.Headroom = share + ": overloaded, use a larger supply"
	}
}

// whyNot says why the supply can't feed the load, and what it would do.
func (z sizing) whyNot() string {
	losses := z.nominalA * (z.supply.OutputOhm + z.supply.LeadOhm + z.supply.FilterOhm)
	s := fmt.Sprintf("%s is less than %s", volts(z.supply.Volts+z.supply.AtA*z.supply.OutputOhm), volts(z.load.Volts))
	if losses >= lossesTold {
		s += fmt.Sprintf(" plus %s lost on the way (supply, leads, filter)", volts3(losses))
	}
	n := layout{strands: z.strands}.solve(z.supply, z.opt.Exponent, scenario{})
	if w, ok := n.worst(); ok && !z.load.Mixed() {
		inside := "inside"
		if math.Abs(w.relErr()) > w.valve.VoltTol {
			inside = "outside"
		}
		s += fmt.Sprintf("; connected directly, the %s would get %s (%s, %s its ±%.0f %%)", w.valve.Type, volts3(w.volts), percent(w.relErr()), inside, 100*w.valve.VoltTol)
	}
	return s
}

// choiceKey is what arrangements are compared by, in the order of the fields.
type choiceKey struct {
	pulled, nominal, corners bool    // heaters outside their limits, and when
	pulledHigh               bool    // a pulled valve takes one over with the supply at its high end
	bulk                     int     // how large a part it takes only to stand a shorted heater
	excursion                float64 // relative, in steps of 1 %
	parts                    int
}

// worse reports whether a is a worse choice than b.
func (a choiceKey) worse(b choiceKey) bool {
	switch {
	case a.pulled != b.pulled:
		return a.pulled
	case a.nominal != b.nominal:
		return a.nominal
	case a.corners != b.corners:
		return a.corners
	case a.pulledHigh != b.pulledHigh:
		return a.pulledHigh
	case a.bulk != b.bulk:
		return a.bulk > b.bulk
	case a.excursion != b.excursion:
		return a.excursion > b.excursion
	}
	return a.parts > b.parts
}

func (part Part) choiceKey() choiceKey {
	k := choiceKey{pulled: part.PulledOver, pulledHigh: part.pulledHigh, bulk: part.bulk(), parts: part.Count}
	for j, c := range part.Corners {
		if j == 0 {
			k.nominal = c.OverLimit || c.UnderLimit
		}
		if c.Kind == KindSpread {
			k.corners = k.corners || c.OverLimit || c.UnderLimit
		}
	}
	k.excursion = math.Round(100 * part.oddExcursion())
	return k
}

// bulkyW is the rating, of all resistors together, from which on they are large, bulkyStep
// the ratio from which on one set is larger than another, and fewValves how many valves may
// have a resistor and a fuse each rather than one large part for all.
const (
	bulkyW    = 10.0
	bulkyStep = 1.5
	fewValves = 4
	bulkiest  = 100
)

// bulk grades how large the part must be only to stand a shorted heater, 0: not at all.
// No diode is taken for its size, and straight on the short is the supply's alone.
func (part Part) bulk() int {
	valves := 0
	for _, st := range part.layout.strands {
		for _, e := range st.elems {
			valves += st.count * e.mult
		}
	}
	if valves > fewValves {
		return 0
	}
	if len(part.Set) == 0 { // diodes, or none
		return bulkiest
	}
	total := 0.0
	for _, c := range part.Set {
		total += float64(c.Count*len(c.Ohms)) * c.FitW
	}
	if total < bulkyW || part.FitW() <= part.BuyW {
		return 0
	}
	return 1 + int(math.Log(total/bulkyW*(1+rounding))/math.Log(bulkyStep))
}

// choose picks the arrangement: first that no pulled valve harms the rest, then
// that the nominal point and the tolerance corners are inside the heaters'
// limits, then that no pulled valve harms the rest at the supply's highest volts
// either, then that no large resistor is needed only for a short, then the least
// excursion, then the fewest parts.
func (p *Plan) choose(z sizing) {
	if !p.CanFeed {
		return
	}
	var best choiceKey
	for i, a := range p.Arrangements {
		if a.Best < 0 {
			continue
		}
		if k := a.Parts[a.Best].choiceKey(); p.Best < 0 || best.worse(k) {
			p.Best, best = i, k
		}
	}
	if p.Best < 0 {
		return
	}
	if last := len(p.Arrangements) - 1; p.Best != last { // no dropper stands last
		switch none := p.Arrangements[last].Parts[0]; {
		case none.ErrFrac <= directOver && p.comfortable(none):
			p.Best, best = last, choiceKey{}
		case none.addsNothing(p.best()):
			p.Best, best = last, none.choiceKey()
		}
	}
	p.sayChoice(best)
	if p.Best < 0 && z.unevenString() {
		p.BestWhy += ": a string shares its volts unevenly even at its rated volts, which no dropper and no regulator ahead of it mends; fit the shunt that is named"
	}
}

// unevenString reports whether a string leaves a heater outside its limits even at the
// string's own rated volts.
func (z sizing) unevenString() bool {
	for _, st := range z.strands {
		if !st.string {
			continue
		}
		for _, h := range (layout{strands: []strand{st}}).solve(Supply{Volts: st.volts()}, z.opt.Exponent, scenario{}).heaters {
			if h.excess() != 0 {
				return true
			}
		}
	}
	return false
}

// addsNothing reports whether connecting directly is as good as the part: its nominal point
// is near enough, and its corners lie no further out. A resistor that takes off less than
// its own tolerance makes of the heaters is no dropper.
func (none Part) addsNothing(part Part) bool {
	out := func(p Part) float64 { return math.Max(p.WorstHigh, -p.WorstLow) }
	return math.Abs(none.ErrFrac) <= nearNominal && out(none) <= out(part)+nearNominal && (!none.PulledOver || part.PulledOver)
}

// sayChoice words why the best arrangement is it, or takes it back.
func (p *Plan) sayChoice(best choiceKey) {
	a := p.Arrangements[p.Best]
	part := a.Parts[a.Best]
	switch {
	case best.nominal:
		p.Best = -1
		p.BestWhy = "no arrangement brings every heater inside its limits"
	case best.pulled:
		p.BestWhy = "every arrangement takes a heater over its limit when a valve is pulled: never pull one under power"
	case best.corners && a.Name == NameNone:
		p.BestWhy = fmt.Sprintf("the tolerances reach %s to %s, and without a dropper there is nothing to trim: measure the warm heaters, and where one is outside its limits take a supply of about %s with a dropper",
			percent(part.WorstLow), percent(part.WorstHigh), volts(p.Load.Volts+nextSupplyV))
	case best.corners:
		nominal := "nominal volts are right"
		if math.Abs(part.ErrFrac) > nearNominal {
			c := part.Corners[0]
			nominal = fmt.Sprintf("at nominal values the %s gets %s (%s), inside its limits", c.Heater, volts3(c.HeaterV), percent(c.RelErr))
		}
		p.BestWhy = fmt.Sprintf("%s, but the tolerances reach %s to %s: measure and trim", nominal, percent(part.WorstLow), percent(part.WorstHigh))
	default:
		p.BestWhy = fmt.Sprintf("every worst case within %s to %s, and no pulled valve takes another over its limit", percent(part.WorstLow), percent(part.WorstHigh))
		if part.pulledHigh {
			p.BestWhy += " at the supply's nominal volts"
		}
	}
	if p.Best >= 0 && a.Rewired != "" {
		p.BestWhy = "rewire the heaters first, as " + a.Rewired + "; " + p.BestWhy
	}
	if p.Best >= 0 && a.Name == NameNone {
		p.BestWhy = fmt.Sprintf("connect directly, %s; %s", percent(part.ErrFrac), p.BestWhy)
	}
}

// dynamics adds the first instant and the warm-up of the recommended dropper.
func (p *Plan) dynamics(z sizing) {
	l := layout{strands: z.strands}
	straight := l.solve(z.supply, z.opt.Exponent, scenario{cold: z.opt.ColdRatio, straight: true})
	p.ColdNoDropA = straight.totalA
	p.ColdA = straight.totalA
	if p.Best >= 0 {
		a := p.Arrangements[p.Best]
		l = a.Parts[a.Best].layout
		p.ColdA = l.solve(z.supply, z.opt.Exponent, scenario{cold: z.opt.ColdRatio}).totalA
	}
	p.WarmUp = l.warmUp(z.supply, z.opt)
	p.ColdRides = p.coldWords()
}

// coldWords says whether the supply rides the first instant: by the current at which
// it is told to limit, else by its rating.
func (p *Plan) coldWords() string {
	s, first := p.Supply, amps(p.ColdA)+" at the first instant"
	at := "at the rating"
	if s.LimitA > 0 {
		at = "there"
	}
	held := fmt.Sprintf("a supply that holds its current %s never brings the heaters up", at)
	if p.WarmUp.HeldTo99S > 0 {
		held = fmt.Sprintf("a supply that holds its current %s takes %.0f s to 99 %% instead of %.0f s", at, p.WarmUp.HeldTo99S, p.WarmUp.To99S)
		if math.Round(p.WarmUp.HeldTo99S) == math.Round(p.WarmUp.To99S) {
			held = fmt.Sprintf("a supply that holds its current %s still takes %.0f s to 99 %%", at, p.WarmUp.HeldTo99S)
		}
	}
	const retries = ", and one that shuts down and retries may never start; try it with cold heaters, and where it does not start take a larger supply, or an NTC thermistor for the heaters' current in series, whose hot resistance is a part of the dropper and whose heat wants the same distance (common practice, no source)"
	switch share := p.ColdA / math.Max(s.RatedA, 1e-9); {
	case s.LimitA > 0 && p.ColdA > s.LimitA:
		return fmt.Sprintf("%s is over the %s at which it limits: %s%s", first, amps(s.LimitA), held, retries)
	case s.LimitA > 0 && s.RatedA > 0 && share > 1:
		return fmt.Sprintf("%s is over the rated %s but within the %s at which it limits: it starts", first, amps(s.RatedA), amps(s.LimitA))
	case s.LimitA > 0:
		return fmt.Sprintf("%s is within the %s at which it limits: it starts", first, amps(s.LimitA))
	case s.RatedA == 0:
		return first + "; not judged, the supply's rated current is not given"
	case share <= 1:
		return fmt.Sprintf("%s is within the rated %s: it starts", first, amps(s.RatedA))
	case share <= ridesOut:
		return fmt.Sprintf("%s is %.1f times the rating: most supplies tolerate that; %s; try it with cold heaters", first, share, held)
	default:
		return fmt.Sprintf("%s is %.1f times the rating: %s%s", first, share, held, retries)
	}
}

// split lists the volts of each heater of the strings, and what would balance
// one that shares badly.
func (p *Plan) split(z sizing) {
	l := layout{strands: z.strands}
	for _, i := range []int{p.Best, 0} { // without a recommendation, behind the shared resistor
		if i >= 0 && p.Arrangements[i].Best >= 0 {
			l = p.Arrangements[i].Parts[p.Arrangements[i].Best].layout
			break
		}
	}
	if !l.hasString() {
		return
	}
	s := l.solve(z.supply, z.opt.Exponent, scenario{})
	for _, h := range s.heaters {
		st := l.strands[h.strand]
		if !st.string {
			continue
		}
		c := Corner{Name: st.name, Kind: KindNominal, Heater: h.valve.Type, HeaterV: h.volts, RelErr: h.relErr(), LoadA: s.branchA[h.strand]}
		c.OverLimit = c.RelErr > h.valve.VoltTol+limitSlack
		c.UnderLimit = c.RelErr < -h.valve.VoltTol-limitSlack
		p.StringSplit = append(p.StringSplit, c)
	}
	for _, st := range z.strands {
		most := 0.0
		for _, e := range st.elems {
			most = math.Max(most, e.amps(e.v0))
		}
		for _, e := range st.elems {
			if most-e.amps(e.v0) < shuntShare*most {
				continue
			}
			ohm, w := e.v0/(most-e.i0), e.v0*(most-e.i0)
			below, above, err := Neighbours(z.opt.Series, ohm)
			if err != nil || below == 0 || above == 0 {
				continue
			}
			near := below
			if above-ohm < ohm-below {
				near = above
			}
			instead := ""
			if e.shuntOhm > 0 {
				instead = ", instead of the " + ohms(e.shuntOhm) + " there,"
			}
			p.Warnings = append(p.Warnings, fmt.Sprintf("%s: heaters of unequal current share its volts unevenly, the smaller takes more: a shunt of %s (%s, %s rating) across each %s%s takes up the difference (%s@string/%g, in a sheet shunt_ohm = %g), or give it a resistor of its own outside the string",
				st.name, ohms(ohm), ohms(near), watts(buyWatts(w, z.opt.DeratingX)), e.valve.Type, instead, e.valve.Type, near, near))
		}
	}
}

// shuntShare is the relative difference of heater currents in one string from
// which a shunt is proposed.
const shuntShare = 0.03

// warn gathers what must not be missed.
func (p *Plan) warn() {
	if !p.CanFeed {
		p.Warnings = append(p.Warnings, "this supply can't feed the load: "+p.Why)
	}
	if limit := p.Supply.LimitA; limit > 0 && limit < p.Supply.RatedA && p.HeadroomOK {
		p.Warnings = append(p.Warnings, fmt.Sprintf("it limits at %s, less than its rated %s: one of the two is not this supply's", amps(limit), amps(p.Supply.RatedA)))
	}
	if p.Supply.RatedA > 0 && !p.HeadroomOK {
		p.Warnings = append(p.Warnings, p.Headroom)
	}
	if limit := p.Supply.LimitA; p.CanFeed && limit > 0 && limit < p.HighA {
		p.Warnings = append(p.Warnings, fmt.Sprintf("heaters at their highest current draw %s, and the supply limits at %s: its volts then fall; use a larger supply", amps(p.HighA), amps(limit)))
	}
	for _, a := range p.Arrangements {
		if a.Name == NameShared && a.Best >= 0 && a.Parts[a.Best].PulledOver {
			p.Warnings = append(p.Warnings, "one shared resistor, "+a.Parts[a.Best].Label+": "+a.Parts[a.Best].pulledWarning())
		}
	}
	if p.CanFeed && p.Load.Mixed() {
		lowest := p.Load.Rails[len(p.Load.Rails)-1]
		harm := "is overheated"
		if overrun(p.Load.Volts/lowest-1) == OverrunBurns {
			harm = "burns out"
		}
		p.Warnings = append(p.Warnings, fmt.Sprintf("heaters of %s on one supply: each needs the resistor that is named for it; mark sockets and resistors, since a heater of %s in another's place %s (common practice, no source)", p.Load.railWords(), volts(lowest), harm))
	}
	if p.Best >= 0 && p.Arrangements[p.Best].Rewired != "" {
		what := p.best().Label
		if p.best().Ohm == 0 && p.best().Count == 0 {
			what = "this supply without a resistor"
		}
		p.Warnings = append(p.Warnings, fmt.Sprintf("%s is for heaters rewired as %s: heaters left as listed would burn out behind it", what, p.Arrangements[p.Best].Rewired))
	}
	if w := p.WarmUp; p.CanFeed && w.PeakRelErr > warmUpOver {
		p.Warnings = append(p.Warnings, fmt.Sprintf("during warm-up the %s rises to %s (%s): a string's quicker heater takes more than its share until the others are hot", w.PeakHeater, volts3(w.PeakV), percent(w.PeakRelErr)))
	}
	if p.Load.Volts >= seriesRailV && p.Best >= 0 && p.CanFeed {
		for _, g := range p.Load.Groups {
			if g.Wiring == Series {
				p.Warnings = append(p.Warnings, fmt.Sprintf("%s in series: a valve whose halves differ splits the %s unevenly", g.Valve.Type, volts(2*g.Valve.Volts)))
				break
			}
		}
	}
}

// hintFilter tells how a resistor for each valve and a filter go together.
func (p *Plan) hintFilter() {
	shared, ok := p.Shared()
	if p.Best < 0 || p.Arrangements[p.Best].Name != namePerValve || p.best().layout.valves() < 2 || !ok {
		return
	}
	s := fmt.Sprintf("with a resistor for each valve no valve moves another's volts, and a capacitor across each heater, at its socket, makes a filter of its resistor; a post-filter ahead of all heaters takes the one shared resistor instead, %s", shared.Label)
	if shared.PulledOver || shared.pulledHigh {
		s += ", and then no valve may be pulled under power"
	}
	p.Hints = append(p.Hints, s)
}

// hintOneRail tells how heaters of several rails would share one, so that one resistor
// or one regulator feeds all.
func (p *Plan) hintOneRail() {
	rails := p.Load.Rails
	for _, rail := range []float64{rails[len(rails)-1], rails[0]} {
		if how, ok := p.Load.rewiredFor(rail); ok {
			p.Hints = append(p.Hints, fmt.Sprintf("with %s all share a rail of %s, and one resistor or regulator feeds them all", strings.Join(how, " and "), volts(rail)))
		}
	}
}

// rewiredFor says which groups another wiring brings to the rail; ok is false where one
// can't be.
func (l Load) rewiredFor(rail float64) (how []string, ok bool) {
	for _, g := range l.Groups {
		v, name := g.Valve.Volts, g.Valve.Type
		n := float64(g.Count)
		switch {
		case g.Wiring == Parallel && sameVolts(v, rail), g.Wiring == Series && sameVolts(2*v, rail):
		case g.Wiring == Series && sameVolts(v, rail):
			how = append(how, fmt.Sprintf("the %s in parallel (%dx%s@parallel)", name, g.Count, name))
		case g.Wiring == Parallel && g.Valve.CentreTapped && sameVolts(2*v, rail):
			how = append(how, fmt.Sprintf("the %s in series (%dx%s@series)", name, g.Count, name))
		case g.Wiring == Parallel && g.Count > 1 && sameVolts(n*v, rail):
			how = append(how, fmt.Sprintf("the %s in one string (%dx%s@string)", name, g.Count, name))
		default:
			return nil, false
		}
	}
	return how, len(how) > 0
}

// hintString tells where equal heaters one after the other take the supply's volts
// as they are, though these are a little less than the string's own: 12 V for two of
// 6.3 V.
func (p *Plan) hintString(g Group) {
	n := int(math.Round(p.Supply.Volts / g.Valve.Volts))
	off := p.Supply.Volts/(float64(n)*g.Valve.Volts) - 1
	told := p.AvailableV >= float64(n)*g.Valve.Volts // with its resistor, see rewire
	if told || g.Wiring != Parallel || g.Valve.CentreTapped || n < 2 || g.Count%n != 0 || math.Abs(off) > g.Valve.VoltTol/2 {
		return
	}
	p.Hints = append(p.Hints, fmt.Sprintf("the %s can also stand %d in a string (%dx%s@string): %s instead of %s of this supply, and connected directly each gets %s (%s); put valves of equal measured heater current into a string",
		g.Valve.Type, n, n, g.Valve.Type, amps(float64(g.Count/n)*g.Valve.Amps), amps(float64(g.Count)*g.Valve.Amps), volts(roundSig(p.Supply.Volts/float64(n), 3)), percent(off)))
}

// hint tells where centre-tapped heaters wired for 12.6 V would suit the supply
// better: half the current, and less or nothing to drop.
func (p *Plan) hint() {
	if p.Load.Mixed() {
		p.hintOneRail()
		return
	}
	p.hintFilter()
	for _, g := range p.Load.Groups {
		p.hintString(g)
		if !g.Valve.CentreTapped || g.Wiring != Parallel {
			continue
		}
		high := 2 * g.Valve.Volts
		if p.Supply.Volts < high*(1-g.Valve.VoltTol/2) {
			continue
		}
		what := fmt.Sprintf("%s less to drop", volts(g.Valve.Volts))
		if p.Supply.Volts < high*(1+g.Valve.VoltTol/2) {
			what = fmt.Sprintf("connected directly it gets %s (%s)", volts(p.Supply.Volts), percent(p.Supply.Volts/high-1))
		}
		p.Hints = append(p.Hints, fmt.Sprintf("the %s can also be wired for %s at %s (%s@series): half the current, and %s", g.Valve.Type, volts(high), amps(g.Valve.Amps/2), g.Valve.Type, what))
	}
}
