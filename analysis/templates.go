package analysis

import (
	"math"

	"stillglow/analysis/spectrum"
)

// edgeTemplate is the mean transient of one edge on the cycle's bins.
type edgeTemplate struct {
	edge   cycleEdge
	first  int       // bin of v[0]
	v      []float64 // volts against the smooth ripple, what earlier edges left taken off
	tail   []float64 // what earlier edges left
	peakV  float64   // signed
	peakAt float64   // bins after first
	until  int       // bins over which it stands above the noise
}

// longestPulseS is well over what a switching edge makes: 5 to 200 ns (common
// practice, no source).
const longestPulseS = 1e-6

func newTemplates(f *fold, c *cycleModel, sigma float64) []edgeTemplate {
	var list []edgeTemplate
	m := c.bins
	for i, e := range c.edges {
		on := int(e.phase * float64(m))
		next := m
		for j, o := range c.edges {
			if j != i {
				if d := (int(o.phase*float64(m)) - on + m) % m; d > 0 {
					next = min(next, d)
				}
			}
		}
		lead := min(m/128+2, 16)
		length := next - lead
		if c.joined == nil {
			length = min(length, m/2)
		}
		if length < 3 {
			continue
		}
		t := edgeTemplate{edge: e, first: (on - lead + m) % m}
		for k := -lead; k < length; k++ {
			b := (on + k + m) % m
			v, tail := f.mean[b]-c.smooth[b], 0.0
			// tails of the other edges' rings are not this edge's
			for j, o := range c.edges {
				if o.hasRng {
					d := (b - int(o.phase*float64(m)) + m) % m
					x := (float64(d) + 0.5) / float64(m) * c.periodS
					if j != i {
						tail += o.ring.at(x)
					}
					for wrap := 1.0; wrap < 5; wrap++ {
						tail += o.ring.at(x + wrap*c.periodS)
					}
				}
			}
			t.v = append(t.v, v-tail)
			t.tail = append(t.tail, tail)
		}
		t.findPeak()
		if !e.hasRng && (e.gate > m/5 || t.duration()/float64(m)*c.periodS > longestPulseS) {
			continue // the fit's fault, or a hump of the ripple itself
		}
		// to where it can no longer be told from noise, in the mean or in a sample
		t.until = len(t.v)
		for t.until > int(t.peakAt)+2 && math.Abs(t.v[t.until-1]) < max(4*sigma, 0.5*f.sigma, 1e-3*math.Abs(t.peakV)) {
			t.until--
		}
		list = append(list, t)
	}
	return list
}

// findPeak finds the transient's greatest excursion.
func (t *edgeTemplate) findPeak() {
	t.peakV, t.peakAt = 0, 0
	for k, v := range t.v {
		if math.Abs(v) > math.Abs(t.peakV) {
			t.peakV, t.peakAt = v, float64(k)
		}
	}
	if k := int(t.peakAt); k > 0 && k+1 < len(t.v) {
		t.peakV, t.peakAt = spectrum.NewInterpolator().Peak(t.v, k, math.Copysign(1, t.peakV))
	}
}

// duration is the pulse duration at half the peak, in bins.
func (t edgeTemplate) duration() float64 {
	return halfDuration(t.v, int(t.peakAt+0.5), t.peakV)
}

// halfDuration is the time between the half-peak crossings about y[at], in
// steps, by straight lines between the points.
func halfDuration(y []float64, at int, peak float64) float64 {
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

// area is the signed area over the event, in volt bins.
func (t edgeTemplate) area() float64 {
	s := 0.0
	for _, v := range t.v[:t.until] {
		s += v
	}
	return s
}

// nearestPeak is the index of the greatest value of buf's sign within reach of
// at, -1 when none.
func nearestPeak(buf []float64, sign, at, reach float64) int {
	best := -1
	s := math.Copysign(1, sign)
	for i := max(int(at-reach), 0); i <= int(at+reach)+1 && i < len(buf); i++ {
		if best < 0 || s*buf[i] > s*buf[best] {
			best = i
		}
	}
	return best
}

// lerp reads y between its points, 0 outside.
func lerp(y []float64, x float64) float64 {
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
