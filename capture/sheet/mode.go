package sheet

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"

	"stillglow/capture"
)

// The words of a baseline's supply key.
const (
	supplyOff     = "off"
	supplyRunning = "running"
)

// mode reads a capture's mode; "" is differential.
func (b *builder) mode(key, word string) capture.Mode {
	m, ok := capture.ParseMode(word)
	if !ok {
		b.fail(key, fmt.Sprintf("mode = %q", word), "\"differential\" (across the output) or \"common\" (both wires together against chassis or earth)", "")
	}
	return m
}

// supply reads how the instrument's baseline was made. With the supply running
// the probe's loop picks up what that one unit radiates, which is no other unit's
// and not the instrument's: it is never taken off.
func (b *builder) supply(raw *rawCapture, key string) (off bool) {
	if raw.Supply == "" {
		return false
	}
	if key != "instrument.baseline" {
		b.fail(key+".supply", "supply given for a capture", "it only in [instrument.baseline]", "a unit's captures are all made with its supply running")
		return false
	}
	switch strings.ToLower(raw.Supply) {
	case supplyOff:
		return true
	case supplyRunning:
		b.fail(key+".supply", "a baseline made with the supply running", "one with the supply off, the probe's tip on its own ground",
			"what it picks up with the supply running is that unit's own and is never subtracted; keep the file out of the baseline and say so in the unit's note")
	default:
		b.fail(key+".supply", fmt.Sprintf("supply = %q", raw.Supply), "\"off\" or \"running\"", "")
	}
	return false
}

// ofOneMode refuses a baseline file that captures of both modes name: it was made
// with the 100 Ω in place or without.
func (b *builder) ofOneMode(s *Sheet) {
	type use struct {
		mode capture.Mode
		line int
	}
	seen := map[string]use{}
	s.eachBaseline(func(key string, _, base *Capture) {
		path := filepath.Clean(base.Path)
		before, ok := seen[path]
		if !ok {
			seen[path] = use{base.Options.Mode, base.Line}
			return
		}
		if before.mode != base.Options.Mode {
			b.fail(key, fmt.Sprintf("baseline %q for a %s capture; it is used for a %s one in line %d", base.File, base.Options.Mode.Word(), before.mode.Word(), before.line),
				"a baseline of each mode", "take one more with the probe where the common-mode captures have it, the supply off, or write baseline = \"none\"")
		}
	})
}

// commonWord finds the words common, commonmode or cm by themselves in a file name.
var commonWord = regexp.MustCompile(`(?i)(^|[^a-z0-9])(?:common(?:mode)?|cm)([^a-z0-9]|$)`)

// ModeOfName is the mode of a file that no entry of the sheet describes: a name
// that holds the word common, or cm, is of a common-mode capture.
func ModeOfName(file string) capture.Mode {
	if commonWord.MatchString(filepath.Base(file)) {
		return capture.Common
	}
	return capture.Differential
}

// probeFactor is what a capture's volts are multiplied by for its probe.
func (c *Capture) probeFactor() float64 {
	if c.Options.ProbeFactor == 0 {
		return 1
	}
	return c.Options.ProbeFactor
}

// leaveOtherProbes takes the instrument's baseline from captures that have another probe
// factor than it, and says so: it was made with another probe, or one factor is wrong, and
// either way what it shows would be taken off wrongly.
func (s *Sheet) leaveOtherProbes() {
	s.eachBaseline(func(_ string, of, base *Capture) {
		if of == nil || base != s.Instrument.Baseline || of.probeFactor() == base.probeFactor() {
			return
		}
		of.Baseline = nil
		s.Notes = append(s.Notes, fmt.Sprintf("line %d: %s has probe_factor %g and the instrument's baseline %s has %g, so it is not taken off; correct the factor that is wrong, or give the capture a baseline of its own probe, baseline = \"...\"",
			of.Line, of.File, of.probeFactor(), base.File, base.probeFactor()))
	})
}

// ofOneSetup refuses a baseline that another instrument made, or that was scaled by
// one probe factor for one capture and by another for the next.
func (b *builder) ofOneSetup(s *Sheet) {
	scaled := map[string]float64{}
	s.eachBaseline(func(key string, of, base *Capture) {
		path := filepath.Clean(base.Path)
		before, seen := scaled[path]
		scaled[path] = base.probeFactor()
		switch {
		case of == nil:
		case isWAV(of.File) != isWAV(base.File):
			b.fail(key, fmt.Sprintf("baseline %q for %q", base.File, of.File), "both from the scope or both from the sound card",
				"take one with the same instrument, or write baseline = \"none\"")
		case seen && before != base.probeFactor():
			b.fail(key, fmt.Sprintf("baseline %q of a capture with probe_factor %g; another capture has it with %g", base.File, base.probeFactor(), before),
				"one probe for all that share a baseline", "correct the factor that is wrong, or take a baseline with each probe")
		}
	})
}
