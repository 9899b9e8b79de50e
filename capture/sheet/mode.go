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
	once := func(key string, base *Capture) {
		if base == nil {
			return
		}
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
	}
	once("instrument.baseline", s.Instrument.Baseline)
	for i, u := range s.Units {
		for j := range u.Captures {
			once(fmt.Sprintf("unit[%d].capture[%d].baseline", i, j), u.Captures[j].Baseline)
		}
	}
	for i := range s.Loose {
		once(fmt.Sprintf("capture[%d].baseline", i), s.Loose[i].Baseline)
	}
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
