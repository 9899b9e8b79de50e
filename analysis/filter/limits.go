package filter

// Numbers that decide and belong to no rule of their own; those of a rule stand
// beside it (search.go, parts.go, warnings.go).
const (
	rounding       = 1e-9   // relative: what differs less is equal
	lineReach      = 4      // points of the spectrum that a line is smeared over to either side
	historyTimes   = 8      // the slowest time constant, over which a circuit remembers what went before,
	historySamples = 64     // and samples at least
	historyAhead   = 8      // 1/8 of that is what the filtered block's end is read beyond
	turnSamples    = 64     // over which the mirror image at a record's ends is turned
	powerOfTwo     = 8      // a power of two longer by 1/8 is transformed no slower than another length
	ratedOver      = 3      // a capacitor's rating stands a third above its volts
	curveDecades   = 8      // 1 Hz to 100 MHz of the gain drawn,
	curvePoints    = 20     // points a decade,
	peakPoints     = 400    // and as many where the resonance is looked for
	peakCoarse     = 8      // of these, every eighth first: 1.05 in frequency,
	peakNear       = 1      // and between them beside local maxima within so many dB of the greatest
	spanOver       = 1.0001 // ratio by which the span must top the last harmonic to be extended
	noGain         = 1e-20  // under which a gain counts as none, -400 dB
	mostOthers     = 3      // other part sets that are named beside the best
	bypassTimes    = 3      // a ceramic helps a bulk capacitor that is larger by this and of a higher ESL
	cycleSamples   = 8      // of a mean cycle that can be sent through a circuit
	spikeSamples   = 16     // of a typical spike's picture
	gainPoints     = 60     // between two frequencies at which the greatest gain is looked for
	cycleAgrees    = 0.2    // relative: the ripple by its slopes against the one measured
	// What lies nearer to an edge, in cycles, counts as its spike and not as ripple.
	afterEdge  = 0.01
	beforeEdge = 0.003
)
