package heater

import "testing"

func BenchmarkMakePlan(b *testing.B) {
	l, err := ParseLoad("2x12AU7,1x6N2P", nil)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := MakePlan(l, Supply{Volts: 9, OutputOhm: 0.1, TolFrac: 0.02, RatedA: 2}, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
