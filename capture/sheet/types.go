// Package sheet reads the bench sheet: which captures belong to which unit of
// which brand, under which load, measured how. It is TOML, read strictly.
package sheet

import "stillglow/capture"

// Sheet is one bench sheet as read, paths resolved against its folder.
type Sheet struct {
	Path      string // of the sheet itself
	Dir       string // its folder
	Title     string
	Workshop  string
	Date      string // ISO 8601, as written; reports carry it instead of the clock
	Note      string
	Invented  bool               // invented data: every output says so
	MainsHz   float64            // 50 or 60, 0: find it
	Target    string             // a named target; "" when limits are written out
	Limits    map[string]float64 // criterion -> limit, override or written out
	Mask      [][2]float64       // optional density mask: hertz, V/sqrt(Hz)
	ReserveDB float64            // reserve asked of a post-filter, 0: 3

	Instrument Instrument
	Heaters    Heaters
	Hears      *Hears // derive the target from what the valve hears
	Units      []Unit
	Pattern    string // watch: file pattern, see Pattern

	HeaterDCMinV float64 // lower end of the heater_dc_v limit; the upper is in Limits

	// Awaited are files named in the sheet that were not there yet; only
	// ReadAwaiting leaves any.
	Awaited []string

	at map[string]place // where every key stands
}

// Instrument is what the captures were made with; a capture may override.
type Instrument struct {
	Name              string
	Baseline          *Capture
	ProbeFactor       float64
	BandwidthHz       float64
	BandLimited       *bool
	Coupling          capture.Coupling
	GainPercent       float64 // relative gain uncertainty in percent, 0: 3
	VoltsPerFullScale float64
	MemorySamples     int
	LowPass           string
}

// Heaters is the load.
type Heaters struct {
	Groups                                    []HeaterGroup
	Exponent                                  float64
	SupplyTolPercent, PartTolPercent, LeadOhm float64
	Series                                    string
	OwnValves                                 []OwnValve
}

// HeaterGroup is one line of the heater load.
type HeaterGroup struct {
	Type   string
	Count  int
	Wiring string // "parallel" (6.3 V), "series" (12.6 V), "string", "string of series"; "" suits the rail
	String string // name of the string the group is part of
	Line   int    // in the sheet, for messages
}

// OwnValve is a valve type the user adds.
type OwnValve struct {
	Type                          string
	Volts, Amps                   float64
	CentreTapped                  bool
	VoltTolPercent, AmpTolPercent float64
	Base, Pins                    string
	MaxVhk                        float64
	Source                        string
}

// Hears holds the stage for a derived target.
type Hears struct {
	CathodeOhm, BypassF float64
	HeaterCathodeF      float64
	HeaterCathodeOhm    float64 // insulation
	Gain                float64 // after the stage, ratio
	Stage               string  // "first", "second"
	RIAA                bool
	AllowedInputV       float64 // input-referred, A-weighted, V rms
}

// Unit is one physical supply.
type Unit struct {
	Brand, Model, Mark string
	RatedV, RatedA     float64
	Readings           []Reading
	Captures           []Capture
	Note               string
	Line               int
}

// Reading is a meter reading.
type Reading struct{ LoadA, V float64 }

// Capture is one file with how it was made. Options already hold the
// instrument's settings where the capture gives none of its own.
type Capture struct {
	File    string // as written
	Path    string // resolved
	LoadA   float64
	Options capture.Options
	// Baseline is the capture's own, or the instrument's where both are of one
	// kind (scope or sound card); nil when there is none.
	Baseline *Capture
	Note     string
	Line     int
}
