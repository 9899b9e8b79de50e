// Package testrun holds what the tests of every room share about how they run: how
// much of their long lists, with what memory, and for how long. Nothing of the tool
// imports it.
//
//  1. A package with heavy tests calls Main from its TestMain.
//  2. A test asks Full, Short or Some how much to run.
//  3. A test that waits for something gives up when Ends says so, and not before.
//  4. ProcessorS measures work where a test compares two amounts of it.
package testrun
