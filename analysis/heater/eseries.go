package heater

import (
	"math"
	"strings"
)

// The preferred values of IEC 60063 for one decade. E6 to E24 are the
// standard's own list (27 to 47 and 82 are not the rounded geometric series);
// E48 and E96 are the rounded series exactly.
var (
	e6  = []float64{10, 15, 22, 33, 47, 68}
	e12 = []float64{10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82}
	e24 = []float64{10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91}
)

// Resistors are looked for between these, in ohms: under 0.1 Ω the leads and
// sockets decide, and over 100 kΩ nothing heats.
const (
	smallestOhm = 0.1
	largestOhm  = 100e3
)

// ESeries gives one decade of the named IEC 60063 series ("E6", "E12", "E24",
// "E48", "E96") as the standard prints it: two digits up to E24, three above.
func ESeries(name string) ([]float64, error) {
	switch strings.ToUpper(strings.TrimSpace(name)) {
	case "E6":
		return append([]float64(nil), e6...), nil
	case "E12":
		return append([]float64(nil), e12...), nil
	case "E24":
		return append([]float64(nil), e24...), nil
	case "E48":
		return geometric(48), nil
	case "E96":
		return geometric(96), nil
	}
	return nil, &InputError{What: "resistor series", Found: quoted(name), Expected: "E6, E12, E24, E48 or E96 (IEC 60063)"}
}

func geometric(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = math.Round(100 * math.Pow(10, float64(i)/float64(n)))
	}
	return v
}

// standardValues gives all values of a series from smallestOhm to largestOhm,
// rising.
func standardValues(series string) ([]float64, error) {
	decade, err := ESeries(series)
	if err != nil {
		return nil, err
	}
	digits := 10.0
	if decade[0] == seriesDigits {
		digits = 100
	}
	var all []float64
	for scale := smallestOhm; scale < largestOhm*lastOfDecades; scale *= 10 {
		for _, v := range decade {
			all = append(all, roundSig(v/digits*scale, 4))
		}
	}
	return append(all, largestOhm), nil
}

// Neighbours gives the standard values just under and just over ohm. A value
// that stands in the series itself is returned twice. below is 0 when ohm is
// under 0.1 Ω, above is 0 when it is over 100 kΩ.
func Neighbours(series string, ohm float64) (below, above float64, err error) {
	all, err := standardValues(series)
	if err != nil {
		return 0, 0, err
	}
	for _, v := range all {
		if math.Abs(v-ohm) <= rounding*ohm {
			return v, v, nil
		}
		if v < ohm {
			below = v
		} else {
			return below, v, nil
		}
	}
	return below, 0, nil
}

// Pair is two standard values that together make a third.
type Pair struct {
	A, B     float64 // ohms, A >= B
	Parallel bool    // side by side; else in series
	Ohm      float64 // what they make
}

// goodPair is how near a pair counts as a hit: among hits the one that shares
// the heat most evenly wins, since every resistor's own tolerance is larger.
const goodPair = 0.005

// BestPairs gives the pair in series and the pair in parallel that suit ohm
// best: of those within 0.5 % the one that shares the heat most evenly, else
// the nearest. The slice is short or empty when ohm can't be made within 10 %.
func BestPairs(series string, ohm float64) ([]Pair, error) {
	all, err := standardValues(series)
	if err != nil {
		return nil, err
	}
	var ser, par Pair
	better := func(p, q Pair) bool {
		dp, dq := math.Abs(p.Ohm-ohm)/ohm, math.Abs(q.Ohm-ohm)/ohm
		switch {
		case q.A == 0:
			return true
		case dp > goodPair || dq > goodPair:
			return dp < dq
		case math.Abs(p.A/p.B-q.A/q.B) > rounding:
			return p.A/p.B < q.A/q.B
		}
		return dp < dq
	}
	for i, a := range all {
		for _, b := range all[:i+1] {
			// One of the two must matter: a hundred to one is no pair.
			if a > unevenPair*b {
				continue
			}
			if p := (Pair{A: a, B: b, Ohm: a + b}); a < ohm && better(p, ser) {
				ser = p
			}
			if p := (Pair{A: a, B: b, Parallel: true, Ohm: a * b / (a + b)}); b > ohm && better(p, par) {
				par = p
			}
		}
	}
	var out []Pair
	for _, p := range []Pair{ser, par} {
		if p.A > 0 && math.Abs(p.Ohm-ohm) < pairWithin*ohm {
			out = append(out, p)
		}
	}
	return out, nil
}

// roundSig rounds to n significant digits.
func roundSig(v float64, n int) float64 {
	if v == 0 {
		return 0
	}
	p := math.Pow(10, float64(n)-1-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*p) / p
}
