package cycle

import "math"

// splitEdge tells the ripple's step from the pulse on top of it where both
// start at the same instant: what is left at the edge after the ring is taken
// off is fitted with a straight ramp from the piece before to the piece after
// and a raised-cosine pulse. smooth is redrawn around the edge with that ramp.
// Where the two do not describe the edge to a sixth of its pulse, smooth stays
// as it is.
//
// Note: without it a step that outweighs its spike swallows most of the spike.
func (c *Model) splitEdge(e *Edge, y []float64, pw *pieces, smooth []float64, zone int) {
	m := c.Bins
	step := c.PeriodS / float64(m)
	on := int(e.Phase * float64(m))
	// the break that belongs to this edge
	at, near := -1, float64(zone)+stepNear
	for i, b := range pw.breaks {
		if d := math.Abs(math.Remainder(b-float64(on), float64(m))); d < near {
			at, near = i, d
		}
	}
	if at < 0 {
		return
	}
	k := len(pw.breaks)
	before := (at + k - 1) % k
	b := pw.breaks[at]
	height := pw.at(at, b) - pw.at(before, b)
	if math.Abs(height) < stepLeast*math.Abs(e.peakV) {
		return
	}
	lead := zone + stepLead
	n := min(max(e.gate, zone)+lead, m/stepPart)
	d := make([]float64, n) // over the piece before, ring taken off
	rise := make([]float64, n)
	ring := make([]float64, n)
	for i := range d {
		t := i - lead
		j := ((on+t)%m + m) % m
		x := float64(on+t) + 0.5
		d[i] = y[j] - pw.at(before, x)
		rise[i] = pw.at(at, x) - pw.at(before, x)
		if e.HasRing && t < e.gate {
			ring[i] = e.Ring.at(float64(t) * step)
		}
	}
	longest := min(float64(zone), float64(n-lead))
	tries, best := edgeCurves{d, rise, ring, lead}.tries(zone, longest)
	// a slower step under a larger pulse can look the same: of all that fit as
	// well, the least pulse
	limit := stepAlike*best + 2*float64(n)*c.BinSigmaV*c.BinSigmaV*math.Sqrt(2/float64(n))
	pick := rampTry{a: math.Inf(1)}
	most := 0.0
	for _, t := range tries {
		if t.r > limit {
			continue
		}
		most = max(most, math.Abs(t.a))
		if math.Abs(t.a) < math.Abs(pick.a) {
			pick = t
		}
	}
	rms := math.Sqrt(pick.r / float64(n))
	if math.IsInf(pick.a, 0) || rms > max(math.Abs(pick.a)/stepFits, stepSigmas*c.BinSigmaV, stepOff*math.Abs(height)) {
		return
	}
	e.PeakAmbiguityV = min(most, math.Abs(pick.a)+math.Abs(height)) - math.Abs(pick.a)
	for i := range d {
		t := i - lead
		j := ((on+t)%m + m) % m
		x := float64(on+t) + 0.5
		smooth[j] = pw.at(before, x) + rise[i]*rampAt(float64(t)+0.5-pick.from, pick.long)
	}
}

// rampTry is one ramp with a pulse on top of it.
type rampTry struct {
	r          float64 // square of what the two leave
	from, long float64 // the ramp's start after the edge and its length, bins
	a          float64 // the pulse's height, V
}

// edgeCurves are the curve at an edge over the piece before it, the rise to the
// piece after, and the edge's ring; the edge lies lead bins after their start.
type edgeCurves struct {
	d, rise, ring []float64
	lead          int
}

// tries fits every ramp of at most longest bins and every pulse, and gives the
// least square that any leaves.
func (c edgeCurves) tries(zone int, longest float64) (tries []rampTry, best float64) {
	best = math.Inf(1)
	grain := max(stepGrain, float64(zone)/stepGrains)
	for from := -float64(zone); from <= stepLate; from += grain {
		for r := range 13 {
			long := longest * float64(r) / 12
			for w := 1.0; 2*w < float64(len(c.d)); w *= 1.25 {
				a, left := c.pulse(from, long, w)
				best = min(best, left)
				tries = append(tries, rampTry{left, from, long, a})
			}
		}
	}
	return tries, best
}

// pulse fits the height of a raised-cosine pulse of half width w on a ramp, and
// gives the square of what the two leave.
func (c edgeCurves) pulse(from, long, w float64) (a, left float64) {
	var sp, pp, ss float64
	for i := range c.d {
		t := float64(i-c.lead) + 0.5 - from
		v := c.d[i] - c.rise[i]*rampAt(t, long)
		if t >= 0 {
			v -= c.ring[i]
		}
		p := 0.0
		if t > 0 && t < 2*w {
			s := math.Sin(math.Pi * t / (2 * w))
			p = s * s
		}
		sp += v * p
		pp += p * p
		ss += v * v
	}
	if pp > 0 {
		a = sp / pp
	}
	return a, max(ss-a*sp, 0)
}

// rampAt rises from 0 to 1 over the first long bins.
func rampAt(t, long float64) float64 {
	if t <= 0 {
		return 0
	}
	if t >= long {
		return 1
	}
	return t / long
}
