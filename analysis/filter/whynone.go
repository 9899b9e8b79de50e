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
