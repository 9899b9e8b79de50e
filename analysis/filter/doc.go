// Package filter predicts what a post-filter of real parts leaves of a
// supply's ripple, spikes and noise, and searches for the cheapest part set
// that brings a near miss inside its target.
//
//  1. parts.go describes real capacitors and coils with the ESR and ESL usual for
//     them, and a Circuit of them.
//  2. response.go gives a circuit's insertion gain at a frequency, by its ladder's
//     complex voltages and currents.
//  3. spectral.go predicts a Measurement behind a circuit from the one ahead of it,
//     by each figure's rule in the register, and ahead.go keeps what all circuits share
//     of that; apply.go sends the samples themselves through it, extended by their
//     mirror image (extended.go) and, of long traces, in two parts (split.go), and
//     predict.go measures those again for their peaks.
//  4. search.go tries the part sets of candidates.go by rising cost with the quick
//     prediction (shortfall.go says how far each falls short), bounds the peak-to-peak on
//     a part of the samples (least.go), and predicts the first that bring the unit inside
//     by all of them; whynone.go says why none did.
//  5. warnings.go says what the circuit asks of supply and parts.
package filter
