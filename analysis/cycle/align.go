package cycle

import (
	"math"

	"stillglow/analysis/spectrum"
)

// sharpen ties the track to the strongest edge's transients: their peaks tell
// each cycle's start far better than the phase of the fundamental. A dithered
// track follows every one of them, a fixed one takes their straight line. It
// answers false, and changes nothing, where the transients do not stand out in
// nearly every cycle or tell nothing new.
func (t *Track) sharpen(r *Residue, f *Fold, sigma float64) bool {
	var best *Transient
	list := Transients(f, r.Model, r.Model.BinSigmaV)
	for i := range list {
		if best == nil || math.Abs(list[i].PeakV) > math.Abs(best.PeakV) {
			best = &list[i]
		}
	}
	if best == nil || math.Abs(best.PeakV) < alignSigmas*sigma || len(t.Pieces) == 0 {
		return false
	}
	m := float64(r.Model.Bins)
	n := len(r.Volts)
	place := math.Mod((float64(best.First)+best.PeakAt+0.5)/m, 1) // phase of the peak
	sign := math.Copysign(1, best.PeakV)
	ip := spectrum.NewInterpolator()
	var at []float64
	first := 0.0
	found, cycles := 0, 0
	var buf []float64
	reader := r.Reader()
	last := math.Inf(-1)
	for _, p := range t.Pieces {
		end := p.Phase + p.PerSample*(p.To-p.From)
		k := math.Ceil(p.Phase - place)
		for ; k+place < end; k++ {
			if k <= last {
				continue
			}
			last = k
			x := p.From + (k+place-p.Phase)/p.PerSample
			reach := alignReach / p.PerSample
			if t.Kind == Dithered {
				reach *= 2
			}
			from, to := max(int(x-reach), 0), min(int(x+reach)+2, n)
			if to-from < peakSamples {
				continue
			}
			buf = reader.Append(buf[:0], from, to)
			top := NearestPeak(buf, sign, x-float64(from), reach)
			where := x
			cycles++
			if top > 0 && top < len(buf)-1 && sign*buf[top] > max(alignOfMean*math.Abs(best.PeakV), alignOwn*sigma) {
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
	if cycles < alignLeast || float64(found) < alignShare*float64(cycles) || last-first+1 != float64(len(at)) {
		return false
	}
	if t.Kind == Fixed {
		return t.straighten(at, first+place, best.Duration()/m)
	}
	pieces := make([]Piece, 0, len(at)+1)
	p0 := 1 / (at[1] - at[0])
	pieces = append(pieces, Piece{0, at[0], first + place - p0*at[0], p0})
	for i := 1; i < len(at); i++ {
		pieces = append(pieces, Piece{at[i-1], at[i], first + place + float64(i-1), 1 / (at[i] - at[i-1])})
	}
	k := len(at) - 1
	pe := 1 / (at[k] - at[k-1])
	pieces = append(pieces, Piece{at[k], float64(n), first + place + float64(k), pe})
	t.Pieces = pieces
	return true
}

// straighten fits one frequency to the samples at which successive cycles reach
// a phase. It counts only where it moves the ends of the record by a noticeable
// part of the pulse's duration (in cycles).
func (t *Track) straighten(at []float64, phase, duration float64) bool {
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
	old := t.Pieces[0]
	moved := math.Abs(period*old.PerSample-1) * n / 2
	scatter := math.Sqrt(rss / n)
	if !(period > 0) || moved < straightMoves*duration || scatter*old.PerSample > straightOff {
		return false
	}
	hz := t.Hz / old.PerSample / period
	u := hz / period * scatter / math.Sqrt(den)
	if u > t.SigmaHz && math.Abs(hz-t.Hz) < straightSigmas*(u+t.SigmaHz) {
		return false // noise moves the peaks more than the frequency is in doubt
	}
	t.SigmaHz = u
	t.Hz = hz
	t.Pieces[0].PerSample = 1 / period
	t.Pieces[0].Phase = phase - base/period
	return true
}

// InTime rebuilds an edge's mean transient on the time since the edge instead of
// the phase: where the period wanders, the phase stretches a ring and smears it.
// The ring is fitted afresh.
func (t *Transient) InTime(r *Residue, sigma float64) {
	m := float64(r.Model.Bins)
	n := len(r.Volts)
	perBin := r.Model.PeriodS * r.RateHz / m // samples to a bin
	sum, count := make([]float64, len(t.V)), make([]float64, len(t.V))
	lead := math.Mod(t.Edge.Phase-float64(t.First)/m+1, 1)
	onset := t.Edge.Phase
	reader := r.Reader()
	last := math.Inf(-1)
	for _, p := range r.Track.Pieces {
		end := p.Phase + p.PerSample*(p.To-p.From)
		for k := math.Ceil(p.Phase - onset); k+onset < end; k++ {
			if k <= last {
				continue
			}
			last = k
			start := p.From + (k+onset-p.Phase)/p.PerSample - lead*m*perBin
			from := max(int(math.Ceil(start)), 0)
			to := min(int(start+float64(len(t.V))*perBin), n)
			if to <= from {
				continue
			}
			reader.Each(from, to, func(i int, v float64, _ int, _ float64) {
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
		t.V[b] = sum[b] / count[b]
	}
	t.Tail = nil
	t.findPeak()
	e := t.Edge
	skip := int(lead*m + 0.5)
	if skip < len(t.V) {
		e.fitRing(t.V[skip:], r.Model.PeriodS/m, sigma, new(ringWork))
		if e.HasRing {
			t.Edge.Ring, t.Edge.HasRing = e.Ring, true
		}
	}
}
