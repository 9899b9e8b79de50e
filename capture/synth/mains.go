package synth

import (
	"math"
	"sync"
)

const (
	mainsHarmonics = 24   // of twice the mains frequency
	mainsTable     = 8192 // points of the table over one period
)

// mainsCycle is one period of the rectified-mains ripple: a sine-shaped charge
// and a straight discharge, limited to its first harmonics by an exact Fourier
// sum with a smooth taper, scaled to 1 V peak-to-peak. lineAmp is the amplitude
// of the fundamental (twice the mains), peak. The table is shared: nobody writes to it.
func mainsCycle(charge float64) (table []float64, lineAmp float64) {
	if kept, ok := mainsCycles.Load(charge); ok {
		c := kept.(keptCycle)
		return c.table, c.lineAmp
	}
	table, lineAmp = newMainsCycle(charge)
	mainsCycles.Store(charge, keptCycle{table, lineAmp})
	return table, lineAmp
}

// mainsCycles keeps every keptCycle by its charge: supplies differ little in it, and
// its sum costs as much as the rest of a short record.
var mainsCycles sync.Map

type keptCycle struct {
	table   []float64
	lineAmp float64
}

func newMainsCycle(charge float64) (table []float64, lineAmp float64) {
	const n = 4096
	shape := func(x float64) float64 {
		if x < charge {
			return 0.5 - 0.5*math.Cos(math.Pi*x/charge)
		}
		return 1 - (x-charge)/(1-charge)
	}
	table = make([]float64, mainsTable)
	for h := 1; h <= mainsHarmonics; h++ {
		var re, im float64
		for i := range n {
			x := (float64(i) + 0.5) / n
			re += shape(x) * math.Cos(2*math.Pi*float64(h)*x)
			im += shape(x) * math.Sin(2*math.Pi*float64(h)*x)
		}
		taper := math.Exp(-math.Pow(float64(h-1)/12, 2))
		re, im = 2*re/n*taper, 2*im/n*taper
		if h == 1 {
			lineAmp = math.Hypot(re, im)
		}
		for i := range table {
			w := 2 * math.Pi * float64(h*i%mainsTable) / mainsTable
			table[i] += re*math.Cos(w) + im*math.Sin(w)
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range table {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	for i := range table {
		table[i] /= hi - lo
	}
	return table, lineAmp / (hi - lo)
}

// periodic reads a one-period table at phase x (in periods), cubic.
func periodic(table []float64, x float64) float64 {
	n := len(table)
	x = (x - math.Floor(x)) * float64(n)
	i := int(x)
	f := x - float64(i)
	p0, p1, p2, p3 := table[(i+n-1)%n], table[i%n], table[(i+1)%n], table[(i+2)%n]
	return p1 + 0.5*f*(p2-p0+f*(2*p0-5*p1+4*p2-p3+f*(3*(p1-p2)+p3-p0)))
}
