package target

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"stillglow/capture"
)

// Stage is the valve stage whose heater the supply feeds.
type Stage struct {
	CathodeOhm       float64   // cathode resistor, ohms, > 0
	BypassF          float64   // bypass capacitor across it, farads, 0: none
	BypassESROhm     float64   // its series resistance, ohms; 0: none
	HeaterCathodeF   float64   // heater-cathode capacitance, farads, 0: DefaultHeaterCathodeF
	HeaterCathodeOhm float64   // heater-cathode insulation, hot, ohms, 0: DefaultHeaterCathodeOhm
	HeaterGridF      float64   // heater-grid capacitance, farads, 0: of the valve, else an upper bound
	SourceOhm        float64   // resistance that the grid sees, ohms, 0: DefaultSourceOhm
	Valve            string    // its type, for HeaterGridF; "" not told
	Reference        Reference // how the heater is tied
	ReferenceOhm     float64   // from the heater's reference to ground, ohms, 0: the usual of Reference
	ReferenceF       float64   // capacitor beside it, farads, only where elevated; 0: the usual
	Mu               float64   // amplification factor, 0: DefaultMu
	GmS              float64   // mutual conductance, siemens, 0: DefaultGmS
	Position         string    // "first" (also "") or "second"
	GainBefore       float64   // ratio from the preamp's input to this stage's grid, 0: 1
	GainAfter        float64   // ratio from this stage's grid to the output at 1 kHz, 0: 1
	RIAA             bool      // the output is de-emphasised by the RIAA replay curve
}

// What a stage is taken to be where it does not say, all from memory: a small
// double triode of high mu.
const (
	DefaultHeaterCathodeF   = 5e-12       // 2.5 to 5 pF usual for a section
	DefaultHeaterCathodeOhm = 10e6        // data-sheet leakage limits mean 4 to 20 MΩ
	DefaultHeaterGridF      = heaterGridF // an upper bound: small triodes' data sheets say 0.1 to 0.2 pF, socket and wiring add
	DefaultSourceOhm        = sourceOhm
	DefaultMu               = 100.0
	DefaultGmS              = 1.6e-3
)

// withDefaults fills in what is not given.
func (s Stage) withDefaults() Stage {
	set := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	set(&s.HeaterCathodeF, DefaultHeaterCathodeF)
	set(&s.HeaterCathodeOhm, DefaultHeaterCathodeOhm)
	if v, ok := gridValveOf(s.Valve); ok {
		set(&s.HeaterGridF, v.farads)
	}
	set(&s.HeaterGridF, DefaultHeaterGridF)
	set(&s.SourceOhm, DefaultSourceOhm)
	if s.Reference == "" {
		s.Reference = OneEnd
	}
	set(&s.Mu, DefaultMu)
	set(&s.GmS, DefaultGmS)
	set(&s.GainBefore, 1)
	set(&s.GainAfter, 1)
	if s.Position == "" {
		s.Position = "first"
	}
	return s
}

// Check tells what of a stage can't be.
func (s Stage) Check() error {
	if !(s.CathodeOhm > 0) || math.IsInf(s.CathodeOhm, 0) {
		return fmt.Errorf("cathode resistor is %g Ω, expected a positive number", s.CathodeOhm)
	}
	for _, p := range []struct {
		name string
		v    float64
	}{
		{"bypass capacitor", s.BypassF}, {"bypass capacitor's series resistance", s.BypassESROhm},
		{"heater-cathode capacitance", s.HeaterCathodeF}, {"heater-cathode insulation", s.HeaterCathodeOhm},
		{"heater-grid capacitance", s.HeaterGridF}, {"grid circuit's resistance", s.SourceOhm},
		{"resistance from the heater to ground", s.ReferenceOhm}, {"capacitor across it", s.ReferenceF}, {"mu", s.Mu}, {"mutual conductance", s.GmS}, {"gain before", s.GainBefore}, {"gain after", s.GainAfter},
	} {
		if !(p.v >= 0) || math.IsInf(p.v, 0) {
			return fmt.Errorf("%s is %g, expected a number of 0 or more", p.name, p.v)
		}
	}
	if s.Position != "" && s.Position != "first" && s.Position != "second" {
		return errors.New("stage position is " + s.Position + `, expected "first" or "second"`)
	}
	if s.Reference != "" && !slices.Contains(References(), s.Reference) {
		return fmt.Errorf("heater tied to ground at %q, expected %q, %q or %q", string(s.Reference), OneEnd, CentreTap, Elevated)
	}
	if s.ReferenceF > 0 && s.Reference != Elevated {
		return fmt.Errorf("a capacitor from the heater to ground, expected it only with the heater %q", Elevated)
	}
	return nil
}

// cathodeOhm is the impedance of cathode resistor and bypass at hz.
func (s Stage) cathodeOhm(hz float64) complex128 {
	z := complex(s.CathodeOhm, 0)
	if s.BypassF > 0 {
		c := complex(s.BypassESROhm, -1/(2*math.Pi*hz*s.BypassF))
		z = z * c / (z + c)
	}
	return z
}

// thermal is the input-referred density in V/√Hz of the cathode network's
// Johnson noise and the valve's shot noise, taken as that of a resistor of
// 2.5/gm at the grid (triode rule, from memory); flicker noise is left out.
func (s Stage) thermal(hz float64) float64 {
	s = s.withDefaults()
	const kT4 = 4 * 1.380649e-23 * 300 // Boltzmann's constant (SI 2019), 300 K
	n := (s.Mu + 1) / s.Mu
	return math.Sqrt(kT4*(real(s.cathodeOhm(hz))*n*n+2.5/s.GmS)) / s.GainBefore
}

// RIAA replay time constants of IEC 60098, in seconds (values from memory).
const (
	riaaT1 = 3180e-6
	riaaT2 = 318e-6
	riaaT3 = 75e-6
)

// riaaDB is the replay (de-emphasis) curve of IEC 60098 in dB relative to
// 1 kHz.
func riaaDB(hz float64) float64 {
	at := func(f float64) float64 {
		w := 2 * math.Pi * f
		sq := func(t float64) float64 { return 1 + w*w*t*t }
		return 10 * math.Log10(sq(riaaT2)/sq(riaaT1)/sq(riaaT3))
	}
	return at(hz) - at(1000)
}

// assumptions of the model, one sentence each.
func (s Stage) assumptions() []string {
	given := s
	s = s.withDefaults()
	mark := func(isDefault bool) string {
		if isDefault {
			return " (assumed, from memory)"
		}
		return ""
	}
	bypass := "unbypassed"
	if s.BypassF > 0 {
		bypass = fmt.Sprintf("bypassed with %s (series resistance %.3g Ω)", capture.SI(s.BypassF, "F", 3), s.BypassESROhm)
	}
	a := []string{
		fmt.Sprintf("cathode resistor %.4g Ω, %s", s.CathodeOhm, bypass),
		fmt.Sprintf("heater to cathode %s%s in parallel with %.3g MΩ%s", capture.SI(s.HeaterCathodeF, "F", 3), mark(given.HeaterCathodeF == 0), s.HeaterCathodeOhm/1e6, mark(given.HeaterCathodeOhm == 0)),
		fmt.Sprintf("heater to grid %s (%s), into %s that the grid sees%s", capture.SI(s.HeaterGridF, "F", 3), given.gridSource(), capture.SI(s.SourceOhm, "Ω", 3), mark(given.SourceOhm == 0)),
		fmt.Sprintf("mu %.3g%s and mutual conductance %.3g mA/V%s", s.Mu, mark(given.Mu == 0), s.GmS*1e3, mark(given.GmS == 0)),
		s.referenceWords(given.Reference == ""),
		"the cathode and grid paths are added in phase, which is the worst case; across the heater and common mode are added as powers: up to 3 dB more where the same frequency is in both",
		"the volts of a common-mode capture across 100 Ω are taken as a current, which flows to ground where the heater is tied to it; what it drops in ground wiring shared with the signal is not in the calculation",
		"insulation is taken as linear and noiseless; wiring, socket and magnetic coupling into the grid are left out",
		"the valve's own noise is that of a resistance of 2.5/gm at 300 K, with the cathode resistor's Johnson noise; flicker noise, grid current and the source's noise are left out",
		"sums run from 20 Hz to 20 kHz, A-weighted (IEC 61672-1)",
	}
	if s.RIAA {
		a = append(a, "RIAA replay curve of IEC 60098 (3180, 318 and 75 µs), 0 dB at 1 kHz, weights both the supply's contribution and the valve's own noise")
	}
	switch {
	case s.GainBefore != 1:
		a = append(a, fmt.Sprintf("%s stage, gain %.3g before it: figures are at the preamp's input", s.Position, s.GainBefore))
	case s.Position == "second":
		a = append(a, "second stage with no gain given before it: figures are at its own grid")
	default:
		a = append(a, "first stage: figures are at its grid, which is the preamp's input")
	}
	if s.GainAfter != 1 {
		a = append(a, fmt.Sprintf("gain %.4g from the grid to the output at 1 kHz", s.GainAfter))
	}
	return a
}

// cannotDecide names what lies outside of the model.
const cannotDecide = "spikes and ripple above 20 kHz: whether a valve or a bad joint rectifies them into the audio band is not in this model, so they keep their own limits"

// gridSource says where the heater-grid capacitance is from.
func (s Stage) gridSource() string {
	if s.HeaterGridF > 0 {
		return "given"
	}
	if v, ok := gridValveOf(s.Valve); ok {
		return s.Valve + ", at most: " + v.source
	}
	if s.Valve != "" {
		return "an upper bound, none being known for " + s.Valve
	}
	return "an upper bound; name the valve, or give its capacitance"
}

// referenceWords tell how the heater is tied to ground and what that means.
func (s Stage) referenceWords(assumed bool) string {
	words := ""
	switch s.Reference {
	case CentreTap:
		words = fmt.Sprintf("heater at a centre tap: %.2g %% of the volts across it appear to ground (5 %% resistors, unequal halves), and a common-mode current sees %s", 100*s.differentialShare(), capture.SI(s.referenceOhm(100), "Ω", 3))
	case Elevated:
		words = fmt.Sprintf("heater elevated: half of the volts across it appear to ground, and a common-mode current sees %s at 100 Hz; the calculation takes the insulation as linear and leaves out that elevating stops conduction from heater to cathode", capture.SI(s.referenceOhm(100), "Ω", 3))
	default:
		words = fmt.Sprintf("heater with one end at ground: half of the volts across it appear to ground, averaged along the heater, and a common-mode current sees %s at 100 Hz", capture.SI(s.referenceOhm(100), "Ω", 3))
	}
	if assumed {
		words += " (assumed; set heater_reference)"
	}
	return words + "; usual resistance and capacitance to ground (common practice, no source)"
}
