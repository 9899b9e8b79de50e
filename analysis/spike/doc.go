// Package spike finds what stands out of the residue that the smooth ripple
// leaves, and prepares the rest for the noise floor.
//
//  1. find.go sets a threshold from the residue's robust scale and counts and
//     sizes the transients at the edges of the cycle, one by one.
//  2. scan.go looks for events in between, and under an edge's transient for one
//     of another origin.
//  3. gate.go takes ripple, transients and the mains off the record and excises
//     what spikes cover or where cycles differ by more than the noise: the random
//     part.
//
// Volts are at the supply's terminals, against the local ripple.
package spike
