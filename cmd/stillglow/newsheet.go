package main

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"stillglow/analysis/heater"
	"stillglow/capture"
	"stillglow/capture/sheet"
)

// sheet writes the answers as a commented sheet. They are checked before.
func (f *newFlags) sheet() string {
	got := f.sort()
	load, _ := heater.ParseLoad(f.valves, nil)
	w := newWriter{flags: f, amps: math.Round(100*load.NominalA()) / 100}
	w.bench(got.pattern())
	w.loose(got.loose)
	w.limits()
	w.instrument(got.baselines)
	w.heaters(load)
	for i, u := range f.allUnits(got) {
		w.unit(u, got, i == 0)
	}
	return w.b.String()
}

// newWriter writes a sheet part by part.
type newWriter struct {
	b     strings.Builder
	flags *newFlags
	amps  float64 // the heaters' together
}

func (w *newWriter) line(format string, args ...any) { fmt.Fprintf(&w.b, format+"\n", args...) }

// answered is the number that an answer begins with; it is checked before.
func answered(s string) float64 {
	v, _ := leadingNumber(strings.TrimSuffix(strings.ToLower(s), "hz"))
	return v
}

func (w *newWriter) bench(pattern string) {
	f := w.flags
	w.line("# Bench sheet: which captures belong to which unit, and how they were made.")
	w.line("# Safety: clip the ground only to a point that you have measured to be floating or at")
	w.line("# earth; join grounds with everything unplugged. Local codes and licensed practice decide.")
	w.line("# Paths are relative to this file. A misspelt key gives an error that names the nearest one.")
	w.line("")
	w.line("title    = %s", sheet.Quote(f.title))
	w.line("workshop = %s", sheet.Quote(f.workshop))
	w.line("# date   = 2026-01-31       # shown in the report; today's date is never used")
	w.line("# note   = \"\"")
	w.line("mains_hz = %-14g # 50 or 60; if left out, it is found where a capture is long enough", answered(f.mains))
	w.line("target   = %s", sheet.Quote(f.target))
	w.line("# reserve_db = 3            # margin that a post-filter should leave")
	w.line("")
	w.line("# Files beside this one whose names fit the pattern need no line below: check, rank, report and")
	w.line("# watch assign them to their unit. {brand} {model} {mark} name the unit, {load} is its load")
	w.line("# in amps, {rest} is anything; .csv covers a sound card's .wav too.")
	w.line("pattern  = %s", sheet.Quote(pattern))
	w.line("")
}

func (w *newWriter) limits() {
	w.line("# Your own limits override the target's (volts, V/√Hz; 0 leaves a criterion out).")
	w.line("# [limits]")
	w.line("# heater_dc_v       = [6.6, 7.6]")
	w.line("# ripple_pp_20mhz_v = 0.020")
	w.line("")
	w.line("# What reaches the valve's input through its heater: the report then says how far")
	w.line("# below the valve's own noise each supply is. Leave out what you don't know.")
	w.line("# [hears]")
	w.line("# cathode_ohm        = 1500    # cathode resistor of the first stage")
	w.line("# bypass_f           = 100e-6  # capacitor across it; none if left out")
	w.line("# bypass_esr_ohm     = 0.2     # its series resistance; none if left out")
	w.line("# heater_cathode_f   = 5e-12   # heater-cathode capacitance")
	w.line("# heater_cathode_ohm = 10e6    # and hot insulation")
	w.line("# valve              = \"12AX7\" # its heater-grid capacitance, where the data sheet gives it")
	w.line("# heater_grid_f      = 0.5e-12 # or give it here; where neither is known, this upper bound is used")
	w.line("# source_ohm         = 47e3    # resistance that the grid sees")
	w.line("# heater_reference   = \"one end\" # how the heater is tied to ground; or \"centre tap\", \"elevated\"")
	w.line("# mu                 = 100     # amplification factor")
	w.line("# gm_ma_per_v        = 1.6     # mutual conductance in mA/V")
	w.line("# stage              = \"first\" # or \"second\"")
	w.line("# gain_before        = 1       # from the preamp's input to this stage's grid")
	w.line("# gain               = 20      # from its grid to the output, at 1 kHz")
	w.line("# riaa               = false   # the output is de-emphasised by the RIAA replay curve")
	w.line("# allowed_input_v    = 0.3e-6  # derive the limits from this: noise allowed at the input, V rms, A-weighted")
	w.line("")
}

func (w *newWriter) instrument(baselines []string) {
	f := w.flags
	hz, _ := capture.ParseHertz(f.bandwidth)
	memory, _ := parseSamples(f.memory)
	w.line("# Applies to every capture that doesn't say otherwise; of these keys only the last applies to sound-card captures.")
	w.line("[instrument]")
	w.line("name           = %s", sheet.Quote(f.instrument))
	w.line("bandwidth_hz   = %-12s # with the bandwidth limit off", sheet.Number(hz))
	if f.coupling == fromFile {
		w.line("# coupling     = \"ac\"         # where the files don't say; \"ac\" shows no DC: the meter readings below do")
	} else {
		w.line("coupling       = %-12s # \"ac\" shows no DC: the meter readings below do", sheet.Quote(strings.ToLower(f.coupling)))
	}
	w.line("probe_factor   = %-12g # multiply file volts by this; 1 when the scope knows its probe", answered(f.probe))
	w.line("memory_samples = %-12d # samples in one record", memory)
	w.line("gain_percent   = 3            # its gain accuracy; 3 %% is usual for 8 bits (common practice, no source)")
	w.line("# channel      = \"CH1\"        # the channel on the supply, where the files hold several")
	w.line("# volt_unit    = \"mV\"         # unit of the files' numbers, where the files don't say")
	w.line("# scale        = 1            # multiplies the files' numbers into volts")
	w.line("# band_limited = true         # the scope's 20 MHz limit was on")
	w.line("# anti_aliased = true         # slow captures: high-resolution mode, or an RC low-pass ahead of the scope")
	w.line("# volts_per_full_scale = 0.5  # for WAV files: volts (peak) at digital full scale, any attenuator included")
	w.line("")
	w.line("# The same set-up with the probe's tip on its own ground: the instrument's own noise.")
	if b := baselineFor("", baselines); b != "" {
		w.line("[instrument.baseline]")
		w.line("file = %s", sheet.Quote(b))
		w.line("# supply = \"off\"             # if it was made so; a baseline with the supply running is refused")
	} else {
		w.line("# [instrument.baseline]")
		w.line("# file   = \"baseline.csv\"")
		w.line("# supply = \"off\"             # made with the supply off; a baseline with it running is refused")
	}
	w.line("")
}

func (w *newWriter) heaters(load heater.Load) {
	w.line("# The heaters it must feed. wiring: \"parallel\" (6.3 V), \"series\" (a centre-tapped")
	w.line("# heater at 12.6 V) or \"string\" (in series).")
	w.line("[heaters]")
	w.line("# ambient_c        = 45  # air around the dropper inside the chassis, °C; 25 if left out")
	w.line("# lead_ohm         = 0.1 # leads and sockets, both wires together")
	w.line("# headroom_percent = 80  # of a unit's rated_a that the heaters may take")
	for _, g := range load.Groups {
		w.line("[[heaters.valve]]")
		w.line("type   = %s", sheet.Quote(g.Valve.Type))
		w.line("count  = %d", g.Count)
		if g.Wiring != "" {
			w.line("wiring = %s", sheet.Quote(string(g.Wiring)))
		}
		if g.StringName != "" {
			w.line("string = %s", sheet.Quote(g.StringName))
		}
	}
	w.line("# Together %.2f A on %s.", w.amps, load.RailText())
	w.line("")
	w.line("# A valve that is not in \"stillglow valves\":")
	w.line("# [[heaters.own_valve]]")
	w.line("# type  = \"MYTYPE\"")
	w.line("# volts = 6.3")
	w.line("# amps  = 0.3")
}

// loose lists the files whose names tell no unit.
func (w *newWriter) loose(files []string) {
	if len(files) == 0 {
		return
	}
	w.line("# Which units are these captures of? Move each line into the capture list of its unit below.")
	w.line("# They do not count as long as they are here.")
	w.line("capture = [")
	for _, file := range files {
		w.line("  { file = %s, load_a = %g },", sheet.Quote(file), answered(w.flags.loadA))
	}
	w.line("]")
	w.line("")
}

func (w *newWriter) unit(u newUnit, got sortedFiles, first bool) {
	f := w.flags
	w.line("")
	w.line("[[unit]]")
	w.line("brand   = %s", sheet.Quote(u.brand))
	if u.model != "" || first {
		w.line("model   = %s", sheet.Quote(u.model))
	}
	w.line("mark    = %-6s # what you wrote on it", sheet.Quote(u.mark))
	if u.state != "" {
		w.line("state   = %s", sheet.Quote(u.state))
	}
	if u.date != "" {
		w.line("date    = %s", u.date)
	}
	w.line("rated_v = %g", answered(f.ratedV))
	w.line("rated_a = %g", answered(f.ratedA))
	if first {
		w.line("# limit_a = %g # where it limits its current, if you have measured that", 1.3*answered(f.ratedA))
		w.line("# The same unit measured behind its filter or dropper, or on another day, goes in another [[unit]]:")
		w.line("# state = \"filter\"")
		w.line("# date  = 2026-01-31")
		w.line("# Meter readings at two loads or more: they size the dropper and show how the supply sags.")
		w.line("# readings = [{ load_a = 0, v = %.2f }, { load_a = %g, v = %.2f }]", 1.01*answered(f.ratedV), w.amps, answered(f.ratedV))
	}
	switch {
	case len(u.captures) > 0:
		if first {
			w.line("# One line for each file. load_a is its load in amps: correct it where the load was different.")
		}
		w.line("capture = [")
		for _, c := range u.captures {
			more := ""
			if sheet.ModeOfName(c.file) == capture.Common {
				more = ", mode = \"common\""
			}
			if b := baselineFor(c.file, got.baselines); b != "" && b != baselineFor("", got.baselines) {
				more += ", baseline = " + sheet.Quote(b)
			}
			w.line("  { file = %s, load_a = %g%s },", sheet.Quote(c.file), c.loadA, more)
		}
		w.line("]")
	case len(got.loose) > 0:
		w.line("capture = [")
		w.line("]")
	case first:
		w.line("# One line for each file; stillglow guide lists the captures to take.")
		w.line("# capture = [")
		w.line("#   { file = \"%s-%s-fast.csv\", load_a = %g },", fileWord(u.brand), fileWord(u.mark), w.amps)
		w.line("#   { file = \"%s-%s-slow.csv\", load_a = %g },", fileWord(u.brand), fileWord(u.mark), w.amps)
		w.line("#   { file = \"%s-%s-common-fast.csv\", load_a = %g, mode = \"common\" }, # both wires through 100 Ω to earth", fileWord(u.brand), fileWord(u.mark), w.amps)
		w.line("# ]")
	}
	if first {
		w.line("# From a scope that saves no files: what its screen or a meter shows. It can prove that a")
		w.line("# unit fails, never that it passes. \"on\" is a criterion of \"stillglow target\".")
		w.line("# [[unit.reading]]")
		w.line("# on                 = \"ripple_pp_20mhz_v\"")
		w.line("# value              = 0.060  # in volts, or the criterion's own unit")
		w.line("# plus_minus_percent = %d     # its uncertainty", sheet.UsualPlusMinusPercent)
		w.line("# band_limited       = true   # read with the 20 MHz limit on")
		w.line("# load_a             = %g", w.amps)
		w.line("# by                 = \"scope's screen\"")
	}
}

// baselineFor is the baseline of a capture's kind, a sound card's or a scope's, and
// of its mode, whose name shares the most words with the capture's; among equals the
// shortest name. For no capture ("") it is the scope's own.
func baselineFor(file string, files []string) string {
	best, most := "", -1
	for _, b := range files {
		if isWAVName(b) != isWAVName(file) || sheet.ModeOfName(b) != sheet.ModeOfName(file) {
			continue
		}
		n := 0
		for _, w := range nameWords(file) {
			if slices.Contains(nameWords(b), w) {
				n++
			}
		}
		if n > most || n == most && len(b) < len(best) {
			best, most = b, n
		}
	}
	return best
}

// nameWords are the words of a file's name without its ending.
func nameWords(file string) []string {
	stem, _, _ := strings.Cut(strings.ToLower(file), ".")
	return strings.FieldsFunc(stem, func(r rune) bool { return strings.ContainsRune("-_ +", r) })
}

func isWAVName(file string) bool {
	file = strings.TrimSuffix(strings.ToLower(file), ".gz")
	return filepath.Ext(file) == ".wav"
}

// fileWord makes a word fit for a file name.
func fileWord(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' || r == '_':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return '_'
	}, s)
}
