package heater

import (
	"math"
	"slices"
)

// The thermal model of a heater: one temperature T, its resistance grows as
// T^tungstenP, its heat loss as T^m, with m chosen so that the steady state
// follows I ~ V^n exactly: n = (m-p)/(m+p). Hot and cold temperature follow
// from the hot to cold resistance ratio.
const (
	tungstenP = 1.2 // resistance of tungsten ~ T^1.2, from memory
	roomK     = 293.0
)

// Warm-up time is defined, from memory of the usual data sheets, as the time in
// which the volts across a heater reach 80 % of its rating when four times the
// rated volts are applied through a resistor of three times its hot resistance;
// 11 s is the usual figure. It fixes the heater's thermal mass.
const (
	usualWarmUpS  = 11.0
	testVolts     = 4.0
	testOhms      = 3.0
	testReach     = 0.8
	warmUpSteps   = 400   // rows kept
	warmUpStep    = 0.005 // integration step, in time constants
	warmUpLongest = 60.0  // time constants after which the simulation gives up
)

// thermal holds the model in relative terms: temperature over its rated one,
// power over the rated one.
type thermal struct {
	m, coldT float64 // loss exponent; room over hot temperature
	tauS     float64 // heat stored between room and hot, over the rated power
}

// newThermal calibrates the model.
func newThermal(o Options) thermal {
	n := math.Min(o.Exponent, 0.95) // an ohmic heater has no thermal story
	th := thermal{m: tungstenP * (1 + n) / (1 - n), coldT: math.Pow(1/o.ColdRatio, 1/tungstenP), tauS: 1}
	// How long is it in the test circuit, in time constants?
	unit := layout{strands: []strand{{count: 1, elems: []element{{v0: 1, i0: 1, mult: 1}}}}, sharedOhm: testOhms}
	reached := func(volts []float64) bool { return volts[0] >= testReach }
	r := unit.simulateTo(reached, Supply{Volts: testVolts}, th, 0, warmUpStep)
	if last := len(r.timeS) - 1; reached(r.volts[last]) {
		th.tauS = o.WarmUpS / r.timeS[last]
	}
	return th
}

// resistance relative to the hot one at relative temperature x.
func (th thermal) resistance(x float64) float64 { return math.Pow(x, tungstenP) }

// rate of change of the relative temperature per time constant.
func (th thermal) rate(x, power float64) float64 {
	loss := (math.Pow(x, th.m) - math.Pow(th.coldT, th.m)) / (1 - math.Pow(th.coldT, th.m))
	return (1 - th.coldT) * (power - loss)
}

// record is a simulated switch-on: by row time, by column kind of heater.
type record struct {
	timeS, loadA []float64
	temp         [][]float64 // relative to the rated temperature
	volts        [][]float64
	heaters      []heaterAt // what the columns are; volts unused
}

// warmUp simulates a layout from switch-on with all heaters at room
// temperature.
func (l layout) warmUp(s Supply, o Options) WarmUp {
	th := newThermal(o)
	r := l.simulate(s, th, 0, 4*warmUpStep)
	w := WarmUp{TimeS: r.timeS, LoadA: r.loadA}
	// The slowest heater decides, and its volts are shown.
	slowest, peak := 0, 0.0
	for j, h := range r.heaters {
		t90, t99 := r.reach(j, 0.9), r.reach(j, 0.99)
		if t99 > w.To99S {
			w.To90S, w.To99S, slowest = t90, t99, j
		}
		for k := range r.timeS {
			if rel := r.volts[k][j] / h.rated; rel > peak {
				peak, w.PeakV, w.PeakRelErr, w.PeakHeater = rel, r.volts[k][j], rel-1, h.valve.Type
			}
			w.PeakA = math.Max(w.PeakA, r.loadA[k])
		}
	}
	holdsA := s.RatedA
	if s.LimitA > 0 {
		holdsA = s.LimitA
	}
	if holdsA > 0 && w.PeakA > holdsA {
		held := l.simulate(s, th, holdsA, 4*warmUpStep)
		end := len(held.timeS) - 1
		if math.Abs(held.loadA[end]-r.loadA[len(r.loadA)-1]) < settledA*held.loadA[end] {
			w.HeldTo99S = held.reach(slowest, 0.99)
		}
	}
	w.Heater, w.RatedV = r.heaters[slowest].valve.Type, r.heaters[slowest].rated
	for _, row := range r.volts {
		w.HeaterV = append(w.HeaterV, row[slowest])
	}
	w.thin(2.5 * w.To99S)
	return w
}

// warmCircuit is a layout's circuit with heaters that are resistances by their
// temperature.
type warmCircuit struct {
	network
	th thermal
	at []struct{ branch, elem int } // the heaters' places in the network
}

// warmCircuit makes a layout's circuit on the supply; limitA is the current at which
// the supply holds, 0: it never limits. The heaters are those of its columns.
func (l layout) warmCircuit(s Supply, th thermal, limitA float64) (c warmCircuit, heaters []heaterAt) {
	c = warmCircuit{network: network{
		openV:     s.Volts + s.AtA*s.OutputOhm,
		sourceOhm: s.OutputOhm + s.LeadOhm + s.FilterOhm,
		sharedOhm: l.sharedOhm, diode: l.diode, diodes: l.diodes, limitA: limitA,
	}, th: th}
	for k, st := range l.strands {
		b := branch{name: st.name, count: st.count}
		if l.strandOhm != nil {
			b.ohm = l.strandOhm[k]
		}
		for j, e := range st.elems {
			e.ohmic = true
			b.elems = append(b.elems, e)
			c.at = append(c.at, struct{ branch, elem int }{k, j})
			heaters = append(heaters, heaterAt{strand: k, valve: e.valve, rated: e.v0})
		}
		c.branches = append(c.branches, b)
	}
	return c, heaters
}

// electrical solves the circuit with every heater at its relative temperature x:
// the supply's current, and each heater's volts and power over the rated power.
func (c *warmCircuit) electrical(x []float64) (loadA float64, volts, power []float64) {
	for j, p := range c.at {
		e := &c.branches[p.branch].elems[p.elem]
		e.ohm = e.beside(e.v0 / e.i0 * c.th.resistance(x[j]))
	}
	sol := c.solve()
	volts, power = make([]float64, len(c.at)), make([]float64, len(c.at))
	for j, p := range c.at {
		e := c.branches[p.branch].elems[p.elem]
		volts[j] = sol.branchA[p.branch] * e.ohm
		heater := e.v0 / e.i0 * c.th.resistance(x[j]) // without its shunt
		power[j] = volts[j] * volts[j] / heater / (e.v0 * e.i0)
	}
	return sol.totalA, volts, power
}

// rates are how fast the temperatures x change, per time constant.
func (c *warmCircuit) rates(x []float64) []float64 {
	_, _, power := c.electrical(x)
	for j := range power {
		power[j] = c.th.rate(x[j], power[j])
	}
	return power
}

// advance takes the temperatures x over h time constants, in inner steps short
// enough for a heater that is driven far too hard (classical Runge-Kutta).
func (c *warmCircuit) advance(x []float64, h float64) {
	for left := h; left > stepLeft*h; {
		k1 := c.rates(x)
		step := left
		for j := range x {
			step = math.Min(step, 0.5/(math.Abs(k1[j])/x[j]+c.th.m*math.Pow(x[j], c.th.m-1)))
		}
		k2 := c.rates(along(x, k1, step/2))
		k3 := c.rates(along(x, k2, step/2))
		k4 := c.rates(along(x, k3, step))
		for j := range x {
			x[j] += step / 6 * (k1[j] + 2*k2[j] + 2*k3[j] + k4[j])
		}
		left -= step
	}
}

// along is x moved by h times d.
func along(x, d []float64, h float64) []float64 {
	y := make([]float64, len(x))
	for j := range y {
		y[j] = x[j] + h*d[j]
	}
	return y
}

// simulate integrates the layout's heaters from room temperature until they
// settle, with a row every h time constants. limitA is the current at which the
// supply holds, 0: it never limits.
func (l layout) simulate(s Supply, th thermal, limitA, h float64) record {
	return l.simulateTo(func([]float64) bool { return false }, s, th, limitA, h)
}

// simulateTo is simulate, up to the first row whose volts are enough.
func (l layout) simulateTo(enough func(volts []float64) bool, s Supply, th thermal, limitA, h float64) record {
	c, heaters := l.warmCircuit(s, th, limitA)
	r := record{heaters: heaters}
	x := make([]float64, len(heaters))
	for j := range x {
		x[j] = th.coldT
	}
	for t := 0.0; t < warmUpLongest; t += h {
		loadA, volts, _ := c.electrical(x)
		r.timeS, r.loadA = append(r.timeS, t*th.tauS), append(r.loadA, loadA)
		r.temp, r.volts = append(r.temp, slices.Clone(x)), append(r.volts, volts)
		if enough(volts) || settled(c.rates(x)) {
			break
		}
		c.advance(x, h)
	}
	return r
}

// settled is true when no temperature moves any more.
func settled(rates []float64) bool {
	for _, d := range rates {
		if math.Abs(d) >= settledRate {
			return false
		}
	}
	return true
}

// reach is when heater j has made the share of its whole temperature rise, by
// linear interpolation.
func (r record) reach(j int, share float64) float64 {
	first, last := r.temp[0][j], r.temp[len(r.temp)-1][j]
	want := first + share*(last-first)
	for k := 1; k < len(r.temp); k++ {
		if a, b := r.temp[k-1][j], r.temp[k][j]; b >= want {
			return r.timeS[k-1] + (want-a)/(b-a)*(r.timeS[k]-r.timeS[k-1])
		}
	}
	return r.timeS[len(r.timeS)-1]
}

// thin cuts the record at untilS and keeps at most warmUpSteps rows, the first
// and last among them.
func (w *WarmUp) thin(untilS float64) {
	n := len(w.TimeS)
	for n > 2 && w.TimeS[n-1] > untilS {
		n--
	}
	rows := min(n, warmUpSteps)
	var t, v, a []float64
	for k := range rows {
		i := 0
		if rows > 1 {
			i = k * (n - 1) / (rows - 1)
		}
		t, v, a = append(t, w.TimeS[i]), append(v, w.HeaterV[i]), append(a, w.LoadA[i])
	}
	w.TimeS, w.HeaterV, w.LoadA = t, v, a
}
