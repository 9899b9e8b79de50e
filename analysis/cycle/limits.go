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
	// sameCycles: candidates that differ by less over that stretch, in cycles, refine to
	// the same frequency, which is looked for over one cycle and a half to either side.
	sameCycles = 0.05
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
	// over more cycles than mostWander a stretch is read, of wanderStretch cycles and
	// wanderSamples at most, where it stands wanderSigmas deviations out of the noise.
	mostWander    = 300
	wanderStretch = 2000
	wanderSamples = 1 << 19
	wanderSigmas  = 3
	// cornerLoss is what a blur takes off a triangle's peak-to-peak, in blurs (standard
	// deviation over the period): 2·0.4·(1/d + 1/(1-d)) at duty d, 3.2 and more, and the
	// blocks that the walk is read from hide a part of it. rmsLoss is the same for its
	// rms, over that for the fundamental.
	cornerLoss = 6
	rmsLoss    = 1.5
	// roughHarmonics and roughFitted are the highest harmonics whose noise a curve read
	// as it is and a fit of straight parts follow, and roughPeaks what the greatest of
	// several places takes more than one.
	roughHarmonics = 24
	roughFitted    = 4
	roughPeaks     = 1.3
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
	// leastPhases is how many parts' phases tell how a clock walks.
	leastPhases = 5
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
	// its linear terms: two a part, two a ring
	jointTerms, jointRingTerms = 8, 4
	// jointCond is the condition number beyond which parts and rings are one to the
	// fit.
	jointCond = 1e5
	// jointLeadBins before an onset are left out: the fold smears it.
	jointLeadBins = 3
	// seriesReach is how far in nepers and radians the joint fit draws a ring on by the
	// exponential's series, which ends where it leaves a share of seriesLeft.
	seriesReach, seriesLeft = 0.16, 1e-13
	// ringKept is the decay over a cycle, in nepers, up to which no ring is lost among
	// the least numbers.
	ringKept = 300
)

// The lines, combs and repetitions that candidates are made of (switching.go).
const (
	// candidateTopHz is the highest frequency of a candidate: a fifth above the trade's
	// for those that stray; beyond it is a ring after every edge, or an alias.
	candidateTopHz = 1.2 * TradeHighHz
	thinnedTop     = 0.36 // share of the thinned rate up to which the low-pass leaves noise flat,
	wholeTop       = 0.48 // and of the rate where nothing was thinned
	searchTopShare = 0.45 // of the stretch's rate: the highest frequency looked for
	leastStretch   = 32   // points under which nothing is searched
	lowestBin      = 4    // of the spectrum: below it lies the taper's own skirt
	weakestLine    = 3e-8 // of the strongest line's power, -75 dB: lower ones are rounding
	lowBinsOver    = 30   // bins: line k stands over 1 + 30/k times the threshold, for wander and 1/f noise
	mostPeaks      = 300  // lines that combs are looked for among
	leastTrend     = 6    // points that a trend needs
	floorBlockPart = 6    // blocks of the floor widen to 1/6 of their frequency,
	floorBlockMin  = 24   // bins, at least,
	floorBlockMax  = 4096 // and at most
	// combStrong is how many of the strongest lines a comb is tried from, as harmonics
	// up to combOrder of it; it lies combBins bins or more above zero, and another
	// takes its place by a score combBetter times as high.
	combStrong = 24
	combOrder  = 16
	combBins   = 3
	combBetter = 1.0001
	lineLeast  = 1.01 // ratio over the noise that a line's weight counts from
	// A line is a comb's where it lies within combOffBins bins, combOff of its frequency
	// and, before the comb is refined, combOffOrder bins a harmonic, and within combOffMost
	// of the comb's frequency at most; combPlaces of the lowest harmonics are held
	// against the empty places.
	combOffBins  = 0.8
	combOff      = 1e-5
	combOffOrder = 0.1
	combOffMost  = 0.2
	combPlaces   = 8
	// A repetition: searched where the correlation has first fallen to repeatFalls, and
	// counted repeatChance deviations over chance, at the first maximum of repeatFirst
	// of the highest, of which the crown lies within an eighth (repeatCrown) beyond. Its
	// spectrum begins at repeatLow of the lowest frequency.
	repeatFalls  = 0.3
	repeatChance = 8
	repeatFirst  = 0.85
	repeatCrown  = 8
	repeatLow    = 0.7
	// Under packetsBelowHz a comb may be that of packets: a repetition insideTimes its
	// frequency and insideLowHz or more, of a correlation of insideLeast, is looked for
	// within them. The comb lies on a multiple of the packets' rate within packetsOff, a
	// share of it that grows from the multiple packetsOffFrom on, and the switching at
	// packetCycles times it or more.
	packetsBelowHz = 60e3
	insideTimes    = 2.2
	insideLowHz    = 40e3
	insideLeast    = 0.1
	packetsOff     = 0.05
	packetsOffFrom = 3
	packetCycles   = 3
	// combExplains is the share of the lines' weight that makes a comb the first
	// candidate; their power counts combPowerCounts of that.
	combExplains    = 0.35
	combPowerCounts = 0.6
	repeatCounts    = 0.15 // correlation that makes a repetition the first candidate instead
	sameFrequency   = 0.02 // by which comb and repetition may differ and be the same
	// A repetition in place of the comb: of a correlation of ditheredLeast where the comb
	// explains little, another frequency by offComb and dithersMore times the power
	// folded there; of foldedLeast at a multiple of foldedTimes and more that is whole
	// within offComb of it.
	ditheredLeast = 0.6
	offComb       = 0.05
	dithersMore   = 1.1
	foldedLeast   = 0.9
	foldedTimes   = 2.5
	// A second converter's lines lie off the first's comb by secondOffBins bins and
	// secondOff of its frequency; its own comb explains secondExplains of them.
	secondOffBins  = 2
	secondOff      = 0.002
	secondExplains = 0.4
)

// Tying the track to an edge's transients (align.go).
const (
	alignSigmas    = 4    // deviations of the noise that their mean peak must stand out by,
	alignOwn       = 5    // and a single one,
	alignOfMean    = 0.5  // of at least this share of the mean one's
	alignReach     = 0.03 // cycles to either side within which a peak is looked for; twice that where the clock is dithered
	peakSamples    = 3    // that a peak between samples needs
	alignLeast     = 4    // cycles
	straightMoves  = 0.02 // of the pulse's duration: what a straight line through the peaks moves less says nothing new
	straightOff    = 0.02 // cycles that the peaks may scatter about it
	straightSigmas = 4    // deviations by which a less sure frequency must differ
)

// Packets (bursts.go).
const (
	leastBlocks     = 8    // phases read from a record before it may be followed
	packetLevel     = 0.5  // of the strong blocks' amplitude: what lies above is a packet
	strongPercent   = 95   // of the blocks lie under the strong ones' amplitude
	packetBlocks    = 5    // that a packet holds at least
	trimmedBlocks   = 7    // of a packet whose two blocks at either end, which see half of it, are left out
	cutCycles       = 3    // into the record: a packet that starts so early may be cut by its beginning
	cutStarts       = 4    // packets from which on that one can be left out
	cycleInPacket   = 0.5  // share of the mean cycle from which a cycle is a packet's
	edgeLead        = 0.01 // cycles ahead of the rising edge at which a cycle begins
	cutPacketCycles = 1.2  // from the record's beginning: a packet that starts there was cut
	cutPacketShare  = 0.2  // where as much of the mean cycle shows ahead of it
	cycleSamples    = 0.4  // of a cycle's samples that tell whether it is like the mean one
)

// Straight parts and curves (cells.go, pieces.go).
const (
	piecePart     = 32   // the shortest piece is 1/32 of the cycle,
	pieceCells    = 3    // cells at least
	noLength      = 1e-9 // cells: what is no longer has no slope
	breakRounds   = 6    // in which breaks settle
	breakPlaces   = 128  // tried around the cycle for the first two breaks
	mostPieces    = 4    // of a cycle: two, and as many again where conduction is discontinuous
	markedCosts   = 1.1  // ratio of squares at which the transients' own places take the breaks' place,
	costSigmas    = 12   // or what a cell's noise makes of its square, in cells
	pieceGain     = 0.5  // of the square that two more pieces must leave at most,
	pieceOverBend = 0.7  // and of that which parabolas leave,
	pieceNoise    = 0.1  // by so much of what noise leaves
	bendGain      = 0.9  // of the square that parabolas must leave at most
	hintReach     = 0.03 // cycles within which a break moves to a transient's start
	hintCovers5   = 2    // fifths of the cycle that a transient covers at most
	hintWeight    = 0.3  // of a cell, under which a transient covers it
	leastInPiece  = 4    // cells, under which a piece takes its neighbours in
	bendCells     = 24   // cells that a parabola needs,
	bendSpan      = 1    // over half of the piece (u from -1 to 1)
	slopeSpan     = 0.15 // of it that a slope needs
	sharpenPart   = 40   // a marked break moves by 1/40 of the cycle at most
	stepOverRMS   = 3    // times the fit's misfit that a step must be to be sharpened
)

// Transients above the fit (edges.go, transient.go).
const (
	longPart      = 5    // a misfit longer than 1/5 of the cycle is the fit's own,
	longSigmas    = 20   // unless it stands out by so many deviations
	weakestEdge   = 0.02 // of the largest transient's peak
	onsetSigmas   = 2    // deviations, and onsetShare of its peak, to which a transient's
	onsetShare    = 0.02 // onset is followed back
	holdPart      = 32   // a ring's zero crossings last up to 1/32 of the cycle,
	holdBins      = 3    // bins at least
	tailPart      = 64   // blocks of 1/64 of the cycle, of tailBins at least, in which a
	tailBins      = 3    // ring's tail is followed:
	tailRises     = 3    // another edge rises to so many times its lowest block,
	tailSigmas    = 12   // stands out by so many deviations,
	tailDied      = 0.3  // where the tail had died down to this share of the peak,
	tailOnset     = 1.2  // and begins where it tops the lowest block by this
	crestGap20ths = 3    // of a cycle, twentieths, within which a crest of less than
	crestShare    = 0.5  // this share of the peak before it is the same transient's
	takenOut5ths  = 2    // fifths of the cycle that a transient is taken out over at most
	gatePart      = 8    // a ring is left out for up to 1/8 of the cycle,
	gateShare     = 0.02 // where this share of it tops the noise
	ringWraps     = 4    // cycles over which a ring's tail is carried on
	leadPart      = 128  // a transient is shown from 1/128 of the cycle ahead of its onset,
	leadMost      = 16   // bins at most
	leastSeen     = 3    // bins that a transient must hold
	untilSigmas   = 4    // deviations of the mean, and untilSample of a sample's, under
	untilSample   = 0.5  // which a transient can't be told from noise any more,
	untilShare    = 1e-3 // nor under this share of its peak
	possiblePeak  = 2    // the fold's range and the tails', each at most as great, bound a peak
)

// Rings behind the edges (edges.go, ring.go).
const (
	ringGap      = 50   // a ring is read up to 1/50 of its length before the next edge
	ringBins     = 24   // bins that it must have until there
	ringEnds     = 1.35 // deviations of the noise, or ringEndShare of the peak, at which
	ringEndShare = 1e-3 // a stretch of it no longer stands out
	ringPoints   = 12   // that a ring is fitted to at least,
	ringThinned  = 1200 // and about at most
	ringModel    = 2e-3 // of its amplitude: no real ring is a damped sine any better
	ringStands   = 4    // times the misfit that its amplitude must be, and
	ringQ        = 1    // its Q at least
	ringBetter   = 0.8  // ratio of misfits from which a later start is the better one
	ringGood     = 1.3  // times the noise: a misfit that is as good as any
	ringBad      = 6    // times the noise, and ringBadShare of the amplitude: a misfit
	ringBadShare = 0.08 // that is no ring's
	ringPeriods  = 1.5  // that a ring must show,
	ringDecays   = 1    // and how often it must die down by e within them
	ringMoves    = 0.2  // most change of ln f in a step of the fit,
	decayMoves   = 0.7  // and of ln α
	ringSettled  = 1e-7 // relative gain of the square at which the fit has settled
	ringDamping  = 1e-7 // the least damping of its steps
	ringEndless  = 1e3  // times less than ringDecays: a fit that gets there won't come back
	startsMeet   = 1e-3 // by how much frequency and misfit of two fits may differ, relative, that have found the same ring
	freeLeast    = 1e-6 // of the slopes' squares that must be left once the linear part follows them
	squareRounds = 1e-5 // of the square: what is left less drowns in rounding and is summed anew
)

// The step under a pulse (edgestep.go).
const (
	stepLeast  = 0.05 // of the pulse's peak: a lesser step is left in the ripple
	stepNear   = 4    // bins beyond the edge's zone within which a break is the edge's
	stepLead   = 6    // bins ahead of it: the corridor hides the step's start
	stepPart   = 8    // the pulse is fitted over 1/8 of the cycle at most
	stepFits   = 6    // ramp and pulse describe the edge to 1/6 of the pulse,
	stepSigmas = 2    // to so many deviations of the noise,
	stepOff    = 0.02 // or to this share of the step
	stepAlike  = 1.05 // ratio of squares within which another ramp fits as well,
	stepGrains = 24   // starts tried over the zone ahead of the edge,
	stepGrain  = 0.5  // bins apart at least, up to
	stepLate   = 4    // bins after it
)

// Parts and rings fitted together (jointcycle.go, ringfill.go).
const (
	jointRings     = 2.5   // periods in a cycle that a ring must have to be fitted with the parts
	jointInPart    = 6     // places that a part must hold,
	jointSpan      = 0.5   // over a quarter of it (u from -1 to 1)
	noColumn       = 1e-12 // a term whose column is no longer is not there
	jointFree      = 4     // parameters beside the linear terms: frequencies and decays
	jointBounds    = 12    // steps of the search that a parameter may go away from its start
	jointPoor      = 1.15  // times the noise: a misfit from which each ring gets its own frequency and decay,
	jointEarns     = 0.9   // if that leaves less than this ratio of it
	withinCycle    = 1.02  // ratio by which the ripple may top the cycle's own peak-to-peak,
	withinSigmas   = 4     // beside so many deviations
	jointSure      = 0.5   // of the cycle's peak-to-peak that its deviation may be
	jointFits      = 1.35  // times the noise, or jointFitsShare of the peak-to-peak: a misfit
	jointFitsShare = 0.004 // that describes the cycle;
	jointNearly    = 1.8   // times the noise and jointNearlyPP of the ripple's peak-to-peak:
	jointNearlyPP  = 0.05  // one that does too
	onsetBack      = 0.7   // of the stretch left out, ahead of a joint, from which its onset is looked for:
	onsetOver      = 5     // deviations, and onsetOverShare of the peak, by which the curve
	onsetOverShare = 0.04  // must leave what is foretold
	jointLeast     = 512   // places of the fit at least, and
	placesInRing   = 24    // in a period of the ring
	maskedPart     = 0.55  // of the shorter part that may be left out after a joint
	guessSigmas    = 12    // deviations that a cycle's peak-to-peak must be to look for its joints,
	guessBins      = 128   // bins at least
	guessHarmonics = 48    // of the cycle that its ring is looked for among
	guessApart     = 6     // joints lie 1/6 of the cycle apart at least
	guessMask      = 0.6   // periods of the ring left out after a joint in the first guess,
	guessMaskPart  = 0.3   // and of the shorter part at most
	edgeRingStands = 4     // times the misfit that a ring must be at its edge to be one
	ringHarmonics  = 60    // of the cycle that may be a ring's
	ringRunsOn     = 0.5   // of a ring's envelope left at the next edge from which two transients are one,
	ringRunsSigmas = 4     // where so many deviations of the ripple top it
)

// The smooth ripple (ripple.go).
const (
	noiseLeast     = 1e-4  // of the mean cycle's peak-to-peak that its noise counts as at least
	firstMedian    = 24    // the first guess is smoothed by medians of 1/24 of the cycle to either side
	settleRounds   = 4     // in which fit and transients settle
	maskedMuch     = 0.2   // of the cycle left out: a first guess that took ripple for transients
	maskedLess     = 0.5   // of that: a second one that did not
	searchedFits   = 1.35  // times the noise: a misfit of rings looked for where none stood out
	zoneCorners    = 5     // times the span's corner that a step takes at most
	zonePart       = 20    // 1/20 of the cycle that it takes at most
	plainFits      = 1.5   // times the noise: the misfit of a cycle without transients
	fitsCell       = 1.6   // times a cell's noise: the misfit up to which straight parts describe the ripple,
	fitsPlain      = 0.012 // or this share of its peak-to-peak, which coarse steps bend,
	fitsEdges      = 0.04  // where transients leave something behind,
	fitsStep       = 0.3   // or this part of a converter's step
	cleanShare     = 0.003 // of the peak-to-peak: under so little noise the curve shows its own corners
	ringModelScale = 1.6   // on the joint fit's deviation where a ring fills the cycle, and
	ringModelShare = 0.06  // of what is left of the ring: no real one is quite a damped sine
	undithered     = 0.4   // converter steps of noise, under which readings do not average over them
	curveDoubt     = 0.03  // of the peak-to-peak: what the curve drawn on across transients may be off by
	gatedDoubt     = 0.1   // of it where a transient without a ring takes more than 1/5 of the cycle
	hiddenDoubt    = 0.02  // of the noise: transients under it bend the fit
	partsSigmas    = 4     // deviations that a peak-to-peak must be to name its parts
	levelAfter     = 8     // 1/8 of a cycle after an edge the ripple tells whether it rises,
	levelMoves     = 0.1   // by this share of its peak-to-peak,
	levelSigmas    = 4     // which stands out by so many deviations of a bin,
	levelPPSigmas  = 6     // and of its own
	curvePoints    = 1024  // of a curve without straight parts at most,
	curvePart      = 48    // smoothed over 1/48 of the cycle to either side at most,
	curveNoise     = 0.003 // until its noise is this share of the peak-to-peak
	curveFilled    = 0.6   // of the places that a parabola needs filled, within
	curveReach     = 4     // 1/4 of the cycle,
	curveBend      = 0.5   // and to be no straight line
	crestNoise     = 0.8   // deviations by which noise lifts an extreme of a few points
)

// The residue's quiet parts (residue.go).
const (
	scaleBlocks   = 512  // that the scale is read from at most
	scaleSamples  = 24   // of a block outside of the transients
	coarseNoise   = 0.2  // converter steps of deviation from which noise reaches the second code,
	coarseReaches = 0.35 // and counts as so many steps at least,
	coarseLeast   = 0.3  // or as so many where it does not
	steepPart     = 8    // 1/8 of the cycle within which a step's place may lie
)

// Refining and tracking a frequency (refine.go, refineshort.go, track.go).
const (
	partCycles       = 4    // cycles in a part of the record that is folded by itself,
	mostParts        = 64   // of them at most
	harmonicsTop     = 0.45 // of the sample rate: the highest harmonic that is added in phase
	crestCycles      = 0.02 // cycles over the record, over the harmonic: how near the crest is looked for at least
	coherentOver     = 14   // times the noise that a harmonic's sum must be: noise alone is once in a million, and a high one would lead astray
	walkSigmas       = 2    // deviations of the phases' scatter beyond which what it holds more is a walk
	slopeSigmas      = 3    // deviations of the parts' phases from which their slope is a doubt of the frequency
	boundOver        = 40   // times the noise that a harmonic must be to count in the bound
	higherPower      = 1e-9 // relative: a fold that is higher by less is no higher
	groupsInCycle    = 64   // groups of samples in a cycle that are summed first
	blockGroups      = 8    // of them that a block must hold
	placeKnown       = 1e-4 // cycles over the record: a place in the cycle is known to a part of a bin at best
	strongestPercent = 98   // of the blocks lie under the strong ones' amplitude
	trackSigmas      = 4    // times the noise that strong blocks must be for anything but one frequency,
	restSigmas       = 5    // for packets,
	restSure         = 10   // and to be sure of them; below, they must hold
	restGain         = 1.2  // times the power that one frequency does
	weakestBlock     = 0.2  // of the strong ones' amplitude that the weakest fiftieth is under where the supply rests
	shortBlocksOver  = 15   // times the noise from which short blocks follow a fast sweep
	sweepPart        = 4    // a quarter of the spread to either side that a sweep passes through
	spreadOver       = 6    // times the noise of a block's frequency that the wander must be
)

// Folding (fold.go).
const (
	slowSamples    = 4       // in a region with a slow part of its own
	slowManyCycles = 64      // times the cycles of a step: in a record of more
	slowCycles     = 4       // the slow part is read over as many at least
	foldLeast      = 64      // bins at least,
	foldMost       = 1 << 14 // and at most;
	samplesInFold  = 8       // samples in a bin on the mean,
	foldFiner      = 1.5     // bins to a sample's distance are enough,
	foldEnough     = 400     // and these in any case
	sigmaSamples   = 4       // in a bin that tells the deviation of single samples
	cursorSteps    = 4       // pieces and lines that the next walk's start is looked for among before it is searched
)

// Shared by all of them.
const (
	leastHalved   = 1 << 14 // things to do from which two halves are done side by side
	tiny          = 1e-300  // keeps quotients and logarithms of what may be 0 finite
	wholeSlack    = 0.01    // by which a number of cycles may lie under a whole one and count as it
	wholeRounding = 1e-12   // what is left of a whole number is rounding
	besideMost    = 0.4     // cycles a record beside a harmonic: further is nearer to the next one
	// placesFastPart: a ripple has little above 1/8 of the sample rate, and what is
	// folded most.
	placesFastPart = 8
)

// What tells a ring in a ripple that no straight parts describe.
const (
	humpPeriodS    = 1.7e-6 // of longer cycles a reading by medians passes over rings
	humpLowHz      = 2.5e6  // from which a harmonic may be a ring's, Hz: those of the trade lie at 3 MHz and more
	humpLeast      = 0.3    // of the fundamental that it counts from,
	humpOverSteps  = 2.5    // and times the fundamental over its number from which it is none of a step's,
	humpLeastSteps = 1.5    // or this and
	humpRises      = 1.3    // times the least pair before it
)
