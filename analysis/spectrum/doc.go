// Package spectrum measures what a record of volts shows in the frequency domain:
// lines and what they belong to, the rms within bands, the noise floor under the
// lines, the mains, and the converter's steps that bound them all. It knows nothing
// of switching cycles: where ripple and spikes have to be taken off first, its caller
// hands it a Source of what is left.
//
// The way through it, in the order that a measurement takes:
//
//  1. ADCStep finds the converter's step in the samples, Clipped what was cut off
//     at its end stops, QuantisationDensity the noise it adds (adcstep.go, clip.go).
//  2. Of runs a Source through a cascade of stages at 1, 1/2, 1/4 ... of the rate
//     (multirate.go, halfband.go), averages each stage's segments (welch.go,
//     window.go, powers.go, packed.go), of long stages a part, and strings the stages' top octaves together to one
//     Multirate spectrum. The first stage runs beside the others (relay.go).
//  3. FindLines searches each stage for what stands out (lines.go).
//  4. MeasureMains fits the harmonics of the mains at one common frequency (mains.go).
//  5. NameLines tells what comb each line belongs to (combs.go, sidebands.go).
//  6. MarkInstrument and Mains.SubtractBaseline take off what the instrument's own capture
//     shows too (baseline.go).
//  7. MeasureBands sums the spectrum up within bands, plain and A-weighted (bands.go,
//     weighting.go); MeasureQuasiPeak reads it as a noise meter would (quasipeak.go).
//  8. MeasureNoiseFloor reads the density under the lines by third octaves
//     (noisefloor.go, thirdoctave.go) and finds the level that most of them share
//     (plateau.go). It is given the spectrum of the record without ripple and spikes too.
//  9. Multirate.Curve thins the spectrum out for drawing and for predicting filters
//     (curve.go).
//
// Interpolator, Filter (packed.go) and Transform are tools of other rooms too. Every number that decides
// something stands in limits.go.
//
// Terms: densities are one-sided; a PSD is in V²/Hz, a density in V/√Hz. A line's
// amplitude is its rms in volts. Uncertainties are expanded, k = 2, absolute. Times
// count from the record's first sample. Records are streamed over, not copied; what
// is kept is bounded (keptShare, maxLineFFT).
package spectrum
