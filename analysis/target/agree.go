package target

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Cautions of captures held against each other.
const (
	CautionDisagree        = "captures_disagree"        // captures of one figure differ by more than their uncertainty
	CautionSwitchingUnlike = "switching_unlike"         // captures of one unit show different switching frequencies
	CautionSameTwice       = "same_record_twice"        // a record that was named twice counts once
	CautionSameVolts       = "same_volts_elsewhere"     // like another unit's record, without noise to prove it
	CautionNamedAfter      = "named_after_another"      // the file's name is that of another unit
	CautionReadings        = "readings_odd"             // meter readings that a supply of this rating can't give
	CautionLoadUnsaid      = "load_not_stated"          // nothing tells at what current the captures were made
	CautionOverloaded      = "overloaded"               // the heaters take more than the unit is rated for
	CautionBrandScale      = "probe_suspected_by_brand" // a unit ten or a hundred times its brand-mates
)

// shownHz is the switching frequency that a capture of a unit shows.
type shownHz struct {
	m  *analysis.Measurement
	at int // of the unit's captures
	hz float64
}

// comparable reports whether the two were captured across the same terminals and
// at one load.
func (a shownHz) comparable(b shownHz) bool {
	return a.m.Mode == b.m.Mode && atOneLoad(a.m, b.m)
}

// atOneLoad reports whether two captures were made at one load.
func atOneLoad(a, b *analysis.Measurement) bool {
	return math.Abs(a.LoadA-b.LoadA) <= sameLoad*math.Max(a.LoadA, b.LoadA)
}

func (a shownHz) alike(b shownHz) bool {
	return math.Max(a.hz, b.hz) <= switchingOff*math.Min(a.hz, b.hz)
}

// switchingUnlike names captures at one load whose switching frequencies differ:
// those apart from the most, or all where no two agree. The captures named are
// copies with the caution.
func switchingUnlike(u Unit) []*analysis.Measurement {
	out := slices.Clone(u.Captures)
	var all []shownHz
	for i, m := range out {
		if m != nil && m.SwitchingHz.Known && m.SwitchingHz.Value > 0 && m.Kind != cycle.Bursting {
			all = append(all, shownHz{m, i, m.SwitchingHz.Value})
		}
	}
	most, with := 0, make([]int, len(all)) // with: how many show what this one does
	for i, a := range all {
		for _, b := range all {
			if a.comparable(b) && a.alike(b) {
				with[i]++
			}
		}
		most = max(most, with[i])
	}
	for i, a := range all {
		if with[i] == most && most > 1 {
			continue
		}
		var others []string
		for j, b := range all {
			if a.comparable(b) && !a.alike(b) && (with[j] == most || with[i] == with[j]) {
				others = append(others, fmt.Sprintf("%s shows %s", b.m.File, HzText(b.hz)))
			}
		}
		if len(others) > 0 {
			out[a.at] = withCaution(a.m, capture.Caution{Code: CautionSwitchingUnlike,
				Text: fmt.Sprintf("this capture shows switching at %s, but at the same load %s", HzText(a.hz), strings.Join(others, ", ")),
				Fix:  "capture both again with a few hundred switching cycles on the screen; a true frequency stays where it is"})
		}
	}
	return out
}

// disagreement is a caution about captures of like quality that differ in a
// criterion's figure by more than their uncertainties; ok is false where they
// agree. Of three or more, the one that stands apart is named as doubtful.
func disagreement(u Unit, c criterion, l Limit, fit []*analysis.Measurement) (k capture.Caution, ok bool) {
	if c.group.Has(figure.Count) || len(fit) < 2 {
		return k, false
	}
	like := ofLikeQuality(u, c, fit)
	n := len(like)
	if n < 2 || !apart(c.of(like[0]), c.of(like[n-1])) {
		return k, false
	}
	said := make([]string, n)
	for i, m := range like {
		said[i] = fmt.Sprintf("%s %s", m.File, l.text(c.of(m).Value))
	}
	text := fmt.Sprintf("%s differs between captures: %s", l.Name, strings.Join(said, ", "))
	switch high, low := apart(c.of(like[0]), c.of(like[1])), apart(c.of(like[n-1]), c.of(like[n-2])); {
	case n < twoAgree:
	case high && !low:
		text += "; " + like[0].File + " is the doubtful one"
	case low && !high:
		text += "; " + like[n-1].File + " is the doubtful one"
	}
	return capture.Caution{Code: CautionDisagree, Text: text, Fix: "repeat them with the same set-up, probe and load"}, true
}

// ofLikeQuality are the captures that show the criterion's figure as well as the
// first does, the greatest figure first.
func ofLikeQuality(u Unit, c criterion, fit []*analysis.Measurement) []*analysis.Measurement {
	var like []*analysis.Measurement
	best := quality(u, c, fit[0])
	for _, m := range fit {
		if f := c.of(m); f.Known && !f.LowerBound && !f.UpperBound && f.Value > 0 && quality(u, c, m) == best {
			like = append(like, m)
		}
	}
	slices.SortStableFunc(like, func(a, b *analysis.Measurement) int { return cmp.Compare(c.of(b).Value, c.of(a).Value) })
	return like
}

// apart reports whether two figures differ by more than a quarter and by more than
// their uncertainties together.
func apart(a, b figure.Figure) bool {
	hi, lo := math.Max(a.Value, b.Value), math.Min(a.Value, b.Value)
	return hi > disagreeRatio*lo && hi-lo > math.Hypot(a.U, b.U)
}
