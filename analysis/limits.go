package analysis

// What decides in this room that is not a part of a formula.
const (
	// bandwidthLimitHz is the span in which the trade states peak-to-peak ripple
	// and noise.
	bandwidthLimitHz = 20e6
	// mostSwitchHz: a span that reaches beyond it would show the switching of most
	// supplies (common practice, no source).
	mostSwitchHz = 100e3
	// spikeSpanHz is the least span in which a spike's peak or its absence is a
	// finding: rings of the trade lie at 5 to 60 MHz (common practice, no source), and
	// a record at 20 MS/s and below shows neither their peaks nor that there are none.
	spikeSpanHz = 9.9e6
	// leastSpikeSpanHz is the least span in which spikes are counted at all: a pulse of
	// 200 ns, the longest of the trade, has its energy below about 2 MHz.
	leastSpikeSpanHz = 2e6
	// heldTimes: a smooth cycle that swings about its own level by this many times the
	// spikes' threshold holds spikes. Between arcs and corners tests show less.
	heldTimes = 1.0
	// marginalTimes: spikes off the edges whose peaks stay under this many times the
	// threshold of six standard deviations may be lesser ones that noise lifted: of three
	// deviations it does in one sample of 700.
	marginalTimes = 1.5
	// besideLift is by how many standard deviations the noise lifts the upper peaks read
	// without a cycle (the largest of some samples, and the upper of many), and
	// besideLevelShare the doubt of the level under them as a share of the peak.
	besideLift       = 1
	besideTopLift    = 2 // the tallest of many is lifted by more than the upper of them
	besideLevelShare = 0.05
	// longPulseS: the pulses of the trade last up to 200 ns (common practice, no source).
	longPulseS = 400e-9
	// longEventS: an event of a record without a cycle that lasts longer is a packet of
	// cycles and no transient: rings of the trade have died down by then.
	longEventS = 4e-6
	// broadcastShare of a figure is what a line that may be a transmitter's makes it
	// uncertain from: less is inside most ±.
	broadcastShare = 0.1
	// besideFar is how many times apart the two readings must lie for the
	// cycle to have lost the spikes in its mean; up to there the step of the ripple may
	// be in it.
	besideFar = 1.3
	// moreBesideTimes as many spikes beside the cycle as in it, and besideSlack more, are
	// more: the ends of a record hold one or two that the cycle does not.
	moreBesideTimes = 1.1
	besideSlack     = 3
	// ringLeastQ: under it a damped sinusoid describes the pulse's own tail as well
	// as a ring, and its frequency means nothing.
	ringLeastQ = 1.5
	// slowRing: a ring whose period is this many times the pulse's duration is none of
	// the pulse's; at half height a swing lasts a third of its period.
	slowRing = 12
	// unseenSweep is how far, as a share of the frequency, the mean over a record of
	// less than one sweep may lie from the supply's: spread-spectrum converters sweep
	// by up to 5 or 6 % to either side (common practice, no source).
	unseenSweep = 0.06
	// fewSteps: a signal of fewer converter steps is poorly resolved.
	fewSteps = 16
	// leastExplained: a mean cycle that accounts for a smaller share of what varies in
	// the ripple's band is not the ripple. Of 163 cycles found in the fast and middle
	// records of testdata/reference/truth with even seeds under 600, the 8 below 0.24
	// were wrong in frequency or ripple by half and more, and the 6 from 0.43 to 0.6
	// right.
	leastExplained = 0.3
	// undithered is the noise, in converter steps (standard deviation), below which
	// readings no longer average over the steps.
	undithered = 0.4
	// samplesInPulse and samplesInRing, of a ring's period: with fewer a spike is
	// undersampled. The curve through four samples a period is true to a few per cent;
	// at half height a swing lasts a third of its period.
	samplesInPulse = samplesInRing / 3.0
	samplesInRing  = 4
	// leastSamples: a shorter record tells neither spikes nor random from periodic.
	leastSamples = 64
	// mostGated is the share of the record from which gating leaves too little for a
	// noise floor.
	mostGated = 0.6
	// estimatorsApart is the share of the random rms by which two estimators of it may
	// differ and agree: twice their own scatter together.
	estimatorsApart = 0.08
	// leastRandom is the share of the varying power under which the random part can't
	// be told as the difference of the two.
	leastRandom = 0.01
	// slowShare is the share of the random power from which a drift makes it unsure.
	slowShare = 0.4
	// knotsDoubt is how many times what the converter's own points have more of the rms
	// than the points between them the doubt of it is: they are a part of the record.
	knotsDoubt = 1.2
	// repeatCounts is the autocorrelation from which what the mean cycle leaves holds
	// something periodic. Of 60 random parts in the fast records of
	// testdata/reference/truth with odd seeds from 401 to 1599 and no caution, right ones
	// reach 0.16 (load steps 0.44), the three that were too high 0.43 and more.
	repeatCounts = 0.2
	// It is read on a stretch of repeatPoints points, repeatInCycle or more in a cycle,
	// at lags at which repeatSeen of them meet.
	repeatPoints, repeatInCycle, repeatSeen = 4096, 8, 0.05
	// repeatBlock is how many samples are read at a time: they stay in the caches.
	repeatBlock = 1 << 13
	// mostCut is the share of the samples that may be cut off before noise and sums are
	// lower bounds: what is cut off shows neither.
	mostCut = 0.05
	// fadeStretches of whole cycles are compared in a mean over sweeps, and fadeShare is
	// how much less of the rms the least of them may have: cycles in step keep within 2 %.
	fadeStretches = 8
	fadeShare     = 0.93
	// fewPeriods of a band's lower end and fewer are summed over a few segments of the
	// record, whose tapers are held against the record's own changes in windowParts parts
	// of it and at windowSamples places at most.
	// windowDoubt of the difference is the doubt of the sum. Of a share under leastShare
	// the sum shows nothing.
	fewPeriods  = 200
	windowDoubt = 1.2
	leastShare  = 1e-3
	windowParts = 64
	// windowFrom and windowTo are where they begin and end: the half-band filters ahead
	// and the rounding of lengths leave a little of the record out.
	windowFrom, windowTo = 0.01, 0.97
	windowSamples        = 1 << 16
	// cornerCycles: a moving mean whose corner lies this many times above the switching
	// takes under 2 % off the tips of a triangle of duty 0.3 and more: its duration over
	// four of the shorter slope's, at both tips. cornerBands: at a quarter of its corner
	// it is down by 2 %.
	cornerCycles, cornerBands = 20, 4
	// fewCycles: a record of fewer switching cycles earns a caution.
	fewCycles = 20
	// lostSwitchingS: in a shorter record nobody expects to see the switching.
	lostSwitchingS = 200e-6
	// lowestPlainDCV: a mean beyond it where the coupling is not known is no
	// AC-coupled input's offset, V.
	lowestPlainDCV = 0.5
	// dcOverPP: nor is one of so many times the peak-to-peak where AC coupling is stated.
	dcOverPP = 2
	// audioTopHz is the end of hearing; a span that ends below it shows no switching.
	audioTopHz = 20e3
	// shortPeakHz is the lowest frequency that a short pulse's cut-off peak is missing at.
	shortPeakHz = 1e6
	// aliasLines is how many of the strongest lines are tried as the alias of a known
	// frequency, aliasHarmonics the highest harmonic of it that may be folded into the
	// audio band, and namedAliases how many candidates a text names.
	aliasLines     = 5
	aliasHarmonics = 20
	namedAliases   = 4
	// basicParts is how many parts of a record tell what its mean and rms scatter by.
	basicParts = 8
	// rippleSteps: a ripple of fewer converter steps that no noise dithers is poorly
	// resolved.
	rippleSteps = 3
	// ringShown is how much of a ring the typical spike's picture shows, in its Q's
	// periods.
	ringShown = 1.2
	// atHalfRate is the ratio of a stated bandwidth to half the rate up to which it
	// keeps aliases out: files round it.
	atHalfRate = 1.02
	// topOctaves third octaves at the top of the span tell the density there.
	topOctaves = 3
	// sameStep is the ratio up to which two steps, or a swing and a step, are one.
	sameStep = 1.5
	// endStopOff is how near to full scale a sample is at its end, as a share of it:
	// rounding alone.
	endStopOff = 1e-9
	// linesLeft is the ratio of what the gate lets through to the floor between the
	// lines from which lines that no cycle takes off are in it.
	linesLeft = 1.3
	// smearedCycles: a frequency known worse, in cycles over the record, smears the
	// edges' transients over the fold's bins.
	smearedCycles = 0.005
	// unditheredRandom is undithered for the random part's rms, which spikes' tails are in.
	unditheredRandom = 0.5
	// gatedBlocks is how many blocks of the record at most tell the random part's
	// power, of which gatedShare must have passed the gate.
	gatedBlocks = 64
	gatedShare  = 0.05
	// leastBin is the least extent of a histogram, as a share of its lowest value, and
	// leastBinV in volts.
	leastBin  = 1e-6
	leastBinV = 1e-12
	// hzRounding is the least doubt of a frequency, relative: a file's own digits.
	hzRounding = 1e-9
	// searchedShare is the share of the sample rate up to which switching is looked
	// for, for the text that says so.
	searchedShare = 0.45
	// cornerHarmonics: with fewer harmonics of the switching in the span the ripple's
	// corners are rounded off.
	cornerHarmonics = 5
	// limitedRate and limitedAt: a record at so many times the bandwidth limit, and of a
	// bandwidth of this share of it and more, can be the instrument's own limit's;
	// spanAtLimit is the share of it that any other span must reach.
	limitedRate = 2.2
	limitedAt   = 0.9
	spanAtLimit = 0.95
	// limitWithin is the widest limit, as a multiple of bandwidthLimitHz, that stands
	// for it: instruments have switches for 20 and 25 MHz, and wider ones of 100 to
	// 250 MHz (common practice, no source), which leave in what the figure leaves out.
	limitWithin = 1.25
	// nearThreshold is the ratio to the threshold under which a mean transient's single
	// ones may or may not top it.
	nearThreshold = 1.33
	// stepTimes is the duration, in what a step may take, from which a pulse is told
	// from the step under it, and stepLeft the share of the step that it is not.
	stepTimes = 1.5
	stepLeft  = 0.06
	// edgePart is the part of the cycle, 1/20, that a step may take at most.
	edgePart = 20
	// Events tied to the mains: leastTied of them over tiedPeriods of twice the mains,
	// n·r² over rayleigh (by chance once in a thousand), or of fewTied and fewer a
	// resultant over fewInPhase; those within tiedOff periods of the mean phase are.
	leastTied   = 3
	tiedPeriods = 1.5
	rayleigh    = 7
	fewTied     = 8
	fewInPhase  = 0.98
	tiedOff     = 0.04
	// upperPeaks is the quantile that stands for the upper peaks.
	upperPeaks = 0.95
	// stepHidesShare of the median peak: a step under the spikes in doubt by more may
	// hide some.
	stepHidesShare = 0.1
	// tiny keeps quotients of what may be 0 finite.
	tiny = 1e-300
	// loadOff is how far the load may be from the heaters' current, as a share.
	loadOff = 0.2
	// noticedDroop is the loss from which a line of a record of means is a lower bound.
	noticedDroop = 0.01
	// probeOff is how near the ratio of the mean to the rated volts must be to a
	// power of ten for a wrong probe factor to be suspected, as a factor.
	probeOff = 1.35
)

const (
	// foldedCounts is the share of a figure's power from which what may be folded
	// into it makes it a bound: 0.4 dB.
	foldedCounts = 0.1
	// smearedCounts is the same of what the density at the top would make of it, where
	// a switching may be folded: of seven jittered, swept and second converters folded
	// beside the audio band or into it the one with the least spikes stood 21 dB over
	// the spikes folded with it.
	smearedCounts = 5e-3
	// evidenceFaster is how many times faster a capture must be to tell what is folded
	// into another.
	evidenceFaster = 10
	// noisePeaks is the peak-to-peak of noise in a long record over its standard
	// deviation (a million samples of a Gaussian).
	noisePeaks = 9.5
	// usualBandwidthHz is a scope's where the file states none: the widest that is
	// common at the bench (common practice, no source).
	usualBandwidthHz = 200e6
)

// placesFast is the share of the mean cycle's power above an eighth of the sample rate
// from which more is folded into it than a ripple's corners.
const placesFast = 0.01

// CleanRateHz is the rate of a slow capture, samples per second, from which on one
// pole at a tenth of it, 2.4 times the top of the audio band, and the mean of a
// high-resolution mode keep most of the switching from folding into the audio band
// without taking from what belongs there. The guide prescribes it.
//
// A mean over the interval leaves sin(πd/rate)/(πf/rate) of a line at f that is
// folded to d. At the first multiple of the rate that is about d/rate: at 20 kHz
// 0.04 (-28 dB) of 500 kS/s and 0.19 (-15 dB) of 100 kS/s; A-weighted, at the worst
// place, 0.015 and 0.075. Of a ripple of 20 mV p-p, a sawtooth's 5.8 mV rms of which
// the harmonic nearest 500 kHz is the fourth or a higher one for most supplies
// (switching up to 130 kHz), 22 µV are left at the most; from 100 kS/s, whose
// multiples the fundamental itself may be near, 430 µV, several times what the
// named targets allow.
const CleanRateHz = 500e3

const (
	// poleShare is the corner, as a share of the sample rate, of the one pole that is
	// advised and that a filter stated without its bandwidth may be.
	poleShare = 0.1
	// foldWander is how far a line of a fast capture may lie elsewhere, as a share of
	// its frequency, while a slow one is taken: oscillators of supplies drift by less
	// over minutes under the same load (common practice, no source).
	foldWander = 0.01
	// rateRounding forgives a rate fitted to time stamps.
	rateRounding = 0.98
	// at1kLowHz to at1kHighHz is what may be folded into the density at 1 kHz.
	at1kLowHz, at1kHighHz = 500, 2e3
	// foldPlaces is at how many places of the range that a line may be folded to the
	// filter and the weighting are tried.
	foldPlaces = 9
	// lineReach is how many bins to either side of a line its power lies in.
	lineReach = 4
)

// outweighedRateHz: of a record at a lower rate the first harmonics of supplies that
// switch at up to 3 MHz, as fast as small modules do (common practice, no source), are
// folded into the range in which the switching is looked for.
const outweighedRateHz = 6e6

const (
	// foldedTopHz bounds the lines tried: twice as much as small modules switch at (3 MHz;
	// common practice, no source), since those of a bridge show their second harmonic.
	foldedTopHz = 6e6
	// foldedMost is the highest harmonic tried, and foldedChance the share of the span
	// that all tolerances together may fill.
	foldedMost   = 64
	foldedChance = 0.1
)

// foldsIntoNoiseHz: an unfiltered record at a lower rate holds the noise and the
// edges' energy of a scope's usual 70 to 200 MHz folded over and over, Hz.
const foldsIntoNoiseHz = 100e6

const (
	// inputVPerRtHz is less than the inputs of scopes add to a record, V/√Hz: 100 to
	// 300 µV rms in 100 MHz are 8 to 24 nV/√Hz (common practice, no source). It is
	// looked for above the 1/f part and the unit's, from inputLowHz up to
	// inputTopHz and the share inputBandShare of a stated bandwidth, in records at
	// scopeRateHz and more, which no other instrument makes.
	inputVPerRtHz          = 5e-9
	inputLowHz, inputTopHz = 2e6, 40e6
	inputBandShare         = 0.6
	scopeRateHz            = 50e6
	// stepsScatter is the scatter of a third octave's level there, as a share, and
	// stepsLeast of the converter's own density is the least that it makes of samples
	// whose noise spreads over its steps.
	stepsScatter, stepsLeast = 0.02, 0.95
	// noiseOctaves third octaves of noise below those of next to none are a filter's
	// doing.
	noiseOctaves = 3
	// simulatedVPerRtHz: the steps alone of a 12-bit converter make more, V/√Hz.
	simulatedVPerRtHz = 0.1e-9
)

const (
	// steepDB over two third octaves is more than three poles take, 12 dB, and as much
	// more as the scatter of either level; steepScatterDB is that scatter, within which each
	// third octave takes as much as the one before or more.
	steepDB, steepScatterDB = 15, 1.5
	// steepFromHz: below it the supply's own filters, of which there may be several, shape
	// its noise; up to steepCycles times the switching's frequency cycles that differ do.
	steepFromHz, steepCycles = 700e3, 4
	// steepSpikes is how much of the density, as a ratio, spikes and the converter's steps
	// may have.
	steepSpikes = 1.5
	// steepMattersHz: a corner from there on is no lower than an input's own.
	steepMattersHz = 70e6
)

const (
	// Where the noise of a record tells a 20 MHz limit, third octaves, Hz.
	limitFromHz, limitMiddleHz, limitToHz = 25.1189e6, 39.8107e6, 63.0957e6
	// limitFallDB is midway between what one pole at 20 MHz takes from the first to the
	// last and what one at 50 MHz takes, and limitUpperDB the same of the upper part.
	limitFallDB, limitUpperDB = 5, 2.5
	// limitMostVPerRtHz: an input's 30 nV/√Hz (see inputVPerRtHz) are no more at 25 MHz
	// behind such a limit, V/√Hz; more is the supply's.
	limitMostVPerRtHz = 20e-9
	// limitOverSteps is how far, as a ratio, the density must top the steps' own.
	limitOverSteps = 1.15
)

// unstatedInputHz bounds where the noise of an input of unstated bandwidth is read, by a
// quarter of it: a switch for 20 MHz, one pole, takes 7 % there.
const unstatedInputHz = 32e6

// foldsIntoBandHz is the same by band: the lower the band, the smaller the share of
// what is folded that falls into it beside its own.
var foldsIntoBandHz = map[string]float64{
	"audio": 100e6, "audio_a": 100e6, "bs468_qp": 100e6, "20k_1m": 50e6, "1m_20m": 100e6,
}

// The most points and columns that pictures are handed on with.
const (
	cyclePoints     = 512  // of the mean cycle
	histogramSteps  = 40   // of a histogram
	waveformColumns = 4800 // of the whole record
	detailColumns   = 4800 // of a few cycles, which mostly come to single samples
	spikeColumns    = 600  // of the typical spike
	curvePerDecade  = 240  // of the spectrum's curve
)
