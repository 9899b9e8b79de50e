package filter

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"stillglow/analysis/heater"
	"stillglow/analysis/target"
)

// mostVolts is the most that the supply is known to show, unloaded mostly:
// readings, the line through them, and the label.
func mostVolts(u target.Unit, loadedV float64) float64 {
	most := math.Max(loadedV, u.RatedV)
	for _, r := range u.Readings {
		most = math.Max(most, r.V)
	}
	if r := target.OutputResistance(u.Readings); r.Known && r.Value > 0 {
		most = math.Max(most, loadedV+r.Value*u.HeaterA)
	}
	return most
}

// circuitOf gives the circuit without its filter parts, and the dropper.
func circuitOf(in Input, before target.Evaluation, opt Options) (c Circuit, fit dropper, trouble string) {
	heaterV, amps := opt.HeaterV, in.Unit.HeaterA
	if heaterV <= 0 {
		heaterV = defaultHeaterV
	}
	if amps <= 0 {
		return c, fit, "the heaters' current is not known, so neither is the dropper; list the valves"
	}
	c.SourceOhm, c.SourceH, c.CSource = opt.SourceOhm, opt.SourceH, opt.CSource
	if c.SourceOhm <= 0 && before.OutputOhm.Known {
		c.SourceOhm = math.Max(0, before.OutputOhm.Value)
	}
	c.LoadOhm, c.RatingW = heaterV/amps, opt.DropperW
	fit = dropper{ohm: opt.DropperOhm, label: opt.DropperLabel, series: opt.Series, loadA: amps}
	if fit.series == "" {
		fit.series = "E24"
	}
	if fit.ohm > 0 {
		return c, fit, ""
	}
	if !before.LoadedV.Known {
		return c, fit, "the DC under load is not known, so neither is the dropper; take a meter reading"
	}
	fit.ohm, fit.label = fit.nearest((before.LoadedV.Value-heaterV)/amps), ""
	if fit.ohm <= 0 {
		return c, fit, fmt.Sprintf("%.3g V leaves no drop for a filter above %.3g V", before.LoadedV.Value, heaterV)
	}
	return c, fit, ""
}

// dropper is the resistance that stands between supply and heaters anyway.
type dropper struct {
	ohm    float64
	label  string // as it is bought, "" for one resistor
	series string // of standard values
	loadA  float64
}

// dropperTol is the usual tolerance of a power resistor.
const dropperTol = 0.05

// beside is what to fit in series with a coil of the given resistance: the
// dropper itself where the coil adds less than its tolerance, else the standard
// value nearest to what the coil leaves of it, 0 for none.
func (d dropper) beside(dcrOhm float64) (ohm float64, label string) {
	if dcrOhm <= dropperTol*d.ohm {
		return d.ohm, d.label
	}
	return d.nearest(d.ohm - dcrOhm), ""
}

// nearest is the standard value nearest to ohm; 0 when a piece of wire is nearer.
func (d dropper) nearest(ohm float64) float64 {
	below, above, err := heater.Neighbours(d.series, ohm)
	switch {
	case err != nil: // a series that no plan takes
		return math.Max(0, ohm)
	case above > 0 && above-ohm < ohm-below:
		return above
	}
	return below
}

// candidates in order of cost, with a damped one for every coil whether it rings or not
// (see needlesslyDamped).
func candidates(base Circuit, fit dropper, cat Catalogue) []Circuit {
	var list []Circuit
	// A short ceramic stands beside every bulk capacitor that it helps.
	add := func(c Circuit) {
		helped := false
		for _, small := range cat.Bypass {
			bulk := c.C1
			if c.Topology == CLC {
				bulk = c.C2
			}
			if small.F*bypassTimes < bulk.F && small.ESLH < bulk.ESLH {
				c.CFilm, helped = small, true
				list = append(list, c)
			}
		}
		if !helped {
			list = append(list, c)
		}
	}
	for _, bulk := range cat.Bulk {
		c := base
		c.Topology, c.ROhm, c.RLabel, c.C1 = RC, fit.ohm, fit.label, bulk
		add(c)
		for _, coil := range cat.Coils {
			if coil.DCROhm > fit.ohm || coil.RatedA > 0 && coilReserve*fit.loadA > coil.RatedA {
				continue // the coil alone would drop too much, or saturate
			}
			c := base
			c.L, c.C1 = coil, bulk
			c.ROhm, c.RLabel = fit.beside(coil.DCROhm)
			c.Topology = LC
			add(c)
			c.Topology, c.C2 = CLC, bulk
			add(c)
		}
	}
	for _, c := range list {
		if c.Topology != RC {
			list = append(list, damped(c))
		}
	}
	slices.SortStableFunc(list, func(a, b Circuit) int { return cmp.Compare(a.cost(), b.cost()) })
	return list
}

// damped adds the usual damping across the output: a resistor of about the
// characteristic impedance √(L/C), in series with at least four times the
// capacitance so that it is there at the resonance (Middlebrook's rule of thumb,
// from memory). Standard values of E12 and E3 (IEC 60063).
func damped(c Circuit) Circuit {
	out := c.C1.F
	if c.Topology == CLC {
		out = c.C2.F
	}
	wanted := math.Sqrt(c.L.H / out)
	c.CDamp = dampingCapacitor(wanted, out)
	c.DampOhm = 0
	if ohm := wanted - c.CDamp.ESROhm; ohm >= leastDampOhm {
		e12, _ := heater.ESeries("E12") // a name that it knows
		c.DampOhm = standard(ohm, e12, false)
	}
	return c
}

// leastDampOhm is the least resistance that is fitted to damp: with less to add, the
// capacitor's own ESR does it.
const leastDampOhm = 0.08

// dampingCapacitor is the least standard electrolytic that damps a resonance which wants
// so many ohms across a capacitor of so many farads: several times as great, and with an
// ESR that leaves room for the ohms.
func dampingCapacitor(wantedOhm, farads float64) Capacitor {
	for f := standard(dampTimes*farads, []float64{10, 22, 47}, true); ; f = standard(1.01*f, []float64{10, 22, 47}, true) {
		if c, err := NewCapacitor(Electrolytic, f); err != nil || c.ESROhm <= dampTol*wantedOhm || f > mostDampF {
			return c
		}
	}
}

// A damping branch may have a fifth more resistance than it wants, which raises the peak
// by less than a decibel; larger capacitors than the other are on no bench.
const (
	dampTol   = 1.2
	mostDampF = 10e-3
)

// needlesslyDamped reports whether the circuit without its damping would do as well.
func (c Circuit) needlesslyDamped() bool {
	if c.CDamp.F == 0 {
		return false
	}
	c.CDamp, c.DampOhm = Capacitor{}, 0
	_, db := peak(c)
	return db <= worstPeakDB
}

// standard is the member of a series nearest to v in ratio, or the least not
// below it. series holds one decade from 10.
func standard(v float64, series []float64, up bool) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(v))-1)
	best, bestErr := math.NaN(), math.Inf(1)
	for _, scale := range []float64{decade / 10, decade, decade * 10} {
		for _, m := range series {
			x := m * scale
			if up && x < v*(1-rounding) {
				continue
			}
			if e := math.Abs(math.Log(x / v)); e < bestErr {
				best, bestErr = x, e
			}
		}
	}
	return best
}
