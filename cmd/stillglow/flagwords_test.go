package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// Values that can't be meant are refused in one line of our own form, which
// points to the command's own help.
func TestRefusedFlagValues(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ line, want string }{
		{"inspect --bandwidth 20 x.csv", `"20", expected 1 kHz or more`},
		{"dropper --supply 7 --valves 2x12AU7 --exponent 0", "--exponent: found 0, expected 0.3 to 1"},
		{"dropper --supply 7 --valves 2x12AU7 --cold-ratio 0", "--cold-ratio: found 0, expected 1.5 to 20"},
		{"dropper --supply 7 --valves 2x12AU7 --headroom 0", "--headroom: found 0, expected percent, 2 or more"},
		{"dropper --supply 7 --valves 2x12AU7 --part-tol 200", "--part-tol: found 200, expected percent, 50 at most"},
		{"dropper --supply 7 --valves 2x12AU7 --part-tol 0.05", "--part-tol: found 0.05, expected percent, 0.1 or more; for a share of 0.05 write 5"},
		{"dropper --supply 7 --valves 2x12AU7 --headroom 0.8", "--headroom: found 0.8, expected percent, 2 or more; for a share of 0.8 write 80"},
		{"measure x.csv --gain-percent 0.03", "--gain-percent: found 0.03, expected percent, 0.1 or more; for a share of 0.03 write 3"},
		{"measure x.csv --gain-percent -3", "--gain-percent: found -3, expected percent, 0.1 or more"},
		{"dropper x.toml --headroom 0.8", "--headroom: found 0.8, expected percent, 2 or more; for a share of 0.8 write 80"},
		{"measure x.csv --rated-v 7000", "--rated-v: found 7000, expected volts, 200 at most; for 7000 mV write 7"},
		{"dropper --supply 7 --valves 2x12AU7 --rated-a abc", `--rated-a: found "abc", expected a number`},
		{"dropper --supply 7 --valves 2x12AU7 --rated-a 0,5", `--rated-a: found "0,5", expected a number; write 0.5`},
		{"dropper --supply 7 --valves 2x12AU7 --rated-a 500mA", `--rated-a: found "500mA", expected a number; write 0.5, in amps`},
		{"dropper --supply 7 --valves 2x12AU7 --lead-ohm 5mΩ", `--lead-ohm: found "5mΩ", expected a number; write 0.005, in ohms`},
		{"dropper --supply 7 --valves 2x12AU7 --output-ohm 50mohm", `--output-ohm: found "50mohm", expected a number; write 0.05, in ohms`},
		{"filter --topology rc --r-ohm 0.75k --c-uf 1000", `--r-ohm: found "0.75k", expected a number; write 750, in ohms`},
		{"filter --topology rc --r-ohm 0.75R --c-uf 1000", `--r-ohm: found "0.75R", expected a number; write 0.75, in ohms`},
		{"filter --topology rc --r-ohm 0.75 --c-uf 1mF", `--c-uf: found "1mF", expected a number; write 1000, in microfarads`},
		{"filter --topology rc --r-ohm 0.75 --c-uf 1,000", `--c-uf: found "1,000", expected a number; write 1000 for thousands, 1.000 for a decimal comma`},
		{"filter --topology rc --r-ohm 0,750 --c-uf 1000", `--r-ohm: found "0,750", expected a number; write 0.750`},
		{"filter --topology rc --r-ohm 0.75 --c-uf 1000000 --heaters-a 0.94", "--c-uf: found 1e+06, expected microfarads, 100000 at most; for 1e+06 nF write 1000"},
		{"filter --topology lc --l-uh 0.01 --c-uf 100", "--l-uh: found 0.01, expected microhenries, 0.05 or more; for 0.01 mH write 10"},
		{"filter --topology lc --l-uh 470000 --c-uf 100", "--l-uh: found 470000, expected microhenries, 100000 at most; for 470000 nH write 470"},
		{"calibrate x.wav --volts-rms 500mV", `--volts-rms: found "500mV", expected a number above zero; write 0.5, in volts`},
		{"calibrate x.wav --volts-rms 0,5", `--volts-rms: found "0,5", expected a number above zero; write 0.5`},
		{"measure x.csv --offset 20mV", `--offset: found "20mV", expected a number; write 0.02, in volts`},
		{"filter --topology lc --l-uh 10 --c-uf 100 --lead-m 30cm", `--lead-m: found "30cm", expected a number; write 0.3, in metres`},
		{"dropper --supply 7 --valves 2x12AU7 --supply-tol 5%", `--supply-tol: found "5%", expected a number; leave the unit out: it is in percent`},
		{"dropper --supply 7 --valves 2x12AU7 --rated-a 500", "--rated-a: found 500, expected amps, 100 at most; for 500 mA write 0.5"},
		{"dropper --supply 7 --valves 2x12AU7 --limit-a 700", "--limit-a: found 700, expected amps, 100 at most; for 700 mA write 0.7"},
		{"dropper --supply 7 --valves 2x12AU7 --at-a 600", "--at-a: found 600, expected amps, 100 at most; for 600 mA write 0.6"},
		{"dropper --supply 7 --valves 2x12AU7 --output-ohm 64", "--output-ohm: found 64, expected ohms, 20 at most; for 64 mΩ write 0.064"},
		{"dropper --supply 7 --valves 2x12AU7 --lead-ohm 150", "--lead-ohm: found 150, expected ohms, 20 at most; for 150 mΩ write 0.15"},
		{"dropper --supply 7 --valves 2x12AU7 --supply-tol 500", "--supply-tol: found 500, expected percent, 50 at most"},
		{"dropper --supply 7 --valves 2x12AU7 --rated-a NaN", "--rated-a: found NaN, expected amps, 0 or more"},
		{"dropper --supply 7 --valves 6P99 --own 6P99=6.3:300", "found 300 amps of 6P99, expected amps, 20 at most; for 300 mA write 0.3"},
		{"dropper --supply 7 --valves 6P99 --own 6P99=6,3:0,3", "write 6P99=6.3:0.3"},
		{"filter --topology rc --r-ohm 0,75 --c-uf 100", `--r-ohm: found "0,75", expected a number; write 0.75`},
		{"filter --topology lc --l-uh 10 --c-uf 100 --heaters-a 600", "--heaters-a: found 600, expected amps, 100 at most; for 600 mA write 0.6"},
		{"filter --topology lc --l-uh 10 --c-uf 100 --dcr-ohm 60", "--dcr-ohm: found 60, expected ohms, 20 at most; for 60 mΩ write 0.06"},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --esr-ohm 40", "--esr-ohm: found 40, expected ohms, 20 at most; for 40 mΩ write 0.04"},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --lead-m 100", "--lead-m: found 100, expected metres, 20 at most; for 100 cm write 1"},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --supply-uf 0.00047", "for 0.00047 F write 470"},
		{"filter --topology lc --l-uh 10 --c-uf 100 --srf-mhz 25000000", "for 2.5e+07 Hz write 25"},
		{"guide --supply 7000", "--supply: found 7000, expected volts over 0, 60 at most"},
		{"target hears --cathode-ohm 1500 --chk-pf 3e-12", "--chk-pf: found 3e-12, expected picofarads, 0.001 or more; for 3e-12 F write 3"},
		{"target hears --cathode-ohm 1500 --allowed-uv 5e-7", "for 5e-07 V write 0.5"},
		{"target hears --cathode-ohm 1500 --rhk-mohm 50e6", "--rhk-mohm: found 5e+07, expected megohms, 100000 at most; for 5e+07 Ω write 50"},
		{"target hears --cathode-ohm 1500 --bypass-uf 100e-6", "for 0.0001 F write 100"},
		{"target hears --cathode-ohm 1500 --gm 1600", "for 1600 µS write 1.6"},
		{"rank x.toml --workers x", `--workers: found "x", expected a whole number`},
		{"rank x.toml --workers", "--workers needs a value: a whole number"},
		{"rank x.toml --date morgen", `--date: found "morgen", expected a valid date, like 2026-03-14`},
		{"rank x.toml --date 2026-02-30", `--date: found "2026-02-30", expected a valid date`},
		{"report x.toml -o", "--out needs a value: folder to write"},
		{"report x.toml -z", "unknown flag -z"},
		{"report x.toml --forse", "unknown flag --forse, nearest is --force"},
		{"watch x.toml --interval 3", `--interval: found "3", expected a time such as 2s or 500ms`},
		{"measure x.csv --json=7", `--json: found "7", expected true or false`},
		{"compare before.csv", `found only "before.csv", expected two files, BEFORE and AFTER`},
		{"compare a b c", "found 3 arguments, expected two files, BEFORE and AFTER"},
		{"cache empty", `takes no argument, found "empty"`},
		{"completion ksh", `unknown shell "ksh", expected one of bash, zsh, fish, powershell`},
		{"help foo", `unknown command "foo"`},
		{"help raport", `unknown command "raport", nearest is report`},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --hz 100,1k", "--hz: found "},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --hz 0", "--hz: found 0, expected frequencies above zero"},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --heaters-a -1", "--heaters-a: found -1, expected amps"},
		{"measure", "measure needs a capture file"},
	} {
		var out, errs bytes.Buffer
		code := run(context.Background(), strings.Fields(c.line), strings.NewReader(""), &out, &errs)
		command, rest, _ := strings.Cut(c.line, " ")
		if command == "target" && strings.HasPrefix(rest, "hears") {
			command += " hears"
		}
		if got := errs.String(); code != exitUsage || !strings.Contains(got, c.want) || strings.Contains(got, "strconv") ||
			!strings.Contains(got, "see 'stillglow "+command+" --help'") {
			t.Errorf("%s: exit %d, %q; want %q", c.line, code, got, c.want)
		}
	}
}

// Each command and flag with a known set of values completes them.
func TestCompletedValues(t *testing.T) {
	const sheet = "../../testdata/bench/bench.toml"
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"guide", "--target", ""}, "phono-preamp"},
		{[]string{"target", "mic"}, "mic-preamp"},
		{[]string{"dropper", "--valves", "2x12AU7,1x6N2"}, "2x12AU7,1x6N2P"},
		{[]string{"valves", "ECC8"}, "ECC83"},
		{[]string{"dropper", "--series", ""}, "E96"},
		{[]string{"measure", "--mains", ""}, "60"},
		{[]string{"filter", "--kind", ""}, "polymer"},
		{[]string{"filter", sheet, ""}, "Tindlewick T 70 B1"},
		{[]string{"dropper", sheet, "--unit", ""}, "Quibblet Q-2 D3"},
		{[]string{"report", ""}, "toml"}, // by the file's ending
		{[]string{"inspect", ""}, "wav"},
		{[]string{"inspect", "--preview", ""}, "svg"},
		{[]string{"completion", ""}, "fish"},
		{[]string{"help", "target", ""}, "hears"},
	} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), append([]string{"__complete"}, c.args...), strings.NewReader(""), &out, &errs); code != exitDone {
			t.Errorf("%v: exit %d: %s", c.args, code, errs.String())
		}
		if !strings.Contains("\n"+out.String(), "\n"+c.want) {
			t.Errorf("%v completes to %q, want %q in it", c.args, out.String(), c.want)
		}
	}
	var out, errs bytes.Buffer
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		out.Reset()
		if code := run(context.Background(), []string{"completion", shell}, strings.NewReader(""), &out, &errs); code != exitDone || out.Len() < 1000 {
			t.Errorf("completion %s: exit %d, %d bytes", shell, code, out.Len())
		}
	}
}
