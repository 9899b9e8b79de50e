package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/unicode/norm"

	"stillglow/capture"
)

// Name is the unit's brand, model and mark in one line, for people, with its state
// and date where the sheet has it in several: a unit's identity is its place in
// Units. Where two units of a sheet would read alike (model "T 70" mark "B1", and
// model "T" mark "70 B1"), the parts are told apart in it.
func (u Unit) Name() string {
	name := u.plainName()
	if u.apart {
		name = u.partsName()
	}
	if u.told || u.State == BehindFilter || u.State == BehindDropper {
		name += " " + stateWords[u.State]
	}
	if u.dated && u.Date != "" {
		name += ", " + u.Date
	}
	return name
}

var stateWords = map[string]string{Bare: "bare", BehindFilter: "behind its filter", BehindDropper: "behind its dropper"}

func (u Unit) plainName() string {
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

// tellApart marks the units whose plain names read alike though they are others, and
// those that the sheet has in several states or on several days.
func tellApart(units []Unit) {
	first := map[string]int{}
	for i := range units {
		name := strings.ToLower(norm.NFKC.String(units[i].plainName()))
		k, taken := first[name]
		if !taken {
			first[name] = i
			continue
		}
		if a, b := units[i].identity().supply, units[k].identity().supply; a != b {
			units[i].apart, units[k].apart = true, true
		}
	}
	states, days := map[supply]int{}, map[identity]int{}
	undated := func(id identity) identity { id.date = ""; return id }
	for i := range units {
		id := units[i].identity()
		states[id.supply]++
		days[undated(id)]++
	}
	brands, models, marks := map[string]string{}, map[supply]string{}, map[supply]string{}
	for i := range units {
		u, id := &units[i], units[i].identity()
		u.Brand = firstSpelling(brands, id.brand, u.Brand)
		u.Model = firstSpelling(models, supply{brand: id.brand, model: id.model}, u.Model)
		u.Mark = firstSpelling(marks, id.supply, u.Mark)
		units[i].told = states[id.supply] > 1
		units[i].dated = days[undated(id)] > 1
	}
}

// firstSpelling is how a name was written where the sheet first had it: a brand that is
// "Alder" here and "ALDER" there is one brand, with one share of units that pass.
func firstSpelling[K comparable](spellings map[K]string, key K, written string) string {
	if first, known := spellings[key]; known {
		return first
	}
	spellings[key] = written
	return written
}

// supply is what tells one physical supply from another, however it is written.
type supply struct{ brand, model, mark string }

// identity is what no two units of a sheet may share: the supply, its state and the day.
type identity struct {
	supply
	state, date string
}

// hyphens are those that NFKC leaves as they are: hyphen, en dash, minus sign.
var hyphens = strings.NewReplacer("\u2010", "-", "\u2013", "-", "\u2212", "-")

// latinLooks are the Cyrillic and Greek letters whose capitals look like Latin ones, in
// small letters, as a keyboard left in the other script puts them into a name; not the mu, which is the micro sign, too.
var latinLooks = strings.NewReplacer("а", "a", "в", "b", "е", "e", "к", "k", "м", "m", "н", "h", "о", "o", "р", "p", "с", "c", "т", "t", "у", "y", "х", "x", "ѕ", "s", "і", "i", "ј", "j",
	"α", "a", "β", "b", "ε", "e", "ζ", "z", "η", "h", "ι", "i", "κ", "k", "ν", "n", "ο", "o", "ρ", "p", "τ", "t", "υ", "y", "χ", "x")

func (u Unit) identity() identity {
	// An accented letter is one character or two, a hyphen one of several, and a letter
	// may be of another script: what reads alike is one name.
	plain := func(s string) string {
		return latinLooks.Replace(strings.ToLower(strings.Join(strings.Fields(hyphens.Replace(norm.NFKC.String(s))), " ")))
	}
	return identity{supply{plain(u.Brand), plain(u.Model), plain(u.Mark)}, u.State, u.Date}
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
	slices.Sort(keys)
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

// Number writes v as a builder writes it into a sheet: in full from a thousandth
// up, below that with an exponent of three, as in "30e-6".
func Number(v float64) string {
	a := math.Abs(v)
	if a == 0 || a >= 1e-3 && a < 1e15 {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', -1, 64), "e")
	e, _ := strconv.Atoi(exponent)
	shift := ((e % 3) + 3) % 3
	whole, rest, _ := strings.Cut(mantissa, ".") // digits are moved, not computed: v stays the same to the last bit
	for ; shift > 0; shift, e = shift-1, e-1 {
		whole, rest = whole+(rest + "0")[:1], strings.TrimPrefix(rest, (rest + " ")[:1])
	}
	if rest != "" {
		whole += "." + rest
	}
	return fmt.Sprintf("%se%d", whole, e)
}
