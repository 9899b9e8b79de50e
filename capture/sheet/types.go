package sheet

import "stillglow/capture"

// Sheet is one bench sheet as read, paths resolved against its folder.
type Sheet struct {
	Path      string             // of the sheet itself
	Dir       string             // its folder
	Title     string             // in words
	Workshop  string             // in words
	Date      string             // ISO 8601, as written; reports carry it instead of the clock
	Note      string             // the sheet's own remark
	Invented  bool               // invented data: every output says so
	MainsHz   float64            // 50 or 60, 0: find it
	Target    string             // a named target; "" when limits are written out
	Limits    map[string]float64 // criterion -> limit, override or written out
	Mask      [][2]float64       // optional density mask: hertz, V/sqrt(Hz)
	ReserveDB float64            // reserve asked of a post-filter, 0: 3

	Instrument Instrument // what captured
	Heaters    Heaters    // that the supplies feed
	Hears      *Hears     // derive the target from what the valve hears
	Units      []Unit     // in the sheet's order
	Loose      []Capture  // not given to a unit yet: no ranking counts them
	Pattern    string     // watch: file pattern, see Pattern

	HeaterDCMinV float64 // lower end of the heater_dc_v limit; the upper is in Limits

	// Notes say what of the sheet was left aside and why, one line each with its place.
	Notes []string

	// Awaited are files named in the sheet that were not there yet; only
	// ReadAwaiting leaves any.
	Awaited []string

	at map[string]place // where every key stands
}

// Instrument is what the captures were made with; a capture may override.
type Instrument struct {
	Name              string           // for the report
	Baseline          *Capture         // shows the instrument's own noise; nil none
	Channel           string           // of its files with several, name or number; "": the only one
	VoltUnit          string           // of its files' numbers: "V", "mV", "uV", "counts", "div"; "": from the file
	Scale             float64          // multiplies its files' numbers, 0: from the file
	ProbeFactor       float64          // multiplies volts, 0: 1
	BandwidthHz       float64          // 0: from the file
	BandLimited       *bool            // a bandwidth limit was on; nil: from the file
	AntiAliased       *bool            // high-resolution mode, or a low-pass ahead of the scope; nil: from the file
	Coupling          capture.Coupling // unknown: from the file
	GainPercent       float64          // relative gain uncertainty in percent, 0: 3
	VoltsPerFullScale float64          // of the sound input, peak, 0 unknown
	MemorySamples     int              // record length the scope can hold, 0 unknown
	MaxRateHz         float64          // most samples per second, 0 unknown
	LowPass           string           // shape of its roll-off: "first-order", "butterworth4", "gaussian", "ideal", "none"; "" leaves it to package analysis
}

// Heaters is the load. Zeros leave the choice to package heater.
type Heaters struct {
	Groups           []HeaterGroup // in the sheet's order
	Exponent         float64       // n of I ~ V^n, 0.3 to 1
	SupplyTolPercent float64       // of the supply's volts, plus or minus
	PartTolPercent   float64       // of the dropper resistors, plus or minus
	LeadOhm          float64       // leads and socket contacts, both ways
	HeadroomPercent  float64       // share of a supply's rating that the heaters may take, 0 not told
	AmbientC         *float64      // air around the dropper in °C, nil not told
	LeadM            float64       // length of the pair of wires from supply to filter, metres, 0 not told
	Series           string        // preferred values of IEC 60063: "E6", "E12", "E24", "E48", "E96"
	OwnValves        []OwnValve    // that no table knows
}

// HeaterGroup is one line of the heater load.
type HeaterGroup struct {
	Type   string // of the valve, as written
	Count  int    // valves of that type, > 0
	Wiring string // "parallel" (6.3 V), "series" (12.6 V), "string", "string of series"; "" suits the rail
	String string // name of the string the group is part of

	ShuntOhm float64 // a resistor across each heater of the group in its string, ohms; 0: none
	CathodeV float64 // of the group's highest cathode above the supply's negative pole, volts; 0: not told

	Line int // in the sheet, for messages
}

// OwnValve is a valve type the user adds.
type OwnValve struct {
	Type           string  // its name
	Volts, Amps    float64 // of the heater, of a centre-tapped one in its parallel connection
	CentreTapped   bool    // its halves can be wired in series or in parallel
	VoltTolPercent float64 // allowed about Volts, plus or minus, 0: the usual
	AmpTolPercent  float64 // spread of the current, plus or minus, 0: the usual
	Base, Pins     string  // for the wiring's words
	MaxVhk         float64 // rated volts between heater and cathode, 0 unknown
	Source         string  // where the figures come from
}

// Hears holds the stage for a derived target.
type Hears struct {
	CathodeOhm, BypassF float64 // cathode resistor and its bypass capacitor, ohm and farad
	BypassESROhm        float64 // the bypass capacitor's series resistance, 0: none
	HeaterCathodeF      float64 // capacitance, farad, 0: the usual
	HeaterCathodeOhm    float64 // insulation, 0: the usual
	Mu                  float64 // amplification factor, 0: the usual
	GmMAPerV            float64 // mutual conductance in mA/V, 0: the usual
	GainBefore          float64 // from the preamp's input to the stage's grid, ratio, 0: 1
	Gain                float64 // from the stage's grid to the output, ratio, 0: 1
	Stage               string  // "first", "second"
	RIAA                bool    // the stage is followed by RIAA equalisation
	AllowedInputV       float64 // input-referred, A-weighted, V rms
	Valve               string  // its type, for the heater-grid capacitance
	HeaterGridF         float64 // that capacitance, farad, 0: of Valve, else an upper bound
	SourceOhm           float64 // resistance that the grid sees, 0: the usual
	HeaterReference     string  // how the heater is tied to ground: "one end", "centre tap", "elevated"; "": the first
	ReferenceOhm        float64 // from there to ground, 0: the usual
	ReferenceF          float64 // capacitor beside it, where elevated, farad, 0: the usual
}

// The states that a unit may be measured in.
const (
	Bare          = "bare"    // at the supply's own output
	BehindFilter  = "filter"  // behind the filter built for it, ahead of the dropper
	BehindDropper = "dropper" // at the heaters: behind the dropper, and the filter where there is one
)

// Unit is one physical supply in one state on one day.
type Unit struct {
	Brand, Model, Mark string    // the mark tells units of one model apart
	State              string    // Bare, BehindFilter or BehindDropper
	Date               string    // ISO 8601, "" not told
	RatedV, RatedA     float64   // from the label, volts and amperes, 0 unknown
	LimitA             float64   // current at which it limits, amperes, 0 not told
	OutputUF           float64   // its own output capacitor in microfarads, 0 not known
	Readings           []Reading // of a meter
	Shown              []Shown   // read off a screen
	Captures           []Capture // files, and how to read them
	Note               string    // the sheet's own remark
	Line               int       // in the sheet, 1-based

	apart       bool // another unit's name would read the same, see Name
	told, dated bool // the name holds the state, and the date
}

// Reading is a meter reading: DC volts at a load in amperes, 0 unloaded.
type Reading struct{ LoadA, V float64 } // amperes drawn, and volts

// Shown is a figure read off a screen or a meter, where there is no file: [[unit.reading]].
type Shown struct {
	On               string  // the criterion, as a key of [limits]
	Value            float64 // in the criterion's unit, > 0
	PlusMinusPercent float64 // its uncertainty, 0 < it < 100
	LoadA            float64 // amperes drawn meanwhile, 0 unknown
	By               string  // what it was read off, "" not told
	BandLimited      bool    // a bandwidth limit at 20 MHz or below was on
	Key              string  // its path in the sheet, such as "unit[0].reading[1]"
}

// UsualPlusMinusPercent is the uncertainty of a figure read off a screen where none
// is told: two fifths of a division at either end of a trace three divisions high
// (common practice, no source).
const UsualPlusMinusPercent = 30

// Capture is one file with how it was made. Options already hold the
// instrument's settings where the capture gives none of its own.
type Capture struct {
	File    string          // as written
	Path    string          // resolved
	LoadA   float64         // amperes drawn meanwhile, 0 unknown or none
	Options capture.Options // how it is to be read
	// Baseline is the capture's own, or the instrument's where both are of one
	// kind (scope or sound card) and one mode; nil when there is none.
	Baseline  *Capture
	SupplyOff bool   // of the instrument's baseline: told to be made with the supply off
	Note      string // the sheet's own remark
	Line      int    // in the sheet, 1-based
	Key       string // its path there, such as "unit[0].capture[1]", for Text
}
