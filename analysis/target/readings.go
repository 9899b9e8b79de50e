package target

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// OutputResistance is the slope of volts against load current in ohms, turned
// positive, by least squares over the meter readings. It needs readings at two
// or more loads; with three and more it carries the fit's uncertainty.
func OutputResistance(readings []Reading) figure.Figure {
	_, slope, u, err := fitLine(readings)
	if err != "" {
		return figure.NotMeasured(err)
	}
	return figure.Figure{Value: -slope, Known: true, U: u}
}

// fitLine fits volts = v0 + slope*amps. u is the slope's expanded uncertainty,
// 0 with two readings. trouble tells why there is no fit.
func fitLine(readings []Reading) (v0, slope, u float64, trouble string) {
	var x, y []float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range readings {
		if !r.sound() {
			return 0, 0, 0, fmt.Sprintf("a reading of %g V at %g A can't be right", r.V, r.LoadA)
		}
		x, y = append(x, r.LoadA), append(y, r.V)
		lo, hi = math.Min(lo, r.LoadA), math.Max(hi, r.LoadA)
	}
	if len(x) < 2 || hi-lo < leastLoadApartA {
		return 0, 0, 0, "needs meter readings at two load currents or more"
	}
	v0, slope = stat.LinearRegression(x, y, nil, false)
	if n := float64(len(x)); n > 2 {
		var ss, sxx float64
		mean := stat.Mean(x, nil)
		for i := range x {
			e := y[i] - v0 - slope*x[i]
			ss += e * e
			sxx += (x[i] - mean) * (x[i] - mean)
		}
		t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}.Quantile(0.975)
		u = t * math.Sqrt(ss/(n-2)/sxx)
	}
	return v0, slope, u, ""
}

// sound reports whether a reading can be one: finite, below any heater supply's
// volts and amps by far, drawn from it.
func (r Reading) sound() bool {
	return math.Abs(r.V) < mostReading && r.LoadA >= 0 && r.LoadA < mostReading
}

// LoadedVolts is the unit's DC at the heaters' current: from the fit through
// its meter readings, from the single reading there, or else from a DC-coupled
// capture at that load. from says which.
func LoadedVolts(u Unit) (volts figure.Figure, from string) {
	reason := "no meter reading and no DC-coupled capture at the heaters' current"
	if len(u.Readings) > 0 {
		f, from := readVolts(u)
		if f.Known {
			return f, from
		}
		reason = f.Missing
	}
	return capturedVolts(u, reason)
}

// readVolts is the DC at the heaters' current by the meter readings, of which there
// is one or more; where that current is not known, at the greatest that was read.
func readVolts(u Unit) (volts figure.Figure, from string) {
	most := u.Readings[0]
	for _, r := range u.Readings[1:] {
		if r.LoadA > most.LoadA {
			most = r
		}
	}
	if u.HeaterA <= 0 && most.sound() {
		return figure.Known(most.V), fmt.Sprintf("meter reading at %.3g A, the heaters' current not being known", most.LoadA)
	}
	if f, from := readThere(u); f.Known || f.Missing != "" {
		return f, from
	}
	v0, slope, uSlope, trouble := fitLine(u.Readings)
	switch {
	case trouble != "":
		return figure.NotMeasured(fmt.Sprintf("one meter reading away from the heaters' %.3g A; take one there", u.HeaterA)), ""
	case !(u.HeaterA <= most.LoadA*(1+extrapolate)): // of what is no number neither
		return figure.NotMeasured(fmt.Sprintf("readings reach %.3g A, the heaters draw %.3g A; take one there", most.LoadA, u.HeaterA)), ""
	}
	if _, _, off := bent(u.Readings); off {
		return readBetween(u)
	}
	f := figure.Known(v0 + slope*u.HeaterA)
	if uSlope > 0 {
		f.U = uSlope * math.Abs(u.HeaterA-meanLoad(u.Readings))
	}
	return f, "meter readings"
}

// readThere is the mean of the meter readings at the heaters' current, with half their
// range as its ±; no figure and no reason where there is none.
func readThere(u Unit) (volts figure.Figure, from string) {
	var at []Reading
	for _, r := range u.Readings {
		if math.Abs(r.LoadA-u.HeaterA) <= readingLoad*u.HeaterA && r.sound() {
			at = append(at, r)
		}
	}
	if len(at) == 0 {
		return figure.Figure{}, ""
	}
	lo, hi, sum := at[0].V, at[0].V, 0.0
	for _, r := range at {
		lo, hi, sum = math.Min(lo, r.V), math.Max(hi, r.V), sum+r.V
	}
	if hi-lo > bentOff*math.Abs(hi) {
		return figure.NotMeasured(fmt.Sprintf("the readings at the heaters' %.3g A differ, %.4g to %.4g V; take one anew", u.HeaterA, lo, hi)), ""
	}
	f := figure.Known(sum / float64(len(at)))
	f.U = (hi - lo) / 2
	return f, fmt.Sprintf("meter reading at %.3g A", at[0].LoadA)
}

// bent reports whether the readings lie off their straight line by more than a meter
// does, as those of a supply that sags or limits its current do, and gives the one
// furthest off with how far, in volts.
func bent(readings []Reading) (furthest Reading, byV float64, ok bool) {
	v0, slope, _, trouble := fitLine(readings)
	if trouble != "" || len(readings) <= 2 {
		return furthest, 0, false
	}
	most := 0.0
	for _, r := range readings {
		most = math.Max(most, math.Abs(r.V))
		if off := math.Abs(r.V - v0 - slope*r.LoadA); off > byV {
			furthest, byV = r, off
		}
	}
	return furthest, byV, byV > bentOff*most
}

// readBetween is the DC at the heaters' current between the readings on both sides of it,
// where they lie on no line: the volts fall with the load, so they are between the two.
func readBetween(u Unit) (volts figure.Figure, from string) {
	below, above := Reading{LoadA: -1}, Reading{LoadA: math.Inf(1)}
	for _, r := range u.Readings {
		if r.LoadA <= u.HeaterA && r.LoadA > below.LoadA {
			below = r
		}
		if r.LoadA >= u.HeaterA && r.LoadA < above.LoadA {
			above = r
		}
	}
	const no = "the meter readings do not lie on a straight line"
	switch {
	case below.LoadA < 0 || math.IsInf(above.LoadA, 1):
		return figure.NotMeasured(fmt.Sprintf("%s, and none lies beyond the heaters' %.3g A; take one there", no, u.HeaterA)), ""
	case math.Abs(below.V-above.V) > 2*bentOff*math.Abs(below.V):
		return figure.NotMeasured(fmt.Sprintf("%s, and the heaters' %.3g A lie between %.4g V at %.3g A and %.4g V at %.3g A; take one there",
			no, u.HeaterA, below.V, below.LoadA, above.V, above.LoadA)), ""
	}
	f := figure.Known(below.V + (above.V-below.V)*(u.HeaterA-below.LoadA)/(above.LoadA-below.LoadA))
	f.U = math.Abs(below.V-above.V) / 2
	return f, "meter readings"
}

// outputResistance is the slope through the readings; where they lie on no line, through
// those up to the heaters' current: that is where the volts go when a valve is pulled.
func outputResistance(u Unit) figure.Figure {
	if _, _, off := bent(u.Readings); off && u.HeaterA > 0 {
		var lighter []Reading
		for _, r := range u.Readings {
			if r.LoadA <= u.HeaterA*(1+readingLoad) {
				lighter = append(lighter, r)
			}
		}
		if f := OutputResistance(lighter); f.Known {
			return f
		}
	}
	return OutputResistance(u.Readings)
}

// capturedVolts is the DC that the DC-coupled captures at the heaters' current show;
// reason is why nothing else did.
func capturedVolts(u Unit, reason string) (volts figure.Figure, from string) {
	var figs []figure.Figure
	for _, m := range u.Captures {
		f := sane(m.DCV)
		if !f.Known || !m.Calibrated || m.Coupling == capture.CouplingAC || m.Mode != capture.Differential {
			continue
		}
		if m.HasCaution(CautionVoltsImpossible) {
			reason = m.File + " shows volts that can't be this unit's"
			continue
		}
		if u.HeaterA > 0 && m.LoadA > 0 && math.Abs(m.LoadA-u.HeaterA) > sameVoltsLoad*u.HeaterA {
			continue
		}
		if from == "" {
			from = m.File
		}
		figs = append(figs, f)
	}
	if len(figs) == 0 {
		return figure.NotMeasured(reason), ""
	}
	return average(figs, linear), from
}

func meanLoad(readings []Reading) float64 {
	var sum float64
	for _, r := range readings {
		sum += r.LoadA
	}
	return sum / float64(len(readings))
}
