// Package heater plans the heater circuit: valve heater data, load sum,
// operating point, dropper resistor, corners, pulled valves and cold start.
// It imports nothing else of this project.
//
// A heater's current follows I = I0·(V/V0)^n with n about 0.6 near the rating
// (a stated assumption; a resistor would have n = 1), so every operating point
// is solved, never divided out.
//
//  1. valves.go and valvetable.go look a valve up; load.go sums a load and finds its
//     rail.
//  2. arrange.go sizes each way of dropping the excess volts: one resistor, one per
//     valve or string, diodes; eseries.go gives the standard values on both sides.
//  3. network.go solves the operating point, and layout.go does so for the corners:
//     tolerances, a valve pulled, a cold start.
//  4. fault.go and rating.go say what a short does and which parts to buy, surge.go what
//     a fuse makes of the cold start, warmup.go simulates the switch-on, insulation.go the
//     volts from heater to cathode.
//  5. plan.go puts it into a Plan with a recommendation, alternatives.go with what
//     else would feed the heaters, shopping.go with a list of parts.
package heater
