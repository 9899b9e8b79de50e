package filter

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// Options of a search. The zero value takes the documented defaults.
type Options struct {
	HeaterV      float64    // volts wanted at the heaters, 0: 6.3
	DropperOhm   float64    // the dropper that will be fitted, 0: the standard value nearest to what the unit's loaded volts, HeaterV and the heaters' current ask for
	DropperW     float64    // its rating to fit, 0: by its own heat
	DropperLabel string     // DropperOhm as it is bought where it is not one resistor, such as "1 Ω + 0.18 Ω in series"
	Series       string     // standard values of the dropper (IEC 60063), "": E24
	SourceOhm    float64    // supply's output and lead resistance, 0: the unit's output resistance where known
	SourceH      float64    // inductance of the lead from supply to filter, see LeadH; 0: none
	CSource      Capacitor  // the supply's own output capacitor, F 0: not known, and counted as none
	ReserveDB    float64    // margin asked of what was over its limit, 0: 3
	Catalogue    *Catalogue // parts to choose from, nil: DefaultCatalogue
}

// DefaultReserveDB covers a capacitor 20 % under its value (1.9 dB) and the
// scope's gain error.
const DefaultReserveDB = 3.0

// worstPeakDB is the resonance a candidate may have.
const worstPeakDB = 3.0

// How far estimates are trusted.
const (
	// leastTolDB is what rounding, the ends of the record and the knots of the gain may
	// add to the bound from below on the peak-to-peak.
	leastTolDB = 0.1
	// clearDB is how far inside the estimate must put the peak-to-peak for that bound not
	// to be asked for; the samples have the last word all the same.
	clearDB = 12.0
	// estimateErrorDB is what the estimate of spikes and ripple may promise too much.
	estimateErrorDB = 4.0
	// What it may promise too little: behind a coil the typical spike goes and others stay.
	lackErrorDB     = 8.0
	lackErrorCoilDB = 15.0
	// wavesAddDB is what a peak-to-peak may grow by beyond the gain.
	wavesAddDB = 4.0
	// learntErrorDB is what is left of either once a candidate of the topology was tried
	// on the samples and told how far the estimate is off for this unit.
	learntErrorDB = 4.0
	// doubtfulTries is how many candidates whose spikes or ripple the estimate puts short
	// are tried on the samples all the same.
	doubtfulTries = 8
	// A broken criterion that no estimate foretells counts as this short of its
	// limit, which sends the candidate to the samples where there are any.
	untriedDB = estimateErrorDB
)

// Search finds the cheapest part set (see CostOrder) that brings every
// criterion the unit breaks inside by the reserve, and none that it keeps out
// or under the reserve. Criteria not measured stay so. Candidates are judged on
// the spectral estimate; where traces are given, the choice is then confirmed
// on the filtered samples, which alone tell the peaks: a candidate that fails there
// is passed over. Of the peak-to-peak a part of the samples rules out what the rest
// could only make worse (leastPP); one whose spikes the estimate puts no further short
// than it may be off by gets its chance.
func Search(ctx context.Context, in Input, opt Options) (Advice, error) {
	a := Advice{UnitKey: in.Unit.Key, ReserveDB: opt.ReserveDB, CommonMode: commonMode(in)}
	if a.ReserveDB <= 0 {
		a.ReserveDB = DefaultReserveDB
	}
	before := target.Evaluate(in.Unit, in.Target)
	if !a.curable(before) {
		return a, nil
	}
	base, fit, trouble := circuitOf(in, before, opt)
	if trouble != "" {
		a.Why = trouble
		return a, nil
	}
	cat := DefaultCatalogue()
	if opt.Catalogue != nil {
		cat = *opt.Catalogue
	}
	in.work = newWorkspace()
	candidates := candidates(base, fit, cat)
	if len(candidates) == 0 {
		a.Why = "the catalogue has no parts to try"
		return a, nil
	}
	t := trials{in: in, before: before, reserveDB: a.ReserveDB, doubtful: doubtfulTries, closestShort: math.Inf(1),
		confirms: in.canConfirm(), promised: map[promise]float64{}}
	fits := map[Topology]int{}
	for _, c := range candidates {
		if err := ctx.Err(); err != nil {
			return a, err
		}
		if a.Found && (fits[c.Topology] > 0 || len(a.Others) >= mostOthers) || c.needlesslyDamped() {
			continue
		}
		r, ok, err := t.try(ctx, c)
		if err != nil {
			return a, err
		}
		if !ok {
			continue
		}
		fits[c.Topology]++
		if !a.Found {
			a.Found, a.Best = true, r
		} else {
			a.Others = append(a.Others, r)
		}
	}
	if a.Found {
		return a, nil
	}
	err := t.explain(ctx, &a)
	return a, err
}

// curable reports whether a filter may bring the unit inside, and says why not where
// none may.
func (a *Advice) curable(before target.Evaluation) bool {
	broken, common := 0, ""
	for _, m := range before.Margins {
		switch {
		case !m.Covered || m.DB >= 0:
		case m.Limit.Criterion == target.HeaterDC:
			a.Why = fmt.Sprintf("its volts under load (%.3g V) are outside the limits, which no filter can fix", m.Figure.Value)
			return false
		case m.Limit.Criterion.CommonMode(): // no filter across the output changes it
			common = m.Limit.Name
		default:
			broken++
		}
	}
	if common != "" {
		a.CommonMode = "its " + common + " is over the limit; it is the same on both wires, so no filter between them helps: try a common-mode choke in both leads close to the supply, another way of tying the heater to ground, or a supply with less capacitance to the mains"
	}
	switch {
	case broken > 0:
		return true
	case common != "":
		a.Why = a.CommonMode
	default:
		a.Why = "it is over no measured limit"
	}
	return false
}

// trials are the candidates tried on one unit.
type trials struct {
	in        Input
	before    target.Evaluation
	reserveDB float64
	confirms  bool // the samples that peaks need are at hand
	doubtful  int  // how many more of those whose spikes the estimate puts short may be tried on them

	promised map[promise]float64 // by how many dB the estimate was above the samples at the last try

	closest      Circuit // of those that fall short, and by how much in dB
	closestShort float64
	passedOver   []passedOver // not among the closest yet
}

// promise is what an estimate tells of candidates of one topology.
type promise struct {
	topology  Topology
	criterion target.Criterion
}

// passedOver is a candidate that an estimate of its worn parts ruled out, by how much they
// fall short in what was looked at.
type passedOver struct {
	c       Circuit
	shortDB float64
	far     extent
}

// try reports whether a candidate brings the unit inside, with what it leaves.
func (t *trials) try(ctx context.Context, c Circuit) (r Result, ok bool, err error) {
	// What the spectrum tells costs the least and rules out the most.
	if short := shortfallOf(noPeaks, t.before, t.estimate(c.worn(), sums).Evaluation, t.reserveDB); short > 0 {
		t.passedOver = append(t.passedOver, passedOver{c, short, sums})
		return r, false, nil
	}
	// The promise must stand parts as they age, and as they are new.
	worn := t.estimate(c.worn(), everything)
	wornShort := t.shortfall(worn)
	if t.hopeless(c, worn) {
		t.passedOver = append(t.passedOver, passedOver{c, wornShort, everything})
		return r, false, nil
	}
	fresh := t.estimate(c, everything)
	short := math.Max(wornShort, t.shortfall(fresh))
	if t.hopeless(c, fresh) {
		t.note(c, short)
		return r, false, nil
	}
	if _, db := peak(c); db > worstPeakDB {
		t.note(c, short)
		return r, false, nil // a resonance like that is no cure
	}
	if short > leastTolDB {
		t.doubtful--
	}
	if r, short, err = t.confirm(ctx, c, worn.Evaluation, fresh.Evaluation); err == nil && short > 0 {
		t.note(c, short)
	}
	return r, short <= 0, err
}

// hopeless reports whether an estimate rules a candidate out: by more than it may be off
// by, by what it tells as well as the samples do, or where nothing better can be had.
func (t *trials) hopeless(c Circuit, e estimate) bool {
	doubtful := false
	for i := range t.before.Margins {
		short := t.shortOf(i, e)
		if short <= 0 {
			continue
		}
		id := t.before.Margins[i].Limit.Criterion
		switch {
		case !t.confirms || noPeaks(id) || math.IsInf(short, 1):
			return true
		case id == target.RipplePP:
			if e.leastPP && short > leastTolDB {
				return true
			}
			doubtful = doubtful || !e.leastPP // the estimate alone is off by tens of dB behind a coil
		case !target.Foretold(id):
			doubtful = true
		default:
			off, learnt := t.promised[promise{c.Topology, id}]
			may := learntErrorDB - off
			if !learnt {
				if may = lackErrorDB; c.Topology != RC {
					may = lackErrorCoilDB
				}
			}
			if short > may {
				return true
			}
			doubtful = true
		}
	}
	return doubtful && t.doubtful <= 0
}

// shortOf is shortfall of one criterion.
func (t *trials) shortOf(i int, after estimate) float64 {
	return shortOf(t.before.Margins[i], after.Margins[i], t.reserveDB)
}

// noPeaks are the criteria that the estimate tells as well as the samples do.
func noPeaks(id target.Criterion) bool { return !target.RestsOnPeaks(id) }

// all are all criteria.
func all(target.Criterion) bool { return true }

// estimate is a unit behind a circuit as it is foretold.
type estimate struct {
	target.Evaluation
	leastPP bool // its peak-to-peak is the least that the samples show
}

// estimate judges the unit behind a circuit by its measurements and, where the samples are
// at hand and it matters, by the least that these show of the peak-to-peak.
func (t *trials) estimate(c Circuit, far extent) estimate {
	u := t.in.estimated(c, far)
	e := estimate{Evaluation: target.Evaluate(u, t.in.Target)}
	if far == sums || !t.confirms {
		return e
	}
	for i, m := range e.Margins {
		if m.Limit.Criterion == target.RipplePP && t.shortOf(i, e) > -clearDB && t.in.boundPP(u, c) {
			return estimate{target.Evaluate(u, t.in.Target), true}
		}
	}
	return e
}

// shortfall is that of all criteria.
func (t *trials) shortfall(e estimate) float64 {
	return shortfall(t.before, e.Evaluation, t.reserveDB)
}

// note keeps the candidate that falls short by the least.
func (t *trials) note(c Circuit, short float64) {
	if short < t.closestShort {
		t.closest, t.closestShort = c, short
	}
}

// explain says why no candidate does, by the closest one where it can be predicted.
func (t *trials) explain(ctx context.Context, a *Advice) error {
	slices.SortStableFunc(t.passedOver, func(a, b passedOver) int { return cmp.Compare(a.shortDB, b.shortDB) })
	for _, p := range t.passedOver {
		if p.shortDB >= t.closestShort {
			break // none of the rest is closer
		}
		if p.far == sums {
			p.shortDB = t.shortfall(t.estimate(p.c.worn(), everything))
		}
		if p.shortDB < t.closestShort {
			t.note(p.c, math.Max(p.shortDB, t.shortfall(t.estimate(p.c, everything))))
		}
	}
	if math.IsInf(t.closestShort, 1) {
		a.Why = "a figure over its limit is only a lower bound, so nothing can be predicted behind a filter: " + t.before.Why + "; capture it again with a faster timebase"
		return nil
	}
	if name := unforetold(t.before); name != "" {
		a.Why = name + " behind a filter can't be predicted from the measurement alone, only from the captures' samples"
		if t.confirms {
			a.Why = fmt.Sprintf("%s; the %d likeliest part sets were tried on them and none brings it within its limits, which does not rule out others",
				a.Why, doubtfulTries-t.doubtful)
		}
		return nil
	}
	r, err := Predict(ctx, t.in, t.closest)
	if err != nil {
		return err
	}
	a.Best = r
	a.Why = t.whyNone(r)
	return nil
}

// confirm predicts a candidate as new and worn, and gives by how much the worse of the
// two misses the reserve. wornAs and freshAs are the estimates of both.
func (t *trials) confirm(ctx context.Context, c Circuit, wornAs, freshAs target.Evaluation) (r Result, short float64, err error) {
	worn := wornAs
	ppFirst := t.ppBroken() // the peak-to-peak of worn parts, which takes little time and fails the most
	if ppFirst {
		if worn, short, err = t.wornPP(ctx, c); err != nil || short > 0 {
			return r, short, err
		}
	}
	if r, err = Predict(ctx, t.in, c); err != nil {
		return r, 0, err
	}
	t.learn(c.Topology, freshAs, r.After)
	if short = shortfall(t.before, r.After, t.reserveDB); short > 0 {
		return r, short, nil
	}
	if !ppFirst && !t.settledPP(c, r.After) {
		if worn, short, err = t.wornPP(ctx, c); err != nil || short > 0 {
			return r, short, err
		}
	}
	if !t.settledWorn(worn, freshAs, r.After) {
		if worn, err = t.evaluate(ctx, c.worn(), allPeaks); err != nil {
			return r, 0, err
		}
	}
	r.WornDB, r.WornKnown = math.Inf(1), false
	for i, b := range t.before.Margins {
		if m := worn.Margins[i]; b.Covered && b.DB < 0 && m.Covered {
			r.WornDB, r.WornKnown = math.Min(r.WornDB, m.DB), true
		}
	}
	if !r.WornKnown {
		r.WornDB = 0
	}
	return r, shortfall(t.before, worn, t.reserveDB), nil
}

// wornPP evaluates the unit behind worn parts with the peak-to-peak as measured, and gives
// by how much it falls short in what is told that way.
func (t *trials) wornPP(ctx context.Context, c Circuit) (worn target.Evaluation, short float64, err error) {
	if worn, err = t.evaluate(ctx, c.worn(), peakToPeak20); err != nil {
		return worn, 0, err
	}
	sure := func(id target.Criterion) bool { return id == target.RipplePP || noPeaks(id) }
	return worn, shortfallOf(sure, t.before, worn, t.reserveDB), nil
}

// learn keeps how far the estimate of spikes and ripple was off the samples.
func (t *trials) learn(topology Topology, as, got target.Evaluation) {
	for i, m := range got.Margins {
		if id := m.Limit.Criterion; !noPeaks(id) && m.Covered && as.Margins[i].Covered {
			t.promised[promise{topology, id}] = as.Margins[i].DB - m.DB
		}
	}
}

// evaluate judges the unit behind a circuit.
func (t *trials) evaluate(ctx context.Context, c Circuit, deep depth) (target.Evaluation, error) {
	b, err := t.in.behind(ctx, c, deep)
	if err != nil {
		return target.Evaluation{}, err
	}
	return target.Evaluate(b.unit, t.in.Target), nil
}

// ppBroken reports whether the peak-to-peak is to be mended.
func (t *trials) ppBroken() bool {
	return slices.ContainsFunc(t.before.Margins, func(m target.Margin) bool {
		return m.Covered && m.DB < 0 && m.Limit.Criterion == target.RipplePP
	})
}

// settledPP reports whether the peak-to-peak behind worn parts is known well enough by the
// one that the samples gave behind new ones: it grows by no more than the gain does where
// that grows the most, but for what waves add up to otherwise.
func (t *trials) settledPP(c Circuit, fresh target.Evaluation) bool {
	for i, b := range t.before.Margins {
		if b.Limit.Criterion != target.RipplePP || !b.Covered {
			continue
		}
		if m := fresh.Margins[i]; !m.Covered || m.DB-wearDB(c)-wavesAddDB < asked(b, t.reserveDB) {
			return false
		}
	}
	return true
}

// wearDB is the most that a circuit's gain rises anywhere as its parts wear, in dB.
func wearDB(c Circuit) float64 {
	most, worn := 0.0, c.worn()
	for i := 0; i <= curvePoints*curveDecades; i++ {
		hz := math.Pow(10, float64(i)/curvePoints)
		most = math.Max(most, DB(Insertion(worn, hz))-DB(Insertion(c, hz)))
	}
	return most
}

// settledWorn reports whether the peaks behind worn parts are known well enough without
// measuring spikes and ripple there: those in question were inside ahead of the filter,
// and the estimate, held against what the samples gave for new parts, leaves more than
// it may be off by. worn holds the peak-to-peak as measured; freshAs is the estimate for
// new parts and fresh what the samples gave.
func (t *trials) settledWorn(worn, freshAs, fresh target.Evaluation) bool {
	for i, b := range t.before.Margins {
		id := b.Limit.Criterion
		if !b.Covered || !target.RestsOnPeaks(id) || id.CommonMode() || id == target.RipplePP {
			continue
		}
		w, est, got := worn.Margins[i], freshAs.Margins[i], fresh.Margins[i]
		if b.DB < 0 || !w.Covered || !est.Covered || !got.Covered {
			return false
		}
		if w.DB-math.Max(est.DB-got.DB, 0)-estimateErrorDB < asked(b, t.reserveDB) {
			return false
		}
	}
	return true
}

// mostVolts is the most that the supply is known to show, unloaded mostly:
// readings, the line through them, and the label.
func mostVolts(u target.Unit, loadedV float64) float64 {
	most := math.Max(loadedV, u.RatedV)
	for _, r := range u.Readings {
		most = math.Max(most, r.V)
	}
	if r := target.OutputResistance(u.Readings); r.Known && r.Value > 0 {
		most = math.Max(most, loadedV+r.Value*u.HeaterA)
	}
	return most
}

// circuitOf gives the circuit without its filter parts, and the dropper.
func circuitOf(in Input, before target.Evaluation, opt Options) (c Circuit, fit dropper, trouble string) {
	heaterV, amps := opt.HeaterV, in.Unit.HeaterA
	if heaterV <= 0 {
		heaterV = defaultHeaterV
	}
	if amps <= 0 {
		return c, fit, "the heaters' current is not known, so neither is the dropper; list the valves"
	}
	c.SourceOhm, c.SourceH, c.CSource = opt.SourceOhm, opt.SourceH, opt.CSource
	if c.SourceOhm <= 0 && before.OutputOhm.Known {
		c.SourceOhm = math.Max(0, before.OutputOhm.Value)
	}
	c.LoadOhm, c.RatingW = heaterV/amps, opt.DropperW
	fit = dropper{ohm: opt.DropperOhm, label: opt.DropperLabel, series: opt.Series, loadA: amps}
	if fit.series == "" {
		fit.series = "E24"
	}
	if fit.ohm > 0 {
		return c, fit, ""
	}
	if !before.LoadedV.Known {
		return c, fit, "the DC under load is not known, so neither is the dropper; take a meter reading"
	}
	fit.ohm, fit.label = fit.nearest((before.LoadedV.Value-heaterV)/amps), ""
	if fit.ohm <= 0 {
		return c, fit, fmt.Sprintf("%.3g V leaves no drop for a filter above %.3g V", before.LoadedV.Value, heaterV)
	}
	return c, fit, ""
}

// dropper is the resistance that stands between supply and heaters anyway.
type dropper struct {
	ohm    float64
	label  string // as it is bought, "" for one resistor
	series string // of standard values
	loadA  float64
}

// dropperTol is the usual tolerance of a power resistor.
const dropperTol = 0.05

// beside is what to fit in series with a coil of the given resistance: the
// dropper itself where the coil adds less than its tolerance, else the standard
// value nearest to what the coil leaves of it, 0 for none.
func (d dropper) beside(dcrOhm float64) (ohm float64, label string) {
	if dcrOhm <= dropperTol*d.ohm {
		return d.ohm, d.label
	}
	return d.nearest(d.ohm - dcrOhm), ""
}

// nearest is the standard value nearest to ohm; 0 when a piece of wire is nearer.
func (d dropper) nearest(ohm float64) float64 {
	below, above, err := heater.Neighbours(d.series, ohm)
	switch {
	case err != nil: // a series that no plan takes
		return math.Max(0, ohm)
	case above > 0 && above-ohm < ohm-below:
		return above
	}
	return below
}

// candidates in order of cost, with a damped one for every coil whether it rings or not
// (see needlesslyDamped).
func candidates(base Circuit, fit dropper, cat Catalogue) []Circuit {
	var list []Circuit
	// A short ceramic stands beside every bulk capacitor that it helps.
	add := func(c Circuit) {
		helped := false
		for _, small := range cat.Bypass {
			bulk := c.C1
			if c.Topology == CLC {
				bulk = c.C2
			}
			if small.F*bypassTimes < bulk.F && small.ESLH < bulk.ESLH {
				c.CFilm, helped = small, true
				list = append(list, c)
			}
		}
		if !helped {
			list = append(list, c)
		}
	}
	for _, bulk := range cat.Bulk {
		c := base
		c.Topology, c.ROhm, c.RLabel, c.C1 = RC, fit.ohm, fit.label, bulk
		add(c)
		for _, coil := range cat.Coils {
			if coil.DCROhm > fit.ohm || coil.RatedA > 0 && coilReserve*fit.loadA > coil.RatedA {
				continue // the coil alone would drop too much, or saturate
			}
			c := base
			c.L, c.C1 = coil, bulk
			c.ROhm, c.RLabel = fit.beside(coil.DCROhm)
			c.Topology = LC
			add(c)
			c.Topology, c.C2 = CLC, bulk
			add(c)
		}
	}
	for _, c := range list {
		if c.Topology != RC {
			list = append(list, damped(c))
		}
	}
	slices.SortStableFunc(list, func(a, b Circuit) int { return cmp.Compare(a.cost(), b.cost()) })
	return list
}

// damped adds the usual damping across the output: a resistor of about the
// characteristic impedance √(L/C), in series with at least four times the
// capacitance so that it is there at the resonance (Middlebrook's rule of thumb,
// from memory). Standard values of E12 and E3 (IEC 60063).
func damped(c Circuit) Circuit {
	out := c.C1.F
	if c.Topology == CLC {
		out = c.C2.F
	}
	wanted := math.Sqrt(c.L.H / out)
	c.CDamp = dampingCapacitor(wanted, out)
	c.DampOhm = 0
	if ohm := wanted - c.CDamp.ESROhm; ohm >= leastDampOhm {
		e12, _ := heater.ESeries("E12") // a name that it knows
		c.DampOhm = standard(ohm, e12, false)
	}
	return c
}

// leastDampOhm is the least resistance that is fitted to damp: with less to add, the
// capacitor's own ESR does it.
const leastDampOhm = 0.08

// dampingCapacitor is the least standard electrolytic that damps a resonance which wants
// so many ohms across a capacitor of so many farads: several times as great, and with an
// ESR that leaves room for the ohms.
func dampingCapacitor(wantedOhm, farads float64) Capacitor {
	for f := standard(dampTimes*farads, []float64{10, 22, 47}, true); ; f = standard(1.01*f, []float64{10, 22, 47}, true) {
		if c, err := NewCapacitor(Electrolytic, f); err != nil || c.ESROhm <= dampTol*wantedOhm || f > mostDampF {
			return c
		}
	}
}

// A damping branch may have a fifth more resistance than it wants, which raises the peak
// by less than a decibel; larger capacitors than the other are on no bench.
const (
	dampTol   = 1.2
	mostDampF = 10e-3
)

// needlesslyDamped reports whether the circuit without its damping would do as well.
func (c Circuit) needlesslyDamped() bool {
	if c.CDamp.F == 0 {
		return false
	}
	c.CDamp, c.DampOhm = Capacitor{}, 0
	_, db := peak(c)
	return db <= worstPeakDB
}

// standard is the member of a series nearest to v in ratio, or the least not
// below it. series holds one decade from 10.
func standard(v float64, series []float64, up bool) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(v))-1)
	best, bestErr := math.NaN(), math.Inf(1)
	for _, scale := range []float64{decade / 10, decade, decade * 10} {
		for _, m := range series {
			x := m * scale
			if up && x < v*(1-rounding) {
				continue
			}
			if e := math.Abs(math.Log(x / v)); e < bestErr {
				best, bestErr = x, e
			}
		}
	}
	return best
}

// estimated is the unit with every measurement scaled by the circuit.
func (in Input) estimated(c Circuit, far extent) target.Unit {
	u := in.Unit
	u.Captures = nil
	for _, m := range in.Unit.Captures {
		if m.Mode == capture.Differential { // what both wires carry together a filter across them leaves
			m = in.work.ahead(m).behind(c, far)
		}
		u.Captures = append(u.Captures, m)
	}
	return u
}

// shortfall is by how many dB the worst criterion misses what is asked of it,
// 0 or less when all is met. Broken criteria must gain the reserve; kept ones
// must not fall below it unless they stood there before.
func shortfall(before, after target.Evaluation, reserveDB float64) float64 {
	return shortfallOf(all, before, after, reserveDB)
}

// shortfallOf is shortfall of the criteria that count.
func shortfallOf(counts func(target.Criterion) bool, before, after target.Evaluation, reserveDB float64) float64 {
	worst := math.Inf(-1)
	for i, b := range before.Margins {
		if counts(b.Limit.Criterion) {
			worst = math.Max(worst, shortOf(b, after.Margins[i], reserveDB))
		}
	}
	return worst
}

// shortOf is by how many dB a criterion misses what is asked of it behind a filter; -Inf
// where nothing is.
func shortOf(before, after target.Margin, reserveDB float64) float64 {
	id := before.Limit.Criterion
	switch {
	case !before.Covered || id == target.HeaterDC || id.CommonMode():
		return math.Inf(-1)
	case after.Covered:
		return asked(before, reserveDB) - after.DB
	case !target.Foretold(id) && before.DB >= 0:
		return math.Inf(-1) // stays open, as what was not measured ahead does
	case !target.Foretold(id):
		return untriedDB
	}
	return math.Inf(1) // a lower bound that fell below its limit proves nothing
}

// asked is the margin in dB that a criterion must have behind a filter.
func asked(before target.Margin, reserveDB float64) float64 {
	if before.DB >= 0 {
		return math.Min(reserveDB, before.DB-0.1)
	}
	return reserveDB
}

// unforetold names a broken criterion whose figure behind a filter no estimate
// gives, "" when there is none.
func unforetold(before target.Evaluation) string {
	for _, m := range before.Margins {
		if m.Covered && m.DB < 0 && !target.Foretold(m.Limit.Criterion) {
			return m.Limit.Name
		}
	}
	return ""
}

// whyNone names what keeps the closest candidate from being enough, by taking
// the parts' faults away one at a time.
func (t *trials) whyNone(r Result) string {
	worst, short := "", 0.0
	for i, b := range t.before.Margins {
		if by := t.shortOf(i, estimate{Evaluation: r.After}); by > short {
			worst, short = b.Limit.Name, by
		}
	}
	text := ""
	switch {
	case math.IsInf(short, 1):
		text = fmt.Sprintf("behind the closest (%s) %s can't be told", r.Circuit.Topology, worst)
	case short > 0:
		text = fmt.Sprintf("the closest (%s) leaves %s %.1f dB short of the margin aimed for", r.Circuit.Topology, worst, short)
	case r.PeakDB > worstPeakDB:
		text = fmt.Sprintf("the closest (%s) raises noise by %.1f dB at its resonance", r.Circuit.Topology, r.PeakDB)
	default:
		text = fmt.Sprintf("the closest (%s) would do with new parts and not with worn ones (ESR doubled, capacitance down by 20 %%)", r.Circuit.Topology)
	}
	for _, v := range []struct {
		change func(*Capacitor)
		reason string
	}{
		{func(p *Capacitor) { p.ESLH = 0 }, "the capacitors' series inductance (ESL): without it, the set would do; shorter leads or several ceramics in parallel come closer"},
		{func(p *Capacitor) { p.ESROhm = 0 }, "the capacitors' series resistance (ESR): without it, the set would do; several in parallel, or polymers, come closer"},
		{func(p *Capacitor) { p.ESLH, p.ESROhm = 0, 0 }, "the capacitors' ESR and ESL together: ideal capacitors would do"},
		{func(p *Capacitor) { p.F *= 10 }, "too little capacitance: ten times as much would do, more than such a supply usually starts with"},
	} {
		c := r.Circuit
		for _, p := range []*Capacitor{&c.C1, &c.C2, &c.CFilm} {
			v.change(p)
		}
		if t.shortfall(t.estimate(c, everything)) <= 0 {
			return text + "; what limits is " + v.reason
		}
	}
	return text + "; not even ideal capacitors would do: use another supply, or a linear regulator"
}

// commonMode is advice that no calculation backs.
func commonMode(in Input) string {
	for _, m := range in.Unit.Captures {
		if s := m.Spikes; m.Mode == capture.Differential && s.Count > 0 && s.PeakP95V.Known {
			ring := ""
			if s.RingHz.Known {
				ring = fmt.Sprintf(" (they ring at %s)", target.HzText(s.RingHz.Value))
			}
			return "spikes" + ring + " mostly leave a switch-mode supply as common mode, the same on both wires, so no filter between them helps: a common-mode choke (a few turns of both leads through a ferrite core, close to the supply) is worth trying; a capture across the output can't show how much it will do"
		}
	}
	return ""
}
