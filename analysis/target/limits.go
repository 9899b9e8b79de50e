package target

import "stillglow/analysis/spectrum"

// What decides in this room that is not a part of a formula. Where no reason is
// given, it is common practice and no source.

// What volts a unit can show (common practice, no source). An unregulated adapter
// without load gives up to one and a half times its rating.
const (
	mostOfRated   = 2.0  // times the rated volts: more is no DC of this unit
	mostPPOfRated = 0.5  // times the rated volts: more is no ripple of it, unless the DC shows that the scale is right
	unlikeVolts   = 0.15 // share of the meter's reading by which a capture's mean may lie off it, beyond the ±
	rightDC       = 0.2  // share by which DC may lie off the rated volts and still show that the scale is right
	noDCOfRated   = 0.05 // share of the rated volts: a mean under it is no DC of the unit
	noDCV         = 0.3  // the same where the rated volts are unknown
	millivolts    = 1e-3 // the mean over the rated volts of a file whose unit is a thousand times too low
	millivoltsOff = 0.15 // share about it
	readInMV      = 0.5  // share by which a reading's thousandth may lie off the rated volts and still be them
	tenth         = 0.1  // the mean over the expected volts behind a 10:1 probe whose factor is not set
	tenthOff      = 0.2  // share about it
	// mostHeaterV bounds the DC of any heater supply where nothing tells what to
	// expect: extra-low voltage ends at 60 V DC (IEC 61140, from memory).
	mostHeaterV = 60.0
)

// How far captures of one unit may differ (common practice, no source).
const (
	switchingOff  = 1.2  // ratio of switching frequencies at one load
	sameLoad      = 0.1  // share by which loads may differ and count as one
	disagreeRatio = 1.25 // ratio of one figure in two captures of like quality
	twoAgree      = 3    // captures from which on the one that the others contradict is named
)

// When a unit's volts are taken for a wrong probe factor beside its brand's
// others (common practice, no source).
const (
	scaleMates    = 2    // other units of the brand needed
	scaleFigures  = 2    // criteria in volts needed
	scaleOffDB    = 3.0  // how far the typical ratio may lie off 20 or 40 dB
	scaleSpreadDB = 12.0 // how far the criteria's ratios may lie apart
)

// What only rounding makes of equal numbers, relative, and of a mask's end that lies
// on a third octave.
const (
	rounding = 1e-9
	bandOff  = 1e-6
)

// Confidence of the passing share's interval.
const shareConfidence = 0.95

// madToSD makes the median absolute deviation of normal data its standard
// deviation (Hampel 1974).
const madToSD = 1.4826

// An outlier lies further from its brand's median than this many robust
// standard deviations, of a brand with at least outlierUnits units; the spread
// is taken as no less than outlierFloorDB, since two captures of one unit
// differ that much (common practice, no source).
const (
	outlierSDs     = 3.0
	outlierUnits   = 4
	outlierFloorDB = 0.5
)

// doubtDB is how far a margin's interval may reach to the other side of the
// limit, in dB, before the verdict waits for a better capture.
const doubtDB = 1.0

// couldFailDB: a caution that may move a figure up by this much and more, and over the
// limit by more than a near miss, leaves nothing that keeps the unit from a fail.
const couldFailDB = 20.0

// contradictDB is how far two captures must be apart before the one on the other
// side of the limit contradicts the first.
const contradictDB = 2.0

// disputeDB is how far under the valve's own noise a supply is before a broken
// rule-of-thumb limit is called in question, in dB: it then adds 0.4 dB to the noise.
const disputeDB = 10.0

// badShiftDB is how far a caution may move a figure before its capture counts as
// doubtful for it, in dB.
const badShiftDB = 3.0

// extrapolate is how far beyond its readings a fit is still used, as a share
// of the greatest current read.
const extrapolate = 0.5

// moreLoad is by how much the load of a reading may exceed the heaters' and still
// prove something of the unit: ripple grows with load.
const moreLoad = 1.2

// miscountedDB is how far a count of spikes may be off where cycles differ from each
// other, in dB: eight times, the most seen (see its row).
const miscountedDB = 18.1

// undersampledP95DB is how far the 95th percentile of leastMet and more coarsely sampled
// spikes lies under that of their peaks at most, in dB: of 34 such figures of
// testdata/reference/truth and its decisions' supplies with odd seeds under 1000, none was
// further off than 3.3 dB from the highest reading of the truth, 32 by less than 1.7 dB,
// from 0.4 samples a pulse and 2.1 a period of the ring up. Fixed cycles that meet the
// sampling at no more than fewPlaces places are left out.
const (
	undersampledP95DB = 3.5
	leastMet          = 20
	fewPlaces         = 6
)

// A count is that of both edges where more than bothEdges spikes fall on a cycle and no
// more than strayShare of them beside the edges: of 23 such counts with odd seeds under
// 1000 of which a caution said that cycles differ or spikes are undersampled, none was
// too low; of 47 others 7 were.
const (
	bothEdges  = 1.9
	strayShare = 0.05
)

// wrongPeriodDB is what folding at half or twice the period does at least, in dB:
// half of the ripple, or its double.
const wrongPeriodDB = 6

// stepUnknownDB is what too few steps may do where their size is not known.
const stepUnknownDB = 3

// Power and significance that brands are told apart with.
const (
	tellSignificance = 0.05
	tellPower        = 0.80
	tellMost         = 60 // units of a brand, beyond which nobody buys
)

// Which captures and readings count.
const (
	// packetsShowHz: a criterion that reaches this high is met by records short enough
	// to lie between two packets of a bursting supply.
	packetsShowHz = 1e6
	// leastPackets is how many of its packets' times a record must hold to show all that
	// a bursting supply does, packets and pauses.
	leastPackets = 1.25
	// loadNear is the share about the heaters' current within which a capture is as
	// good as one at it, sameVoltsLoad that within which its DC counts as the loaded
	// volts, and readingLoad that within which a meter reading is one at that current:
	// at an output resistance of 0.1 Ω and 1 A they are 20, 10 and 2 mV.
	loadNear      = 0.2
	sameVoltsLoad = 0.1
	readingLoad   = 0.02
	// bentOff is how far a reading may lie off the straight line through all, as a share of
	// the volts, before the supply counts as one whose volts do not follow it.
	bentOff = 0.02
	// leastLoadApartA is how far apart meter readings' currents must lie for a slope,
	// A: the last digit of a bench meter.
	leastLoadApartA = 1e-3
	// mostReading, in V and in A, is beyond what any heater supply's reading can be.
	mostReading = 1e4
	// sameRail: a rail this near to 6.3 V, as a share, is one.
	sameRail = 0.01
	// scaleFixOff is how far from a known slip's factor volts may lie and still be
	// told to come from it, as a share.
	scaleFixOff = 0.3
	// aboveTenDB, in dB, is nearer to a factor of 100 than to one of 10.
	aboveTenDB = 30.0
)

// Reading densities.
const (
	// thirdLow and thirdHigh are the edges of a third octave over its centre,
	// 10^(-1/20) and 10^(1/20) (IEC 61260-1).
	thirdLow, thirdHigh = 0.891, 1.122
	// twicePower is 3 dB as a ratio of amplitudes: a density within it of the
	// converter's own may be the converter's.
	twicePower = 1.41
	// spanRounding is the share by which a record's span may fall short of a band's
	// edge by rounding, curveRounding that by which the spectrum's curve may, whose
	// points lie 1 % apart, and mainsLineOff that within which a line is the one at
	// twice the mains frequency.
	spanRounding  = 0.01
	curveRounding = 0.05
	mainsLineOff  = 0.01
	// lineHalfWidth is half the width that a line of the spectrum takes, as a share of
	// its frequency.
	lineHalfWidth = 0.02
	// mostPower, in V²/Hz, is beyond any density; a sum of figures made by hand may
	// run there.
	mostPower = 1e24
)

// Records of one unit that are held against each other.
const (
	// joinHz parts what of an audio sum a slow record gives from what a faster one
	// does: the lower end of the band in which noise is compared, which records of 2 ms
	// and more show.
	joinHz = spectrum.DensityLowHz
	// joinStep is the ratio of neighbouring cells' edges.
	joinStep = 1.02
	// joinFaster is how many times faster the other record is at least: less folds
	// hardly less.
	joinFaster = 4
	// foldsMost is by how much what a slow record shows more may top what it folds down:
	// of 31 audio sums of testdata/reference/truth's decisions with odd seeds under 200
	// the greatest were at 1.09 and 0.91 of it.
	foldsMost = 1.25
)
