package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// How several captures of one unit settle what one alone leaves open.
const (
	// aliasCeilingHz: a true frequency is looked for up to twice the highest at
	// which the trade's supplies switch.
	aliasCeilingHz = 1e6
	// aliasWander is how far a supply's switching frequency may have moved from
	// one capture to the next, as a share of it (a timing capacitor warming by ten
	// kelvins; common practice, no source).
	aliasWander = 1e-3
)

// rateView is what one capture shows of the switching.
type rateView struct {
	m    *Measurement // a copy, free to change
	hz   float64      // apparent frequency
	uHz  float64      // expanded uncertainty of it
	sure bool         // no supply of the trade could have been folded down to it
}

// SettleAliases compares the captures of one unit, those across its output and its
// common-mode ones apart: what switches in one need not be what the other shows. A line switching above half
// a sample rate is folded down to |f - k·rate|, elsewhere at every rate; a true
// one stays. Where a capture shows an alias of what another shows, or two can
// only be explained by a third frequency, no figure of it stays that rests on the
// switching and a caution names the alias; where two captures agree and nothing
// else up to 500 kHz would look alike in both, the suspicion is lifted. The
// result has the measurements' order; those to be changed are copies, and the
// measurements given are left as they are.
func SettleAliases(ms []*Measurement) []*Measurement {
	out := slices.Clone(ms)
	for _, mode := range []capture.Mode{capture.Differential, capture.Common} {
		settleMode(out, mode)
	}
	return out
}

// settleMode settles the captures of one mode, in place.
func settleMode(out []*Measurement, mode capture.Mode) {
	settleLines(out, mode)
	settleFolds(out, mode)
}

// settleLines settles what the lines of one mode's captures are; those to be
// changed become copies.
func settleLines(out []*Measurement, mode capture.Mode) {
	var views []*rateView
	for i, m := range out {
		if m == nil || m.Mode != mode || !(m.SampleRateHz > 0) {
			continue
		}
		if v := viewOf(m); v != nil {
			out[i] = v.m
			views = append(views, v)
		}
	}
	// the fastest first: it has the least that could be folded down
	slices.SortStableFunc(views, func(a, b *rateView) int {
		switch {
		case a.m.SampleRateHz > b.m.SampleRateHz:
			return -1
		case a.m.SampleRateHz < b.m.SampleRateHz:
			return 1
		}
		return 0
	})
	if len(views) < 2 {
		return
	}
	if views[0].sure {
		for _, v := range views[1:] {
			v.against(views[0])
		}
		return
	}
	settleUnsure(views)
}

// viewOf is what a capture shows of the switching, nil when nothing.
func viewOf(m *Measurement) *rateView {
	c := *m
	c.Cautions = slices.Clone(m.Cautions)
	v := &rateView{m: &c}
	switch {
	case m.SwitchingHz.Known:
		v.hz, v.uHz, v.sure = m.SwitchingHz.Value, m.SwitchingHz.U, true
		if m.SwitchingSpreadHz.Known { // its mean moves with the part of the sweep recorded
			v.uHz = math.Hypot(v.uHz, m.SwitchingSpreadHz.Value/4)
		}
		return v
	case m.AliasSuspected:
		l := strongestSwitching(m.Lines)
		if l == nil {
			return nil
		}
		v.hz, v.uHz = l.FrequencyHz, lineUHz(*l)
		return v
	}
	return nil
}

// lift takes the suspicion back that the capture alone earned.
func (v *rateView) lift() {
	if v.m.AliasSuspected {
		v.m.AliasSuspected = false
		v.m.dropCaution(capture.CautionAlias)
	}
}

// strongestSwitching is the strongest line that may be of the switching.
func strongestSwitching(lines []spectrum.Line) *spectrum.Line {
	for i := range lines { // by falling amplitude as found
		if l := &lines[i]; l.FrequencyHz > cycle.SearchLowHz && l.Comb != spectrum.CombInstrument && l.Comb != spectrum.CombMains {
			return l
		}
	}
	return nil
}

// lineUHz is the expanded uncertainty of a line's frequency: a tenth of its bin,
// more where noise shifts it.
func lineUHz(l spectrum.Line) float64 {
	u := 0.1 * l.BinHz
	if l.RMSV > 0 {
		u = math.Hypot(u, l.BinHz*l.NoiseURMSV/l.RMSV)
	}
	return u
}

// folded is where a frequency appears at a sample rate.
func folded(hz, rateHz float64) float64 {
	return math.Abs(hz - rateHz*math.Round(hz/rateHz))
}

// fits reports whether a true frequency would appear in a capture as it does.
func (v *rateView) fits(hz, uHz float64) bool {
	return math.Abs(folded(hz, v.m.SampleRateHz)-v.hz) <= math.Hypot(v.uHz, uHz)+aliasWander*hz
}

// against judges a capture by a faster one whose frequency is sure. Of a capture
// that shows no cycle the line that would be it is looked for among the strongest.
func (v *rateView) against(fast *rateView) {
	at := folded(fast.hz, v.m.SampleRateHz)
	if v.sure {
		if fast.hz > v.m.SampleRateHz/2 && v.fits(fast.hz, fast.uHz) {
			v.expose(v.hz, fmt.Sprintf("the supply switches at %s, as %s at %s shows", hertz(fast.hz), fast.m.File, rateText(fast.m.SampleRateHz)))
		}
		return
	}
	taken := 0
	for _, l := range v.m.Lines {
		if l.Comb == spectrum.CombMains || l.Comb == spectrum.CombInstrument {
			continue
		}
		if taken++; taken > aliasLines {
			break
		}
		tolerance := math.Hypot(lineUHz(l), fast.uHz) + aliasWander*fast.hz
		if math.Abs(l.FrequencyHz-at) > tolerance {
			continue
		}
		if fast.hz <= v.m.SampleRateHz/2 {
			v.agree(l.FrequencyHz, lineUHz(l), fast)
			return
		}
		v.expose(l.FrequencyHz, fmt.Sprintf("the supply switches at %s, as %s at %s shows", hertz(fast.hz), fast.m.File, rateText(fast.m.SampleRateHz)))
		return
	}
}

// agree lifts the suspicion, unless a harmonic of the frequency is folded down
// into the audio band.
func (v *rateView) agree(hz, uHz float64, with *rateView) {
	half := v.m.SampleRateHz / 2
	for _, l := range v.m.Lines {
		if l.FrequencyHz > audioTopHz || l.Comb == spectrum.CombMains || l.Comb == spectrum.CombInstrument {
			continue
		}
		for h := math.Floor(half/hz) + 1; h <= aliasHarmonics; h++ {
			if math.Abs(folded(h*hz, v.m.SampleRateHz)-l.FrequencyHz) <= math.Hypot(lineUHz(l), h*uHz) {
				v.expose(l.FrequencyHz, fmt.Sprintf("it is the %s harmonic of switching at %s", spectrum.Ordinal(int(h)), hertz(hz)))
				return
			}
		}
	}
	v.lift()
	if !v.m.SwitchingHz.Known {
		v.missSwitching(fmt.Sprintf("the switching at %s, which %s shows too, has no harmonics below half the sample rate; 1 MS/s or more is needed to show its cycle", hertz(hz), with.m.File))
	}
}

// expose says that a line is an alias and takes back what rests on it.
func (v *rateView) expose(lineHz float64, truth string) {
	v.lift()
	text := fmt.Sprintf("the line at %s is an alias at this sample rate: %s", hertz(lineHz), truth)
	v.m.Cautions = append(v.m.Cautions, capture.Caution{Code: capture.CautionAliasShown, Text: text,
		Fix: "for the switching frequency, trust the faster capture; capture the slow one again in high-resolution mode, or at more than twice that sample rate"})
	v.missSwitching(text)
	v.m.Kind = cycle.Unknown
	// names that rest on the false frequency
	v.m.Lines = slices.Clone(v.m.Lines)
	for i := range v.m.Lines {
		l := &v.m.Lines[i]
		if l.FrequencyHz == lineHz || math.Abs(l.FrequencyHz-lineHz) <= lineUHz(*l) {
			l.Comb, l.Harmonic, l.Name = "", 0, "alias ("+hertz(l.FrequencyHz)+")"
		} else if l.Comb != spectrum.CombMains && l.Comb != spectrum.CombInstrument {
			l.Comb, l.Harmonic, l.Name = "", 0, ""
		}
	}
}

// missSwitching turns every figure that rests on the switching frequency into
// one that is not measured.
func (v *rateView) missSwitching(reason string) {
	m, miss := v.m, figure.NotMeasured(reason)
	for _, f := range []*figure.Figure{&m.SwitchingHz, &m.SwitchingSpreadHz, &m.SwitchingFundamentalRMSV, &m.BurstHz,
		&m.RipplePPV, &m.RippleRMSV, &m.SecondSwitchingHz, &m.Spikes.PerCycle} {
		*f = miss
	}
	m.Cycle = Cycle{RiseSlopeVPerS: miss, FallSlopeVPerS: miss, ESRStepV: miss, ApparentDuty: miss, ESRStepShare: miss}
}

// settleUnsure settles captures none of which is fast enough to be sure.
func settleUnsure(views []*rateView) {
	first := views[0]
	fit := fittingAll(views)
	if len(fit) == 0 {
		return // it moved between the captures, or they show different lines
	}
	same := true
	for _, v := range views[1:] {
		same = same && math.Abs(v.hz-first.hz) <= math.Hypot(v.uHz, first.uHz)+aliasWander*first.hz
	}
	for i, v := range views {
		other := views[(i+1)%len(views)]
		switch {
		case same:
			if countUpTo(fit, cycle.TradeHighHz) == 1 { // all agree, and nothing else looks alike
				v.agree(v.hz, v.uHz, other)
			}
		case len(fit) > 1:
			v.expose(v.hz, fmt.Sprintf("in %s at %s it appears at %s; switching at %s would explain both", other.m.File, rateText(other.m.SampleRateHz), hertz(other.hz), eitherOf(fit)))
		case fit[0] <= v.m.SampleRateHz/2:
			v.agree(v.hz, v.uHz, other)
		default:
			v.expose(v.hz, fmt.Sprintf("with the line at %s in %s at %s it can only be switching at %s", hertz(other.hz), other.m.File, rateText(other.m.SampleRateHz), hertz(fit[0])))
		}
	}
}

// fittingAll is every frequency that the fastest capture's line may stand for and
// that all captures agree with.
func fittingAll(views []*rateView) []float64 {
	first := views[0]
	var fit []float64
	for k := 0.0; k*first.m.SampleRateHz-first.hz <= aliasCeilingHz; k++ {
		for _, hz := range []float64{k*first.m.SampleRateHz - first.hz, k*first.m.SampleRateHz + first.hz} {
			all := hz > 0 && hz <= aliasCeilingHz
			for _, v := range views {
				all = all && v.fits(hz, first.uHz)
			}
			if all {
				fit = append(fit, hz)
			}
		}
	}
	return fit
}

// countUpTo counts the frequencies up to a ceiling.
func countUpTo(list []float64, ceilingHz float64) int {
	n := 0
	for _, hz := range list {
		if hz <= ceilingHz {
			n++
		}
	}
	return n
}

// eitherOf names up to four frequencies.
func eitherOf(list []float64) string {
	var words []string
	for _, hz := range list[:min(len(list), namedAliases)] {
		words = append(words, hertz(hz))
	}
	return strings.Join(words, " or ")
}

func rateText(hz float64) string { return capture.SI(hz, "S/s", 3) }
