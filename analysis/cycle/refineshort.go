package cycle

import "math"

// refineShort improves the frequency of a record of few cycles: the frequency
// at which the folded record holds most power is the most likely one whatever
// the cycle's shape is. uHz is the standard deviation of hz, u that of refined:
// by the curvature there, but no less than uHz where that tops a small part of
// a cycle over the record. There noise makes the peaks of the fold's power, and
// its curvature says nothing.
func refineShort(volts []float64, rateHz, hz, uHz float64) (refined, u float64) {
	if r := len(volts) / shortSamples; r > 1 {
		thin := make([]float64, len(volts)/r)
		for i := range thin {
			for _, v := range volts[i*r : (i+1)*r] {
				thin[i] += v / float64(r)
			}
		}
		volts, rateHz = thin, rateHz/float64(r)
	}
	n := float64(len(volts))
	duration := n / rateHz
	track := func(hz float64) *Track {
		return &Track{Kind: Fixed, Hz: hz, Pieces: []Piece{{0, n, 0, hz / rateHz}}}
	}
	slow := newSlowPart(volts, track(hz))
	folds := newPowerFolds(volts, track(hz), slow)
	power := func(hz float64) float64 { return folds.at(hz / rateHz) }
	// a fiftieth of a cycle over the record to both sides, in steps that no
	// ring of a hundred periods to the cycle slips through
	const side = 40
	step := 0.02 / duration / side
	best, at := power(hz), hz
	for i := -side; i <= side; i++ {
		if p := power(hz + float64(i)*step); p > best*(1+higherPower) {
			best, at = p, hz+float64(i)*step
		}
	}
	// a parabola through a few neighbours: the bins' edges make single values rough
	for range 2 {
		var s0, s2, s4, y0, y1, y2 float64
		for i := -4; i <= 4; i++ {
			x := float64(i) / 4
			p := power(at + x*step)
			s0++
			s2 += x * x
			s4 += x * x * x * x
			y0 += p
			y1 += x * p
			y2 += x * x * p
		}
		bend := (s0*y2 - s2*y0) / (s0*s4 - s2*s2)
		if bend >= 0 {
			return hz, max(uHz, step) // crests of the noise only: nothing gained
		}
		at += step * min(max(-y1/s2/(2*bend), -1), 1)
		f := foldOnly(volts, track(at), slow)
		if sigma := f.sampleSigma(); sigma > 0 {
			// log likelihood n·power/(2σ²), power = ... + bend·(df/step)²
			// and the noise in that many bins makes crests of its own
			u = step * sigma * math.Sqrt((1.6*1.6+math.Sqrt(2*float64(f.Bins)))/(n*-bend))
		}
	}
	if uHz*duration > noisyCycle {
		u = max(u, uHz)
	}
	return at, u
}

// powerFolds folds a record again and again for what Power gives of the fold. The
// slow part is taken off once.
type powerFolds struct {
	y      []float64
	starts []int // of stretches, at which the phase is worked out anew
	bins   []struct{ n, sum, square float64 }
}

// newPowerFolds prepares for folds near the frequency of the track.
func newPowerFolds(volts []float64, t *Track, slow SlowPart) *powerFolds {
	p := &powerFolds{y: make([]float64, len(volts))}
	p.bins = make([]struct{ n, sum, square float64 }, foldBins(float64(len(volts)), t.Pieces[0].PerSample))
	Walk(0, len(volts), nil, slow, func(st Stretch) {
		p.starts = append(p.starts, st.From)
		base := st.Slow
		for i := st.From; i < st.To; i++ {
			p.y[i] = volts[i] - base
			base += st.SlowSlope
		}
	})
	return p
}

// at is the Power of the fold at so many cycles a sample.
func (p *powerFolds) at(perSample float64) float64 {
	bins := p.bins
	clear(bins)
	step := NewPhase(perSample)
	for k, from := range p.starts {
		to := len(p.y)
		if k+1 < len(p.starts) {
			to = p.starts[k+1]
		}
		ph := NewPhase(perSample * float64(from))
		for _, v := range p.y[from:to] {
			b := &bins[ph.Bin(len(bins))]
			b.n++
			b.sum += v
			b.square += v * v
			ph += step
		}
	}
	var power, noise, n float64
	for _, b := range bins {
		if b.n > 1 {
			p := b.sum * b.sum / b.n
			power += p
			noise += max(b.square-p, 0) / (b.n - 1)
			n += b.n
		}
	}
	if n == 0 {
		return 0
	}
	return max((power-noise)/n, 0)
}
