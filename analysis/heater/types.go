// Package heater plans the heater circuit: valve heater data, load sum,
// operating point, dropper resistor, corners, pulled valves and cold start.
// It imports nothing else of this project.
package heater

// Valve is one type's heater data.
type Valve struct {
	Type         string
	Aliases      []string
	Volts, Amps  float64 // nominal, parallel connection for a centre-tapped heater
	CentreTapped bool    // can also be wired in series: 2 x Volts at Amps/2
	VoltTol      float64 // permissible relative heater voltage error, 0.05 or 0.10
	AmpTol       float64 // spread of heater current at rated volts, relative
	Pins, Base   string
	MaxVhk       float64 // maximum heater-cathode volts, 0 unknown
	Source       string  // or "from memory"
}

// Wiring is how a group of valves is connected.
type Wiring string

// Wirings.
const (
	Parallel Wiring = "parallel" // each heater at its nominal (lower) volts, side by side
	Series   Wiring = "series"   // each centre-tapped heater in its 12.6 V connection, side by side
	String   Wiring = "string"   // the group's heaters one after the other
)

// Group is a number of equal valves in one wiring; String groups that share
// StringName form one string of mixed types.
type Group struct {
	Valve      Valve
	Count      int
	Wiring     Wiring
	StringName string
}

// Load is all heaters on one supply.
type Load struct {
	Groups []Group
	Volts  float64 // nominal volts of the rail, 6.3 or 12.6 or the string's sum
}

// Supply is what feeds the dropper.
type Supply struct {
	Volts     float64 // open-circuit (or at AtA)
	AtA       float64 // load current at which Volts holds; 0: open circuit
	OutputOhm float64 // output resistance
	TolFrac   float64 // relative tolerance of Volts
	RatedA    float64 // 0 unknown
	LeadOhm   float64 // leads and socket contacts, both ways
}

// Options of a plan. The zero value takes the documented defaults.
type Options struct {
	Exponent     float64 // n of I ~ V^n; 0: 0.6, an assumption
	PartTol      float64 // resistor tolerance, 0: 0.05
	HeadroomFrac float64 // the load may take this share of the rating, 0: 0.8
	ColdRatio    float64 // hot over cold resistance, 0: 6
	Series       string  // "E24" default, "E12", "E6", "E48", "E96"
	DeratingX    float64 // rating to buy over dissipation, 0: 2
}

// Corner is one case of the worst-case table.
type Corner struct {
	Name                  string // "nominal", "supply high, part low, heaters low", "12AU7 pulled", "cold start"
	HeaterV, LoadA, PartW float64
	OverLimit, UnderLimit bool // against the heater's own tolerance
}

// Part is one resistor choice (or diode) with what it gives.
type Part struct {
	Label    string // "1.2 Ω", "1.0 Ω + 0.18 Ω", "1 Schottky"
	Ohm      float64
	Below    bool // standard value under the exact one
	HeaterV  float64
	LoadA    float64
	W        float64
	BuyW     float64 // standard rating to buy
	SurfaceC float64 // estimated surface temperature at 25 °C ambient, in °C
	Corners  []Corner
	Warnings []string
	ErrFrac  float64 // relative error of HeaterV against nominal
}

// Arrangement is one way of dropping: a shared resistor, one a valve, one a
// string, or diodes.
type Arrangement struct {
	Name     string // "one shared resistor", "one per valve", "one per string", "silicon diode", "Schottky diode"
	ExactOhm float64
	Parts    []Part // E-series neighbours on both sides, then pairs
	Best     int    // index into Parts of the one recommended, -1 none
	Warnings []string
	RippleDB float64 // what it does to ripple by itself at 100 kHz, dB, 0 none
}

// Plan is the finished heater plan.
type Plan struct {
	Load         Load
	Supply       Supply
	Options      Options
	NominalA     float64 // summed
	LowA, HighA  float64 // with the heaters' spread
	ShareOfRated float64 // HighA over RatedA, 0 when unknown
	HeadroomOK   bool
	ColdA        float64 // first-instant current with the recommended dropper
	ColdNoDropA  float64 // and without one
	ColdRides    string  // whether the supply's rating rides it, in words
	CanFeed      bool
	Why          string // when it can't: "6.0 V is under 6.3 V + losses"
	Arrangements []Arrangement
	Best         int      // index into Arrangements, -1 none
	StringSplit  []Corner // series strings: volts of each heater
	WarmUp       WarmUp
	Warnings     []string
	Assumptions  []string
}

// WarmUp is the simulated switch-on with the recommended dropper.
type WarmUp struct {
	TimeS, HeaterV, LoadA []float64
	To90S, To99S          float64 // heater temperature to 90 % and 99 %
	PeakV, PeakA          float64
}
