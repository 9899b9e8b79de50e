package target

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/capture"
)

// What meter readings a supply can give (common practice, no source).
const (
	overReadA = 1.5  // times the rated current: most supplies limit below it
	underRead = 0.6  // of the rated volts, at the rated current or less
	riseRead  = 0.02 // share by which the volts may rise from the lightest load to the heaviest: leads, and supplies that make up for their own
)

// absurd says what of a reading can't be: it was taken with volts and load exchanged, or
// from another unit, or the rating is another's. "" where it may be right.
func absurd(u Unit, r Reading) string {
	switch {
	case r.V < 0:
		return fmt.Sprintf("a reading of %.4g V at %.3g A, below zero", r.V, r.LoadA)
	case u.RatedA > 0 && r.LoadA > overReadA*u.RatedA:
		return fmt.Sprintf("a reading of %.3g V at %.3g A from a unit rated %.3g A", r.V, r.LoadA, u.RatedA)
	case u.RatedV > 0 && (u.RatedA <= 0 || r.LoadA <= u.RatedA) && math.Abs(r.V) < underRead*u.RatedV:
		return fmt.Sprintf("a reading of %.3g V at %.3g A from a unit rated %.3g V", r.V, r.LoadA, u.RatedV)
	}
	return ""
}

// oddReadings are the cautions about a unit's meter readings: those that its rating does not
// allow, those that lie on no straight line, and volts that rise with the load.
func oddReadings(u Unit) []capture.Caution {
	var said []string
	reversed := false
	for _, r := range u.Readings {
		if what := absurd(u, r); what != "" {
			said = append(said, what)
			reversed = reversed || r.V < 0
		}
	}
	if len(said) > 0 {
		fix := "check the reading (load_a in amps, v in volts) and the rating on the label"
		if reversed {
			fix = "the meter's leads were the wrong way round: write the reading without its minus sign, and see that the heaters and capacitors get the volts the right way round"
		}
		return []capture.Caution{{Code: CautionReadings, Text: strings.Join(said, ", "), Fix: fix}}
	}
	if r, byV, ok := bent(u.Readings); ok {
		return []capture.Caution{{Code: CautionReadings,
			Text: fmt.Sprintf("the meter readings do not lie on a straight line, %.4g V at %.3g A is %.2g V off it: the supply sags or limits its current, or one was misread", r.V, r.LoadA, byV),
			Fix:  "read again, and take a reading at the heaters' current itself"}}
	}
	if light, heavy, ok := rising(u.Readings); ok {
		return []capture.Caution{{Code: CautionReadings,
			Text: fmt.Sprintf("the volts read rise with the load, %.4g V at %.3g A and %.4g V at %.3g A", light.V, light.LoadA, heavy.V, heavy.LoadA),
			Fix:  "check that the two were not swapped; a supply that compensates for the drop in its lead does this too"}}
	}
	return nil
}

// rising gives the readings at the lightest and the heaviest load where the volts rise
// between them by more than leads account for.
func rising(readings []Reading) (light, heavy Reading, ok bool) {
	if len(readings) == 0 {
		return light, heavy, false
	}
	light, heavy = readings[0], readings[0]
	for _, r := range readings {
		if !r.sound() {
			return light, heavy, false
		}
		if r.LoadA < light.LoadA {
			light = r
		}
		if r.LoadA > heavy.LoadA {
			heavy = r
		}
	}
	return light, heavy, heavy.LoadA > light.LoadA && heavy.V > (1+riseRead)*light.V
}

// doubtedReadings is the doubt about supply volts that rest on readings which can't be
// right.
func doubtedReadings(u Unit, index int, m Margin) []doubt {
	odd := oddReadings(u)
	if !m.Covered || !slices.ContainsFunc(u.Readings, func(r Reading) bool { return absurd(u, r) != "" }) {
		return nil
	}
	return []doubt{{margin: index, flips: true, text: odd[0].Text, fix: odd[0].Fix}}
}

// loadUnsaid is the caution about captures of which nothing tells the load: an unloaded
// supply is quieter, or bursts, and shows neither.
func loadUnsaid(u Unit) (k capture.Caution, ok bool) {
	if u.HeaterA <= 0 {
		return k, false
	}
	for _, m := range u.Captures {
		if m.LoadA == 0 && m.Mode == capture.Differential && (m.PPV.Known || m.DCV.Known || m.MainsLineRMS.Known) {
			return capture.Caution{Code: CautionLoadUnsaid,
				Text: fmt.Sprintf("%s doesn't say at what load it was made; its figures stand for the heaters' %.3g A only if it was made there", m.File, u.HeaterA),
				Fix:  fmt.Sprintf("write load_a beside the capture, load_a = %.3g if the heaters or a resistor drew that", u.HeaterA)}, true
		}
	}
	return k, false
}
