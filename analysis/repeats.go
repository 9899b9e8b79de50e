package analysis

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"

	"stillglow/analysis/spike"
)

// repeatedShare is the share of the power of what ripple, mains and spikes leave that
// comes back later in the record: cycles that alternate, or a second converter. It is
// the greatest normalised autocorrelation at one and two cycles, sample by sample, and
// at any lag from half a cycle to half the stretch, thinned. Noise correlates over so
// long a lag only where it lies low or is narrow. 0: no cycle is shown.
func repeatedShare(rec *record, sw switching, gate *spike.Gate) float64 {
	if !sw.shown {
		return 0
	}
	period := rec.tr.SampleRateHz / sw.Track.Hz
	group := max(min((gate.Len()-1)/repeatPoints+1, int(period/repeatInCycle)), 1)
	n := min(gate.Len(), repeatPoints*group)
	sums := repeatSums{group: group, lags: [...]lagSums{{lag: int(math.Round(period))}, {lag: int(math.Round(2 * period))}}}
	sums.read(gate.Fill, gate.Weights, (gate.Len()-n)/2, n)
	power := sums.power()
	if !(power > 0) {
		return 0
	}
	most := 0.0
	for _, l := range sums.lags {
		most = max(most, l.covariance(sums.mean()))
	}
	x, w := sums.groups()
	all, weights := products(x), products(w)
	for lag := int(math.Ceil(period / 2 / float64(group))); lag < len(x)/2; lag++ {
		if weights[lag] > repeatSeen*weights[0] {
			most = max(most, all[lag]/weights[lag])
		}
	}
	return min(most/power, 1)
}

// repeatSums are sums over the weighted samples of a stretch, taken in one pass. Samples
// are less the mean of the first block, so that what is left of it costs no digits.
type repeatSums struct {
	offset              float64
	weight, sum, square float64
	lags                [2]lagSums
	group               int       // neighbours that are thinned to one
	groupX, groupW      []float64 // their sums
}

// lagSums are sums over pairs of samples lag apart, the weights' in them.
type lagSums struct {
	lag     int
	weight  float64 // of pairs
	sums    float64 // of both samples
	product float64
}

// read takes n samples from a place on, block by block behind what the longest lag reaches
// back to; fill and weigh write samples and their weights, 0 or 1, from a place on.
func (s *repeatSums) read(fill, weigh func(dst []float64, start int), from, n int) {
	back := s.lags[len(s.lags)-1].lag
	block := (max(repeatBlock, back) + s.group - 1) / s.group * s.group // whole groups
	x, w := make([]float64, back+block), make([]float64, back+block)
	for at := 0; at < n; at += block {
		m := min(block, n-at)
		now, weights := x[back:back+m], w[back:back+m]
		fill(now, from+at)
		weigh(weights, from+at)
		if sum := floats.Sum(weights); at == 0 && sum > 0 {
			s.offset = floats.Dot(weights, now) / sum
		}
		floats.AddConst(-s.offset, now)
		floats.Mul(now, weights)
		s.weight += floats.Sum(weights)
		s.sum += floats.Sum(now)
		s.square += floats.Dot(now, now)
		for k := range s.lags {
			s.lags[k].add(x[back-min(at, back):back+m], w[back-min(at, back):back+m], m)
		}
		for i := s.group; i <= m; i += s.group {
			s.groupX = append(s.groupX, floats.Sum(now[i-s.group:i]))
			s.groupW = append(s.groupW, floats.Sum(weights[i-s.group:i]))
		}
		copy(x, x[m:back+m])
		copy(w, w[m:back+m])
	}
}

// add takes the last fresh samples of x, each with the one that is the lag before it,
// where x has it.
func (l *lagSums) add(x, w []float64, fresh int) {
	later := max(len(x)-fresh, l.lag)
	if later >= len(x) {
		return
	}
	xb, wb := x[later:], w[later:]
	xa, wa := x[later-l.lag:len(x)-l.lag], w[later-l.lag:len(x)-l.lag]
	l.weight += floats.Dot(wa, wb)
	l.sums += floats.Dot(xa, wb) + floats.Dot(wa, xb)
	l.product += floats.Dot(xa, xb)
}

// mean is the weighted mean, less the offset.
func (s *repeatSums) mean() float64 { return s.sum / s.weight }

// power is the mean square about the mean, 0 where too few samples count.
func (s *repeatSums) power() float64 {
	if s.weight < leastSamples {
		return 0
	}
	return s.square/s.weight - s.mean()*s.mean()
}

// covariance is the mean product of samples the lag apart about the mean, 0 where too few
// are.
func (l lagSums) covariance(mean float64) float64 {
	if l.weight < leastSamples {
		return 0
	}
	return (l.product-mean*l.sums)/l.weight + mean*mean
}

// groups are the means over groups of neighbours of the weighted samples about the mean,
// and of the weights.
func (s *repeatSums) groups() (x, w []float64) {
	floats.AddScaled(s.groupX, -s.mean(), s.groupW)
	floats.Scale(1/float64(s.group), s.groupX)
	floats.Scale(1/float64(s.group), s.groupW)
	return s.groupX, s.groupW
}

// products are the sums of products of samples by their distance, up to a common
// factor: the inverse transform of the power spectrum (Wiener and Khinchin), padded so
// that the end does not meet the start.
func products(x []float64) []float64 {
	length := 1
	for length < 2*len(x) {
		length *= 2
	}
	fft := fourier.NewFFT(length)
	padded := make([]float64, length)
	copy(padded, x)
	c := fft.Coefficients(nil, padded)
	for i, v := range c {
		c[i] = v * cmplx.Conj(v)
	}
	return fft.Sequence(padded, c)[:len(x)]
}
