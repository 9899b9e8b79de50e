package analysis

import (
	"math"

	"stillglow/analysis/spectrum"
)

// sharpen ties the track to the strongest edge's transients: their peaks tell
// each cycle's start far better than the phase of the fundamental. A dithered
// track follows every one of them, a fixed one takes their straight line. It
// answers false, and changes nothing, where the transients do not stand out in
// nearly every cycle or tell nothing new.
func (t *cycleTrack) sharpen(r *residue, f *fold, sigma float64) bool {
	var best *edgeTemplate
	list := newTemplates(f, r.model, r.model.binSigma)
	for i := range list {
		if best == nil || math.Abs(list[i].peakV) > math.Abs(best.peakV) {
			best = &list[i]
		}
	}
	if best == nil || math.Abs(best.peakV) < 4*sigma || len(t.pieces) == 0 {
		return false
	}
	m := float64(r.model.bins)
	n := len(r.volts)
	place := math.Mod((float64(best.first)+best.peakAt+0.5)/m, 1) // phase of the peak
	sign := math.Copysign(1, best.peakV)
	ip := spectrum.NewInterpolator()
	var at []float64
	first := 0.0
	found, cycles := 0, 0
	var buf []float64
	last := math.Inf(-1)
	for _, p := range t.pieces {
		end := p.phase + p.perSample*(p.to-p.from)
		k := math.Ceil(p.phase - place)
		for ; k+place < end; k++ {
			if k <= last {
				continue
			}
			last = k
			x := p.from + (k+place-p.phase)/p.perSample
			reach := 0.03 / p.perSample
			if t.kind == SwitchingDithered {
				reach *= 2
			}
			from, to := max(int(x-reach), 0), min(int(x+reach)+2, n)
			if to-from < 3 {
				continue
			}
			buf = buf[:0]
			r.each(from, to, func(_ int, v float64, _ int, _ float64) { buf = append(buf, v) })
			top := nearestPeak(buf, sign, x-float64(from), reach)
			where := x
			cycles++
			if top > 0 && top < len(buf)-1 && sign*buf[top] > max(0.5*math.Abs(best.peakV), 5*sigma) {
				_, peakAt := ip.Peak(buf, top, sign)
				where = float64(from) + peakAt
				found++
			}
			if len(at) == 0 {
				first = k
			} else if where <= at[len(at)-1] {
				return false
			}
			at = append(at, where)
		}
	}
	if cycles < 4 || float64(found) < 0.95*float64(cycles) || last-first+1 != float64(len(at)) {
		return false
	}
	if t.kind == SwitchingFixed {
		return t.straighten(at, first+place, best.duration()/m)
	}
	pieces := make([]piece, 0, len(at)+1)
	p0 := 1 / (at[1] - at[0])
	pieces = append(pieces, piece{0, at[0], first + place - p0*at[0], p0})
	for i := 1; i < len(at); i++ {
		pieces = append(pieces, piece{at[i-1], at[i], first + place + float64(i-1), 1 / (at[i] - at[i-1])})
	}
	k := len(at) - 1
	pe := 1 / (at[k] - at[k-1])
	pieces = append(pieces, piece{at[k], float64(n), first + place + float64(k), pe})
	t.pieces = pieces
	return true
}

// straighten fits one frequency to the samples at which successive cycles reach
// a phase. It counts only where it moves the ends of the record by a noticeable
// part of the pulse's duration (in cycles).
func (t *cycleTrack) straighten(at []float64, phase, duration float64) bool {
	n := float64(len(at))
	var sx, sy, sxx, sxy float64
	for i, x := range at {
		k := float64(i)
		sx += k
		sy += x
		sxx += k * k
		sxy += k * x
	}
	den := sxx - sx*sx/n
	period := (sxy - sx*sy/n) / den
	base := (sy - period*sx) / n
	rss := 0.0
	for i, x := range at {
		d := x - base - period*float64(i)
		rss += d * d
	}
	old := t.pieces[0]
	moved := math.Abs(period*old.perSample-1) * n / 2
	scatter := math.Sqrt(rss / n)
	if !(period > 0) || moved < 0.02*duration || scatter*old.perSample > 0.02 {
		return false
	}
	hz := t.hz / old.perSample / period
	u := hz / period * scatter / math.Sqrt(den)
	if u > t.uHz && math.Abs(hz-t.hz) < 4*(u+t.uHz) {
		return false // noise moves the peaks more than the frequency is in doubt
	}
	t.uHz = u
	t.hz = hz
	t.pieces[0].perSample = 1 / period
	t.pieces[0].phase = phase - base/period
	return true
}

// inTime rebuilds an edge's mean transient on the time since the edge instead of
// the phase: where the period wanders, the phase stretches a ring and smears it.
// The ring is fitted afresh.
func (t *edgeTemplate) inTime(r *residue, sigma float64) {
	m := float64(r.model.bins)
	n := len(r.volts)
	perBin := r.model.periodS * r.rateHz / m // samples to a bin
	sum, count := make([]float64, len(t.v)), make([]float64, len(t.v))
	lead := math.Mod(t.edge.phase-float64(t.first)/m+1, 1)
	onset := t.edge.phase
	last := math.Inf(-1)
	for _, p := range r.track.pieces {
		end := p.phase + p.perSample*(p.to-p.from)
		for k := math.Ceil(p.phase - onset); k+onset < end; k++ {
			if k <= last {
				continue
			}
			last = k
			start := p.from + (k+onset-p.phase)/p.perSample - lead*m*perBin
			from := max(int(math.Ceil(start)), 0)
			to := min(int(start+float64(len(t.v))*perBin), n)
			if to <= from {
				continue
			}
			r.each(from, to, func(i int, v float64, _ int, _ float64) {
				if b := int((float64(i) - start) / perBin); b >= 0 && b < len(sum) {
					sum[b] += v
					count[b]++
				}
			})
		}
	}
	for b := range sum {
		if count[b] == 0 {
			return
		}
		t.v[b] = sum[b] / count[b]
	}
	t.tail = nil
	t.findPeak()
	e := t.edge
	skip := int(lead*m + 0.5)
	if skip < len(t.v) {
		e.fitRing(t.v[skip:], r.model.periodS/m, sigma)
		if e.hasRng {
			t.edge.ring, t.edge.hasRng = e.ring, true
		}
	}
}
