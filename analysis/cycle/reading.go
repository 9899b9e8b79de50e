package cycle

import (
	"math"
	"slices"
)

// The second reading of the ripple, of another kind than the fit.
const (
	// readWide and readNarrow are the widths of the running medians that the second
	// reading is taken from, as parts of the cycle: the wide one passes over any
	// transient, the narrow one cuts less off the corners.
	readWide, readNarrow = 16, 32
	// readOver: a fit this share over the second reading has drawn its parts on into
	// a transient, and readUnder the share under it from which the fit is too flat.
	readOver, readUnder = 0.05, 0.02
	// readApart: where the reading's own ends lie further under the fit, as a share
	// of it, what the medians pass over may not be transients alone.
	readApart = 0.12
	// cornersCut is what the wide median cuts off a triangle, as a share of its
	// peak-to-peak, whatever its duty, and a little more. Where more is cut of a cycle
	// that rings at more places than the two edges of its switch, as a core's reset does,
	// the fit may hold a lobe of it: its doubt is lobeTimes half the excess.
	cornersCut  = 1.0/readWide + 0.02
	lobeTimes   = 5
	switchEdges = 2
	// flatTimes is by how many times what it lies under the reading a fit may be too flat
	// that knows fewer edges than a switch has; where it knows both, rings after them raise
	// the reading as often.
	flatTimes = 1.5
	// readTrust is how much of a difference between the medians of fit and fold counts
	// where fit and reading agree.
	readTrust = 0.5
	// readOfRMS is the share of that difference, each in proportion, that the rms may
	// be off by.
	readOfRMS = 0.25
	// medianSpread is the standard deviation of the median of normal values over
	// that of their mean.
	medianSpread = 1.25
	// extremeSigmas is how far the greatest of a handful of values lies over their
	// mean, in deviations.
	extremeSigmas = 0.8
)

// medianReading is the peak-to-peak of a folded cycle by running medians alone. A
// median cuts off a corner in proportion to its width, so the reading lies between
// the wide median's (low) and what both lead to at no width (high).
type medianReading struct{ lowV, highV float64 }

func newMedianReading(mean []float64, binSigmaV float64) medianReading {
	noise := func(part int) float64 {
		width := max(float64(len(mean)/part), 1)
		return 2 * extremeSigmas * medianSpread * binSigmaV / math.Sqrt(width)
	}
	wide, narrow := medianPP(mean, readWide), medianPP(mean, readNarrow)
	// noise adds to extremes: the low end is without it, the high end keeps it
	return medianReading{lowV: max(wide-noise(readWide), 0), highV: max(2*narrow-wide, wide)}
}

// medianPP is the peak-to-peak of the running median over 1/part of the cycle.
func medianPP(y []float64, part int) float64 {
	lo, hi := Extremes(runningMedian(y, max(len(y)/part/2, 1)))
	return hi - lo
}

// ownMedianDoubtV is how far, in volts of the fit's peak-to-peak, the running
// medians of the fold lie from the same medians of the fit, where what a median
// cuts off the corners cancels.
func (c *Model) ownMedianDoubtV(f *Fold) float64 {
	apart := 0.0
	for _, part := range [...]int{readWide, readNarrow} {
		if own := medianPP(c.Smooth, part); own > 0 {
			apart = max(apart, c.PPV*math.Abs(medianPP(f.Mean, part)/own-1))
		}
	}
	return apart
}

// outlastsMedians reports whether a transient lasts longer than the wide median's
// stretch: neither median passes over it, and the reading is then no witness of the
// ripple under it but of the sum.
func (c *Model) outlastsMedians() bool {
	for _, e := range c.Edges {
		if e.gate > c.Bins/readWide {
			return true
		}
	}
	return false
}

// keepWithin keeps the ripple's rms within that of the whole mean cycle, spikes and
// rings included: parts that a fit has drawn on across them can hold more than the
// cycle does, while rings swing about the ripple and add their power to it.
func (c *Model) keepWithin(f *Fold) {
	whole := centred(slices.Clone(f.Mean))
	if over := c.RMSV - whole; over > 0 && whole > 0 {
		c.RMSV = whole
		c.RMSDoubtV = math.Hypot(c.RMSDoubtV, over/2)
	}
}

// readAgain holds the fit's peak-to-peak against a reading without a model. Where
// the two differ the doubt holds both; where the fit lies over all that the
// reading allows, it has drawn its parts on where a curve bends or a ring hides
// them, and the reading is given instead. Of the fast records of
// testdata/reference/truth with even seeds under 300, 13 ripples were off by more
// than a tenth and their ± in silence, and one is so with it.
func (c *Model) readAgain(f *Fold) {
	c.RMSDoubtV = c.PPDoubtV * min(c.RMSV/max(c.PPV, tiny), 1)
	c.keepWithin(f)
	if c.IncludesRing || c.RingFills() || !(c.PPV > 0) {
		return
	}
	r := newMedianReading(f.Mean, c.BinSigmaV)
	apart, ofRMS := 0.0, 0.0
	trust, ofRMSShare := readTrust, readOfRMS
	long := c.outlastsMedians()
	if long {
		trust, ofRMSShare = 1, 1
	}
	switch middle := (r.lowV + r.highV) / 2; {
	case c.PPV > (1+readOver)*r.highV && middle > 0:
		apart = c.PPV - middle
		if long {
			apart = max(apart, c.ownMedianDoubtV(f))
		}
		c.PPV = middle
	case c.PPV < (1-readUnder)*r.lowV:
		ofRMS = r.lowV - c.PPV
		apart = ofRMS
		if len(c.Edges) < switchEdges {
			apart *= flatTimes
		}
	case c.PPV-r.lowV > readApart*c.PPV:
		apart = c.PPV - r.lowV
	default:
		apart = trust * c.ownMedianDoubtV(f)
	}
	if ofRMS == 0 {
		ofRMS = apart
	}
	if len(c.Edges) > switchEdges && c.joined == nil {
		apart = max(apart, lobeTimes*(c.PPV*(1-cornersCut)-r.lowV))
	}
	// the extremes differ, of which the rms sees little
	c.RMSDoubtV = math.Hypot(c.RMSDoubtV, ofRMSShare*ofRMS/2*min(c.RMSV/c.PPV, 1))
	c.PPDoubtV = math.Hypot(c.PPDoubtV, apart/2)
}
