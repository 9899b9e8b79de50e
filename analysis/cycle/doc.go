// Package cycle finds the switching cycle of a supply in a record, follows it
// and takes the mean cycle apart into the smooth ripple and the transients at its
// edges. Volts in, volts and hertz out; all deviations are standard ones (k = 1),
// without the instrument's gain. It knows nothing of measurements and reports.
//
//  1. switching.go finds the switching frequency in a thinned-out stretch: from
//     the comb that explains most of its lines, or from its autocorrelation where
//     the lines are smeared; choose.go holds both, their multiples and the strongest
//     lines against each other by what the record shows folded at each, and
//     between.go tells a cycle from its multiples by the lines between theirs.
//  2. track.go decides how the supply keeps time and follows it: at one frequency
//     (refine.go, refineshort.go), through dither, or through packets (bursts.go).
//  3. fold.go lays the record over one cycle, minus its slow part.
//  4. ripple.go takes the folded cycle apart: the smooth ripple as straight parts
//     (pieces.go, cells.go), the transients where it leaves them (edges.go), their
//     rings (ring.go), the ripple's own step under a pulse (edgestep.go). Where a
//     ring fills the cycle, parts and rings are fitted together (jointcycle.go,
//     ringfill.go).
//  5. align.go ties the track to the edges' transients (transient.go), and steps 3
//     and 4 are done once more.
//  6. residue.go takes slow part and smooth ripple off the record: spikes, rings
//     and noise are left, for whoever looks at them.
//  7. explained.go holds the mean cycle against the record: the share of what
//     varies that it accounts for, and what the rest beside the harmonics and the
//     wander of the phase leave the frequency in doubt by (clockdoubt.go).
//
// Find is all of it. A fold that holds no more power than its noise is no cycle.
// Everything streams over the record's own samples; nothing copies it.
package cycle
