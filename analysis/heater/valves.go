package heater

import (
	"sort"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Sources of the table's volts and amps. "Read" rows were read in a public
// text; the rest is from memory and says so.
const (
	fromMemory = "from memory"
	srcWiki    = "read: public encyclopedia article on the 12AX7, after a maker's sheet"
	srcList    = "read: public comparison list of the family (op316)"
	srcGE      = "read: maker's sheet ET-T1113 as quoted in a public text"
	src12BH7   = "read: public data pages on the 12BH7A"
	src6SN7    = "read: public encyclopedia article on the 6SN7"
	srcEF86    = "read: public encyclopedia article on the EF86"
	srcEL84    = "read: public encyclopedia article on the EL84"
	src12AZ7   = "read: public data page on the 12AZ7"
	src12AT7   = "read: public data page on the ECC81"
	srcHeaters = "read: public forum note on wiring ECC81, ECC82 and ECC83 heaters"
)

// Customary spreads, from memory: heater volts ±10 % permissible, ±5 % for
// long-life types; current at rated volts ±7 % unless the sheet prints one.
const (
	usualVolt, tightVolt = 0.10, 0.05
	usualAmp             = 0.07
)

// noval and the like name the base.
const (
	noval     = "noval (B9A)"
	miniature = "miniature (B7G)"
	octal     = "octal (K8A)"
	ctPins    = "4, 5, centre tap 9"
	pins45    = "4, 5"
)

// table is the built-in list. Columns: type, aliases, volts, amps, centre tap,
// volt tolerance, amp tolerance, pins, base, max heater-cathode volts, source.
var table = []Valve{
	{"12AX7", []string{"ECC83", "7025", "12AX7A", "12AX7WA", "ECC83S", "B339", "CV4004"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 180, srcWiki},
	{"7025A", nil, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 0, srcList},
	{"ECC803S", []string{"ECC803"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, srcList},
	{"6057", []string{"M8137"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, srcList},
	{"12AD7", nil, 6.3, 0.450, true, usualVolt, usualAmp, ctPins, noval, 0, srcList},
	{"6EU7", nil, 6.3, 0.300, false, usualVolt, usualAmp, "", noval, 0, srcList},
	{"6AV6", []string{"EBC91"}, 6.3, 0.300, false, usualVolt, usualAmp, "3, 4", miniature, 0, srcList},
	{"12AV6", nil, 12.6, 0.150, false, usualVolt, usualAmp, "3, 4", miniature, 0, srcList},
	{"6DJ8", []string{"ECC88"}, 6.3, 0.365, false, usualVolt, usualAmp, pins45, noval, 130, srcList},
	{"7DJ8", []string{"PCC88"}, 7.0, 0.300, false, usualVolt, usualAmp, pins45, noval, 130, srcList},
	{"6922", []string{"E88CC", "CCa"}, 6.3, 0.300, false, tightVolt, usualAmp, pins45, noval, 120, srcList},
	{"7308", []string{"E188CC"}, 6.3, 0.335, false, tightVolt, usualAmp, pins45, noval, 120, srcList},
	{"12BH7", []string{"12BH7A"}, 6.3, 0.600, true, usualVolt, usualAmp, ctPins, noval, 200, src12BH7},
	{"6SN7GT", []string{"6SN7", "6N8S", "6SN7GTA", "6SN7GTB"}, 6.3, 0.600, false, usualVolt, usualAmp, "7, 8", octal, 90, src6SN7},
	{"6386", nil, 6.3, 0.350, false, usualVolt, usualAmp, "1, 9", noval, 90, srcGE},
	{"12AU7", []string{"ECC82", "12AU7A", "12AU7WA", "B329", "ECC802S", "ECC802"}, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 180, srcHeaters},
	{"12AT7", []string{"ECC81", "12AT7WA", "B309", "6201", "ECC801S"}, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 90, src12AT7},
	{"12AY7", nil, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 90, fromMemory},
	{"6072", []string{"6072A"}, 6.3, 0.350, true, tightVolt, usualAmp, ctPins, noval, 90, fromMemory},
	{"5751", []string{"5751WA"}, 6.3, 0.350, true, tightVolt, usualAmp, ctPins, noval, 100, fromMemory},
	{"5814", []string{"5814A", "5814WA"}, 6.3, 0.350, true, tightVolt, usualAmp, ctPins, noval, 100, fromMemory},
	{"6189", []string{"6189W"}, 6.3, 0.300, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"5963", nil, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 90, fromMemory},
	{"5965", nil, 6.3, 0.450, true, usualVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"5687", nil, 6.3, 0.900, true, usualVolt, usualAmp, "4, 5, centre tap 8", noval, 90, fromMemory},
	{"7044", nil, 6.3, 0.900, true, usualVolt, usualAmp, "4, 5, centre tap 8", noval, 0, fromMemory},
	{"12AZ7", []string{"12AZ7A"}, 6.3, 0.450, true, usualVolt, usualAmp, ctPins, noval, 200, src12AZ7},
	{"12DW7", []string{"7247", "ECC832"}, 6.3, 0.300, true, usualVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"E80CC", []string{"6085"}, 6.3, 0.600, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"ECC99", nil, 6.3, 0.800, true, usualVolt, usualAmp, ctPins, noval, 200, fromMemory},
	{"E182CC", []string{"7119"}, 6.3, 0.640, true, tightVolt, usualAmp, ctPins, noval, 0, fromMemory},
	{"6N1P", []string{"6N1P-EV", "6N1P-VI"}, 6.3, 0.600, false, usualVolt, 0.083, "4, 5, shield 9", noval, 120, fromMemory},
	{"6N2P", []string{"6N2P-EV"}, 6.3, 0.340, false, usualVolt, 0.074, "4, 5, shield 9", noval, 100, fromMemory},
	{"6N23P", []string{"6N23P-EV"}, 6.3, 0.310, false, usualVolt, 0.081, "4, 5, shield 9", noval, 0, fromMemory},
	{"6N3P", []string{"6N3P-E"}, 6.3, 0.350, false, usualVolt, usualAmp, "1, 9", noval, 0, fromMemory},
	{"6N6P", nil, 6.3, 0.750, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"6N30P", []string{"6H30", "6H30P", "6N30P-DR"}, 6.3, 0.850, false, usualVolt, usualAmp, pins45, noval, 0, "from memory, uncertain: 0.825 to 0.9 A"},
	{"6N9S", nil, 6.3, 0.300, false, usualVolt, usualAmp, "7, 8", octal, 0, fromMemory},
	{"5670", []string{"5670W"}, 6.3, 0.350, false, usualVolt, usualAmp, "1, 9", noval, 90, fromMemory},
	{"2C51", []string{"396A"}, 6.3, 0.300, false, usualVolt, usualAmp, "1, 9", noval, 90, fromMemory},
	{"6SL7GT", []string{"6SL7"}, 6.3, 0.300, false, usualVolt, usualAmp, "7, 8", octal, 90, fromMemory},
	{"12SN7GT", []string{"12SN7"}, 12.6, 0.300, false, usualVolt, usualAmp, "7, 8", octal, 90, fromMemory},
	{"12SL7GT", []string{"12SL7"}, 12.6, 0.150, false, usualVolt, usualAmp, "7, 8", octal, 90, fromMemory},
	{"6J5", []string{"6J5GT", "L63"}, 6.3, 0.300, false, usualVolt, usualAmp, "2, 7", octal, 90, fromMemory},
	{"6SJ7", []string{"6SJ7GT"}, 6.3, 0.300, false, usualVolt, usualAmp, "2, 7", octal, 90, fromMemory},
	{"6CG7", []string{"6FQ7"}, 6.3, 0.600, false, usualVolt, usualAmp, pins45, noval, 200, fromMemory},
	{"6C4", []string{"EC90"}, 6.3, 0.150, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6AB4", []string{"EC92"}, 6.3, 0.150, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6AQ8", []string{"ECC85"}, 6.3, 0.435, false, usualVolt, usualAmp, pins45, noval, 90, fromMemory},
	{"6GM8", []string{"ECC86"}, 6.3, 0.330, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"ECC91", []string{"6J6"}, 6.3, 0.450, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"EF86", []string{"6267", "Z729", "6CF8"}, 6.3, 0.200, false, usualVolt, usualAmp, pins45, noval, 100, srcEF86},
	{"6ZH32P", []string{"6J32P", "6G32P"}, 6.3, 0.200, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"EF80", []string{"6BX6"}, 6.3, 0.300, false, usualVolt, usualAmp, pins45, noval, 150, fromMemory},
	{"EF184", []string{"6EJ7"}, 6.3, 0.300, false, usualVolt, usualAmp, pins45, noval, 150, fromMemory},
	{"6AU6", []string{"6AU6A", "EF94"}, 6.3, 0.300, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6AK5", []string{"EF95", "5654", "6ZH1P"}, 6.3, 0.175, false, usualVolt, usualAmp, "3, 4", miniature, 90, fromMemory},
	{"6C45P", []string{"6S45P", "6C45PI"}, 6.3, 0.440, false, usualVolt, 0.091, "", noval, 0, "from memory, uncertain"},
	{"6S4A", []string{"6S4"}, 6.3, 0.600, false, usualVolt, usualAmp, pins45, noval, 200, fromMemory},
	{"6BQ7A", []string{"6BQ7"}, 6.3, 0.400, false, usualVolt, usualAmp, pins45, noval, 200, fromMemory},
	{"6BK7", []string{"6BK7A"}, 6.3, 0.450, false, usualVolt, usualAmp, pins45, noval, 0, fromMemory},
	{"D3A", []string{"7721"}, 6.3, 0.315, false, tightVolt, usualAmp, "", noval, 0, fromMemory},
	{"E180F", []string{"6688"}, 6.3, 0.300, false, tightVolt, usualAmp, "", noval, 0, fromMemory},
	{"E810F", []string{"7788"}, 6.3, 0.340, false, tightVolt, usualAmp, "", noval, 0, fromMemory},
	{"EL84", []string{"6BQ5"}, 6.3, 0.760, false, usualVolt, usualAmp, pins45, noval, 100, srcEL84},
	{"EL86", []string{"6CW5"}, 6.3, 0.760, false, usualVolt, usualAmp, pins45, noval, 100, fromMemory},
	{"6V6GT", []string{"6V6"}, 6.3, 0.450, false, usualVolt, usualAmp, "2, 7", octal, 100, fromMemory},
	{"ECL82", []string{"6BM8"}, 6.3, 0.780, false, usualVolt, usualAmp, pins45, noval, 100, fromMemory},
}

// Table gives the built-in valves, sorted as a parts list would be.
func Table() []Valve {
	out := make([]Valve, len(table))
	copy(out, table)
	for i := range out {
		out[i].Aliases = append([]string(nil), out[i].Aliases...)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Type < out[j].Type })
	return out
}

// Lookup finds a valve by type or alias, the user's own list first. Case,
// blanks, hyphens and Cyrillic look-alike letters make no difference. An
// unknown name gives an *UnknownValveError with the nearest names.
func Lookup(name string, own []Valve) (Valve, error) {
	key := normalise(name)
	if key == "" {
		return Valve{}, &InputError{What: "valve type", Found: quoted(name), Expected: "a name such as 12AU7"}
	}
	for _, list := range [][]Valve{own, table} {
		for _, v := range list {
			if normalise(v.Type) == key {
				return complete(v), nil
			}
			for _, a := range v.Aliases {
				if normalise(a) == key {
					return complete(v), nil
				}
			}
		}
	}
	return Valve{}, &UnknownValveError{Name: strings.TrimSpace(name), Near: nearest(key, own)}
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
	for _, list := range [][]Valve{own, table} {
		for _, v := range list {
			for _, n := range append([]string{v.Type}, v.Aliases...) {
				if d := levenshtein.ComputeDistance(key, normalise(n)); d <= 2 {
					all = append(all, candidate{n, d})
				}
			}
		}
	}
	sort.SliceStable(all, func(i, j int) bool {
		if all[i].dist != all[j].dist {
			return all[i].dist < all[j].dist
		}
		return all[i].name < all[j].name
	})
	var out []string
	for _, c := range all {
		if len(out) == 3 {
			break
		}
		out = append(out, c.name)
	}
	return out
}
