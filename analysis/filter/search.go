package filter

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

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
	Others       int        // part sets of other topologies that are named beside the best, at most; 0: mostOthers
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
	fits, others := map[Topology]int{}, cmp.Or(opt.Others, mostOthers)
	for _, c := range candidates {
		if err := ctx.Err(); err != nil {
			return a, err
		}
		if a.Found && (fits[c.Topology] > 0 || len(a.Others) >= others) || c.needlesslyDamped() {
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
