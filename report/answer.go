package report

import (
	"fmt"
	"slices"
	"strings"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// Answer is the finding in words, for the top of every output.
type Answer struct {
	Best     string   // which unit, and by how much
	Fit      string   // the dropper, or why none
	Common   string   // how much of the common-mode half is open; "" when nothing
	Fix      string   // what a near miss needs; "" when nothing
	Disputes []string // where limits and the hearing sum disagree, and which to believe
	Watch    []string // what weakens the finding
}

// sentences are the finding without what to watch, for outputs of plain text.
func (a Answer) sentences() []string {
	var out []string
	for _, s := range append([]string{a.Best, a.Common, a.Fit, a.Fix}, a.Disputes...) {
		if s != "" {
			out = append(out, s)
		}
	}
	return out
}

// Answer words the finding. It only reads the finished evaluation.
func (r *Report) Answer() Answer {
	var a Answer
	best := r.best()
	a.Best = r.bestWords(best)
	if best != nil {
		a.Fit = r.fitWords(best)
		if len(r.Units) > 1 { // another unit's dropper is another one
			a.Fit = "For " + isolate(shorten(unitName(best.Eval.Unit), 80)) + ": " + strings.ToLower(a.Fit[:1]) + a.Fit[1:]
		}
	}
	a.Common = r.commonWords()
	a.Fix = r.fixWords()
	a.Disputes = r.disputes()
	a.Watch = r.watchWords(best)
	return a
}

// best is the first passing unit, else the first that is not to be retaken,
// else nil.
func (r *Report) best() *Unit {
	for _, want := range []func(target.Verdict) bool{
		func(v target.Verdict) bool { return v == target.Pass },
		func(v target.Verdict) bool { return v != target.Retake },
	} {
		for i := range r.Units {
			if !r.Units[i].Eval.Aside && want(r.Units[i].Eval.Verdict) {
				return &r.Units[i]
			}
		}
	}
	return nil
}

func (r *Report) count(v target.Verdict) int {
	n := 0
	for i := range r.Units {
		if !r.Units[i].Eval.Aside && r.Units[i].Eval.Verdict == v {
			n++
		}
	}
	return n
}

// supplies is how many units there are, each counted once however many states of it
// were measured.
func (r *Report) supplies() int {
	n := 0
	for i := range r.Units {
		if !r.Units[i].Eval.Aside {
			n++
		}
	}
	return n
}

func (r *Report) bestWords(best *Unit) string {
	title := r.Target.Title
	if title == "" {
		title = r.Target.Name
	}
	passing := r.count(target.Pass)
	if len(r.Units) == 0 {
		return "The bench sheet names no unit."
	}
	if best == nil {
		return "No unit can be judged yet: every unit must be captured again (see the cautions)."
	}
	name := isolate(shorten(unitName(best.Eval.Unit), 80))
	m := worstMargin(&best.Eval)
	if m == nil {
		return fmt.Sprintf("%s comes first, but no criterion of the target could be measured on it.", name)
	}
	worst := fmt.Sprintf("%s, %s against %s", longName(m.Limit), figureText(m.Figure, m.Limit.Unit), limitText(m.Limit))
	switch best.Eval.Verdict {
	case target.Pass:
		sure := ""
		switch {
		case m.Figure.LowerBound:
			sure = "at most "
		case m.Figure.UpperBound:
			sure = "at least "
		}
		s := fmt.Sprintf("%s is the best of %s: it passes with %s%s to spare; closest to its limit is %s.",
			name, capture.Plural(r.supplies(), "unit"), sure, strings.TrimPrefix(dbText(m.DB), "+"), worst) + overloadWords(&best.Eval)
		if passing == 1 {
			return s + fmt.Sprintf(" It is the only one inside the target %q.", title) + halfWords(&best.Eval)
		}
		return s + fmt.Sprintf(" %d of %d pass the target %q.", passing, r.supplies(), title) + halfWords(&best.Eval)
	case target.Open:
		return fmt.Sprintf("No unit is proven yet. %s comes closest: everything measured is within the target %q, "+
			"but its captures don't cover every criterion.", name, title)
	default:
		over := strings.TrimLeft(dbText(m.DB), "+-") + " over"
		if m.AtLeast {
			over = "at least " + over
		}
		nearest := "comes closest"
		if r.count(target.Open)+r.count(target.Retake) > 0 {
			nearest = "comes closest of those judged"
		}
		return fmt.Sprintf("No unit passes the target %q. %s %s, %s: %s.",
			title, name, nearest, over, worst) + r.fittedWords() + r.undecidedWords()
	}
}

// overload is by how much a unit's label forbids the load, "" where it carries it.
func overload(e *target.Evaluation) string {
	for _, k := range e.Cautions {
		if k.Code == target.CautionOverloaded {
			return clean(k.Text)
		}
	}
	return ""
}

// overloadWords are the sentence about it beside a pass.
func overloadWords(e *target.Evaluation) string {
	if over := overload(e); over != "" {
		return " Even so, don't use it for these heaters: " + over + "."
	}
	return ""
}

// fittedWords names the best state of a unit that passes though the unit by itself
// does not: behind its filter or its dropper.
func (r *Report) fittedWords() string {
	for i := range r.Units {
		if e := &r.Units[i].Eval; e.Aside && e.Verdict == target.Pass {
			return fmt.Sprintf(" As fitted, %s passes.", isolate(shorten(unitName(e.Unit), 80)))
		}
	}
	return ""
}

// undecidedWords names the undecided unit that looks best as captured, where one
// is inside so far.
func (r *Report) undecidedWords() string {
	var best *Unit
	for i := range r.Units {
		e := &r.Units[i].Eval
		undecided := e.Verdict == target.Open || e.Verdict == target.Retake
		if undecided && e.Worst >= 0 && e.WorstDB >= 0 && (best == nil || e.WorstDB > best.Eval.WorstDB) {
			best = &r.Units[i]
		}
	}
	if best == nil {
		return r.undecidedByEye()
	}
	return fmt.Sprintf(" Undecided: %[2]s (%[3]s); going by its captures, it would pass by %[1]s.", strings.TrimLeft(dbText(best.Eval.WorstDB), "+-"),
		isolate(shorten(unitName(best.Eval.Unit), 80)), best.Eval.Verdict)
}

// undecidedByEye names the undecided unit that looks best on a screen or a meter,
// where none was captured well enough to be named; "" where nothing is undecided.
func (r *Report) undecidedByEye() string {
	var best *Unit
	bestDB := 0.0
	for i := range r.Units {
		e := &r.Units[i].Eval
		db, ok := e.ShownDB()
		if ok && e.Verdict == target.Open && db >= 0 && (best == nil || db > bestDB) {
			best, bestDB = &r.Units[i], db
		}
	}
	if best != nil {
		return fmt.Sprintf(" Undecided, but under the limit by %s as read off the screen: %s (%s).", strings.TrimLeft(dbText(bestDB), "+-"),
			isolate(shorten(unitName(best.Eval.Unit), 80)), best.Eval.Verdict)
	}
	if n := r.count(target.Open) + r.count(target.Retake); n > 0 {
		return fmt.Sprintf(" %s undecided.", areWord(n))
	}
	return ""
}

// areWord is "1 unit is" or "3 units are".
func areWord(n int) string {
	if n == 1 {
		return "1 unit is"
	}
	return capture.Plural(n, "unit") + " are"
}

// bestPart is the recommended dropper of a plan, nil when there is none.
func bestPart(p *heater.Plan) (*heater.Arrangement, *heater.Part) {
	if p == nil || p.Best < 0 || p.Best >= len(p.Arrangements) {
		return nil, nil
	}
	a := &p.Arrangements[p.Best]
	if a.Best < 0 || a.Best >= len(a.Parts) {
		return a, nil
	}
	return a, &a.Parts[a.Best]
}

// dropperText is "1.2 Ω, 2 W or more (one shared resistor)".
func dropperText(p *heater.Plan) string {
	a, part := bestPart(p)
	switch {
	case p == nil:
		return "not sized"
	case part == nil && p.Why != "":
		return "none: " + p.Why
	case part == nil:
		return "none"
	case p.Direct:
		return fmt.Sprintf("no dropper, connect directly (%s)", percentText(part.ErrFrac))
	case part.BuyW > 0:
		return fmt.Sprintf("%s, %s W or more (%s)", part.Label, trimNumber(part.FitW()), a.Name)
	default:
		return fmt.Sprintf("%s (%s)", part.Label, a.Name)
	}
}

// partText is "0.75 Ω, 2 W": the recommended part with the rating to fit, where it has
// one, and whether it is for heaters rewired in strings.
func partText(a *heater.Arrangement, p *heater.Part) string {
	s := clean(p.Label)
	if p.BuyW > 0 {
		s += ", " + buyText(p.FitW())
	}
	if a.Rewired != "" {
		s += ", heaters rewired in strings"
	}
	return s
}

func trimNumber(v float64) string { return string(appendNumber(nil, v, 3)) }

// NoPlanWords say why no dropper was sized for a unit, and what would let it be; "" where
// one was.
func (r *Report) NoPlanWords(u *Unit) string {
	volts := u.Eval.LoadedV
	switch {
	case u.Plan != nil:
		return ""
	case len(r.HeaterLoad.Groups) == 0:
		return "No dropper was sized: the sheet names no valves; list them under [heaters]."
	case u.Eval.Unit.State == target.BehindDropper:
		return "No dropper was sized: the unit was measured behind its dropper."
	case !volts.Known:
		return "No dropper was sized: the unit's volts at the heater load are not known; add a meter reading, or a DC-coupled capture."
	}
	return fmt.Sprintf("No dropper was sized: the unit's volts at the heater load read as %s, which no heater supply gives; correct the meter reading, or the capture's probe factor.", eng(volts.Value, "V"))
}

func (r *Report) fitWords(u *Unit) string {
	p := u.Plan
	if p == nil {
		return r.NoPlanWords(u)
	}
	a, part := bestPart(p)
	if part == nil {
		if p.Why != "" {
			return "No dropper fits: " + p.Why + "."
		}
		return "No dropper fits this unit and load."
	}
	s := fmt.Sprintf("Fit %s: the heaters get %.2f V at %s and the part dissipates %s.",
		dropperText(p), part.HeaterV, eng(part.LoadA, "A"), eng(part.W, "W"))
	if p.Direct {
		s = fmt.Sprintf("Connect the heaters directly: they get %.2f V (%s) at %s.", part.HeaterV, percentText(part.ErrFrac), eng(part.LoadA, "A"))
	}
	if a.Rewired != "" {
		s += " Rewire the heaters first, as " + clean(a.Rewired) + "; left as listed they would burn out behind it."
	}
	if part.FitW() > part.BuyW {
		until := heater.UnsureFault
		if !slices.ContainsFunc(part.Fuses, func(f heater.Fuse) bool { return !f.Sure }) {
			until = "until its fuse opens"
		}
		s += " The rating is for a shorted heater, " + until + "."
	}
	if p.ShareOfRated > 0 {
		of := "rated current"
		if limit := p.Supply.LimitA; limit > 0 && limit < p.Supply.RatedA {
			of = "current limit"
		}
		s += fmt.Sprintf(" The load takes %.0f %% of the supply's %s", 100*p.ShareOfRated, of)
		switch {
		case p.ShareOfRated > 1:
			s += ": it is overloaded."
		case !p.HeadroomOK:
			s += fmt.Sprintf(", over the %.0f %% rule: it will run hot.", 100*p.Options.HeadroomFrac)
		default:
			s += "."
		}
	}
	for _, i := range p.Insulation {
		if i.State == heater.InsulationOver {
			s += " " + clean(i.Words) + "."
		}
	}
	if over := overCorners(part); over != "" {
		s += " " + over
	}
	return s
}

// overCorners names the worst-case corners that leave the heater's tolerance.
func overCorners(p *heater.Part) string {
	var names []string
	for _, c := range p.Corners {
		if c.OverLimit {
			names = append(names, fmt.Sprintf("%s (%.2f V)", clean(c.Name), c.HeaterV))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "Over the heater's tolerance when: " + strings.Join(names, ", ") + "."
}

// fixWords names a near miss that a post-filter rescues; where none does, why
// not for the first near miss.
func (r *Report) fixWords() string {
	why := ""
	for i := range r.Units {
		u := &r.Units[i]
		if u.Eval.Verdict != target.NearMiss || u.Filter == nil {
			continue
		}
		start := fmt.Sprintf("%s misses by %s", isolate(shorten(unitName(u.Eval.Unit), 80)), strings.TrimLeft(dbText(u.Eval.WorstDB), "+-"))
		if u.Filter.Found {
			return start + "; a post-filter would bring it within its limits: " + clean(strings.Join(u.Filter.Best.Parts, ", ")) + "."
		}
		if u.Filter.Why != "" && why == "" {
			why = start + " and none of the post-filters tried brings it within its limits: " + clean(u.Filter.Why) + "."
		}
	}
	return why
}

func (r *Report) watchWords(best *Unit) []string {
	var w []string
	if best != nil {
		for _, c := range best.Eval.Cautions {
			if c.Code == target.CautionOverloaded { // said already
				continue
			}
			w = append(w, isolate(shorten(unitName(best.Eval.Unit), 80))+": "+clean(c.Text))
		}
		if best.Eval.WouldFlip != "" {
			w = append(w, isolate(shorten(unitName(best.Eval.Unit), 80))+": "+clean(best.Eval.WouldFlip))
		}
	}
	if s := r.directWords(); s != "" {
		w = append(w, s)
	}
	if n := r.count(target.Retake); n > 0 {
		w = append(w, capture.Plural(n, "unit")+" must be captured again before the ranking can be trusted.")
	}
	if n := r.count(target.Open); n > 0 {
		w = append(w, capture.Plural(n, "unit")+" undecided: captures don't cover every limit.")
	}
	for _, c := range r.Cautions {
		w = append(w, clean(c.Text))
	}
	switch all, without := r.baselines(); {
	case all == 0: // nothing was captured
	case without == all:
		w = append(w, "No baseline capture: the instrument's own noise is inside every figure.")
	case without > 0:
		w = append(w, fmt.Sprintf("No baseline for %d of %d captures: the instrument's own noise is inside their figures.", without, all))
	}
	return w
}

// directWords names the units whose volts leave no room for a dropper and need none; ""
// where there are none.
func (r *Report) directWords() string {
	var names []string
	for i := range r.Units {
		u := &r.Units[i]
		if u.Plan != nil && u.Plan.Direct && slices.ContainsFunc(u.Eval.Margins, func(m target.Margin) bool { return m.Limit.Direct && m.Covered && m.DB >= 0 }) {
			names = append(names, isolate(shorten(unitName(u.Eval.Unit), 80)))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return strings.Join(names, ", ") + ": the volts leave no room for a dropper and need none: connected directly the heaters stay inside their own limits in every worst case, and there is nothing to trim, so measure them at the warm socket."
}

// baselines counts the units' captures, and those among them without a baseline,
// neither the sheet's nor one of their own. Without captures both are 0.
func (r *Report) baselines() (all, without int) {
	for _, u := range r.Units {
		for _, c := range u.Captures {
			if c.M == nil {
				continue
			}
			all++
			if (r.Baseline == nil || r.Baseline.M == nil || r.Baseline.M.Mode != c.M.Mode) && len(c.M.Spectrum.BaselineVPerRtHz) == 0 {
				without++
			}
		}
	}
	return all, without
}

// InventedBanner marks a report of invented data.
const InventedBanner = "Invented data: brands, units and captures are made up to show the tool. Nothing here is evidence about any real supply."
