package spike

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillglow/analysis/cycle"
)

// Pulses of known place and size in white noise, no cycle under them: each is
// found once, at its place, with its sign and its height within the noise.
func TestFindOffTheCycle(t *testing.T) {
	const rate, sigma = 100e6, 1e-3
	r := rand.New(rand.NewPCG(3, 4))
	v := make([]float64, 200000)
	for i := range v {
		v[i] = sigma * r.NormFloat64()
	}
	want := []Event{{TimeS: 200.003e-6, PeakV: 20e-3}, {TimeS: 777.1e-6, PeakV: -15e-3}, {TimeS: 1500.55e-6, PeakV: 30e-3}}
	for _, e := range want {
		for i := range v { // Gaussian pulses of 100 ns between half heights
			x := (float64(i)/rate - e.TimeS) / 100e-9
			v[i] += e.PeakV * math.Exp(-4*math.Ln2*x*x)
		}
	}
	c := cycle.Find(cycle.Input{Volts: v, RateHz: rate, HighHz: 40e6})
	if c.Track != nil {
		t.Fatalf("a cycle of %g Hz", c.Track.Hz)
	}
	found := Find(c.Residue, nil, rate, 0)
	if math.Abs(found.SigmaV/sigma-1) > 0.1 {
		t.Errorf("noise of %g V, want %g", found.SigmaV, sigma)
	}
	if found.Count != len(want) || len(found.Events) != len(want) || len(found.OffEdge) != len(want) {
		t.Fatalf("%d events, %d listed, %d off the edges; want %d of each", found.Count, len(found.Events), len(found.OffEdge), len(want))
	}
	for i, e := range found.Events {
		if math.Abs(e.TimeS-want[i].TimeS) > 20e-9 || math.Abs(e.PeakV-want[i].PeakV) > 4*sigma || e.Class != Random {
			t.Errorf("event %+v, want %+v", e, want[i])
		}
		if e.DurationS < 70e-9 || e.DurationS > 130e-9 {
			t.Errorf("a pulse of %g s, want 100 ns", e.DurationS)
		}
	}
}

// Noise alone holds no event, and a constant none either.
func TestFindNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	v := make([]float64, 200000)
	for i := range v {
		v[i] = 1e-3 * r.NormFloat64()
	}
	for name, volts := range map[string][]float64{"noise": v, "constant": make([]float64, 1000)} {
		c := cycle.Find(cycle.Input{Volts: volts, RateHz: 50e6})
		if found := Find(c.Residue, c.Fold, 50e6, 0); found.Count != 0 {
			t.Errorf("%s: %d events", name, found.Count)
		}
	}
}

// Events off the edges that crowd at places of the cycle are those of edges' spikes that
// few samples hit: the cycles without one there are told. Of events at any place, and
// of one at every cycle, none is missed.
func TestMissedAtPlaces(t *testing.T) {
	const cycles = 400
	r := rand.New(rand.NewPCG(7, 8))
	at := func(place float64, number int) (list []Event) {
		for range number {
			list = append(list, Event{CyclePhase: math.Mod(place+0.01*r.NormFloat64()+1, 1)})
		}
		return list
	}
	anywhere := make([]Event, 300)
	for i := range anywhere {
		anywhere[i].CyclePhase = r.Float64()
	}
	for name, c := range map[string]struct {
		events []Event
		missed float64
	}{
		"none":                       {nil, 0},
		"few":                        {at(0.3, 2), 0},
		"anywhere":                   {anywhere, 0},
		"at one place, now and then": {at(0.3, 90), cycles - 90},
		"across the cycle's start":   {at(0, 90), cycles - 90},
		"at two places":              {append(at(0.2, 80), at(0.7, 60)...), 2*cycles - 140},
		"at every cycle":             {at(0.3, cycles), 0},
	} {
		found := Finding{OffEdge: c.events}
		if got := found.MissedAtPlaces(cycles); math.Abs(got-c.missed) > 3 {
			t.Errorf("%s: %g missed, want %g", name, got, c.missed)
		}
	}
}
