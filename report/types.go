// Package report renders a finished evaluation: terminal table, HTML page,
// Markdown, CSV, JSON, labels and plots. It reads no file and decides nothing.
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
	Title, Workshop, Date, Note string
	Invented                    bool
	Sheet                       string // name of the bench sheet's file
	ToolVersion                 string
	MainsHz                     float64
	Target                      target.Target
	Units                       []Unit
	Brands                      []target.Brand
	Baseline                    *Capture
	HeaterLoad                  heater.Load
	HeaterA                     float64
	Instrument                  string
	GainPercent                 float64
	Cautions                    []capture.Caution // of the sheet as a whole
}

// Unit is one ranked unit with its evidence.
type Unit struct {
	Eval     target.Evaluation
	Captures []Capture
	Plan     *heater.Plan   // dropper from the unit's own volts; nil when not sized
	Filter   *filter.Advice // nil when not asked or not a near miss
	Hears    *target.Heard  // nil when no stage is given
}

// Capture is one capture behind a unit.
type Capture struct {
	M           *analysis.Measurement
	Layout      string
	Assumptions []capture.Assumption
	LoadA       float64
	Note        string
}
