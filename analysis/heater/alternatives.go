package heater

import (
	"fmt"
	"math"
	"slices"
)

// AltKind names a way of feeding the heaters other than a plain dropper.
type AltKind string

// Kinds of alternative.
const (
	AltRegulator AltKind = "regulator"
	AltTrim      AltKind = "trim resistor"
	AltStrings   AltKind = "strings"
	AltSupply    AltKind = "supply of fewer volts"
)

// Alternative is one other way, with its heat.
type Alternative struct {
	Kind   AltKind `json:"kind"`   // what it is
	What   string  `json:"what"`   // in a sentence
	HeatW  float64 `json:"heat_w"` // dissipation in it, W
	Better bool    `json:"better"` // the better engineering of all ways here
}

// What a linear regulator asks for, typical, from memory.
const (
	lowDropoutV  = 0.6   // a low-dropout regulator at 1 to 3 A
	lowDropoutIn = 26.0  // the most that usual low-dropout ones take at the input
	dropoutIn    = 40.0  // the most across an adjustable one, which is all of the input while the heaters are cold
	dropoutV     = 2.5   // an adjustable three-terminal one
	junctionC    = 110.0 // kept under the usual 125
	caseKPerW    = 3.0   // junction to sink, insulating washer included, TO-220
	leastSinkKW  = 2.0   // below this the heat sink grows larger than the preamp wants
	nextSupplyV  = 0.7   // over the heaters' that a supply with a dropper wants
	largeHeadV   = 1.5   // volts to drop from which a dropper's corners are wide
	regulatorTol = 0.02  // of the output, trimmed once
	comfortShare = 0.8   // of the tolerance that corners may use before another way is better
	stringCorner = 0.12  // a string's corners, its one odd valve included
)

// alternatives weighs what an engineer would rather fit where there is much to
// drop: from 9 to 15 V a dropper's corners leave ±10 %.
func (p *Plan) alternatives(z sizing) {
	if !p.CanFeed || p.Direct || z.load.Mixed() || z.dropV < largeHeadV || z.unevenString() {
		return
	}
	reg, regOK := z.regulator(p)
	p.Alternatives = append(p.Alternatives, reg, z.trim())
	stringsOK := false
	for _, a := range p.Arrangements {
		if a.Name == namePerString && a.Best >= 0 {
			part := a.Parts[a.Best]
			stringsOK = !part.PulledOver && part.oddExcursion() <= stringCorner
			how := "strings"
			if a.Rewired != "" {
				how = "the heaters rewired as " + a.Rewired
			}
			p.Alternatives = append(p.Alternatives, Alternative{Kind: AltStrings, HeatW: part.TotalW,
				What: fmt.Sprintf("%s, %s: worst cases %s to %s, the widest with one odd valve in a string: put valves of equal measured heater current into each string", how, part.Label, percent(part.WorstLow), percent(part.WorstHigh))})
		}
	}
	p.Alternatives = append(p.Alternatives, Alternative{Kind: AltSupply, HeatW: nextSupplyV * z.nominalA,
		What: fmt.Sprintf("a supply of %s: %s to drop and %s of heat instead of %s", volts(z.load.Volts+nextSupplyV), volts(nextSupplyV), watts(nextSupplyV*z.nominalA), watts(z.dropV*z.nominalA))})
	better := AltSupply
	switch {
	case p.Best >= 0 && p.comfortable(p.best()):
		p.Better = "the recommended dropper: its worst cases stay well inside the heaters' limits"
		return
	case stringsOK:
		better, p.Better = AltStrings, "strings: least heat, and worst cases no worse than a dropper's where the valves of a string match"
	case regOK:
		better = AltRegulator
		p.Better = fmt.Sprintf("the regulator, which holds the heaters within ±%g %% whatever the supply, the parts or a pulled valve do, and removes much of the ripple too", 100*regulatorTol)
		if slices.ContainsFunc(z.strands, func(s strand) bool { return s.string }) {
			p.Better = fmt.Sprintf("the regulator, which holds the rail within ±%g %% whatever the supply, the parts or a pulled valve do, and removes much of the ripple too; it can't even out a string, so put valves of equal measured heater current into each", 100*regulatorTol)
		}
	default:
		p.Better = "a supply of fewer volts: no usual linear regulator suits here without a large heat sink, and a dropper's worst cases are outside the limits"
	}
	for i := range p.Alternatives {
		p.Alternatives[i].Better = p.Alternatives[i].Kind == better
	}
}

// oddExcursion is the widest tolerance corner but for those that have one odd heater and
// the supply at its worst together. Arrangements are compared by it, since a string's
// valves can be matched and a single valve's heater can't be changed.
func (part Part) oddExcursion() float64 {
	widest := 0.0
	for _, c := range part.Corners {
		if (c.Kind == KindNominal || c.Kind == KindSpread) && !c.oddAtWorst {
			widest = math.Max(widest, math.Max(c.high, -c.low))
		}
	}
	return widest
}

// best is the part recommended; p.Best must name one.
func (p *Plan) best() Part {
	a := p.Arrangements[p.Best]
	return a.Parts[a.Best]
}

// comfortable is true where every tolerance corner uses no more than
// comfortShare of the tightest heater's tolerance, and no pulled valve harms.
func (p *Plan) comfortable(part Part) bool {
	tol := 1.0
	for _, g := range p.Load.Groups {
		tol = math.Min(tol, g.Valve.VoltTol)
	}
	return !part.PulledOver && math.Max(part.WorstHigh, -part.WorstLow) <= comfortShare*tol
}

// regulator sizes a linear regulator; ok is false where its dropout or its heat
// rules it out.
func (z sizing) regulator(p *Plan) (Alternative, bool) {
	low := z.availV*(1-z.supply.TolFrac) - z.load.Volts
	high := (z.availV*(1+z.supply.TolFrac) - z.load.Volts) * p.HighA
	kind, drop := "an adjustable three-terminal regulator", dropoutV
	if low < dropoutV {
		kind, drop = "a low-dropout regulator", lowDropoutV
	}
	a := Alternative{Kind: AltRegulator, HeatW: high}
	switch in := z.availV * (1 + z.supply.TolFrac); {
	case drop == lowDropoutV && in > lowDropoutIn:
		a.What = fmt.Sprintf("no linear regulator: %s are left across it, too little for an adjustable one, and usual low-dropout ones take no more than %s at the input, not %s (from memory)", volts3(math.Max(0, low)), volts(lowDropoutIn), volts(in))
		return a, false
	case in > dropoutIn:
		kind = fmt.Sprintf("an adjustable three-terminal regulator for more than %s, since cold heaters leave all of the input across it,", volts(dropoutIn))
	}
	if low < drop {
		a.What = fmt.Sprintf("no linear regulator: at the supply's low end %s are left across it, and a low-dropout one needs %s", volts3(math.Max(0, low)), volts(lowDropoutV))
		return a, false
	}
	sink := (junctionC-z.opt.airC())/high - caseKPerW
	a.What = fmt.Sprintf("%s set to %s, rated %s or more (dropout %s, %s left for it): up to %s of heat", kind, volts(z.load.Volts),
		amps(math.Ceil(1.5*p.HighA*2)/2), volts(drop), volts3(low), watts(high))
	if sink < leastSinkKW {
		a.What += fmt.Sprintf(", too much for a heat sink of reasonable size (%.1f K/W)", math.Max(0, sink))
		return a, false
	}
	a.What += fmt.Sprintf(", on a heat sink of %.0f K/W or less, insulated; its current limit softens the cold start; set it on a load resistor before the heaters are connected (typical figures, from memory)", math.Floor(sink))
	return a, true
}

// trim sizes a fixed resistor with an adjustable one in series, wide enough for
// the supply's tolerance and the heaters' spread.
func (z sizing) trim() Alternative {
	spread := usualAmp
	tol := math.Max(z.supply.TolFrac, 0.02)
	least := (z.availV*(1-tol) - z.load.Volts) / (z.nominalA * (1 + spread))
	most := (z.availV*(1+tol) - z.load.Volts) / (z.nominalA * (1 - spread))
	fixed, _, err := Neighbours(z.opt.Series, math.Max(least/(1+z.opt.partTol()), smallestOhm))
	if err != nil || fixed == 0 {
		fixed = smallestOhm
	}
	span := most - fixed*(1-z.opt.partTol())
	track := span
	for _, r := range []float64{0.5, 1, 2, 5, 10, 25, 50, 100} {
		if r >= span {
			track = r
			break
		}
	}
	high := z.nominalA * (1 + spread)
	fixedBuy, trackBuy := "", ""
	if w := BuyWatts(high * high * fixed); w > 0 {
		fixedBuy = " " + watts(w)
	}
	if w := BuyWatts(high * high * track / 2); w > 0 { // the current flows through a part of the track only
		trackBuy = " " + watts(w)
	}
	return Alternative{Kind: AltTrim, HeatW: z.dropV * z.nominalA,
		What: fmt.Sprintf("%s%s fixed and a %s%s adjustable wirewound in series, begun at its greatest resistance and set with a meter on the warm heaters: this corrects the spread of supply, parts and heaters, but not later drift or a pulled valve", ohms(fixed), fixedBuy, ohms(track), trackBuy)}
}
