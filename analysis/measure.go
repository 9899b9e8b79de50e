package analysis

import (
	"context"
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/capture"
)

// Measure takes every figure that the trace can show. Those it can't show carry
// the reason. The only errors are the context's and an unusable trace (no
// samples, no rate, samples that are not numbers). The steps are those of the
// package's comment.
func Measure(ctx context.Context, tr *capture.Trace, setup Setup) (*Measurement, error) {
	rec, err := newRecord(tr, setup, false)
	if err != nil {
		return nil, err
	}

	// Two lines of work at a time. What each finds depends neither on the other
	// nor on the number of processors; the peak-to-peak and the drawing wait until
	// nothing else needs their processor.
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	spectra, shapes := make(chan spectralView, 1), make(chan shape, 1)
	go func() {
		spectra <- viewSpectrum(ctx, rec)
		shapes <- measureShape(ctx, rec)
	}()

	sw := findSwitching(rec, nil, cycle.Clock{})
	view := <-spectra
	if view.err != nil {
		<-shapes
		return nil, view.err
	}
	named := nameLines(rec, view, sw)
	if spurs := instrumentSwitching(rec, sw, named.lines); spurs != nil {
		sw = findSwitching(rec, spurs, cycle.Clock{})
		named = nameLines(rec, view, sw)
	}
	gate := newGate(rec, sw, view.mains)
	floor, err := measureNoise(ctx, rec, view, named, sw, gate)
	if err != nil {
		cancel()
	}
	shape := <-shapes
	if err == nil {
		err = shape.err
	}
	if err != nil {
		return nil, err
	}

	f := findings{rec: rec, view: view, sw: sw, named: named, gate: gate, floor: floor, shape: shape}
	f.bands = measureBandFigures(rec, view, named.lines)
	f.parts = splitPower(rec, view, named.lines, sw, gate, floor.figures)
	f.ripple = rippleFigures(rec, sw, named.combs, f.parts.random, shape.clipped)
	f.spikes = spikeFigures(rec, sw, named.mains.MainsHz, shape.clipped)
	f.detail = drawDetail(rec, sw, f.spikes.summary)
	m := f.measurement()
	f.restrict(m)
	m.Cautions = f.cautions(m)
	return m, nil
}

// findings are the results of the steps, each written by its own step alone.
type findings struct {
	rec    *record
	view   spectralView
	sw     switching
	named  namedLines
	gate   *spike.Gate
	floor  floorResult
	shape  shape
	bands  []spectrum.Band
	parts  powerParts
	ripple rippleResult
	spikes spikeResult
	detail detail
}

// measurement puts every step's figures in their place; cautions are still to
// come.
func (f *findings) measurement() *Measurement {
	tr, level := f.rec.tr, levelFigures(f.rec, f.shape.clipped)
	m := &Measurement{
		File: tr.File, Channel: tr.Channel, SHA256: tr.SHA256,
		SampleRateHz: tr.SampleRateHz, Samples: len(tr.Volts), DurationS: tr.DurationS(),
		Coupling: f.rec.coupling(), Mode: tr.Mode, Calibrated: tr.Calibrated, Span: tr.Span, LoadA: f.rec.setup.LoadA,

		DCV: level.dcV, ACRMSV: level.acRMSV, PPV: level.ppV,
		ADCStepV: level.adcStepV, QuantNoiseVPerRtHz: level.quantNoise,
		PP20MHzV: f.shape.ppV, PP20MHz999V: f.shape.pp999V, PP20MHzFilter: f.shape.filter,
		PPOverS: tr.DurationS(), Within20MHz: limitedTo20MHz(tr),

		PeriodicRMSV: f.parts.periodic, RandomRMSV: f.parts.random,

		Lines: f.named.lines, Noise: f.floor.figures, Bands: f.bands,
		Spectrum: f.view.plain.Curve(baselineCurve(f.rec.setup.Baseline)),
		Spikes:   f.spikes.summary,
		Waveform: f.shape.waveform, Detail: f.detail.cycles,

		Own: f.ownFigures(),

		AliasSuspected: f.rec.aliasPossible() && switchingLine(f.named.lines) != nil && !importSuspects(tr),
	}
	m.setCycle(f.ripple)
	m.Spikes.Typical = f.detail.spike
	mains := f.named.mains
	m.MainsHz, m.MainsLineHz = mains.MainsHz, mains.LineHz
	m.MainsLineRMS, m.MainsCombRMS, m.MainsCombPPV = mains.LineRMS, mains.CombRMS, mains.CombPPV
	return m
}

// setCycle puts the switching cycle's figures in their place.
func (m *Measurement) setCycle(r rippleResult) {
	m.Kind, m.SwitchingHz, m.SwitchingSpreadHz = r.kind, r.hz, r.spreadHz
	m.SwitchingFundamentalRMSV, m.BurstHz = r.fundamentalRMSV, r.burstHz
	m.RipplePPV, m.RippleRMSV, m.Cycle = r.ppV, r.rmsV, r.cycle
	m.SecondSwitchingHz = r.secondHz
}

// importSuspects reports whether the reader of the file has already warned of
// aliases, which no second capture takes back.
func importSuspects(tr *capture.Trace) bool {
	return slices.ContainsFunc(tr.Cautions, func(c capture.Caution) bool { return c.Code == capture.CautionAlias })
}
