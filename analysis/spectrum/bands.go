package spectrum

import (
	"fmt"
	"math"

	"stillglow/analysis/figure"
	"stillglow/capture"
)

// Band is the AC rms within a band.
type Band struct {
	ID            string        // "audio", "audio_a", "20k_1m", "1m_20m", "above_20m", "bs468_qp"
	Name          string        // in words
	LowHz, HighHz float64       // its ends, Hz
	RMSV          figure.Figure // V rms, with lines
	RMSNoLinesV   figure.Figure // V rms, the lines' place filled by the noise beside them
}

// bandPlan lists the bands given, in this order. A zero HighHz reaches to the
// span's end.
var bandPlan = []struct {
	id, name      string
	lowHz, highHz float64
	weight        func(hz float64) float64
}{
	{"audio", "20 Hz to 20 kHz", 20, 20e3, nil},
	{"audio_a", "20 Hz to 20 kHz, A-weighted", 20, 20e3, AWeight},
	{"20k_1m", "20 kHz to 1 MHz", 20e3, 1e6, nil},
	{"1m_20m", "1 to 20 MHz", 1e6, 20e6, nil},
	{"above_20m", "above 20 MHz", 20e6, 0, nil},
}

// BandPlan lists the bands that are summed, in order and without their sums.
// HighHz is 0 where a band reaches to the span's end.
func BandPlan() []Band {
	bands := make([]Band, len(bandPlan))
	for i, p := range bandPlan {
		bands[i] = Band{ID: p.id, Name: p.name, LowHz: p.lowHz, HighHz: p.highHz}
	}
	return bands
}

// Weight is the weighting of amplitudes in the band's sum by hertz, nil for none.
func (b Band) Weight() func(hz float64) float64 {
	for _, p := range bandPlan {
		if p.id == b.ID {
			return p.weight
		}
	}
	return nil
}

// MeasureBands sums the spectrum within bands to volts rms, with lines and with
// the lines' place filled by the noise around them. The instrument's share of
// the lines is left out of both. A band that the span does not hold is not
// measured. gainFraction is the instrument's relative gain uncertainty (k = 2).
func MeasureBands(m Multirate, lines []Line, span capture.Span, gainFraction float64) []Band {
	quiet := withoutLines(m, lines)
	whole := m.subtractInstrumentLines(quiet, lines)
	bands := make([]Band, 0, len(bandPlan))
	for _, p := range bandPlan {
		b := Band{ID: p.id, Name: p.name, LowHz: p.lowHz, HighHz: p.highHz}
		if p.highHz == 0 {
			b.HighHz = span.HighHz
		}
		switch {
		case p.highHz == 0 && span.HighHz < openBand*p.lowHz:
			b.HighHz = 0
			miss := figure.NotMeasured(fmt.Sprintf("the capture shows nothing above %s; a faster sample rate is needed", hertz(span.HighHz)))
			b.RMSV, b.RMSNoLinesV = miss, miss
		case len(m.FreqHz) == 0 || span.LowHz > p.lowHz || span.LowHz <= 0:
			miss := figure.NotMeasured(fmt.Sprintf("the record is too short for %s; it must last %s or more", hertz(p.lowHz), seconds(4/p.lowHz)))
			b.RMSV, b.RMSNoLinesV = miss, miss
		case span.HighHz < b.HighHz:
			miss := figure.NotMeasured(fmt.Sprintf("the capture shows nothing above %s; %s is needed", hertz(span.HighHz), hertz(b.HighHz)))
			b.RMSV, b.RMSNoLinesV = miss, miss
		default:
			b.RMSV = m.bandFigure(whole, quiet, b.LowHz, b.HighHz, p.weight, instrumentVariance(lines, b.LowHz, b.HighHz, gainFraction, p.weight), gainFraction)
			b.RMSNoLinesV = m.bandFigure(quiet, quiet, b.LowHz, b.HighHz, p.weight, 0, gainFraction)
		}
		bands = append(bands, b)
	}
	return bands
}

// bandFigure is the weighted rms between two frequencies with its
// uncertainty. Only the noise, the density without lines, fluctuates;
// what stands above it is steady and beats with it. variance is what else makes
// the power uncertain, V⁴; gainFraction is the instrument's gain (k = 2).
func (m *Multirate) bandFigure(psd, noise []float64, lowHz, highHz float64, weight func(float64) float64, variance, gainFraction float64) figure.Figure {
	sum := 0.0
	for i, f := range m.FreqHz {
		lo := max(f-m.WidthHz[i]/2, lowHz)
		hi := min(f+m.WidthHz[i]/2, highHz)
		if hi <= lo {
			continue
		}
		p, n := psd[i]*(hi-lo), noise[i]*(hi-lo)
		if weight != nil {
			g := weight(f)
			p *= g * g
			n *= g * g
		}
		n = min(n, p)
		sum += p
		// relative variance of a mean of dof/2 exponentials is 2/dof; the taper
		// ties neighbouring bins together by its noise bandwidth
		st := m.Stages[m.Stage[i]]
		variance += n * (2*p - n) * 2 / st.DOF * st.ENBWHz / st.BinHz
	}
	if sum <= 0 {
		return figure.Known(0)
	}
	v := math.Sqrt(sum)
	return figure.AsItIs.Of(v, 2*math.Sqrt(variance)/(2*v), gainFraction)
}

// withoutLines is the density with every line's bins replaced by the lesser of
// the densities just beside it.
func withoutLines(m Multirate, lines []Line) []float64 {
	psd := append([]float64(nil), m.PSD...)
	mask := lineMask(m, lines)
	for i := 0; i < len(psd); {
		if !mask[i] {
			i++
			continue
		}
		end := i
		for end < len(psd) && mask[end] {
			end++
		}
		fill := math.Inf(1)
		if s := meanAround(m.PSD, mask, i-1, -1); s > 0 {
			fill = min(fill, s)
		}
		if s := meanAround(m.PSD, mask, end, 1); s > 0 {
			fill = min(fill, s)
		}
		for ; i < end; i++ {
			psd[i] = min(psd[i], fill)
		}
	}
	return psd
}

// meanAround averages up to fillBins unmasked densities from i on in direction dir,
// skipping over masked ones within fillReachBins; 0 when there are none.
func meanAround(psd []float64, mask []bool, i, dir int) float64 {
	sum, n := 0.0, 0
	for range fillReachBins {
		if i < 0 || i >= len(psd) || n == fillBins {
			break
		}
		if !mask[i] {
			sum += psd[i]
			n++
		}
		i += dir
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// lineMask marks the bins that lines reach: three bins to either side, the
// Hann taper's main lobe and its first sidelobe, more for lines far above the
// density around them.
func lineMask(m Multirate, lines []Line) []bool {
	mask := make([]bool, len(m.FreqHz))
	for _, l := range lines {
		i := m.index(l.FrequencyHz)
		if i < 0 {
			continue
		}
		bin := m.Stages[m.Stage[i]].BinHz
		reach := float64(lineReachBins)
		// the taper's skirt falls with the sixth power of the distance (18 dB per
		// octave in amplitude): mask it to where it sinks under the density
		if far := meanAround(m.PSD, mask, min(i+skirtBins, len(mask)-1), 1); far > 0 {
			if excess := l.SeenRMSV() * l.SeenRMSV() / (bin * far); excess > 1 {
				reach = max(reach, min(math.Pow(excess, 1.0/6), maxReachBins))
			}
		}
		for j := i; j >= 0 && l.FrequencyHz-m.FreqHz[j] <= reach*bin; j-- {
			mask[j] = true
		}
		for j := i + 1; j < len(mask) && m.FreqHz[j]-l.FrequencyHz <= reach*bin; j++ {
			mask[j] = true
		}
	}
	return mask
}

// index is the bin nearest to hz, -1 when the spectrum is empty or hz lies more
// than a bin outside it.
func (m *Multirate) index(hz float64) int {
	n := len(m.FreqHz)
	if n == 0 || hz < m.FreqHz[0]-m.WidthHz[0] || hz > m.FreqHz[n-1]+m.WidthHz[n-1] {
		return -1
	}
	lo, hi := 0, n-1
	for lo < hi {
		mid := (lo + hi) / 2
		if m.FreqHz[mid] < hz {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo > 0 && hz-m.FreqHz[lo-1] < m.FreqHz[lo]-hz {
		lo--
	}
	return lo
}

// hertz and seconds print a limit in a reason, to three digits.
func hertz(v float64) string   { return capture.SI(v, "Hz", 3) }
func seconds(v float64) string { return capture.SI(v, "s", 3) }
