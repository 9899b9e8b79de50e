// Package capture opens one recorded file (CSV, gzipped CSV or WAV) into a Trace:
// volts against evenly spaced time, with all that was assumed on the way said
// beside it (Trace.Assumptions) and all that is doubtful (Trace.Cautions). It decides
// nothing about whether a supply is good.
//
//  1. open.go opens the file, looks at its first bytes and picks the format. Options
//     hold what the caller knows better than the file (options.go).
//  2. Of a text (text.go), encoding.go tells the characters, findtable.go and layout.go find the
//     table of numbers by its cells (cells.go, number.go), foreign.go and turns.go refuse two
//     tables in one, lostcolumn.go names that stand over other columns.
//  3. header.go and names.go take the names above the columns; preamble.go, metakeys.go
//     and metavalue.go the settings that the file states (quantity.go reads units).
//  4. schema.go, voltcolumns.go and channels.go say what each column means.
//  5. table.go streams the rows through parallel workers (chunk.go, rows.go, shape.go,
//     shaped.go), which gather the times into runs on one line (timeblock.go), into one
//     record (pages_linux.go).
//  6. timebase.go, timeunit.go, slope.go and rate.go settle step and start; repeats.go
//     leaves out rows that stand twice, bridge.go fills short gaps, uneven.go resamples what is not evenly spaced.
//  7. scale.go, divisions.go and instrument.go turn the numbers into volts at the
//     supply and take coupling, bandwidth and probe factor.
//  8. acquisition.go, upsampled.go, levels.go (with extent.go),
//     blurredplateau.go and unfilled.go look at the samples for
//     what the instrument did to them, and bound the span that may be trusted.
//  9. Of a WAV, wav.go reads the chunks and wavdata.go the samples; calibrate.go and
//     sinefit.go find its volts at full scale from a sine of known volts.
//
// All volts are in V, times in s, rates in Hz. A file that can't be read is a
// *ParseError with file, line and column (errors.go). printable.go keeps what a file
// says from harming a terminal; si.go prints with SI prefixes, ranked.go selects by
// rank, step.go finds the converter's step and fingerprint.go knows a record again, for
// the rooms above as well.
package capture
