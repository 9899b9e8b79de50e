package cycle

import (
	"math"
	"math/cmplx"
	"slices"

	"stillglow/capture"
)

// trackBursts finds the packets and the phase of the switching in each.
func trackBursts(d *demodulator, rateHz float64) *Track {
	per := d.perSample
	blocks := d.blocks(2, 0.5, false)
	if len(blocks) < leastBlocks {
		return nil
	}
	amp := make([]float64, len(blocks))
	for i, b := range blocks {
		amp[i] = cmplx.Abs(b.c)
	}
	level := packetLevel * capture.Ranked(slices.Clone(amp), len(amp)*strongPercent/100)
	runs := packetRuns(amp, level)
	if len(runs) < 2 {
		return nil
	}
	dslope, sigma := packetSlope(blocks, runs)
	if math.IsNaN(dslope) {
		return nil
	}
	t := &Track{Kind: Bursting, Hz: (per + dslope) * rateHz, SigmaHz: sigma * rateHz}
	p := per + dslope
	var starts []float64
	for _, u := range runs {
		// phase at the packet's middle at the common frequency
		var sum complex128
		mid := (blocks[u.a].middle + blocks[u.b].middle) / 2
		for _, b := range blocks[u.a : u.b+1] {
			sum += b.c * cmplx.Rect(1, -2*math.Pi*dslope*(b.middle-mid))
		}
		phMid := cmplx.Phase(sum)/(2*math.Pi) + fraction(per*mid)
		from, to := max(blocks[u.a].middle, 0), min(blocks[u.b].middle, float64(len(d.volts)))
		starts = append(starts, from)
		// whole cycles apart from each other, so that no two packets share one
		base := phMid - p*(mid-from)
		if k := len(t.Pieces); k > 0 {
			last := t.Pieces[k-1]
			end := last.Phase + last.PerSample*(last.To-last.From)
			base += math.Ceil(end-base) + 1
		}
		t.Pieces = append(t.Pieces, Piece{from, to, base, p})
	}
	// packet rate: least squares over the starts; the first packet may be cut
	if blocks[runs[0].a].middle < cutCycles/per && len(starts) >= cutStarts {
		starts = starts[1:]
	}
	if len(starts) >= 2 {
		t.BurstHz, t.BurstSigmaHz = eventRate(starts, rateHz)
	}
	return t
}

// packetRun is a run of blocks, both ends in it, over which the supply switches.
type packetRun struct{ a, b int }

// packetRuns are the runs of amplitudes above the level, single lower ones
// bridged, of five blocks and more.
func packetRuns(amp []float64, level float64) []packetRun {
	var runs []packetRun
	for i := 0; i < len(amp); i++ {
		if amp[i] < level {
			continue
		}
		j := i
		for j+1 < len(amp) && (amp[j+1] >= level || (j+2 < len(amp) && amp[j+2] >= level)) {
			j++
		}
		if j-i+1 >= packetBlocks {
			runs = append(runs, packetRun{i, j})
		}
		i = j
	}
	return runs
}

// packetSlope is the phase's slope while switching, in cycles per sample beside
// the demodulation's own, with its standard deviation: the packets' slopes weighed
// by length. NaN where none has one.
func packetSlope(blocks []demodBlock, runs []packetRun) (slope, sigma float64) {
	var num, den float64
	slopes := make([]float64, len(runs))
	for r, u := range runs {
		a, b := u.a, u.b
		if b-a+1 >= trimmedBlocks {
			a, b = a+2, b-2
		}
		slope, _, weight := phaseLine(blocks[a : b+1])
		slopes[r] = slope
		num += weight * slope
		den += weight
	}
	if den == 0 {
		return math.NaN(), 0
	}
	slope = num / den
	var spread, total float64
	for r, u := range runs {
		w := math.Pow(float64(u.b-u.a+1), 3)
		spread += w * w * (slopes[r] - slope) * (slopes[r] - slope)
		total += w
	}
	return slope, math.Sqrt(spread) / total
}

// phaseLine fits a straight phase through blocks: slope in cycles per sample
// beside the demodulation's own, and the weight of that slope.
func phaseLine(blocks []demodBlock) (slope, middle, weight float64) {
	var sx, sy, sxx, sxy, n float64
	prev := 0.0
	for i, b := range blocks {
		p := cmplx.Phase(b.c) / (2 * math.Pi)
		if i > 0 {
			p = prev + offWhole(p-prev)
		}
		prev = p
		x := b.middle - blocks[0].middle
		sx += x
		sy += p
		sxx += x * x
		sxy += x * p
		n++
	}
	weight = sxx - sx*sx/n
	if weight <= 0 {
		return 0, 0, 0
	}
	return (sxy - sx*sy/n) / weight, sy / n, weight
}

// eventRate is the rate of nearly periodic events by least squares over their
// times in samples, missing ones allowed for, with its standard deviation.
func eventRate(at []float64, rateHz float64) (hz, uHz float64) {
	gaps := make([]float64, len(at)-1)
	for i := range gaps {
		gaps[i] = at[i+1] - at[i]
	}
	slices.Sort(gaps)
	period := gaps[len(gaps)/2]
	if period <= 0 {
		return 0, 0
	}
	var sx, sy, sxx, sxy float64
	k := 0.0
	idx := make([]float64, len(at))
	for i := range at {
		if i > 0 {
			k += max(1, math.Round((at[i]-at[i-1])/period))
		}
		idx[i] = k
		sx += k
		sy += at[i]
		sxx += k * k
		sxy += k * at[i]
	}
	n := float64(len(at))
	den := sxx - sx*sx/n
	if den <= 0 {
		return 0, 0
	}
	slope := (sxy - sx*sy/n) / den
	base := (sy - slope*sx) / n
	rss := 0.0
	for i := range at {
		d := at[i] - base - slope*idx[i]
		rss += d * d
	}
	if slope <= 0 {
		return 0, 0
	}
	u := 0.0
	if n > 2 {
		u = math.Sqrt(rss / (n - 2) / den)
	}
	return rateHz / slope, rateHz / slope * u / slope
}

// settleBursts moves the ends of each packet to whole cycles, counted from the
// rising edge: a cycle belongs to the packet when the mean cycle's share in it is
// more than half. Phases found so far are good to a small part of a cycle.
func (t *Track) settleBursts(volts []float64, f *Fold, c *Model) {
	start := c.riseStart() - edgeLead
	cycle := cycleShare{volts: volts, f: f, start: start}
	for _, v := range f.Mean {
		cycle.meanV += v
	}
	cycle.meanV /= float64(f.Bins)
	n := float64(len(volts))
	settled := t.Pieces[:0:0]
	end := 0.0
	for _, p := range t.Pieces {
		mid := math.Floor(p.Phase + p.PerSample*(p.To-p.From)/2 - start)
		if cycle.of(p, mid) < cycleInPacket {
			if mid++; cycle.of(p, mid) < cycleInPacket {
				continue
			}
		}
		first, last := mid, mid
		for cycle.of(p, first-1) > cycleInPacket {
			first--
		}
		for cycle.of(p, last+1) > cycleInPacket {
			last++
		}
		from := p.From + (first+start-p.Phase)/p.PerSample
		to := p.From + (last+1+start-p.Phase)/p.PerSample
		q := Piece{From: from, To: to, Phase: first + start, PerSample: p.PerSample}
		// the record may cut a packet
		if q.From < cutPacketCycles/p.PerSample && q.From > 0 && cycle.of(p, first-1) > cutPacketShare {
			q.Phase -= q.PerSample * q.From
			q.From = 0
		}
		if q.From < 0 {
			q.Phase -= q.PerSample * q.From
			q.From = 0
		}
		q.From, q.To = max(q.From, end), min(q.To, n)
		if q.To-q.From < 1/p.PerSample {
			continue
		}
		if q.From == end && end > 0 {
			q.Phase = first + start + q.PerSample*(end-from)
		}
		settled = append(settled, q)
		end = q.To
	}
	if len(settled) >= 2 {
		t.Pieces = settled
		starts := make([]float64, 0, len(settled))
		for _, p := range settled {
			if p.From > 0 {
				starts = append(starts, p.From)
			}
		}
		if len(starts) >= 2 {
			t.BurstHz, t.BurstSigmaHz = eventRate(starts, t.Hz/settled[0].PerSample)
		}
	}
}

// cycleShare compares single cycles with the mean one.
type cycleShare struct {
	volts []float64
	f     *Fold
	meanV float64 // of the mean cycle
	start float64 // phase at which a cycle begins
}

// of is the mean cycle's share in cycle k of a piece, 1 where the two are alike; 0
// where the record holds too little of it.
func (c cycleShare) of(p Piece, k float64) float64 {
	volts, start, m := c.volts, c.start, c.f.Bins
	x := p.From + (k+start-p.Phase)/p.PerSample
	a, b := int(math.Ceil(x)), int(math.Ceil(x+1/p.PerSample))
	a, b = max(a, 0), min(b, len(volts))
	if float64(b-a) < cycleSamples/p.PerSample {
		return 0
	}
	var sv, sc, svc, scc float64
	for i := a; i < b; i++ {
		ph := start + (float64(i)-x)*p.PerSample
		ph -= math.Floor(ph)
		cv := c.f.Mean[min(int(ph*float64(m)), m-1)] - c.meanV
		sv += volts[i]
		sc += cv
		svc += volts[i] * cv
		scc += cv * cv
	}
	w := float64(b - a)
	if den := scc - sc*sc/w; den > 0 {
		return (svc - sv*sc/w) / den
	}
	return 0
}
