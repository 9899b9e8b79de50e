package analysis

import (
	"context"
	"errors"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// Behind says what is known of a trace that was sent through a linear filter ahead of
// any measuring of it.
type Behind struct {
	// Foreseen is the measurement ahead of the filter with its spectrum, lines, mains
	// comb, noise floor and band sums sent through it: what is linear in the spectrum
	// follows from there.
	Foreseen *Measurement
	// PeaksOnly leaves cycle and spikes as foreseen and reads the peak-to-peak alone,
	// which takes a tenth of the time.
	PeaksOnly bool
}

// MeasureBehind measures what of a filtered trace can't be foreseen: peak-to-peak, the
// switching cycle with its ripple, and the spikes. All else is as foreseen, and of
// figures that the samples give again only those from the samples stand. A filter
// can't move the switching's frequency, so that a known one is followed and not
// searched for. The only errors are those of Measure.
func MeasureBehind(ctx context.Context, tr *capture.Trace, setup Setup, b Behind) (*Measurement, error) {
	if b.Foreseen == nil {
		return nil, errors.New("analysis: nothing is foreseen of a filtered trace")
	}
	rec, err := newRecord(tr, setup, true)
	if err != nil {
		return nil, err
	}
	shapes := make(chan shape, 1)
	go func() { shapes <- measureShape(ctx, rec) }()
	out := *b.Foreseen
	f := findings{rec: rec, named: namedLines{lines: out.Lines, mains: spectrum.Mains{Decided: true}}}
	f.floor.figures = out.Noise
	f.parts.random = out.RandomRMSV
	if !b.PeaksOnly {
		f.sw = findSwitching(rec, nil, knownClock(b.Foreseen))
		if spurs := instrumentSwitching(rec, f.sw, out.Lines); spurs != nil {
			f.sw = findSwitching(rec, spurs, cycle.Clock{})
		}
	}
	if f.shape = <-shapes; f.shape.err != nil {
		return nil, f.shape.err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	level := levelFigures(rec, f.shape.clipped)
	out.DCV, out.PPV = level.dcV, level.ppV
	out.PP20MHzV, out.PP20MHz999V, out.PP20MHzFilter = f.shape.ppV, f.shape.pp999V, f.shape.filter
	out.Waveform, out.Detail = f.shape.waveform, Envelope{}
	if b.PeaksOnly {
		f.restrict(&out)
		return &out, nil
	}
	f.ripple = rippleFigures(rec, f.sw, spectrum.Combs{}, f.parts.random, f.shape.clipped)
	f.spikes = spikeFigures(rec, f.sw, out.MainsHz, f.shape.clipped)
	out.setCycle(f.ripple)
	out.Spikes = f.spikes.summary
	out.Own = f.ownFigures()
	f.restrict(&out)
	out.Cautions = f.cautions(&out)
	return &out, nil
}

// knownClock is the switching as a measurement shows it, none where it shows none.
func knownClock(m *Measurement) cycle.Clock {
	if !m.SwitchingHz.Known || m.SwitchingHz.LowerBound {
		return cycle.Clock{}
	}
	c := cycle.Clock{Hz: m.SwitchingHz.Value, Steady: m.Kind == cycle.Fixed}
	if m.SecondSwitchingHz.Known {
		c.SecondHz = m.SecondSwitchingHz.Value
	}
	return c
}
