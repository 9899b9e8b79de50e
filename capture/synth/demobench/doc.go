// Package demobench is the demo bench: an invented workshop, four invented
// brands of supplies and their captures, rendered by package synth. Nothing in
// it was ever measured; the sheet and every report of it say so.
package demobench
