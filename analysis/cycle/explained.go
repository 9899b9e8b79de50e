package cycle

import (
	"math"
	"slices"

	"stillglow/analysis/internal/spare"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// ExplainLowHz and ExplainHighHz bound the band in which the mean cycle is held
// against the record: there the ripple of a switching supply is, below it the
// mains and above it the edges' rings.
const (
	ExplainLowHz  = 20e3
	ExplainHighHz = 1e6
)

// heldSpectra are the power spectra of the record and of what the mean cycle leaves
// of it, V² a bin, means over stretches.
type heldSpectra struct {
	binHz       float64
	stretches   int
	whole, rest []float64
}

// explained is the share of the power from ExplainLowHz to ExplainHighHz, noise left
// out, that the mean cycle accounts for where it stands in the record: 1 where all
// cycles are alike. The noise is what the remainder shows above that band, where
// cycles that differ hold little, and taken to be white. It is 1 where the record
// can't show it.
func (s heldSpectra) explained(rateHz float64) float64 {
	if len(s.whole) == 0 {
		return 1
	}
	top := min(ExplainHighHz, explainTop*rateHz)
	whole, rest := s.between(s.whole, ExplainLowHz, top), s.between(s.rest, ExplainLowHz, top)
	noise := s.floorBetween(min(ExplainHighHz, noiseFrom*rateHz), min(2*ExplainHighHz, explainTop*rateHz)) * (top - ExplainLowHz) / s.binHz
	if !(whole > rest) {
		return 0
	}
	return (whole - rest) / (whole - min(noise, rest))
}

// holdAgainst takes the spectra of stretches spread over the record, thinned to
// about searchRateHz by means over neighbours.
func (c *Finding) holdAgainst(in Input) heldSpectra {
	group := max(int(in.RateHz/searchRateHz), 1)
	n := len(in.Volts) / group
	length := min(n, explainPoints) &^ 1
	if length < leastSpectrum {
		return heldSpectra{}
	}
	s := heldSpectra{binHz: in.RateHz / float64(group*length), stretches: min(n/length, explainStretches)}
	s.whole, s.rest = make([]float64, length/2+1), make([]float64, length/2+1)
	whole, rest := make([]float64, length), make([]float64, length)
	power := taperedPowers.Take(length, newTaperedPower)
	defer taperedPowers.Give(length, power)
	scale := 1 / float64(group) / float64(group) / float64(s.stretches)
	for k := range s.stretches {
		from := 0
		if s.stretches > 1 {
			from = k * (n - length) / (s.stretches - 1) * group
		}
		c.sumsLeft(in.Volts, from, group, whole, rest)
		power.add(whole, s.whole, scale)
		power.add(rest, s.rest, scale)
	}
	return s
}

// sumsLeft fills whole with the sums over groups of neighbours from a sample on, and
// rest with those of what the mean cycle leaves of them.
func (c *Finding) sumsLeft(volts []float64, from, group int, whole, rest []float64) {
	clear(whole)
	clear(rest)
	mean := c.Fold.Mean
	Walk(from, from+len(whole)*group, c.Track, c.Residue.Slow, func(st Stretch) {
		ph, step := NewPhase(st.Phase), NewPhase(st.PerSample)
		for i := st.From; i < st.To; {
			g := (i - from) / group
			end := min(from+(g+1)*group, st.To)
			sum := sumOf(volts[i:end])
			taken := 0.0
			if st.On {
				for ; i < end; i++ {
					taken += mean[ph.Bin(len(mean))]
					ph += step
				}
			}
			whole[g] += sum
			rest[g] += sum - taken
			i = end
		}
	})
}

// taperedPower adds up power spectra of stretches of one length, for which it keeps
// what they share.
type taperedPower struct {
	fft   *spectrum.Transform
	taper []float64
	coef  []complex128
}

// taperedPowers are those of two records at once, of which all but short ones have one
// length.
var taperedPowers = spare.List[*taperedPower]{Most: 2}

func newTaperedPower(n int) *taperedPower {
	return &taperedPower{fft: spectrum.NewTransform(n), taper: hann(n), coef: make([]complex128, n/2+1)}
}

// hann is Hann's taper over n samples, the half sample at either end counted.
func hann(n int) []float64 {
	w := make([]float64, n)
	for i := range (n + 1) / 2 {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
		w[n-1-i] = w[i]
	}
	return w
}

// add adds the power spectrum of x, which is spent, to sum: a sine of rms a adds a² times
// scale over its bins.
func (p *taperedPower) add(x, sum []float64, scale float64) {
	const hannPower = 0.375 // mean square of the taper
	n := float64(len(x))
	ofBin := 2 / (n * n) / hannPower * scale
	slope, base := trend(x)
	for i, w := range p.taper {
		x[i] = (x[i] - base - slope*float64(i)) * w
	}
	p.fft.Coefficients(p.coef, x)
	for k, v := range p.coef {
		sum[k] += (real(v)*real(v) + imag(v)*imag(v)) * ofBin
	}
}

// within are the bins of a spectrum between two frequencies.
func (s heldSpectra) within(p []float64, lowHz, highHz float64) []float64 {
	a := min(max(int(math.Ceil(lowHz/s.binHz)), 1), len(p))
	return p[a:max(min(int(highHz/s.binHz)+1, len(p)), a)]
}

// between is the power of a spectrum between two frequencies, V².
func (s heldSpectra) between(p []float64, lowHz, highHz float64) float64 {
	sum := 0.0
	for _, v := range s.within(p, lowHz, highHz) {
		sum += v
	}
	return sum
}

// floorBetween is the noise of the remainder between two frequencies, V² a bin: the
// median, which passes over lines, taken to the mean by the median of a
// chi-squared variable (Wilson and Hilferty 1931, from memory).
func (s heldSpectra) floorBetween(lowHz, highHz float64) float64 {
	bins := slices.Clone(s.within(s.rest, lowHz, highHz))
	if len(bins) == 0 {
		return 0
	}
	k := 9 * float64(s.stretches)
	return capture.Ranked(bins, len(bins)/2) / math.Pow(1-1/k, 3)
}
