package filter

import "stillglow/analysis/target"

// Topology of a post-filter.
type Topology string

// Topologies.
const (
	RC  Topology = "RC"
	LC  Topology = "LC"
	CLC Topology = "CLC"
)

// Capacitor is a real capacitor.
type Capacitor struct {
	F, ESROhm, ESLH float64 // farads, ohms, henries
	Kind            string  // "electrolytic", "polymer", "ceramic", "film"
	NominalF        float64 // as printed on it, where it counts for less than that; 0: F
}

// Inductor is a real inductor.
type Inductor struct {
	H, DCROhm, SelfResonanceHz float64 // henries, ohms, hertz
	RatedA                     float64 // current it carries without saturating or running hot, 0 unknown
}

// Circuit is one filter between supply and heaters.
type Circuit struct {
	Topology  Topology  // which of the parts are there
	SourceOhm float64   // supply's output and lead resistance
	SourceH   float64   // inductance of the leads from supply to filter, see LeadH; 0: none
	CSource   Capacitor // the supply's own output capacitor, F 0: not known, then in none of it
	ROhm      float64   // RC: the dropper's own resistance; LC and CLC: series resistance with the coil
	RLabel    string    // ROhm as it is bought: "1 Ω + 0.18 Ω in series"; empty: one resistor of that value
	RatingW   float64   // rating to fit of that resistor, 0: by its own heat
	C1, C2    Capacitor // RC and LC use C1 across the heaters; CLC has C1 ahead of the coil and C2 after
	CFilm     Capacitor // small bypass across the output, F 0: none
	L         Inductor  // the series coil of LC and CLC
	DampOhm   float64   // damping resistor in series with CDamp across the output, 0: none
	CDamp     Capacitor // in series with DampOhm, its ESR on top of it; F 0: no damping
	LoadOhm   float64   // heaters' hot resistance
}

// Wave is the same stretch of time ahead of a filter and behind it, each about
// its own mean. Empty where no waveform is at hand.
type Wave struct {
	File            string    // the capture
	StepS           float64   // seconds between the values
	BeforeV, AfterV []float64 // same length
}

// Result is a circuit with what it would leave of one unit.
type Result struct {
	Circuit        Circuit           // that was predicted
	Parts          []string          // as a shopping list: "2200 µF 16 V electrolytic", ...
	Cost           float64           // the stated cost order, smaller is cheaper
	DropV          float64           // DC drop in the filter at the load current
	FrequencyHz    []float64         // places of GainDB, Hz, ascending
	GainDB         []float64         // insertion gain, dB; negative takes away
	PeakDB, PeakHz float64           // greatest gain and where (resonance)
	After          target.Evaluation // every criterion's margin after it
	WornDB         float64           // worst margin of the criteria that were over, with the parts worn (see worn)
	WornKnown      bool              // WornDB was computed
	Method         string            // FromSamples, FromSums or FromSpectrum
	Wave           Wave              // some switching cycles of the fastest capture, before and after
	SpectrumHz     []float64         // grid of the unit's joined spectra
	BeforeVPerRtHz []float64         // measured density there
	AfterVPerRtHz  []float64         // predicted density there
	Warnings       []string          // what the circuit asks of supply and parts, in sentences
}

// Advice is what would fix a near miss.
type Advice struct {
	UnitKey    string   // of the unit advised
	Found      bool     // whether Best brings the unit within its limits
	Best       Result   // the cheapest that does, else the closest tried
	Others     []Result // a few alternatives, cheapest first
	Why        string   // when none does: what limits ("ESL of the capacitor above 5 MHz")
	ReserveDB  float64  // margin asked of what was over its limit, dB
	CommonMode string   // advice on a common-mode choke, words only
}
