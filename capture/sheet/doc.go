// Package sheet reads the bench sheet: which captures belong to which unit of
// which brand, under which load, measured how. It is TOML, read strictly.
//
//  1. raw.go holds the sheet as TOML has it, and checkkeys.go refuses keys that it
//     does not know, with the nearest it does.
//  2. read.go and build.go make a Sheet of it, every file named beside the sheet.
//  3. edit.go and its neighbours change a sheet's text by key and leave the rest of
//     it, comments too, as it was.
//  4. arrived.go, pattern.go and guess.go give files that have come to the units
//     whose names they bear.
package sheet
