package target

import (
	"fmt"
	"math"

	"stillglow/analysis/figure"
)

// from names a reading in a message.
func (s Shown) from() string {
	by := s.By
	if by == "" {
		by = "a reading by eye"
	}
	return by
}

// words is a reading with its uncertainty.
func (s Shown) words(l Limit) string {
	return fmt.Sprintf("%s, %s ± %.0f %%", s.from(), l.text(s.Value), 100*s.UFrac)
}

// least is the least that the true figure may be.
func (s Shown) least() float64 { return s.Value * (1 - s.UFrac) }

// unfit tells why a reading can't be held against a limit at all, "" where it can.
func (s Shown) unfit(u Unit) string {
	switch {
	case !(s.Value > 0) || !(s.UFrac >= 0 && s.UFrac < 1):
		return "its figure must be above zero and its ± under 100 %"
	case s.Criterion == RipplePP && !s.BandLimited:
		return "without the scope's 20 MHz limit it holds more than the criterion counts: read it again with the limit on (band_limited = true in the sheet)"
	case u.HeaterA > 0 && s.LoadA > moreLoad*u.HeaterA:
		return fmt.Sprintf("it was read at %.3g A, more than the heaters' %.3g A", s.LoadA, u.HeaterA)
	}
	return ""
}

// ShownProves tells what a reading can say of its limit: fails, where even the least
// that it may be is over; else why is what keeps it from deciding.
func ShownProves(s Shown, l Limit, u Unit) (fails bool, why string) {
	if why := s.unfit(u); why != "" {
		return false, why
	}
	if s.least() > l.Max {
		return true, ""
	}
	if s.Value > l.Max {
		return false, fmt.Sprintf("it may be as little as %s, inside the limit of %s", l.text(s.least()), l.Text())
	}
	return false, "a reading never shows that a unit passes"
}

// marginFor is the margin on the criterion of a reading, nil where the target has no
// limit on it.
func (e *Evaluation) marginFor(s Shown) *Margin {
	for i := range e.Margins {
		if m := &e.Margins[i]; m.Limit.Criterion == s.Criterion {
			return m
		}
	}
	return nil
}

// ShownSays is what a reading says of its limit, nil: the target has none on it.
func ShownSays(s Shown, l *Limit, u Unit) string {
	if l == nil {
		return "the target has no such limit, so it does not count"
	}
	fails, why := ShownProves(s, *l, u)
	if fails {
		return "over the limit of " + l.Text() + " whatever the ±: it fails"
	}
	return "leaves it open: " + why
}

// ShownWords tells of each figure read off a screen or a meter, in the order of
// Unit.Shown, what it is and what it says of its limit.
func (e *Evaluation) ShownWords() []string {
	var out []string
	for _, s := range e.Unit.Shown {
		m := e.marginFor(s)
		if m == nil {
			out = append(out, fmt.Sprintf("%s (%s): %s", s.Criterion, s.from(), ShownSays(s, nil, e.Unit)))
			continue
		}
		says := ShownSays(s, &m.Limit, e.Unit)
		if fails, _ := ShownProves(s, m.Limit, e.Unit); m.Covered && !fails {
			says = "the captures decide"
		}
		out = append(out, fmt.Sprintf("%s %s ± %.0f %% (%s): %s", m.Limit.Name, m.Limit.text(s.Value), 100*s.UFrac, s.from(), says))
	}
	return out
}

// ShownDB is the worst margin of what was read off a screen or a meter, taken at its
// word, in dB; ok is false where nothing was read that a limit is on.
func (e *Evaluation) ShownDB() (db float64, ok bool) {
	db = MarginCapDB
	for _, s := range e.Unit.Shown {
		if m := e.marginFor(s); m != nil && s.unfit(e.Unit) == "" {
			db, ok = math.Min(db, MarginDB(m.Limit.Max, s.Value)), true
		}
	}
	return db, ok
}

// withShown adds to a picked figure what was read off a screen: a proof that the unit
// fails where the captures give none, else the reason why it proves nothing.
func withShown(u Unit, l Limit, p picked) picked {
	if p.decides(l) || l.Criterion == HeaterDC {
		return p
	}
	var best *Shown
	reason := ""
	for i := range u.Shown {
		s := &u.Shown[i]
		if s.Criterion != l.Criterion {
			continue
		}
		if fails, why := ShownProves(*s, l, u); !fails {
			reason = s.words(l) + ": " + why
		} else if best == nil || s.least() > best.least() {
			best = s
		}
	}
	switch {
	case best != nil:
		p = picked{fig: figure.Figure{Value: best.least(), Known: true, LowerBound: true}, source: best.words(l)}
	case reason != "" && !p.fig.Known:
		p.reason = reason + "; " + p.reason
	}
	return p
}

// shownAgainst is the doubt about a margin inside its limit where a reading proves
// the contrary.
func shownAgainst(u Unit, index int, m Margin) (d doubt, ok bool) {
	if !m.Covered || m.DB < 0 || m.Limit.Criterion == HeaterDC {
		return d, false
	}
	for _, s := range u.Shown {
		if s.Criterion != m.Limit.Criterion {
			continue
		}
		if fails, _ := ShownProves(s, m.Limit, u); fails && s.least() > math.Max(0, m.Figure.Value+m.Figure.U) {
			return doubt{margin: index, flips: true,
				text: fmt.Sprintf("%s gives %s, but %s", m.From, m.Limit.text(m.Figure.Value), s.words(m.Limit)),
				fix:  "compare the file's volts with the screen, and capture it again"}, true
		}
	}
	return d, false
}
