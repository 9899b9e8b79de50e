package sheet

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"stillglow/capture"
)

// Unmatched are files that look like captures, that the sheet doesn't name and that
// its pattern gives to no unit.
type Unmatched struct {
	Names     []string // fit no unit, or more than one
	Baselines []string // are named like a baseline
}

// TakeMatching gives the units the files of a folder ("": the sheet's own) that fit
// the sheet's pattern, as if the sheet named them. What the sheet names already
// stays as it is. Without a pattern nothing is done.
func (s *Sheet) TakeMatching(folder string) (left Unmatched, err error) {
	if s.Pattern == "" {
		return left, nil
	}
	pattern, err := ParsePattern(s.Pattern)
	if err != nil {
		return left, err
	}
	if folder == "" {
		folder = s.Dir
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		return left, &capture.ParseError{Path: folder, Found: "no folder that can be read", Expected: "the one with the scope's files", Err: err}
	}
	home, err := filepath.Abs(s.Dir)
	if err != nil {
		return left, fmt.Errorf("%s: %w", s.Path, err)
	}
	there, err := filepath.Abs(folder)
	if err != nil {
		return left, fmt.Errorf("%s: %w", s.Path, err)
	}
	named, units := s.named(), pattern.of(s.Units)
	for _, e := range entries {
		name, path := e.Name(), filepath.Join(there, e.Name())
		if !leadsToFile(e, path) || named[path] {
			continue
		}
		unit, load, ok := units.match(name)
		capture := ok || OnlyCapture(name)
		switch {
		case capture && baselineName.MatchString(name):
			left.Baselines = append(left.Baselines, name)
		case ok:
			if there == home {
				path = name
			}
			_ = s.Add(unit, path, load) // gone again since the folder was read
		case capture || strings.EqualFold(filepath.Ext(name), filepath.Ext(s.Pattern)):
			left.Names = append(left.Names, name)
		}
	}
	return left, nil
}

// leadsToFile reports whether an entry of a folder is a file, or a link to one.
func leadsToFile(e os.DirEntry, path string) bool {
	if e.Type()&os.ModeSymlink == 0 {
		return e.Type().IsRegular()
	}
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular()
}

// baselineName finds the captures that are no unit's: of the instrument alone.
var baselineName = regexp.MustCompile(`(?i)(?:^|[^a-z])(?:baseline|floor|shorted|(?:supply|psu)[ _-]?off)(?:[^a-z]|$)`)

// named are the absolute paths of all files that the sheet names.
func (s *Sheet) named() map[string]bool {
	out := map[string]bool{}
	add := func(c *Capture) {
		if c == nil {
			return
		}
		if path, err := filepath.Abs(c.Path); err == nil {
			out[path] = true
		}
	}
	add(s.Instrument.Baseline)
	for i := range s.Loose {
		add(&s.Loose[i])
	}
	for _, u := range s.Units {
		for i := range u.Captures {
			add(&u.Captures[i])
			add(u.Captures[i].Baseline)
		}
	}
	return out
}

// Text says in one line each what is left out, nil where nothing is.
func (u Unmatched) Text(pattern string) []string {
	var out []string
	for _, name := range slices.Sorted(slices.Values(u.Names)) {
		out = append(out, fmt.Sprintf("%s fits no unit, or more than one, by the pattern %s", capture.OneLine(name), pattern))
	}
	for _, name := range slices.Sorted(slices.Values(u.Baselines)) {
		out = append(out, fmt.Sprintf("%s is named like a baseline and was assigned to no unit: name it in the sheet as what it is", capture.OneLine(name)))
	}
	return out
}
