package heater

import (
	"fmt"
	"slices"
)

// assumptions states what the plan rests on; ofSupply adds what it takes of this
// one supply's output.
func (p *Plan) assumptions(ofSupply bool) []string {
	o := p.Options
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	add("heater current grows as volts to the power %g near the rating (0.5 to 0.65 is usual; no published figure)", o.Exponent)
	add("heater current spread as the valve table gives it, ±7 %% where it gives none (from memory)")
	switch {
	case !ofSupply:
	case p.Supply.OutputOhm == 0:
		add("output resistance not given: taken as 0 (meter readings at two currents would show it)")
	default:
		add("output resistance %s", smallOhms(p.Supply.OutputOhm))
	}
	if p.Supply.LeadOhm == 0 {
		add("leads and sockets taken as 0 Ω")
	} else {
		add("leads and sockets %s, both wires together", ohms(p.Supply.LeadOhm))
	}
	if p.Supply.TolFrac == 0 {
		add("supply volts taken as measured, resistor tolerance ±%g %%", roundSig(100*o.partTol(), 3))
	} else {
		add("supply tolerance ±%g %%, resistor tolerance ±%g %%", roundSig(100*p.Supply.TolFrac, 3), roundSig(100*o.partTol(), 3))
	}
	add("rating to buy: at least %g x the dissipation in the worst case of the tolerances, in air of %g °C (full to 25 °C, then in a straight line to nothing at %g °C, as a chassis-mounted wirewound's, from memory)", o.DeratingX, o.airC(), hottestC)
	if p.Supply.RatedA > 0 && p.Supply.LimitA == 0 {
		add("a shorted heater: the supply limits its current at %g to %g times its rating; resistors are held against the most of it, fuses against the least (common practice, no source)", leastLimit, mostLimit)
	}
	if p.smallFuse() {
		add("fuses and their holders taken as 0 Ω, which small ones are not: at its rated current 0.9 V across 0.5 A, 0.25 V across 0.8 A and 0.15 V across 1 A are allowed (IEC 60127-2, sheet 3, from memory): measure the warm heaters with the fuses in, and take a fuse's ohms off the resistor's")
	}
	add("surface: at the heat of the worst case, %d K above the air at full rating, in proportion below it, air at %g °C (a wirewound in free air, from memory)", fullLoadRiseK, o.airC())
	usual := "1/5 to 1/7 is usual"
	if slices.ContainsFunc(p.Load.Groups, func(g Group) bool { return g.Valve.Thoriated }) {
		usual = "about 1/10 for thoriated tungsten"
	}
	add("a cold heater has 1/%g of its hot resistance (%s, from memory)", o.ColdRatio, usual)
	add("warm-up: modelled on a heater with a data-sheet warm-up time of %g s (time to reach 80 %% of its rated volts when fed from 4 times its volts through 3 times its hot resistance, from memory)", o.WarmUpS)
	add("diodes: %s; %s", siliconDiode.inWords, schottkyDiode.inWords)
	add("headroom rule: the heaters' highest total current stays under %.0f %% of the rating (common practice, no source)", 100*o.HeadroomFrac)
	seen := map[string]bool{}
	for _, g := range p.Load.Groups {
		v := g.Valve
		if !seen[v.Type] {
			seen[v.Type] = true
			add("%s: %s, %s, ±%g %% volts, ±%g %% current; %s", v.Type, volts(v.Volts), amps(v.Amps), roundSig(100*v.VoltTol, 2), roundSig(100*v.AmpTol, 2), v.Source)
		}
	}
	return list
}

// smallFuse reports whether the recommendation has a fuse of so few amps that it takes a
// part of the heaters' volts.
func (p *Plan) smallFuse() bool {
	return p.Best >= 0 && slices.ContainsFunc(p.best().Fuses, func(f Fuse) bool { return f.RatingA > 0 && f.RatingA <= smallFuseA })
}

// smallFuseA is the rating up to which a fuse's own drop matters at 6.3 V.
const smallFuseA = 1.0

// SharedAssumptions are the plan's assumptions that hold for any other supply at
// the same load and with the same options: all but its output resistance.
func (p *Plan) SharedAssumptions() []string { return p.assumptions(false) }

// SafetyCautions are the lines that go with every dropper, on screen and on
// paper.
func SafetyCautions() []string {
	return append(DropperCautions(),
		"mains and valve high voltage can kill: unplug first. "+HTSafety,
		"local codes and licensed practice decide, not this tool")
}

// Safety lines that every front end gives in the same words; common practice, no
// source.
const (
	HTSafety        = "High voltage remains after switch-off: bleed the capacitors through a resistor and check with a meter that they are empty before you touch anything."
	HotCaution      = "dropper resistors run hot enough to burn skin and melt insulation: lift them off the board, give them air"
	VoltsCaution    = "measure the heater volts at the socket pins, all valves in and warm, before you trust any figure here"
	ParallelCaution = "never put two supplies in parallel: they do not share the load, and one carries it all; give each its own valves"
)

// CapCaution goes with every electrolytic that is recommended (common practice, no
// source).
const CapCaution = "an electrolytic connected the wrong way round, above its rated volts or beside a hot part can vent or burst: observe its polarity, use the rated volts named or more, keep it clear of the dropper, and shield your eyes at the first switch-on"

// DropperCautions are those of the SafetyCautions that are about the heater supply
// itself.
func DropperCautions() []string {
	return []string{
		HotCaution,
		VoltsCaution,
		"never pull or fit a valve under power where a dropper is shared",
		ParallelCaution,
		CapCaution,
	}
}
