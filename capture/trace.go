package capture

import "strings"

// Coupling reports whether the instrument passed the DC level.
type Coupling string

// The couplings a capture may have been made with.
const (
	CouplingUnknown Coupling = ""
	CouplingDC      Coupling = "dc"
	CouplingAC      Coupling = "ac"
)

// Mode tells which volts of a supply a capture shows.
type Mode string

// The modes of a capture.
const (
	Differential Mode = ""       // across the output, from one wire to the other
	Common       Mode = "common" // both wires together, across 100 Ω to the chassis or earth
)

// Word names the mode in files that programs read: "differential" or "common".
func (m Mode) Word() string {
	if m == Common {
		return "common"
	}
	return "differential"
}

// ParseMode reads a mode; "" is differential.
func ParseMode(word string) (m Mode, ok bool) {
	switch strings.ToLower(strings.TrimSpace(word)) {
	case "", "differential":
		return Differential, true
	case "common":
		return Common, true
	}
	return Differential, false
}

// Span is the range of frequencies a trace can show, in hertz.
type Span struct {
	// LowHz is the lowest frequency the record resolves: a few periods of it
	// fit in the record.
	LowHz float64
	// HighHz is the highest frequency to trust: the least of the instrument's
	// bandwidth and 0.4 of the (true, not interpolated) sample rate.
	HighHz float64
}

// Covers reports whether the span holds all frequencies from lowHz to highHz;
// the zero Span holds none.
func (s Span) Covers(lowHz, highHz float64) bool {
	return s.LowHz > 0 && s.LowHz <= lowHz && s.HighHz >= highHz
}

// Assumption is one thing the importer had to decide or took from the file.
type Assumption struct {
	What  Setting `json:"what"`  // what was settled
	Value string  `json:"value"` // as used, with its unit
	Why   string  `json:"why"`   // "stated in line 4", "from the header", "default", ...
}

// Setting names what an assumption settles: "sample rate", "probe factor", "volt
// unit", ... The words are part of the JSON contract.
type Setting string

// The settings that a report states apart from the assumptions too.
const (
	SettingLayout   Setting = "layout"
	SettingChannel  Setting = "channel"
	SettingCoupling Setting = "coupling"
	SettingMode     Setting = "mode"
)

// Caution is a doubt shown beside a figure. It is not an error: the figure
// stands, weaker than it looks.
type Caution struct {
	Code string `json:"code"`          // stable, snake_case, one of the Caution constants
	Text string `json:"text"`          // one sentence for a person
	Fix  string `json:"fix,omitempty"` // what to change at the bench
}

// Codes of cautions. They are part of the JSON contract: never rename one.
const (
	CautionClipped         = "clipped"                // samples at the converter's end stop
	CautionFewSteps        = "few_steps"              // the signal covers too few ADC steps
	CautionUndersampled    = "undersampled_spikes"    // too few samples in a pulse or ring period
	CautionAlias           = "alias_suspected"        // content near or above half the rate
	CautionAliasShown      = "alias_shown"            // another capture of the unit shows that a line is an alias
	CautionShortRecord     = "short_record"           // too few periods of what is asked for
	CautionGaps            = "gaps"                   // rows missing in the record
	CautionUneven          = "uneven_sampling"        // resampled to an even grid
	CautionSegments        = "segments"               // several segments, one used
	CautionRateConflict    = "rate_conflict"          // stated rate and time column disagree
	CautionTimeUnit        = "time_unit_assumed"      // no unit of time stated, seconds doubtful
	CautionUnsorted        = "rows_unsorted"          // rows out of order in time, sorted
	CautionProbeFactor     = "probe_factor_suspected" // DC a factor of 10 or so from the rated
	CautionBaselineNear    = "instrument_floor_near"  // within 3 dB of the instrument's own noise
	CautionBaselineUnlike  = "baseline_unlike"        // the baseline's lines can't be compared with the capture's
	CautionInstrumentMains = "instrument_mains"       // the mains line is as high in the baseline
	CautionLoadUnlike      = "load_unlike_heaters"    // measured at another current than the heaters draw
	CautionMains           = "mains_undecided"        // 50 or 60 Hz could not be told
	CautionInterpolated    = "interpolated"           // exporter upsampled: true span is lower
	CautionTruncated       = "truncated"              // file ends inside a row or chunk
	CautionBridged         = "bridged_samples"        // a few bad values were bridged
	CautionUncalibrated    = "uncalibrated"           // no volts at full scale known
	CautionTimeRounded     = "time_stamps_rounded"    // rate fitted over rounded stamps
	CautionDithered        = "dithered"               // spread-spectrum switching
	CautionBursting        = "bursting"               // pulse-skipping supply
	CautionUngated         = "noise_not_gated"        // spikes could not be gated out of the floor
	CautionRingFills       = "ring_fills_cycle"       // a ring lasts into the next edge
	CautionSpikesInRipple  = "spikes_in_ripple"       // the cycle taken for ripple holds pulses or rings
	CautionCycleExplains   = "cycle_explains_little"  // most of what varies does not repeat at the cycle found
	CautionCyclesDiffer    = "cycles_differ"          // what the mean cycle leaves holds something periodic: spikes may be miscounted
	CautionStepHides       = "step_hides_spike"       // short spikes on a large ESR step
	CautionSwitchingLost   = "switching_not_found"    // no switching line stood out
	CautionSkipped         = "rows_skipped"           // rows of numbers were left out
	CautionFlat            = "flat_record"            // all samples alike: nothing but DC shows
	CautionTwoLevels       = "two_levels"             // samples take two values only
	CautionFlatTops        = "flat_tops"              // samples stand still at the record's extremes
	CautionAveraged        = "averaged"               // sweeps averaged: noise and unlocked lines too low
	CautionSmoothed        = "smoothed"               // quieter than a scope's own input: averaged, smoothed or limited, and not said
	CautionMovingMean      = "moving_mean"            // each sample is a mean of its neighbours, and not said
	CautionLimitSeen       = "bandwidth_limit_seen"   // the noise falls as behind a 20 MHz limit, and not said
	CautionUnfiltered      = "unfiltered"             // content above half the rate may have folded into sums and noise
	CautionPartlyFiltered  = "partly_filtered"        // a mean or a single pole leaves a part of what folds into sums and noise
	CautionExtremes        = "extremes"               // peak-detect or envelope: no instant values
	CautionBaselineOfUnit  = "baseline_of_unit"       // the baseline shows the unit's own switching, or DC
	CautionDCAsAC          = "dc_told_as_ac"          // AC coupling told, but the mean is a supply's DC
)

// Trace is one channel of a capture, evenly sampled.
type Trace struct {
	File    string // path as given, for messages and JSON
	Channel string // channel name as in the file, "" when there is only one without a name
	Layout  string // what the importer recognised, e.g. "CSV, time and volts columns"
	SHA256  string // of the file's bytes as stored, hex; "" with Options.NoSHA256

	Volts        []float64 // at the unit's terminals: probe factor applied
	SampleRateHz float64   // > 0
	// SampleRateUHz is the half-width of the range the rate lies in by the
	// rounding of the time stamps it was fitted to; 0 where it is stated or
	// given. Every frequency found in the record shares it as a ratio.
	SampleRateUHz float64
	StartS        float64  // time of the first sample in seconds, on the file's own clock
	Coupling      Coupling // as stated or given; CouplingUnknown when neither
	Mode          Mode     // as given; no file states it
	Span          Span     // what the record and the instrument can show

	Calibrated    bool    // false: Volts are fractions of full scale (a WAV without a scale)
	ProbeFactor   float64 // as applied; 1 when none
	BandwidthHz   float64 // the instrument's, 0 unknown
	AntiAliased   bool    // the recorder's own filter keeps what lies above half the rate out (a sound card), or a filter ahead of it was given
	Decimates     bool    // a recorder whose converter decimates through its own steep low-pass (a sound card), which AntiAliased alone doesn't tell
	BandLimited   bool    // the instrument itself limited the bandwidth (e.g. 20 MHz switch on)
	TrueRateHz    float64 // rate of the converter when the exporter upsampled; else SampleRateHz
	FullScaleMinV float64 // lowest volts the converter can give, when known (both 0: unknown)
	FullScaleMaxV float64 // highest
	StepV         float64 // converter step in volts when the file states it, 0 unknown

	// OtherSegmentsPP is the greatest peak-to-peak of the file's segments over that of the
	// one read; 0 where they are alike, or where the caller chose.
	OtherSegmentsPP float64

	Acquisition Acquisition // how the instrument made the samples
	Levels      Levels      // what their values can show at all

	// TimeUnit and VoltUnit are the file's own, kept for display.
	TimeUnit, VoltUnit string

	Channels    []string     // all channels of volts the file holds
	Assumptions []Assumption // in the order they were made
	Cautions    []Caution    // likewise
}

// DurationS is the length of the record in seconds: samples over rate.
// Both must be there: without a rate it is not finite.
func (t *Trace) DurationS() float64 { return float64(len(t.Volts)) / t.SampleRateHz }

// Options overrides what the importer would guess. The zero value guesses all.
// Open and Read refuse a value outside its range, or not finite, by an error
// that names it.
type Options struct {
	Channel           string   // name, or 1-based number among the volt channels; "": the only one, else a *ChannelError
	Nth               int      // 1-based number among the volt channels where Channel is "": for callers that go through them all
	TimeUnit          string   // "s", "ms", "us", "ns", "samples"
	VoltUnit          string   // "V", "mV", "uV", "counts", "div"
	VoltUnitUsual     bool     // VoltUnit is for files that state none: it gives way to what one states
	Delimiter         string   // ",", ";", "|", "tab", "space"
	DecimalMark       string   // "." or ","
	RateHz            float64  // samples per second, wins over the file's time column; 0: from the file
	Scale             float64  // multiplies the file's values into volts (volts per count, per division); 0: from the file
	OffsetV           float64  // volts added after Scale, either sign
	VoltsPerFullScale float64  // WAV: volts at digital full scale (peak), >= 0; 0: Scale, else uncalibrated
	ProbeFactor       float64  // multiplies volts, >= 0; 0: 1, since a file that states a factor has its volts at the tip already
	BandwidthHz       float64  // instrument's bandwidth in hertz, >= 0; 0: from the file
	BandLimited       *bool    // the instrument limited the bandwidth itself; nil: from the file
	AntiAliased       *bool    // high-resolution mode, or a low-pass ahead of the input, kept what lies above half the rate out; nil: from the file
	Coupling          Coupling // unknown: from the file; a WAV counts as AC
	Mode              Mode     // Common: both wires together against chassis or earth; zero: across the output
	MaxSamples        int      // refuse a longer record; 0: DefaultMaxSamples
	Segment           int      // 1-based segment when the file holds several; 0: the first, cautioned

	// NoSHA256 leaves Trace.SHA256 out, which of a plain CSV is an eighth of the work of
	// measuring it: where only figures are shown nobody asks which bytes they are of.
	NoSHA256 bool

	// Progress, when not nil, is told now and then how many of the file's bytes
	// are read; total is 0 when unknown.
	Progress func(done, total int64)
}
