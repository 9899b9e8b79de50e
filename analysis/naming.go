package analysis

import (
	"context"

	"stillglow/analysis/spectrum"
)

// spectralView is the trace's spectrum with the lines and the mains comb as
// seen, the instrument's share included.
type spectralView struct {
	plain spectrum.Multirate
	lines []spectrum.Line
	mains spectrum.Mains
	err   error // the context's
}

// viewSpectrum takes the spectrum of the whole trace and finds its lines.
func viewSpectrum(ctx context.Context, rec *record) spectralView {
	tr, src := rec.tr, spectrum.Samples(rec.tr.Volts)
	var v spectralView
	if v.plain, v.err = spectrum.Of(ctx, src, tr.SampleRateHz, spectrum.Options{Keep: true}); v.err != nil {
		return v
	}
	if v.lines, v.err = spectrum.FindLines(ctx, src, tr.SampleRateHz, v.plain, spectrum.LineOptions{HighHz: tr.Span.HighHz}); v.err != nil {
		return v
	}
	v.mains = spectrum.MeasureMains(src, v.plain, v.lines, rec.setup.MainsHz, rec.setup.GainFraction)
	return v
}

// namedLines are the lines by their origin, the instrument's share taken off.
type namedLines struct {
	lines []spectrum.Line
	combs spectrum.Combs
	mains spectrum.Mains // the unit's own
	match spectrum.BaselineMatch
	// mainsIsInstruments: 2 x mains is wholly the instrument's, its figure an upper one
	mainsIsInstruments bool
}

// nameLines names the lines after the combs they belong to and takes off what the
// baseline shows of them.
func nameLines(rec *record, view spectralView, sw switching) namedLines {
	var out namedLines
	mainsHz := 0.0
	if view.mains.MainsHz.Known {
		mainsHz = view.mains.MainsHz.Value
	}
	baseline, gain := baselineOf(rec.setup.Baseline), rec.setup.GainFraction
	out.lines, out.combs = spectrum.NameLines(view.lines, mainsHz, sw.clock(rec))
	out.match = spectrum.MarkInstrument(out.lines, rec.stepV, baseline, gain)
	out.mains, out.mainsIsInstruments = view.mains.SubtractBaseline(out.lines, baseline, gain)
	return out
}

// instrumentSwitching reports whether what was found as the switching is a line
// of the instrument, wholly so at its fundamental and for the most part as a
// whole: the instrument's frequencies, at which to look no more; nil where it is
// the unit's.
func instrumentSwitching(rec *record, sw switching, lines []spectrum.Line) []float64 {
	if sw.Track == nil || rec.setup.Baseline == nil {
		return nil
	}
	var seen, own float64
	var not []float64
	fundamental := false
	for _, l := range lines {
		if l.Comb == spectrum.CombInstrument {
			not = append(not, l.FrequencyHz)
		}
		if n := l.HarmonicOf(sw.hz(), 1e-4); n > 0 {
			seen += l.SeenRMSV() * l.SeenRMSV()
			if l.Comb != spectrum.CombInstrument {
				own += l.RMSV * l.RMSV
			} else if n == 1 {
				fundamental = true
			}
		}
	}
	if !fundamental || own > seen/2 {
		return nil
	}
	return not
}

// measureBandFigures sums the spectrum within bands.
func measureBandFigures(rec *record, view spectralView, lines []spectrum.Line) []spectrum.Band {
	gain := rec.setup.GainFraction
	bands := spectrum.MeasureBands(view.plain, lines, rec.tr.Span, gain)
	doubtWindows(rec, bands)
	if rec.setup.Quasi468 {
		bands = append(bands, spectrum.MeasureQuasiPeak(spectrum.Samples(rec.tr.Volts), view.plain, rec.tr.Span, gain))
	}
	return bands
}
