package heater

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Table gives the built-in valves, sorted as a parts list would be.
func Table() []Valve {
	out := builtIn()
	slices.SortStableFunc(out, func(a, b Valve) int { return strings.Compare(a.Type, b.Type) })
	return out
}

// builtIn puts the built-in rows together with what is kept beside them.
func builtIn() []Valve {
	out := make([]Valve, 0, len(table)+len(filaments))
	for _, r := range table {
		out = append(out, Valve{Type: r.name, Aliases: append([]string(nil), r.aliases...), Volts: r.volts, Amps: r.amps, CentreTapped: r.tapped,
			VoltTol: r.voltTol, AmpTol: r.ampTol, Pins: r.pins, Base: r.base, MaxVhk: r.maxVhk, Source: r.source, Note: notes[r.name]})
	}
	for _, v := range filaments {
		v.Aliases = append([]string(nil), v.Aliases...)
		v.Filament, v.VoltTol, v.AmpTol, v.Source = true, tightVolt, usualAmp, fromMemory
		out = append(out, v)
	}
	return out
}

// Lookup finds a valve by type or alias, the user's own list first. Case,
// blanks and hyphens make no difference, nor do Cyrillic letters or the Latin
// ones that look like them (6H8C for 6N8S). An unknown name gives an
// *UnknownValveError with the nearest names, a rectifier a *RectifierError. Letters for a
// later make that the table doesn't have (12AX7WB) leave the type, with a note.
func Lookup(name string, own []Valve) (Valve, error) {
	key := normalise(name)
	if key == "" {
		return Valve{}, &InputError{What: "valve type", Found: quoted(name), Expected: "a name such as 12AU7"}
	}
	keys := Spellings(name)
	var found []Valve
	for _, k := range keys {
		if v, ok := findFirst(k, own); ok && !slices.ContainsFunc(found, func(f Valve) bool { return f.Type == v.Type }) {
			found = append(found, v)
		}
	}
	switch {
	case len(found) > 1 && cyrillic.MatchString(name): // by the letters' sound one valve, by their shape another
		return Valve{}, &UnknownValveError{Name: strings.TrimSpace(name), Near: []string{found[0].Type, found[1].Type}}
	case len(found) > 0:
		return againstTable(complete(found[0])), nil
	}
	if v, ok := oneOfNames(name, own); ok {
		return v, nil
	}
	for _, k := range keys {
		if data, ok := rectifiers[k]; ok {
			return Valve{}, &RectifierError{Name: strings.TrimSpace(name), Data: data}
		}
	}
	if v, ok := laterMake(name, keys); ok {
		return v, nil
	}
	return Valve{}, &UnknownValveError{Name: strings.TrimSpace(name), Near: nearest(key, own)}
}

// laterLetters are those behind a type for a ruggedised (W) or a later make, or another
// bulb (GT, G), which leave the heater as it is, from memory.
var laterLetters = regexp.MustCompile(`^(.*[0-9])(W?[ABC]|W|W?GT[ABC]?|G)$`)

// laterMake finds a built-in valve under a name with such letters, which is noted.
func laterMake(name string, keys []string) (Valve, bool) {
	for _, k := range keys {
		m := laterLetters.FindStringSubmatch(k)
		if m == nil {
			continue
		}
		if v, ok := find(m[1], builtIn()); ok && !v.Filament {
			v.Note = strings.TrimPrefix(fmt.Sprintf("%s; %s is taken for it, whose heater such letters (%s) usually leave as it is (from memory): check the data sheet", v.Note, strings.TrimSpace(name), m[2]), "; ")
			return v, true
		}
	}
	return Valve{}, false
}

// againstTable notes where a user's own valve goes by the name of a built-in one whose
// heater is another: a slip of a digit heats ten valves, or none.
func againstTable(v Valve) Valve {
	b, ok := find(normalise(v.Type), builtIn())
	if !ok || math.Abs(v.Volts/b.Volts-1) <= ownDiffers && math.Abs(v.Amps/b.Amps-1) <= ownDiffers {
		return v
	}
	v.Note = strings.TrimPrefix(fmt.Sprintf("%s; your own entry gives %s and %s, the table %s and %s for that name", v.Note, volts(v.Volts), amps(v.Amps), volts(b.Volts), amps(b.Amps)), "; ")
	return v
}

// ownDiffers is how far a user's own figures may lie off the table's for one name, as
// samples and data sheets do, relative.
const ownDiffers = 0.2

// namesApart are the marks between several names of one valve: "12AU7A/ECC82".
var namesApart = regexp.MustCompile(`[/=,()]+`)

// oneOfNames finds a valve that is written by several of its names, or by one and a maker's
// word in brackets. Names of different valves find none.
func oneOfNames(name string, own []Valve) (v Valve, ok bool) {
	parts := namesApart.Split(name, mostNames+1)
	if len(parts) < 2 || len(parts) > mostNames {
		return Valve{}, false
	}
	for i, p := range parts {
		if normalise(p) == "" {
			continue
		}
		switch one, err := Lookup(p, own); {
		case err != nil && (i == 0 || strings.ContainsAny(p, "0123456789")):
			return Valve{}, false
		case err != nil: // a maker's word
		case ok && one.Type != v.Type:
			return Valve{}, false
		default:
			v, ok = one, true
		}
	}
	return v, ok
}

// mostNames bounds the names that a type may be written by.
const mostNames = 5

// Spellings are the Latin capitals and digits that a name may stand for, likeliest
// first: Cyrillic letters by their sound (6Н2П is 6N2P), Latin ones for the Cyrillic
// that they look like (6H2P is 6N2P), and Cyrillic ones typed for the Latin that they
// look like (12АХ7 is 12AX7, ЕСС83 is ECC83).
func Spellings(name string) []string {
	var out []string
	add := func(key string) {
		if key != "" && !slices.Contains(out, key) {
			out = append(out, key)
		}
	}
	key := normalise(name)
	add(key)
	add(lookAlike(key))
	if looks := shape.Replace(strings.ToUpper(name)); !strings.Contains(looks, "У") {
		add(normalise(looks))
	}
	return out
}

// shape turns Cyrillic letters into the Latin ones that they look like. У is left
// out: it may be meant for a Y or a U, which are two valves.
var shape = strings.NewReplacer("А", "A", "В", "B", "Е", "E", "К", "K", "М", "M", "Н", "H", "О", "O", "Р", "P", "С", "C", "Т", "T", "Х", "X")

var cyrillic = regexp.MustCompile(`\p{Cyrillic}`)

// findFirst looks a normalised name up in the user's own list, then in the table.
func findFirst(key string, own []Valve) (Valve, bool) {
	if v, ok := find(key, own); ok {
		return v, true
	}
	return find(key, builtIn())
}

// find looks a normalised name up in one list.
func find(key string, list []Valve) (Valve, bool) {
	for _, v := range list {
		if normalise(v.Type) == key {
			return v, true
		}
		for _, a := range v.Aliases {
			if normalise(a) == key {
				return v, true
			}
		}
	}
	return Valve{}, false
}

// russian is a type number of the Soviet kind as Latin keyboards write it from
// its looks: digits, then H for the Cyrillic N or C for its S, digits, then the
// kind of bulb, and perhaps EB for the long-life EV.
var russian = regexp.MustCompile(`^([0-9]+)([HCN])([0-9]+)([PCSBGN])(EB|EV)?$`)

// lookAlike reads a name that is written with Latin letters for the Cyrillic
// ones they look like: 6H8C is 6N8S, 6H23P is 6N23P.
func lookAlike(key string) string {
	m := russian.FindStringSubmatch(key)
	if m == nil {
		return key
	}
	swap := map[string]string{"H": "N", "C": "S", "N": "N"}
	bulb := m[4]
	switch bulb {
	case "C":
		bulb = "S"
	case "N":
		bulb = "P" // a written п looks like an n
	}
	return m[1] + swap[m[2]] + m[3] + bulb + strings.Replace(m[5], "EB", "EV", 1)
}

// complete fills in the customary spreads that a user's own valve leaves out.
func complete(v Valve) Valve {
	if v.VoltTol == 0 {
		v.VoltTol = usualVolt
	}
	if v.AmpTol == 0 {
		v.AmpTol = usualAmp
	}
	if v.Source == "" {
		v.Source = "own entry"
	}
	v.Aliases = append([]string(nil), v.Aliases...)
	return v
}

// latin turns the Cyrillic letters of valve types into the customary Latin
// ones.
var latin = strings.NewReplacer("А", "A", "В", "V", "Г", "G", "Д", "D", "Е", "E", "Ж", "ZH", "И", "I", "К", "K",
	"Н", "N", "П", "P", "Р", "R", "С", "S", "Ф", "F", "Х", "H", "Ц", "C", "Э", "E")

// normalise brings a name to the form that is compared.
func normalise(name string) string {
	s := latin.Replace(strings.ToUpper(name))
	return strings.Map(func(r rune) rune {
		if r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, s)
}

// nearest gives up to three names within an edit distance of 2, nearest first.
func nearest(key string, own []Valve) []string {
	type candidate struct {
		name string
		dist int
	}
	var all []candidate
	for _, list := range [][]Valve{own, builtIn()} {
		for _, v := range list {
			for _, n := range append([]string{v.Type}, v.Aliases...) {
				if d := levenshtein.ComputeDistance(key, normalise(n)); d <= 2 {
					all = append(all, candidate{n, d})
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.dist, b.dist), strings.Compare(a.name, b.name))
	})
	var out []string
	for _, c := range all {
		if len(out) == similar {
			break
		}
		out = append(out, c.name)
	}
	return out
}
