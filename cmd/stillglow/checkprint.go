package main

import (
	"fmt"
	"slices"
	"strings"

	"stillglow/analysis/target"
	"stillglow/capture"
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
	tasks, spared := c.tasks()
	for _, t := range tasks {
		b.WriteString(wrapText("  - ", "    ", t.text, 100))
		b.WriteString(wrapText("    for: ", "         ", strings.Join(t.units, ", "), 100))
	}
	if len(spared) > 0 {
		b.WriteString(wrapText("  ", "  ", "Common mode is open on these too, but they fail already: "+strings.Join(spared, ", "), 100))
	}
}

// task is one thing to do at the bench, with the units that it is open on: the scope
// is set once for all of them.
type task struct {
	text   string
	common bool // a common-mode capture, which wants its own set-up: it comes last
	units  []string
}

// tasks are what is to be done, each once. spared are units that fail, which need no
// common mode any more.
func (c *checked) tasks() (list []task, spared []string) {
	ask := func(text, unit string, common bool) {
		k := slices.IndexFunc(list, func(t task) bool { return t.text == text })
		if k < 0 {
			k, list = len(list), append(list, task{text: text, common: common})
		}
		list[k].units = append(list[k].units, unit)
	}
	for _, o := range c.open {
		if o.reading {
			ask("supply volts (loaded): take a meter reading"+loadedWith(c.heaterA), o.name, false)
		}
		for _, s := range o.settings {
			common := s.Mode == capture.Common
			if o.fails && common {
				if !slices.Contains(spared, o.name) {
					spared = append(spared, o.name)
				}
				continue
			}
			ask(s.names()+": "+captureWords(s)+loadedWith(c.heaterA), o.name, common)
		}
		for _, bound := range o.bounds {
			ask(bound, o.name, false)
		}
	}
	slices.SortStableFunc(list, func(a, b task) int {
		switch {
		case a.common == b.common:
			return 0
		case b.common:
			return -1
		}
		return 1
	})
	return list, spared
}

// captureWords is what to set for a capture, or why this scope can't make it.
func captureWords(s captureSetting) string {
	switch {
	case s.DivS == 0:
		return "not possible with this scope: " + s.across() + s.settings()
	case s.Mode == capture.Common:
		return "capture " + s.across() + s.settings()
	}
	return "capture at " + s.settings()
}

// takeAgain lists the units whose captures leave a doubt.
func (c *checked) takeAgain(b *strings.Builder) {
	if len(c.again) > 0 {
		b.WriteString("\nto mend or capture again, since a doubt could change the verdict:\n")
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
		var on *target.Limit
		if k := slices.IndexFunc(c.goal.Limits, func(l target.Limit) bool { return l.Criterion == s.Criterion }); k >= 0 {
			on = &c.goal.Limits[k]
		}
		text += target.ShownSays(s, on, unit)
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
