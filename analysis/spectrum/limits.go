package spectrum

import "stillglow/analysis/figure"

// The numbers that decide something in this package, by the step that asks. Those
// inside a formula, a window or a filter's design are the formula's own.

// The spectrum's stages and segments (multirate.go).
const (
	minSpectrumLen = 8    // samples, under which a record has no spectrum
	minSegments    = 8    // in a record, before its segments grow
	maxSegmentLen  = 4096 // samples: 1400 bins up to the top of a stage's octave
	enoughSegments = 100  // from which on they no longer overlap: the averages are good enough, the transforms dominate the cost; from twice as many on, gaps lie between
	maxHop         = 4    // segment lengths from one to the next, as a mean, in a long record: lines and single events are in it
	enoughGated    = 50   // the same where those are gated out: third octaves of a full stage are then good to 1 %
	maxGatedHop    = 16
	blockLen       = 1 << 14 // samples read at a time
	keptShare      = 16      // decimated records no longer than 1/16 of the record are kept for finding lines,
	keptAlways     = 1 << 17 // samples: shorter ones are kept whatever the record
	junctionReach  = 0.85    // share of the half-band edge down to which a quiet place for the next stage is looked for
	junctionBins   = 4       // bins above zero that the place must lie
	junctionGain   = 0.5     // ratio of power by which a lower place must be quieter to be taken
)

// Transforms (transform.go, powers.go): of powers of two in between the faster library has
// made up for its preparation at once. tiny keeps logarithms of what may be 0 finite.
const (
	fastLeast     = 64
	fastMost      = 1 << 15
	fourStepLeast = 1 << 13 // samples, from which on a piece is laid out as a grid,
	fourStepShare = 0.97    // of which a piece is cut by no more to fit one
	tiny          = 1e-300
)

// The drawn curve (curve.go).
const curvePerDecade = 240 // cells: finer than any plot shows, coarse enough to keep

// Lines (lines.go, bands.go).
const (
	openBand       = 1.5     // times its lower end that the span must reach for a band without an upper one
	maxLines       = 400     // the strongest that are kept, which bounds the time that naming them takes
	lineFalseAlarm = 1e-8    // chance per bin that noise passes for a line: under one in a hundred records
	lineMargin     = 1.5     // ratio of power over that chance's level, for a floor that is no flat one
	maxLineFFT     = 1 << 18 // samples in the longest transform of the search, which bounds its memory
	lineSegments   = 4       // pieces in which longer stages are searched
	minLineFFT     = 16      // samples in the shortest
	floorPart      = 4       // the search's noise is read in blocks of 1/4 of their frequency,
	floorBins      = 16      // bins at least
	floorMostBins  = 512     // and at most
	withinBin      = 0.5     // of a bin: how far a line's frequency may be off by the bin it was found in
	skirtBins      = 6       // beside a line, from where the density around it is read
	lineReachBins  = 3       // bins to either side that a line rules: the tapers' main lobes
	maxReachBins   = 24      // the same of a line whose skirts stand far above the density around it
	sidelobePower  = 1.6e-9  // of the strongest line: -88 dB, what the taper itself makes of it
	fillBins       = 8       // densities averaged beside a line to fill its place,
	fillReachBins  = 32      // looked for no further away than this
)

// Combs and sidebands (combs.go, sidebands.go).
const (
	switchingTolerance = 1e-4 // relative, of a harmonic's frequency: the converter's own drift
	harmonicMost       = 0.2  // of the comb's frequency: how far a line may lie off a harmonic at most
	mainsTolerance     = 2e-4 // the same of the mains, refined
	maxMainsName       = 40   // the highest harmonic named: above it the comb is too dense to tell by frequency alone
	mixTolerance       = 1e-5 // of a sum or difference of two known frequencies

	secondLowHz      = 5e3  // the lowest second converter: below it lies the mains
	secondProofs     = 5    // the highest harmonic that proves one
	secondHarmonics  = 100  // the highest that is named after it
	smearWidth       = 0.05 // relative distance within which lines crowd beside a smeared one
	smearLines       = 5    // of them, itself included, beyond which it is a smear and no line
	burstOff         = 0.1  // of the bursts' rate: how far a line may lie from its multiple, since bursts jitter
	mixOrder         = 3    // the highest order of intermodulation named
	mainsSidebandMax = 20   // the furthest sideband at the mains rate, in multiples of it
	secondExplains   = 0.4  // the share of the power of the lines left that a second converter's comb holds, at least

	// secondPeriods of a second converter, and of the first, a record must hold for the
	// second to be stated; its line must lie secondApart resolutions (one over the
	// record's length) off the first's comb, and off a harmonic of the first's by more than
	// secondNear of it, which is how near each other two alike converters run. secondU is
	// its expanded uncertainty (k = 2) in resolutions.
	secondPeriods, secondApart, secondNear, secondU = 20, 4, 0.04, 0.1

	spacingReach      = 0.3  // share of the switching frequency within which lines count as its sidebands
	minSidebands      = 4    // lines beside the strongest that an even spacing must hold,
	sidebandPower     = 0.8  // and their share of the power there
	maxSidebandLines  = 60   // the strongest lines looked at
	centreSpacings    = 24   // of them, whose spacings to the strongest are tried,
	mutualSpacings    = 12   // and whose spacings to each other
	spacingBins       = 2    // bins that an even spacing must have,
	spacingOffBins    = 0.3  // bins that a line may lie off it,
	spacingOffOrder   = 0.1  // and as many more a multiple
	sidebandOff       = 0.02 // of the spacing: how far a sideband may lie off its multiple beside its bin
	mainsSidebandOff  = 0.1  // of the mains frequency: the same of the mains' sidebands
	packetOrder       = 3    // multiples of the packet rate that may show it at low frequencies
	packetShare       = 0.05 // of the strongest switching line that a packet rate shows at low frequencies, at least
	mainsRateFraction = 0.01 // relative distance from the mains or twice of it within which a spacing is the mains'
)

// The mains (mains.go).
const (
	minMainsPeriods = 4     // of a harmonic in the record, or noise and drift pass for it
	mainsTopShare   = 0.4   // of the sample rate, above which a harmonic may be an alias
	mainsHarmonics  = 40    // that are looked at: 2 kHz, where a rectifier's comb is done
	mainsDrift      = 0.006 // relative: grids hold 0.4 %, scopes' time bases are far better
	mainsBinDrift   = 0.3   // bins that a line's own frequency may be off beside it
	mainsLowAgree   = 0.15  // bins by which the comb may miss the line at once or twice the mains, beside its own doubt
	gridHarmonics   = 20    // by which 50 is told from 60 Hz
	gridRatio       = 4.0   // of power, by which one must lead
	gridReach       = 0.1   // of the mains frequency, in which a line near a harmonic proves nothing if it may lie anywhere
	leastMembers    = 3     // lines that prove a comb of which none lies at 1 or 2 x mains
	leastBlockS     = 1.0   // s, the shortest block in which a wandering line is followed: mains move by hundredths of a hertz within it
	wanderOver      = 4.0   // standard deviations by which shorter blocks must hold more power
	wanderUnsure    = 2.0   // standard deviations by which they leave the line in doubt
	besideSix       = 2.6   // times the noise: k = 2 of a noise that six places beside the line tell (Student's t, 5 degrees of freedom)
	wholeRecord     = 1.5   // a block longer than the record over this is the record
	bothGridsHz     = 300   // Hz: the comb of 50 and that of 60 Hz share its multiples
	wanderShare     = 0.02  // and as a share of it
	maxBinShare     = 0.1   // bin over frequency: a line resolved worse says nothing better than the nominal frequency
	mainsOverNoise  = 4.0   // standard deviations of the noise that a harmonic must stand out by
)

// The instrument's share (baseline.go).
const (
	baselineCoarser  = 4.0  // ratio of resolution beyond which several lines of the capture share one of the baseline's bins
	baselineRange    = 1.5  // ratio of converter steps: an instrument's spurs grow with its range
	baselineOffHz    = 1e-5 // relative, of a line's frequency in two captures: the time base's drift
	baselineMainsOff = 0.01 // relative, of the mains in two captures
)

// The noise floor and its plateau (noisefloor.go, plateau.go).
const (
	floorRatio      = 2.0  // of power, 3 dB: nearer to a floor what is left would be guesswork
	maxExcised      = 0.9  // share of the record, beyond which the gate's own effect can't be taken off
	leakRatio       = 0.9  // of the plain density over the gated one, under which the latter holds ripple leaked in
	firstOctave     = -20  // third octaves, numbered from 1 Hz: 10 mHz
	lastOctave      = 110  // 100 GHz
	minFreeBins     = 3    // in a third octave, without lines, for their median
	freeBinShare    = 8    // bins: one in 8 at least must be free of lines
	plateauTopShare = 0.25 // of the span: above it an instrument's low-pass tilts the floor
	leastRelative   = 0.02 // standard deviation that any third octave has: the model's own error

	centreOff     = 0.01 // relative, of a third octave's centre: nominal against exact
	leastSpread   = 1e-6 // relative, of a third octave: none is without any
	DensityLowHz  = 2e3  // the band of the trade's noise criterion: above the mains comb,
	DensityHighHz = 20e3 // up to the end of hearing
	densityHelpHz = 40e3 // up to here, under the lowest switching frequency, a short record's fit reaches
	densityMember = 0.5  // relative standard deviation in power beyond which a third octave says nothing
	lawScatter    = 0.03 // standard deviation in power that any third octave has about a smooth law
	lawMisfit     = 2.5  // chi squared per degree of freedom up to which a power law is believed

	plateauWidth    = 8    // third octaves in the window that looks for the level, most of a decade
	plateauSpread   = 0.05 // in power, that a window must be good to
	plateauAgree    = 0.25 // in power, 1 dB: third octaves off by no more, and their own spread, belong to it
	plateauMember   = 0.3  // relative standard deviation beyond which one says nothing
	plateauLeast    = 3    // third octaves that the corner leaves for it
	cornerTrim      = 6    // 1/6 of the corners at either end may be anything
	plateauRounds   = 4    // in which level and corner settle
	cornerSettled   = 0.01 // relative change of the corner at which they have
	cornerOver      = 0.5  // in power over the plateau, beside its own spread, of a third octave that stands out
	minCornerLevels = 4    // third octaves that must stand out
	cornerScatter   = 2.0  // ratio beyond which their corners do not follow 1/f
)

// densityModel is what experience adds to a density's own uncertainty
// (noisefloor.go), chosen so that of computed supplies drawn over the trade's ranges
// 19 in 20 have their truth inside what is stated, the instrument's gain left out.
var densityModel = figure.TypeB{Scale: 1.4, Model: 0.0075}

// Weighted and quasi-peak readings (quasipeak.go).
const (
	quasiPeakS      = 0.5     // s of record, at least: the detector's slow stage must fill
	quasiPeakHz     = 15e3    // span at least: what lies above weighs under -10 dB
	quasiPeakTopHz  = 31.5e3  // the end of the recommendation's table
	quasiFadePart   = 4       // and over 1/4 of the record at most
	quasiPeakFadeS  = 10e-3   // s faded at either end, so that the record's ends make no click
	maxQuasiSamples = 1 << 20 // that the meter reads: 10 s at about 100 kHz
)

// The converter's steps (adcstep.go).
const (
	minLevels     = 3    // different values that a grid must have
	singleStep    = 1.6  // times the least gap: gaps up to it are single steps, printed with few digits
	offGrid       = 0.2  // rms in steps; points strewn evenly would be off by 1/√12 = 0.29
	maxLevelShare = 0.9  // of the samples that may differ from all others before they lie on no grid
	fewLevels     = 8    // up to which that is not asked
	sameLevel     = 1e-9 // of the record's extent: values that differ by rounding alone
	sameOffset    = 1e-6 // the extent counts as no less than this share of the greatest value
	clipCodes     = 8    // codes that a record must span before its end stops say anything
	onLastCode    = 0.5  // steps off the end within which a sample is on the last code,
	onNextCode    = 1.5  // and on the last but one
	offEnds       = 1.6  // steps off both ends from which a sample needs no look
	clipRun       = 3    // samples in a row on the last code
	clipPile      = 4    // times as many there as on the last but one: a sine has at most 2.5 times
	levelChunks   = 64   // places spread over a long record
	levelChunkLen = 2048 // samples looked at there
	// levelTableBits is the size of the table of different values, a power of two: half of
	// it holds the codes of a 12-bit converter, and a record of as good as no two values
	// alike fills that at once.
	levelTableBits = 13
)

// stepReaches are the gaps in steps that are taken in one after the other: each
// wider one's number of steps is told by the estimate before it.
var stepReaches = [...]float64{3.5, 10, 30, 100, 1000, 1e9}
