package main

import (
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"stillglow/analysis/heater"
)

func newValvesCmd() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "valves [FILTER...]",
		Short: "Print the table of valve heaters",
		Long: `Valves prints heater volts and amps, tolerances, pins and the maximum
heater-cathode volts of the built-in types, each with its source. A filter keeps
the rows that hold all its words in type, alias, base, pins or source; 0.3A or
12.6V keeps those of that current or voltage (at either connection).`,
		Example: `  stillglow valves
  stillglow valves ecc8
  stillglow valves octal 0.3A`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			args = valveWords(args)
			var rows []heater.Valve
			for _, v := range heater.Table() {
				if valveMatches(v, args) {
					rows = append(rows, v)
				}
			}
			if asJSON {
				return writeJSON(cmd.OutOrStdout(), struct {
					SchemaVersion string         `json:"schema_version"`
					Valves        []heater.Valve `json:"valves"`
				}{"1.0", append([]heater.Valve{}, rows...)})
			}
			if len(rows) == 0 {
				msg := "no valve in the table matches " + strings.Join(args, " ")
				if _, err := heater.Lookup(args[0], nil); err != nil && len(args) == 1 {
					msg = err.Error()
				}
				return fmt.Errorf("%s", msg)
			}
			out := &strings.Builder{}
			printValves(out, rows)
			_, err := io.WriteString(cmd.OutOrStdout(), out.String())
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

var (
	plainNumber = regexp.MustCompile(`^[0-9]+([.,][0-9]+)?$`)
	milliamps   = regexp.MustCompile(`(?i)^([0-9]+([.,][0-9]+)?)ma$`)
)

// valveWords puts a number and the unit behind it into one word, and milliamps into amps,
// as the table's connections are written: "0.3 A" and "300mA" are "0.3a".
func valveWords(args []string) []string {
	var words []string
	for _, w := range strings.Fields(strings.Join(args, " ")) {
		last := len(words) - 1
		switch unit := strings.ToLower(w); {
		case last >= 0 && plainNumber.MatchString(words[last]) && (unit == "a" || unit == "ma" || unit == "v"):
			words[last] += unit
		default:
			words = append(words, w)
		}
	}
	for i, w := range words {
		if m := milliamps.FindStringSubmatch(w); m != nil {
			if v, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64); err == nil {
				words[i] = significant(v/1e3, 3) + "a"
			}
		} else if n := strings.TrimRight(strings.ToLower(w), "av"); plainNumber.MatchString(n) {
			words[i] = strings.Replace(w, ",", ".", 1)
		}
	}
	return words
}

// valveMatches is true when every word is found in the row.
func valveMatches(v heater.Valve, words []string) bool {
	hay := strings.ToLower(strings.Join(append([]string{v.Type, v.Pins, v.Base, v.Source}, v.Aliases...), "\n"))
	connections := []string{significant(v.Volts, 3) + "v", significant(v.Amps, 3) + "a"}
	if v.CentreTapped {
		connections = append(connections, significant(2*v.Volts, 3)+"v", significant(v.Amps/2, 3)+"a")
	}
	for _, w := range words {
		w = strings.ToLower(strings.TrimSpace(w))
		found := strings.Contains(hay, w) || strings.Contains(strings.ReplaceAll(hay, "-", ""), strings.ReplaceAll(w, "-", ""))
		for _, c := range connections {
			found = found || c == w
		}
		found = found || namedBy(v, w)
		if !found {
			return false
		}
	}
	return true
}

// namedBy reports whether a word is part of one of the valve's names as somebody may
// type it, with Cyrillic letters for Latin ones or the other way round.
func namedBy(v heater.Valve, word string) bool {
	for _, spelling := range heater.Spellings(word) {
		for _, name := range append([]string{v.Type}, v.Aliases...) {
			if strings.Contains(heater.Spellings(name)[0], spelling) {
				return true
			}
		}
	}
	return false
}

// baseWord is a base for a narrow column: "B9A" of "noval (B9A)".
func baseWord(base string) string {
	name, code, _ := strings.Cut(strings.TrimSuffix(base, ")"), " (")
	switch {
	case name == "nuvistor":
		return name
	case code == "subminiature":
		return "wires"
	}
	return code
}

// printValves prints the table, the long sources as numbered notes below it.
func printValves(w io.Writer, rows []heater.Valve) {
	t := plainTable([]string{"type", "same heater", "volts", "amps", "±V", "±A", "pins", "base", "Vhk", "source"},
		"llllrrllrr", 8, 22, 8, 10, 4, 4, 10, 8, 3, 6)
	var notes []string
	for _, v := range rows {
		volts, amps := significant(v.Volts, 3), significant(v.Amps, 3)
		if v.CentreTapped {
			volts += "/" + significant(2*v.Volts, 3)
			amps += "/" + significant(v.Amps/2, 3)
		}
		vhk, pins := "-", "-"
		if v.MaxVhk > 0 {
			vhk = significant(v.MaxVhk, 3)
		}
		if v.Pins != "" {
			pins = strings.Replace(v.Pins, "centre tap ", "ct ", 1)
			pins = strings.Replace(pins, "shield ", "s ", 1)
			pins = strings.ReplaceAll(pins, ", ", " ")
		}
		base := baseWord(v.Base)
		t.AppendRow(table.Row{v.Type, strings.Join(v.Aliases, " "), volts, amps, significant(100*v.VoltTol, 2) + "%", significant(100*v.AmpTol, 2) + "%",
			pins, base, vhk, fmt.Sprintf("(%d)", indexOf(&notes, v.Source))})
	}
	printTable(w, t)
	fmt.Fprintln(w)
	printLine(w, "", "volts and amps of a centre-tapped heater: halves parallel / in series; ±V permissible heater volts and ±A spread of current, from memory unless the source prints them; ct centre tap, s shield; B9A noval, B7G miniature, K8A octal, B8A rimlock, wires: subminiature, no base; no pins given: wire it from the data sheet; Vhk: maximum heater-cathode volts, from memory unless the source gives it; it varies by maker")
	for i, n := range notes {
		printLine(w, fmt.Sprintf("(%d) ", i+1), n)
	}
	var filaments []string
	told := map[string][]string{}
	var order []string
	for _, v := range rows {
		if v.Filament {
			filaments = append(filaments, v.Type)
		}
		if v.Note == "" {
			continue
		}
		if told[v.Note] == nil {
			order = append(order, v.Note)
		}
		told[v.Note] = append(told[v.Note], v.Type)
	}
	for _, n := range order {
		printLine(w, "! ", strings.Join(told[n], ", ")+": "+n)
	}
	if len(filaments) > 0 {
		printLine(w, "! ", strings.Join(filaments, ", ")+": directly heated, the filament is the cathode: a floating supply for each valve, never a string")
	}
}
