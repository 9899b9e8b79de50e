package spectrum

import (
	"fmt"
	"math"
	"slices"
)

// What Line.Comb may say besides "", unknown.
const (
	CombMains      = "mains"
	CombSwitching  = "switching"
	CombSecond     = "second"
	CombSideband   = "sideband"
	CombBurst      = "burst"
	CombInstrument = "instrument"
)

// Combs is what the lines of a record have in common. Frequencies in Hz; 0 none.
type Combs struct {
	SecondHz  float64 // fundamental of a second converter
	SecondUHz float64 // its expanded uncertainty (k = 2)
	BeatHz    float64 // difference of the two converters' nearest harmonics
	// ModulationHz is the even spacing of sidebands around the switching lines: the
	// sweep rate of a dithered supply or the packet rate of a bursting one.
	ModulationHz float64
	BurstHz      float64 // the same where packets show at low frequencies too
}

// Clock is what is known of the switching: its mean frequency, the full width that
// it wanders over, and the rate of its bursts; 0 where there is none.
type Clock struct {
	Hz, SpreadHz, BurstHz float64 // all in Hz
	// DurationS is the record's length, s; 0: not told.
	DurationS float64
	// Folded: nothing kept what lies above half the rate out, and what is folded may lie
	// anywhere.
	Folded bool
}

// Second reports whether a line at hz may be stated as the fundamental of a second
// converter, and its expanded uncertainty (k = 2) in Hz. A strong line is not enough: the
// harmonic of a converter whose clock is near the first's lies near the first's harmonic,
// and its fundamental is lost beside the first's; a line in few periods, or as near the
// clock as the record resolves, may be a piece of the clock's own.
func (c Clock) Second(hz float64) (uHz float64, ok bool) {
	if c.DurationS <= 0 {
		return 0, true
	}
	bin := 1 / c.DurationS
	uHz = secondU * bin
	if hz < secondPeriods*bin {
		return 0, false
	}
	if !(c.Hz > 0) {
		return uHz, true
	}
	if c.Hz < secondPeriods*bin {
		return 0, false
	}
	// halves too: every other cycle may be alike
	if n := math.Round(2*hz/c.Hz) / 2; n > 0 && math.Abs(hz-n*c.Hz) < secondApart*bin {
		return 0, false
	}
	n := math.Round(hz / c.Hz)
	return uHz, n <= 1 || math.Abs(hz-n*c.Hz) > secondNear*n*c.Hz
}

// own reports whether a line that no comb holds is the clock's own all the same: a
// part of a harmonic smeared by its wandering, a harmonic of its bursts, or a
// sideband of theirs.
func (c Clock) own(hz float64) bool {
	if c.Hz <= 0 {
		return false
	}
	n := max(1, math.Round(hz/c.Hz))
	off := math.Abs(hz - n*c.Hz)
	if c.SpreadHz > 0 && off <= n*c.SpreadHz/2+smearWidth*hz {
		return true
	}
	if c.BurstHz <= 0 {
		return false
	}
	near := func(v float64) bool {
		k := math.Round(v / c.BurstHz)
		return math.Abs(v-k*c.BurstHz) <= burstOff*c.BurstHz
	}
	return hz > c.BurstHz/2 && near(hz) || near(off)
}

// NameLines names the lines: harmonics of the mains, of the switching frequency,
// of a second converter, and sidebands of the switching lines at the mains or
// packet rate. lines are by falling amplitude, as FindLines gives them; mainsHz
// and the clock's are refined frequencies, 0 unknown. The lines come back, copied,
// in the order given.
func NameLines(lines []Line, mainsHz float64, clock Clock) ([]Line, Combs) {
	lines = slices.Clone(lines)
	switchingHz := clock.Hz
	var combs Combs
	nameHarmonics(lines, mainsHz, switchingHz)
	if switchingHz > 0 {
		if spacing := lineSpacing(lines, switchingHz); spacing > 0 && !isMainsRate(spacing, mainsHz) {
			combs.ModulationHz = spacing
			if nameModulation(lines, spacing, switchingHz) {
				combs.BurstHz = spacing
			}
		}
		if mainsHz > 0 {
			nameMainsSidebands(lines, mainsHz, switchingHz)
		}
	}
	combs.SecondHz, combs.SecondUHz = nameSecond(lines, clock)
	if combs.SecondHz > 0 && switchingHz > 0 {
		hi, lo := max(combs.SecondHz, switchingHz), min(combs.SecondHz, switchingHz)
		combs.BeatHz = math.Abs(hi - math.Round(hi/lo)*lo)
	}
	return lines, combs
}

// nameHarmonics names the lines of the switching and the mains comb.
func nameHarmonics(lines []Line, mainsHz, switchingHz float64) {
	for i := range lines {
		l := &lines[i]
		if n := l.HarmonicOf(switchingHz, switchingTolerance); n > 0 {
			l.Comb, l.Harmonic, l.Name = CombSwitching, n, harmonicName("switching", n)
			continue
		}
		if n := l.HarmonicOf(mainsHz, mainsTolerance); n > 0 && n <= maxMainsName && (switchingHz == 0 || l.FrequencyHz < switchingHz/2) {
			l.Comb, l.Harmonic = CombMains, n
			l.Name = fmt.Sprintf("%d x mains (%s)", n, hertz(float64(n)*mainsHz))
		}
	}
}

// isMainsRate reports whether the spacing of sidebands is the mains frequency or
// twice of it: then the mains modulates the switching.
func isMainsRate(spacingHz, mainsHz float64) bool {
	m := math.Round(spacingHz / mainsHz)
	return mainsHz > 0 && m >= 1 && m <= 2 && math.Abs(spacingHz-m*mainsHz) < mainsRateFraction*spacingHz
}

// HarmonicOf is the number n of the harmonic of baseHz that the line is, within
// half its resolution and the relative tolerance; 0 when it is none.
func (l Line) HarmonicOf(baseHz, relative float64) int {
	if !(baseHz > 0) {
		return 0
	}
	n := math.Round(l.FrequencyHz / baseHz)
	tol := min(max(withinBin*l.BinHz, relative*l.FrequencyHz), harmonicMost*baseHz)
	if n < 1 || math.Abs(l.FrequencyHz-n*baseHz) > tol {
		return 0
	}
	return int(n)
}

func harmonicName(of string, n int) string {
	if n == 1 {
		return of + " fundamental"
	}
	return fmt.Sprintf("%s %s harmonic", of, Ordinal(n))
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
// one above secondLowHz of which at least one harmonic (2nd to secondProofs) is
// there too, that is not the clock's own, and whose comb holds most of what is left. It
// names its harmonics and the intermodulation with the clock, and gives its frequency
// with its expanded uncertainty, 0 when there is none.
func nameSecond(lines []Line, clock Clock) (hz, uHz float64) {
	for _, base := range lines { // by falling amplitude
		if base.Comb != "" || base.FrequencyHz < secondLowHz || clock.own(base.FrequencyHz) || !hasOwnComb(lines, base.FrequencyHz, clock.Folded) {
			continue
		}
		hz := base.FrequencyHz
		uHz, ok := clock.Second(hz)
		if !ok || !explainsLeft(lines, hz, clock) {
			continue
		}
		for i := range lines {
			l := &lines[i]
			if n := l.HarmonicOf(hz, switchingTolerance); l.Comb == "" && n > 0 && n <= secondHarmonics {
				l.Comb, l.Harmonic, l.Name = CombSecond, n, harmonicName("second converter", n)
			}
		}
		if clock.Hz > 0 {
			nameIntermodulation(lines, clock.Hz, hz)
		}
		return hz, uHz
	}
	return 0, 0
}

// hasOwnComb reports whether unnamed lines hold a harmonic of the one at hz, two where
// others may be folded to such a place, and not so many right beside it that it is a
// smear.
func hasOwnComb(lines []Line, hz float64, folded bool) bool {
	harmonics, beside := 0, 0
	for _, l := range lines {
		if l.Comb != "" {
			continue
		}
		if math.Abs(l.FrequencyHz/hz-1) < smearWidth {
			beside++
		}
		if n := l.HarmonicOf(hz, switchingTolerance); n >= 2 && n <= secondProofs {
			harmonics++
		}
	}
	least := 1
	if folded {
		least = 2
	}
	return harmonics >= least && beside <= smearLines
}

// explainsLeft reports whether the comb at hz holds secondExplains and more of the power
// of the unnamed lines that are not the clock's own.
func explainsLeft(lines []Line, hz float64, clock Clock) bool {
	var comb, left float64
	for _, l := range lines {
		if l.Comb != "" || l.FrequencyHz < secondLowHz || clock.own(l.FrequencyHz) {
			continue
		}
		p := l.RMSV * l.RMSV
		left += p
		if n := l.HarmonicOf(hz, switchingTolerance); n > 0 && n <= secondHarmonics {
			comb += p
		}
	}
	return comb >= secondExplains*left
}

// nameIntermodulation names the unnamed lines at |a·f1 ± b·f2|, a and b up to
// mixOrder.
func nameIntermodulation(lines []Line, f1Hz, f2Hz float64) {
	for i := range lines {
		l := &lines[i]
		if l.Comb != "" {
			continue
		}
		tol := max(withinBin*l.BinHz, mixTolerance*l.FrequencyHz)
		for k := range mixOrder * mixOrder {
			a, b := k/mixOrder+1, k%mixOrder+1
			fa, fb := float64(a)*f1Hz, float64(b)*f2Hz
			if math.Abs(l.FrequencyHz-math.Abs(fa-fb)) < tol || math.Abs(l.FrequencyHz-fa-fb) < tol {
				l.Comb = CombSideband
				l.Name = fmt.Sprintf("intermodulation of the two converters (%d and %d)", a, b)
				break
			}
		}
	}
}
