package target

import (
	"math"

	"gonum.org/v1/gonum/integrate"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// marginTest compares two brands' margins in dB by Student's two-sample t test:
// the difference of the means, the pooled sample deviation (no less than
// outlierFloorDB) and the two-sided p. ok is false with fewer than two of either.
func marginTest(a, b []float64) (deltaDB, sdDB, p float64, ok bool) {
	if len(a) < 2 || len(b) < 2 {
		return 0, 0, 1, false
	}
	na, nb := float64(len(a)), float64(len(b))
	meanA, varA := stat.MeanVariance(a, nil)
	meanB, varB := stat.MeanVariance(b, nil)
	deltaDB = math.Abs(meanA - meanB)
	sdDB = math.Max(outlierFloorDB, math.Sqrt(((na-1)*varA+(nb-1)*varB)/(na+nb-2)))
	t := deltaDB / (sdDB * math.Sqrt(1/na+1/nb))
	p = 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: na + nb - 2}.Survival(t)
	return deltaDB, sdDB, p, true
}

// unitsByMargin is how many units of each brand it takes to tell two mean margins
// apart that differ by deltaDB with the deviation sdDB within a brand, by the
// exact power of the two-sample t test; ok is false beyond tellMost.
func unitsByMargin(deltaDB, sdDB float64) (n int, ok bool) {
	if !(deltaDB > 0) {
		return tellMost, false
	}
	for n = 2; n <= tellMost; n++ {
		if tPower(n, deltaDB/sdDB) >= tellPower {
			return n, true
		}
	}
	return tellMost, false
}

// tPower is the power of the two-sided two-sample t test at tellSignificance with
// n units of each brand, for means d standard deviations apart: the noncentral t
// distribution, integrated over the deviation found, u times the true one, where
// nu·u² is chi-squared with nu degrees of freedom.
func tPower(n int, d float64) float64 {
	nu := float64(2*n - 2)
	crit := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(1 - tellSignificance/2)
	shift := d * math.Sqrt(float64(n)/2)
	chi := distuv.ChiSquared{K: nu}
	const steps = 800
	most := 1 + 8/math.Sqrt(nu)
	us, fs := make([]float64, steps+1), make([]float64, steps+1)
	for i := range us {
		u := most * float64(i) / steps
		us[i] = u
		if u > 0 {
			reject := distuv.UnitNormal.CDF(shift-crit*u) + distuv.UnitNormal.CDF(-shift-crit*u)
			fs[i] = 2 * nu * u * chi.Prob(nu*u*u) * reject
		}
	}
	return integrate.Simpsons(us, fs)
}
