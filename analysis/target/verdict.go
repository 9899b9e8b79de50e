package target

import (
	"fmt"
	"slices"
	"strings"
)

// tally counts an evaluation's margins.
type tally struct {
	covered, out int      // with a figure; of these over their limit
	missing      []string // names of those without one, but for the common-mode half, see Common
}

func (e *Evaluation) tally() tally {
	var t tally
	for _, m := range e.Margins {
		switch {
		case m.Covered && m.DB < 0:
			t.covered, t.out = t.covered+1, t.out+1
		case m.Covered:
			t.covered++
		case !m.Limit.Criterion.CommonMode():
			t.missing = append(t.missing, m.Limit.Name)
		}
	}
	return t
}

// settle finds worst margin, verdict and words.
func (e *Evaluation) settle(doubts []doubt) {
	e.findWorst()
	t := e.tally()
	e.Verdict = e.verdict(t, doubts)
	e.Why = e.why(t)
	if e.Verdict == Retake {
		d := e.decisive(doubts)
		e.Doubt, e.DoubtFix = d.text, d.fix
		e.Why = "undecided: " + d.text + "; if the captures are right: " + e.Why
	}
	e.WouldFlip = e.wouldFlip(t, doubts)
}

// findWorst finds the worst of the margins that rank, and the sum of the others.
func (e *Evaluation) findWorst() {
	for i, m := range e.Margins {
		if m.ranks() && (e.Worst < 0 || m.DB < e.Margins[e.Worst].DB) {
			e.Worst = i
		}
	}
	for i, m := range e.Margins {
		switch {
		case !m.ranks():
		case i == e.Worst:
			e.WorstDB = m.DB
		default:
			e.SumRestDB += m.DB
		}
	}
}

// verdict decides: what is over for certain fails or misses whatever the doubts; what
// a doubt could turn is to be taken again.
func (e *Evaluation) verdict(t tally, doubts []doubt) Verdict {
	shaky := map[int]bool{} // margins that may lie on the limit's other side
	couldFail := false
	for _, d := range doubts {
		if d.flips {
			shaky[d.margin] = true
		}
		couldFail = couldFail || d.couldFail && e.Margins[d.margin].DB >= 0
	}
	out, fail := e.certain(shaky)
	switch {
	case fail:
		return Fail
	case !out && len(shaky) > 0, couldFail:
		return Retake
	case t.out > 0 && e.WorstDB < -NearMissDB:
		return Fail
	case t.out > 0:
		return NearMiss
	case len(t.missing) > 0 || t.covered == 0:
		return Open
	}
	return Pass
}

// certain reports whether any margin that no doubt could turn is over its limit, and
// whether by more than can be mended. Volts that are too few can't be mended by
// anything between supply and heaters, so that is no near miss; nor is what lies over
// by an unknown amount.
func (e *Evaluation) certain(shaky map[int]bool) (out, fail bool) {
	for i, m := range e.Margins {
		if m.Covered && m.DB < 0 && !shaky[i] {
			out = true
			fail = fail || m.DB < -NearMissDB || m.AtLeast || m.Limit.Criterion == HeaterDC && m.Figure.Value < m.Limit.Min
		}
	}
	return out, fail
}

// decisive is the doubt to name: one that could bring a criterion back inside,
// where some are out, else the first.
func (e *Evaluation) decisive(doubts []doubt) doubt {
	for _, d := range doubts {
		if d.flips && e.Margins[d.margin].DB < 0 {
			return d
		}
	}
	return doubts[0]
}

// why says what decided, in words.
func (e *Evaluation) why(t tally) string {
	if t.covered == 0 {
		return "nothing that the target limits was measured"
	}
	text := e.outWords()
	rest := t.covered > t.out
	switch {
	case t.out > 0 && rest && len(t.missing) == 0:
		text += "; all else passes"
	case t.out > 0 && rest:
		text += "; all else measured passes"
	case t.out == 0 && e.Worst >= 0:
		m := e.Margins[e.Worst]
		text += fmt.Sprintf("%.1f dB under every measured limit; closest: %s", m.DB, m.Limit.Name)
	case t.out == 0:
		text += "everything measured is within its limit"
	}
	if len(t.missing) > 0 {
		text += "; not measured: " + strings.Join(t.missing, ", ")
	}
	switch e.Common {
	case CommonOpen:
		text += "; common mode open"
	case CommonInPart:
		text += "; common mode open in part"
	}
	return text
}

// outWords lists what is over its limit, and by how much.
func (e *Evaluation) outWords() string {
	var parts []string
	for _, m := range e.Margins {
		if m.Covered && m.DB < 0 {
			parts = append(parts, m.Limit.Name+" "+overText(m))
		}
	}
	return strings.Join(parts, ", ")
}

func overText(m Margin) string {
	if m.Limit.Criterion == HeaterDC {
		side := "above"
		edge := m.Limit.Max
		if m.Figure.Value < m.Limit.Min {
			side, edge = "below", m.Limit.Min
		}
		return fmt.Sprintf("%.3g V is %s %.3g V", m.Figure.Value, side, edge)
	}
	s := fmt.Sprintf("%.1f dB over", -m.DB)
	if m.AtLeast {
		s = "at least " + s
	}
	return s
}

// wouldFlip says what would change the verdict.
func (e *Evaluation) wouldFlip(t tally, doubts []doubt) string {
	var parts []string
	switch e.Verdict {
	case Retake:
		parts = e.doubtWords(doubts)
	case Open:
		for _, m := range e.Margins {
			if !m.Covered && !m.Limit.Criterion.CommonMode() {
				parts = append(parts, fmt.Sprintf("%s: %s", m.Limit.Name, m.Reason))
			}
		}
		if s := e.commonNeeds(); s != "" {
			parts = append(parts, s)
		}
	case Pass:
		return strings.Join(e.passWords(), "; ")
	default:
		return "passes if " + strings.Join(e.needWords(t), ", and ")
	}
	text := strings.Join(parts, "; ")
	if text != "" {
		text = "to settle it: " + text
	}
	return text
}

// doubtWords lists the doubts and what to do about each; criteria that share a
// doubt stand ahead of it together.
func (e *Evaluation) doubtWords(doubts []doubt) []string {
	var order []string
	names := map[string][]string{}
	for _, d := range doubts {
		s := d.text
		if d.fix != "" {
			s += "; " + d.fix
		}
		if names[s] == nil {
			order = append(order, s)
		}
		if name := e.Margins[d.margin].Limit.Name; !slices.Contains(names[s], name) {
			names[s] = append(names[s], name)
		}
	}
	var parts []string
	for _, s := range order {
		parts = append(parts, strings.Join(names[s], ", ")+": "+s)
	}
	return parts
}

// passWords says how much a passing unit has in hand, and what is open about it.
func (e *Evaluation) passWords() []string {
	var parts []string
	if e.Worst >= 0 {
		m := e.Margins[e.Worst]
		parts = append(parts, fmt.Sprintf("fails if %s rises %.1f dB", m.Limit.Name, m.DB))
		if m.LowDB < 0 {
			parts = append(parts, fmt.Sprintf("its uncertainty alone (%.1f to %.1f dB) reaches over the limit", m.LowDB, m.HighDB))
		}
	}
	if s := e.commonNeeds(); s != "" {
		parts = append(parts, s)
	}
	return parts
}

// needWords lists what must change before a unit passes.
func (e *Evaluation) needWords(t tally) []string {
	var parts []string
	for _, m := range e.Margins {
		if !m.Covered || m.DB >= 0 {
			continue
		}
		s := fmt.Sprintf("%s falls %.1f dB", m.Limit.Name, -m.DB)
		if m.AtLeast {
			s += " or more"
		}
		if m.Limit.Criterion == HeaterDC {
			whose := "supply"
			if e.Unit.State == BehindDropper {
				whose = "heater"
			}
			s = fmt.Sprintf("the %s volts are between %.3g and %.3g V", whose, m.Limit.Min, m.Limit.Max)
		}
		if m.HighDB >= 0 {
			s += " (within its uncertainty)"
		}
		parts = append(parts, s)
	}
	if len(t.missing) > 0 {
		parts = append(parts, "what was not measured also passes: "+strings.Join(t.missing, ", "))
	}
	return parts
}
