package filter

import (
	"context"
	"math"
	"testing"
)

// The search works with the lead and the supply's own output capacitor that it is
// told of: both stand in the circuit, and the gain behind them is that circuit's.
func TestSearchTakesLeadAndOutputCapacitor(t *testing.T) {
	in := nearMiss(6, 20e-3, 10e6)
	own, err := NewCapacitor(Electrolytic, 1000e-6)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := Search(context.Background(), in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	told, err := Search(context.Background(), in, Options{SourceH: LeadH(1), CSource: own})
	if err != nil {
		t.Fatal(err)
	}
	if !plain.Found || !told.Found || told.Best.Circuit.SourceH != 1e-6 || told.Best.Circuit.CSource != own {
		t.Fatalf("%+v", told.Best.Circuit)
	}
	for i, hz := range told.Best.FrequencyHz {
		if want := DB(Response(told.Best.Circuit, hz)); math.Abs(told.Best.GainDB[i]-want) > 0.01 && math.Abs(told.Best.GainDB[i]-DB(Insertion(told.Best.Circuit, hz))) > 0.01 {
			t.Fatalf("%g Hz: %g dB, want %g", hz, told.Best.GainDB[i], want)
		}
	}
	// A metre of lead is 6.3 Ω at 1 MHz: the promise with it is at least as good.
	if told.Best.Circuit.C1 == plain.Best.Circuit.C1 && told.Best.After.WorstDB < plain.Best.After.WorstDB-0.01 {
		t.Errorf("worst margin %g dB with the lead, %g without", told.Best.After.WorstDB, plain.Best.After.WorstDB)
	}
}
