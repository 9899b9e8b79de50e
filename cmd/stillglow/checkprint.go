package main

import (
	"fmt"
	"slices"
	"strings"

	"stillglow/analysis/target"
	"stillglow/capture/sheet"
	"stillglow/cmd/stillglow/pipeline"
)

// stillOpen lists what to capture for the criteria that nothing covers.
func (c *checked) stillOpen(b *strings.Builder) {
	b.WriteString("\n")
	switch {
	case len(c.open) == 0 && len(c.bad) == 0 && len(c.again) == 0:
		b.WriteString("nothing is open: every unit has captures for every criterion\n")
	case len(c.open) > 0:
		b.WriteString("still open:\n")
	}
	if slices.ContainsFunc(c.sheet.Units, func(u sheet.Unit) bool { return len(u.Captures) == 0 }) {
		b.WriteString(wrapText("  ", "  ", withoutFiles, 100))
	}
	for _, o := range c.open {
		fmt.Fprintf(b, "  %s\n", o.name)
		if o.reading {
			b.WriteString(wrapText("    - ", "      ", fmt.Sprintf("supply volts (loaded): take a meter reading%s", loadedWith(c.heaterA)), 100))
		}
		for _, s := range o.settings {
			b.WriteString(wrapText("    - ", "      ", s.names()+": take "+s.across()+s.settings()+loadedWith(c.heaterA), 100))
		}
		for _, bound := range o.bounds {
			b.WriteString(wrapText("    - ", "      ", bound, 100))
		}
	}
}

// takeAgain lists the units whose captures leave a doubt.
func (c *checked) takeAgain(b *strings.Builder) {
	if len(c.again) > 0 {
		b.WriteString("\nto capture again, since a doubt could change the verdict:\n")
	}
	for _, a := range c.again {
		fmt.Fprintf(b, "  %s\n", a.Unit)
		for _, why := range a.Why {
			b.WriteString(wrapText("    - ", "      ", why, 100))
		}
	}
}

// loose tells of the captures that count for no unit.
func (c *checked) loose(b *strings.Builder) {
	if len(c.sheet.Loose)+len(c.unmatched) == 0 {
		return
	}
	b.WriteString("\nin no unit yet, so they do not count\n")
	for _, l := range c.sheet.Loose {
		b.WriteString(wrapText("  - ", "    ", fmt.Sprintf("%s (line %d of the sheet): move it into the unit that it shows", l.File, l.Line), 100))
	}
	for _, n := range c.unmatched {
		b.WriteString(wrapText("  - ", "    ", n, 100))
	}
}

// withoutFiles is what a scope that saves no files can still decide.
var withoutFiles = fmt.Sprintf("A scope that saves pictures only can still show that a unit fails: read the figure off its screen and write it as "+
	"[[unit.reading]], on = \"ripple_pp_20mhz_v\", value = 0.060 in volts, plus_minus_percent = %d, band_limited = true. "+
	"A criterion that such a reading leaves inside its limit stays open: only a capture passes a unit.", sheet.UsualPlusMinusPercent)

// readings tells what the figures read off a screen can say of their limits.
func (c *checked) readings(b *strings.Builder, u sheet.Unit) {
	unit := target.Unit{HeaterA: c.heaterA}
	for i, r := range u.Shown {
		if i == 0 && len(u.Captures) == 0 {
			fmt.Fprintf(b, "\n%s\n", u.Name())
		}
		s := pipeline.ShownOf(r)
		text := fmt.Sprintf("%s = %g ± %g %%: ", r.On, r.Value, r.PlusMinusPercent)
		k := slices.IndexFunc(c.goal.Limits, func(l target.Limit) bool { return l.Criterion == s.Criterion })
		if k < 0 {
			text += "the target has no such limit, so it does not count"
		} else if fails, why := target.ShownProves(s, c.goal.Limits[k], unit); fails {
			text += "over the limit of " + c.goal.Limits[k].Text() + " whatever the ±: it fails"
		} else {
			text += "leaves it open: " + why
		}
		b.WriteString(wrapText("  read ", "       ", text, 100))
	}
}

// unreadable is how many captures don't read.
func (c *checked) unreadable() int {
	n := 0
	for _, cp := range c.captures {
		if cp.err != nil {
			n++
		}
	}
	return n
}
