package spectrum

import (
	"math"

	"stillglow/analysis/figure"
)

// Mains is what the mains leaves in a trace.
type Mains struct {
	MainsHz figure.Figure // refined frequency of the mains itself, Hz
	Decided bool          // 50 or 60 Hz was stated or told apart
	// InsteadOfHz is the stated frequency where the record holds the other's harmonics,
	// which are then taken; 0 where nothing contradicts.
	InsteadOfHz float64
	LineHz      figure.Figure // 2 x mains, Hz
	LineRMS     figure.Figure // its amplitude, V rms, its power over the record
	CombRMS     figure.Figure // all harmonics that stand out together, V rms
	CombPPV     figure.Figure // peak-to-peak of their sum with their phases, V
	Lines       []Line        // those harmonics rising, and always 2 x mains
	// Wanders: the frequency moves by so much that no single sine describes a
	// harmonic over the whole record.
	Wanders bool

	lineU float64 // what noise alone makes of LineRMS, V, k = 2
}

// MeasureMains measures the harmonics of the mains by projection on the slowest
// kept record of m, at the frequency refined from the strongest of them, in blocks
// as short as the mains' wander asks for. statedHz is 50 or 60, or 0 to find it;
// gainFraction is the instrument's relative gain uncertainty (k = 2). It needs four
// periods of 2 x mains (minMainsPeriods); a shorter record has figures that say so.
func MeasureMains(src Source, m Multirate, lines []Line, statedHz, gainFraction float64) Mains {
	nominal, decided := statedHz, statedHz > 0
	if !decided {
		nominal, decided = findMains(lines)
	}
	duration := float64(m.Samples) / m.RateHz
	base := nominal
	if base == 0 {
		base = 50
	}
	// 2 x mains is the line asked for: four periods of it suffice
	if need := minMainsPeriods / (2 * base); duration < need || base*2 > mainsTopShare*m.RateHz {
		miss := figure.NotMeasured("the record lasts " + seconds(duration) + "; " + seconds(need) + " or more is needed to show 2 x mains")
		if duration >= need {
			miss = figure.NotMeasured("the sample rate is too low to show 2 x mains")
		}
		r := Mains{MainsHz: miss, LineHz: miss, LineRMS: miss, CombRMS: miss, CombPPV: miss}
		if statedHz > 0 {
			r.MainsHz, r.Decided = figure.Known(statedHz), true
		}
		return r
	}
	if nominal == 0 {
		// neither comb stands out: what lies at the stronger of 100 and 120 Hz
		// bounds both, and is it where it alone stands out of the noise beside it
		a, b := m.mainsAt(src, 50, nil, gainFraction), m.mainsAt(src, 60, nil, gainFraction)
		if b.LineRMS.Value > a.LineRMS.Value {
			a, b = b, a
		}
		line := a.LineRMS
		if a.Decided = line.Value > mainsOverNoise*a.lineU/2 && sq(line.Value) > gridRatio*sq(b.LineRMS.Value); !a.Decided {
			a.MainsHz = figure.NotMeasured("neither 50 nor 60 Hz mains stands out; state the mains frequency")
		}
		return a
	}
	r := m.mainsAt(src, nominal, lines, gainFraction)
	r.Decided = decided
	if found, ok := findMains(lines); ok && found != nominal && minMainsPeriods/(2*found) <= duration {
		if other := m.mainsAt(src, found, lines, gainFraction); sq(other.LineRMS.Value) > gridRatio*sq(r.LineRMS.Value) {
			other.InsteadOfHz = nominal
			return other
		}
	}
	return r
}

// mainsAt measures the comb of a nominal mains frequency.
func (m *Multirate) mainsAt(src Source, nominal float64, lines []Line, gainFraction float64) Mains {
	base := gridComb{baseHz: nominal, uHz: mainsDrift * nominal}
	if found, ok := combOf(lines, nominal); ok && found.uHz < base.uHz {
		base = found
	}
	res := Mains{MainsHz: figure.Known(base.baseHz), LineHz: figure.Known(2 * base.baseHz), Decided: true}
	res.MainsHz.U, res.LineHz.U = base.uHz, 2*base.uHz
	duration := float64(m.Samples) / m.RateHz
	line := m.followLine(src, 2*base.baseHz)
	res.LineRMS, res.lineU = figure.AsItIs.Of(line.rms, line.u, gainFraction), line.chance
	res.Wanders = line.blockS < duration/wholeRecord
	var orders []int // of the harmonics that the record can show
	var others []float64
	for n := 1; n <= mainsHarmonics; n++ {
		hz := float64(n) * base.baseHz
		if hz*duration < minMainsPeriods || hz > mainsTopShare*m.RateHz {
			continue
		}
		orders = append(orders, n)
		if n != 2 {
			others = append(others, hz)
		}
	}
	alike := m.followAlike(src, others, line.blockS)
	sum := 0.0
	for _, n := range orders {
		f := line
		if n != 2 {
			f, alike = alike[0], alike[1:]
		}
		l := Line{FrequencyHz: float64(n) * base.baseHz, RMSV: f.rms, PhaseRad: f.phase, Comb: CombMains, Harmonic: n, BinHz: 1 / duration}
		if stands := f.rms > mainsOverNoise*f.noise; stands || n == 2 {
			res.Lines = append(res.Lines, l)
			if stands {
				sum += f.rms * f.rms
			}
		}
	}
	res.CombRMS = figure.Stated(math.Sqrt(sum), gainFraction)
	res.CombPPV = figure.Stated(sumPeakToPeak(res.Lines), gainFraction)
	return res
}

// sumPeakToPeak is the peak-to-peak of the sum of the lines over one period of
// their common fundamental (Harmonic 1), with their phases.
func sumPeakToPeak(lines []Line) float64 {
	if len(lines) == 0 {
		return 0
	}
	const points = 4096
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range points {
		v := 0.0
		for _, l := range lines {
			v += math.Sqrt2 * l.RMSV * math.Cos(2*math.Pi*float64(l.Harmonic*i)/points+l.PhaseRad)
		}
		lo, hi = min(lo, v), max(hi, v)
	}
	return hi - lo
}
