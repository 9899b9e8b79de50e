package report

import (
	"fmt"
	"html/template"
	"math"
	"reflect"
	"slices"
	"strings"

	"stillglow/analysis/heater"
)

// planView is a unit's heater plan on the page.
type planView struct {
	Words, BestWhy      string
	Rows                []pair   // headroom, cold start, warm-up
	Warnings, Hints     []string // of the whole plan
	Arrangements        []arrangementView
	Arrangement, Exact  string
	Parts               []partView
	Part                string // the part to fit
	Corners, Split      []cornerView
	CornerNotes         []string // numbered, as the corners refer to them
	Notes               []string // of the recommended arrangement and part
	Others, Assumptions []string

	Alternatives []alternativeView
	MarkNote     string   // explains the signs, "" where there are none
	Better       string   // which way is the better engineering
	Shopping     []string // all there is to buy
	Protection   []string // fuses and heater-cathode limits, or why there are none
	Sketch       template.HTML

	LikeName string // of a large bench: the unit ahead whose plan is the same, "" where it stands here
	LikeAt   int    // its position
}

// shortened leaves a plan's tables and sketch to the unit ahead whose plan is the
// same. What warns stays.
func (v planView) shortened(like unitView) *planView {
	v.LikeName, v.LikeAt = like.Name, like.Position
	v.Arrangements, v.Parts, v.Corners, v.Split, v.CornerNotes = nil, nil, nil, nil, nil
	v.Others, v.Assumptions, v.Sketch = nil, nil, ""
	return &v
}

// samePlan reports whether two plans read the same but for the sketch, which names
// its unit.
func samePlan(a, b *planView) bool {
	x, y := *a, *b
	x.Sketch, y.Sketch = "", ""
	return reflect.DeepEqual(x, y)
}

// alternativeView is one way of feeding the heaters other than a dropper.
type alternativeView struct {
	What   string
	Better bool
}

// arrangementView is one way of dropping with its recommended part.
type arrangementView struct {
	Name, Fit, Volts, Corners, Pulled, Watts, Buy, Surface, Ripple string
	Best, Over                                                     bool
}

type partView struct {
	Label, Volts, Error, Corners, Pulled, Amps, Watts, Buy, Surface string
	Best, Over                                                      bool
}

type cornerView struct {
	Name, Heater, Volts, Error, Amps, Watts, Verdict string
	Bad                                              bool
	Note                                             int // number of its note, 0 none
}

type cornerTable struct {
	Label, Caption string
	Rows           []cornerView
}

// CornerTable is the worst cases of the part to fit.
func (v *planView) CornerTable(unit string) cornerTable {
	return cornerTable{"Worst cases of the dropper for " + unit, "Worst cases with " + v.Part, v.Corners}
}

// SplitTable is how series strings share their volts.
func (v *planView) SplitTable(unit string) cornerTable {
	return cornerTable{"Volts within the strings for " + unit, "How the heaters of a string share its volts", v.Split}
}

func planWords(u *Unit) *planView {
	p := u.Plan
	if p == nil {
		return nil
	}
	best, part := bestPart(p)
	v := &planView{Words: planAnswer(p, part), BestWhy: sentence(p.BestWhy), Rows: planRows(p),
		Warnings: sentences(p.Warnings), Hints: sentences(p.Hints), Assumptions: cleanAll(p.Assumptions)}
	for i := range p.Arrangements {
		a := &p.Arrangements[i]
		v.Arrangements = append(v.Arrangements, arrangementRow(a, a == best))
		if a != best {
			v.Others = append(v.Others, warningsOf(a)...)
		}
	}
	if best == nil {
		v.mark()
		return v
	}
	v.Arrangement, v.Exact = clean(best.Name), clean(best.Exact)
	if v.Exact == "" && best.ExactOhm > 0 {
		v.Exact = eng(best.ExactOhm, "Ω")
	}
	for i := range best.Parts {
		x := &best.Parts[i]
		v.Parts = append(v.Parts, partView{Label: clean(x.Label), Volts: heaterVolts(x.HeaterV), Error: percentText(x.ErrFrac), Corners: spreadText(x),
			Pulled: pulledText(x), Amps: eng(x.LoadA, "A"), Watts: heatText(x.W), Buy: buyText(x.FitW()), Surface: surfaceText(x.SurfaceC),
			Best: x == part, Over: x.PulledOver})
	}
	v.Notes = append(v.Notes, sentences(best.Warnings)...)
	if part != nil {
		v.Notes = append(v.Notes, sentences(part.Warnings)...)
		v.Part = clean(part.Label)
		v.Corners = v.cornerViews(part.Corners)
	}
	v.fitting(u, part)
	if best.RippleHint != "" {
		v.Notes = append(v.Notes, sentence("ripple: "+clean(best.RippleHint)))
	}
	v.Split = v.cornerViews(p.StringSplit)
	v.mark()
	return v
}

// planAnswer says what to fit, and what the heaters draw.
func planAnswer(p *heater.Plan, part *heater.Part) string {
	words := "Fit " + dropperText(p) + "."
	switch {
	case part == nil:
		words = "No dropper: " + orText(clean(p.Why), "none fits this unit and load") + "."
	case p.Direct:
		words = fmt.Sprintf("Fit no dropper: connect directly, %s.", percentText(part.ErrFrac))
	}
	if p.NominalA > 0 {
		words += fmt.Sprintf(" The heaters draw %s (%s to %s with their spread).", eng(p.NominalA, "A"), eng(p.LowA, "A"), eng(p.HighA, "A"))
	}
	return words
}

// planRows are headroom, cold start and warm-up, as far as they are known.
func planRows(p *heater.Plan) []pair {
	headroom := p.Headroom
	if headroom == "" && p.ShareOfRated > 0 {
		headroom = fmt.Sprintf("%.0f %% of the rated current at most", 100*p.ShareOfRated)
	}
	if headroom != "" && p.ShareOfRated > 0 && !p.HeadroomOK {
		headroom = "▲ too little: " + headroom
	}
	rows := []pair{{"headroom", clean(headroom)}}
	if p.CanFeed {
		cold := p.ColdRides
		if p.ColdNoDropA > 0 && !p.Direct {
			cold = joinNonEmpty("; ", cold, "without a dropper "+eng(p.ColdNoDropA, "A"))
		}
		rows = append(rows, pair{"cold start", clean(cold)}, pair{"warm-up", clean(warmUpWords(p.WarmUp))})
	}
	return slices.DeleteFunc(rows, func(row pair) bool { return row.V == "" })
}

// warningsOf are an arrangement's warnings and its recommended part's, each with
// the arrangement's name.
func warningsOf(a *heater.Arrangement) []string {
	all := slices.Clone(a.Warnings)
	if a.Best >= 0 && a.Best < len(a.Parts) {
		all = append(all, a.Parts[a.Best].Warnings...)
	}
	for i, s := range all {
		all[i] = clean(a.Name) + ": " + clean(s)
	}
	return all
}

// mark puts signs in place of "from memory" and "common practice, no source", and
// explains them once.
func (v *planView) mark() {
	for _, list := range []*[]string{&v.Warnings, &v.Hints, &v.CornerNotes, &v.Notes, &v.Others, &v.Assumptions, &v.Shopping, &v.Protection} {
		*list = markedAll(*list)
		v.MarkNote += MarkNote(*list...)
	}
	for i := range v.Rows {
		v.Rows[i].V = Marked(v.Rows[i].V)
		v.MarkNote += MarkNote(v.Rows[i].V)
	}
	for i := range v.Alternatives {
		v.Alternatives[i].What = Marked(v.Alternatives[i].What)
		v.MarkNote += MarkNote(v.Alternatives[i].What)
	}
	v.MarkNote = MarkNote(v.MarkNote)
}

// fitting adds what to buy, what protects it, how it is wired and what else
// would feed the heaters.
func (v *planView) fitting(u *Unit, part *heater.Part) {
	p := u.Plan
	for _, a := range p.Alternatives {
		v.Alternatives = append(v.Alternatives, alternativeView{sentence(a.What), a.Better})
	}
	v.Better = sentence(p.Better)
	if part == nil {
		return
	}
	for _, i := range part.Shopping {
		v.Shopping = append(v.Shopping, clean(i.Text()))
	}
	if u.Filter != nil && u.Filter.Found {
		v.Shopping = append(v.Shopping, "with the post-filter, in place of the resistor above: "+clean(strings.Join(u.Filter.Best.Parts, "; ")))
	}
	for _, f := range part.Fuses {
		v.Protection = append(v.Protection, sentence(fmt.Sprintf("fuse, %s: %s", f.For, f.Why)))
	}
	for _, i := range p.Insulation {
		v.Protection = append(v.Protection, sentence(i.Words))
	}
	v.Sketch = template.HTML(wiringInline(p, u.Filter, unitName(u.Eval.Unit))) // escaped where it is drawn
}

func arrangementRow(a *heater.Arrangement, best bool) arrangementView {
	v := arrangementView{Name: clean(a.Name), Best: best}
	if a.Best < 0 || a.Best >= len(a.Parts) {
		return v
	}
	x := &a.Parts[a.Best]
	v.Fit, v.Volts, v.Corners, v.Pulled, v.Over = clean(x.Label), heaterVolts(x.HeaterV), spreadText(x), pulledText(x), x.PulledOver
	v.Watts, v.Buy, v.Surface = heatText(x.W), buyText(x.FitW()), surfaceText(x.SurfaceC)
	if x.W > 0 && a.RippleDB != 0 {
		v.Ripple = dbText(a.RippleDB)
	}
	return v
}

func heaterVolts(v float64) string {
	if v >= 99.995 {
		return fmt.Sprintf("%.1f V", v)
	}
	return fmt.Sprintf("%.2f V", v)
}

// percentText is a relative error in percent, without a "-0.0".
func percentText(frac float64) string {
	if math.Abs(frac) < 0.0005 {
		return "0.0 %"
	}
	return fmt.Sprintf("%+.1f %%", 100*frac)
}

// spreadText is the heater's least and greatest error over all tolerances.
func spreadText(p *heater.Part) string {
	if p.WorstLow == 0 && p.WorstHigh == 0 {
		return ""
	}
	return fmt.Sprintf("%+.1f to %+.1f %%", 100*p.WorstLow, 100*p.WorstHigh)
}

// pulledText is the highest heater volts with any one valve out.
func pulledText(p *heater.Part) string {
	switch {
	case len(p.Corners) == 0:
		return ""
	case p.PulledV == 0:
		return "no valve left"
	case p.PulledOver:
		return "▲ " + heaterVolts(p.PulledV) + ", over the limit"
	default:
		return heaterVolts(p.PulledV)
	}
}

func heatText(w float64) string {
	if w == 0 {
		return ""
	}
	return eng(w, "W")
}

func buyText(w float64) string {
	if w == 0 {
		return ""
	}
	return trimNumber(w) + " W"
}

func surfaceText(c float64) string {
	if c == 0 {
		return ""
	}
	return fmt.Sprintf("%.0f °C", c)
}

// cornerViews words corners; their notes are collected and numbered.
func (v *planView) cornerViews(corners []heater.Corner) []cornerView {
	var out []cornerView
	for _, c := range corners {
		x := cornerView{Name: clean(c.Name), Heater: clean(c.Heater), Volts: heaterVolts(c.HeaterV), Error: percentText(c.RelErr),
			Amps: eng(c.LoadA, "A"), Watts: heatText(c.PartW), Verdict: "inside"}
		switch {
		case c.OverLimit:
			x.Verdict, x.Bad = "▲ over", true
		case c.UnderLimit:
			x.Verdict, x.Bad = "▼ under", true
		}
		if c.AllOff {
			x.Volts, x.Error, x.Heater, x.Verdict, x.Bad = "not lit", "", "", "", false
		}
		if c.Kind == heater.KindCold {
			x.Error, x.Verdict, x.Bad = "", "", false
		}
		if c.Unlimited {
			x.Amps, x.Watts = "supply's limit", ""
		}
		if n := clean(c.Note); n != "" {
			x.Note = v.cornerNote(n)
		}
		out = append(out, x)
	}
	return out
}

func (v *planView) cornerNote(n string) int {
	for i, old := range v.CornerNotes {
		if old == n {
			return i + 1
		}
	}
	v.CornerNotes = append(v.CornerNotes, n)
	return len(v.CornerNotes)
}

// warmUpWords sums up the simulated switch-on.
func warmUpWords(w heater.WarmUp) string {
	if w.To99S <= 0 {
		return ""
	}
	s := fmt.Sprintf("%s to 90 %% and %s to 99 %% of the heater's temperature rise, simulated", secondsText(w.To90S), secondsText(w.To99S))
	if w.HeldTo99S > 0 {
		s += fmt.Sprintf("; %s to 99 %% from a supply that holds its current at the rating", secondsText(w.HeldTo99S))
	}
	if w.PeakRelErr > 0.005 {
		s += fmt.Sprintf("; during warm-up the %s gets up to %s (%s)", clean(w.PeakHeater), heaterVolts(w.PeakV), percentText(w.PeakRelErr))
	}
	return s
}

func secondsText(s float64) string { return fmt.Sprintf("%.2g s", s) }

// sentence makes a message that starts small and ends open a sentence.
func sentence(s string) string {
	s = clean(s)
	if s == "" {
		return ""
	}
	if c := s[0]; c >= 'a' && c <= 'z' {
		s = string(c-'a'+'A') + s[1:]
	}
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

func sentences(in []string) []string {
	out := make([]string, len(in))
	for i := range in {
		out[i] = sentence(in[i])
	}
	return out
}
