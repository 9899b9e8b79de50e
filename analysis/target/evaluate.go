package target

import (
	"fmt"
	"math"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// MarginCapDB is where margins stop, in dB: a figure of nothing at all has no
// logarithm, and beyond 60 dB nobody compares.
const MarginCapDB = 60.0

// MarginDB is 20·log10(limit/figure), positive when the figure is inside,
// within ±MarginCapDB. Both are positive; a figure of 0 gives the cap.
func MarginDB(limit, figure float64) float64 {
	if figure <= 0 {
		return MarginCapDB
	}
	return clampDB(20 * math.Log10(limit/figure))
}

// bandDB is the margin of volts in a band: the band's half width over the
// distance from its middle. It is 0 dB at either end.
func bandDB(l Limit, v float64) float64 {
	return MarginDB((l.Max-l.Min)/2, math.Abs(v-(l.Max+l.Min)/2))
}

func clampDB(db float64) float64 {
	return math.Max(-MarginCapDB, math.Min(MarginCapDB, db))
}

// Evaluate compares a unit with a target. Each criterion takes its figure from
// the best capture that covers it; one that no capture covers leaves the
// verdict open at best. It never passes a unit on a lower bound.
func Evaluate(u Unit, t Target) Evaluation {
	u.Captures = settleVolts(u)
	u.Captures = switchingUnlike(u)
	e := Evaluation{Unit: u, TargetName: t.Name, Worst: -1}
	var from string
	e.LoadedV, from = LoadedVolts(u)
	e.OutputOhm = outputResistance(u)
	var doubts []doubt
	var apart []capture.Caution
	for i, l := range t.Limits {
		half := u.ofMode(l.Criterion.Mode())
		p := figureFor(half, u, l, e.LoadedV, from)
		m, found := weigh(half, i, l, p)
		if m.Covered {
			m.AtLeast = m.DB < 0 && (m.Figure.LowerBound || atLeast(found))
			doubts = append(doubts, found...)
		}
		if d, ok := shownAgainst(u, i, m); ok {
			doubts = append(doubts, d)
		}
		e.Margins = append(e.Margins, m)
		if c, ok := lookup(l.Criterion); ok {
			if k, ok := disagreement(half, c, l, p.fit); ok {
				apart = append(apart, k)
			}
		}
		if l.Criterion == HeaterDC {
			doubts = append(doubts, doubtedVolts(u, i, m)...)
			doubts = append(doubts, doubtedReadings(u, i, m)...)
		}
	}
	e.Common = commonState(e.Margins)
	e.Cautions = append(allCautions(u), apart...)
	e.Cautions = append(e.Cautions, oddReadings(u)...)
	if k, unsaid := loadUnsaid(u); unsaid {
		e.Cautions = append(e.Cautions, k)
	}
	if k, over := overloaded(u); over {
		e.Overloaded, e.Cautions = true, append(e.Cautions, k)
	}
	e.settle(doubts)
	return e
}

// figureFor is the figure that a limit is held against: of the volts what was read, of
// all else the best that the captures of the criterion's half show, and where that says
// nothing what was read off a screen.
func figureFor(half, u Unit, l Limit, loadedV figure.Figure, voltsFrom string) picked {
	if l.Criterion == HeaterDC {
		return pickDC(half, loadedV, voltsFrom)
	}
	p := pick(half, l)
	if c, ok := lookup(l.Criterion); ok {
		p = withJoined(half, c, p)
	}
	return withShown(u, l, withParts(half, l, p))
}

// weigh gives the margin with its doubts. Where these leave it open, what holds the
// criterion as a part may settle it.
func weigh(half Unit, index int, l Limit, p picked) (m Margin, found []doubt) {
	if m = judge(l, p); m.Covered {
		found = doubtsOf(half, index, m, p)
	}
	if !settles(m, found) {
		if whole, ok := withinWhole(half, index, l); ok {
			return whole, nil
		}
	}
	return m, found
}

// overloaded is the caution about a unit whose label names less current than its
// heaters may take. Quiet it may be all the same: the verdict stays that of the limits.
func overloaded(u Unit) (k capture.Caution, over bool) {
	most := math.Max(u.HeaterA, u.HeaterHighA)
	if u.RatedA <= 0 || most <= u.RatedA {
		return k, false
	}
	return capture.Caution{Code: CautionOverloaded,
		Text: fmt.Sprintf("the heaters take up to %.3g A, more than its rated %.3g A", most, u.RatedA),
		Fix:  "use a supply of a larger rating, or put fewer valves on it"}, true
}

func pickDC(u Unit, v figure.Figure, from string) picked {
	p := picked{fig: v, source: from, reason: v.Missing}
	for _, m := range u.Captures {
		if v.Known && m.File == from {
			p.from, p.source = []*analysis.Measurement{m}, ""
			break
		}
	}
	return p
}

// judge turns a picked figure into a margin with its interval.
func judge(l Limit, p picked) Margin {
	m := Margin{Limit: l, Figure: p.fig, Reason: p.reason, Captures: len(p.from), From: p.source, At: p.at}
	if m.From == "" && len(p.from) > 0 {
		m.From = p.from[0].File
	}
	f := p.fig
	if !f.Known {
		m.Captures, m.From = 0, ""
		if m.Reason == "" {
			m.Reason = f.Missing
		}
		m.Figure = figure.NotMeasured(m.Reason)
		return m
	}
	db := func(v float64) float64 { return MarginDB(l.Max, v) }
	if l.Criterion == HeaterDC {
		db = func(v float64) float64 { return bandDB(l, v) }
	}
	if f.LowerBound && db(f.Value) >= 0 {
		// At least this much, and under the limit: it proves nothing.
		c, _ := lookup(l.Criterion)
		m.Reason = fmt.Sprintf("%s only shows that it is at least %s; %s", m.From, l.text(f.Value), cure(c, p, 1))
		return m
	}
	if f.UpperBound && l.Criterion != HeaterDC && db(f.Value) < 0 {
		// At most this much, and over the limit: it proves nothing either.
		c, _ := lookup(l.Criterion)
		m.Reason = fmt.Sprintf("%s only shows that it is at most %s; %s", m.From, l.text(f.Value), cure(c, p, -1))
		return m
	}
	m.Covered = true
	m.DB = db(f.Value)
	m.LowDB, m.HighDB = m.DB, m.DB
	if f.U > 0 {
		for _, v := range []float64{f.Value - f.U, f.Value + f.U} {
			m.LowDB = math.Min(m.LowDB, db(v))
			m.HighDB = math.Max(m.HighDB, db(v))
		}
		if l.Criterion == HeaterDC && math.Abs(f.Value-(l.Max+l.Min)/2) < f.U {
			m.HighDB = MarginCapDB
		}
	}
	return m
}

// cure is what to do about a bound that decides nothing: what the capture's own
// caution advises, where one moves the figure that way (up: sign 1) or tells that
// the figure is an upper one, else the capture that the criterion asks for.
func cure(c criterion, p picked, sign int) string {
	for _, m := range p.from {
		for _, k := range m.Cautions {
			down, up := marginShift(k.Code, c, m, p.fig)
			if k.Fix != "" && (sign > 0 && (down >= unboundedDB || p.fig.LowerBound && boundsBelow(k.Code, c)) || sign < 0 && (up >= unboundedDB || k.Code == capture.CautionUnfiltered || k.Code == capture.CautionPartlyFiltered)) {
				return k.Fix
			}
		}
	}
	return "needs " + c.how
}

// boundsBelow reports whether a caution tells why the criterion's figure is a lower bound.
func boundsBelow(code string, c criterion) bool {
	return code == capture.CautionMovingMean || code == capture.CautionLimitSeen && (c.id == RipplePP || c.id == CommonPP)
}

// allCautions gathers the captures' cautions, each once.
func allCautions(u Unit) []capture.Caution {
	var all []capture.Caution
	seen := map[capture.Caution]bool{}
	for _, m := range u.Captures {
		for _, c := range m.Cautions {
			if m.Mode == capture.Common {
				c.Text = "common-mode capture: " + c.Text
			}
			if !seen[c] {
				seen[c] = true
				all = append(all, c)
			}
		}
	}
	return all
}
