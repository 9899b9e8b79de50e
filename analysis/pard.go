package analysis

import (
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// pard splits the varying part into periodic and random, both rms; squared they
// add up to ACRMSV squared, so a line of the instrument counts in them as it does
// in ACRMSV. The smaller of the two is measured, the larger is
// what is left: taking the difference the other way round would bury the
// smaller one in the larger one's error.
func (j *job) pard() {
	m := j.m
	whole := j.basic.rms * j.basic.rms
	if len(j.tr.Volts) < 64 || len(j.plain.FreqHz) == 0 {
		miss := figure.NotMeasured("the record is too short to tell periodic from random; a longer one is needed")
		m.PeriodicRMSV, m.RandomRMSV = miss, miss
		return
	}
	random, ok := j.randomPower()
	periodic := j.periodicPower()
	if floor := j.floorPower(); floor > 0 && (j.track == nil || !j.switchingShown() || random > 1.3*floor) {
		// lines that no cycle takes off are not random: a second converter, a spur
		random, ok = min(random, floor), true
		periodic = max(periodic, whole-random)
	}
	if !ok || random > periodic {
		random = max(whole-periodic, 0)
	}
	random = min(random, whole)
	periodic = whole - random
	m.RandomRMSV = figure.Known(math.Sqrt(random))
	m.PeriodicRMSV = figure.Known(math.Sqrt(periodic))
	// where the span would show the switching and none stands out, it may hide in
	// the noise
	m.PeriodicRMSV.LowerBound = j.track == nil && j.wouldShowSwitching()
	j.pardU(random, periodic)
}

// randomU is the standard deviation of the random part's rms as a share of it:
// what gating and the floor's model leave, by drawn supplies.
const randomU = 0.02

// pardU gives both parts their uncertainty, statistical and of the split, in power
// (k = 2), and takes back a periodic part that is lost in it. random and periodic
// are powers in V².
func (j *job) pardU(random, periodic float64) {
	m, n := j.m, float64(len(j.tr.Volts))
	split := 2 * randomU * 2 * random // where what is not random counts as periodic
	if j.track != nil && j.fold != nil && j.switchingShown() && random > periodic {
		// the mean cycle's own power: the noise in its bins, and beating with it
		inBins := 2 * math.Hypot(2*periodicLeak*random, math.Hypot(random*math.Sqrt(2*float64(j.fold.bins))/n, 2*math.Sqrt(periodic*random/n)))
		// a frequency known no better than this smears the edges' transients over bins
		if smear := 2 * j.track.uHz * m.DurationS; smear < 0.005 {
			split = inBins
		} else {
			split = math.Hypot(split, inBins)
		}
	}
	whole := 2 * periodicScale * meanDeviation(j.basic.partRMS) * 2 * math.Sqrt(periodic) // of a record of parts of periods
	power := math.Hypot(split, whole)
	m.PeriodicRMSV.U = math.Sqrt(periodic+power) - math.Sqrt(periodic)
	m.RandomRMSV.U = 2 * randomU * m.RandomRMSV.Value
	if step := j.stepV; m.RandomRMSV.Value < 0.5*step {
		// so little noise does not spread over the steps: their error goes with the
		// ripple and is neither random nor step/√12
		m.RandomRMSV.U = math.Hypot(m.RandomRMSV.U, step/math.Sqrt(3))
	}
	if m.PeriodicRMSV.U >= m.PeriodicRMSV.Value {
		m.PeriodicRMSV = figure.NotMeasured("the periodic part is lost in the random one: it is under " + capture.SI(math.Sqrt(periodic+power), "V", 2) + " rms; a longer record or fewer volts per division may show it")
	}
}

// randomPower is the mean square in V² of what ripple, mains and spikes leave,
// where the gate lets it through. ok is false when the gate leaves too little.
func (j *job) randomPower() (power float64, ok bool) {
	if j.gate == nil {
		return 0, false
	}
	n := j.gate.Len()
	const block = 4096
	x, w := make([]float64, block), make([]float64, block)
	// up to 256 blocks spread over the record
	blocks := (n + block - 1) / block
	take := min(blocks, 256)
	var sum, sq, weight float64
	for b := range take {
		from := b * blocks / take * block
		m := min(block, n-from)
		j.gate.Fill(x[:m], from)
		j.gate.FillWeights(w[:m], from)
		for i := range m {
			sum += w[i] * x[i]
			sq += w[i] * x[i] * x[i]
			weight += w[i]
		}
	}
	if weight < 64 || weight < 0.05*float64(take*block) && n > block {
		return 0, false
	}
	mean := sum / weight
	return max(sq/weight-mean*mean, 0) / (1 - j.gate.held), true
}

// periodicPower is the mean square of what repeats: the mean cycle with its
// transients where a supply switches, the mains comb, and lines of neither.
func (j *job) periodicPower() float64 {
	p := 0.0
	share := 0.0
	if j.track != nil && j.fold != nil {
		for _, t := range j.track.pieces {
			share += (t.to - t.from) / float64(len(j.tr.Volts))
		}
		p += share * j.fold.power()
	}
	if j.mains.CombRMS.Known {
		p += j.mains.CombRMS.Value * j.mains.CombRMS.Value
	} else if j.gate != nil && len(j.gate.drift.v) > 1 {
		// a piece of a mains period, seen as drift
		mean, sq := 0.0, 0.0
		for _, v := range j.gate.drift.v {
			mean += v
		}
		mean /= float64(len(j.gate.drift.v))
		for _, v := range j.gate.drift.v {
			sq += (v - mean) * (v - mean)
		}
		p += sq / float64(len(j.gate.drift.v))
	}
	for _, l := range j.m.Lines {
		if l.Comb != "mains" && l.Comb != "switching" && (j.track == nil || l.Comb != "sideband" && l.Comb != "burst") {
			p += l.SeenRMSV() * l.SeenRMSV()
		}
	}
	return p
}

// floorPower is the noise floor's density integrated over the spectrum, V².
func (j *job) floorPower() float64 {
	oct := j.m.Noise.ThirdOctaves
	if len(oct) == 0 {
		return 0
	}
	x, y := make([]float64, len(oct)), make([]float64, len(oct))
	for i, o := range oct {
		x[i], y[i] = o.CentreHz, o.DensityVPerRtHz
	}
	p := 0.0
	for i, f := range j.plain.FreqHz {
		d := spectrum.LogInterp(x, y, f)
		p += d * d * j.plain.WidthHz[i]
	}
	return p
}
