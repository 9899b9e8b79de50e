package heater

// Valve is one type's heater data.
type Valve struct {
	Type         string   `json:"type"`                      // as in the table: "12AX7"
	Aliases      []string `json:"aliases,omitempty"`         // other names of the same heater
	Volts        float64  `json:"volts_v"`                   // nominal, parallel connection for a centre-tapped heater
	Amps         float64  `json:"amps_a"`                    // nominal at Volts
	CentreTapped bool     `json:"centre_tapped"`             // its halves can be wired in series or in parallel
	VoltTol      float64  `json:"volt_tol"`                  // permissible relative heater voltage error, 0.05 or 0.10
	AmpTol       float64  `json:"amp_tol"`                   // spread of heater current at rated volts, relative
	Pins         string   `json:"pins,omitempty"`            // of the heater
	Base         string   `json:"base,omitempty"`            // the socket it fits
	MaxVhk       float64  `json:"max_vhk_v,omitempty"`       // maximum heater-cathode volts, 0 unknown
	Source       string   `json:"source"`                    // or "from memory"
	Filament     bool     `json:"directly_heated,omitempty"` // directly heated
	Thoriated    bool     `json:"thoriated,omitempty"`       // its filament is thoriated tungsten
	Note         string   `json:"note,omitempty"`            // what to know before wiring it
}

// Wiring is how a group of valves is connected.
type Wiring string

// Wirings.
const (
	Parallel     Wiring = "parallel"         // each heater at its nominal (lower) volts, side by side
	Series       Wiring = "series"           // each centre-tapped heater in its 12.6 V connection, side by side
	String       Wiring = "string"           // the group's heaters one after the other
	StringSeries Wiring = "string of series" // one after the other, each in its 12.6 V connection
)

// Group is a number of equal valves in one wiring; String groups that share
// StringName form one string of mixed types.
type Group struct {
	Valve      Valve  `json:"valve"`                 // its data
	Count      int    `json:"count"`                 // valves of it
	Wiring     Wiring `json:"wiring"`                // how each is wired
	StringName string `json:"string_name,omitempty"` // of their string; groups of one name form one

	// ShuntOhm is a resistor across each heater of the group, ohms, which lets a heater of
	// less current stand in a string; 0: none.
	ShuntOhm float64 `json:"shunt_ohm,omitempty"`

	// CathodeV is where the cathode sits against the heater supply's negative
	// pole, in volts: the most of all in the group, negative below it; 0: not
	// told, or there.
	CathodeV float64 `json:"cathode_v,omitempty"`
}

// Load is all heaters on one supply.
type Load struct {
	Groups []Group `json:"groups"` // in the order given
	Volts  float64 `json:"rail_v"` // nominal volts of the rail, 6.3 or 12.6 or the string's sum; of several the highest

	// Rails are the nominal volts of heaters that share a supply and no rail, the highest
	// first: each valve or string has a resistor of its own there. nil: one rail.
	Rails []float64 `json:"rails_v,omitempty"`
}

// Supply is what feeds the dropper.
type Supply struct {
	Volts     float64 `json:"volts_v"`    // open-circuit (or at AtA)
	AtA       float64 `json:"at_a"`       // load current at which Volts holds; 0: open circuit
	OutputOhm float64 `json:"output_ohm"` // output resistance
	TolFrac   float64 `json:"tol_frac"`   // relative tolerance of Volts, 0: none
	RatedA    float64 `json:"rated_a"`    // 0 unknown
	LeadOhm   float64 `json:"lead_ohm"`   // leads and socket contacts, both ways
	FilterOhm float64 `json:"filter_ohm"` // DC resistance of a post-filter ahead of the heaters
	LimitA    float64 `json:"limit_a"`    // where it holds or cuts its current, 0: 1.2 to 1.8 x RatedA where that is known, whichever is worse
}

// Options of a plan. The zero value takes the documented defaults; what may be zero in
// earnest is a pointer, nil where it is not told.
type Options struct {
	Exponent     float64  `json:"exponent"`      // n of I ~ V^n, 0.3 to 1; 0: 0.6, an assumption
	PartTol      *float64 `json:"part_tol"`      // resistor tolerance, relative; nil: 0.05
	HeadroomFrac float64  `json:"headroom_frac"` // the load may take this share of the rating, 0: 0.8
	ColdRatio    float64  `json:"cold_ratio"`    // hot over cold resistance, 0: 6
	Series       string   `json:"series"`        // "E24" default, "E12", "E6", "E48", "E96"
	DeratingX    float64  `json:"derating_x"`    // rating to buy over dissipation, 0: 2
	AmbientC     *float64 `json:"ambient_c"`     // air around the dropper in °C, nil: 25
	WarmUpS      float64  `json:"warm_up_s"`     // heater warm-up time in the 4 x volts, 3 x ohms test circuit, 0: 11 s
}

// Corner is one case of the worst-case table.
type Corner struct {
	Name       string  `json:"name"`             // "nominal", "supply high, resistor low, heaters low", "12AU7 pulled", "cold start"
	Kind       Kind    `json:"kind"`             // what sort of case it is
	Heater     string  `json:"heater,omitempty"` // the type HeaterV is of: one outside its own limit, else the one furthest from its rating
	HeaterV    float64 `json:"heater_v"`         // volts across the heater there
	RelErr     float64 `json:"rel_err"`          // HeaterV against that heater's rating, relative
	LoadA      float64 `json:"load_a"`           // current of the whole load, A
	PartW      float64 `json:"part_w"`           // dissipation of the hottest single part
	OverLimit  bool    `json:"over_limit"`       // against the heater's own tolerance
	UnderLimit bool    `json:"under_limit"`      // against the heater's own tolerance
	AllOff     bool    `json:"all_off"`          // no heater is left lit; HeaterV is 0 for that reason
	Unlimited  bool    `json:"unlimited"`        // nothing but the supply's own, unknown limit holds the current; LoadA is then 0
	Limited    bool    `json:"limited"`          // the supply's limit holds the current
	Note       string  `json:"note,omitempty"`   // what to know of this case

	low, high  float64 // least and greatest relative error of all heaters, not only of the one named
	oddAtWorst bool    // one odd heater of a string and the supply's and the part's tolerance together
}

// Kind sorts corners.
type Kind string

// Kinds of corner.
const (
	KindNominal Kind = "nominal"
	KindSpread  Kind = "spread" // tolerances: must stay inside the limits
	KindPulled  Kind = "pulled" // one valve out of its socket
	KindLast    Kind = "last"   // all valves but one out
	KindShort   Kind = "short"  // a heater shorted: a fault
	KindCold    Kind = "cold"   // first instant
)

// Choice is one resistor value of a Part with the branch it serves.
type Choice struct {
	For   string    `json:"for"`   // "all heaters", "each 12AU7", "string A"
	Count int       `json:"count"` // how many of this choice are needed
	Label string    `json:"label"` // "1.2 Ω", "1 Ω + 0.18 Ω in series"
	Ohm   float64   `json:"ohm"`   // resulting resistance, 0: connected directly, no resistor
	Ohms  []float64 `json:"ohms"`  // the standard values it is made of
	W     float64   `json:"w"`     // dissipation of its hottest single resistor, nominal
	BuyW  float64   `json:"buy_w"` // rating to buy of each, by its own heat

	FaultW float64 `json:"fault_w"` // dissipation of its hottest single resistor with a heater of its branch shorted, 0 when not limited by it
	FitW   float64 `json:"fit_w"`   // rating to fit of each: BuyW, or what stands a shorted heater until a fuse opens, or where none is sure to, what stays on

	heldW  float64 // of FaultW what may stay on: no more than just under what its fuse opens at
	worstW float64 // dissipation of its hottest single resistor in the worst case of the tolerances
}

// Part is one resistor choice (or diode) with what it gives.
type Part struct {
	Label      string   `json:"label"`       // "1.2 Ω", "1 Ω + 0.18 Ω in series", "1 Schottky diode"
	Ohm        float64  `json:"ohm"`         // 0 for diodes and for a set of different values
	Below      bool     `json:"below"`       // standard value under the exact one
	Pair       bool     `json:"pair"`        // made of two standard values
	Set        []Choice `json:"set"`         // the values by branch; one entry for a shared resistor
	Count      int      `json:"count"`       // single parts to buy
	HeaterV    float64  `json:"heater_v"`    // volts of the heater furthest from its rating
	LoadA      float64  `json:"load_a"`      //
	W          float64  `json:"w"`           // hottest single part, nominal
	TotalW     float64  `json:"total_w"`     // all parts together, nominal
	WorstW     float64  `json:"worst_w"`     // hottest single part over the tolerance corners
	FaultW     float64  `json:"fault_w"`     // hottest single part with a heater shorted, 0 when not limited by it
	BuyW       float64  `json:"buy_w"`       // standard rating to buy, 0: none on the list is large enough
	SurfaceC   float64  `json:"surface_c"`   // estimated surface temperature in °C; 0: not estimated (diodes, no part)
	Corners    []Corner `json:"corners"`     //
	Warnings   []string `json:"warnings"`    //
	ErrFrac    float64  `json:"err_frac"`    // relative error of HeaterV against nominal
	WorstLow   float64  `json:"worst_low"`   // least relative error over nominal and tolerance corners
	WorstHigh  float64  `json:"worst_high"`  // greatest relative error over nominal and tolerance corners
	PulledV    float64  `json:"pulled_v"`    // highest heater volts with any one valve pulled; 0: none left lit
	PulledErr  float64  `json:"pulled_err"`  // the same, relative to the rating
	PulledOver bool     `json:"pulled_over"` // a pulled valve takes another heater over its limit
	Overrun    Overrun  `json:"overrun"`     // what that does to it, "" where nothing goes over
	Fuses      []Fuse   `json:"fuses"`       // ahead of it
	FaultBuyW  float64  `json:"fault_buy_w"` // rating that stands a shorted heater for good, 0: none of a sensible size, or no resistor
	Shopping   []Item   `json:"shopping"`    // all there is to buy for it

	layout     layout // the circuit it makes
	pulledHigh bool   // a pulled valve takes another over its limit with the supply at its high end only
}

// Arrangement is one way of dropping: a shared resistor, one a valve, one a
// string, or diodes.
type Arrangement struct {
	Name       string   `json:"name"`        // "one shared resistor", "one per valve", "one per string", "silicon diode", "Schottky diode", "no dropper"
	ExactOhm   float64  `json:"exact_ohm"`   // 0 where there is no single one
	Exact      string   `json:"exact"`       // in words, by branch: "2.333 Ω for each 12AU7"
	Parts      []Part   `json:"parts"`       // E-series neighbours on both sides, then pairs
	Best       int      `json:"best"`        // index into Parts of the one recommended, -1 none
	Warnings   []string `json:"warnings"`    // in sentences
	RippleDB   float64  `json:"ripple_db"`   // what it does to ripple by itself at 100 kHz, dB (negative: less), 0 none
	RippleHint string   `json:"ripple_hint"` // what a capacitor behind it would do
	Rewired    string   `json:"rewired"`     // the strings that the heaters must be rewired into for it, "" as the load has them
}

// Plan is the finished heater plan.
type Plan struct {
	Load         Load          `json:"load"`           // the heaters
	Supply       Supply        `json:"supply"`         // what feeds them
	Options      Options       `json:"options"`        // with the defaults filled in
	NominalA     float64       `json:"nominal_a"`      // summed
	LowA         float64       `json:"low_a"`          // with the heaters' spread
	HighA        float64       `json:"high_a"`         // with the heaters' spread
	ShareOfRated float64       `json:"share_of_rated"` // HighA over RatedA, or LimitA where that is less; 0 when unknown
	HeadroomOK   bool          `json:"headroom_ok"`    // ShareOfRated known and inside HeadroomFrac
	Headroom     string        `json:"headroom"`       // in words
	ColdA        float64       `json:"cold_a"`         // first-instant current with the recommended dropper
	ColdNoDropA  float64       `json:"cold_no_drop_a"` // and without one
	ColdRides    string        `json:"cold_rides"`     // whether the supply's rating rides it, in words
	Refused      bool          `json:"refused"`        // not planned at all, see Why
	CanFeed      bool          `json:"can_feed"`       // whether the supply's volts suffice
	Direct       bool          `json:"direct"`         // the recommendation is to connect directly
	Why          string        `json:"why"`            // when it can't: "6.0 V is under 6.3 V + losses"
	AvailableV   float64       `json:"available_v"`    // volts ahead of the dropper at NominalA
	Arrangements []Arrangement `json:"arrangements"`   // ways of dropping the excess volts
	Best         int           `json:"best"`           // index into Arrangements, -1 none
	BestWhy      string        `json:"best_why"`       // in a sentence
	StringSplit  []Corner      `json:"string_split"`   // series strings: volts of each heater
	WarmUp       WarmUp        `json:"warm_up"`        // from switch-on until the heaters are hot
	Alternatives []Alternative `json:"alternatives"`   // other than a plain dropper, where that is coarse
	Better       string        `json:"better"`         // which of them all is the better engineering, and why
	Insulation   []Insulation  `json:"heater_cathode"` // volts between heater and cathode by type
	Warnings     []string      `json:"warnings"`       // in sentences
	Hints        []string      `json:"hints"`          // what would be easier, such as another wiring
	Assumptions  []string      `json:"assumptions"`    // what the plan rests on, in sentences
}

// Shared is the recommended value of the one resistor ahead of all heaters,
// whichever arrangement is the best; ok is false where none fits.
func (p Plan) Shared() (part Part, ok bool) {
	for _, a := range p.Arrangements {
		if a.Name == NameShared && a.Best >= 0 {
			return a.Parts[a.Best], true
		}
	}
	return Part{}, false
}

// WarmUp is the simulated switch-on with the recommended dropper.
type WarmUp struct {
	TimeS      []float64 `json:"time_s"`       // places of the curves, s from switch-on
	HeaterV    []float64 `json:"heater_v"`     // of the heater that settles last
	LoadA      []float64 `json:"load_a"`       // current of the whole load, A, at each
	To90S      float64   `json:"to_90_s"`      // heater temperature rise to 90 % of its final value, slowest heater
	To99S      float64   `json:"to_99_s"`      // and 99 %
	PeakV      float64   `json:"peak_v"`       // highest volts on the way, of the heater that is then furthest over its rating
	PeakRelErr float64   `json:"peak_rel_err"` // the same, relative to that rating
	PeakHeater string    `json:"peak_heater"`  // whose PeakV it is
	PeakA      float64   `json:"peak_a"`       // the greatest current, A
	Heater     string    `json:"heater"`       // whose volts are shown
	RatedV     float64   `json:"rated_v"`      // rated volts of that heater in its connection
	HeldTo99S  float64   `json:"held_to_99_s"` // to 99 % with a supply that holds its current at its limit where given, else at its rating; 0: not limited, unknown, or it never gets there
}
