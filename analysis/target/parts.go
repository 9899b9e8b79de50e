package target

import (
	"stillglow/analysis"
	"stillglow/analysis/figure"
)

// decides reports whether a picked figure says on which side of a limit it is.
func (p picked) decides(l Limit) bool {
	return p.fig.Known && !(p.fig.LowerBound && p.fig.Value <= l.Max) && !(p.fig.UpperBound && p.fig.Value > l.Max)
}

// partOf gives the figure of a record too short or too slow for a criterion that is
// a part of what the criterion counts, and so no more than it: the smooth ripple's
// swing of any peak-to-peak, and all of the samples' swing where the instrument let
// nothing above the span through, however few the samples are; a line of the band that
// it lies in.
func partOf(id Criterion, m *analysis.Measurement) figure.Figure {
	none := figure.NotMeasured("no part of what this criterion counts can be read from the capture")
	line := func(lowHz, highHz float64) figure.Figure {
		if f := m.SwitchingHz; f.Known && f.Value >= lowHz && f.Value <= highHz {
			return m.SwitchingFundamentalRMSV
		}
		return none
	}
	switch id {
	case RipplePP:
		if least := func(f figure.Figure) float64 { return f.Value - f.U }; m.Within20MHz && m.PPV.Known && !(m.RipplePPV.Known && least(m.RipplePPV) > least(m.PPV)) {
			return m.PPV
		}
		return m.RipplePPV
	case CommonPP:
		if m.Within20MHz {
			return m.PPV
		}
	case BandAudio:
		return m.MainsLineRMS // twice the mains, 100 or 120 Hz
	case BandRF1:
		return line(20e3, 1e6)
	case BandRF2:
		return line(1e6, 20e6)
	}
	return none
}

// withParts adds to a picked figure that decides nothing the greatest part of it that
// a capture shows, where even that is over the limit.
func withParts(u Unit, l Limit, p picked) picked {
	if p.decides(l) {
		return p
	}
	for _, m := range u.Captures {
		f := sane(partOf(l.Criterion, m))
		if !f.Known || f.UpperBound || !m.Calibrated {
			continue
		}
		if least := f.Value - f.U; least > l.Max && (!p.decides(l) || least > p.fig.Value) {
			p = picked{fig: figure.Figure{Value: least, Known: true, LowerBound: true}, from: []*analysis.Measurement{m}}
		}
	}
	return p
}
