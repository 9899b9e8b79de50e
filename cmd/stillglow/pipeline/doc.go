// Package pipeline evaluates a bench sheet from end to end and writes the report
// folder. Every front end calls it and nothing below it for that; it prints
// nothing and knows no flags.
//
// An evaluation (EvaluateSheet) takes these steps:
//
//  1. Target and Load: what the sheet asks of every unit, as limits, and which
//     heaters it feeds.
//  2. Baselines: each instrument baseline that the sheet names, measured once.
//  3. Captures: those of all units, side by side (package pool), each measured
//     against its baseline. A result whose content and settings a Cache holds is
//     taken from there. Options.Progress hears of each.
//  4. Judging: the captures of a unit are compared with each other for aliases,
//     then the unit with the target.
//  5. Ranking: units and brands in order.
//  6. Advice: for each unit the dropper for its own volts, for near misses the
//     post-filter, and what the valve hears of it.
//
// Its result is a finished report.Report, in which units stand in rank order and
// carry their place in the sheet as their identity (target.Unit.Index).
//
// Writing (WriteReport, WriteFolder) renders that value and puts it into a folder:
// see WriteFolder for what is replaced and what is never touched, and ListFile
// for how the tool knows its own files again.
package pipeline
