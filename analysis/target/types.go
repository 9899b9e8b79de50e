package target

import (
	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Criterion identifies what a limit is on. The words are also the keys in a
// sheet's [limits] table and in results.json.
type Criterion string

// The criteria.
const (
	HeaterDC     Criterion = "heater_dc_v"              // band for the unit's DC under load, see Limit.Min
	RipplePP     Criterion = "ripple_pp_20mhz_v"        // peak-to-peak in a 20 MHz span
	FoldedRipple Criterion = "ripple_pp_v"              // folded cycle
	MainsLine    Criterion = "mains_line_rms_v"         // the 2 x mains line
	SpikePeak    Criterion = "spike_peak_p95_v"         // 95th percentile
	SpikeRate    Criterion = "spikes_per_s"             //
	BandAudio    Criterion = "audio_rms_v"              // 20 Hz to 20 kHz flat
	BandAudioA   Criterion = "audio_a_rms_v"            // A-weighted
	BandRF1      Criterion = "band_20k_1m_rms_v"        //
	BandRF2      Criterion = "band_1m_20m_rms_v"        //
	Noise        Criterion = "noise_density_v_per_rthz" // gated floor
	Density1k    Criterion = "density_1khz_v_per_rthz"
	Density10k   Criterion = "density_10khz_v_per_rthz"
	Density100k  Criterion = "density_100khz_v_per_rthz"
	Mask         Criterion = "mask" // worst point of the density mask

	// Of the common-mode half, across 100 Ω from both wires to chassis or earth.
	CommonMains Criterion = "common_mains_rms_v"   // the mains and its harmonics
	CommonAudio Criterion = "common_audio_a_rms_v" // A-weighted
	CommonPP    Criterion = "common_pp_20mhz_v"    // peak-to-peak in a 20 MHz span
)

// Limit is one criterion's limit with where it comes from.
type Limit struct {
	Criterion  Criterion   // what is limited
	Name       string      // in the trade's words
	Unit       string      // "V", "V/√Hz", "1/s"
	Max        float64     // the limit
	Min        float64     // only for HeaterDC: the lower limit
	NeedLowHz  float64     // the capture's span must hold NeedLowHz..NeedHighHz
	NeedHighHz float64     // highest frequency that a capture must show, Hz
	Source     string      // or "common practice, no source"
	Points     []MaskPoint // only for Mask
	Basis      Basis       // what kind of limit it is
	ForRailV   float64     // only for HeaterDC of a named target: the heater rail that the band is for; 0: written out for one unit
	Direct     bool        // only for HeaterDC: the lower limit is what suits the heaters connected directly
	LessMains  bool        // only for Mask: the 2 x mains line is left out, having its own limit
}

// Basis tells what a limit rests on.
type Basis string

// The bases of limits.
const (
	RuleOfThumb Basis = ""        // of a named target: for any stage of its kind
	WrittenOut  Basis = "written" // the sheet's own
	Derived     Basis = "derived" // from what the valve of a given stage hears
)

// MaskPoint is one corner of a mask; between corners it is straight in
// log frequency and log density.
type MaskPoint struct {
	Hz       float64 // hertz
	VPerRtHz float64 // V/sqrt(Hz)
}

// Target is a named set of limits.
type Target struct {
	Name        string   // "line-preamp"
	Title       string   // in words
	Description string   // in sentences
	Limits      []Limit  // in the order in which they are shown
	Assumptions []string // when derived from what the valve hears
}

// Verdict is the decision on one unit.
type Verdict string

// Verdicts, in the order a ranking shows them.
const (
	Pass     Verdict = "pass"      // every criterion covered and inside; for those of the common-mode half see Evaluation.Common
	NearMiss Verdict = "near miss" // worst margin between -NearMissDB and 0 dB
	Fail     Verdict = "fail"      // over by more
	Open     Verdict = "open"      // all covered criteria inside, some not measured
	Retake   Verdict = "retake"    // a caution could flip the verdict
)

// NearMissDB is how far over a limit still counts as a near miss, in dB.
const NearMissDB = 10.0

// Reading is a meter reading of DC volts at a load current.
type Reading struct{ LoadA, V float64 } // amperes drawn, and volts

// Shown is a figure that was read off a screen or a meter, where there is no record.
// Its uncertainty is wide, and what it was read from is not checked: it can prove that
// a unit fails and never that it passes.
type Shown struct {
	Criterion   Criterion // what was read off
	Value       float64   // in the criterion's unit
	UFrac       float64   // uncertainty as a share of it, plus or minus (k = 2), below 1
	LoadA       float64   // amperes drawn meanwhile, 0 unknown
	By          string    // what it was read off, "" not told
	BandLimited bool      // through a limit at 20 MHz or below
}

// State is where on its way to the heaters a unit was measured.
type State string

// The states.
const (
	Bare          State = "bare"    // at the supply's own output; "" is the same
	BehindFilter  State = "filter"  // behind its filter, ahead of the dropper
	BehindDropper State = "dropper" // at the heaters
)

// Unit is one physical supply in one state on one day, and all that was measured of
// it then. The same brand, model and mark are the same supply.
type Unit struct {
	State              State                   // where on its way to the heaters it was measured
	Date               string                  // ISO 8601, "" not told
	Index              int                     // its place in the bench sheet, from 0: the unit's identity
	Key                string                  // its name for people, "BRAND MODEL MARK"
	Brand, Model, Mark string                  // as the sheet has them
	RatedV, RatedA     float64                 // on the label, 0 unknown
	Readings           []Reading               // of a meter
	Shown              []Shown                 // read off a screen
	Captures           []*analysis.Measurement // of it, measured
	HeaterA            float64                 // the load it must carry
	HeaterHighA        float64                 // that of heaters at their highest current, 0: HeaterA
	Note               string                  // the sheet's own remark
}

// Margin is one criterion of one unit.
type Margin struct {
	Limit    Limit         // that is held against
	Figure   figure.Figure // from the capture that shows it best
	Covered  bool          // whether any capture shows it
	Reason   string        // why not covered and what capture would cover it
	DB       float64       // 20*log10(limit/figure), positive is good; 0 when !Covered
	LowDB    float64       // interval of the margin (k = 2); equal to DB when unknown
	HighDB   float64       // the most that the margin may be, dB
	From     string        // the capture's file, or "meter readings"
	At       string        // where in frequency the figure stands, only for the mask
	Captures int           // how many captures the figure rests on
	AtLeast  bool          // over the limit by at least DB, and nobody knows by how much more
}

// Evaluation is a unit against a target.
type Evaluation struct {
	Unit       Unit              // that was judged
	TargetName string            // by which target
	Margins    []Margin          // in the target's order
	Verdict    Verdict           // what it comes to
	Worst      int               // index into Margins of the worst covered one, -1 none
	WorstDB    float64           // the least margin, dB
	SumRestDB  float64           // sum of the other margins, dB
	Rank       int               // 1-based; units whose intervals overlap share one
	Why        string            // "mains line 2.1 dB over; all else passes"
	Doubt      string            // what makes it a retake, "" of any other verdict
	DoubtFix   string            // what to do about that
	WouldFlip  string            // what would change the verdict
	LoadedV    figure.Figure     // DC volts at HeaterA from the readings, else from a DC-coupled capture
	OutputOhm  figure.Figure     // output resistance from readings (least squares)
	Common     CommonState       // how much of the common mode was measured; the verdict is by what was
	Overloaded bool              // the heaters may take more than RatedA; the verdict is by the limits alone
	Outlier    bool              // far from its brand's other units
	Aside      bool              // another state of the same supply counts in its brand
	Cautions   []capture.Caution // of all captures and of the sheet, without repeats
}

// Brand is one brand's units together. Open and retake units are undecided: they
// count neither for nor against it.
type Brand struct {
	Name                string    // as the sheet has it
	Units, Passing      int       // all units of it; those of them that pass
	PassingByHalf       int       // those of Passing whose common mode is not measured whole
	Judged, Undecided   int       // passing, near miss and failing units; the others
	ShareLow, ShareHigh float64   // exact 95 % binomial interval of the passing share of judged units
	MedianDB, WorstDB   float64   // of the judged units' worst margins; 0 with none
	SpreadDB            float64   // 1.4826 x median absolute deviation
	BestDB              float64   // the best worst margin of its units, dB
	UnitWorstDB         []float64 // each judged unit's worst margin; of the half across the output where not all have both
	UnitPass            []bool    `json:"-"` // whether that unit passes, its common mode included
	OneHalf             bool      // UnitWorstDB leaves the common-mode half out, which not all judged units have measured
	UnitKeys            []string  // of its units
	UndecidedDB         []float64 // worst margins of undecided units as captured
	MoreToTell          string    // how many more units to test before it can be told from the next
	Outliers            []string  // of UnitKeys

	members, outlierAt []int // indices of the evaluations given to Brands: behind UnitWorstDB, and the outliers
}

// Heard is what one supply adds at the valve's input through its heater.
type Heard struct {
	Known        bool    // false: no capture covers any of the audio band
	Missing      string  // what of the audio band, or which half, was not covered, "" nothing
	InputAVRMS   float64 // A-weighted, input-referred, V rms, both halves; a lower bound when Missing is not ""
	OutputAVRMS  float64 // the same at the preamp's output
	ThermalAVRMS float64 // the valve's and cathode resistor's own, same weighting
	UnderDB      float64 // how far the supply is under it, positive is good, within ±MarginCapDB

	DifferentialAVRMS, CommonAVRMS float64   // the halves of InputAVRMS, their powers add; 0 where not captured
	DifferentialKnown, CommonKnown bool      // some of the audio band is covered
	DifferentialWhole, CommonWhole bool      // all of it
	Reference                      Reference // how the heater is tied to ground
	ByReference                    []HeardBy // the same sum for every way of tying it

	FrequencyHz      []float64 // places of the curves, Hz, ascending
	CouplingDB       []float64 // volts across the heater to input volts
	CommonCouplingDB []float64 // volts of a common-mode capture to input volts
	Assumptions      []string  // what it rests on, in sentences
	CannotDecide     string    // what the model can't say (spikes beyond audio)
}
