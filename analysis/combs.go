package analysis

import (
	"fmt"
	"math"
	"slices"
)

// Comb names of Line.Comb.
const (
	combMains      = "mains"
	combSwitching  = "switching"
	combSecond     = "second"
	combSideband   = "sideband"
	combBurst      = "burst"
	combInstrument = "instrument"
)

// combResult tells what the lines have in common.
type combResult struct {
	SecondHz float64 // fundamental of a second converter, 0 none
	BeatHz   float64 // difference of the two converters' nearest harmonics, 0 none
	BurstHz  float64 // spacing of a packet comb around the switching lines, 0 none
}

// classifyCombs names the lines: harmonics of the mains, of the switching
// frequency, of a second converter, and sidebands of the switching lines at the
// mains or packet rate. mainsHz and switchingHz are refined frequencies, 0
// unknown. The lines come back in the order given.
func classifyCombs(lines []Line, mainsHz, switchingHz float64) ([]Line, combResult) {
	lines = slices.Clone(lines)
	var res combResult
	for i := range lines {
		l := &lines[i]
		if n := harmonicOf(*l, switchingHz, 1e-4); n > 0 {
			l.Comb, l.Harmonic, l.Name = combSwitching, n, harmonicName("switching", n)
			continue
		}
		// beyond the 40th the mains comb is too dense to tell by frequency alone
		if n := harmonicOf(*l, mainsHz, 2e-4); n > 0 && n <= 40 && (switchingHz == 0 || l.FrequencyHz < switchingHz/2) {
			l.Comb, l.Harmonic = combMains, n
			l.Name = fmt.Sprintf("%d x mains (%s)", n, hertz(float64(n)*mainsHz))
		}
	}
	if switchingHz > 0 {
		res.BurstHz = nameSidebands(lines, mainsHz, switchingHz)
	}
	res.SecondHz = nameSecond(lines, switchingHz)
	if res.SecondHz > 0 && switchingHz > 0 {
		hi, lo := max(res.SecondHz, switchingHz), min(res.SecondHz, switchingHz)
		res.BeatHz = math.Abs(hi - math.Round(hi/lo)*lo)
	}
	return lines, res
}

// markInstrument names the lines that the baseline shows as well, at half their
// strength or more: they are the instrument's own or picked up by its leads, and
// are not charged to the unit.
func markInstrument(lines, baseline []Line) {
	for i := range lines {
		l := &lines[i]
		for _, b := range baseline {
			tol := max(0.5*l.binHz, 0.5*b.binHz, 1e-5*l.FrequencyHz)
			if math.Abs(l.FrequencyHz-b.FrequencyHz) <= tol && b.RMSV >= 0.5*l.RMSV {
				l.Comb, l.Harmonic = combInstrument, 0
				l.Name = "instrument (" + hertz(l.FrequencyHz) + ")"
				break
			}
		}
	}
}

// harmonicOf is the number n of the harmonic of baseHz that the line is, within
// half its resolution and the relative tolerance; 0 when it is none.
func harmonicOf(l Line, baseHz, relative float64) int {
	if !(baseHz > 0) {
		return 0
	}
	n := math.Round(l.FrequencyHz / baseHz)
	tol := min(max(0.5*l.binHz, relative*l.FrequencyHz), 0.2*baseHz)
	if n < 1 || math.Abs(l.FrequencyHz-n*baseHz) > tol {
		return 0
	}
	return int(n)
}

func harmonicName(of string, n int) string {
	if n == 1 {
		return of + ", fundamental"
	}
	return fmt.Sprintf("%s, %s harmonic", of, ordinal(n))
}

func ordinal(n int) string {
	suffix := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return fmt.Sprintf("%d%s", n, suffix)
}

// nameSidebands names unnamed lines near a switching line by their distance: at
// multiples of the mains frequency, or in pairs on both sides. The distance that
// most pairs share and that is no multiple of the mains is the packet rate of a
// bursting supply; it comes back, 0 when there is none.
func nameSidebands(lines []Line, mainsHz, switchingHz float64) (burstHz float64) {
	distance := func(l Line) (n int, d float64) {
		k := math.Round(l.FrequencyHz / switchingHz)
		return int(k), l.FrequencyHz - k*switchingHz
	}
	var pairs []float64
	for i := range lines {
		l := &lines[i]
		n, d := distance(*l)
		if l.Comb != "" || n < 1 {
			continue
		}
		if m := math.Round(math.Abs(d) / mainsHz); mainsHz > 0 && m >= 1 && m <= 20 && math.Abs(math.Abs(d)-m*mainsHz) < min(l.binHz, 0.1*mainsHz)+1e-5*l.FrequencyHz {
			l.Comb, l.Harmonic = combSideband, n
			l.Name = fmt.Sprintf("%s, sideband at %d x mains", harmonicName("switching", n), int(m))
			continue
		}
		for j := range lines {
			o := lines[j]
			if no, do := distance(o); j != i && o.Comb == "" && no == n && d > 0 && math.Abs(d+do) < l.binHz+1e-5*l.FrequencyHz {
				pairs = append(pairs, d)
			}
		}
	}
	if len(pairs) == 0 {
		return 0
	}
	slices.Sort(pairs)
	// the smallest distance of which at least half of the pairs are multiples
	for _, p := range pairs {
		fit := 0
		for _, q := range pairs {
			if r := q / p; math.Abs(r-math.Round(r)) < 0.02*math.Max(r, 1) && r < 12 {
				fit++
			}
		}
		if 2*fit >= len(pairs) {
			burstHz = p
			break
		}
	}
	if burstHz == 0 {
		return 0
	}
	count := 0
	for i := range lines {
		l := &lines[i]
		n, d := distance(*l)
		if l.Comb != "" {
			continue
		}
		m := math.Round(math.Abs(d) / burstHz)
		if m >= 1 && math.Abs(math.Abs(d)-m*burstHz) < l.binHz+0.02*burstHz*m {
			l.Comb, l.Harmonic = combSideband, n
			l.Name = fmt.Sprintf("%s, sideband at %d x %s", harmonicName("switching", n), int(m), hertz(burstHz))
			if n == 0 {
				l.Comb, l.Harmonic = combBurst, int(m)
				l.Name = harmonicName("packet rate", int(m))
			}
			count++
		}
	}
	if count < 4 {
		return 0 // two lines around one are modulation, not packets
	}
	return burstHz
}

// nameSecond looks for a second converter among the lines left: the strongest
// one above 5 kHz of which at least one harmonic (2nd to 5th) is there too.
func nameSecond(lines []Line, switchingHz float64) float64 {
	for _, base := range lines { // by falling amplitude
		if base.Comb != "" || base.FrequencyHz < 5e3 {
			continue
		}
		found := 0
		for _, l := range lines {
			if n := harmonicOf(l, base.FrequencyHz, 1e-4); l.Comb == "" && n >= 2 && n <= 5 {
				found++
			}
		}
		if found == 0 {
			continue
		}
		hz := base.FrequencyHz
		for i := range lines {
			l := &lines[i]
			if n := harmonicOf(*l, hz, 1e-4); l.Comb == "" && n > 0 && n <= 100 {
				l.Comb, l.Harmonic, l.Name = combSecond, n, harmonicName("second converter", n)
			}
		}
		// intermodulation of the two: |a f1 ± b f2|, a and b up to 3
		for i := range lines {
			l := &lines[i]
			if l.Comb != "" || switchingHz == 0 {
				continue
			}
			for a := 1; a <= 3 && l.Comb == ""; a++ {
				for b := 1; b <= 3; b++ {
					fa, fb := float64(a)*switchingHz, float64(b)*hz
					tol := max(0.5*l.binHz, 1e-5*l.FrequencyHz)
					if math.Abs(l.FrequencyHz-math.Abs(fa-fb)) < tol || math.Abs(l.FrequencyHz-fa-fb) < tol {
						l.Comb = combSideband
						l.Name = fmt.Sprintf("intermodulation of the two converters (%d and %d)", a, b)
						break
					}
				}
			}
		}
		return hz
	}
	return 0
}
