// Package benchpage is the local page on which a bench is worked from the first
// capture to the report: requests in, pipeline calls, events out. The bench sheet
// stays the one truth; the page edits it and shows what it says.
//
//  1. guard.go lets a request pass that comes from the page itself.
//  2. handlers.go reads it; edits.go and its neighbours change the sheet, store.go
//     keeps dropped files, follow.go takes those of a folder.
//  3. readings.go measures what is new, decide.go judges the bench.
//  4. view.go and its neighbours say what the page shows, render.go writes its parts,
//     and hub.go tells the browser which of them have changed.
package benchpage
