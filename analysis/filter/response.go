package filter

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Check tells what of a circuit can't be built or computed.
func (c Circuit) Check() error {
	switch c.Topology {
	case RC, LC, CLC:
	default:
		return fmt.Errorf("unknown filter topology %q, expected RC, LC or CLC", c.Topology)
	}
	for _, p := range []struct {
		name string
		v    float64
	}{
		{"source resistance", c.SourceOhm}, {"series resistance", c.ROhm}, {"load resistance", c.LoadOhm},
		{"first capacitor", c.C1.F}, {"its ESR", c.C1.ESROhm}, {"its ESL", c.C1.ESLH},
		{"second capacitor", c.C2.F}, {"its ESR", c.C2.ESROhm}, {"its ESL", c.C2.ESLH},
		{"bypass capacitor", c.CFilm.F}, {"its ESR", c.CFilm.ESROhm}, {"its ESL", c.CFilm.ESLH},
		{"coil", c.L.H}, {"coil's DCR", c.L.DCROhm}, {"coil's self-resonance", c.L.SelfResonanceHz},
		{"lead inductance", c.SourceH}, {"supply's output capacitor", c.CSource.F}, {"coil's rated current", c.L.RatedA},
		{"damping resistor", c.DampOhm}, {"damping capacitor", c.CDamp.F}, {"its ESR", c.CDamp.ESROhm}, {"its ESL", c.CDamp.ESLH},
	} {
		if !(p.v >= 0) || math.IsInf(p.v, 0) {
			return fmt.Errorf("%s filter: %s is %g, expected a number of 0 or more", c.Topology, p.name, p.v)
		}
	}
	switch {
	case c.Topology == RC && (c.C1.F == 0 || c.ROhm+c.SourceOhm == 0):
		return fmt.Errorf("an RC filter needs a resistor and a capacitor")
	case c.Topology == LC && (c.C1.F == 0 || c.L.H == 0):
		return fmt.Errorf("an LC filter needs a coil and a capacitor")
	case c.Topology == CLC && (c.C1.F == 0 || c.C2.F == 0 || c.L.H == 0):
		return fmt.Errorf("a CLC filter needs a coil and two capacitors")
	}
	return nil
}

// admittance of the capacitor at w rad/s, siemens; 0 where there is none.
func (p Capacitor) admittance(w float64) complex128 {
	if p.F == 0 || w == 0 {
		return 0
	}
	return 1 / complex(p.ESROhm, w*p.ESLH-1/(w*p.F))
}

// impedance of the coil at w rad/s: its inductance and DCR, with the winding
// capacitance beside both that gives the self-resonance.
func (p Inductor) impedance(w float64) complex128 {
	z := complex(p.DCROhm, w*p.H)
	if p.SelfResonanceHz > 0 && p.H > 0 {
		ws := 2 * math.Pi * p.SelfResonanceHz
		y := complex(0, w/(ws*ws*p.H))
		z /= 1 + z*y
	}
	return z
}

// output is the admittance across the heaters, the heaters included.
func (c Circuit) output(w float64) complex128 {
	var y complex128
	if c.LoadOhm > 0 {
		y = complex(1/c.LoadOhm, 0)
	}
	if c.Topology == CLC {
		y += c.C2.admittance(w)
	} else {
		y += c.C1.admittance(w)
	}
	y += c.CFilm.admittance(w)
	damping := c.CDamp
	damping.ESROhm += c.DampOhm
	return y + damping.admittance(w)
}

// Response is the ratio of the volts across the heaters to the supply's inner
// (open-circuit) volts at hz >= 0, by the network's admittances with every
// parasitic, loaded by LoadOhm (0: no load). The circuit must pass Check.
func Response(c Circuit, hz float64) complex128 {
	w := 2 * math.Pi * hz
	series := complex(c.ROhm, 0)
	if c.Topology != RC {
		series += c.L.impedance(w)
	}
	out := c.output(w)
	through := 1 / (1 + series*out) // heaters over the filter's input
	in := out * through             // admittance into coil, resistor and load
	if c.Topology == CLC {
		in += c.C1.admittance(w)
	}
	return through * c.feed(w, in)
}

// feed is the ratio of the volts behind the leads to the supply's inner volts,
// with an admittance there: output resistance, output capacitor, leads.
func (c Circuit) feed(w float64, in complex128) complex128 {
	lead := complex(0, w*c.SourceH)
	behind := 1 / (1 + lead*in)
	return behind / (1 + complex(c.SourceOhm, 0)*(c.CSource.admittance(w)+in*behind))
}

// Insertion is the insertion gain: the volts across the heaters with the filter
// over those at the supply's terminals with the heaters alone, at hz >= 0. It is
// what a spectrum measured at the supply's connector under the heater load is
// multiplied with.
func Insertion(c Circuit, hz float64) complex128 {
	w := 2 * math.Pi * hz
	bare := c.CSource.admittance(w)
	if c.LoadOhm > 0 {
		bare += 1 / complex(c.LoadOhm, w*c.SourceH)
	}
	return Response(c, hz) * (1 + complex(c.SourceOhm, 0)*bare)
}

// DB of a gain, -400 at the least.
func DB(h complex128) float64 {
	a := cmplx.Abs(h)
	if a < noGain {
		return -400
	}
	return 20 * math.Log10(a)
}

// DropV is the DC drop in volts across the filter's own series resistance at a
// load current; the supply's and the leads' are not in it.
func (c Circuit) DropV(loadA float64) float64 {
	r := c.ROhm
	if c.Topology != RC {
		r += c.L.DCROhm
	}
	return r * loadA
}

// slowest is about the longest time constant of the network in seconds.
func (c Circuit) slowest() float64 {
	r := c.SourceOhm + c.ROhm + c.L.DCROhm
	total := c.C1.F + c.C2.F + c.CFilm.F + c.CDamp.F + c.CSource.F
	tau := (r + c.C1.ESROhm + c.C2.ESROhm + c.DampOhm + c.CDamp.ESROhm) * total
	if c.SourceH > 0 {
		tau = math.Max(tau, 10*math.Sqrt(c.SourceH*total))
	}
	if c.Topology != RC {
		// an undamped ring dies with 2L/R
		if r > 0 {
			tau = math.Max(tau, 2*c.L.H/r)
		}
		tau = math.Max(tau, 10*math.Sqrt(c.L.H*total))
	}
	return tau
}
