package heater

import (
	"fmt"
	"math"
	"slices"
)

// InsulationState tells how a valve's heater-cathode volts stand to its limit.
type InsulationState string

// States of the heater-cathode insulation.
const (
	InsulationInside  InsulationState = "inside"
	InsulationOver    InsulationState = "over"
	InsulationUnknown InsulationState = "limit unknown"
	InsulationNotTold InsulationState = "cathode not told"
)

// Insulation is the volts between one type's heater and its cathode.
type Insulation struct {
	Type  string          `json:"type"`      // of the valve
	Volts float64         `json:"volts_v"`   // the greatest, wherever along the rail the heater hangs
	MaxV  float64         `json:"max_vhk_v"` // 0 unknown
	State InsulationState `json:"state"`     // how near the volts are to the limit
	Words string          `json:"words"`     // the same in a sentence
}

// insulation holds every type's cathode against its heater. The heater hangs
// somewhere between the supply's negative pole and the rail, so the worse end
// counts.
func (p *Plan) insulation() {
	for _, g := range p.Load.Groups {
		v := g.Valve
		if v.Filament {
			continue // its cathode is its filament
		}
		i := Insulation{Type: v.Type, MaxV: v.MaxVhk, Volts: math.Max(math.Abs(g.CathodeV), math.Abs(g.CathodeV-p.Load.Volts))}
		switch {
		case v.MaxVhk == 0 && g.CathodeV == 0:
			i.State = InsulationNotTold
			i.Words = fmt.Sprintf("%s: heater-cathode limit unknown, see the data sheet; give the cathode's volts if it is more than a few volts above the heater", v.Type)
		case v.MaxVhk == 0:
			i.State = InsulationUnknown
			i.Words = fmt.Sprintf("%s: %s between heater and cathode, limit unknown: see the data sheet", v.Type, volts(roundSig(i.Volts, 3)))
		case i.Volts > v.MaxVhk:
			i.State = InsulationOver
			i.Words = fmt.Sprintf("%s: %s between heater and cathode is over its %s: raise the heater supply towards the cathode's volts (it must float), or give that valve a heater supply of its own", v.Type, volts(roundSig(i.Volts, 3)), volts(v.MaxVhk))
			p.Warnings = append(p.Warnings, i.Words)
		case g.CathodeV == 0:
			i.State = InsulationNotTold
			i.Words = fmt.Sprintf("%s: up to %s between heater and cathode (from memory, it varies by maker); the cathode's volts are not given", v.Type, volts(v.MaxVhk))
		default:
			i.State = InsulationInside
			i.Words = fmt.Sprintf("%s: %s between heater and cathode, inside its %s", v.Type, volts(roundSig(i.Volts, 3)), volts(v.MaxVhk))
		}
		if !slices.Contains(p.Insulation, i) { // of another wiring
			p.Insulation = append(p.Insulation, i)
		}
	}
}

// beware adds what must be known of the types themselves: their notes, and what
// a directly heated one asks for.
func (p *Plan) beware() {
	told := map[string]bool{}
	for _, g := range p.Load.Groups {
		v := g.Valve
		if told[v.Type] {
			continue
		}
		told[v.Type] = true
		if v.Note != "" {
			p.Warnings = append(p.Warnings, v.Type+": "+v.Note)
		}
		if v.Filament {
			p.Warnings = append(p.Warnings,
				fmt.Sprintf("%s is directly heated, its filament is its cathode: the supply must float, and its ripple is in the signal with nothing in between", v.Type),
				fmt.Sprintf("%s: polarity matters: which end is negative sets the bias: turned round, the mean bias moves by the filament's whole %s where grid and cathode circuit return to one end; keep the polarity that the circuit was drawn for, and change it only with the bias set again", v.Type, volts(v.Volts)),
				fmt.Sprintf("%s: return grid and cathode circuit to one point, the negative end or the midpoint of two equal resistors across the filament; on DC that midpoint no longer cancels hum, it only sets the bias (common practice, no source)", v.Type))
		}
	}
}
