package spectrum

import (
	"fmt"
	"math"
	"slices"
)

// Comb names of Line.Comb.
const (
	CombMains      = "mains"
	CombSwitching  = "switching"
	CombSecond     = "second"
	CombSideband   = "sideband"
	CombBurst      = "burst"
	CombInstrument = "instrument"
)

// Combs tells what the lines have in common.
type Combs struct {
	SecondHz float64 // fundamental of a second converter, 0 none
	BeatHz   float64 // difference of the two converters' nearest harmonics, 0 none
	// ModulationHz is the even spacing of sidebands around the switching lines: the
	// sweep rate of a dithered supply or the packet rate of a bursting one; 0 none.
	ModulationHz float64
	BurstHz      float64 // the same where packets show at low frequencies too
}

// NameLines names the lines: harmonics of the mains, of the switching
// frequency, of a second converter, and sidebands of the switching lines at the
// mains or packet rate. mainsHz and switchingHz are refined frequencies, 0
// unknown. The lines come back in the order given.
func NameLines(lines []Line, mainsHz, switchingHz float64) ([]Line, Combs) {
	lines = slices.Clone(lines)
	var res Combs
	for i := range lines {
		l := &lines[i]
		if n := l.HarmonicOf(switchingHz, 1e-4); n > 0 {
			l.Comb, l.Harmonic, l.Name = CombSwitching, n, harmonicName("switching", n)
			continue
		}
		// beyond the 40th the mains comb is too dense to tell by frequency alone
		if n := l.HarmonicOf(mainsHz, 2e-4); n > 0 && n <= 40 && (switchingHz == 0 || l.FrequencyHz < switchingHz/2) {
			l.Comb, l.Harmonic = CombMains, n
			l.Name = fmt.Sprintf("%d x mains (%s)", n, hertz(float64(n)*mainsHz))
		}
	}
	if switchingHz > 0 {
		spacing := lineSpacing(lines, switchingHz)
		if m := math.Round(spacing / mainsHz); mainsHz > 0 && m >= 1 && m <= 2 && math.Abs(spacing-m*mainsHz) < 0.01*spacing {
			spacing = 0 // the mains modulates the switching
		}
		if spacing > 0 {
			res.ModulationHz = spacing
			if nameModulation(lines, spacing, switchingHz) {
				res.BurstHz = spacing
			}
		}
		if mainsHz > 0 {
			nameMainsSidebands(lines, mainsHz, switchingHz)
		}
	}
	res.SecondHz = nameSecond(lines, switchingHz)
	if res.SecondHz > 0 && switchingHz > 0 {
		hi, lo := max(res.SecondHz, switchingHz), min(res.SecondHz, switchingHz)
		res.BeatHz = math.Abs(hi - math.Round(hi/lo)*lo)
	}
	return lines, res
}

// HarmonicOf is the number n of the harmonic of baseHz that the line is, within
// half its resolution and the relative tolerance; 0 when it is none.
func (l Line) HarmonicOf(baseHz, relative float64) int {
	if !(baseHz > 0) {
		return 0
	}
	n := math.Round(l.FrequencyHz / baseHz)
	tol := min(max(0.5*l.BinHz, relative*l.FrequencyHz), 0.2*baseHz)
	if n < 1 || math.Abs(l.FrequencyHz-n*baseHz) > tol {
		return 0
	}
	return int(n)
}

func harmonicName(of string, n int) string {
	if n == 1 {
		return of + ", fundamental"
	}
	return fmt.Sprintf("%s, %s harmonic", of, Ordinal(n))
}

// Ordinal is n >= 0 in words' short form: "1st", "2nd", "11th".
func Ordinal(n int) string {
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

// nameSecond looks for a second converter among the lines left: the strongest
// one above 5 kHz of which at least one harmonic (2nd to 5th) is there too.
func nameSecond(lines []Line, switchingHz float64) float64 {
	for _, base := range lines { // by falling amplitude
		if base.Comb != "" || base.FrequencyHz < 5e3 {
			continue
		}
		found, beside := 0, 0
		for _, l := range lines {
			if l.Comb == "" && math.Abs(l.FrequencyHz/base.FrequencyHz-1) < 0.05 {
				beside++ // a smear, not a line
			}
			if n := l.HarmonicOf(base.FrequencyHz, 1e-4); l.Comb == "" && n >= 2 && n <= 5 {
				found++
			}
		}
		if found == 0 || beside > 5 {
			continue
		}
		hz := base.FrequencyHz
		for i := range lines {
			l := &lines[i]
			if n := l.HarmonicOf(hz, 1e-4); l.Comb == "" && n > 0 && n <= 100 {
				l.Comb, l.Harmonic, l.Name = CombSecond, n, harmonicName("second converter", n)
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
					tol := max(0.5*l.BinHz, 1e-5*l.FrequencyHz)
					if math.Abs(l.FrequencyHz-math.Abs(fa-fb)) < tol || math.Abs(l.FrequencyHz-fa-fb) < tol {
						l.Comb = CombSideband
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
