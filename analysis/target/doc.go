// Package target holds named sets of limits and decides with them: margins in
// dB, coverage, verdict, ranking and brand statistics. Pure functions.
//
//  1. named.go holds the named targets and makes one of limits written out; derive.go
//     makes one of what a valve stage may hear (hear.go, stage.go, coupling.go).
//  2. volts.go and agree.go hold a unit's captures against its rating and against each
//     other, and add cautions.
//  3. pick.go takes each criterion's figure (criteria.go, mask.go, readings.go) from
//     the best capture that covers it; shown.go lets figures read off a screen prove
//     a fail.
//  4. evaluate.go turns figures into margins, and doubt.go says how far cautions may
//     have moved them, by doubttable.go.
//  5. verdict.go decides, rank.go orders units, brands.go sums up brands (binomial.go,
//     ttest.go), and brandscale.go suspects probes by them.
//
// limits.go holds what decides in the room.
package target
