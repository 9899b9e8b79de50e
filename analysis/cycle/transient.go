package cycle

import (
	"math"

	"stillglow/analysis/spectrum"
)

// Transient is the mean transient of one edge on the cycle's bins.
type Transient struct {
	Edge   Edge      // that it starts at
	First  int       // bin of v[0]
	V      []float64 // volts against the smooth ripple, what earlier edges left taken off
	Tail   []float64 // what earlier edges left
	PeakV  float64   // signed
	PeakAt float64   // bins after first
	Until  int       // bins over which it stands above the noise
}

// Transients are the mean transients at the edges of a folded cycle, those left out
// that are the fit's fault; sigma is the standard deviation of a bin, V.
func Transients(f *Fold, c *Model, sigma float64) []Transient {
	var list []Transient
	m := c.Bins
	lo, hi := Extremes(f.Mean)
	for i, e := range c.Edges {
		on := int(e.Phase * float64(m))
		next := m
		for j, o := range c.Edges {
			if j != i {
				if d := (int(o.Phase*float64(m)) - on + m) % m; d > 0 {
					next = min(next, d)
				}
			}
		}
		lead := min(m/leadPart+2, leadMost)
		length := next - lead
		if c.joined == nil {
			length = min(length, m/2)
		}
		if length < leastSeen {
			continue
		}
		t := Transient{Edge: e, First: (on - lead + m) % m}
		t.V, t.Tail = make([]float64, lead+length), make([]float64, lead+length)
		// tails of the other edges' rings are not this edge's
		for j, o := range c.Edges {
			if !o.HasRing {
				continue
			}
			binS := c.PeriodS / float64(m)
			from := (t.First - int(o.Phase*float64(m)) + m) % m
			for k := 0; k < len(t.Tail); { // anew where o comes
				start, wraps := (float64((from+k)%m)+0.5)*binS, ringWraps
				if j == i {
					start, wraps = start+c.PeriodS, ringWraps-1
				}
				tail := o.Ring.tails(start, binS, c.PeriodS, wraps)
				for next := min(k+m-(from+k)%m, len(t.Tail)); k < next; k++ {
					t.Tail[k] += tail.next()
				}
			}
		}
		for k := range t.V {
			b := (t.First + k) % m
			t.V[k] = f.Mean[b] - c.Smooth[b] - t.Tail[k]
		}
		t.findPeak()
		if !e.HasRing && (e.gate > m/longPart || t.Duration()/float64(m)*c.PeriodS > longestPulseS) {
			continue // the fit's fault, or a hump of the ripple itself
		}
		if math.Abs(t.PeakV) > possiblePeak*(hi-lo) {
			continue // tails of rings that the samples do not bear out
		}
		// to where it can no longer be told from noise, in the mean or in a sample
		t.Until = len(t.V)
		for t.Until > int(t.PeakAt)+2 && math.Abs(t.V[t.Until-1]) < max(untilSigmas*sigma, untilSample*f.SigmaV, untilShare*math.Abs(t.PeakV)) {
			t.Until--
		}
		list = append(list, t)
	}
	return list
}

// findPeak finds the transient's greatest excursion.
func (t *Transient) findPeak() {
	t.PeakV, t.PeakAt = 0, 0
	for k, v := range t.V {
		if math.Abs(v) > math.Abs(t.PeakV) {
			t.PeakV, t.PeakAt = v, float64(k)
		}
	}
	if k := int(t.PeakAt); k > 0 && k+1 < len(t.V) {
		t.PeakV, t.PeakAt = spectrum.NewInterpolator().Peak(t.V, k, math.Copysign(1, t.PeakV))
	}
}

// Duration is the pulse duration at half the peak, in bins.
func (t Transient) Duration() float64 {
	return HalfDuration(t.V, int(t.PeakAt+0.5), t.PeakV)
}

// HalfDuration is the time between the half-peak crossings about y[at], in
// steps, by straight lines between the points.
func HalfDuration(y []float64, at int, peak float64) float64 {
	if len(y) == 0 || peak == 0 {
		return 0
	}
	at = min(max(at, 0), len(y)-1)
	half := peak / 2
	cross := func(dir int) float64 {
		for i := at; i+dir >= 0 && i+dir < len(y); i += dir {
			a, b := y[i]-half, y[i+dir]-half
			if b*peak <= 0 && a != b {
				return float64(i) + float64(dir)*a/(a-b)
			}
		}
		if dir < 0 {
			return 0
		}
		return float64(len(y) - 1)
	}
	return cross(1) - cross(-1)
}

// Area is the signed area over the event, in volt bins.
func (t Transient) Area() float64 {
	s := 0.0
	for _, v := range t.V[:t.Until] {
		s += v
	}
	return s
}

// NearestPeak is the index of the greatest value of buf's sign within reach of
// at, -1 when none.
func NearestPeak(buf []float64, sign, at, reach float64) int {
	best := -1
	s := math.Copysign(1, sign)
	for i := max(int(at-reach), 0); i <= int(at+reach)+1 && i < len(buf); i++ {
		if best < 0 || s*buf[i] > s*buf[best] {
			best = i
		}
	}
	return best
}

// Lerp reads y between its points, 0 outside.
func Lerp(y []float64, x float64) float64 {
	if x <= -1 || x >= float64(len(y)) {
		return 0
	}
	i := int(math.Floor(x))
	f := x - float64(i)
	a, b := 0.0, 0.0
	if i >= 0 {
		a = y[i]
	}
	if i+1 < len(y) {
		b = y[i+1]
	}
	return a + f*(b-a)
}
