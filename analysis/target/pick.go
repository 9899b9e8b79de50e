package target

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/capture"
)

// picked is the figure of one criterion with the captures it rests on.
type picked struct {
	fig    figure.Figure
	from   []*analysis.Measurement
	source string                  // when not captures
	at     string                  // where in frequency, for the mask
	reason string                  // when !fig.Known
	fit    []*analysis.Measurement // all that cover the criterion with a figure, from's first
}

// pick takes a criterion's figure from the best capture that covers the
// criterion's span, averaged with its repeats.
func pick(u Unit, l Limit) picked {
	c, ok := lookup(l.Criterion)
	if !ok {
		return picked{reason: "no such criterion"}
	}
	switch {
	case len(u.Captures) == 0 && c.figure != nil:
		return picked{reason: "no capture; needs " + c.how}
	case c.id == Mask:
		return pickMask(u, l)
	case c.figure == nil:
		return picked{reason: "not taken from captures"}
	}
	f := newField(u, l, c)
	if len(f.best) == 0 {
		return f.without()
	}
	slices.SortStableFunc(f.best, func(a, b *analysis.Measurement) int {
		switch {
		case better(u, c, a, b):
			return -1
		case better(u, c, b, a):
			return 1
		}
		return 0
	})
	same := f.best[:1:1]
	for _, m := range f.best[1:] {
		if isRepeat(u, c, f.best[0], m) {
			same = append(same, m)
		}
	}
	figs := make([]figure.Figure, len(same))
	for i, m := range same {
		figs[i] = c.of(m)
	}
	return picked{fig: average(figs, c.domain), from: same, fit: f.best}
}

// field is what a unit's captures offer a criterion.
type field struct {
	l       Limit
	c       criterion
	packets float64                 // a second, of a bursting supply; 0: none that count
	best    []*analysis.Measurement // those that cover it with a figure
	short   *analysis.Measurement   // does not cover, but shows at least this much
	reasons map[string]bool         // of the others
	spans   map[string][]string     // the files that show a span only, by the span
	covered bool                    // by a capture that still has no figure
}

func newField(u Unit, l Limit, c criterion) field {
	f := field{l: l, c: c, reasons: map[string]bool{}, spans: map[string][]string{}}
	if c.highHz >= packetsShowHz {
		f.packets = burstHz(u)
	}
	for _, m := range u.Captures {
		f.take(m)
	}
	return f
}

// take puts a capture among the best, or keeps the reason why not.
func (f *field) take(m *analysis.Measurement) {
	fig, hides := f.c.of(m), hidden(f.c, f.l, m)
	covers := f.c.covers(m, f.l)
	misses := m.DurationS*f.packets < leastPackets && f.packets > 0
	switch {
	case !m.Calibrated:
		f.reasons[m.File+" has no volt scale (set volts at full scale)"] = true
	case !covers || misses:
		if covers {
			f.reasons[missesText(m, f.packets)] = true
		} else {
			span := spanText(m.Span.LowHz, m.Span.HighHz)
			f.spans[span] = append(f.spans[span], m.File)
		}
		bounds := fig.Known && !fig.UpperBound && hides == "" && f.c.domain == linear && f.c.id != SpikeRate
		if bounds && (f.short == nil || fig.Value > f.c.of(f.short).Value) {
			f.short = m
		}
	case !fig.Known:
		f.reasons[m.File+": "+fig.Missing] = true
	case hides != "":
		f.reasons[m.File+": "+hides] = true
	default:
		f.best = append(f.best, m)
		return
	}
	f.covered = f.covered || covers && m.Calibrated
}

// covers reports whether a capture covers the span that a limit needs.
func (c criterion) covers(m *analysis.Measurement, l Limit) bool {
	return m.Span.Covers(l.NeedLowHz, l.NeedHighHz) || roughlyCovers(m.Span, l.NeedLowHz, l.NeedHighHz)
}

// without is the outcome where no capture covers the criterion with a figure: the
// reason, or a fail by a part of the span that already breaks the limit.
func (f *field) without() picked {
	for span, files := range f.spans {
		f.reasons[fmt.Sprintf("%s show%s %s only", filesText(files), map[bool]string{true: "s"}[len(files) == 1], span)] = true
	}
	p := picked{reason: listed(f.reasons)}
	if !f.covered {
		p.reason = fmt.Sprintf("no capture covers %s (%s); needs %s", spanText(f.l.NeedLowHz, f.l.NeedHighHz), p.reason, f.c.how)
	}
	if f.short != nil && f.l.Max > 0 && f.c.of(f.short).Value > f.l.Max {
		p.fig = f.c.of(f.short)
		p.fig.LowerBound = true
		p.from = []*analysis.Measurement{f.short}
	}
	return p
}

// filesText names a file, or the first of several and how many more there are.
func filesText(files []string) string {
	if len(files) == 1 {
		return files[0]
	}
	return fmt.Sprintf("%s and %d more", files[0], len(files)-1)
}

// roughlyCovers forgives a hundredth at the low end and, as the measurement of
// the 20 MHz figure does, a twentieth at the top: bandwidth limits and 0.4 of a
// rate come with rounding. A highHz of 0 asks for no span.
func roughlyCovers(s capture.Span, lowHz, highHz float64) bool {
	return highHz == 0 || s.Covers(lowHz*1.01, highHz*0.95)
}

// of is the criterion's figure of a measurement; what can't be a figure of it is
// not measured.
func (c criterion) of(m *analysis.Measurement) figure.Figure {
	f := sane(c.figure(m))
	if !f.Known && f.Missing == "" {
		return figure.NotMeasured("the band was not summed") // only bands can be absent
	}
	if f.Known && f.Value < 0 {
		return figure.NotMeasured("the figure came out negative")
	}
	return f
}

// sane turns a figure that is not a number, or beyond all volts, into one that
// is not measured.
func sane(f figure.Figure) figure.Figure {
	const most = 1e12
	if f.Known && !(math.Abs(f.Value) < most) {
		return figure.NotMeasured("the figure is not a number")
	}
	if !(f.U >= 0) || f.U > most {
		f.U = 0
	}
	return f
}

// better orders captures that cover a criterion: whole figures before lower
// bounds, sound before doubtful, loaded like the heaters before otherwise,
// above the instrument's floor before at it. Of upper bounds the least counts, since
// each of them holds, but for one of a fast record that a slow one tells to have missed
// something. Then the better record does: the smaller uncertainty, for short
// peaks the higher rate, for all else the longer record; a span wider than the
// criterion asks for is no merit of its own.
func better(u Unit, c criterion, a, b *analysis.Measurement) bool {
	ka, kb := quality(u, c, a), quality(u, c, b)
	if ka != kb {
		return ka < kb
	}
	fa, fb := c.of(a), c.of(b)
	if less := fa.Value+fa.U < fb.Value+fb.U; fa.UpperBound && fb.UpperBound {
		if !less {
			a, b = b, a
		}
		return less == explained(c, b, a)
	}
	ua, ub := relativeU(fa), relativeU(fb)
	ra, rb := a.DurationS, b.DurationS
	if c.group.Has(figure.ShortPeak) {
		ra, rb = a.SampleRateHz, b.SampleRateHz
	}
	const clearly = 1.25
	switch {
	case ua > 0 && ub > 0 && math.Max(ua, ub) > clearly*math.Min(ua, ub):
		return ua < ub
	case math.Max(ra, rb) > clearly*math.Min(ra, rb):
		return ra > rb
	}
	return octaves(a.Span) > octaves(b.Span)
}

// relativeU is a figure's uncertainty as a share of it, 0 where it has none.
func relativeU(f figure.Figure) float64 {
	if !(f.Value > 0) {
		return 0
	}
	return f.U / f.Value
}

// quality grows with what speaks against taking the criterion's figure from a
// capture.
func quality(u Unit, c criterion, m *analysis.Measurement) int {
	q := 0
	f := c.of(m)
	if f.LowerBound || f.UpperBound {
		q += 1000
	}
	for _, k := range m.Cautions {
		// Only what moves this criterion's figure makes the capture less fit for it.
		down, up := marginShift(k.Code, c, m, f)
		switch {
		case k.Code == CautionVoltsImpossible:
			q += 500
		case down >= badShiftDB || up >= badShiftDB:
			q += 100
		}
	}
	switch {
	case u.HeaterA <= 0 || m.LoadA <= 0:
		q += 10
	case math.Abs(m.LoadA-u.HeaterA) > loadNear*u.HeaterA:
		q += 20
	}
	if m.Noise.AtInstrument && c.domain == power {
		q++
	}
	return q
}

func octaves(s capture.Span) float64 {
	if s.LowHz <= 0 || s.HighHz <= s.LowHz {
		return 0
	}
	return math.Log2(s.HighHz / s.LowHz)
}

// isRepeat reports whether b was made like a: same quality, rate and length.
func isRepeat(u Unit, c criterion, a, b *analysis.Measurement) bool {
	near := func(x, y, tol float64) bool { return math.Abs(x-y) <= tol*math.Max(x, y) }
	return quality(u, c, a) == quality(u, c, b) &&
		near(a.SampleRateHz, b.SampleRateHz, 0.1) && near(a.DurationS, b.DurationS, 0.35) &&
		near(a.LoadA, b.LoadA, 0.1) && a.Coupling == b.Coupling
}

// average joins repeats: the mean (linear) or the root of the mean square
// (power). The expanded uncertainty joins the single captures' own, which
// repeats share (one instrument's gain), with the standard error of the mean
// from the spread; the coverage factor is Student's for the effective degrees
// of freedom (Welch and Satterthwaite; JCGM 100:2008, G.4), which is why two
// repeats that disagree give a wide interval.
func average(figs []figure.Figure, d domain) figure.Figure {
	if len(figs) == 1 {
		return figs[0]
	}
	n := float64(len(figs))
	var sum, sumU float64
	out := figure.Figure{Known: true}
	for _, f := range figs {
		sumU += f.U
		if d == power {
			sum += f.Value * f.Value
		} else {
			sum += f.Value
		}
		out.LowerBound = out.LowerBound || f.LowerBound
		out.UpperBound = out.UpperBound || f.UpperBound
	}
	out.Value = sum / n
	if d == power {
		out.Value = math.Sqrt(out.Value)
	}
	var ss float64
	for _, f := range figs {
		ss += (f.Value - out.Value) * (f.Value - out.Value)
	}
	uA := math.Sqrt(ss / (n - 1) / n)
	uB := sumU / n / 2
	uC := math.Hypot(uA, uB)
	k := 2.0
	if uA > 0 {
		dof := (n - 1) * math.Pow(uC/uA, 4)
		k = math.Max(2, distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Min(dof, 1e6)}.Quantile(0.975))
	}
	out.U = k * uC
	return out
}

func listed(reasons map[string]bool) string {
	list := make([]string, 0, len(reasons))
	for r := range reasons {
		list = append(list, r)
	}
	slices.Sort(list)
	return strings.Join(list, "; ")
}

func spanText(lowHz, highHz float64) string {
	if lowHz <= 0 {
		return "up to " + HzText(highHz)
	}
	return HzText(lowHz) + " to " + HzText(highHz)
}

// HzText writes a frequency with three digits and its prefix.
func HzText(hz float64) string {
	if hz < 1 { // nobody says 500 mHz
		return fmt.Sprintf("%.3g Hz", hz)
	}
	return capture.SI(hz, "Hz", 3)
}
