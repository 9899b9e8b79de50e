package cycle

// What decides in this room that is not a part of a formula. Where no reason is
// given, the number was chosen on one half of the drawn supplies.

// The search for the switching frequency.
const (
	// SearchLowHz and SearchHighHz bound the search for the switching frequency.
	// The trade's converters run from 20 to 500 kHz (common practice, no source);
	// the search reaches further so that a stray one is seen.
	SearchLowHz  = 12e3
	SearchHighHz = 3e6
	// TradeHighHz is the highest frequency that the trade's supplies switch at
	// (common practice, no source): what repeats faster is a ring or an alias.
	TradeHighHz = 500e3
	// lineOverFloor is the power ratio over the local noise at which a bin of
	// the search counts as a line.
	lineOverFloor = 20
	// minCycles is how many cycles a record must hold to show a switching
	// frequency.
	minCycles = 4.5
	// repeatSigmas: a fold whose power is less than this many standard deviations of
	// what noise alone folds to repeats nothing.
	repeatSigmas = 6

	// chosenGain is how many times the power another candidate must explain to take
	// the first one's place, and nearlyAll the share of a candidate's power that one of
	// its multiples must explain to be the cycle.
	chosenGain = 1.1
	nearlyAll  = 0.97
	weighMax   = 1 << 16 // most points that candidates are weighed on
	// wideKept is the share of another's power in wide bins that a candidate must
	// keep where it does not explain farMore times as much in fine ones.
	wideKept = 0.5
	farMore  = 2
	// leastBins and finestBins bound the bins that candidates are folded into;
	// samplesInBin is the fewest that a fine one holds on the mean.
	leastBins, finestBins = 6, 512
	samplesInBin          = 64
	weighLines            = 6 // how many of the strongest lines are candidates
	// mostBetween is how many harmonics between a multiple's own are held against
	// besidePlaces places beside them, besideWidths resolutions of the stretch away and
	// further; they stand besideSigmas deviations above.
	mostBetween  = 6
	besidePlaces = 12
	besideWidths = 3
	besideSigmas = 5

	searchRateHz = 6e6     // least rate of the stretch searched where the trace allows, Hz
	searchMax    = 1 << 18 // most points of it
	searchMin    = 1 << 15 // points taken even where they are more than an eighth of the record
)

// Holding the mean cycle against the record.
const (
	explainPoints    = 8192 // most points of a stretch whose spectrum is taken
	explainStretches = 16   // most stretches
	leastSpectrum    = 64   // points under which nothing can be said
	// explainTop is the share of the sample rate up to which a thinned spectrum
	// counts, and noiseFrom that from which the noise is read where the record ends
	// below ExplainHighHz.
	explainTop = 0.45
	noiseFrom  = 0.3
	// besideCycle is how far to either side of a harmonic the remainder counts as the
	// noise under it, in cycles' frequencies; heldTop is the share of the thinned band
	// that harmonics are taken from.
	besideCycle = 0.6
	heldTop     = 0.8
	// standsOut is the power, over the noise's in one resolution of the record, from
	// which a harmonic tells anything of the frequency.
	standsOut = 4
	// spreadSigmas is the range that 90 in 100 of local frequencies fill, over 0.9, in
	// standard deviations of normal ones.
	spreadSigmas = 3.6
	clockScale   = 1.5 // on the bound
	foldTakes    = 4   // cycles' worth of the noise that the fold and its frequency take
	// wanderCycles is the length of the blocks that a clock's wander is read from, and
	// leastWander the fewest that tell anything.
	wanderCycles = 4
	leastWander  = 4
	mostWander   = 300
	// cornerLoss is what a blur takes off a triangle's peak-to-peak, in blurs (standard
	// deviation over the period): 2·0.4·(1/d + 1/(1-d)) at duty d, 3.2 and more, and the
	// blocks that the walk is read from hide a part of it. rmsLoss is the same for its
	// rms, over that for the fundamental.
	cornerLoss = 6
	rmsLoss    = 1.5
)

// Clocks that are sampled at the same places of every cycle.
const (
	// placesDrift is how far, in distances of places, samples may drift over the record
	// and still fall on the same ones, and placesBelowHz the rate of places from which
	// these tell what rings of up to 20 MHz do.
	placesDrift   = 0.5
	placesBelowHz = 40e6
	// mostMultiple is the highest multiple of a frequency that the clock is looked for
	// at, and multipleHolds the share of the slow power that it must hold.
	mostMultiple  = 13
	multipleHolds = 0.9
)

// Following the cycle.
const (
	// trackCycles and trackHop are the length of a block that the phase is read from
	// and the step to the next, in cycles: short against a packet and a sweep, long
	// against a cycle.
	trackCycles = 6
	trackHop    = 3
	// restsBelow: a block of less than this share of the strong ones' amplitude may
	// be a rest, and leastRest is the share of such blocks from which packets are
	// looked for.
	restsBelow = 0.3
	leastRest  = 0.08
	// leastSpread is the least wander that counts as dither, as a share of the
	// frequency.
	leastSpread = 0.003
	// wanderGain: a wandering track must fold this many times the fixed one's power.
	wanderGain = 1.03
	// alignShare of the cycles must show the edge that the track is tied to.
	alignShare = 0.95
	// shortCycles: a record of fewer cycles is worth a search by folding it, and
	// shortSamples are kept of it for that.
	shortCycles  = 100
	shortSamples = 200000
	// noisyCycle: where noise leaves a frequency less sure than this part of a cycle
	// over the record, the fold's curvature says nothing.
	noisyCycle = 1e-4
)

// Taking the folded cycle apart.
const (
	// maxCells bounds the cells that the straight parts are fitted on.
	maxCells = 512
	// edgeSigmas: a transient stands this many deviations off the smooth ripple.
	edgeSigmas = 5
	// mostEdges is how many transients of a cycle are told apart.
	mostEdges = 4
	// EdgeZoneS is how long the step at an edge may take, s: within it the ripple is
	// wherever the curve runs between the two parts it joins.
	EdgeZoneS = 30e-9
	// longestPulseS is well over what a switching edge makes, s: 5 to 200 ns (common
	// practice, no source).
	longestPulseS = 1e-6
	// ringFills is the share of a ring's envelope left at the next edge from which
	// ripple and ring are hard to tell apart.
	ringFills = 0.15

	jointPlaces = 2048 // most places that the joint fit is made on
	jointTerms  = 8    // its linear terms: two a part, two a ring
	// jointCond is the condition number beyond which parts and rings are one to the
	// fit.
	jointCond = 1e5
	// jointLeadBins before an onset are left out: the fold smears it.
	jointLeadBins = 3
)
