package analysis

import (
	"math"
	"math/cmplx"
	"sort"
)

// piece is a stretch of samples over which the switching phase runs straight.
type piece struct {
	from, to  float64 // in samples; pieces ascend and do not overlap
	phase     float64 // in cycles, at from
	perSample float64 // cycles per sample
}

// cycleTrack follows the switching cycle through the record: one piece for a
// fixed supply, many joined ones for a dithered one, one per packet for a
// bursting one. Where no piece lies the supply rests.
type cycleTrack struct {
	kind     SwitchingKind
	hz, uHz  float64 // mean frequency while switching, its standard deviation
	spreadHz float64
	burstHz  float64
	uBurstHz float64
	onShare  float64
	pieces   []piece
}

// demodBlock is the complex amplitude of one harmonic in a short tapered block.
type demodBlock struct {
	middle float64 // sample
	c      complex128
	ref    complex128 // the same half a harmonic up, where there is only noise
}

// demodulate takes blocks of so many cycles every hop cycles. The samples are
// summed in groups first, 64 or more to a cycle: the sum's zeros keep harmonics
// near its rate from folding onto the fundamental.
func demodulate(volts []float64, meanV, perSample, cycles, hop float64) []demodBlock {
	group := max(int(1/perSample/64), 1)
	length := int(cycles / perSample / float64(group))
	step := hop / perSample / float64(group)
	n := len(volts) / group
	if length < 8 || n < length || step < 1 {
		return nil
	}
	taper := make([]float64, length)
	for i := range taper {
		taper[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(length))
	}
	w := 2 * math.Pi * perSample * float64(group)
	rot, rotRef := cmplx.Rect(1, -w), cmplx.Rect(1, -1.5*w)
	count := int(float64(n-length)/step) + 1
	blocks := make([]demodBlock, 0, count)
	buf := make([]float64, length)
	for b := range count {
		start := int(float64(b) * step)
		mean := 0.0
		for i := range buf {
			s := 0.0
			lo := (start + i) * group
			for _, v := range volts[lo : lo+group] {
				s += v
			}
			buf[i] = s/float64(group) - meanV
			mean += buf[i] * taper[i]
		}
		mean /= float64(length) / 2
		first := (float64(start*group) + float64(group-1)/2) * perSample
		p := cmplx.Rect(1, -2*math.Pi*math.Mod(first, 1))
		q := cmplx.Rect(1, -2*math.Pi*math.Mod(1.5*first, 1))
		var c, ref complex128
		for i, v := range buf {
			v = (v - mean) * taper[i]
			c += complex(real(p)*v, imag(p)*v)
			ref += complex(real(q)*v, imag(q)*v)
			p *= rot
			q *= rotRef
		}
		k := complex(4/float64(length), 0) // amplitude of a cosine under the taper
		blocks = append(blocks, demodBlock{
			middle: (float64(start)+float64(length-1)/2)*float64(group) + float64(group-1)/2,
			c:      c * k, ref: ref * k,
		})
	}
	return blocks
}

// trackSwitching decides how the supply keeps time and follows it.
func trackSwitching(volts []float64, meanV, rateHz float64, found coarseSwitching) *cycleTrack {
	if found.hz <= 0 {
		return nil
	}
	n := float64(len(volts))
	per := found.hz / rateHz
	fixed := func() *cycleTrack {
		hz, u := refineFixed(volts, meanV, rateHz, found.hz)
		return &cycleTrack{kind: SwitchingFixed, hz: hz, uHz: u, onShare: 1,
			pieces: []piece{{0, n, 0, hz / rateHz}}}
	}
	blocks := demodulate(volts, meanV, per, 6, 3)
	if len(blocks) < 8 {
		return fixed()
	}
	amp := make([]float64, len(blocks))
	noise := make([]float64, len(blocks))
	for i, b := range blocks {
		amp[i], noise[i] = cmplx.Abs(b.c), cmplx.Abs(b.ref)
	}
	sorted := append([]float64(nil), amp...)
	sort.Float64s(sorted)
	strong := sorted[len(sorted)*98/100]
	sort.Float64s(noise)
	quiet := noise[len(noise)/2]
	if strong < 4*quiet && found.coherent {
		return fixed()
	}
	off := 0
	for _, a := range amp {
		if a < 0.3*strong {
			off++
		}
	}
	if share := float64(off) / float64(len(amp)); share > 0.08 && strong > 5*quiet && sorted[len(sorted)/50] < 0.2*strong {
		if t := trackBursts(volts, meanV, rateHz, found.hz); t != nil {
			return t
		}
	}
	steady := fixed()
	if strong > 15*quiet {
		// a fast sweep needs short blocks, where the noise allows them
		if short := demodulate(volts, meanV, per, 3, 1); len(short) >= 8 {
			blocks = short
		}
	}
	if t := trackDither(blocks, n, rateHz, found.hz, quiet); t != nil {
		// the track has to earn its place: a better fold than at one frequency
		if foldTrace(volts, t, newSlowPart(volts, t)).power() > 1.03*foldTrace(volts, steady, newSlowPart(volts, steady)).power() {
			return t
		}
	}
	return steady
}

// trackDither joins the blocks' phases to a line of straight pieces. It answers
// nil where the frequency does not wander by more than the blocks' noise.
func trackDither(blocks []demodBlock, n, rateHz, hz, quiet float64) *cycleTrack {
	per := hz / rateHz
	phase := make([]float64, len(blocks)) // cycles, total
	prev := 0.0
	for i, b := range blocks {
		p := cmplx.Phase(b.c) / (2 * math.Pi)
		if i > 0 {
			p = prev + math.Remainder(p-prev, 1)
		}
		phase[i], prev = p, p
	}
	// local frequency offset per block and its noise
	amp := 0.0
	for _, b := range blocks {
		amp += cmplx.Abs(b.c)
	}
	amp /= float64(len(blocks))
	offsets := make([]float64, len(blocks)-1)
	for i := range offsets {
		offsets[i] = (phase[i+1] - phase[i]) / (blocks[i+1].middle - blocks[i].middle) / per
	}
	sorted := append([]float64(nil), offsets...)
	sort.Float64s(sorted)
	lo, hi := sorted[len(sorted)*5/100], sorted[len(sorted)*95/100]
	phaseNoise := quiet / max(amp, 1e-300) / (2 * math.Pi) // cycles
	hop := (blocks[1].middle - blocks[0].middle) * per     // cycles
	freqNoise := 1.5 * phaseNoise / hop                    // relative
	spread := (hi - lo) / 0.9
	if spread < 0.003 || spread < 6*freqNoise {
		return nil
	}
	t := &cycleTrack{kind: SwitchingDithered, onShare: 1, spreadHz: spread * hz}
	slopeFirst := per + (phase[1]-phase[0])/(blocks[1].middle-blocks[0].middle)
	t.pieces = append(t.pieces, piece{0, blocks[0].middle, phase[0] + per*blocks[0].middle - slopeFirst*blocks[0].middle, slopeFirst})
	for i := range offsets {
		a, b := blocks[i].middle, blocks[i+1].middle
		t.pieces = append(t.pieces, piece{a, b, phase[i] + per*a, per + (phase[i+1]-phase[i])/(b-a)})
	}
	last := t.pieces[len(t.pieces)-1]
	t.pieces = append(t.pieces, piece{last.to, n, last.phase + last.perSample*(last.to-last.from), last.perSample})
	first, end := t.pieces[0], t.pieces[len(t.pieces)-1]
	total := end.phase + end.perSample*(end.to-end.from) - first.phase
	t.hz = total / n * rateHz
	t.uHz = t.hz * phaseNoise / max(total, 1)
	return t
}

// trackBursts finds the packets and the phase of the switching in each.
func trackBursts(volts []float64, meanV, rateHz, hz float64) *cycleTrack {
	per := hz / rateHz
	blocks := demodulate(volts, meanV, per, 2, 0.5)
	if len(blocks) < 8 {
		return nil
	}
	amp := make([]float64, len(blocks))
	for i, b := range blocks {
		amp[i] = cmplx.Abs(b.c)
	}
	sorted := append([]float64(nil), amp...)
	sort.Float64s(sorted)
	level := 0.5 * sorted[len(sorted)*95/100]
	type run struct{ a, b int }
	var runs []run
	for i := 0; i < len(amp); i++ {
		if amp[i] < level {
			continue
		}
		j := i
		for j+1 < len(amp) && (amp[j+1] >= level || (j+2 < len(amp) && amp[j+2] >= level)) {
			j++
		}
		if j-i >= 4 {
			runs = append(runs, run{i, j})
		}
		i = j
	}
	if len(runs) < 2 {
		return nil
	}
	// frequency while switching: phase slopes of the packets, weighed by length
	var num, den float64
	slopes := make([]float64, len(runs))
	for r, u := range runs {
		a, b := u.a, u.b
		if b-a >= 6 { // the ends see half a packet
			a, b = a+2, b-2
		}
		slope, _, weight := phaseLine(blocks[a : b+1])
		slopes[r] = slope
		num += weight * slope
		den += weight
	}
	if den == 0 {
		return nil
	}
	dslope := num / den
	var spread float64
	for r, u := range runs {
		w := math.Pow(float64(u.b-u.a+1), 3)
		spread += w * w * (slopes[r] - dslope) * (slopes[r] - dslope)
	}
	total := 0.0
	for _, u := range runs {
		total += math.Pow(float64(u.b-u.a+1), 3)
	}
	t := &cycleTrack{kind: SwitchingBursting, hz: (per + dslope) * rateHz, uHz: math.Sqrt(spread) / total * rateHz}
	p := per + dslope
	on := 0.0
	var starts []float64
	for _, u := range runs {
		// phase at the packet's middle at the common frequency
		var sum complex128
		mid := (blocks[u.a].middle + blocks[u.b].middle) / 2
		for _, b := range blocks[u.a : u.b+1] {
			sum += b.c * cmplx.Rect(1, -2*math.Pi*dslope*(b.middle-mid))
		}
		phMid := cmplx.Phase(sum)/(2*math.Pi) + math.Mod(per*mid, 1)
		from, to := max(blocks[u.a].middle, 0), min(blocks[u.b].middle, float64(len(volts)))
		on += to - from
		starts = append(starts, from)
		// whole cycles apart from each other, so that no two packets share one
		base := phMid - p*(mid-from)
		if k := len(t.pieces); k > 0 {
			last := t.pieces[k-1]
			end := last.phase + last.perSample*(last.to-last.from)
			base += math.Ceil(end-base) + 1
		}
		t.pieces = append(t.pieces, piece{from, to, base, p})
	}
	t.onShare = on / float64(len(volts))
	// packet rate: least squares over the starts; the first packet may be cut
	if blocks[runs[0].a].middle < 3/per && len(starts) > 3 {
		starts = starts[1:]
	}
	if len(starts) >= 2 {
		t.burstHz, t.uBurstHz = eventRate(starts, rateHz)
	}
	return t
}

// phaseLine fits a straight phase through blocks: slope in cycles per sample
// beside the demodulation's own, and the weight of that slope.
func phaseLine(blocks []demodBlock) (slope, middle, weight float64) {
	var sx, sy, sxx, sxy, n float64
	prev := 0.0
	for i, b := range blocks {
		p := cmplx.Phase(b.c) / (2 * math.Pi)
		if i > 0 {
			p = prev + math.Remainder(p-prev, 1)
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
	sort.Float64s(gaps)
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
func (t *cycleTrack) settleBursts(volts []float64, f *fold, c *cycleModel) {
	start := c.riseStart() - 0.01
	m := f.bins
	mean := 0.0
	for _, v := range f.mean {
		mean += v
	}
	mean /= float64(m)
	n := float64(len(volts))
	share := func(p piece, k float64) float64 {
		x := p.from + (k+start-p.phase)/p.perSample
		a, b := int(math.Ceil(x)), int(math.Ceil(x+1/p.perSample))
		a, b = max(a, 0), min(b, len(volts))
		if float64(b-a) < 0.4/p.perSample {
			return 0
		}
		var sv, sc, svc, scc float64
		for i := a; i < b; i++ {
			ph := start + (float64(i)-x)*p.perSample
			ph -= math.Floor(ph)
			cv := f.mean[min(int(ph*float64(m)), m-1)] - mean
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
	settled := t.pieces[:0:0]
	end := 0.0
	for _, p := range t.pieces {
		mid := math.Floor(p.phase + p.perSample*(p.to-p.from)/2 - start)
		if share(p, mid) < 0.5 {
			if mid++; share(p, mid) < 0.5 {
				continue
			}
		}
		first, last := mid, mid
		for share(p, first-1) > 0.5 {
			first--
		}
		for share(p, last+1) > 0.5 {
			last++
		}
		from := p.from + (first+start-p.phase)/p.perSample
		to := p.from + (last+1+start-p.phase)/p.perSample
		q := piece{from: from, to: to, phase: first + start, perSample: p.perSample}
		// the record may cut a packet
		if q.from < 1.2/p.perSample && q.from > 0 && share(p, first-1) > 0.2 {
			q.phase -= q.perSample * q.from
			q.from = 0
		}
		if q.from < 0 {
			q.phase -= q.perSample * q.from
			q.from = 0
		}
		q.from, q.to = max(q.from, end), min(q.to, n)
		if q.to-q.from < 1/p.perSample {
			continue
		}
		if q.from == end && end > 0 {
			q.phase = first + start + q.perSample*(end-from)
		}
		settled = append(settled, q)
		end = q.to
	}
	if len(settled) >= 2 {
		t.pieces = settled
		on := 0.0
		starts := make([]float64, 0, len(settled))
		for _, p := range settled {
			on += p.to - p.from
			if p.from > 0 {
				starts = append(starts, p.from)
			}
		}
		t.onShare = on / n
		if len(starts) >= 2 {
			t.burstHz, t.uBurstHz = eventRate(starts, t.hz/settled[0].perSample)
		}
	}
}
