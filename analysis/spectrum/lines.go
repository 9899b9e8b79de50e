package spectrum

import (
	"cmp"
	"context"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"

	"stillglow/analysis/internal/spare"
	"stillglow/capture"
)

// Line is one spectral line: a steady sine as far as the record can tell.
type Line struct {
	FrequencyHz float64 // Hz
	// RMSV is the unit's own V rms: what is left after the baseline's share was
	// taken off in power. Of a line whose Comb is "instrument" it is the whole
	// line as seen, none of which is charged to the unit.
	RMSV float64
	// InstrumentRMSV is the share in V rms that the baseline shows at the same
	// place; 0: none, or no baseline to compare with.
	InstrumentRMSV float64
	NoiseURMSV     float64 // expanded uncertainty (k = 2) of RMSV by the noise beside the line and by InstrumentRMSV, V rms
	PhaseRad       float64 // of a cosine at the record's start, -π to π
	Comb           string  // what it belongs to: one of the Comb constants, "" unknown
	Harmonic       int     // of the comb's fundamental, 0 unknown
	Name           string  // in words, e.g. "2 x mains (100 Hz)", "switching 3rd harmonic"
	BinHz          float64 // resolution the line was found with, > 0; a baseline's lines are compared by it
}

// LineOptions tunes FindLines. The zero value takes the defaults named.
type LineOptions struct {
	LowHz, HighHz float64 // search range; 0: what the record holds
	Max           int     // at most as many lines, the strongest; 0: maxLines
	FalseAlarm    float64 // chance per bin that noise passes for a line; 0: lineFalseAlarm
}

// FindLines finds the spectral lines that stand out of their surroundings, by
// falling amplitude. Each octave is searched at the resolution of the whole
// record where a kept stage of m holds it, else at that of maxLineFFT samples.
// A line needs about four periods in the record. The only error is the context's.
//
// A Blackman-Harris taper keeps a line from burying others 90 dB below it more
// than four bins away; between bins, its known response gives frequency and
// amplitude (Harris 1978; Heinzel, Ruediger and Schilling 2002).
func FindLines(ctx context.Context, src Source, rateHz float64, m Multirate, opt LineOptions) ([]Line, error) {
	if opt.Max <= 0 {
		opt.Max = maxLines
	}
	if opt.FalseAlarm <= 0 {
		opt.FalseAlarm = lineFalseAlarm
	}
	if opt.HighHz <= 0 {
		opt.HighHz = rateHz / 2
	}
	var lines []Line
	var search lineSearch
	defer search.giveBack()
	high := min(opt.HighHz, rateHz/2)
	for s, st := range m.Stages {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		low := 0.0
		next := s + 1
		for next < len(m.Stages) && m.Stages[next].Record == nil {
			next++ // octaves of stages not kept are searched at this one's rate
		}
		if next < len(m.Stages) {
			low = halfBandEdge * m.Stages[next].RateHz
		}
		var rec Source = Samples(st.Record)
		if s == 0 {
			rec = src
		} else if st.Record == nil {
			continue
		}
		low = max(low, opt.LowHz)
		if low < high {
			lines = append(lines, search.stage(rec, st, low, high, opt)...)
		}
		high = min(low, opt.HighHz)
	}
	slices.SortStableFunc(lines, func(a, b Line) int { return cmp.Compare(b.RMSV, a.RMSV) })
	if len(lines) > opt.Max {
		lines = lines[:opt.Max]
	}
	return lines, nil
}

// lineSearch is the work space for pieces of n samples.
type lineSearch struct {
	n int
	*lineSpace
}

type lineSpace struct {
	win    taper
	powers powers
	power  []float64
}

// lineSpaces are those of two records searched at once, each in five lengths as a rule.
var lineSpaces = spare.List[*lineSpace]{Most: 10}

func newLineSpace(n int) *lineSpace {
	return &lineSpace{newTaper(windowBlackmanHarris, n), newPowers(n), make([]float64, n/2+1)}
}

// resize makes room for pieces of n samples.
func (w *lineSearch) resize(n int) {
	if n != w.n {
		w.giveBack()
		w.n, w.lineSpace = n, lineSpaces.Take(n, newLineSpace)
	}
	clear(w.power)
}

// giveBack ends the use of the work space.
func (w *lineSearch) giveBack() {
	if w.lineSpace != nil {
		lineSpaces.Give(w.n, w.lineSpace)
		w.lineSpace = nil
	}
}

// stage finds the lines of one stage between two frequencies.
func (w *lineSearch) stage(rec Source, st Stage, lowHz, highHz float64, opt LineOptions) []Line {
	n := FastLen(min(rec.Len(), maxLineFFT))
	if n < minLineFFT {
		return nil
	}
	pieces := min(max(rec.Len()/n, 1), lineSegments)
	w.resize(n)
	strongest := w.transform(rec, pieces)
	bin := st.RateHz / float64(n)
	floor := localFloor(w.power, float64(pieces))
	threshold := lineMargin * gammaQuantile(1-opt.FalseAlarm, float64(pieces))
	var lines []Line
	for k := max(lineReachBins, int(lowHz/bin)); k < len(w.power)-lineReachBins && float64(k-1)*bin < highHz; k++ {
		p := w.power[k]
		if p <= threshold*floor[k] || p < sidelobePower*strongest || p == 0 || !w.isPeak(k) {
			continue
		}
		if l := w.line(k, floor, float64(pieces), bin, st.StartS); l.FrequencyHz >= lowHz && l.FrequencyHz < highHz {
			lines = append(lines, l)
		}
	}
	return lines
}

// transform averages the power of pieces of a record over its length, in V² rms of
// a line at a bin's centre, and gives the greatest. The first piece's terms stay, for
// the phases.
func (w *lineSearch) transform(rec Source, pieces int) (strongest float64) {
	n, win := w.n, w.win
	for p := pieces - 1; p >= 0; p-- { // the first piece last
		start := 0
		if pieces > 1 {
			start = p * (rec.Len() - n) / (pieces - 1)
		}
		x := stretch(rec, start, n)
		mean := floats.Dot(x, win.W) / (win.CG * float64(n)) // under the taper, so that bin 0 comes out empty
		w.powers.add(w.power, x, mean, win.W)
	}
	scale := 2 / (win.CG * float64(n) * win.CG * float64(n) * float64(pieces))
	for k := range w.power {
		w.power[k] *= scale
		strongest = max(strongest, w.power[k])
	}
	return strongest
}

// isPeak reports whether no bin that a line at k would reach is higher; of equal
// ones the first is the peak.
func (w *lineSearch) isPeak(k int) bool {
	for d := -lineReachBins; d <= lineReachBins; d++ {
		if p := w.power[k+d]; p > w.power[k] || (p == w.power[k] && d < 0) {
			return false
		}
	}
	return true
}

// line reads the line that peaks in bin k off that bin and its neighbours. floor
// is the noise power in every bin, bin their spacing in Hz.
func (w *lineSearch) line(k int, floor []float64, pieces, bin, startS float64) Line {
	delta := w.win.offset(math.Sqrt(w.power[k-1]), math.Sqrt(w.power[k]), math.Sqrt(w.power[k+1]))
	f := (float64(k) + delta) * bin
	sum, resp := 0.0, 0.0
	for d := -1; d <= 1; d++ {
		r := w.win.response(float64(d) - delta)
		sum += w.power[k+d] - floor[k]
		resp += r * r
	}
	phase := cmplx.Phase(w.powers.term(k)) - math.Pi*delta - 2*math.Pi*math.Mod(f*startS, 1)
	return Line{
		FrequencyHz: f,
		RMSV:        math.Sqrt(max(sum/resp, 0)),
		// of the noise in the bin half lies in phase with the line
		NoiseURMSV: 2 * math.Sqrt(floor[k]/2/pieces),
		PhaseRad:   wrapPhase(phase),
		BinHz:      bin,
	}
}

// offset is where a lone line lies relative to the middle one of three bins of
// magnitude a, b, c, in bins, -0.5 to 0.5 or slightly beyond.
func (t taper) offset(a, b, c float64) float64 {
	// ratio of the larger neighbour to the middle grows steadily with the offset
	side, sign := c, 1.0
	if a > c {
		side, sign = a, -1.0
	}
	if b <= 0 {
		return 0
	}
	want := side / b
	lo, hi := -0.1, 0.7
	for range 40 {
		mid := (lo + hi) / 2
		if t.beside(mid) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return sign * (lo + hi) / 2
}

// localFloor is the mean noise power around every bin: medians of blocks that
// widen with frequency, corrected for the bias of a median of k averaged
// exponentials, joined by straight lines in the logarithm.
func localFloor(power []float64, k float64) []float64 {
	bias := gammaQuantile(0.5, k)
	var at, level []float64
	var block []float64
	for i := 1; i < len(power); {
		w := min(max(i/floorPart, floorBins), floorMostBins)
		end := min(i+w, len(power))
		if len(power)-end < w/2 {
			end = len(power)
		}
		block = append(block[:0], power[i:end]...)
		med := capture.Ranked(block, len(block)/2)
		at = append(at, float64(i+end-1)/2)
		level = append(level, math.Log(max(med/bias, tiny)))
		i = end
	}
	return JoinLevels(at, level, len(power))
}

// JoinLevels draws n values through the places at, straight in the logarithm
// between them and level beyond the ends; level holds natural logarithms. No
// places give zeros.
func JoinLevels(at, level []float64, n int) []float64 {
	floor := make([]float64, n)
	if len(at) == 0 {
		return floor
	}
	// places from to end, the first of the value v, each ratio times the one before
	fill := func(from, end int, v, ratio float64) {
		for i := from; i < min(end, n); i++ {
			floor[i] = v
			v *= ratio
		}
	}
	start := max(int(math.Floor(at[0]))+1, 0)
	fill(0, start, math.Exp(level[0]), 1)
	for j := range len(at) - 1 {
		slope := (level[j+1] - level[j]) / (at[j+1] - at[j])
		for end := int(math.Floor(at[j+1])) + 1; start < end; {
			stop := min(start+joinedAtOnce, end)
			fill(start, stop, math.Exp(level[j]+slope*(float64(start)-at[j])), math.Exp(slope))
			start = stop
		}
	}
	fill(start, n, math.Exp(level[len(at)-1]), 1)
	return floor
}

// joinedAtOnce is how many values JoinLevels works out from the one before them until
// it takes a logarithm's exponential again.
const joinedAtOnce = 256

// gammaQuantile is the p quantile of the mean of k unit exponentials, k > 0:
// half a chi-squared variable of 2k degrees of freedom over k.
func gammaQuantile(p, k float64) float64 {
	return distuv.Gamma{Alpha: k, Beta: k}.Quantile(p)
}

// SmoothLen is the largest number not above n with no prime factor over 5, for
// which the FFT is fast.
func SmoothLen(n int) int {
	for ; n > 1; n-- {
		r := n
		for _, p := range []int{2, 3, 5} {
			for r%p == 0 {
				r /= p
			}
		}
		if r == 1 {
			break
		}
	}
	return n
}

// wrapPhase brings an angle to -pi..pi.
func wrapPhase(a float64) float64 { return math.Remainder(a, 2*math.Pi) }

// lowestRecord is the slowest kept record of m that holds hz undisturbed, with
// its rate and the time of its first sample; src itself when none does.
func (m *Multirate) lowestRecord(src Source, hz float64) (rec Source, rateHz, startS float64) {
	for s := len(m.Stages) - 1; s > 0; s-- {
		if st := m.Stages[s]; st.Record != nil && halfBandEdge*st.RateHz >= hz {
			return Samples(st.Record), st.RateHz, st.StartS
		}
	}
	return src, m.RateHz, 0
}
