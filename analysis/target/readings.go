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
	for _, r := range u.Readings {
		if math.Abs(r.LoadA-u.HeaterA) <= readingLoad*u.HeaterA && r.sound() {
			return figure.Known(r.V), fmt.Sprintf("meter reading at %.3g A", r.LoadA)
		}
	}
	v0, slope, uSlope, trouble := fitLine(u.Readings)
	switch {
	case trouble != "":
		return figure.NotMeasured(fmt.Sprintf("one meter reading away from the heaters' %.3g A; take one there", u.HeaterA)), ""
	case !(u.HeaterA <= most.LoadA*(1+extrapolate)): // of what is no number neither
		return figure.NotMeasured(fmt.Sprintf("readings reach %.3g A, the heaters draw %.3g A; take one there", most.LoadA, u.HeaterA)), ""
	}
	f := figure.Known(v0 + slope*u.HeaterA)
	if uSlope > 0 {
		f.U = uSlope * math.Abs(u.HeaterA-meanLoad(u.Readings))
	}
	return f, "meter readings"
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
