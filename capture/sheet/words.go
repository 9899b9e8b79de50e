package sheet

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"stillglow/capture"
)

// Name is the unit's brand, model and mark in one line, for people: a unit's
// identity is its place in Units. Where two units of a sheet would read alike
// (model "T 70" mark "B1", and model "T" mark "70 B1"), the parts are told apart
// in it.
func (u Unit) Name() string {
	if u.apart {
		return u.partsName()
	}
	return strings.Join(strings.Fields(u.Brand+" "+u.Model+" "+u.Mark), " ")
}

// partsName names each part that there is.
func (u Unit) partsName() string {
	name := strings.Join(strings.Fields(u.Brand), " ")
	for _, part := range []struct{ what, words string }{{"model", u.Model}, {"mark", u.Mark}} {
		if words := strings.Join(strings.Fields(part.words), " "); words != "" {
			name += fmt.Sprintf(", %s \"%s\"", part.what, words)
		}
	}
	return name
}

// tellApart marks the units whose plain names read alike.
func tellApart(units []Unit) {
	first := map[string]int{}
	for i := range units {
		name := strings.ToLower(units[i].Name())
		if k, taken := first[name]; taken {
			units[i].apart, units[k].apart = true, true
			continue
		}
		first[name] = i
	}
}

// identity is what no two units of a sheet may share, however it is written.
type identity struct{ brand, model, mark string }

func (u Unit) identity() identity {
	plain := func(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
	return identity{plain(u.Brand), plain(u.Model), plain(u.Mark)}
}

// CheckWords compares the names that other rooms define, the target and the
// criteria in [limits] and of readings, with the ones they know. The error names the line and
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
	for _, u := range s.Units {
		for _, r := range u.Shown {
			if !slices.Contains(criteria, r.On) {
				return s.unknown(r.Key+".on", "criterion", r.On, criteria)
			}
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
