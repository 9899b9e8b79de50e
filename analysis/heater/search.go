package heater

import (
	"errors"
	"regexp"
	"slices"
	"strings"
)

// Search finds valves by a part of their type or of another name of it, for a
// list to pick from: the valve that Lookup finds first, then those whose names
// hold the part, then the nearest names where nothing does. The part is read as
// Lookup reads a name. An empty part finds nothing.
func Search(part string, own []Valve) []Valve {
	var out []Valve
	add := func(v Valve) {
		if !slices.ContainsFunc(out, func(o Valve) bool { return o.Type == v.Type }) {
			out = append(out, complete(v))
		}
	}
	exact, err := Lookup(part, own)
	if err == nil {
		add(exact)
	}
	key := normalise(part)
	if key == "" {
		return nil
	}
	for _, k := range []string{key, lookAlike(key), lookAlikeStart(key)} {
		for _, v := range slices.Concat(own, builtIn()) {
			holds := func(name string) bool { return strings.Contains(normalise(name), k) }
			if holds(v.Type) || slices.ContainsFunc(v.Aliases, holds) {
				add(v)
			}
		}
	}
	var unknown *UnknownValveError
	if len(out) == 0 && errors.As(err, &unknown) {
		for _, name := range unknown.Near {
			if v, err := Lookup(name, own); err == nil {
				add(v)
			}
		}
	}
	return out
}

var russianStart = regexp.MustCompile(`^([0-9]+)([HC])([0-9]*)$`)

// lookAlikeStart is lookAlike for the beginning of a name, up to its second number:
// 6H2 begins 6N2P, 6C4 begins 6S45P.
func lookAlikeStart(key string) string {
	m := russianStart.FindStringSubmatch(key)
	if m == nil {
		return key
	}
	return m[1] + map[string]string{"H": "N", "C": "S"}[m[2]] + m[3]
}
