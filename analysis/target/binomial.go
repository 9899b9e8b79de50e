package target

import (
	"math"

	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// clopperPearson is the exact two-sided confidence interval of a binomial
// share, k of n, from beta quantiles (Clopper and Pearson 1934). confidence is
// between 0 and 1, e.g. 0.95. With n = 0 nothing is known: 0 to 1.
func clopperPearson(k, n int, confidence float64) (low, high float64) {
	if k < 0 || k > n || !(confidence > 0 && confidence < 1) {
		panic("target: clopperPearson: want 0 <= k <= n and confidence in (0, 1)")
	}
	tail := (1 - confidence) / 2
	low, high = 0, 1
	if k > 0 {
		low = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
	}
	if k < n {
		high = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
	}
	return low, high
}

// fisherPower is the chance that Fisher's exact test, two-sided at
// tellSignificance, tells two brands of n units each apart when their true
// passing shares are p and q. Exact, by summing over all outcomes.
func fisherPower(n int, p, q float64) float64 {
	pmfP, pmfQ := make([]float64, n+1), make([]float64, n+1)
	for k := 0; k <= n; k++ {
		pmfP[k], pmfQ[k] = binomial(k, n, p), binomial(k, n, q)
	}
	choose := make([]float64, n+1)
	for k := range choose {
		choose[k] = combin.LogGeneralizedBinomial(float64(n), float64(k))
	}
	var power float64
	for s := 0; s <= 2*n; s++ { // passing units of both brands together
		lo, hi := max(0, s-n), min(n, s)
		total := combin.LogGeneralizedBinomial(float64(2*n), float64(s))
		prob := make([]float64, hi-lo+1)
		for a := lo; a <= hi; a++ {
			prob[a-lo] = math.Exp(choose[a] + choose[s-a] - total)
		}
		for a := lo; a <= hi; a++ {
			var tail float64
			for _, x := range prob {
				if x <= prob[a-lo]*(1+rounding) {
					tail += x
				}
			}
			if tail <= tellSignificance {
				power += pmfP[a] * pmfQ[s-a]
			}
		}
	}
	return power
}

// binomial is the chance of k out of n; distuv's has no number for a share of
// exactly 0 or 1.
func binomial(k, n int, p float64) float64 {
	switch {
	case p <= 0 && k == 0, p >= 1 && k == n:
		return 1
	case p <= 0, p >= 1:
		return 0
	}
	return distuv.Binomial{N: float64(n), P: p}.Prob(float64(k))
}

// unitsByShare is how many units of each brand it takes to tell passing shares
// p and q apart; ok is false beyond tellMost.
func unitsByShare(p, q float64) (n int, ok bool) {
	for n = 2; n <= tellMost; n++ {
		if fisherPower(n, p, q) >= tellPower {
			return n, true
		}
	}
	return tellMost, false
}

// fisherP is the two-sided p of Fisher's exact test on a of m against b of n: the
// chance of all tables with the same totals that are no likelier. 1 with m or n of 0.
func fisherP(a, m, b, n int) float64 {
	if m == 0 || n == 0 {
		return 1
	}
	s := a + b
	logP := func(k int) float64 {
		return combin.LogGeneralizedBinomial(float64(m), float64(k)) + combin.LogGeneralizedBinomial(float64(n), float64(s-k)) -
			combin.LogGeneralizedBinomial(float64(m+n), float64(s))
	}
	seen, p := math.Exp(logP(a)), 0.0
	for k := max(0, s-n); k <= min(m, s); k++ {
		if x := math.Exp(logP(k)); x <= seen*(1+rounding) {
			p += x
		}
	}
	return math.Min(1, p)
}
