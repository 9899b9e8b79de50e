package filter

import (
	"fmt"
	"math"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// What supplies and parts put up with, all from memory (common practice, no
// source).
const (
	maxStartF      = 2200e-6 // what small bricks usually start into, farads
	startWorthF    = 100e-6  // less is charged before any supply notices
	mostBrickA     = 20.0    // no small brick gives more, however small the resistance
	loopLowHz      = 500.0   // where a supply's control loop has its bandwidth
	loopHighHz     = 30e3
	peakWorthDB    = 1.0  // a resonance below this harms nothing
	ceramicWorthF  = 1e-6 // above it ceramics lose much of their value under DC
	defaultHeaterV = 6.3
	coilReserve    = 1.25 // of a coil's rated current over the heaters'
	heaterTol      = 0.05 // a standard value may overshoot so far
)

// warnings of a fitted circuit.
func warnings(r Result, in Input, volts float64) []string {
	c := r.Circuit
	var w []string
	direct := 0.0 // farads that the supply sees with no resistance ahead
	if c.Topology == CLC {
		direct = c.C1.F
	}
	if direct > maxStartF {
		w = append(w, fmt.Sprintf("%s connected directly to the supply: small bricks usually start into %s or less (from memory); try it, or fit an RC with the dropper's resistance ahead of the capacitor", si(direct, "F"), si(maxStartF, "F")))
	} else if total := c.C1.F + c.C2.F + c.CFilm.F + c.CDampF; total > maxStartF {
		peak := volts / math.Max(c.ROhm+c.L.DCROhm+c.SourceOhm, 1e-3)
		w = append(w, fmt.Sprintf("%s behind %s draws up to %.1f A at switch-on, beside the cold heaters; small bricks usually start into %s (from memory)", si(total, "F"), si(c.ROhm+c.L.DCROhm, "Ω"), peak, si(maxStartF, "F")))
	} else if total >= startWorthF {
		w = append(w, inrushWords(c, total, volts))
	}
	if r.PeakDB > peakWorthDB {
		at := fmt.Sprintf("resonance: %.1f dB louder at %s", r.PeakDB, target.HzText(r.PeakHz))
		near := false
		if r.PeakHz >= loopLowHz && r.PeakHz <= loopHighHz {
			w = append(w, at+fmt.Sprintf(", where a supply's control loop works (about %s to %s, from memory): it may ring or oscillate; damp it", target.HzText(loopLowHz), target.HzText(loopHighHz)))
			near = true
		}
		for _, m := range in.Unit.Captures {
			if m.Mode != capture.Differential {
				continue
			}
			for _, line := range []struct {
				name string
				f    figure.Figure
			}{{"switching frequency", m.SwitchingHz}, {"burst rate", m.BurstHz}, {"mains ripple", m.MainsLineHz}} {
				if f := line.f.Value; line.f.Known && f > 0 && DB(Insertion(c, f)) > peakWorthDB {
					w = append(w, fmt.Sprintf("%s: it lifts the %s at %s by %.1f dB", at, line.name, target.HzText(f), DB(Insertion(c, f))))
					near = true
				}
			}
		}
		if !near {
			w = append(w, at+"; damp it with a resistor of about the coil's and capacitor's √(L/C) in series with a capacitor four times as great")
		}
	}
	if a := in.Unit.HeaterA; c.Topology != RC && c.L.RatedA > 0 && a > c.L.RatedA {
		w = append(w, fmt.Sprintf("the heaters draw %.2g A through a coil for %.2g A: it saturates and runs hot, and filters less than this says", a, c.L.RatedA))
	}
	if volts > 0 && in.Unit.HeaterA > 0 {
		heaterV := defaultHeaterV
		if c.LoadOhm > 0 {
			heaterV = c.LoadOhm * in.Unit.HeaterA
		}
		if spare := volts - heaterV; r.DropV > spare+heaterTol*heaterV {
			w = append(w, fmt.Sprintf("it drops %.2f V at %.3g A, and only %.2f V are to spare above %.3g V", r.DropV, in.Unit.HeaterA, math.Max(0, spare), heaterV))
		}
	}
	for _, m := range in.Unit.Captures {
		if m.Kind == cycle.Bursting {
			w = append(w, "the supply switches in bursts, and their rate depends on the load: capture it again with the filter fitted")
			break
		}
	}
	for _, p := range []Capacitor{c.C1, c.C2, c.CFilm} {
		if p.NominalF > 0 {
			w = append(w, fmt.Sprintf("a %s ceramic keeps only a part of its value at %.3g V DC; half is counted on here, so take one rated 16 V or more", si(p.NominalF, "F"), volts))
			break
		}
	}
	return unique(w)
}

// inrushWords says what charging the capacitors asks of a supply that usually
// starts into them.
func inrushWords(c Circuit, total, volts float64) string {
	ohm := c.ROhm + c.L.DCROhm + c.SourceOhm + math.Max(c.C1.ESROhm, c.C2.ESROhm)
	draws := "draws as much as the supply gives"
	if peak := volts / ohm; c.Topology != CLC && peak < mostBrickA {
		draws = fmt.Sprintf("draws up to %.1f A", peak)
	}
	return fmt.Sprintf("inrush: %s %s at switch-on until it is charged, beside the cold heaters; small bricks usually start into %s (from memory): try it with everything cold", si(total, "F"), draws, si(maxStartF, "F"))
}

func unique(list []string) []string {
	var out []string
	seen := map[string]bool{}
	for _, s := range list {
		if !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	return out
}
