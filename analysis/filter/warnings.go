package filter

import (
	"fmt"
	"math"
	"math/cmplx"
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
	rippleWorthA   = 0.5  // of ripple current, which every low-impedance electrolytic of some hundred µF carries
)

// warnings of a fitted circuit.
func warnings(r Result, in Input, volts float64) []string {
	w := startWarnings(r.Circuit, volts)
	if r.PeakDB > peakWorthDB {
		w = append(w, resonanceWarnings(r, in.Unit.Captures)...)
	}
	w = append(w, currentWarnings(r, in.Unit.HeaterA, volts)...)
	w = append(w, rippleWarnings(r.Circuit, in.Unit.Captures)...)
	if slices.ContainsFunc(in.Unit.Captures, func(m *analysis.Measurement) bool { return m.Kind == cycle.Bursting }) {
		w = append(w, "the supply switches in bursts, and their rate depends on the load: capture it again with the filter fitted")
	}
	for _, p := range []Capacitor{r.Circuit.C1, r.Circuit.C2, r.Circuit.CFilm} {
		if p.NominalF > 0 {
			w = append(w, fmt.Sprintf("a %s ceramic loses much of its value at %.3g V DC; half is assumed here, which asks for the rated volts named or more", si(p.NominalF, "F"), volts))
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
	total := c.C1.F + c.C2.F + c.CFilm.F + c.CDamp.F
	switch {
	case direct > maxStartF:
		return []string{fmt.Sprintf("%s connected directly to the supply: small supplies usually start with up to %s (from memory); try it, or fit an RC with the dropper's resistance ahead of the capacitor", si(direct, "F"), si(maxStartF, "F"))}
	case total > maxStartF:
		return []string{fmt.Sprintf("%s behind %s %s at switch-on, on top of what the cold heaters draw; small supplies usually start with up to %s (from memory)",
			si(total, "F"), si(c.ROhm+c.L.DCROhm, "Ω"), inrushDraws(c, volts), si(maxStartF, "F"))}
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
		w = append(w, at+fmt.Sprintf(", where a supply's control loop works (about %s to %s, from memory): it may ring or oscillate; %s", target.HzText(loopLowHz), target.HzText(loopHighHz), r.Circuit.dampWords()))
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
		w = append(w, at+"; "+r.Circuit.dampWords())
	}
	return w
}

// dampWords says what damps the circuit's resonance: the coil's and capacitor's √(L/C),
// the ESR of what is in series with it included, with a capacitor four times as great or
// more (common practice, no source).
func (c Circuit) dampWords() string {
	last := c.C1.F
	if c.Topology == CLC {
		last = c.C2.F
	}
	if c.Topology == RC || !(c.L.H > 0) || !(last > 0) { // the leads against the supply's own capacitor
		return "damp it"
	}
	wanted := math.Sqrt(c.L.H / last)
	p := dampingCapacitor(wanted, last)
	if add := wanted - p.ESROhm; add >= leastDampOhm {
		return fmt.Sprintf("damp it with about %s in series with an electrolytic of %s or more across the heaters: %s in all, the capacitor's ESR of about %s included", about(add, "Ω"), si(p.F, "F"), about(wanted, "Ω"), about(p.ESROhm, "Ω"))
	}
	return fmt.Sprintf("damp it with an electrolytic of about %s across the heaters, whose ESR of about %s does what a resistor would: %s is wanted", si(p.F, "F"), about(p.ESROhm, "Ω"), about(wanted, "Ω"))
}

// dampTimes is how much greater the damping capacitor is than the one it damps.
const dampTimes = 4

// currentWarnings are about the heaters' current through the parts, in amps, and
// the volts it drops there.
func currentWarnings(r Result, heaterA, volts float64) []string {
	var w []string
	c := r.Circuit
	if c.Topology != RC && c.L.RatedA > 0 && heaterA > c.L.RatedA {
		coil := fmt.Sprintf("a coil rated %.2g A", c.L.RatedA)
		if usual, err := NewInductor(c.L.H); err == nil && usual.RatedA == c.L.RatedA {
			coil = fmt.Sprintf("a coil that is usually rated about %.2g A (from memory)", c.L.RatedA)
		}
		w = append(w, fmt.Sprintf("the heaters draw %.2g A through %s: one that small saturates and runs hot, and filters less than this says; take a larger one, of the current named", heaterA, coil))
	}
	if c.ROhm > 0 && heaterA > 0 && c.RatingW == 0 { // given by itself, not by a plan of the dropper
		w = append(w, fmt.Sprintf("the rating of the %s carries the heaters, not a shorted one: \"stillglow dropper\" gives what stands that, and the fuse", si(c.ROhm, "Ω")))
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

// rippleWarnings say what of the supply's ripple its first capacitor carries: at most the
// ripple over what lies between the supply and it, the capacitor's ESR included.
func rippleWarnings(c Circuit, captures []*analysis.Measurement) []string {
	most := 0.0
	for _, m := range captures {
		if m.Mode != capture.Differential || !m.RippleRMSV.Known || !m.SwitchingHz.Known {
			continue
		}
		ahead := complex(c.C1.ESROhm, 0)
		if c.Topology != CLC {
			ahead += complex(c.ROhm+c.L.DCROhm, 2*math.Pi*m.SwitchingHz.Value*c.L.H)
		}
		if z := cmplx.Abs(ahead); z > 0 {
			most = math.Max(most, m.RippleRMSV.Value/z)
		}
	}
	if most < rippleWorthA {
		return nil
	}
	return []string{fmt.Sprintf("the %s capacitor may carry up to %.2g A rms of the supply's ripple current: take one rated for that at 100 kHz, or it runs hot and dries out early", si(c.C1.F, "F"), most)}
}

// inrushWords says what charging the capacitors asks of a supply that usually
// starts into them.
func inrushWords(c Circuit, total, volts float64) string {
	return fmt.Sprintf("inrush: %s %s at switch-on until it is charged, on top of what the cold heaters draw; small supplies usually start with up to %s (from memory): try it with everything cold", si(total, "F"), inrushDraws(c, volts), si(maxStartF, "F"))
}

// inrushDraws says how much the empty capacitors draw, where the resistances ahead of them
// and not the supply decide that.
func inrushDraws(c Circuit, volts float64) string {
	esr := math.Max(c.C1.ESROhm, c.C2.ESROhm)
	if c.CDamp.F > 0 { // the two side by side
		esr = 1 / (1/math.Max(esr, 1e-9) + 1/math.Max(c.DampOhm+c.CDamp.ESROhm, 1e-9))
	}
	if peak := volts / (c.ROhm + c.L.DCROhm + c.SourceOhm + esr); c.Topology != CLC && peak < mostBrickA {
		return fmt.Sprintf("draws up to %.1f A", peak)
	}
	return "draws as much as the supply gives"
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
