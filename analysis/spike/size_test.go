package spike

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stillglow/analysis/cycle"
	"stillglow/capture"
)

// ringing is a triangle of ripple with a decaying ring at each edge, computed sample
// by sample; the edges jitter.
type ringing struct {
	rateHz, hz, rippleV, ringV, ringHz, q, jitterS, sigmaV float64
}

// volts computes n samples and how many edges they hold.
func (g ringing) volts(n int, r *rand.Rand) (v []float64, edges int) {
	v = make([]float64, n)
	half := 1 / g.hz / 2
	last := float64(n) / g.rateHz
	at := 0.3 * half
	alpha := math.Pi * g.ringHz / g.q
	for k := 0; at < last; k++ {
		sign := 1 - 2*float64(k%2)
		next := (float64(k+1) + 0.3) * half
		next += g.jitterS * r.NormFloat64()
		for i := max(int(math.Ceil(at*g.rateHz)), 0); i < n; i++ {
			d := float64(i)/g.rateHz - at
			if d < next-at {
				v[i] += sign * g.rippleV * (d/(next-at) - 0.5)
			}
			if alpha*d > 12 && d > next-at {
				break
			}
			v[i] += sign * g.ringV * math.Exp(-alpha*d) * math.Sin(2*math.Pi*g.ringHz*d)
		}
		at, edges = next, edges+1
	}
	for i := range v {
		v[i] += g.sigmaV * r.NormFloat64()
	}
	return v, edges
}

// peakV is the ring's first crest, in closed form: at the angle arctan 2Q.
func (g ringing) peakV() float64 {
	angle := math.Atan(2 * g.q)
	return g.ringV * math.Exp(-angle/(2*g.q)) * math.Sin(angle)
}

// Edges that jitter by half a swing of their ring smear its mean over the cycles.
// Each still is one event, and as tall as it is.
func TestJitteredEdgesCountOnce(t *testing.T) {
	g := ringing{rateHz: 100e6, hz: 170e3, rippleV: 4e-3, ringV: 4.2e-3, ringHz: 25e6, q: 5, jitterS: 12e-9, sigmaV: 0.15e-3}
	v, edges := g.volts(50000, rand.New(rand.NewPCG(7, 8)))
	c := cycle.Find(cycle.Input{Volts: v, RateHz: g.rateHz, HighHz: 40e6})
	if c.Track == nil || c.Model == nil {
		t.Fatal("no cycle")
	}
	found := Find(c.Residue, c.Fold, g.rateHz, 0)
	if n := float64(found.Count); math.Abs(n/float64(edges)-1) > 0.03 {
		t.Errorf("%g events at %d edges", n, edges)
	}
	peaks := append([]float64(nil), found.PeaksV...)
	slices.Sort(peaks)
	if p := capture.Quantile(peaks, 0.5); math.Abs(p/g.peakV()-1) > 0.1 {
		t.Errorf("the median peak is %.3g V, want %.3g", p, g.peakV())
	}
}

// Readings of like transients scatter by the noise of a single one; their upper
// quantiles are those of the transients all the same.
func TestQuantilesWithoutTheReadingsNoise(t *testing.T) {
	const n, peakV, own, sigmaV = 400, 5e-3, 0.1e-3, 0.4e-3
	r := rand.New(rand.NewPCG(9, 10))
	var truth, peaks []float64
	for range n {
		p := peakV + own*r.NormFloat64()
		truth, peaks = append(truth, p), append(peaks, p+sigmaV*r.NormFloat64())
	}
	withoutNoise(peaks, sigmaV)
	slices.Sort(peaks)
	slices.Sort(truth)
	if got, want := capture.Quantile(peaks, 0.95), capture.Quantile(truth, 0.95); math.Abs(got-want) > 0.25*1.645*sigmaV {
		t.Errorf("the 95th percentile is %.4g V, want %.4g", got, want)
	}
}
