package target

import (
	"fmt"
	"math"
	"strings"

	"stillglow/analysis"
	"stillglow/capture"
)

// CommonState tells how much of a target's common-mode half was measured. A unit
// without it is judged by the other half, and says so: what was measured decides,
// what was not is open.
type CommonState string

// The states of the common-mode half.
const (
	CommonNotAsked CommonState = ""         // the target limits none of it
	CommonOpen     CommonState = "open"     // none of its limits is covered: half of the question is open
	CommonInPart   CommonState = "in part"  // some are
	CommonMeasured CommonState = "measured" // all are
)

// Mode is the mode of the captures that a criterion takes its figure from.
func (id Criterion) Mode() capture.Mode {
	c, _ := lookup(id)
	return c.mode
}

// CommonMode reports whether a criterion is of the common-mode half.
func (id Criterion) CommonMode() bool { return id.Mode() == capture.Common }

// commonState sums up the margins of the common-mode half.
func commonState(margins []Margin) CommonState {
	asked, covered := 0, 0
	for _, m := range margins {
		if m.Limit.Criterion.CommonMode() {
			asked++
			if m.Covered {
				covered++
			}
		}
	}
	switch {
	case asked == 0:
		return CommonNotAsked
	case covered == 0:
		return CommonOpen
	case covered < asked:
		return CommonInPart
	}
	return CommonMeasured
}

// openCommon are the common-mode limits that no capture covers.
func (e *Evaluation) openCommon() []Limit {
	var open []Limit
	for _, m := range e.Margins {
		if m.Limit.Criterion.CommonMode() && !m.Covered {
			open = append(open, m.Limit)
		}
	}
	return open
}

// commonFastHz parts the common-mode criteria into those of a slow and a fast capture.
const commonFastHz = 1e6

// commonNeeds says what is open of the common-mode half and what would cover it,
// "" where nothing is.
func (e *Evaluation) commonNeeds() string {
	var names []string
	fast, slow := false, false
	for _, l := range e.openCommon() {
		names = append(names, l.Name)
		fast, slow = fast || l.NeedHighHz >= commonFastHz, slow || l.NeedHighHz < commonFastHz
	}
	if len(names) == 0 {
		return ""
	}
	var needs []string
	if slow {
		needs = append(needs, "one of 200 ms or more at 50 kS/s or more")
	}
	if fast {
		needs = append(needs, "one of 80 µs or more at 50 MS/s or more")
	}
	return fmt.Sprintf("common mode is not measured: %s; capture it across 100 Ω to chassis or earth, %s", strings.Join(names, ", "), strings.Join(needs, " and "))
}

// ofMode is the unit with its captures of one mode alone: a common-mode capture
// says nothing of the volts across the output, nor the other way round.
func (u Unit) ofMode(mode capture.Mode) Unit {
	var kept []*analysis.Measurement
	for _, m := range u.Captures {
		if m != nil && m.Mode == mode {
			kept = append(kept, m)
		}
	}
	u.Captures = kept
	return u
}

// ranks reports whether a margin takes part in a unit's worst margin. DC inside its
// band is good enough wherever it lies: the dropper takes it from there. So it
// ranks only when it is outside.
func (m Margin) ranks() bool {
	return m.Covered && !(m.Limit.Criterion == HeaterDC && m.DB >= 0)
}

// differentialWorst is the worst margin of the half across the output; ok is false
// where none of it ranks.
func (e *Evaluation) differentialWorst() (db float64, ok bool) {
	db = math.Inf(1)
	for _, m := range e.Margins {
		if m.ranks() && !m.Limit.Criterion.CommonMode() {
			db, ok = math.Min(db, m.DB), true
		}
	}
	return db, ok
}

// brandWorst is the worst margin that a unit brings to its brand.
func (e *Evaluation) brandWorst(both bool) (db float64, ok bool) {
	if both {
		return e.WorstDB, e.Worst >= 0
	}
	return e.differentialWorst()
}

// bothHalves reports whether all judged units were measured in all that the target
// asks of the common-mode half. Only then do brands compare by both halves: else a
// brand would lose by being measured more.
func bothHalves(evals []Evaluation) bool {
	for i := range evals {
		e := &evals[i]
		if !e.Aside && e.Verdict != Open && e.Verdict != Retake && (e.Common == CommonOpen || e.Common == CommonInPart) {
			return false
		}
	}
	return true
}
