// Package synth renders the output of an invented switch-mode supply as an
// instrument would have captured it, together with the exact truth behind it.
// Tests and the demo bench measure these captures and compare with the truth.
//
// The waveform is evaluated from its analytic form at the sample instants, so
// edges fall between samples as they do on a real instrument. It is the sum of
//
//   - rectified-mains ripple at twice the mains frequency,
//   - the switching cycle: a triangle with a step at both edges (the output
//     capacitor's ESR), fixed, dithered or in bursts,
//   - a transient at each edge: a raised-cosine pulse and a damped ring,
//   - transients at random instants and at the rectifier's commutation,
//   - white and 1/f noise,
//
// passed through the instrument's one-pole low-pass, its wrong probe factor if
// any, and its converter. All data it makes is invented.
package synth
