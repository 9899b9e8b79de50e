package target

import (
	"fmt"
	"math"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Cautions of one unit's captures that show only beside what else is known of the
// unit.
const (
	CautionVoltsImpossible = "volts_impossible" // far from what the unit's rating allows
	CautionACAsDC          = "ac_told_as_dc"    // DC coupling told, but the mean is near zero
	CautionVoltsUnlike     = "volts_unlike"     // the mean is not what the meter showed
)

// expectedV is the DC that a unit should show, in volts, 0 where nothing tells:
// its rating, else the highest meter reading.
func expectedV(u Unit) float64 {
	if u.RatedV > 0 {
		return u.RatedV
	}
	most := 0.0
	for _, r := range u.Readings {
		if r.sound() {
			most = math.Max(most, r.V)
		}
	}
	return most
}

// settleVolts compares each capture's volts with what the unit can give. Where
// they can't be its own, the capture gets a caution; where DC coupling is told
// and there is no DC, the capture counts as AC-coupled. Captures that change are
// copies.
func settleVolts(u Unit) []*analysis.Measurement {
	out := slices.Clone(u.Captures)
	want := expectedV(u)
	var read figure.Figure
	if len(u.Readings) > 0 {
		read, _ = readVolts(u)
	}
	for i, m := range out {
		if m == nil || !m.Calibrated || m.Mode != capture.Differential {
			continue
		}
		what, factor := impossible(want, m)
		switch {
		case what != "":
			of := ""
			if want > 0 {
				of = fmt.Sprintf(" of a %.3g V unit", want)
			}
			out[i] = withCaution(m, capture.Caution{Code: CautionVoltsImpossible,
				Text: what + of + ": the unit of the volts or the probe factor is wrong",
				Fix:  scaleFix(factor)})
		case m.Coupling != capture.CouplingAC && noDC(want, m):
			c := withCaution(m, capture.Caution{Code: CautionACAsDC,
				Text: fmt.Sprintf("stated as DC-coupled, but its mean is only %s: it is taken as AC-coupled and gives no DC", VoltText(m.DCV.Value)),
				Fix:  `write coupling = "ac" for it, and give a meter reading of the DC under load`})
			c.Coupling = capture.CouplingAC
			c.DCV = figure.NotMeasured("the mean is near zero, as of an AC-coupled capture; needs a meter reading or a DC-coupled capture")
			out[i] = c
		case unlikeReading(u, m, read):
			out[i] = withCaution(m, capture.Caution{Code: CautionVoltsUnlike,
				Text: fmt.Sprintf("its mean of %s is not the %s that the meter readings give at the heaters' current: it may be of another supply, channel or load", VoltText(m.DCV.Value), VoltText(read.Value)),
				Fix:  "make sure which unit, which channel and what load it shows, and read the meter again"})
		}
	}
	return out
}

// unlikeReading reports whether a capture at the heaters' current shows another DC than
// the meter did there, by more than a scope's errors of gain and offset.
func unlikeReading(u Unit, m *analysis.Measurement, read figure.Figure) bool {
	if !read.Known || !(read.Value > 0) || !m.DCV.Known || m.DCV.LowerBound || m.Coupling == capture.CouplingAC || m.HasCaution(capture.CautionProbeFactor) {
		return false
	}
	if u.HeaterA > 0 && m.LoadA > 0 && math.Abs(m.LoadA-u.HeaterA) > sameVoltsLoad*u.HeaterA {
		return false
	}
	return math.Abs(math.Abs(m.DCV.Value)-read.Value) > unlikeVolts*read.Value+m.DCV.U+read.U
}

// withCaution is a copy of the measurement with one caution more, or the
// measurement where it has it already.
func withCaution(m *analysis.Measurement, k capture.Caution) *analysis.Measurement {
	c := *m
	c.Cautions = slices.Clone(m.Cautions)
	if !m.HasCaution(k.Code) {
		c.Cautions = append(c.Cautions, k)
	}
	return &c
}

// noDC reports whether a capture's mean is too small for the DC of a unit of want
// volts.
func noDC(want float64, m *analysis.Measurement) bool {
	if !m.DCV.Known || m.DCV.LowerBound {
		return false
	}
	if want > 0 {
		return math.Abs(m.DCV.Value) < noDCOfRated*want
	}
	return math.Abs(m.DCV.Value) < noDCV
}

// impossible says which volts of a capture can't be those of a unit of want
// volts, "" where all can. factor is what the volts are too high by, about, 0
// where nothing tells.
func impossible(want float64, m *analysis.Measurement) (what string, factor float64) {
	dcKnown := m.DCV.Known && m.Coupling != capture.CouplingAC
	if !(want > 0) {
		if dcKnown && math.Abs(m.DCV.Value) > mostHeaterV {
			return fmt.Sprintf("a mean of %s can't be a heater supply's DC", VoltText(m.DCV.Value)), 0
		}
		return "", 0
	}
	dc := math.Abs(m.DCV.Value) / want
	if dcKnown && dc > mostOfRated {
		return fmt.Sprintf("a mean of %s can't be the DC", VoltText(m.DCV.Value)), dc
	}
	if dcKnown && math.Abs(dc/millivolts-1) < millivoltsOff {
		return fmt.Sprintf("a mean of %s, a thousandth, can't be the DC", VoltText(m.DCV.Value)), dc
	}
	if dcKnown && math.Abs(dc/tenth-1) < tenthOff {
		return fmt.Sprintf("a mean of %s, a tenth, can't be the DC", VoltText(m.DCV.Value)), dc
	}
	if dcKnown && math.Abs(dc-1) < rightDC {
		return "", 0
	}
	for _, f := range []figure.Figure{m.RipplePPV, m.PP20MHzV, m.PPV} {
		if limit := mostPPOfRated * want; f.Known && f.Value > limit {
			return fmt.Sprintf("%s peak-to-peak can't be the ripple", VoltText(f.Value)), 0
		}
	}
	return "", 0
}

// scaleFix says what to change where volts are off by about a factor.
func scaleFix(factor float64) string {
	const look = "compare the file's volts with the screen or a meter"
	for _, f := range []struct {
		by   float64
		does string
	}{
		{1e6, `the file is in microvolts: give volt_unit = "uV"`},
		{1e3, `the file is in millivolts: give volt_unit = "mV"`},
		{100, "set the scope channel's probe factor to match the probe, or give probe_factor = 0.01"},
		{10, "set the scope channel's probe factor to match the probe, or give probe_factor = 0.1"},
		{0.1, "set the scope channel's probe factor to match the probe, or give probe_factor = 10"},
		{1e-3, `the file's volts are a thousandth of the true ones: give scale = 1000`},
	} {
		if math.Abs(factor/f.by-1) < scaleFixOff {
			return f.does + "; " + look
		}
	}
	return "check the probe factor (probe_factor) and the unit of the volts (volt_unit); " + look
}

// readingFix says what to do about a reading far above the rating.
func readingFix(u Unit, v float64) string {
	if len(u.Readings) > 0 && math.Abs(v*millivolts/u.RatedV-1) < readInMV {
		return fmt.Sprintf("the reading seems to be in millivolts: write v = %.4g", v*millivolts)
	}
	return "check the rated volts and the reading"
}

// doubtedVolts are the doubts about the DC limit where the volts can't be the
// unit's: a meter reading or a capture far above the rating, or below zero.
func doubtedVolts(u Unit, index int, m Margin) []doubt {
	if u.RatedV > 0 && m.Covered && math.Abs(m.Figure.Value) > mostOfRated*u.RatedV {
		return []doubt{{margin: index, flips: true,
			text: fmt.Sprintf("%s can't be the DC of a unit rated %.3g V", VoltText(m.Figure.Value), u.RatedV),
			fix:  readingFix(u, m.Figure.Value)}}
	}
	if m.Covered && m.Figure.Value < 0 && !slices.ContainsFunc(u.Readings, func(r Reading) bool { return r.V < 0 }) { // see absurd
		return []doubt{{margin: index, flips: true,
			text: fmt.Sprintf("the supply's volts are negative, %s: the probe's tip and clip were exchanged, or the channel is inverted", VoltText(m.Figure.Value)),
			fix:  "exchange them and capture again, or give scale = -1 for a file that is right otherwise; see that the heaters get the volts the right way round"}}
	}
	for _, c := range u.Captures {
		for _, k := range c.Cautions {
			if k.Code == CautionVoltsImpossible && !m.Covered {
				return []doubt{{margin: index, flips: true, text: c.File + ": " + k.Text, fix: k.Fix}}
			}
		}
	}
	return nil
}
