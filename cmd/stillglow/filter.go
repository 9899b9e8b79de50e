package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/report"
)

// filterFlags are a circuit's parts as typed, in the units of the parts drawer.
type filterFlags struct {
	cache cacheFlags

	topology                        string
	rOhm, sourceOhm, loadA, heaterV float64
	c1UF, c2UF, bypassUF            float64
	kind, bypassKind                string
	esrOhm, eslNH                   float64
	lUH, dcrOhm, srfMHz             float64
	dampOhm, dampUF                 float64
	leadM, supplyUF, mostV, coilA   float64
	hz                              []float64
	asJSON                          bool
}

func newFilterCmd() *cobra.Command {
	var f filterFlags
	cmd := &cobra.Command{
		Use:   "filter [SHEET [UNIT]]",
		Short: "Find the post-filter that brings a near miss within its limits, or calculate one from given parts",
		Long: `With a bench sheet, filter looks for the cheapest set of standard parts that brings
each near miss (or the unit named) inside its target with margin to spare, and
predicts every figure behind it: peaks by filtering the captures and measuring them
again, all else from their spectra.

Without a sheet it computes what an RC, LC or CLC filter between supply and heaters
does, with what real parts add: capacitor ESR and ESL, coil DCR and self-resonance,
the heaters as load. It shows the attenuation over frequency, the resonance, the DC
drop and what to watch out for.

ESR, ESL, DCR and self-resonance follow from the kind of part where they are not
given; those figures are from memory, so check your part's data sheet. A ceramic has
leads unless it is an "smd ceramic". With --lead-m and --supply-uf the gain is
relative to the volts at the supply's own connector.`,
		Example: `  stillglow filter testdata/bench/bench.toml
  stillglow filter testdata/bench/bench.toml B1
  stillglow filter --topology rc --r-ohm 1.3 --c-uf 1000 --heaters-a 0.6
  stillglow filter --topology lc --l-uh 10 --c-uf 100 --heaters-a 0.6
  stillglow filter --topology clc --l-uh 10 --c-uf 220 --c2-uf 470 --r-ohm 0.8 --bypass-uf 1 --heaters-a 0.6`,
		Args: wantArgs(cobra.MaximumNArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case len(args) == 0:
				return f.runParts(cmd)
			case f.topology != "":
				return usageError{errors.New("give either a sheet or --topology with its parts")}
			case len(args) == 1:
				return f.runSheet(cmd, args[0], "")
			}
			return f.runSheet(cmd, args[0], args[1])
		},
	}
	f.cache.add(cmd)
	fl := cmd.Flags()
	fl.StringVar(&f.topology, "topology", "", "rc, lc or clc")
	fl.Float64Var(&f.rOhm, "r-ohm", 0, "resistance in series, the dropper's, in ohms")
	fl.Float64Var(&f.sourceOhm, "source-ohm", 0, "resistance of the supply and the leads in ohms")
	fl.Float64Var(&f.loadA, "heaters-a", 0, "the heaters' current in amps (default: no load)")
	fl.Float64Var(&f.heaterV, "heater-v", 6.3, "volts at the heaters")
	fl.Float64Var(&f.c1UF, "c-uf", 0, "capacitor in microfarads: across the heaters, in a CLC ahead of the coil")
	fl.Float64Var(&f.c2UF, "c2-uf", 0, "a CLC's second capacitor in microfarads (default: the same as --c-uf)")
	fl.StringVar(&f.kind, "kind", filter.Electrolytic, "kind of capacitor: electrolytic, polymer, ceramic, \"smd ceramic\" or film")
	fl.Float64Var(&f.esrOhm, "esr-ohm", 0, "the capacitors' ESR in ohms (default: usual for the kind)")
	fl.Float64Var(&f.eslNH, "esl-nh", 0, "the capacitors' ESL in nanohenries (default: usual for the kind)")
	fl.Float64Var(&f.bypassUF, "bypass-uf", 0, "small capacitor in parallel with the last, in microfarads (default: none)")
	fl.StringVar(&f.bypassKind, "bypass-kind", filter.Ceramic, "kind of the small capacitor")
	fl.Float64Var(&f.lUH, "l-uh", 0, "coil in microhenries")
	fl.Float64Var(&f.dcrOhm, "dcr-ohm", 0, "the coil's DCR in ohms (default: usual for its size)")
	fl.Float64Var(&f.srfMHz, "srf-mhz", 0, "the coil's self-resonance in megahertz (default: usual for its size)")
	fl.Float64Var(&f.dampOhm, "damp-ohm", 0, "damping resistor in ohms, in series with --damp-uf across the heaters")
	fl.Float64Var(&f.dampUF, "damp-uf", 0, "damping capacitor in microfarads, an ordinary electrolytic whose ESR adds to --damp-ohm (default: none)")
	fl.Float64Var(&f.leadM, "lead-m", 0, "length of the lead from supply to filter in metres, at 1 µH per metre (default: none)")
	fl.Float64Var(&f.supplyUF, "supply-uf", 0, "the supply's own output capacitor in microfarads, an ordinary electrolytic (default: not known)")
	fl.Float64Var(&f.mostV, "max-v", 0, "the highest volts the supply gives, unloaded, for the capacitors' rating (default: its volts under load)")
	fl.Float64Var(&f.coilA, "coil-a", 0, "the coil's rated current in amps (default: usual for its size)")
	fl.Float64SliceVar(&f.hz, "hz", nil, "frequencies to print in hertz, such as 100,65e3,1e6")
	fl.BoolVar(&f.asJSON, "json", false, "print JSON")
	return cmd
}

// asMeant refuses parts that no filter of a heater supply has, as another unit than the
// flag's gives them.
func (f *filterFlags) asMeant() error {
	if err := unitSlips([]unitBound{
		{"c-uf", f.c1UF, 1e-2, 0, "microfarads", "F", 1e6},
		{"c2-uf", f.c2UF, 1e-2, 0, "microfarads", "F", 1e6},
		{"damp-uf", f.dampUF, 1e-2, 0, "microfarads", "F", 1e6},
		{"supply-uf", f.supplyUF, 1e-2, 0, "microfarads", "F", 1e6},
		{"l-uh", f.lUH, 1e-3, 0, "microhenries", "H", 1e6},
		{"l-uh", f.lUH, 0.05, 0, "microhenries", "mH", 1e3},
		{"l-uh", f.lUH, 0, 1e5, "microhenries", "nH", 1e-3},
		{"c-uf", f.c1UF, 0, 1e5, "microfarads", "nF", 1e-3},
		{"c2-uf", f.c2UF, 0, 1e5, "microfarads", "nF", 1e-3},
		{"damp-uf", f.dampUF, 0, 1e5, "microfarads", "nF", 1e-3},
		{"supply-uf", f.supplyUF, 0, 1e5, "microfarads", "nF", 1e-3},
		{"heaters-a", f.loadA, 0, mostAmps, "amps", "mA", 1e-3},
		{"coil-a", f.coilA, 0, mostAmps, "amps", "mA", 1e-3},
		{"source-ohm", f.sourceOhm, 0, mostOhms, "ohms", "mΩ", 1e-3},
		{"esr-ohm", f.esrOhm, 0, mostOhms, "ohms", "mΩ", 1e-3},
		{"dcr-ohm", f.dcrOhm, 0, mostOhms, "ohms", "mΩ", 1e-3},
		{"lead-m", f.leadM, 0, mostLead, "metres", "cm", 1e-2},
		{"max-v", f.mostV, 0, mostDropV, "volts", "mV", 1e-3},
		{"heater-v", f.heaterV, 0, mostDropV, "volts", "mV", 1e-3},
		{"srf-mhz", f.srfMHz, 0, mostSRFMHz, "megahertz", "Hz", 1e-6},
	}); err != nil {
		return usageError{err}
	}
	topology := filter.Topology(strings.ToUpper(f.topology))
	for _, x := range []struct {
		given bool
		flag  string
		needs string
	}{
		{f.lUH != 0 && topology == filter.RC, "l-uh", "--topology lc or clc"},
		{f.c2UF != 0 && topology != filter.CLC, "c2-uf", "--topology clc"},
		{f.lUH == 0 && f.dcrOhm != 0, "dcr-ohm", "a coil, --l-uh"},
		{f.lUH == 0 && f.srfMHz != 0, "srf-mhz", "a coil, --l-uh"},
		{f.lUH == 0 && f.coilA != 0, "coil-a", "a coil, --l-uh"},
		{f.dampUF == 0 && f.dampOhm != 0, "damp-ohm", "its capacitor, --damp-uf"},
	} {
		if x.given {
			return usageError{fmt.Errorf("--%s: found without %s, where it counts for nothing; give that too, or leave it out", x.flag, x.needs)}
		}
	}
	if drop := f.rOhm * f.loadA; drop > mostDropV {
		return usageError{fmt.Errorf("--r-ohm: found %g, which at --heaters-a %g takes %.3g V, expected at most %g; both are without a prefix: for 750 mΩ write 0.75, for 940 mA 0.94", f.rOhm, f.loadA, drop, mostDropV)}
	}
	return nil
}

// mostDropV is more than any supply for heaters gives: above it DC is dangerous to touch.
// No power coil resonates as high as mostSRFMHz.
const (
	mostDropV  = 60.0
	mostSRFMHz = 5000.0
)

// circuit builds what the flags describe.
func (f *filterFlags) circuit() (filter.Circuit, error) {
	if err := f.asMeant(); err != nil {
		return filter.Circuit{}, err
	}
	c := filter.Circuit{
		Topology: filter.Topology(strings.ToUpper(f.topology)), SourceOhm: f.sourceOhm, ROhm: f.rOhm,
		DampOhm: f.dampOhm, SourceH: filter.LeadH(f.leadM),
	}
	if f.loadA > 0 {
		c.LoadOhm = f.heaterV / f.loadA
	}
	var err error
	if c.CSource, err = usualCapacitor(filter.Electrolytic, f.supplyUF); err != nil {
		return c, err
	}
	if c.C1, err = f.capacitor(f.c1UF); err != nil {
		return c, err
	}
	if c.CDamp, err = usualCapacitor(filter.Electrolytic, f.dampUF); err != nil {
		return c, err
	}
	if c.Topology == filter.CLC {
		second := f.c2UF
		if second == 0 {
			second = f.c1UF
		}
		if c.C2, err = f.capacitor(second); err != nil {
			return c, err
		}
	}
	if c.CFilm, err = usualCapacitor(f.bypassKind, f.bypassUF); err != nil {
		return c, err
	}
	if f.lUH != 0 {
		if c.L, err = f.coil(); err != nil {
			return c, err
		}
	}
	return c, c.Check()
}

// usualCapacitor is a capacitor of a kind with the ESR and ESL usual for it; none
// for 0 µF.
func usualCapacitor(kind string, uf float64) (filter.Capacitor, error) {
	if uf == 0 {
		return filter.Capacitor{}, nil
	}
	return filter.NewCapacitor(strings.ToLower(kind), uf*1e-6)
}

// capacitor is a capacitor of the kind that the flags name, with their ESR and ESL
// where they give them; none for 0 µF.
func (f *filterFlags) capacitor(uf float64) (filter.Capacitor, error) {
	p, err := usualCapacitor(f.kind, uf)
	if uf == 0 {
		return p, err
	}
	if f.esrOhm > 0 {
		p.ESROhm = f.esrOhm
	}
	if f.eslNH > 0 {
		p.ESLH = f.eslNH * 1e-9
	}
	return p, err
}

// coil is the coil that the flags describe; what they leave out is usual for its
// size.
func (f *filterFlags) coil() (filter.Inductor, error) {
	l, err := filter.NewInductor(f.lUH * 1e-6)
	if err != nil {
		return l, err
	}
	if f.dcrOhm > 0 {
		l.DCROhm = f.dcrOhm
	}
	if f.coilA > 0 {
		l.RatedA = f.coilA
	}
	if f.srfMHz > 0 {
		l.SelfResonanceHz = f.srfMHz * 1e6
	}
	return l, nil
}

func (f *filterFlags) runParts(cmd *cobra.Command) error {
	if f.topology == "" {
		return usageError{errors.New("give a bench sheet, or --topology rc, lc or clc with its parts, such as --topology rc --r-ohm 1.3 --c-uf 1000")}
	}
	if !(f.loadA >= 0) || math.IsInf(f.loadA, 0) {
		return usageError{fmt.Errorf("--heaters-a: found %g, expected amps, 0 or more", f.loadA)}
	}
	c, err := f.circuit()
	if err != nil {
		return usageError{err}
	}
	hz := f.hz
	if len(hz) == 0 {
		hz = []float64{10, 50, 100, 120, 1e3, 5e3, 10e3, 20e3, 50e3, 100e3, 200e3, 500e3, 1e6, 5e6, 10e6, 20e6, 50e6}
	}
	for _, v := range hz {
		if !(v > 0) || math.IsInf(v, 0) {
			return usageError{fmt.Errorf("--hz: found %g, expected frequencies above zero", v)}
		}
	}
	r := filter.Describe(c, f.heaterV, f.loadA)
	if f.mostV > 0 {
		r.Parts = c.Shopping(f.mostV, f.loadA)
	}
	if f.asJSON {
		return printFilterJSON(cmd.OutOrStdout(), c, r, hz)
	}
	_, err = io.WriteString(cmd.OutOrStdout(), filterText(c, r, hz, f.loadA))
	return err
}

// printFilterJSON prints a circuit with its gain at the frequencies.
func printFilterJSON(w io.Writer, c filter.Circuit, r filter.Result, hz []float64) error {
	type row struct {
		Hz     float64 `json:"hz"`
		GainDB float64 `json:"gain_db"`
	}
	rows := make([]row, len(hz))
	for i, v := range hz {
		rows[i] = row{v, filter.DB(filter.Insertion(c, v))}
	}
	return writeJSON(w, struct {
		SchemaVersion string   `json:"schema_version"`
		Topology      string   `json:"topology"`
		Parts         []string `json:"parts"`
		Gain          []row    `json:"insertion_gain"`
		PeakDB        float64  `json:"peak_db"`
		PeakHz        float64  `json:"peak_hz"`
		DropV         float64  `json:"drop_v"`
		Warnings      []string `json:"warnings"`
	}{"1.0", string(c.Topology), r.Parts, rows, r.PeakDB, r.PeakHz, r.DropV, append([]string{}, r.Warnings...)})
}

// gainText is a gain to a tenth of a decibel, "0.0 dB" without a sign.
func gainText(db float64) string {
	if math.Abs(db) < 0.05 {
		return "0.0 dB"
	}
	return fmt.Sprintf("%+.1f dB", db)
}

// filterText words a circuit with its gain at the frequencies.
func filterText(c filter.Circuit, r filter.Result, hz []float64, loadA float64) string {
	out := &strings.Builder{}
	fmt.Fprintf(out, "%s filter, from supply to heaters\n", c.Topology)
	for _, p := range r.Parts {
		fmt.Fprintln(out, "  - "+hang(p, 4))
	}
	fmt.Fprintln(out)
	table := plainTable([]string{"frequency", "gain"}, "rr", 12, 12)
	for _, v := range hz {
		table.AppendRow([]any{target.HzText(v), gainText(filter.DB(filter.Insertion(c, v)))})
	}
	printTable(out, table)
	fmt.Fprintln(out)
	if r.PeakDB > 0.05 {
		fmt.Fprintf(out, "resonance: %+.1f dB at %s\n", r.PeakDB, target.HzText(r.PeakHz))
	}
	if loadA > 0 {
		fmt.Fprintf(out, "DC drop: %s at %.3g A, part of what the dropper takes\n", target.VoltText(math.Round(r.DropV*1e3)/1e3), loadA)
	}
	for _, w := range r.Warnings {
		fmt.Fprintln(out, wrapCell(report.Marked("caution: "+w), textWidth))
	}
	printFilterSafety(out, c.HasElectrolytic())
	printMarks(out)
	return out.String()
}

// printFilterSafety ends what recommends or computes a filter.
func printFilterSafety(w io.Writer, electrolytic bool) {
	if electrolytic {
		fmt.Fprintln(w, wrapCell("safety: "+heater.CapCaution, textWidth))
	}
	fmt.Fprintln(w, wrapCell("safety: unplug before you solder. "+report.HTSafety+" "+report.CodesSafety, textWidth))
}
