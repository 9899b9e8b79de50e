package target

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/capture"
)

// Brands joins the evaluations of each brand, best first: by passing share,
// then median worst margin, then name. Units of no brand are left out, and of a
// supply in several states the one that Rank left to count.
func Brands(evals []Evaluation) []Brand {
	brands := joined(evals)
	slices.SortStableFunc(brands, byRank)
	tell := make(byShare)
	for i := range brands {
		if i+1 < len(brands) {
			brands[i].MoreToTell = tell.moreToTell(&brands[i], &brands[i+1])
		} else if i > 0 {
			brands[i].MoreToTell = tell.moreToTell(&brands[i], &brands[i-1])
		}
	}
	return brands
}

// joined are the brands of the evaluations, as they come.
func joined(evals []Evaluation) []Brand {
	at := map[string]int{}
	both := bothHalves(evals)
	brands := []Brand{}
	for i := range evals {
		e := &evals[i]
		if e.Unit.Brand == "" || e.Aside {
			continue
		}
		k, known := at[e.Unit.Brand]
		if !known {
			k = len(brands)
			at[e.Unit.Brand] = k
			brands = append(brands, Brand{Name: e.Unit.Brand, OneHalf: !both})
		}
		brands[k].count(e, i, both)
	}
	for i := range brands {
		brands[i].summarise()
	}
	return brands
}

// count adds a unit, evaluation index, to its brand. both: margins of both halves
// count.
func (b *Brand) count(e *Evaluation, index int, both bool) {
	db, ok := e.brandWorst(both)
	b.Units++
	if e.Verdict == Open || e.Verdict == Retake {
		b.Undecided++
		if ok {
			b.UndecidedDB = append(b.UndecidedDB, db)
		}
		return
	}
	b.Judged++
	if e.Verdict == Pass {
		b.Passing++
	}
	if e.halfPass() {
		b.PassingByHalf++
	}
	if ok {
		b.UnitWorstDB = append(b.UnitWorstDB, db)
		b.UnitPass = append(b.UnitPass, e.Verdict == Pass)
		b.UnitKeys = append(b.UnitKeys, e.Unit.Key)
		b.members = append(b.members, index)
	}
}

// summarise fills in what follows from the units counted: the share's interval,
// the margins' median, spread and extent, and the outliers.
func (b *Brand) summarise() {
	b.ShareLow, b.ShareHigh = clopperPearson(b.Passing, b.Judged, shareConfidence)
	if len(b.UnitWorstDB) == 0 {
		return
	}
	b.MedianDB, b.SpreadDB = robust(b.UnitWorstDB)
	b.WorstDB, b.BestDB = slices.Min(b.UnitWorstDB), slices.Max(b.UnitWorstDB)
	for i, v := range b.UnitWorstDB {
		if isOutlier(v, b.MedianDB, b.SpreadDB, len(b.UnitWorstDB)) {
			b.Outliers = append(b.Outliers, b.UnitKeys[i])
			b.outlierAt = append(b.outlierAt, b.members[i])
		}
	}
	slices.Sort(b.Outliers)
}

// byRank orders brands, the best first.
func byRank(a, b Brand) int {
	none := func(b Brand) int {
		if len(b.UnitWorstDB) == 0 {
			return 1
		}
		return 0
	}
	return cmp.Or(cmp.Compare(b.share(), a.share()), cmp.Compare(none(a), none(b)),
		cmp.Compare(b.MedianDB, a.MedianDB), cmp.Compare(a.Name, b.Name))
}

// share is the passing share of the judged units, below any with none judged.
func (b *Brand) share() float64 {
	if b.Judged == 0 {
		return -1
	}
	return float64(b.Passing) / float64(b.Judged)
}

// PassText is how many of the brand's units pass: "4 of 5", or "0 of 1 judged, 2
// undecided", or "3 of 5, 2 by the output alone".
func (b *Brand) PassText() string {
	s := fmt.Sprintf("%d of %d", b.Passing, b.Judged)
	if b.Undecided > 0 {
		s += fmt.Sprintf(" judged, %d undecided", b.Undecided)
	}
	switch {
	case b.PassingByHalf > 0 && b.PassingByHalf == b.Passing:
		s += ", by the output alone"
	case b.PassingByHalf > 0:
		s += fmt.Sprintf(", %d by the output alone", b.PassingByHalf)
	}
	return s
}

// robust gives the median and the normal-consistent median absolute deviation.
func robust(values []float64) (centre, spread float64) {
	centre = median(values)
	dev := make([]float64, len(values))
	for i, v := range values {
		dev[i] = math.Abs(v - centre)
	}
	return centre, madToSD * median(dev)
}

// median is that of values, which stay as they are.
func median(values []float64) float64 { return capture.Median(slices.Clone(values)) }

func isOutlier(v, centre, spread float64, n int) bool {
	return n >= outlierUnits && math.Abs(v-centre) > outlierSDs*math.Max(spread, outlierFloorDB)
}

// markOutliers flags units far from their brand's others.
func markOutliers(evals []Evaluation) {
	for i := range evals {
		evals[i].Outlier = false
	}
	for _, b := range joined(evals) {
		for _, i := range b.outlierAt {
			evals[i].Outlier = true
		}
	}
}

// byShare keeps unitsByShare by the two shares: each takes milliseconds, and of many
// brands most have the same few.
type byShare map[[2]float64]int

// units is unitsByShare.
func (s byShare) units(p, q float64) (n int, ok bool) {
	n, known := s[[2]float64{p, q}]
	if !known {
		if n, ok = unitsByShare(p, q); !ok {
			n = tellMost + 1
		}
		s[[2]float64{p, q}] = n
	}
	return min(n, tellMost), n <= tellMost
}

// moreToTell says how many more units to test until two brands can be told
// apart, if they go on as they have so far.
func (s byShare) moreToTell(a, b *Brand) string {
	var ways []string
	if n, ok := s.units(shrunk(a), shrunk(b)); ok {
		ways = append(ways, moreOf(a, b, n, fisherP(a.Passing, a.Judged, b.Passing, b.Judged))+", by how many pass")
	}
	if delta, sd, p, ok := marginTest(a.UnitWorstDB, b.UnitWorstDB); ok {
		if n, ok := unitsByMargin(delta, sd); ok {
			ways = append(ways, moreOf(a, b, n, p)+", by their worst margins")
		}
	}
	if len(ways) == 0 {
		return fmt.Sprintf("to tell %s from %s: more than %d of each", a.Name, b.Name, tellMost)
	}
	return fmt.Sprintf("to tell %s from %s: %s", a.Name, b.Name, strings.Join(ways, "; or "))
}

// TellNote says what the numbers of MoreToTell promise, and by which tests.
func TellNote() string {
	return fmt.Sprintf("With that many units, and if the rest are like those tested so far, a true difference shows %.0f times in 100, and a difference that is only chance 5 times in 100 (how many pass: Fisher's exact test; worst margins: two-sample t test).", tellPower*100)
}

// shrunk is the share with one passing and one failing unit added, so that
// three out of three is not taken for always (Laplace's rule of succession).
func shrunk(b *Brand) float64 { return float64(b.Passing+1) / float64(b.Judged+2) }

// moreOf says how many more units of two brands make n judged ones of each. p is
// the test's on the units at hand: while they don't tell the brands apart, there
// are not enough.
func moreOf(a, b *Brand, n int, p float64) string {
	moreA, moreB := max(0, n-a.Judged), max(0, n-b.Judged)
	switch {
	case moreA == 0 && moreB == 0 && p > tellSignificance:
		return fmt.Sprintf("the units tested don't show a difference yet (p = %.2g): test more of both", p)
	case moreA == 0 && moreB == 0:
		return "enough units already"
	case moreA == moreB:
		return fmt.Sprintf("%d more of each", moreA)
	case moreA == 0:
		return fmt.Sprintf("%d more of %s", moreB, b.Name)
	case moreB == 0:
		return fmt.Sprintf("%d more of %s", moreA, a.Name)
	}
	return fmt.Sprintf("%d more of %s and %d more of %s", moreA, a.Name, moreB, b.Name)
}
