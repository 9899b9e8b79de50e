package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/report"
)

// The parts of the common-mode set-up: what the capture is made across, what the
// output is bled through first, and what joins both wires.
const (
	commonOhm  = 100.0
	bleedOhm   = 100e3
	joinOhm    = 100.0 // each of two
	touchA     = 0.25e-3
	joinLossDB = 3.5 // of a source of no impedance: (100 Ω + 50 Ω)/100 Ω
)

// ofMode are the settings of one mode.
func ofMode(settings []captureSetting, mode capture.Mode) []captureSetting {
	return slices.DeleteFunc(slices.Clone(settings), func(s captureSetting) bool { return s.Mode != mode })
}

// guideCommon writes how to capture common mode, safely.
func guideCommon(para func(first, text string), volts []loadVolts) {
	para("  ! ", report.CommonSafety+" "+report.CodesSafety)
	para("  - ", "Why: a valve hardly hears the volts across its heater; what both wires carry together, against ground, goes through the heater's capacitance to cathode and grid, unless one end of the heater is at ground. No capture across the output shows it.")
	most := 0.0
	for _, v := range volts {
		most = math.Max(most, v.V)
	}
	for _, t := range []string{
		"Measure the supply with its load resistor by itself: no preamp, no high voltage anywhere near. Unplugged, measure the ohms from each output wire to the earth pin of the mains plug, if it has one. Under 1 kΩ the output is earthed inside: there is nothing to measure here; say so in the note.",
		fmt.Sprintf("Still unplugged, join the negative output wire to earth (the chassis that it will feed, or the scope's earth terminal) through 100 kΩ, 1 W: that bleeds the output. Put a meter for AC volts across the 100 kΩ, then plug in and read it: %.0f V is %.2f mA, as much as a double-insulated supply may leak (IEC 60950-1, table 5A, from memory). If it is more, stop: the supply leaks too much.", touchA*bleedOhm, touchA*1e3),
		"Unplug again. Put 100 Ω, 1 W in place of the 100 kΩ. One wire will do, since the load and the output capacitor join the two for AC.",
		fmt.Sprintf("Or, for the mean of both wires, fit two equal resistors of %.0f Ω, one from each wire to the 100 Ω: at %.3g V each dissipates %.2g W, buy %s or more. They add 50 Ω: above about 1 MHz the reading may be up to %.1f dB low.", joinOhm, most, most*most/4/joinOhm, joinWatts(most), joinLossDB),
		"The scope's ground clip goes to the earthed end of the 100 Ω and nowhere else, the tip to the other end, both as short as across the output. Only then plug in. Scope and supply go into the same mains outlet.",
		"In the sheet: mode = \"common\" in the entry of each such capture, load_a as for the others. It needs a baseline of its own: the same set-up with the supply unplugged (baseline = \"file\" in the capture's entry).",
	} {
		para("  - ", t)
	}
}

// joinWatts is twice the heat of each of the two resistors, of the usual ratings.
func joinWatts(volts float64) string {
	heat := volts * volts / 4 / joinOhm
	for _, w := range [...]float64{0.25, 0.5, 1, 2, 5, 10} {
		if w >= 2*heat {
			return fmt.Sprintf("%g W", w)
		}
	}
	return fmt.Sprintf("%.0f W", math.Ceil(2*heat))
}

// guideSettings lists captures to take, with what to set for each; first is the
// letter of the first.
func guideSettings(para func(first, text string), settings []captureSetting, scope scopeLimits, first rune) {
	for i, s := range settings {
		para(fmt.Sprintf("  %c) ", first+rune(i)), s.names())
		if s.DivS == 0 {
			para("     not possible: ", s.WhyNot+"; use "+instead(s, scope))
			continue
		}
		para("     set: ", s.settings())
		if s.LeastS < s.MostS {
			mode, most := "", s.MostS
			if !s.Fast {
				mode = ", in high-resolution mode"
			}
			if !s.Fast && s.RateHz >= analysis.CleanRateHz {
				most = math.Max(s.DivS, math.Min(most, floor125(float64(scope.withDefaults().Memory)/analysis.CleanRateHz/divisions)))
			}
			if s.LeastS < most {
				para("     also works: ", fmt.Sprintf("%s/div to %s/div%s", secondsText(s.LeastS), secondsText(most), mode))
			}
		}
		switch {
		case s.Fast:
		case s.RateHz >= analysis.CleanRateHz:
			para("     sheet: ", "anti_aliased = true in the entry of a capture made in high-resolution mode, unless the file states the mode")
		default:
			decides := "a sound card or more memory"
			if s.Mode == capture.Common {
				decides = "more memory"
			}
			para("     note: ", fmt.Sprintf("below %s, high-resolution mode lets part of the switching ripple alias into the audio band: an audio figure is then an upper limit, which can pass a unit but not fail it; %s decides", rateText(analysis.CleanRateHz), decides))
		}
		if s.VoltsPerDiv > 0 {
			para("     range: ", fmt.Sprintf("begin at %s/div, which fits the ripple and spikes of a unit at its limits; lower V/div until just before a peak is clipped; raise it if one is", capture.SI(s.VoltsPerDiv, "V", 3)))
		}
		if s.Fast && s.RateHz < pulseRateHz {
			para("     note: ", fmt.Sprintf("at %s a pulse shorter than %s has fewer than four samples; its peak is then a lower bound", rateText(s.RateHz), secondsText(4/s.RateHz)))
		}
		if !s.Fast && s.Mode == capture.Differential {
			para("     why: ", "the 20 MHz bandwidth limit doesn't prevent aliasing here: the switching ripple would show up in the audio band")
			para("     or: ", "a sound card's line input, half a second or more as 24-bit WAV (volts_per_full_scale in the sheet; calibrate it with a sine that the meter or the scope reads as well). "+soundCardWords)
		}
	}
}

// guideSpans tells for every limit by itself what would do.
func guideSpans(para func(first, text string), limits []target.Limit, scope scopeLimits) {
	for _, l := range limits {
		for _, s := range planSettings([]target.Limit{l}, scope) {
			span := secondsText(s.LeastS) + "/div to " + secondsText(s.MostS) + "/div"
			switch {
			case s.DivS == 0:
				span = s.WhyNot
			case s.LeastS == s.MostS:
				span = secondsText(s.LeastS) + "/div"
			}
			para(fmt.Sprintf("     %-28s ", strings.TrimSpace(l.Name)), fmt.Sprintf("%s or longer, %s or faster: %s", secondsText(s.NeedS), rateText(s.NeedHz), span))
		}
	}
}
