// Package demobench is the demo bench: an invented workshop, four invented
// brands of supplies and their captures, rendered by package synth. Nothing in
// it was ever measured; the sheet and every report of it say so.
//
//  1. bench.toml, embedded, is the bench sheet as a builder would keep it.
//  2. demobench.go describes the supply behind each capture and the instrument that
//     took it; Files lists them all, each with its bytes and its synth.Supply.
//  3. write.go puts them into a folder, never over a file, and removes what it wrote
//     where it fails.
package demobench
