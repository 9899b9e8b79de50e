package report

import (
	"fmt"
	"slices"
	"strings"

	"stillglow/analysis/target"
)

// heardView is what the valve hears of a unit, in words.
type heardView struct {
	Words string
	Ways  []heardWay // how the heater may be tied to ground
	Notes []string
}

type heardWay struct {
	Reference, Across, Common, Both, Under string
	Own                                    bool // the stage's
}

// heardWords words the hearing sum.
func heardWords(h *target.Heard) *heardView {
	if h == nil {
		return nil
	}
	if !h.Known {
		return &heardView{Words: "What the valve hears is not measured: " + orText(clean(h.Missing), "no reason given") + "."}
	}
	v := &heardView{Words: fmt.Sprintf("Through the heater the supply adds %s%s A-weighted at the valve's input; the valve and its cathode resistor make %s themselves. The supply is %s that.%s",
		atLeastWord(h.Missing != ""), eng(h.InputAVRMS, "V"), eng(h.ThermalAVRMS, "V"), target.UnderText(h.UnderDB), halvesWords(h))}
	for _, w := range h.ByReference {
		way := heardWay{Reference: string(w.Reference), Across: eng(w.DifferentialAVRMS, "V"), Common: eng(w.CommonAVRMS, "V"),
			Both: eng(w.InputAVRMS, "V"), Under: target.UnderText(w.UnderDB), Own: w.Reference == h.Reference}
		if h.Missing != "" { // what is missing can only make it louder
			way.Both = atLeastWord(true) + way.Both
			way.Under = underBound(w.UnderDB) + way.Under
		}
		if !h.DifferentialKnown {
			way.Across = "not captured"
		}
		if !h.CommonKnown {
			way.Common = "not captured"
		}
		v.Ways = append(v.Ways, way)
	}
	if h.Missing != "" {
		v.Notes = append(v.Notes, clean(h.Missing))
	}
	v.Notes = append(v.Notes, cleanAll(append(append([]string(nil), h.Assumptions...), nonEmptyOf(h.CannotDecide)...))...)
	return v
}

// underBound leads how far a supply is under the noise where part of it was not captured.
func underBound(underDB float64) string {
	if underDB < 0 {
		return "at least "
	}
	return "at most "
}

func atLeastWord(lowerBound bool) string {
	if lowerBound {
		return "at least "
	}
	return ""
}

// disputes say where rule-of-thumb limits and the hearing sum disagree, and which to
// believe.
func (r *Report) disputes() []string {
	var out []string
	for _, g := range r.HeaterLoad.Groups {
		if g.Valve.Filament && r.byRuleOfThumb() {
			out = append(out, fmt.Sprintf("The %s is directly heated, and the limits across the output are rules of thumb for indirectly heated valves: up to half of what is across a filament adds to its grid's signal, with nothing in between. Don't take a pass for proof: set limits of your own by that.", clean(g.Valve.Type)))
		}
	}
	for i := range r.Units {
		u := &r.Units[i]
		d, ok := u.Hears.Dispute(&u.Eval)
		if !ok {
			continue
		}
		name := isolate(shorten(unitName(u.Eval.Unit), 80))
		if d.Believed == target.BelieveSum {
			out = append(out, fmt.Sprintf("%s: the limit on %s is exceeded by %s, but through the heater of your stage it is %s the valve's own noise. The limit is a rule of thumb for any such preamp; the calculation is for yours, with what you didn't state taken on the high side: believe the calculation (allowed_input_v in [hears] sets limits by it).",
				name, longName(d.Limit), strings.TrimLeft(dbText(d.LimitDB), "+-"), target.UnderText(d.UnderDB)))
			continue
		}
		out = append(out, fmt.Sprintf("%s: every audio limit holds, but through the heater of your stage it is %s the valve's own noise. Believe the calculation: the limits are for a typical stage, and yours couples more.",
			name, target.UnderText(d.UnderDB)))
	}
	return out
}

// byRuleOfThumb reports whether any limit on what a capture across the output shows is
// a named target's own.
func (r *Report) byRuleOfThumb() bool {
	return slices.ContainsFunc(r.Target.Limits, func(l target.Limit) bool {
		return l.Basis == target.RuleOfThumb && l.Criterion != target.HeaterDC && !l.Criterion.CommonMode()
	})
}

// halvesWords split the sum into its two halves.
func halvesWords(h *target.Heard) string {
	if h.DifferentialKnown && h.CommonKnown {
		return fmt.Sprintf(" %s of it come from the volts across the heater, %s from common mode.", eng(h.DifferentialAVRMS, "V"), eng(h.CommonAVRMS, "V"))
	}
	if h.DifferentialKnown {
		return " That is from the volts across the heater alone; common mode is not captured."
	}
	return " That is from common mode alone; the volts across the heater are not captured."
}
