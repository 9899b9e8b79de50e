package report

import (
	"stillglow/analysis"
	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// SchemaVersion is the version of results.json and of `measure --json`.
const SchemaVersion = "1.0"

// Report is the finished value that everything else only renders. Units are in
// rank order; nothing in it depends on the clock or on map order.
type Report struct {
	Title       string            // heads every output; "" takes a title of the tool's own
	Workshop    string            // who measured, "" not told
	Date        string            // as written in the sheet, never the clock's
	Note        string            // free text from the sheet
	Invented    bool              // the data are made up; every output says so
	Sheet       string            // the bench sheet's path as given
	ToolVersion string            // of stillglow, "" unknown
	MainsHz     float64           // as told, 0: found in each capture
	Target      target.Target     // the limits that Units were judged by
	Units       []Unit            // in rank order
	Brands      []target.Brand    // in rank order
	Baseline    *Capture          // the instrument's own noise, nil when none was taken
	HeaterLoad  heater.Load       // the valves that the supply is to heat
	HeaterA     float64           // their summed current in A, 0 unknown
	Instrument  string            // what the captures were made with, "" not told
	GainPercent float64           // gain uncertainty of the instrument in percent (k = 2), 0 not told
	Cautions    []capture.Caution // of the sheet as a whole
}

// Unit is one ranked unit with its evidence.
type Unit struct {
	Eval     target.Evaluation // margins, verdict and rank
	Captures []Capture         // what Eval rests on, in the sheet's order
	Plan     *heater.Plan      // dropper from the unit's own volts; nil when not sized
	Filter   *filter.Advice    // nil when not asked or not a near miss
	Hears    *target.Heard     // nil when no stage is given
}

// Capture is one capture behind a unit.
type Capture struct {
	M           *analysis.Measurement // never nil in a report
	Layout      string                // what the importer recognised
	Assumptions []capture.Assumption  // what the importer took for granted
	LoadA       float64               // load current in A as the sheet tells, 0: see M.LoadA
	Note        string                // from the sheet
	Samples     capture.Fingerprint   // tells the record again in another file
}
