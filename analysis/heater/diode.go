package heater

import "math"

// thermalV is kT/q at 300 K in volts.
const thermalV = 0.025852

// diodeModel is the usual forward law V = N·Vt·ln(I/Is + 1) + I·Rs.
type diodeModel struct {
	name     string
	isA      float64 // saturation current, A
	n        float64 // emission coefficient
	rsOhm    float64
	spreadV  float64 // sample and temperature spread of one diode, ± V
	inWords  string
	maxCount int
}

// Typical warm rectifiers, from memory: the silicon one 0.77 V at 0.1 A and
// 0.92 V at 1 A, the Schottky 0.30 V at 0.1 A and 0.40 V at 1 A. A forward drop
// falls by about 2 mV (silicon) or 1.5 mV (Schottky) a kelvin.
var (
	siliconDiode = diodeModel{
		name: "silicon diode", isA: 5.8e-8, n: 2.066, rsOhm: 0.03, spreadV: 0.10, maxCount: 4,
		inWords: "a common 1 to 3 A silicon rectifier, 0.77 V at 0.1 A and 0.92 V at 1 A, ±0.10 V with sample and temperature (typical, from memory)",
	}
	schottkyDiode = diodeModel{
		name: "Schottky diode", isA: 8.5e-6, n: 1.226, rsOhm: 0.03, spreadV: 0.07, maxCount: 4,
		inWords: "a common 3 A Schottky rectifier, 0.30 V at 0.1 A and 0.40 V at 1 A, ±0.07 V with sample and temperature (typical, from memory)",
	}
)

// volts of one diode at current i.
func (d *diodeModel) volts(i float64) float64 {
	return d.n*thermalV*math.Log1p(i/d.isA) + i*d.rsOhm
}

// slopeOhm is the small-signal resistance of one diode at current i.
func (d *diodeModel) slopeOhm(i float64) float64 {
	return d.n*thermalV/(i+d.isA) + d.rsOhm
}
