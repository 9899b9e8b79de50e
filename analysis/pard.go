package analysis

import (
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// powerParts are the periodic and the random part, both V rms.
type powerParts struct {
	periodic, random figure.Figure
	differ           bool // a cycle is shown, and what its mean leaves holds something periodic
}

// splitPower splits the varying part into periodic and random, both rms; squared
// they add up to ACRMSV squared, so a line of the instrument counts in them as it
// does in ACRMSV. The smaller of the two is measured, the larger is
// what is left: taking the difference the other way round would bury the
// smaller one in the larger one's error.
func splitPower(rec *record, view spectralView, lines []spectrum.Line, sw switching, gate *spike.Gate, floor spectrum.NoiseFloor) powerParts {
	if len(rec.tr.Volts) < leastSamples || len(view.plain.FreqHz) == 0 {
		miss := figure.NotMeasured("the record is too short to separate periodic from random; a longer one is needed")
		return powerParts{periodic: miss, random: miss}
	}
	whole := rec.basic.rms * rec.basic.rms
	r := randomPower(rec, view, lines, sw, gate, floor)
	drift := gate.DriftPowerV2()
	if sw.Track == nil && !r.lost && drift > slowShare*r.power {
		miss := figure.NotMeasured("the record is too short to tell slow noise from a piece of the mains; a longer one is needed")
		return powerParts{periodic: miss, random: miss}
	}
	switch {
	case sw.Track == nil: // slow noise, or a piece of the mains
		r.slow = drift
		if !view.mains.CombRMS.Known && len(lines) == 0 && r.power < leastRandom*whole {
			r.lost, r.slow = true, whole // slow noise taken off as drift leaves nothing random, and nothing periodic shows
		}
	case sw.Track.Kind == cycle.Fixed:
		r.slow = gate.RoughDriftV2()
	}
	if share := repeatedShare(rec, sw, gate); share > repeatCounts {
		r.most, r.repeats = true, share*r.power
	}
	out := stateParts(rec, sw, r, whole-r.power)
	out.differ = sw.shown && r.most
	if r.lost {
		out.random = figure.NotMeasured("spikes cover most of the record, and what is left can't separate random from periodic; a faster capture is needed")
	}
	return out
}

// randomPart is the random power with what is known of its worth.
type randomPart struct {
	power   float64 // V²
	doubt   float64 // V: how far a second estimator of another kind is from its root, where they disagree
	slow    float64 // V²: of the periodic power, what may be slow noise
	scatter float64 // of the random power, as a share: its standard deviation by the record's length alone
	repeats float64 // V²: of the random power, what comes back later in the record
	most    bool    // it holds what may be periodic, and nothing random is missing
	lost    bool    // too little of the record is left to tell
}

// randomPower takes the random part by two estimators: what ripple, mains and
// spikes leave where the gate lets it through, and the floor between the lines
// summed up over the spectrum.
func randomPower(rec *record, view spectralView, lines []spectrum.Line, sw switching, gate *spike.Gate, floor spectrum.NoiseFloor) randomPart {
	whole := rec.basic.rms * rec.basic.rms
	gated, ok := gatedPower(gate)
	periodic := periodicPower(rec, view.mains, lines, sw, gate)
	r := randomPart{power: gated}
	under, scatter := floorPower(view.plain, floor)
	if !sw.shown { // else what the cycle leaves in the slowest places is no noise
		r.scatter = scatter
	}
	switch {
	case under > 0 && (!sw.shown || gated > linesLeft*under):
		// lines that no cycle takes off are not random: a second converter, a spur;
		// skirts beside them stay in the floor
		r.power, ok = min(gated, under), true
		r.most = gated > linesLeft*under
		periodic = max(periodic, whole-r.power)
	case under > 0 && ok:
		if apart := math.Abs(math.Sqrt(gated) - math.Sqrt(under)); apart > estimatorsApart*math.Sqrt(gated) {
			r.doubt = apart
		}
	}
	r.most = r.most || sw.Track == nil && rec.wouldShowSwitching()
	if !ok || r.power > periodic {
		r.power = max(whole-periodic, 0)
		r.lost = !ok && r.power < leastRandom*whole
	}
	r.power = min(r.power, whole)
	return r
}

// stateParts gives both parts their uncertainty, statistical and of the split, in
// power (k = 2), and takes back a periodic part that is lost in it. periodic is a
// power in V².
func stateParts(rec *record, sw switching, r randomPart, periodic float64) powerParts {
	random := r.power
	n, gain := float64(len(rec.tr.Volts)), rec.setup.GainFraction
	split := 2 * randomU * 2 * random // where what is not random counts as periodic
	if sw.shown && random > periodic {
		// the mean cycle's own power: the noise in its bins, and beating with it
		inBins := 2 * math.Hypot(2*periodicLeak*random, math.Hypot(random*math.Sqrt(2*float64(sw.Fold.Bins))/n, 2*math.Sqrt(periodic*random/n)))
		// a frequency known no better than this smears the edges' transients over bins
		if smear := 2 * sw.Track.SigmaHz * rec.tr.DurationS(); smear < smearedCycles {
			split = inBins
		} else {
			split = math.Hypot(split, inBins)
		}
	}
	whole := 2 * periodicScale * meanDeviation(rec.basic.partRMS) * 2 * math.Sqrt(periodic) // of a record of parts of periods
	power := math.Hypot(math.Hypot(split, whole), 2*r.scatter*random)

	randomV, periodicV := math.Sqrt(random), math.Sqrt(periodic)
	uRandom := math.Hypot(math.Hypot(max(2*randomU*randomV, r.doubt), r.scatter*randomV), math.Sqrt(random+r.slow)-randomV)
	if step := rec.stepV; randomV < unditheredRandom*step {
		// so little noise does not spread over the steps: their error goes with the
		// ripple and is neither random nor step/√12
		uRandom = math.Hypot(uRandom, step/math.Sqrt(3))
	}
	out := powerParts{random: figure.AsItIs.Of(randomV, uRandom, gain)}
	out.random.UpperBound = r.most
	uPeriodic := math.Hypot(math.Sqrt(periodic+power)-periodicV, periodicV-math.Sqrt(max(periodic-r.slow, 0)))
	uPeriodic = math.Hypot(uPeriodic, math.Sqrt(periodic+r.repeats)-periodicV)
	uPeriodic = math.Hypot(uPeriodic, knotsDoubt*rec.knots)
	if uPeriodic >= periodicV {
		out.periodic = figure.NotMeasured("the periodic part is lost in the random one: it is under " + capture.SI(math.Sqrt(periodic+power), "V", 2) + " rms; a longer record or fewer volts per division may show it")
	} else {
		out.periodic = figure.AsItIs.Of(periodicV, uPeriodic, gain)
		// where the span would show the switching and none stands out, it may hide in
		// the noise
		out.periodic.LowerBound = sw.Track == nil && rec.wouldShowSwitching()
	}
	return out
}

// gatedPower is the mean square in V² of what ripple, mains and spikes leave,
// where the gate lets it through. ok is false when the gate leaves too little.
func gatedPower(gate *spike.Gate) (power float64, ok bool) {
	n := gate.Len()
	const block = 4096
	x, w := make([]float64, block), make([]float64, block)
	// blocks spread over the record
	blocks := (n + block - 1) / block
	take := min(blocks, gatedBlocks)
	var sum, sq, weight float64
	for b := range take {
		from := b * blocks / take * block
		m := min(block, n-from)
		gate.Fill(x[:m], from)
		gate.Weights(w[:m], from)
		for i := range m {
			sum += w[i] * x[i]
			sq += w[i] * x[i] * x[i]
			weight += w[i]
		}
	}
	if weight < leastSamples || weight < gatedShare*float64(take*block) && n > block {
		return 0, false
	}
	mean := sum / weight
	return max(sq/weight-mean*mean, 0) / (1 - gate.RemovedNoise), true
}

// periodicPower is the mean square in V² of what repeats: the mean cycle with its
// transients where a supply switches, the mains comb, and lines of neither.
func periodicPower(rec *record, mains spectrum.Mains, lines []spectrum.Line, sw switching, gate *spike.Gate) float64 {
	p := 0.0
	if sw.Track != nil {
		share := 0.0
		for _, t := range sw.Track.Pieces {
			share += (t.To - t.From) / float64(len(rec.tr.Volts))
		}
		p += share * sw.Fold.Power()
	}
	if mains.CombRMS.Known {
		p += mains.CombRMS.Value * mains.CombRMS.Value
	} else {
		p += gate.DriftPowerV2() // a piece of a mains period, seen as drift
	}
	for _, l := range lines {
		if l.Comb != spectrum.CombMains && l.Comb != spectrum.CombSwitching && (sw.Track == nil || l.Comb != spectrum.CombSideband && l.Comb != spectrum.CombBurst) {
			p += l.SeenRMSV() * l.SeenRMSV()
		}
	}
	return p
}

// floorPower is the noise floor's density integrated over the spectrum, V², and the
// share of it that it scatters by from record to record of this length: slow noise has
// few independent values in a short one.
func floorPower(plain spectrum.Multirate, floor spectrum.NoiseFloor) (power, scatter float64) {
	oct := floor.ThirdOctaves
	if len(oct) == 0 {
		return 0, 0
	}
	x, y := make([]float64, len(oct)), make([]float64, len(oct))
	for i, o := range oct {
		x[i], y[i] = o.CentreHz, o.DensityVPerRtHz
	}
	variance := 0.0
	for i, f := range plain.FreqHz {
		d := spectrum.LogInterp(x, y, f)
		p := d * d * plain.WidthHz[i]
		st := plain.Stages[plain.Stage[i]]
		power += p
		variance += p * p * 2 / st.DOF * st.ENBWHz / st.BinHz
	}
	if !(power > 0) {
		return 0, 0
	}
	return power, math.Sqrt(variance) / power
}
