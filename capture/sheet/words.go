package sheet

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"stillglow/capture"
)

// Name is the unit's brand, model and mark in one line.
func (u Unit) Name() string {
	return strings.Join(strings.Fields(u.Brand+" "+u.Model+" "+u.Mark), " ")
}

// CheckWords compares the names that other rooms define, the target and the
// criteria in [limits], with the ones they know. The error names the line and
// the nearest known word.
func (s *Sheet) CheckWords(targets, criteria []string) error {
	if s.Target != "" && !slices.Contains(targets, s.Target) {
		return s.unknown("target", "target", s.Target, targets)
	}
	keys := make([]string, 0, len(s.Limits))
	for k := range s.Limits {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		if !slices.Contains(criteria, k) {
			return s.unknown("limits."+k, "criterion", k, criteria)
		}
	}
	return nil
}

func (s *Sheet) unknown(key, what, found string, known []string) error {
	p := s.at[key]
	e := &capture.ParseError{Path: s.Path, Line: p.line, Column: p.column, Found: fmt.Sprintf("unknown %s %q", what, found)}
	if near := nearest(found, known); near != "" {
		e.Expected = fmt.Sprintf("%q", near)
	} else {
		e.Expected = "one of " + strings.Join(known, ", ")
	}
	return e
}
