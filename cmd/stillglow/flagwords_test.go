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
		{"dropper --supply 7 --valves 2x12AU7 --headroom 0", "--headroom: found 0, expected 1 to 100 percent"},
		{"dropper --supply 7 --valves 2x12AU7 --part-tol 200", "--part-tol: found 200, expected 0 to 50 percent"},
		{"dropper --supply 7 --valves 2x12AU7 --rated-a abc", `--rated-a: found "abc", expected a number`},
		{"rank x.toml --workers x", `--workers: found "x", expected a number`},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --hz 100,1k", "--hz: found "},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --hz 0", "--hz: found 0, expected frequencies above zero"},
		{"filter --topology rc --r-ohm 1 --c-uf 100 --heaters-a -1", "--heaters-a: found -1, expected amps"},
		{"measure", "measure needs FILE..."},
	} {
		var out, errs bytes.Buffer
		code := run(context.Background(), strings.Fields(c.line), strings.NewReader(""), &out, &errs)
		command, _, _ := strings.Cut(c.line, " ")
		if got := errs.String(); code != exitUsage || !strings.Contains(got, c.want) || strings.Contains(got, "strconv") ||
			!strings.Contains(got, "see 'stillglow "+command+" --help'") {
			t.Errorf("%s: exit %d, %q; want %q", c.line, code, got, c.want)
		}
	}
}
