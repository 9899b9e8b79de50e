package spectrum

import (
	"math"

	"stillglow/analysis/figure"
)

// Baseline is what an instrument's own capture shows, as far as a capture's lines
// are compared with it.
type Baseline struct {
	Lines       []Line        // of the instrument's own capture
	MainsLineHz figure.Figure // 2 x mains, Hz
	MainsLineV  figure.Figure // its amplitude, V rms
	StepV       float64       // converter step, V; 0 unknown
}

// BaselineMatch is what the comparison with the baseline could not compare. Its
// lines are the baseline's.
type BaselineMatch struct {
	TooCoarse *Line // strongest one that the baseline resolves too coarsely, nil none
	TooWide   *Line // strongest one of a baseline made with more volts per division, nil none
}

// MarkInstrument takes the lines that the baseline shows as well off the lines
// found, in power and in place: what the baseline shows is the bench, not the unit.
// lines are named already; stepV is their converter's step in volts, 0 unknown; a
// nil baseline changes nothing. What is left is the unit's; a line whose remainder is within the uncertainty of
// both amplitudes is wholly the instrument's, or picked up by its leads.
//
// The baseline's lines are taken to stand at no fixed phase to the unit's, which
// adds or takes 2·U·I·cos φ in power; the remainder's uncertainty holds that. The
// mains comb is compared by harmonic, since the mains wanders from capture to
// capture, all else by frequency. gainFraction is the instrument's (k = 2).
func MarkInstrument(lines []Line, stepV float64, baseline *Baseline, gainFraction float64) BaselineMatch {
	var match BaselineMatch
	if baseline == nil || len(lines) == 0 {
		return match
	}
	tooWide := stepV > 0 && baseline.StepV > baselineRange*stepV
	type share struct{ power, noise float64 } // V², and V² variance of the amplitude's noise
	shares := make([]share, len(lines))
	for i, b := range baseline.Lines {
		at := nearestLine(lines, b)
		switch {
		case at < 0:
		case tooWide:
			if match.TooWide == nil || b.RMSV > match.TooWide.RMSV {
				match.TooWide = &baseline.Lines[i]
			}
		case b.Comb != CombMains && b.BinHz > baselineCoarser*lines[at].BinHz:
			if match.TooCoarse == nil || b.RMSV > match.TooCoarse.RMSV {
				match.TooCoarse = &baseline.Lines[i]
			}
		default:
			shares[at].power += b.RMSV * b.RMSV
			shares[at].noise += b.NoiseURMSV * b.NoiseURMSV / 4
		}
	}
	for i := range lines {
		if s := shares[i]; s.power > 0 {
			lines[i].takeOff(math.Sqrt(s.power), math.Sqrt(s.noise), gainFraction)
		}
	}
	return match
}

// nearestLine is the index of the line that stands where b does, within half
// the coarser resolution; -1 none.
func nearestLine(lines []Line, b Line) int {
	best, least := -1, math.Inf(1)
	for i, l := range lines {
		d := math.Abs(l.FrequencyHz - b.FrequencyHz)
		if b.Comb == CombMains && l.Comb == CombMains {
			if b.Harmonic != l.Harmonic {
				continue
			}
			d = 0
		}
		if d < least && d <= max(withinBin*l.BinHz, withinBin*b.BinHz, baselineOffHz*l.FrequencyHz) {
			best, least = i, d
		}
	}
	return best
}

// takeOff charges instrumentV of the line to the instrument, known to a standard
// deviation of noiseV beside the gain.
func (l *Line) takeOff(instrumentV, noiseV, gainFraction float64) {
	own, u, whole := subtractInstrument(l.RMSV, l.NoiseURMSV/2, instrumentV, noiseV, gainFraction)
	l.InstrumentRMSV = instrumentV
	if whole {
		l.Comb, l.Harmonic = CombInstrument, 0
		l.Name = "instrument (" + hertz(l.FrequencyHz) + ")"
		return
	}
	l.RMSV, l.NoiseURMSV = own, u
}

// SeenRMSV is the whole line in the record, the instrument's share included.
func (l Line) SeenRMSV() float64 {
	if l.Comb == CombInstrument {
		return l.RMSV
	}
	return math.Hypot(l.RMSV, l.InstrumentRMSV)
}

// subtractInstrument takes an instrument's line off a seen one in power: V rms, each
// with the standard deviation that noise gives it. u is the expanded uncertainty
// (k = 2) of own without the gain that both have in common. whole reports whether
// nothing is left that stands out of both uncertainties.
func subtractInstrument(seenV, seenNoiseV, instrumentV, instrumentNoiseV, gainFraction float64) (own, u float64, whole bool) {
	left := seenV*seenV - instrumentV*instrumentV
	deviation := func(gain float64) float64 {
		return 2 * math.Hypot(seenV*math.Hypot(seenNoiseV, gain*seenV), instrumentV*math.Hypot(instrumentNoiseV, gain*instrumentV))
	}
	if left <= 2*deviation(gainFraction/2) {
		return 0, 0, true
	}
	own = math.Sqrt(left)
	// 2·U·I·cos φ of an unknown phase has a standard deviation of √2·U·I
	power := math.Hypot(deviation(0), math.Sqrt2*own*instrumentV)
	return own, power / own, false
}

// SubtractBaseline charges to the instrument what the baseline shows of the mains
// comb. lines are the record's, after MarkInstrument; gainFraction is the
// instrument's (k = 2). Where nothing of 2 x mains, or of the whole comb, is left
// that stands out, the figure stays as seen: an upper one. lineIsInstruments
// reports whether 2 x mains is so.
func (r Mains) SubtractBaseline(lines []Line, baseline *Baseline, gainFraction float64) (out Mains, lineIsInstruments bool) {
	if baseline == nil || !r.LineRMS.Known || !r.MainsHz.Known {
		return r, false
	}
	out = r
	share := r.instrumentShares(lines)
	b := baseline.MainsLineV
	sameHz := baseline.MainsLineHz.Known && math.Abs(baseline.MainsLineHz.Value/r.LineHz.Value-1) < baselineMainsOff
	// its U holds the gain as well, which says nothing of whether it stands out
	noise := math.Sqrt(max(b.U*b.U-gainFraction*gainFraction*b.Value*b.Value, 0)) / 2
	if b.Known && sameHz && b.Value > mainsOverNoise*noise {
		left, u, whole := subtractInstrument(r.LineRMS.Value, r.lineU/2, b.Value, noise, gainFraction)
		line := Line{InstrumentRMSV: b.Value, RMSV: left}
		if whole {
			lineIsInstruments, line.Comb = true, CombInstrument
		} else {
			out.LineRMS, out.lineU = figure.AsItIs.Of(left, u, gainFraction), u
		}
		share[2] = line
	}
	if len(share) > 0 {
		out.chargeComb(share, gainFraction)
	}
	return out, lineIsInstruments
}

// instrumentShares are the lines of the mains comb that the baseline shows too,
// by their harmonic.
func (r Mains) instrumentShares(lines []Line) map[int]Line {
	share := map[int]Line{}
	for _, l := range lines {
		if n := int(math.Round(l.FrequencyHz / r.MainsHz.Value)); l.InstrumentRMSV > 0 && math.Abs(l.FrequencyHz/r.MainsHz.Value-float64(n)) < baselineMainsOff*float64(n) {
			share[n] = l
		}
	}
	return share
}

// chargeComb takes the instrument's shares off the harmonics and sums up what is
// left; gainFraction is the instrument's (k = 2).
func (r *Mains) chargeComb(share map[int]Line, gainFraction float64) {
	seen := r.Lines
	r.Lines = nil
	sum := 0.0
	for _, l := range seen {
		if s, ok := share[l.Harmonic]; ok {
			l.RMSV = math.Sqrt(max(l.RMSV*l.RMSV-s.InstrumentRMSV*s.InstrumentRMSV, 0))
			if s.Comb == CombInstrument {
				l.RMSV = 0
			}
		}
		if l.RMSV > 0 {
			sum += l.RMSV * l.RMSV
			r.Lines = append(r.Lines, l)
		}
	}
	if sum > 0 {
		r.CombRMS, r.CombPPV = figure.Stated(math.Sqrt(sum), gainFraction), figure.Stated(sumPeakToPeak(r.Lines), gainFraction)
	}
}

// subtractInstrumentLines is the density with the instrument's share of its lines
// taken off; quiet is the density without any line.
func (m *Multirate) subtractInstrumentLines(quiet []float64, lines []Line) []float64 {
	psd := m.PSD
	copied := false
	for _, l := range lines {
		if l.InstrumentRMSV == 0 && l.Comb != CombInstrument {
			continue
		}
		if !copied {
			psd, copied = append([]float64(nil), psd...), true
		}
		keep := 0.0
		if seen := l.SeenRMSV(); l.Comb != CombInstrument && seen > 0 {
			keep = l.RMSV / seen * (l.RMSV / seen)
		}
		for i, masked := range lineMask(*m, []Line{l}) {
			if masked && psd[i] > quiet[i] {
				psd[i] = quiet[i] + keep*(psd[i]-quiet[i])
			}
		}
	}
	return psd
}

// instrumentVariance is the variance in V⁴ that taking the instrument's lines
// off adds to the power within a band.
func instrumentVariance(lines []Line, lowHz, highHz, gainFraction float64, weight func(float64) float64) float64 {
	sum := 0.0
	for _, l := range lines {
		if l.InstrumentRMSV == 0 || l.FrequencyHz < lowHz || l.FrequencyHz > highHz {
			continue
		}
		g := 1.0
		if weight != nil {
			g = weight(l.FrequencyHz)
			g *= g
		}
		deviation := l.RMSV * l.NoiseURMSV // of the power: 2·U·u(U)
		if l.Comb == CombInstrument {
			deviation = math.Sqrt2 * gainFraction * l.RMSV * l.RMSV
		}
		sum += g * g * deviation * deviation
	}
	return sum
}
