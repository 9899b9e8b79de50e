package main

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// unitBound is what a flag's number is believed to mean: no heater supply, and no part of
// its circuit, is beyond it, but a number typed in another unit is. The bounds are those
// of the same keys in a sheet, and our own.
type unitBound struct {
	flag        string
	value       float64
	least, most float64 // least counts above 0 only
	unit        string  // of the flag: "amps"
	of          string  // that the number is in when it is too large, or too small: "mA"
	times       float64 // that unit in the flag's
}

// slip says that the number is in another unit, nil where it may be meant as it is.
func (b unitBound) slip() error {
	expected := ""
	switch {
	case math.IsNaN(b.value) || math.IsInf(b.value, 0) || b.value < 0:
		return fmt.Errorf("--%s: found %g, expected %s, 0 or more", b.flag, b.value, b.unit)
	case b.most > 0 && b.value > b.most:
		expected = fmt.Sprintf("%g at most", b.most)
	case b.value > 0 && b.value < b.least:
		expected = fmt.Sprintf("%g or more", b.least)
	default:
		return nil
	}
	return fmt.Errorf("--%s: found %g, expected %s, %s; for %g %s write %.6g", b.flag, b.value, b.unit, expected, b.value, b.of, b.value*b.times)
}

// unitSlips is the first slip of the flags' numbers, nil where there is none.
func unitSlips(bounds []unitBound) error {
	for _, b := range bounds {
		if err := b.slip(); err != nil {
			return err
		}
	}
	return nil
}

// Bounds that several flags share, as a sheet has them.
const (
	mostVolts = 200.0 // of a supply
	mostAmps  = 100.0
	mostOhms  = 20.0 // of a supply, its leads, a capacitor's ESR or a coil's DCR
	mostLead  = 20.0 // metres from a supply to its filter
)

// leastTolPercent is the least tolerance that is meant in percent: less is a share of one.
const leastTolPercent = 0.1

// percentBound is what a flag in percent is believed to mean, in the words of a sheet's.
type percentBound struct {
	flag        string
	value       float64
	least, most float64
	zero        bool // 0 may be meant too
}

// slip tells a percentage that is out of its bounds, or was given as a share of one; nil
// where it may be meant as it is.
func (b percentBound) slip() error {
	expected := ""
	switch {
	case b.zero && b.value == 0, b.value >= b.least && b.value <= b.most:
		return nil
	case b.value > b.most:
		expected = fmt.Sprintf("%g at most", b.most)
	case b.value > 0:
		expected = fmt.Sprintf("%g or more; for a share of %g write %.6g", b.least, b.value, 100*b.value)
	default: // 0, below it, or no number
		expected = fmt.Sprintf("%g or more", b.least)
	}
	return fmt.Errorf("--%s: found %g, expected percent, %s", b.flag, b.value, expected)
}

var (
	commaNumber = regexp.MustCompile(`^\s*([-+]?[0-9]+),([0-9]+)\s*$`)
	withUnit    = regexp.MustCompile(`^\s*([-+]?[0-9.]+)\s*(%|[A-Za-zµμΩ]+)\s*$`)
)

// flagUnits are the units of flags by the endings of their names: in words, the symbols
// that may be typed for them without a multiple, and what one of these is in the flag's.
var flagUnits = []struct {
	ending, words, symbols string
	base                   float64
}{
	{"-a", "amps", "a", 1}, {"-v", "volts", "v", 1}, {"-rms", "volts", "v vrms", 1}, {"offset", "volts", "v", 1}, {"-ohm", "ohms", "ω ohm ohms r", 1}, {"-uf", "microfarads", "f", 1e6}, {"-uh", "microhenries", "h", 1e6},
	{"-nh", "nanohenries", "h", 1e9}, {"-mhz", "megahertz", "hz", 1e-6}, {"-m", "metres", "m", 1},
	{"-tol", "percent", "", 0}, {"-percent", "percent", "", 0}, {"headroom", "percent", "", 0}, {"ambient", "°C", "", 0},
}

// multiples are those of a unit that are typed.
var multiples = []struct {
	prefix string
	times  float64
}{{"p", 1e-12}, {"n", 1e-9}, {"u", 1e-6}, {"µ", 1e-6}, {"μ", 1e-6}, {"m", 1e-3}, {"c", 1e-2}, {"k", 1e3}, {"K", 1e3}, {"M", 1e6}}

// numberFix says how to write what was typed for a flag's number, "" where nothing tells.
func numberFix(flag, typed string) string {
	if m := commaNumber.FindStringSubmatch(typed); m != nil {
		if len(m[2]) == thousands && strings.Trim(m[1], "+-0") != "" {
			return fmt.Sprintf("; write %s%s for thousands, %s.%s for a decimal comma", m[1], m[2], m[1], m[2])
		}
		return fmt.Sprintf("; write %s.%s", m[1], m[2])
	}
	m := withUnit.FindStringSubmatch(typed)
	if m == nil {
		return ""
	}
	for _, u := range flagUnits {
		if !strings.HasSuffix(flag, u.ending) {
			continue
		}
		if v, ok := inFlagUnit(m[1], m[2], u.symbols, u.base); ok {
			return fmt.Sprintf("; write %s, in %s", v, u.words)
		}
		return "; leave the unit out: it is in " + u.words
	}
	return "; leave the unit out"
}

// thousands are the digits behind a comma that may part thousands.
const thousands = 3

// inFlagUnit turns a number with a unit into the flag's, where the unit is of its kind.
func inFlagUnit(number, unit, symbols string, base float64) (text string, ok bool) {
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return "", false
	}
	known := strings.Fields(symbols)
	if slices.Contains(known, strings.ToLower(unit)) {
		return fmt.Sprintf("%.6g", v*base), true
	}
	for _, m := range multiples { // "0.75k" leaves the unit to the flag
		rest, found := strings.CutPrefix(unit, m.prefix)
		if found && len(known) > 0 && (rest == "" || slices.Contains(known, strings.ToLower(rest))) {
			return fmt.Sprintf("%.6g", v*m.times*base), true
		}
	}
	return "", false
}
