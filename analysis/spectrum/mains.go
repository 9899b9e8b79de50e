package spectrum

import (
	"math"

	"stillglow/analysis/figure"
)

// Mains is what the mains leaves in a trace.
type Mains struct {
	MainsHz figure.Figure // refined frequency of the mains itself, Hz
	Decided bool          // 50 or 60 Hz was stated or told apart
	LineHz  figure.Figure // 2 x mains, Hz
	LineRMS figure.Figure // its amplitude, V rms, with what noise makes of it (k = 2)
	CombRMS figure.Figure // all harmonics that stand out together, V rms
	CombPPV figure.Figure // peak-to-peak of their sum with their phases, V
	Lines   []Line        // those harmonics rising, and always 2 x mains
}

// MeasureMains measures the harmonics of the mains by least squares on the
// slowest kept record of m, at the frequency refined from the strongest of
// them. statedHz is 50 or 60, or 0 to find it. It needs four periods of 2 x mains
// (minMainsPeriods); a shorter record has figures that say so.
func MeasureMains(src Source, m Multirate, lines []Line, statedHz float64) Mains {
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
		// bounds both
		a, b := m.mainsAt(src, 50, nil), m.mainsAt(src, 60, nil)
		if b.LineRMS.Value > a.LineRMS.Value {
			a = b
		}
		a.Decided = false
		a.MainsHz = figure.NotMeasured("neither 50 nor 60 Hz mains stands out; state the mains frequency")
		return a
	}
	r := m.mainsAt(src, nominal, lines)
	r.Decided = decided
	return r
}

// findMains tells 50 from 60 Hz by the power in lines that only one of the two
// combs holds; ok is false when neither is there or they are too much alike.
func findMains(lines []Line) (hz float64, ok bool) {
	score := func(base float64) float64 {
		p := 0.0
		for _, l := range lines {
			n := math.Round(l.FrequencyHz / base)
			if n < 1 || n > gridHarmonics || math.Abs(l.FrequencyHz/(n*base)-1) > mainsDrift+mainsBinDrift*l.BinHz/l.FrequencyHz {
				continue
			}
			if r := math.Mod(n*base, 300); r > 1 && r < 299 {
				p += l.RMSV * l.RMSV
			}
		}
		return p
	}
	a, b := score(50), score(60)
	switch {
	case a > gridRatio*b:
		return 50, true
	case b > gridRatio*a:
		return 60, true
	}
	return 0, false
}

// mainsAt measures the comb of a nominal mains frequency.
func (m *Multirate) mainsAt(src Source, nominal float64, lines []Line) Mains {
	base := nominal
	duration := float64(m.Samples) / m.RateHz
	// the strongest harmonic found gives the frequency, unless the record is too
	// short to do better than the nominal one
	best := 0.0
	for _, l := range lines {
		n := math.Round(l.FrequencyHz / nominal)
		if n < 1 || n > mainsHarmonics || l.RMSV*n <= best || math.Abs(l.FrequencyHz/(n*nominal)-1) > mainsDrift+mainsBinDrift*l.BinHz/l.FrequencyHz {
			continue
		}
		if l.BinHz/l.FrequencyHz < maxBinShare {
			best, base = l.RMSV*n, l.FrequencyHz/n
		}
	}
	res := Mains{MainsHz: figure.Known(base), LineHz: figure.Known(2 * base), Decided: true}
	sum := 0.0
	for n := 1; n <= mainsHarmonics; n++ {
		hz := float64(n) * base
		if hz*duration < minMainsPeriods || hz > mainsTopShare*m.RateHz {
			continue
		}
		rec, rate, startS := m.lowestRecord(src, hz)
		rms, phase, noise := projectLine(rec, rate, hz)
		l := Line{FrequencyHz: hz, RMSV: rms, PhaseRad: wrapPhase(phase - 2*math.Pi*math.Mod(hz*startS, 1)), Comb: CombMains, Harmonic: n, BinHz: 1 / duration}
		if n == 2 {
			res.LineRMS = figure.Known(rms)
			res.LineRMS.U = 2 * noise
		}
		if rms > mainsOverNoise*noise {
			sum += rms * rms
			res.Lines = append(res.Lines, l)
		} else if n == 2 {
			res.Lines = append(res.Lines, l)
		}
	}
	res.CombRMS = figure.Known(math.Sqrt(sum))
	res.CombPPV = figure.Known(sumPeakToPeak(res.Lines))
	return res
}

// projectLine measures a line of known frequency under a Hann taper: rms in V,
// phase as a cosine at the first sample, and the standard deviation of the rms
// that the noise beside it makes (from 2.5 bins to either side).
func projectLine(rec Source, rateHz, hz float64) (rms, phase, noise float64) {
	n := rec.Len()
	if n < 8 {
		return 0, 0, 0
	}
	bin := rateHz / float64(n)
	at := func(f float64) (float64, float64) {
		const block = 4096
		var buf [block]float64
		var re, im, one, mean, oneRe, oneIm float64
		for pos := 0; pos < n; pos += block {
			x := buf[:min(block, n-pos)]
			rec.Fill(x, pos)
			t := float64(pos) - float64(n)/2
			sin, cos := math.Sincos(2 * math.Pi * math.Mod(f/rateHz*t, 1))
			ds, dc := math.Sincos(2 * math.Pi * f / rateHz)
			ws, wc := math.Sincos(2 * math.Pi * float64(pos) / float64(n))
			dws, dwc := math.Sincos(2 * math.Pi / float64(n))
			for _, v := range x {
				w := 0.5 - 0.5*wc
				one += w
				mean += w * v
				oneRe += w * cos
				oneIm -= w * sin
				re += w * v * cos
				im -= w * v * sin
				cos, sin = cos*dc-sin*ds, cos*ds+sin*dc
				wc, ws = wc*dwc-ws*dws, wc*dws+ws*dwc
			}
		}
		mean /= one
		re, im = re-mean*oneRe, im-mean*oneIm
		return math.Hypot(re, im) / one * math.Sqrt2, math.Atan2(im, re)
	}
	rms, phase = at(hz)
	a, _ := at(hz - 2.5*bin)
	b, _ := at(hz + 2.5*bin)
	// a Rayleigh-distributed rms has half its mean square in each of two axes
	noise = math.Min(a, b) / math.Sqrt2
	phase -= 2 * math.Pi * math.Mod(hz*float64(n)/2/rateHz, 1)
	return rms, wrapPhase(phase), noise
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
