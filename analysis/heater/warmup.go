package heater

import "math"

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
	// In the test circuit, in units of the time constant, how long is it?
	t := 0.0
	for x := th.coldT; t < warmUpLongest; t += warmUpStep {
		r := th.resistance(x)
		i := testVolts / (testOhms + r)
		if i*r >= testReach {
			break
		}
		x = th.step(x, warmUpStep, func(x float64) float64 {
			r := th.resistance(x)
			i := testVolts / (testOhms + r)
			return i * i * r
		})
	}
	th.tauS = o.WarmUpS / t
	return th
}

// resistance relative to the hot one at relative temperature x.
func (th thermal) resistance(x float64) float64 { return math.Pow(x, tungstenP) }

// rate of change of the relative temperature per time constant.
func (th thermal) rate(x, power float64) float64 {
	loss := (math.Pow(x, th.m) - math.Pow(th.coldT, th.m)) / (1 - math.Pow(th.coldT, th.m))
	return (1 - th.coldT) * (power - loss)
}

// step advances one heater by h time constants (classical Runge-Kutta).
func (th thermal) step(x, h float64, power func(x float64) float64) float64 {
	k1 := th.rate(x, power(x))
	k2 := th.rate(x+h/2*k1, power(x+h/2*k1))
	k3 := th.rate(x+h/2*k2, power(x+h/2*k2))
	k4 := th.rate(x+h*k3, power(x+h*k3))
	return x + h/6*(k1+2*k2+2*k3+k4)
}

// warmUp simulates a layout from switch-on with all heaters at room
// temperature.
func (l layout) warmUp(s Supply, o Options) WarmUp {
	th := newThermal(o)
	net := network{
		openV:     s.Volts + s.AtA*s.OutputOhm,
		sourceOhm: s.OutputOhm + s.LeadOhm + s.FilterOhm,
		sharedOhm: l.sharedOhm, diode: l.diode, diodes: l.diodes,
	}
	type at struct{ b, e int }
	var heaters []at
	for k, st := range l.strands {
		b := branch{name: st.name, count: st.count}
		if l.strandOhm != nil {
			b.ohm = l.strandOhm[k]
		}
		for j, e := range st.elems {
			e.ohmic = true
			b.elems = append(b.elems, e)
			heaters = append(heaters, at{k, j})
		}
		net.branches = append(net.branches, b)
	}
	// electrical solves the circuit with every heater at its temperature.
	electrical := func(x []float64) (p point, relPower, relVolts []float64) {
		for j, h := range heaters {
			e := &net.branches[h.b].elems[h.e]
			e.ohm = e.v0 / e.i0 * th.resistance(x[j])
		}
		p = net.solve()
		relPower, relVolts = make([]float64, len(x)), make([]float64, len(x))
		for j, h := range heaters {
			e := net.branches[h.b].elems[h.e]
			i := p.branchA[h.b]
			relPower[j] = i * i * e.ohm / (e.v0 * e.i0)
			relVolts[j] = i * e.ohm / e.v0
		}
		return p, relPower, relVolts
	}
	n := len(heaters)
	rates := func(x []float64) []float64 {
		_, power, _ := electrical(x)
		d := make([]float64, n)
		for j := range d {
			d[j] = th.rate(x[j], power[j])
		}
		return d
	}
	along := func(x, d []float64, h float64) []float64 {
		y := make([]float64, n)
		for j := range y {
			y[j] = x[j] + h*d[j]
		}
		return y
	}
	x := make([]float64, n)
	for j := range x {
		x[j] = th.coldT
	}
	const h = 4 * warmUpStep
	var temps [][]float64
	var w WarmUp
	var volts [][]float64
	peak := 0.0
	for t := 0.0; t < warmUpLongest; t += h {
		p, _, rel := electrical(x)
		temps = append(temps, append([]float64(nil), x...))
		row := make([]float64, n)
		for j, hh := range heaters {
			row[j] = rel[j] * net.branches[hh.b].elems[hh.e].v0
			if rel[j] > peak {
				peak, w.PeakV = rel[j], row[j]
			}
		}
		volts = append(volts, row)
		w.TimeS = append(w.TimeS, t*th.tauS)
		w.LoadA = append(w.LoadA, p.totalA)
		w.PeakA = math.Max(w.PeakA, p.totalA)
		k1 := rates(x)
		settled := true
		for j := range k1 {
			settled = settled && math.Abs(k1[j]) < 1e-5
		}
		if settled {
			break
		}
		k2 := rates(along(x, k1, h/2))
		k3 := rates(along(x, k2, h/2))
		k4 := rates(along(x, k3, h))
		for j := range x {
			x[j] += h / 6 * (k1[j] + 2*k2[j] + 2*k3[j] + k4[j])
		}
	}
	// The slowest heater decides, and its volts are shown.
	slowest := 0
	for j := range heaters {
		t90, t99 := reach(w.TimeS, temps, j, 0.9), reach(w.TimeS, temps, j, 0.99)
		if t99 > w.To99S {
			w.To90S, w.To99S, slowest = t90, t99, j
		}
	}
	hh := heaters[slowest]
	w.Heater = net.branches[hh.b].elems[hh.e].valve.Type
	for _, row := range volts {
		w.HeaterV = append(w.HeaterV, row[slowest])
	}
	w.thin(2.5 * w.To99S)
	return w
}

// reach is when heater j has made the share of its whole temperature rise, by
// linear interpolation.
func reach(timeS []float64, temps [][]float64, j int, share float64) float64 {
	first, last := temps[0][j], temps[len(temps)-1][j]
	want := first + share*(last-first)
	for k := 1; k < len(temps); k++ {
		if temps[k][j] >= want {
			f := (want - temps[k-1][j]) / (temps[k][j] - temps[k-1][j])
			return timeS[k-1] + f*(timeS[k]-timeS[k-1])
		}
	}
	return timeS[len(timeS)-1]
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
