// Package analysis turns one trace of volts into figures: DC, ripple, spikes,
// noise floor, lines, band sums, each with what it is worth. It opens no file. The
// texts it makes are the reasons of figures that are not measured and those of
// cautions.
//
// Measure is the recipe. Every step takes what it needs and returns its result;
// none writes where another does, and a figure's uncertainty is written once, by
// the step that states the figure (uncertainty.go and package figure's).
//
//  1. record.go checks the trace, takes what one pass shows (basics.go) and finds
//     the converter's step.
//  2. In a goroutine of its own naming.go takes the spectrum of the whole trace,
//     its lines and the mains comb (package spectrum).
//  3. Meanwhile switched.go finds the switching cycle, the smooth ripple and the
//     transients at its edges (package cycle), and the spikes that stand out of
//     what the ripple leaves (package spike).
//  4. naming.go names the lines after the combs they belong to and takes off what
//     the baseline shows of them. Where the cycle found is the instrument's, steps
//     3 and 4 are done once more without its frequencies.
//  5. noise.go takes ripple, spikes and mains off the trace and measures the noise
//     floor in what is left, while shape.go, in the goroutine of step 2, reads the
//     peak-to-peak in a 20 MHz span (package bandlimit) and draws the record.
//  6. naming.go sums bands; pard.go splits the power into periodic and random.
//  7. ripplefigures.go and spikefigures.go state cycle and spikes as figures, and
//     envelope.go draws a few cycles and the typical spike.
//  8. measure.go puts all that into a Measurement, and cautions.go adds what is
//     doubtful about it.
//
// Behind a filter MeasureBehind does steps 1, 3, 5 without the noise, 7 and 8 alone
// (behind.go): what is linear in the spectrum is foreseen from the measurement ahead.
//
// SettleAliases then compares the captures of one unit (alias.go), which alone can
// tell a line from its alias.
//
// The rooms import one way: figure, spectrum, cycle, spike, analysis, each those
// before it. limits.go of each holds what decides there, with unit and reason.
// Everything streams over the trace's own samples; nothing copies it.
package analysis
