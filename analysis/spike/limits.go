package spike

// What decides in this room that is not a part of a formula.
const (
	// beginSigmas: a spike begins where the residue passes this many robust
	// standard deviations. Gaussian noise does so 2 in 10^9 samples at 6.
	beginSigmas = 6.0
	// endSigmas: it has ended when the residue stays under this many.
	endSigmas = 3.0
	// leastSteps: the threshold is at least this many converter steps, so that one
	// code's flicker is no spike.
	leastSteps = 1.6
	// templateShare: an edge whose mean transient tops this share of the threshold is
	// followed cycle by cycle; single ones may top it.
	templateShare = 0.75
	// plainPeakSigmas: a transient beyond this many standard deviations of the noise
	// is sized by its peak between samples, a lesser one by the mean transient's share
	// in it, since noise would lift a peak.
	plainPeakSigmas = 30
	// jitterReachS is how far an edge's peak may lie from its mean place, in seconds:
	// current-mode and hysteretic converters jitter by some tens of nanoseconds (common
	// practice, no source).
	jitterReachS = 60e-9
	// crestLift is by how many standard deviations of it the noise lifts the largest of
	// the two or three samples at a crest (expected largest of three: 0.85).
	crestLift = 0.85
	// pilotCycles is how many transients tell whether the mean one is smeared; single
	// ones must top it by smearedShare of it and, for the noise of the largest of some
	// samples, by smearedSigmas of the noise.
	pilotCycles   = 64
	smearedShare  = 0.15
	smearedSigmas = 2.5
	// durationSigmas: from this many standard deviations of the noise on, a single
	// transient's flanks pass half its height before the noise does.
	durationSigmas = 8
	// mostSized is how many cycles' transients are sized one by one; of more, an even
	// pick.
	mostSized = 20000
	// levelS is the stretch, in seconds, whose median is the level under a spike: the
	// pulses of the trade take 10 to 200 ns, a ripple's ramps 1 µs and more.
	levelS = 1e-6
	// leastStretches of them lie in a shorter record, and from leastCorners on they show
	// the ripple's corners.
	leastStretches = 3
	leastCorners   = 4
	// leastInLevel is the least number of samples of such a stretch.
	leastInLevel = 16
	// besideLeast peaks and more, the upper of which top the threshold by besideClear,
	// are spikes: the noise alone tops it by a tenth of itself at most, besideHints.
	besideLeast = 3
	besideClear = 1.3
	besideHints = 1.1
	// leastBesideHz: at a lower rate, in samples per second, 1 µs holds too few samples
	// for a median to pass over a ring.
	leastBesideHz = 24e6
	// mostBeside is how many samples are read for the second time.
	mostBeside = 1 << 20
	// heldShare: half the stretch is at most this part of the cycle, so that its ramps
	// stay straight within it.
	heldShare = 16
	// holdS is how long the residue must stay under the lower threshold for an event to
	// have ended, s, holdSamples at least: a ring of 5 MHz and more crosses zero within
	// it. It is at most holdCycle of the cycle, holdInCycle samples at least, and
	// oneEventS is how far apart two off the edges are two.
	holdS       = 0.3e-6
	holdSamples = 8
	holdCycle   = 0.05
	holdInCycle = 4
	oneEventS   = 1e-6
	// leastLevel is how many samples beside an event tell the level under it.
	leastLevel = 8
	// What an edge's own transient scatters by from cycle to cycle, as a share of
	// itself, of its peak and of the tails of the edges before: an event of another
	// origin under it must top all three.
	ownScatter, peakScatter, tailScatter = 0.2, 0.1, 0.1
	// leastInPhase events off the edges keep one place in the cycle where their
	// resultant (Rayleigh) tops inPhase.
	leastInPhase = 8
	inPhase      = 0.9
	// Events off the edges crowd at a place where three of placesInCycle parts of the cycle
	// hold crowdTimes as many as by chance and crowdSigmas of what that scatters by more.
	placesInCycle = 24
	crowdTimes    = 2
	crowdSigmas   = 5
	// coveredMost in coveredOf bins: where transients cover more of the cycle, the
	// fold's bins tell the noise, coarseSigma converter steps at least.
	coveredMost, coveredOf = 9, 10
	coarseSigma            = 0.3
	// noThreshold is the threshold of a record without noise and steps, as a share of
	// its extent.
	noThreshold = 1e-6
	// shownEnergy: a transient of which the record holds less is cut off by its end.
	shownEnergy = 0.5
	// steepSlope is the quantile of the smooth cycle's slopes that a corner may have.
	steepSlope = 0.9
	// A bin in which cycles vary by unlikeCycles of the noise's variance, and by
	// unlikeSigmas of what it scatters, is excised, and one of fewer than leastInBin
	// samples, which can't tell.
	unlikeCycles = 1.2
	unlikeSigmas = 4
	leastInBin   = 4
	// driftMeans is how many switching cycles' means the slow wander is taken as lines
	// through, where no mains comb could be measured.
	driftMeans = 64
	// leastRough is how many means tell that a drift is no smooth one.
	leastRough = 8
	// leastStretch: shorter stretches of the drift, in samples, are joints where a
	// packet meets a pause; trustedShare of the rate over theirs is the frequency from
	// which the drift leaves noise alone (sinc(x)³ is 3 % there).
	leastStretch = 8
	trustedShare = 0.75
	// removedLow and removedHigh bound the band, in switching frequencies, in which
	// following a wandering phase takes noise off.
	removedLow, removedHigh = 0.5, 1.65
	// tiny keeps a threshold above zero.
	tiny = 1e-300
	// MaxListed is the most events kept in a list.
	MaxListed = 2000
)
