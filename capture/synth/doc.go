// Package synth renders the output of an invented switch-mode supply as an
// instrument would have captured it, together with the exact truth behind it.
// Tests and the demo bench measure these captures and compare with the truth. All
// data it makes is invented.
//
// A Supply is described in supply.go, or drawn at random from ranges that cover the
// trade (draw.go). Render evaluates it from its analytic form at the sample instants,
// so that edges fall between samples as they do on a real instrument:
//
//  1. cycle.go lays out the switching cycle as straight segments, a triangle with a
//     step at both edges (the output capacitor's ESR), fixed, dithered or in bursts,
//     and adds it through the instrument's one-pole low-pass, or averaged ahead of a
//     decimation where the instrument has a filter of its own (antialias.go).
//  2. transient.go adds a transient at each edge, a raised-cosine pulse and a damped
//     ring, and others at random instants and at the rectifier's commutation.
//  3. mains.go adds the rectified-mains ripple at twice the mains frequency.
//  4. truth.go writes down what is now exactly known, noise apart.
//  5. noise.go adds the supply's white and 1/f noise and the instrument's own.
//  6. convert.go applies the wrong probe factor, if any, and the converter.
//
// trace.go makes a capture.Trace of it, and write.go files as instruments would.
package synth
