package target

import (
	"math"
	"math/cmplx"
)

// Reference is how the heater circuit is tied to the preamp's ground.
type Reference string

// The references of a heater.
const (
	OneEnd    Reference = "one end"    // one side of the heater joined to ground
	CentreTap Reference = "centre tap" // two equal resistors from both sides to ground, or a tap
	Elevated  Reference = "elevated"   // one side on a divider some tens of volts up, bypassed to ground
)

// References lists them.
func References() []Reference { return []Reference{OneEnd, CentreTap, Elevated} }

// What ties a heater to ground where a stage does not say (common practice, no
// source).
const (
	oneEndOhm   = 0.1   // a wire and its joints
	oneEndH     = 1e-6  // a metre of it
	centreOhm   = 50.0  // two resistors of 100 Ω, side by side for a current on both wires
	elevatedOhm = 50e3  // the divider
	elevatedF   = 10e-6 // its bypass
	oneEndShare = 0.5   // heater volts against ground, on the mean along the heater: 0 at one end, all at the other
	tapResidue  = 0.05  // what a centre tap leaves of that: two resistors of 5 % and unlike halves of the heater
	captureOhm  = 100.0 // that a common-mode capture is made across
	sourceOhm   = 47e3  // of the grid's circuit: a moving-magnet input, or the worst of a 200 kΩ volume control
	heaterGridF = 0.5e-12
)

// cathodePath is the ratio of input-referred volts to volts between heater and
// ground at hz > 0, by heater and cathode.
//
// Heater and cathode are joined by C_hk beside R_hk; the cathode's own network
// Z_k is small against them. The current that arrives makes, by Thevenin's
// theorem, a source of Vh·Zk/(Zk+Zhk) in series with Zk in the cathode's lead,
// and a volt there acts like (mu+1)/mu volts at the grid whatever the load,
// because the grid is worked by mu and the cathode by mu+1. Divided by the gain
// ahead, it stands at the preamp's input.
func (s Stage) cathodePath(hz float64) float64 {
	zk := s.cathodeOhm(hz)
	yhk := complex(1/s.HeaterCathodeOhm, 2*math.Pi*hz*s.HeaterCathodeF)
	return cmplx.Abs(zk/(zk+1/yhk)) * (s.Mu + 1) / s.Mu / s.GainBefore
}

// gridPath is the same by heater and grid: C_hg into the resistance that the grid
// sees.
func (s Stage) gridPath(hz float64) float64 {
	x := 2 * math.Pi * hz * s.HeaterGridF * s.SourceOhm
	return x / math.Hypot(1, x) / s.GainBefore
}

// heaterPath joins the two as if they came in step, which they need not: the most
// that both can make.
func (s Stage) heaterPath(hz float64) float64 { return s.cathodePath(hz) + s.gridPath(hz) }

// referenceOhm is what ties the heater to ground for a current on both its wires.
func (s Stage) referenceOhm(hz float64) float64 {
	if s.ReferenceOhm > 0 && s.ReferenceF == 0 {
		return s.ReferenceOhm
	}
	w := 2 * math.Pi * hz
	switch s.Reference {
	case CentreTap:
		return centreOhm
	case Elevated:
		r, c := s.ReferenceOhm, s.ReferenceF
		if r == 0 {
			r = elevatedOhm
		}
		if c == 0 {
			c = elevatedF
		}
		return r / math.Hypot(1, w*r*c)
	}
	return math.Hypot(oneEndOhm, w*oneEndH)
}

// differentialShare is how much of the volts across the heater stands between it
// and ground, on the mean along the heater.
func (s Stage) differentialShare() float64 {
	if s.Reference == CentreTap {
		return oneEndShare * 2 * tapResidue
	}
	return oneEndShare
}

// Coupling is the ratio of input-referred volts to volts across the heater at
// hz > 0.
func (s Stage) Coupling(hz float64) float64 {
	s = s.withDefaults()
	return s.heaterPath(hz) * s.differentialShare()
}

// commonCoupling is the ratio of input-referred volts to those of a common-mode
// capture at hz > 0. What the capture shows across its 100 Ω is a current, which
// the preamp's own way to ground turns into volts between heater and ground. At
// audio frequencies the supply's stray capacitance, kilohms and more, sets that
// current; where it does not, less flows into a greater resistance and the ratio is
// an upper one.
func (s Stage) commonCoupling(hz float64) float64 {
	s = s.withDefaults()
	return s.heaterPath(hz) * s.referenceOhm(hz) / captureOhm
}

// CouplingDB is the stage's Coupling at hz > 0 in dB.
func CouplingDB(s Stage, hz float64) float64 { return 20 * math.Log10(s.Coupling(hz)) }

// CommonCouplingDB is the stage's commonCoupling at hz > 0 in dB.
func CommonCouplingDB(s Stage, hz float64) float64 { return 20 * math.Log10(s.commonCoupling(hz)) }
