package heater

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Full lists and checksums of IEC 60063. Source: check values of this project,
// section 3: E6 and E12 read in public tables of the standard's values, E24 from
// memory, E48 and E96 computed as the rounded geometric series, which a public
// note on the series confirms to be exact.
func TestESeriesLists(t *testing.T) {
	lists := map[string][]float64{
		"E6":  {10, 15, 22, 33, 47, 68},
		"E12": {10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82},
		"E24": {10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91},
		"E48": {100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169, 178, 187, 196, 205, 215, 226, 237, 249, 261, 274, 287, 301,
			316, 332, 348, 365, 383, 402, 422, 442, 464, 487, 511, 536, 562, 590, 619, 649, 681, 715, 750, 787, 825, 866, 909, 953},
		"E96": {100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143, 147, 150, 154, 158, 162, 165, 169, 174,
			178, 182, 187, 191, 196, 200, 205, 210, 215, 221, 226, 232, 237, 243, 249, 255, 261, 267, 274, 280, 287, 294, 301, 309,
			316, 324, 332, 340, 348, 357, 365, 374, 383, 392, 402, 412, 422, 432, 442, 453, 464, 475, 487, 499, 511, 523, 536, 549,
			562, 576, 590, 604, 619, 634, 649, 665, 681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976},
	}
	sums := map[string]float64{"E6": 195, "E12": 429, "E24": 901, "E48": 18313, "E96": 37070}
	for name, want := range lists {
		got, err := ESeries(name)
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != len(want) {
			t.Fatalf("%s has %d values, want %d", name, len(got), len(want))
		}
		sum := 0.0
		for i := range want {
			sum += got[i]
			if got[i] != want[i] {
				t.Errorf("%s value %d is %g, want %g", name, i, got[i], want[i])
			}
		}
		if sum != sums[name] {
			t.Errorf("%s sums to %g, want %g", name, sum, sums[name])
		}
	}
	if _, err := ESeries("E25"); err == nil {
		t.Error("E25 was accepted")
	}
}

func TestNeighbours(t *testing.T) {
	for _, c := range []struct {
		series            string
		ohm, below, above float64
	}{
		{"E24", 0.7 / 0.3, 2.2, 2.4},
		{"E24", 0.7 / 0.6, 1.1, 1.2},
		{"E12", 19, 18, 22},
		{"E6", 9.5, 6.8, 10},
		{"E96", 19, 18.7, 19.1},
		{"E24", 2.2, 2.2, 2.2},
		{"E24", 0.05, 0, 0.1},
		{"E24", 9.5e4, 9.1e4, 1e5},
		{"E24", 2e5, 1e5, 0},
	} {
		below, above, err := Neighbours(c.series, c.ohm)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.series+" below", below, c.below, 1e-9*c.below)
		near(t, c.series+" above", above, c.above, 1e-9*c.above)
	}
}

// For any resistance the neighbours enclose it with nothing between, and no
// pair misses by more than the better neighbour does.
func TestNeighboursAndPairsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(60063, 1))
	for _, series := range []string{"E6", "E12", "E24", "E48", "E96"} {
		all, err := standardValues(series)
		if err != nil {
			t.Fatal(err)
		}
		for range 60 {
			ohm := math.Pow(10, -0.9+4*rng.Float64())
			below, above, err := Neighbours(series, ohm)
			if err != nil {
				t.Fatal(err)
			}
			if below > ohm || above < ohm {
				t.Fatalf("%s: %g is not between %g and %g", series, ohm, below, above)
			}
			for _, v := range all {
				if v > below && v < above {
					t.Fatalf("%s: %g stands between %g and %g", series, v, below, above)
				}
			}
			pairs, err := BestPairs(series, ohm)
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range pairs {
				made := p.A + p.B
				if p.Parallel {
					made = 1 / (1/p.A + 1/p.B)
				}
				near(t, "what a pair makes", p.Ohm, made, 1e-9*made)
				// No pair of the same kind is both nearer and out of the 0.5 % in
				// which the heat's evenness decides.
				miss := math.Abs(p.Ohm-ohm) / ohm
				if miss <= goodPair {
					continue
				}
				for i, a := range all {
					for _, b := range all[:i+1] {
						other := a + b
						if p.Parallel {
							other = a * b / (a + b)
						}
						if a <= 100*b && math.Abs(other-ohm)/ohm < miss-1e-9 {
							t.Fatalf("%s %g Ω: %g with %g is nearer than %+v", series, ohm, a, b, p)
						}
					}
				}
			}
		}
	}
}
