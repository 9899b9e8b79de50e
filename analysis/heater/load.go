package heater

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// maxValves bounds one load; nobody feeds more from one small supply.
const maxValves = 200

// ParseLoad reads a valve list such as "2x12AU7,1x6N2P". A count may be left
// out. "@" adds the wiring of a group: "2x12AU7@series" (each in its 12.6 V
// connection), "2x6N2P@string" (in series), "2x6N2P@string:A" to name
// the string that several groups share. The rail is found from the valves: 6.3 V
// where all can take it, else what they share.
func ParseLoad(s string, own []Valve) (Load, error) {
	groups, err := ParseGroups(s, own)
	if err != nil {
		return Load{}, err
	}
	return NewLoad(groups, 0)
}

// How a valve list is also written: "2x12AU7; 1x6N2P", "2x12AU7 + 1x6N2P", "2x12AU7
// 1x6N2P", "12AU7 x 2".
var (
	itemsApart  = regexp.MustCompile(`[,;+]`)
	unseparated = regexp.MustCompile(`([0-9A-Za-z])\s+(\d{1,3}\s*[x×*]\s*[0-9A-Za-z]{3})`)
	countBehind = regexp.MustCompile(`^(.*\S)\s*[xX×*]\s*(\d{1,3})$`)
)

// ParseGroups reads a valve list without judging its rail.
func ParseGroups(s string, own []Valve) ([]Group, error) {
	var groups []Group
	for _, item := range itemsApart.Split(unseparated.ReplaceAllString(s, "$1,$2"), -1) {
		item = strings.TrimSpace(item)
		if item == "" {
			return nil, &InputError{What: "valve list", Found: quoted(s), Expected: "valves such as 2x12AU7,1x6N2P"}
		}
		name, wiring, _ := strings.Cut(item, "@")
		wiring, shunt, shunted := strings.Cut(wiring, "/")
		g := Group{Count: 1}
		head := strings.TrimSpace(name)
		for _, sep := range []string{"x", "X", "×", "*"} {
			n, rest, found := strings.Cut(head, sep)
			count, err := strconv.Atoi(strings.TrimSpace(n))
			if !found || err != nil {
				continue // "12AX7" holds an X, but what stands ahead of it is no number
			}
			if _, whole := Lookup(head, own); whole == nil {
				continue // a type such as 6X4 is no six of anything
			}
			g.Count, head = count, strings.TrimSpace(rest)
			break
		}
		if m := countBehind.FindStringSubmatch(head); m != nil && g.Count == 1 {
			_, whole := Lookup(head, own)
			_, part := Lookup(m[1], own)
			if count, err := strconv.Atoi(m[2]); err == nil && whole != nil && part == nil {
				g.Count, head = count, m[1]
			}
		}
		if g.Count < 1 || g.Count > maxValves {
			return nil, &InputError{What: "valve list", Found: fmt.Sprintf("a count of %d in %q", g.Count, item), Expected: fmt.Sprintf("1 to %d", maxValves)}
		}
		v, err := Lookup(head, own)
		if err != nil {
			return nil, err
		}
		g.Valve = v
		g.Wiring, g.StringName, err = ParseWiring(wiring)
		if err != nil {
			return nil, err
		}
		if shunted {
			ohm := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(shunt), "Ω"))
			if g.ShuntOhm, err = strconv.ParseFloat(ohm, 64); err != nil || g.ShuntOhm == 0 {
				return nil, &InputError{What: "shunt", Found: quoted(shunt), Expected: "ohms across each heater of the group, such as 12AX7@string/20"}
			}
		}
		groups = append(groups, g)
	}
	return groups, nil
}

// ParseWiring reads a wiring in the words of the command line or the bench
// sheet: "", "parallel", "6.3 V parallel", "series", "12.6 V series", "string",
// "string:NAME", "string of series". An empty one leaves the choice to the rail.
func ParseWiring(s string) (w Wiring, stringName string, err error) {
	kind, stringName, _ := strings.Cut(strings.TrimSpace(s), ":")
	kind, stringName = strings.ToLower(kind), strings.TrimSpace(stringName)
	switch strings.Join(strings.FieldsFunc(kind, func(r rune) bool { return r == ' ' || r == '-' || r == '_' }), " ") {
	case "":
		w = ""
	case "parallel", "6.3 v parallel", "6.3v parallel", "6.3 v", "6.3":
		w = Parallel
	case "series", "12.6 v series", "12.6v series", "12.6 v", "12.6":
		w = Series
	case "string":
		w = String
	case "string of series", "series string", "string series":
		w = StringSeries
	default:
		return "", "", &InputError{What: "wiring", Found: quoted(s), Expected: "parallel, series, string, string:NAME or string-of-series"}
	}
	if stringName != "" && w != String && w != StringSeries {
		return "", "", &InputError{What: "wiring", Found: quoted(s), Expected: "a name only after string, as in string:A"}
	}
	return w, stringName, nil
}

// NewLoad puts groups on a rail and checks that every one of them takes its
// volts. rail 0 finds it: 6.3 V where all groups can take it, else what they
// share, else the volts of each group (Load.Rails). Groups without a wiring take the
// connection that suits the rail, of several the highest that does.
func NewLoad(groups []Group, rail float64) (Load, error) {
	if len(groups) == 0 {
		return Load{}, &InputError{What: "heater load", Found: "no valves", Expected: "at least one, such as 2x12AU7"}
	}
	if rail != 0 {
		if err := inRange("rail volts", rail, 0.5, maxVolts); err != nil {
			return Load{}, err
		}
	}
	groups = append([]Group(nil), groups...)
	for i := range groups {
		if err := checkGroup(&groups[i]); err != nil {
			return Load{}, err
		}
	}
	if err := checkFilaments(groups); err != nil {
		return Load{}, err
	}
	rails := []float64{rail}
	if rail == 0 {
		rails = findRails(groups)
	}
	for i := range groups {
		g := &groups[i]
		if g.Wiring == "" {
			g.Wiring = Parallel
			if g.Valve.CentreTapped && onRail(2*g.Valve.Volts, rails) {
				g.Wiring = Series
			}
		}
	}
	l := Load{Groups: together(groups), Volts: rails[0]}
	if rail == 0 && len(rails) > 1 {
		l.Rails = rails
	}
	for _, s := range l.strands() {
		if !onRail(s.volts(), rails) {
			return Load{}, railError(s, rails[0])
		}
	}
	return l, nil
}

// Mixed reports whether the heaters share a supply and no rail.
func (l Load) Mixed() bool { return len(l.Rails) > 1 }

// checked is the load as NewLoad makes it.
func (l Load) checked() (Load, error) {
	if l.Mixed() {
		return NewLoad(l.Groups, 0)
	}
	return NewLoad(l.Groups, l.Volts)
}

func onRail(volts float64, rails []float64) bool {
	return slices.ContainsFunc(rails, func(r float64) bool { return sameVolts(volts, r) })
}

// together counts groups that are alike as one: a list may name each valve by itself.
func together(groups []Group) []Group {
	var out []Group
	for _, g := range groups {
		k := slices.IndexFunc(out, func(o Group) bool {
			a, b := o.Valve, g.Valve
			return o.Wiring == g.Wiring && strings.EqualFold(o.StringName, g.StringName) && o.CathodeV == g.CathodeV && o.ShuntOhm == g.ShuntOhm &&
				a.Type == b.Type && a.Volts == b.Volts && a.Amps == b.Amps && a.VoltTol == b.VoltTol && a.AmpTol == b.AmpTol
		})
		if k >= 0 && out[k].Count+g.Count <= maxValves {
			out[k].Count += g.Count
			continue
		}
		out = append(out, g)
	}
	return out
}

// checkFilaments refuses what would join the cathodes of directly heated
// valves, or put one on another's bias: a string, or company on the supply.
func checkFilaments(groups []Group) error {
	for _, g := range groups {
		if !g.Valve.Filament {
			continue
		}
		found := ""
		switch {
		case g.Wiring == String || g.Wiring == StringSeries || g.Wiring == Series:
			found = fmt.Sprintf("%s in a string", g.Valve.Type)
		case len(groups) > 1:
			found = fmt.Sprintf("%s beside other heaters", g.Valve.Type)
		case g.Count > 1:
			found = fmt.Sprintf("%d x %s on one supply", g.Count, g.Valve.Type)
		default:
			continue
		}
		return &InputError{What: "heater load", Found: found, Expected: "a supply of its own for every directly heated valve",
			Fix: "its filament is its cathode, so what shares the supply shares the cathode and its bias: plan one such valve at a time, each from a floating supply"}
	}
	return nil
}

// checkGroup refuses what has no meaning, with what to do.
func checkGroup(g *Group) error {
	v := &g.Valve
	if v.Type == "" {
		return &InputError{What: "heater load", Found: "a valve without a type", Expected: "a name"}
	}
	if err := inRange(v.Type+" heater volts", v.Volts, 0.5, 200); err != nil {
		return err
	}
	if err := inRange(v.Type+" heater amps", v.Amps, 0.005, 20); err != nil {
		return err
	}
	if v.CentreTapped && v.Volts >= tappedV {
		return &InputError{What: v.Type + " heater", Found: volts(v.Volts) + " of a centre-tapped heater", Expected: "the volts and amps of its two halves in parallel",
			Fix: fmt.Sprintf("for %s, %s with the halves in series give %s, %s; leave the tap out if it is not used", volts(v.Volts), amps(v.Amps), volts(v.Volts/2), amps(2*v.Amps))}
	}
	if g.Count < 1 || g.Count > maxValves {
		return &InputError{What: v.Type + " count", Found: strconv.Itoa(g.Count), Expected: fmt.Sprintf("1 to %d", maxValves)}
	}
	for _, t := range []struct {
		name  string
		value *float64
		usual float64
	}{{"heater volts tolerance", &v.VoltTol, usualVolt}, {"heater current spread", &v.AmpTol, usualAmp}} {
		if *t.value == 0 {
			*t.value = t.usual
		}
		if err := inRange(v.Type+" "+t.name, *t.value, 0, 0.5); err != nil {
			return err
		}
	}
	if g.ShuntOhm != 0 {
		if err := inRange(v.Type+" shunt in ohms", g.ShuntOhm, leastShuntOhm, mostShuntOhm); err != nil {
			return err
		}
		if g.Wiring != String && g.Wiring != StringSeries {
			return &InputError{What: "heater load", Found: fmt.Sprintf("a shunt across %s outside a string", v.Type), Expected: "shunts in strings, to make up for a heater of less current",
				Fix: "leave it out: side by side it only takes current"}
		}
	}
	switch g.Wiring {
	case "", Parallel, String:
	case Series, StringSeries:
		if !v.CentreTapped {
			return &InputError{What: "heater load", Found: fmt.Sprintf("%s wired in series", v.Type), Expected: "a centre-tapped heater",
				Fix: fmt.Sprintf("it takes %s only: wire it in parallel, or two of them as a string (2x%s@string)", volts(v.Volts), v.Type)}
		}
	default:
		return &InputError{What: "wiring", Found: quoted(string(g.Wiring)), Expected: "parallel, series, string or string of series"}
	}
	return nil
}

// findRails gives the volts that the groups share, or the several that they need, the
// highest first: strings, series groups and valves with no choice decide; those with a
// choice take their lower volts where nothing else decides, or where no rail suits them.
func findRails(groups []Group) []float64 {
	var fixed, free []float64
	for _, s := range (Load{Groups: groups}).strands() {
		switch v := s.volts(); {
		case !s.choice && !onRail(v, fixed):
			fixed = append(fixed, v)
		case s.choice:
			free = append(free, v)
		}
	}
	rails := fixed
	for _, v := range free {
		if !onRail(v, rails) && (len(fixed) == 0 || !onRail(2*v, fixed)) {
			rails = append(rails, v)
		}
	}
	slices.SortFunc(rails, func(a, b float64) int { return cmp.Compare(b, a) })
	return rails
}

// strand is one path from bus to return: a single heater or a string.
type strand struct {
	name   string
	count  int  // equal ones side by side
	choice bool // centre-tapped, no wiring asked: the rail decides
	string bool
	elems  []element
}

func (s strand) volts() float64 {
	sum := 0.0
	for _, e := range s.elems {
		sum += float64(e.mult) * e.v0
	}
	return sum
}

// strands lists the load's paths in the order the groups were given.
func (l Load) strands() []strand {
	var out []strand
	at := map[string]int{}
	for _, g := range l.Groups {
		e := element{valve: g.Valve, v0: g.Valve.Volts, i0: g.Valve.Amps, mult: 1, shuntOhm: g.ShuntOhm}
		if g.Wiring == Series || g.Wiring == StringSeries {
			e.v0, e.i0 = 2*e.v0, e.i0/2
		}
		if g.Wiring != String && g.Wiring != StringSeries {
			out = append(out, strand{name: g.Valve.Type, count: g.Count, choice: g.Wiring == "" && g.Valve.CentreTapped, elems: []element{e}})
			continue
		}
		e.mult = g.Count
		k, seen := at[strings.ToLower(g.StringName)]
		if !seen {
			k = len(out)
			at[strings.ToLower(g.StringName)] = k
			name := "string"
			if g.StringName != "" {
				name += " " + g.StringName
			}
			out = append(out, strand{name: name, count: 1, string: true})
		}
		e.place = len(out[k].elems)
		out[k].elems = append(out[k].elems, e)
	}
	return out
}

// railError says what to do with a strand that doesn't take the rail's volts.
func railError(s strand, rail float64) error {
	e := &InputError{What: "heater load", Expected: fmt.Sprintf("what a %s rail feeds", volts(rail))}
	if s.string {
		e.Found = fmt.Sprintf("%s of %s in total", s.name, volts(s.volts()))
		e.Fix = fmt.Sprintf("give that string a supply of its own, or change the heaters in it until they add up to %s", volts(rail))
		return e
	}
	v := s.elems[0]
	e.Found = fmt.Sprintf("%s at %s", s.name, volts(v.v0))
	n := rail / v.v0
	switch {
	case v.valve.CentreTapped && sameVolts(v.v0, 2*rail):
		e.Fix = fmt.Sprintf("wire it in parallel: %s takes %s there", s.name, volts(rail))
	case v.valve.CentreTapped && sameVolts(2*v.v0, rail):
		e.Fix = fmt.Sprintf("wire it in series (%s@series): it takes %s there", s.name, volts(rail))
	case n > shortString && math.Abs(n-math.Round(n)) < wholeString*n:
		e.Fix = fmt.Sprintf("put %.0f of them in a string (%.0fx%s@string), or feed it from a %s rail of its own", n, n, s.name, volts(v.v0))
	case v.v0 > rail:
		e.Fix = fmt.Sprintf("it would get %s (%s): feed it from a %s rail of its own, or take a %s type", volts(rail), percent(rail/v.v0-1), volts(v.v0), volts(rail))
	default:
		e.Fix = fmt.Sprintf("it would get %s (%s): feed it from a %s rail of its own", volts(rail), percent(rail/v.v0-1), volts(v.v0))
	}
	e.Fix += ", or leave the rail out, and each valve gets its own resistor"
	return e
}

// sameVolts is true within 1 %: 6.3 and 6.25 V are one rail, 6.3 and 7.0 not.
func sameVolts(a, b float64) bool { return math.Abs(a-b) <= sameRail*math.Max(a, b) }

// tappedV is the volts from which on a centre-tapped heater's are taken for those of its
// halves in series, 12.6 V of a preamp valve.
const tappedV = 12

// maxVolts bounds every voltage a plan takes.
const maxVolts = 1000

// What a shunt across one heater is believed to be.
const (
	leastShuntOhm = 1.0
	mostShuntOhm  = 10e3
)

// inRange refuses NaN, infinities and values outside lo to hi.
func inRange(what string, v, lo, hi float64) error {
	if v >= lo && v <= hi {
		return nil
	}
	return &InputError{What: what, Found: strconv.FormatFloat(v, 'g', 6, 64), Expected: fmt.Sprintf("%g to %g", lo, hi)}
}

func volts(v float64) string { return strconv.FormatFloat(roundSig(v, 4), 'f', -1, 64) + " V" }

func quoted(s string) string { return strconv.Quote(s) }

// Check refuses a load that no rail feeds. A load without valves passes: it is
// a sheet that lists none.
func (l Load) Check() error {
	if len(l.Groups) == 0 {
		return nil
	}
	_, err := l.checked()
	return err
}

// NominalA is the summed current at the heaters' rated volts, in A. Strings of
// unequal heaters are solved with the default exponent.
func (l Load) NominalA() float64 {
	if len(l.Groups) == 0 {
		return 0
	}
	return l.atRating().nominalA
}

// HighA is the most that the heaters draw at their rated volts, by the spread of
// their currents, in A: what a supply must be rated for.
func (l Load) HighA() float64 {
	if len(l.Groups) == 0 {
		return 0
	}
	_, high := l.atRating().spreadA()
	return high
}

// atRating is the load at its rated volts, with the default exponent.
func (l Load) atRating() sizing {
	full, err := l.checked()
	if err != nil {
		full = l
	}
	return newSizing(full, full.strands(), Supply{}, Options{Exponent: defaultExponent})
}

// Describe names the load in words: "2 x 12AU7 parallel, 2 x 6N2P in string A".
func (l Load) Describe() string {
	var words []string
	for _, g := range l.Groups {
		w := fmt.Sprintf("%d x %s", g.Count, g.Valve.Type)
		switch g.Wiring {
		case Parallel:
			w += " parallel"
		case Series:
			w += " in series (" + volts(2*g.Valve.Volts) + ")"
		case String, StringSeries:
			w += " in " + strings.TrimSpace("string "+g.StringName)
		}
		if g.ShuntOhm > 0 {
			w += fmt.Sprintf(" (%s across each)", ohms(g.ShuntOhm))
		}
		words = append(words, w)
	}
	return strings.Join(words, ", ")
}
