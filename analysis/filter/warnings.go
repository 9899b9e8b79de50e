package filter

import (
	"fmt"
	"math"
	"slices"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// What supplies and parts put up with, all from memory (common practice, no
// source).
const (
	maxStartF      = 2200e-6 // what small supplies usually start into, farads
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
	w := startWarnings(r.Circuit, volts)
	if r.PeakDB > peakWorthDB {
		w = append(w, resonanceWarnings(r, in.Unit.Captures)...)
	}
	w = append(w, currentWarnings(r, in.Unit.HeaterA, volts)...)
	if slices.ContainsFunc(in.Unit.Captures, func(m *analysis.Measurement) bool { return m.Kind == cycle.Bursting }) {
		w = append(w, "the supply switches in bursts, and their rate depends on the load: capture it again with the filter fitted")
	}
	for _, p := range []Capacitor{r.Circuit.C1, r.Circuit.C2, r.Circuit.CFilm} {
		if p.NominalF > 0 {
			w = append(w, fmt.Sprintf("a %s ceramic loses much of its value at %.3g V DC; half is assumed here, so use one rated 16 V or more", si(p.NominalF, "F"), volts))
			break
		}
	}
	return unique(w)
}

// startWarnings are about what the supply must charge at switch-on.
func startWarnings(c Circuit, volts float64) []string {
	direct := 0.0 // farads that the supply sees with no resistance ahead
	if c.Topology == CLC {
		direct = c.C1.F
	}
	total := c.C1.F + c.C2.F + c.CFilm.F + c.CDampF
	switch {
	case direct > maxStartF:
		return []string{fmt.Sprintf("%s connected directly to the supply: small supplies usually start with up to %s (from memory); try it, or fit an RC with the dropper's resistance ahead of the capacitor", si(direct, "F"), si(maxStartF, "F"))}
	case total > maxStartF:
		peak := volts / math.Max(c.ROhm+c.L.DCROhm+c.SourceOhm, 1e-3)
		return []string{fmt.Sprintf("%s behind %s draws up to %.1f A at switch-on, on top of what the cold heaters draw; small supplies usually start with up to %s (from memory)", si(total, "F"), si(c.ROhm+c.L.DCROhm, "Ω"), peak, si(maxStartF, "F"))}
	case total >= startWorthF:
		return []string{inrushWords(c, total, volts)}
	}
	return nil
}

// resonanceWarnings say what the circuit's resonance harms: the supply's control
// loop, and lines that the captures show under it; how to damp it where it is
// neither.
func resonanceWarnings(r Result, captures []*analysis.Measurement) []string {
	var w []string
	at := fmt.Sprintf("resonance: noise raised by %.1f dB at %s", r.PeakDB, target.HzText(r.PeakHz))
	if r.PeakHz >= loopLowHz && r.PeakHz <= loopHighHz {
		w = append(w, at+fmt.Sprintf(", where a supply's control loop works (about %s to %s, from memory): it may ring or oscillate; damp it", target.HzText(loopLowHz), target.HzText(loopHighHz)))
	}
	for _, m := range captures {
		if m.Mode != capture.Differential {
			continue
		}
		for _, line := range []struct {
			name string
			f    figure.Figure
		}{{"switching frequency", m.SwitchingHz}, {"burst rate", m.BurstHz}, {"mains ripple", m.MainsLineHz}} {
			if f := line.f.Value; line.f.Known && f > 0 && DB(Insertion(r.Circuit, f)) > peakWorthDB {
				w = append(w, fmt.Sprintf("%s: it lifts the %s at %s by %.1f dB", at, line.name, target.HzText(f), DB(Insertion(r.Circuit, f))))
			}
		}
	}
	if len(w) == 0 {
		w = append(w, at+"; damp it with a resistor of about the coil's and capacitor's √(L/C) in series with a capacitor four times as great")
	}
	return w
}

// currentWarnings are about the heaters' current through the parts, in amps, and
// the volts it drops there.
func currentWarnings(r Result, heaterA, volts float64) []string {
	var w []string
	c := r.Circuit
	if c.Topology != RC && c.L.RatedA > 0 && heaterA > c.L.RatedA {
		w = append(w, fmt.Sprintf("the heaters draw %.2g A through a coil rated %.2g A: it saturates and runs hot, and filters less than this says", heaterA, c.L.RatedA))
	}
	if volts > 0 && heaterA > 0 {
		heaterV := defaultHeaterV
		if c.LoadOhm > 0 {
			heaterV = c.LoadOhm * heaterA
		}
		if spare := volts - heaterV; r.DropV > spare+heaterTol*heaterV {
			w = append(w, fmt.Sprintf("it drops %.2f V at %.3g A, and only %.2f V to spare above %.3g V", r.DropV, heaterA, math.Max(0, spare), heaterV))
		}
	}
	return w
}

// inrushWords says what charging the capacitors asks of a supply that usually
// starts into them.
func inrushWords(c Circuit, total, volts float64) string {
	ohm := c.ROhm + c.L.DCROhm + c.SourceOhm + math.Max(c.C1.ESROhm, c.C2.ESROhm)
	draws := "draws as much as the supply gives"
	if peak := volts / ohm; c.Topology != CLC && peak < mostBrickA {
		draws = fmt.Sprintf("draws up to %.1f A", peak)
	}
	return fmt.Sprintf("inrush: %s %s at switch-on until it is charged, on top of what the cold heaters draw; small supplies usually start with up to %s (from memory): try it with everything cold", si(total, "F"), draws, si(maxStartF, "F"))
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
