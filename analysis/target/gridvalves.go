package target

import "strings"

// gridValve is what a data sheet gives of a valve's heater-to-grid capacitance.
type gridValve struct {
	names  []string
	farads float64 // the most that it allows
	source string
}

// gridValves are the valves whose capacitance between heater and grid we know.
var gridValves = []gridValve{
	{[]string{"ECC40"}, 0.1e-12, "manufacturer's data sheets of 1951 and 1953, as a public valve page quotes them"},
	{[]string{"ECC81", "12AT7", "E81CC"}, 0.17e-12, "data sheet, from memory"},
	{[]string{"ECC82", "12AU7", "E82CC"}, 0.135e-12, "data sheet, from memory"},
	{[]string{"ECC83", "12AX7", "E83CC"}, 0.15e-12, "data sheet, from memory"},
	{[]string{"EF86", "6267"}, 0.0025e-12, "data sheet, from memory"},
}

// betweenParts takes out what stands between the parts of a valve's name.
var betweenParts = strings.NewReplacer(" ", "", "-", "", "/", "")

// gridValveOf finds a valve by its name; case, blanks and hyphens make no
// difference.
func gridValveOf(name string) (gridValve, bool) {
	key := strings.ToUpper(betweenParts.Replace(name))
	for _, v := range gridValves {
		for _, n := range v.names {
			if key != "" && (key == n || strings.HasPrefix(key, n) && len(key) <= len(n)+2) { // 12AX7A, ECC83S
				return v, true
			}
		}
	}
	return gridValve{}, false
}
