package heater_test

import (
	"fmt"

	"stillglow/analysis/heater"
)

// Two 12AU7 with their heaters in parallel halves on a 7 V supply: what to fit
// between them and the supply.
func ExampleMakePlan() {
	load, err := heater.ParseLoad("2x12AU7", nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	plan, err := heater.MakePlan(load, heater.Supply{Volts: 7, RatedA: 2}, heater.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	best := plan.Arrangements[plan.Best]
	part := best.Parts[best.Best]
	fmt.Printf("%s: %s, exactly %.2f Ω\n", best.Name, part.Label, best.ExactOhm)
	fmt.Printf("the heaters get %.2f V at %.2f A\n", part.HeaterV, part.LoadA)
	// Output:
	// one per valve: 2 x 2.4 Ω, exactly 2.33 Ω
	// the heaters get 6.28 V at 0.60 A
}
