package heater

import (
	"fmt"
	"strings"
)

// InputError is a value that can't be used. It prints as one line: what, what
// was found, what was expected; what to do.
type InputError struct {
	What     string // "supply volts", "valve list"
	Found    string // what stands there
	Expected string // what can
	Fix      string // what to do, optional
}

// Error gives the one line shown to the user.
func (e *InputError) Error() string {
	s := fmt.Sprintf("%s: found %s, expected %s", e.What, e.Found, e.Expected)
	if e.Fix != "" {
		s += "; " + e.Fix
	}
	return s
}

// UnknownValveError is a type that neither the table nor the user's own list
// holds.
type UnknownValveError struct {
	Name string   // as given
	Near []string // nearest names, best first
}

// Error gives the one line shown to the user.
func (e *UnknownValveError) Error() string {
	s := fmt.Sprintf("valve type %q is not in the table", e.Name)
	if len(e.Near) > 0 {
		s += ", nearest are " + strings.Join(e.Near, ", ")
	}
	return s + "; check the spelling, or give volts and amps from its data sheet: stillglow dropper --own NAME=VOLTS:AMPS, or [[heaters.own_valve]] in a sheet"
}

// RectifierError is a rectifier whose heated cathode carries the high voltage.
type RectifierError struct {
	Name, Data string // as given
}

// Error gives the one line shown to the user.
func (e *RectifierError) Error() string {
	return fmt.Sprintf("%s is a rectifier (%s): its cathode is at high voltage, so it must not share a supply with any other heater; "+
		"found it among the heaters, expected amplifying valves; leave it on its own winding, or, on an isolated supply that feeds it alone and withstands the high voltage, give it as --own NAME=VOLTS:AMPS under another name", e.Name, e.Data)
}
