package capture

import (
	"fmt"
	"math"
	"strings"
)

// AcquisitionMode is how the instrument made one stored sample out of what its
// converter took. The words are those of oscilloscope manuals.
type AcquisitionMode string

// The acquisition modes.
const (
	AcquisitionUnknown  AcquisitionMode = ""                    // not stated and not seen
	AcquisitionSample   AcquisitionMode = "sample"              // one converter sample ("normal", "real time")
	AcquisitionAverage  AcquisitionMode = "average"             // mean over several triggered sweeps: what is not locked to the trigger is lowered
	AcquisitionPeak     AcquisitionMode = "peak_detect"         // least and greatest of each interval, one sweep
	AcquisitionEnvelope AcquisitionMode = "envelope"            // least and greatest of each interval over several sweeps
	AcquisitionEnhanced AcquisitionMode = "enhanced_resolution" // filtered once taken: fast parts are lowered, aliases stay
	AcquisitionHighRes  AcquisitionMode = "high_resolution"     // mean of neighbouring converter samples: a low-pass below half the rate
)

// Extremes says whether samples are values of one moment or the least and
// greatest of an interval. Peaks and peak-to-peak of extremes are honest; their
// mean, spectrum and noise are not those of the signal.
type Extremes string

// What samples may be.
const (
	ExtremesNone     Extremes = ""         // values of one moment, or means
	ExtremesPairs    Extremes = "pairs"    // least and greatest of each interval in turn, in either order
	ExtremesLeast    Extremes = "least"    // the least of each interval
	ExtremesGreatest Extremes = "greatest" // the greatest of each interval
)

// Interpolation is how the exporter filled in points between the converter's.
type Interpolation string

// The interpolations.
const (
	InterpolationUnknown Interpolation = ""
	InterpolationNone    Interpolation = "none"    // the file says that there is none
	InterpolationSinX    Interpolation = "sin_x_x" // band-limited
	InterpolationLinear  Interpolation = "linear"
	InterpolationHeld    Interpolation = "held" // each point repeated
)

// Acquisition is what is known of how the samples were made. The zero value
// knows nothing. The bandwidth limit is Trace.BandLimited and
// Trace.BandwidthHz; the converter's own rate is Trace.TrueRateHz.
type Acquisition struct {
	Mode    AcquisitionMode // how a sample was made
	ModeWhy string          // where it is stated, or how it was seen; "" for AcquisitionUnknown

	// Averages is how many sweeps were averaged; 0 not stated. With
	// AcquisitionAverage random noise is lowered by up to √Averages, and lines
	// that are not locked to the trigger by about as much.
	Averages int

	// Extremes reports whether samples are extremes. With ExtremesPairs
	// SampleRateHz counts both samples of a pair, so that DurationS holds, and
	// TrueRateHz is that of the pairs.
	Extremes Extremes

	// CornerHz is where the filter of AcquisitionEnhanced is down by 3 dB, Hz; 0 not
	// known.
	CornerHz float64

	// Interpolation is as stated, or as found from the samples.
	Interpolation Interpolation

	// Decimation is how many converter samples stand for one stored sample, as
	// stated; 0 not stated. Without high resolution, averaging or peak detect
	// what lies above half of the stored rate is then folded down.
	Decimation float64

	// RecordPoints is the record length the file states, MemoryPoints how many
	// points the instrument's memory held, 0 not stated. Where either exceeds
	// the samples the file holds, only the screen, or every k-th point, was
	// exported.
	RecordPoints, MemoryPoints int
}

var averageCount = newPattern(`\b(?:average|averages|averaging|avg|mittelwert|moyenne)\b\D{0,12}(\d{1,7})\b|\b(\d{1,7})\s*(?:averages|averagings|avgs?|sweeps averaged|mittelungen)\b`)

// modeWords are parts of what files call a mode; the first that fits wins.
var modeWords = []struct {
	mode  AcquisitionMode
	parts []string
}{
	{AcquisitionEnvelope, []string{"envelope", "hüllkurve"}},
	{AcquisitionPeak, []string{"peak", "pkdetect", "glitch", "minmax", "spitzenwert", "crête"}},
	{AcquisitionEnhanced, []string{"enhancedres", "eres"}},
	{AcquisitionHighRes, []string{"highres", "hires", "hresolution", "hochauflös", "hauterésolution"}},
	{AcquisitionAverage, []string{"mittelw", "mittelung", "moyenn", "averag"}},
}

// sampleWords are whole names of the plain mode.
var sampleWords = map[string]bool{"sample": true, "normal": true, "norm": true, "realtime": true, "sampling": true, "standard": true, "regular": true, "normalsample": true, "samplemode": true, "abtastung": true}

// parseMode reads an acquisition mode as files state it: "Peak Detect",
// "HiRes", "Average 64". averages is 0 when the text holds no count.
func parseMode(text string) (mode AcquisitionMode, averages int) {
	s, _ := normKey(text)
	one := strings.ReplaceAll(s, " ", "")
	mode = modeByWords(one)
	if mode == AcquisitionAverage {
		if m := averageCount.FindStringSubmatch(s); m != nil {
			fmt.Sscan(m[1]+m[2], &averages)
		}
	}
	return mode, averages
}

// modeByWords is parseMode without the count, of a text folded to one word.
func modeByWords(one string) AcquisitionMode {
	for _, w := range modeWords {
		for _, part := range w.parts {
			if strings.Contains(one, part) {
				return w.mode
			}
		}
	}
	switch {
	case strings.HasPrefix(one, "aver"), strings.HasPrefix(one, "avg"):
		return AcquisitionAverage
	case sampleWords[one]:
		return AcquisitionSample
	}
	return AcquisitionUnknown
}

// acquisition takes from the preamble how the samples were made.
func (im *importer) acquisition() {
	im.acquisitionMode()
	im.interpolation()
	a := &im.t.Acquisition
	if m, ok := im.meta(metaDecimation); ok && m.ok && m.num >= 1 && m.num < 1e9 {
		a.Decimation = m.num
		im.t.assume("decimation", fmt.Sprintf("%g", m.num), stated(m))
		if im.sc.time < 0 && m.num > 1 && !im.given {
			im.t.caution(CautionRateConflict, fmt.Sprintf("the file states %s and a decimation of %g: if the rate is the ADC's, the stored samples come at %s", SI(im.t.SampleRateHz, "S/s", 6), m.num, SI(im.t.SampleRateHz/m.num, "S/s", 6)), "give the true rate with --rate")
		}
	}
	if m, ok := im.meta(metaPoints); ok && m.isCount(2) {
		a.RecordPoints = int(m.num)
	}
	if m, ok := im.meta(metaMemory); ok && m.ok && m.num >= 2 && m.num < mostPoints {
		a.MemoryPoints = int(m.num)
	}
	im.extremesByName()
}

// mostPoints bounds a stated number of points that is believed.
const mostPoints = 1e10

// isCount tells a whole number of points, of least or more.
func (m metaValue) isCount(least float64) bool {
	return m.ok && m.num >= least && m.num < mostPoints && m.num == math.Trunc(m.num) && m.unit.kind != unitSecond
}

// acquisitionMode takes the stated mode and number of averages.
func (im *importer) acquisitionMode() {
	a := &im.t.Acquisition
	if m, ok := im.meta(metaAcquisition); ok {
		if mode, n := parseMode(m.text); mode != AcquisitionUnknown {
			a.Mode, a.ModeWhy, a.Averages = mode, stated(m), n
		}
	}
	m, ok := im.meta(metaAverages)
	if !ok || !m.isCount(1) || m.num >= 1e7 || m.unit.kind != unitNone {
		return
	}
	// A count stands in the settings of other modes, too.
	if a.Mode == AcquisitionUnknown && m.num > 1 {
		a.Mode, a.ModeWhy = AcquisitionAverage, stated(m)
	}
	if a.Mode == AcquisitionAverage && a.Averages == 0 {
		a.Averages = int(m.num)
	}
}

// interpolation takes how the exporter filled in points.
func (im *importer) interpolation() {
	m, ok := im.meta(metaInterpolation)
	if !ok {
		return
	}
	a := &im.t.Acquisition
	one, _ := normKey(m.text)
	switch one = strings.ReplaceAll(one, " ", ""); {
	case strings.Contains(one, "sin"):
		a.Interpolation = InterpolationSinX
	case strings.HasPrefix(one, "lin"):
		a.Interpolation = InterpolationLinear
	case one == "off" || one == "none" || one == "no" || one == "dots":
		a.Interpolation = InterpolationNone
	}
	if a.Interpolation != InterpolationUnknown {
		im.t.assume("interpolation", string(a.Interpolation), stated(m))
	}
}

var (
	peakName     = newPattern(`(?i)\bpeak detect\b`)
	leastName    = newPattern(`(?i)(^|[ _(-])min(imum)?\)?$`)
	greatestName = newPattern(`(?i)(^|[ _(-])max(imum)?\)?$`)
)

// extremesByName knows columns of least and greatest values side by side.
func (im *importer) extremesByName() {
	name := im.sc.names[im.ch]
	var least, greatest bool
	for _, n := range im.sc.names {
		least = least || leastName.MatchString(n)
		greatest = greatest || greatestName.MatchString(n)
	}
	a := &im.t.Acquisition
	for k, n := range im.sc.names {
		if !peakName.MatchString(n) || n != name && !strings.HasPrefix(n, name+" ") {
			continue
		}
		if n != name && onBothSides(im.cols[im.sc.volts[k]].x, im.cols[im.sc.volts[im.ch]].x) {
			im.t.caution(CautionSmoothed, fmt.Sprintf("the column %q holds the least and the greatest of each interval, and this one what lies between: one sample of many, or their mean; peaks and sums are lower bounds", n), fmt.Sprintf("choose the channel %q for peaks", n))
			return
		}
		// Else "CH1" and "CH1 Peak Detect" may be least and greatest in two columns.
		a.Mode, a.ModeWhy = AcquisitionPeak, fmt.Sprintf("the column %q", n)
		return
	}
	switch {
	case !least || !greatest:
		return
	case leastName.MatchString(name):
		a.Extremes = ExtremesLeast
	case greatestName.MatchString(name):
		a.Extremes = ExtremesGreatest
	default:
		return
	}
	if a.Mode != AcquisitionPeak && a.Mode != AcquisitionEnvelope {
		a.Mode, a.ModeWhy = AcquisitionPeak, "the columns' names: least and greatest side by side"
	}
}

// bothSides is the least share of rows in which extremes in turn lie above the samples
// beside them, and of those in which they lie below.
const bothSides = 0.2

// onBothSides reports whether the values of one column lie now above, now below those of
// another.
func onBothSides(peaks, samples []float64) bool {
	above, below, n := 0, 0, min(len(peaks), len(samples))
	for i := range n {
		switch {
		case peaks[i] > samples[i]:
			above++
		case peaks[i] < samples[i]:
			below++
		}
	}
	return n > 0 && float64(min(above, below)) >= bothSides*float64(n)
}

// Recognising pairs of extremes on an even grid.
const (
	pairsMost  = 1 << 14 // samples looked at
	pairsLeast = 64      // samples needed
	pairsStray = 0.002   // share of differences that may break the pattern
	pairsFlat  = 0.25    // share of pairs that may be equal
	// pairsMeet is the share of pairs, at least, that overlap with the next one, and
	// pairsMore by how much it exceeds that of the pairs that begin a sample later: of 250
	// records of other kinds no two shares differ by as much.
	pairsMeet, pairsMore = 0.7, 0.25
	// pairsTurn is the least share of pairs in either order after the one before, and
	// pairsAgain the share that may be in the order of as many pairs before, up to
	// pairsLags: a clock in step with the sampling repeats its own.
	pairsTurn, pairsAgain, pairsLags = 0.1, 0.95, 128
)

// alternating reports whether samples go up and down in turn all the way, as only
// least and greatest of each interval do: of a sampled signal's noise one
// difference in three keeps its sign.
func alternating(x []float64) bool {
	if len(x) > pairsMost {
		a := (len(x) - pairsMost) / 2 &^ 1
		x = x[a : a+pairsMost]
	}
	if len(x) < pairsLeast {
		return false
	}
	var against [2]int // breaks of the pattern when the pairs begin low, high
	flat := 0
	sizes := make([]float64, 0, len(x)/2)
	for i := 1; i < len(x); i++ {
		switch d := x[i] - x[i-1]; {
		case d == 0:
			flat++
		case (d > 0) == (i%2 == 1):
			against[1]++
		default:
			against[0]++
		}
		if i%2 == 1 {
			sizes = append(sizes, math.Abs(x[i]-x[i-1]))
		}
	}
	n := float64(len(x))
	if float64(flat) > pairsFlat*n || float64(min(against[0], against[1])) > pairsStray*n {
		return false
	}
	// A tone at half the rate alternates by one size; extremes of noise don't.
	return distinct(sizes) > heldSizes
}

// inTimeOrder reports whether samples are the least and the greatest of each interval in
// the order in which they came. The signal runs through from one interval to the next,
// so that such pairs overlap, and those that begin a sample later, of which many are
// two extremes of one kind, do less. Of ordinary samples both pairings are alike.
func inTimeOrder(x []float64) bool {
	const most = pairsMost / 4
	if len(x) > most {
		a := (len(x) - most) / 2 &^ 1
		x = x[a : a+most]
	}
	if len(x) < pairsLeast {
		return false
	}
	first, later := pairsOf(x), pairsOf(x[1:])
	if later.meet > first.meet {
		first, later = later, first
	}
	return first.meet >= pairsMeet && first.meet-later.meet >= pairsMore && first.flat <= pairsFlat &&
		first.turns >= pairsTurn && first.turns <= 1-pairsTurn && !first.repeats() && distinct(first.sizes) > heldSizes
}

// pairing is what pairs of samples that follow one another look like.
type pairing struct {
	sizes []float64 // of each
	order []int8    // 1: the greater comes second, -1: first, 0: equal
	meet  float64   // share that overlaps with the next or touches it
	flat  float64   // share of equal ones
	turns float64   // share in another order than the one before
}

func pairsOf(x []float64) pairing {
	n := len(x) / 2
	p := pairing{sizes: make([]float64, n), order: make([]int8, n)}
	var meet, flat, turns int
	for i := range n {
		a, b := x[2*i], x[2*i+1]
		p.sizes[i] = math.Abs(b - a)
		switch {
		case b > a:
			p.order[i] = 1
		case b < a:
			p.order[i] = -1
		default:
			flat++
		}
		if i == 0 {
			continue
		}
		c, d := x[2*i-2], x[2*i-1]
		if max(min(a, b), min(c, d)) <= min(max(a, b), max(c, d)) {
			meet++
		}
		if p.order[i] != p.order[i-1] {
			turns++
		}
	}
	p.meet, p.flat, p.turns = float64(meet)/float64(n-1), float64(flat)/float64(n), float64(turns)/float64(n-1)
	return p
}

// repeats reports whether the pairs' order comes back after a few of them.
func (p pairing) repeats() bool {
	for lag := 1; lag <= min(pairsLags, len(p.order)/2); lag++ {
		same := 0
		for i := lag; i < len(p.order); i++ {
			if p.order[i] == p.order[i-lag] {
				same++
			}
		}
		if float64(same) >= pairsAgain*float64(len(p.order)-lag) {
			return true
		}
	}
	return false
}

// findExtremes knows records of extremes by their samples.
func (t *Trace) findExtremes() {
	why := ""
	switch {
	case alternating(t.Volts):
		why = "the samples go up and down in turn all the way"
	case inTimeOrder(t.Volts):
		why = "each two samples span what lies between the two before and the two after: they are the lowest and the highest of an interval"
	default:
		return
	}
	a := &t.Acquisition
	a.Extremes = ExtremesPairs
	if a.Mode != AcquisitionPeak && a.Mode != AcquisitionEnvelope {
		a.Mode, a.ModeWhy = AcquisitionPeak, why
	}
}

// sayAcquisition states how the samples were made and what that makes doubtful.
func (t *Trace) sayAcquisition() {
	a := &t.Acquisition
	if a.Extremes == ExtremesNone {
		t.findExtremes()
	}
	if a.Extremes == ExtremesPairs {
		t.TrueRateHz = t.SampleRateHz / 2
		t.Span.HighHz = min(t.Span.HighHz, 0.4*t.TrueRateHz)
	}
	if a.Mode != AcquisitionUnknown {
		v := string(a.Mode)
		if a.Averages > 0 {
			v += fmt.Sprintf(", %d sweeps", a.Averages)
		}
		t.assume("acquisition mode", v, a.ModeWhy)
	}
	switch {
	case a.Mode == AcquisitionAverage && a.Averages != 1:
		of := "several sweeps"
		if a.Averages > 0 {
			of = fmt.Sprintf("%d sweeps", a.Averages)
		}
		t.caution(CautionAveraged, fmt.Sprintf("the instrument averaged %s: noise, and every line that is not locked to the trigger, reads too low", of), "capture in normal (sample) mode")
	case a.Mode == AcquisitionEnhanced && a.CornerHz == 0:
		t.caution(CautionSmoothed, "the instrument filtered the samples once they were taken (enhanced resolution), and the file doesn't say from which frequency on: peaks and sums are lower bounds, and what lies above half the sample rate was not kept out", "capture in normal (sample) or high-resolution mode")
	case a.Mode == AcquisitionPeak || a.Mode == AcquisitionEnvelope || a.Extremes != ExtremesNone:
		of := "each sample"
		if a.Extremes == ExtremesPairs {
			of = "each pair of samples"
		}
		t.caution(CautionExtremes, fmt.Sprintf("a peak-detect or envelope record: %s is the lowest or highest of an interval; peaks are right, mean, spectrum and noise are not", of), "capture in normal (sample) mode for noise and spectrum")
	}
}
