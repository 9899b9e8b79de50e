package target

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
)

// made is an evaluation whose worst margin is db.
func made(key, brand string, db, u float64) Evaluation {
	t := Target{Name: "t", Limits: []Limit{limit(RipplePP, 20e-3, "test")}}
	m := fast(key + ".csv")
	m.PP20MHzV = figure.Figure{Value: 20e-3 * math.Pow(10, -db/20), Known: true, U: u * 20e-3}
	return Evaluate(Unit{Key: key, Brand: brand, HeaterA: 0.6, Captures: []*analysis.Measurement{m}}, t)
}

func TestRankIsStableAndShared(t *testing.T) {
	evals := []Evaluation{made("c", "x", -3, 0), made("a", "x", 6, 0), made("b", "x", 6, 0), made("d", "x", 2, 0), made("e", "x", -20, 0)}
	want := "a1 b1 d3 c4 e5 "
	for seed := uint64(0); seed < 20; seed++ {
		rand.New(rand.NewPCG(seed, 1)).Shuffle(len(evals), func(i, j int) { evals[i], evals[j] = evals[j], evals[i] })
		got := ""
		for _, e := range Rank(evals) {
			got += fmt.Sprintf("%s%d ", e.Unit.Key, e.Rank)
		}
		if got != want {
			t.Fatalf("seed %d: %s, want %s", seed, got, want)
		}
	}
	ranked := Rank([]Evaluation{made("a", "x", 6, 0.05), made("b", "x", 5.5, 0.05), made("c", "x", 1, 0.01)})
	if ranked[0].Rank != 1 || ranked[1].Rank != 1 || ranked[2].Rank != 3 {
		t.Errorf("overlapping intervals: %d %d %d", ranked[0].Rank, ranked[1].Rank, ranked[2].Rank)
	}
	if got := ranked[2].RankText(); !strings.HasPrefix(got, "ranked 3rd: 1.0 dB under every measured limit") {
		t.Error(got)
	}
	for n, want := range map[int]string{1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 11: "11th", 12: "12th", 13: "13th", 21: "21st", 112: "112th"} {
		if spectrum.Ordinal(n) != want {
			t.Errorf("%d: %s", n, spectrum.Ordinal(n))
		}
	}
}

func TestBrands(t *testing.T) {
	var evals []Evaluation
	for i, db := range []float64{5, 5.2, 4.9, 5.1, -4} {
		evals = append(evals, made(fmt.Sprintf("G%d", i), "Good", db, 0))
	}
	for i, db := range []float64{-6, -7, -5} {
		evals = append(evals, made(fmt.Sprintf("B%d", i), "Bad", db, 0))
	}
	ranked := Rank(evals)
	brands := Brands(ranked)
	g, b := brands[0], brands[1]
	if g.Name != "Good" || g.Units != 5 || g.Passing != 4 || math.Abs(g.MedianDB-5) > 1e-9 || math.Abs(g.WorstDB+4) > 1e-9 || math.Abs(g.BestDB-5.2) > 1e-9 {
		t.Errorf("%+v", g)
	}
	// Beta quantiles of scipy 1.10.1: 4 of 5 gives 0.28358 to 0.99495.
	if math.Abs(g.ShareLow-0.28358) > 1e-5 || math.Abs(g.ShareHigh-0.99495) > 1e-5 {
		t.Errorf("%g to %g", g.ShareLow, g.ShareHigh)
	}
	if math.Abs(g.SpreadDB-1.4826*0.1) > 1e-9 || len(g.Outliers) != 1 || g.Outliers[0] != "G4" {
		t.Errorf("spread %g, outliers %v", g.SpreadDB, g.Outliers)
	}
	if b.Name != "Bad" || b.Passing != 0 || len(b.Outliers) != 0 {
		t.Errorf("%+v", b)
	}
	for _, e := range ranked {
		if e.Outlier != (e.Unit.Key == "G4") {
			t.Errorf("%s outlier %v", e.Unit.Key, e.Outlier)
		}
	}
	if !strings.Contains(g.MoreToTell, "Bad") || !strings.Contains(g.MoreToTell, "more of ") || !strings.Contains(TellNote(), "80 times in 100") {
		t.Error(g.MoreToTell)
	}
}

// Fisher's test cannot reach 5 % with three units each (1 in 20 tables, two
// sides: 0.1), and does so with four (2 in 70): by counting.
func TestFewUnitsCannotTellBrandsApart(t *testing.T) {
	if p := fisherPower(3, 1, 0); p != 0 {
		t.Errorf("three each: power %g", p)
	}
	if p := fisherPower(4, 1, 0); !(math.Abs(p-1) < 1e-12) {
		t.Errorf("four each: power %g", p)
	}
	if n, ok := unitsByShare(1, 0); n != 4 || !ok {
		t.Errorf("%d %v", n, ok)
	}
	// More alike shares never take fewer units.
	last := 0
	for _, q := range []float64{0.05, 0.1, 0.2, 0.3, 0.4} {
		n, _ := unitsByShare(0.95, q)
		if n < last {
			t.Errorf("share %g: %d units after %d", q, n, last)
		}
		last = n
	}
	// One standard deviation apart: the t test wants 17 of each (standard power
	// tables for d = 1, 80 %, 5 % two-sided; from memory).
	if n, ok := unitsByMargin(2, 2); n != 17 || !ok {
		t.Errorf("%d units for d = 1", n)
	}
}

// Outliers are marked by unit, not by a name that two units may share.
func TestOutlierOfTwoUnitsThatReadAlike(t *testing.T) {
	evals := make([]Evaluation, 6)
	for i := range evals {
		evals[i] = Evaluation{Unit: Unit{Index: i, Brand: "Alder", Key: "Alder T 70 B1"}, Verdict: Fail, Worst: 0, WorstDB: -1,
			Margins: []Margin{{LowDB: -1, HighDB: -1}}}
	}
	evals[3].WorstDB = -40
	for _, e := range Rank(evals) {
		if e.Outlier != (e.Unit.Index == 3) {
			t.Errorf("unit %d: outlier %v", e.Unit.Index, e.Outlier)
		}
	}
}

// Open and retake units are undecided: they weigh neither for nor against a
// brand, and their margins stay outside median and spread.
func TestUndecidedUnitsAreNotJudged(t *testing.T) {
	evals := []Evaluation{made("A1", "Alder", -3, 0), made("A2", "Alder", 9, 0), made("A3", "Alder", -30, 0), made("B1", "Birch", 2, 0)}
	evals[1].Verdict, evals[2].Verdict, evals[3].Verdict = Open, Retake, Open
	brands := Brands(evals)
	a, b := brands[0], brands[1]
	if a.Units != 3 || a.Judged != 1 || a.Undecided != 2 || a.Passing != 0 || a.MedianDB != -3 || len(a.UnitWorstDB) != 1 || len(a.UndecidedDB) != 2 {
		t.Errorf("%+v", a)
	}
	if got := a.PassText(); got != "0 of 1 judged, 2 undecided" {
		t.Error(got)
	}
	if b.Name != "Birch" || b.Judged != 0 || b.ShareLow != 0 || b.ShareHigh != 1 || len(b.UnitWorstDB) != 0 {
		t.Errorf("%+v", b)
	}
}

// Power of the t test against scipy 1.10.1's noncentral t, and p of Fisher's test
// against its fisher_exact.
func TestExactPower(t *testing.T) {
	for _, c := range []struct {
		n    int
		d    float64
		want float64
	}{{2, 4, 0.56451}, {3, 2, 0.46264}, {5, 1.5, 0.54939}, {9, 1.5, 0.84761}, {17, 1, 0.80704}, {40, 0.5, 0.59815}} {
		if got := tPower(c.n, c.d); math.Abs(got-c.want) > 2e-4 {
			t.Errorf("n = %d, d = %g: %.5f, want %.5f", c.n, c.d, got, c.want)
		}
	}
	for _, c := range []struct {
		a, m, b, n int
		want       float64
	}{{3, 3, 0, 3, 0.100000}, {4, 4, 0, 4, 0.028571}, {5, 6, 2, 7, 0.102564}, {1, 9, 3, 5, 0.094905}} {
		if got := fisherP(c.a, c.m, c.b, c.n); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%d of %d, %d of %d: %.6f, want %.6f", c.a, c.m, c.b, c.n, got, c.want)
		}
	}
}

// Nobody is told that there are enough units while those at hand don't tell the
// brands apart.
func TestEnoughUnitsOnlyWhereTheyTell(t *testing.T) {
	a, b := &Brand{Name: "A", Judged: 9}, &Brand{Name: "B", Judged: 9}
	if got := moreOf(a, b, 8, 0.27); strings.Contains(got, "enough") || !strings.Contains(got, "0.27") {
		t.Error(got)
	}
	if got := moreOf(a, b, 8, 0.01); got != "enough units already" {
		t.Error(got)
	}
}

// The order in words is the order in code.
func TestRankRuleNamesTheVerdictsInOrder(t *testing.T) {
	at := -1
	for i, v := range []Verdict{Pass, NearMiss, Fail, Open, Retake} {
		if verdictOrder(v) != i {
			t.Errorf("%s stands at %d, want %d", v, verdictOrder(v), i)
		}
		k := strings.Index(RankRule, string(v))
		if k <= at {
			t.Errorf("RankRule names %q at %d, after what stands at %d", v, k, at)
		}
		at = k
	}
}

// The margin of the supply volts as MarginRule tells it, in numbers by hand: half
// the band of 6.6 to 7.6 V is 0.5 V.
func TestMarginRuleOfTheSupplyVolts(t *testing.T) {
	for _, c := range []struct{ v, db float64 }{
		{7.6, 0}, {6.6, 0}, {7.35, 6.0206}, {7.15, 20}, {8.1, -6.0206}, {7.1, MarginCapDB},
	} {
		if got := bandDB(dcBand(6.6, 7.6, ""), c.v); math.Abs(got-c.db) > 1e-3 {
			t.Errorf("%g V: %.4f dB, want %.4f", c.v, got, c.db)
		}
	}
}
