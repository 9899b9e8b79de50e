package heater

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/capture/synth/testrun"
)

// randomLoad draws one to four groups of the table's 6.3 V types, sometimes a
// string on a rail of its own.
func randomLoad(t *testing.T, rng *rand.Rand) Load {
	t.Helper()
	table := Table()
	var groups []Group
	if rng.IntN(4) == 0 {
		v := table[rng.IntN(len(table))]
		for v.Volts != 6.3 {
			v = table[rng.IntN(len(table))]
		}
		groups = append(groups, Group{Valve: v, Count: 2 + rng.IntN(3), Wiring: String})
	} else {
		for range 1 + rng.IntN(4) {
			v := table[rng.IntN(len(table))]
			if v.Volts == 6.3 {
				groups = append(groups, Group{Valve: v, Count: 1 + rng.IntN(3), Wiring: Parallel})
			}
		}
	}
	if len(groups) == 0 {
		return randomLoad(t, rng)
	}
	l, err := NewLoad(groups, 0)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func randomOptions(rng *rand.Rand) Options {
	return Options{Exponent: 0.5 + 0.15*rng.Float64(), Series: []string{"E12", "E24", "E96"}[rng.IntN(3)], PartTol: new(0.01 + 0.09*rng.Float64())}
}

func randomSupply(rng *rand.Rand, l Load, needA float64) Supply {
	s := Supply{OutputOhm: 0.3 * rng.Float64(), LeadOhm: 0.2 * rng.Float64(), FilterOhm: 0.3 * rng.Float64(), TolFrac: 0.08 * rng.Float64(), RatedA: 0.5 + 5*rng.Float64()}
	s.Volts = l.Volts + needA*(s.OutputOhm+s.LeadOhm+s.FilterOhm) + 0.4 + 12*rng.Float64()
	if rng.IntN(2) == 0 {
		// The same supply, its volts read under load.
		s.AtA = needA * rng.Float64()
		s.Volts -= s.AtA * s.OutputOhm
	}
	return s
}

// simulated is an independent solution of a shared dropper: the bus volts, by
// plain halving of the interval on Kirchhoff's laws, without this package's
// network.
func simulated(l Load, s Supply, ohm, exponent float64) float64 {
	open := s.Volts + s.AtA*s.OutputOhm
	series := s.OutputOhm + s.LeadOhm + s.FilterOhm + ohm
	current := func(bus float64) float64 {
		total := 0.0
		for _, g := range l.Groups {
			// Equal heaters in a string share its volts evenly.
			each, side := bus, float64(g.Count)
			if g.Wiring == String {
				each, side = bus/float64(g.Count), 1
			}
			total += side * g.Valve.Amps * math.Pow(each/g.Valve.Volts, exponent)
		}
		return total
	}
	lo, hi := 0.0, open
	for range 200 {
		mid := (lo + hi) / 2
		if mid+current(mid)*series > open {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo
}

// Solving the dropper and then simulating the circuit gives the heater volts
// asked for within 0.1 %, and each standard value's own heater volts too.
func TestDropperSolvedThenSimulated(t *testing.T) {
	rng := rand.New(rand.NewPCG(63, 3))
	for i := range testrun.Short(150, 20) {
		l := randomLoad(t, rng)
		s, o := randomSupply(rng, l, l.NominalA()), randomOptions(rng)
		p, err := MakePlan(l, s, o)
		if err != nil {
			t.Fatal(err)
		}
		if !p.CanFeed {
			t.Fatalf("case %d: %s", i, p.Why)
		}
		a := p.Arrangements[0]
		if a.ExactOhm < smallestOhm {
			continue
		}
		near(t, fmt.Sprintf("case %d, rail volts", i), simulated(l, s, a.ExactOhm, o.Exponent), l.Volts, 0.001*l.Volts)
		for _, part := range a.Parts {
			got := simulated(l, s, part.Ohm, o.Exponent) / l.Volts
			near(t, fmt.Sprintf("case %d, %s", i, part.Label), 1+part.ErrFrac, got, 0.001)
		}
		if p.Best >= 0 {
			near(t, fmt.Sprintf("case %d, arrangement %s", i, p.Arrangements[p.Best].Name), 0, p.Arrangements[p.Best].Parts[p.Arrangements[p.Best].Best].ErrFrac, 0.10)
		}
	}
}

// What must move one way does: more supply volts, less resistance, heaters that
// draw less, all raise the heater volts; a pulled valve never lowers the others
// behind a shared dropper; one with resistors of its own hardly moves.
func TestHeaterVoltsMoveTheRightWay(t *testing.T) {
	rng := rand.New(rand.NewPCG(63, 4))
	for i := range testrun.Short(150, 50) {
		l := randomLoad(t, rng)
		needA := l.NominalA()
		s, o := randomSupply(rng, l, needA), randomOptions(rng)
		strands := l.strands()
		ohm := 0.1 + 5*rng.Float64()/needA
		lay := layout{strands: strands, sharedOhm: ohm}
		hot := func(l layout, s Supply, sc scenario) float64 {
			h, ok := l.solve(s, o.Exponent, sc).hottest()
			if !ok {
				return math.Inf(1) // none left lit
			}
			return h.volts / h.rated
		}
		base := hot(lay, s, scenario{})
		more := s
		more.Volts *= 1.01
		losses := s
		losses.LeadOhm += 0.05
		worse := layout{strands: strands, sharedOhm: 1.02 * ohm}
		for name, up := range map[string]bool{
			"more supply volts":      hot(lay, more, scenario{}) > base,
			"supply high":            hot(lay, s, scenario{supply: 0.03}) > base,
			"more dropper":           hot(worse, s, scenario{}) < base,
			"resistor low":           hot(lay, s, scenario{part: -0.05}) > base,
			"more lead":              hot(lay, losses, scenario{}) < base,
			"heaters draw less":      hot(lay, s, scenario{heaters: -1}) > base,
			"heaters draw more":      hot(lay, s, scenario{heaters: 1}) < base,
			"cold under hot":         hot(lay, s, scenario{cold: 6}) < base,
			"straight over dropped":  hot(lay, s, scenario{straight: true}) > base,
			"cold current over warm": lay.solve(s, o.Exponent, scenario{cold: 6}).totalA > lay.solve(s, o.Exponent, scenario{}).totalA,
		} {
			if !up {
				t.Errorf("case %d (%s): %s moves the wrong way", i, l.Describe(), name)
			}
		}
		own := layout{strands: strands, strandOhm: make([]float64, len(strands))}
		for k := range strands {
			own.strandOhm[k] = ohm * needA / strands[k].elems[0].i0
		}
		ownBase := hot(own, s, scenario{})
		for k := range strands {
			pulled := hot(lay, s, scenario{pulled: k + 1})
			if pulled < base*(1-1e-9) {
				t.Errorf("case %d: pulling %s lowers the rest from %g to %g", i, strands[k].name, base, pulled)
			}
			if last := hot(lay, s, scenario{last: k + 1}); last < base*(1-1e-9) {
				t.Errorf("case %d: leaving only %s in lowers it", i, strands[k].name)
			}
			if p := hot(own, s, scenario{pulled: k + 1}); !math.IsInf(p, 1) && !math.IsInf(pulled, 1) && p-ownBase > pulled-base+1e-9 {
				t.Errorf("case %d: own resistors let a pulled %s raise the rest by %g, a shared one by %g", i, strands[k].name, p-ownBase, pulled-base)
			}
		}
	}
}

// In a string the heater that draws less takes more volts, the volts sum to the
// string's, and equal ones share evenly.
func TestStringSharing(t *testing.T) {
	rng := rand.New(rand.NewPCG(63, 5))
	for range 100 {
		i1, i2 := 0.15+0.5*rng.Float64(), 0.15+0.5*rng.Float64()
		n := 0.5 + 0.15*rng.Float64()
		st := strand{count: 1, string: true, elems: []element{
			{v0: 6.3, i0: i1, mult: 1, valve: Valve{Type: "a"}}, {v0: 6.3, i0: i2, mult: 1, valve: Valve{Type: "b"}}}}
		s := layout{strands: []strand{st}}.solve(Supply{Volts: 12.6}, n, scenario{})
		a, b := s.heaters[0].volts, s.heaters[1].volts
		near(t, "sum", a+b, 12.6, 1e-9)
		// One current: i1·(a/6.3)^n = i2·(b/6.3)^n, so a/b = (i2/i1)^(1/n).
		near(t, "ratio", a/b, math.Pow(i2/i1, 1/n), 1e-6*a/b)
	}
}

// Kirchhoff and Joule hold in every corner: the source's power is the heaters'
// and the droppers' and the losses'.
func TestPowerBalance(t *testing.T) {
	rng := rand.New(rand.NewPCG(63, 6))
	for range 100 {
		l := randomLoad(t, rng)
		s, o := randomSupply(rng, l, l.NominalA()), randomOptions(rng)
		ohm := 3 * rng.Float64() / l.NominalA()
		lay := layout{strands: l.strands(), sharedOhm: ohm}
		for _, sc := range []scenario{{}, {supply: 0.05}, {heaters: 1}, {heaters: -1, part: 0.05}, {cold: 6}} {
			p := lay.solve(s, o.Exponent, sc)
			open := (s.Volts + s.AtA*s.OutputOhm) * (1 + sc.supply)
			heat := p.totalA * p.totalA * (s.OutputOhm + s.LeadOhm + s.FilterOhm + ohm*(1+sc.part))
			for k, st := range lay.strands {
				sum := 0.0
				for _, h := range p.heaters {
					if h.strand == k {
						sum += h.volts * float64(st.elems[0].mult)
					}
				}
				heat += float64(st.count) * p.branchA[k] * sum
			}
			near(t, "power", heat, open*p.totalA, 1e-9*open*p.totalA)
		}
	}
}

// What is recommended is never worse than another arrangement in what counts
// first: pulled valves, then nominal limits, then tolerance corners.
func TestRecommendationHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(63, 7))
	trouble := func(a Arrangement) int {
		p := a.Parts[a.Best]
		score := 0
		if p.PulledOver {
			score += 4
		}
		if c := p.Corners[0]; c.OverLimit || c.UnderLimit {
			score += 2
		}
		for _, c := range p.Corners {
			if c.Kind == KindSpread && (c.OverLimit || c.UnderLimit) {
				return score + 1
			}
		}
		return score
	}
	told := 0
	for i := range testrun.Short(150, 20) {
		l := randomLoad(t, rng)
		p, err := MakePlan(l, randomSupply(rng, l, l.NominalA()), randomOptions(rng))
		if err != nil {
			t.Fatal(err)
		}
		if p.Best < 0 {
			continue
		}
		for _, a := range p.Arrangements {
			if a.Best >= 0 && trouble(a) < trouble(p.Arrangements[p.Best]) {
				t.Errorf("case %d: %s is recommended over %s", i, p.Arrangements[p.Best].Name, a.Name)
			}
			if a.Best >= 0 && trouble(a) > trouble(p.Arrangements[p.Best]) {
				told++
			}
		}
	}
	if told == 0 {
		t.Error("no case told the arrangements apart")
	}
}

// The valve left alone in the table is the one that then gets the most volts.
func TestLastValveIsTheWorstOne(t *testing.T) {
	p := plan(t, "2xE80CC,1x12AU7,1x6N2P", Supply{Volts: 12}, Options{})
	part := p.Arrangements[0].Parts[0]
	c := corner(t, part, "only one 12AU7 left in")
	for k := range part.layout.strands {
		h, _ := part.layout.solve(p.Supply, p.Options.Exponent, scenario{last: k + 1}).hottest()
		if h.relErr() > c.RelErr+1e-9 {
			t.Errorf("%s alone gets %+.1f %%, the table says %+.1f %%", h.valve.Type, 100*h.relErr(), 100*c.RelErr)
		}
	}
}
