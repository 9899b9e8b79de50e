// Package bandlimit reads the peak-to-peak that an instrument of limited bandwidth
// would show of a record taken with more, as the trade states ripple and noise in a
// 20 MHz span.
//
//  1. LowPass names the shape that stands in for the instrument's limit (lowpass.go).
//  2. The record runs through its analogue prototype block by block in the frequency
//     domain (blocks).
//  3. Measure follows the extremes of the oversampled curve behind it, and counts the
//     samples for the quantiles. Blocks that can reach neither are not filtered
//     (peaktopeak.go).
package bandlimit
