package target

// withinWhole is the margin on the mean cycle's swing by the swing of the whole record,
// which holds it, as an upper figure: where that is inside the limit for certain the
// cycle is, whatever is doubted of it or was not measured, as where a ring can't be told
// from the ripple or packets differ. ok is false where it is not.
func withinWhole(u Unit, index int, l Limit) (m Margin, ok bool) {
	if l.Criterion != FoldedRipple {
		return m, false
	}
	all := limit(RipplePP, l.Max, l.Source)
	p := pick(u, all)
	m = judge(all, p)
	if !m.Covered || m.LowDB < 0 || len(doubtsOf(u, index, m, p)) > 0 {
		return m, false
	}
	m.Figure.Value, m.Figure.U, m.Figure.UpperBound = m.Figure.Value+m.Figure.U, 0, true
	return judge(l, picked{fig: m.Figure, from: p.from, source: p.source}), true
}

// settles reports whether a margin and its doubts say on which side of the limit it is.
func settles(m Margin, doubts []doubt) bool {
	if !m.Covered {
		return false
	}
	for _, d := range doubts {
		if d.flips || d.couldFail {
			return false
		}
	}
	return true
}
