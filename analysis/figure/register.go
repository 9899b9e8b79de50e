package figure

// Row describes one figure of a measurement M, once for everybody who shows,
// judges or predicts it. A register is a list of rows in the order in which
// figures are shown.
type Row[M any] struct {
	// Key is the figure's name in JSON; it ends in the unit. One with dots stands
	// inside an object or a list: "cycle.esr_step_v", "bands.audio.rms_v".
	Key  string
	Name string // in words: "spike peak (median)"
	Unit string // "V", "V/√Hz", "Hz", "1/s", "s"; "" for a ratio
	Says string // one line for the JSON schema: what the figure is of

	Read  func(*M) Figure  // the figure as measured
	Write func(*M, Figure) // puts a figure in its place, for a prediction; nil with the rule ReadAnew

	Behind Behind[M] // what a linear filter makes of it
	Class  Class     // where its uncertainty comes from
	Group  Group     // what it is of, by which cautions doubt it

	// LowHz to HighHz is the span in hertz that a capture needs to show the
	// figure, both 0: any.
	LowHz, HighHz float64

	// NotIn are the outputs that leave the figure out, since another one tells
	// the same or it serves a script only. The zero value shows it everywhere.
	NotIn Output
}

// Shown reports whether an output shows the figure.
func (r *Row[M]) Shown(o Output) bool { return r.NotIn&o == 0 }

// Output is a set of outputs that show figures. JSON and its schema hold every
// figure and are none of them.
type Output uint8

// The outputs.
const (
	Terminal Output = 1 << iota // the text of one capture
	Page                        // the table of figures on the page
	Compare                     // a before and an after
)

// Rule is how a figure behaves behind a linear filter between supply and load.
type Rule int

// The rules. Where none is stated the figure counts as unpredictable: a prediction
// never hands on the figure ahead of the filter for one behind it.
const (
	Unstated      Rule = iota // nobody has thought about it yet
	Unpredictable             // can't be told from the measurement alone
	NoneStaysNone             // a count of events: none ahead of it are none behind it, else it can't be told
	Unchanged                 // a frequency of the converter's, the instrument's own, or DC at the terminals
	AtFrequency               // an amplitude at one frequency: scales with the gain there
	InBand                    // rms within a band: summed anew from the spectrum
	FromCurve                 // recomputed from a curve that goes through the filter
	ReadAnew                  // Read takes it from curves and figures of M, which are predicted themselves
)

// Curve names the curve that a figure of rule FromCurve is recomputed from.
type Curve int

// The curves.
const (
	NoCurve       Curve = iota
	CycleCurve          // the ripple's cycle without its spikes
	SpikeCurve          // the typical spike
	DetailCurve         // a few cycles at the sample rate, and the mains comb: peak-to-peak
	PeriodicCurve       // the folded cycle with its spikes, the mains comb and lines of neither: rms
	FloorCurve          // the noise floor's third octaves: rms
)

// Predictable reports whether the figure behind a filter can be told from the
// measurement ahead of it.
func (b Behind[M]) Predictable() bool { return b.Rule > NoneStaysNone }

// FromWaveform reports whether the figure is recomputed from a waveform, or is a count
// of what stands out of one; what remains is told by the spectrum.
func (b Behind[M]) FromWaveform() bool {
	return b.Rule == NoneStaysNone || b.Rule == FromCurve && b.Curve != FloorCurve
}

// Behind is a figure's rule behind a filter.
type Behind[M any] struct {
	Rule Rule            // which of the fields below count
	AtHz func(*M) Figure // AtFrequency: where, in hertz

	// InBand: the band in hertz, HighHz +Inf without an end, and the weighting of
	// amplitudes in it, nil for none.
	Band   func(*M) (lowHz, highHz float64)
	Weight func(hz float64) float64 // weighting of the band's amplitudes by hertz; nil: none
	Quiet  func(*M) Figure          // the same without its lines; nil: not known

	Curve Curve // FromCurve: which
}

// Class is where the uncertainty of a figure comes from.
type Class int

// The classes.
const (
	Unevaluated Class = iota // none is given
	Scatter                  // the scatter between parts of the record, the converter's step, and the gain
	Fit                      // a fit's own deviation, and the gain
	TimeBase                 // of the time axis alone: the gain is no part of it
	Counting                 // of a count
)

// Group is a set of what a figure can be of. Cautions doubt figures by it.
type Group uint

// The groups. A figure may belong to several, and to none.
const (
	Mean      Group = 1 << iota // DC volts
	InCycle                     // of what happens within a switching cycle
	ShortPeak                   // rests on the peaks of pulses that last some samples
	Folded                      // of the folded cycle alone
	Density                     // noise density, single or against a mask
	Audio                       // of the audio band or of the mains
	BandSum                     // rms within a band
	MainsLine                   // of the line at twice the mains frequency
	Count                       // a number of events
	MaskRatio                   // the greatest ratio of density to a mask
)

// Has reports whether the figure belongs to one of the groups.
func (g Group) Has(any Group) bool { return g&any != 0 }
