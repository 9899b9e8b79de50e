package filter

import (
	"math"

	"stillglow/analysis/target"
)

// noPeaks are the criteria that the estimate tells as well as the samples do.
func noPeaks(id target.Criterion) bool { return !target.RestsOnPeaks(id) }

// all are all criteria.
func all(target.Criterion) bool { return true }

// shortfall is by how many dB the worst criterion misses what is asked of it,
// 0 or less when all is met. Broken criteria must gain the reserve; kept ones
// must not fall below it unless they stood there before.
func shortfall(before, after target.Evaluation, reserveDB float64) float64 {
	return shortfallOf(all, before, after, reserveDB)
}

// shortfallOf is shortfall of the criteria that count.
func shortfallOf(counts func(target.Criterion) bool, before, after target.Evaluation, reserveDB float64) float64 {
	worst := math.Inf(-1)
	for i, b := range before.Margins {
		if counts(b.Limit.Criterion) {
			worst = math.Max(worst, shortOf(b, after.Margins[i], reserveDB))
		}
	}
	return worst
}

// shortOf is by how many dB a criterion misses what is asked of it behind a filter; -Inf
// where nothing is.
func shortOf(before, after target.Margin, reserveDB float64) float64 {
	id := before.Limit.Criterion
	switch {
	case !before.Covered || id == target.HeaterDC || id.CommonMode():
		return math.Inf(-1)
	case after.Covered:
		return asked(before, reserveDB) - after.DB
	case !target.Foretold(id) && before.DB >= 0:
		return math.Inf(-1) // stays open, as what was not measured ahead does
	case !target.Foretold(id):
		return untriedDB
	}
	return math.Inf(1) // a lower bound that fell below its limit proves nothing
}

// asked is the margin in dB that a criterion must have behind a filter.
func asked(before target.Margin, reserveDB float64) float64 {
	if before.DB >= 0 {
		return math.Min(reserveDB, before.DB-0.1)
	}
	return reserveDB
}
