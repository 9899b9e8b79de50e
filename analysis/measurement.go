package analysis

import (
	"slices"

	"stillglow/analysis/bandlimit"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// Setup is what is known of how a capture was made. The zero value assumes
// nothing: mains frequency is looked for, no baseline, 3 % gain uncertainty.
type Setup struct {
	MainsHz      float64           // 50 or 60; 0: find it
	LowPass      bandlimit.LowPass // shape for the 20 MHz figure
	GainFraction float64           // relative gain uncertainty of the instrument (k = 2), 0: 0.03
	RatedV       float64           // the unit's rated volts, 0 unknown
	LoadA        float64           // load current of this capture, 0 unknown
	HeaterA      float64           // the heaters' summed current, 0 unknown
	Baseline     *Measurement      // the instrument's own noise, nil when none
	BaselineOff  bool              // the baseline is told to be made with the supply off
	Quasi468     bool              // also give the ITU-R BS.468-4 quasi-peak
}

// Measurement is everything one trace shows. Amplitudes are at the unit's
// terminals; those of a common-mode trace stand across its 100 Ω. "pp" is peak-to-peak, "rms" is of the varying part unless said.
type Measurement struct {
	File         string           // the capture's path as given
	Channel      string           // its name in the file, "" when the file has but one
	SHA256       string           // of the file's bytes as stored, hex
	SampleRateHz float64          // samples per second
	Samples      int              // in the record
	DurationS    float64          // Samples over SampleRateHz
	Coupling     capture.Coupling // whether the instrument passed DC
	Mode         capture.Mode     // across the output, or both wires together against earth
	Calibrated   bool             // false: figures in volts are fractions of full scale
	Span         capture.Span     // what the record shows, in hertz
	LoadA        float64          // load current in A as told, 0 unknown

	DCV    figure.Figure // mean, DC-coupled traces only
	ACRMSV figure.Figure // rms about the mean, full span
	PPV    figure.Figure // peak-to-peak of the samples, full span

	PP20MHzV      figure.Figure // peak-to-peak in a 20 MHz span, absolute, on an oversampled curve
	PP20MHz999V   figure.Figure // the same, between the 0.05 and 99.95 % quantiles (99.9 % of the time)
	PP20MHzFilter string        // the low-pass used, in words, e.g. "first-order low-pass at 20 MHz"
	PPOverS       float64       // seconds of the record that both were taken over
	Within20MHz   bool          // the instrument's limit kept out what lies above 20 MHz: PPV is no more than a peak-to-peak in that span

	// Ripple: the cycle folded at the switching period, free of spikes and noise.
	Kind                     cycle.Kind    // how the converter keeps time
	SwitchingHz              figure.Figure // refined fundamental
	SwitchingSpreadHz        figure.Figure // dithered: full width of the spread
	SwitchingFundamentalRMSV figure.Figure // V rms of the line at SwitchingHz
	BurstHz                  figure.Figure // bursting: packets per second
	RipplePPV                figure.Figure // peak-to-peak of the cycle
	RippleRMSV               figure.Figure // rms of the cycle
	Cycle                    Cycle         // the cycle itself, spikes included
	SecondSwitchingHz        figure.Figure // beat partner of a two-stage supply

	// PARD: periodic and random parts, in rms; they add in power to ACRMSV.
	PeriodicRMSV, RandomRMSV figure.Figure

	MainsHz      figure.Figure   // 50 or 60
	MainsLineHz  figure.Figure   // the strongest of the mains comb's expected line, 2 x mains
	MainsLineRMS figure.Figure   // volts rms of that line
	MainsCombRMS figure.Figure   // volts rms of the whole comb
	MainsCombPPV figure.Figure   // peak-to-peak of the coherent sum of the comb
	Lines        []spectrum.Line // by falling amplitude

	Spikes SpikeSummary // what stands out of the ripple, in numbers and as a list

	Noise    spectrum.NoiseFloor // the random part between and under the lines
	Spectrum spectrum.Curve      // density over frequency, lines included
	Bands    []spectrum.Band     // rms by band, in the plan's order

	ADCStepV           figure.Figure // found from the samples, or stated by the file
	QuantNoiseVPerRtHz figure.Figure // its noise density in V/sqrt(Hz)

	Waveform Envelope // min and max per column over the whole record
	Detail   Envelope // a few switching cycles around a typical spike, at the sample rate where it fits

	// Own are figures that the register alone knows, by key: the crest factor, and
	// what a file of its own adds (see from in register.go). Its rows read them.
	Own map[string]*figure.Figure

	Cautions []capture.Caution // the import's first, then what the samples show; each code once
	// AliasSuspected: the switching's line may be an alias, for all that this capture
	// shows by itself; Cautions say so. A second capture may settle it
	// (SettleAliases).
	AliasSuspected bool
	// Weakly is the low-pass ahead of a slow record that keeps what lies above half
	// the rate out in part only; the zero value: a better one, or none at all.
	Weakly WeakFilter
}

// Cycle is the mean switching cycle, starting at its lowest value.
type Cycle struct {
	PeriodS        float64       // seconds
	MeanV          []float64     // evenly spaced over one period, mean removed
	SpreadV        []float64     // standard deviation of single cycles about MeanV
	Cycles         int           // cycles averaged
	RiseSlopeVPerS figure.Figure // linear part, rising
	FallSlopeVPerS figure.Figure // linear part, falling (negative)
	ESRStepV       figure.Figure // step at the edges
	ApparentDuty   figure.Figure // share of the period spent rising: a hint
	ESRStepShare   figure.Figure // ESR step over ripple peak-to-peak: a hint
}

// SpikeSummary is all spikes of a trace together.
type SpikeSummary struct {
	ThresholdV float64 // what a spike must top against the local ripple, in volts; 0: none was looked for
	Count      int     // events in the record

	PerS, PerCycle figure.Figure // events a second, and for every switching cycle

	PeakMedianV, PeakP95V, PeakMaxV       figure.Figure // of the absolute peaks against the local ripple, V
	RisingPeakMedianV, FallingPeakMedianV figure.Figure // median peak by the edge it stands at, V
	DurationMedianS                       figure.Figure // pulse duration at 50 % (IEEE Std 181), s
	AreaMedianVs                          figure.Figure // absolute area of an event, V s

	RingHz, RingQ               figure.Figure // of the largest transient
	RisingRingHz, RisingRingQ   figure.Figure // behind rising edges
	FallingRingHz, FallingRingQ figure.Figure // behind falling edges

	MainsTied, Random int           // events outside the switching cycle: in step with the mains, and not
	List              []spike.Event // at most 2000, evenly picked when there are more

	AmplitudeHist Histogram // of the peaks, V
	IntervalHist  Histogram // of the times from one event to the next, s; empty where List is not whole
	Typical       Envelope  // the median spike, enlarged
}

// Histogram holds counts between edges: len(Edges) == len(Counts)+1.
type Histogram struct {
	Edges  []float64 // rising, in the unit of what is counted
	Counts []int     // members between an edge and the next
}

// Envelope is a waveform drawn without losing a peak: the least and greatest
// volts of every column.
type Envelope struct {
	StartS, StepS float64   // of the first column, and from one to the next
	MinV, MaxV    []float64 // same length; equal where a column holds one sample
}

// HasCaution reports whether the measurement carries a caution, by its code.
func (m *Measurement) HasCaution(code string) bool {
	return slices.ContainsFunc(m.Cautions, func(c capture.Caution) bool { return c.Code == code })
}
