package analysis

import (
	"fmt"
	"math"
	"slices"

	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// cautionList collects cautions, one of each code: the first counts.
type cautionList []capture.Caution

func (l *cautionList) add(code, text, fix string) {
	l.put(capture.Caution{Code: code, Text: text, Fix: fix})
}

func (l *cautionList) put(c capture.Caution) {
	if !l.has(c.Code) {
		*l = append(*l, c)
	}
}

func (l cautionList) has(code string) bool {
	return slices.ContainsFunc(l, func(c capture.Caution) bool { return c.Code == code })
}

// cautions are the doubts about a measurement: those of the import first, then
// what the steps came upon, then what the finished figures show, each with what
// to change at the bench.
func (f *findings) cautions(m *Measurement) []capture.Caution {
	list := append(cautionList(nil), f.rec.tr.Cautions...)
	for _, step := range [][]capture.Caution{f.spikes.cautions, f.floor.cautions} {
		for _, c := range step {
			list.put(c)
		}
	}
	f.converterCautions(m, &list)
	if f.sw.shown && m.SwitchingHz.Known {
		f.cycleCautions(m, &list)
	} else if !f.sw.shown && !f.rec.flat() && f.rec.wouldShowSwitching() && m.DurationS > lostSwitchingS && !f.rec.aliasPossible() && f.sw.Track == nil {
		list.add(capture.CautionSwitchingLost,
			"no switching frequency stands out from the noise",
			"a baseline should show none; if the supply was on, use fewer volts per division and a timebase that shows a few hundred cycles")
	}
	f.setupCautions(m, &list)
	f.foldedCaution(m, &list)
	f.broadcastCaution(m, &list)
	if o, quiet := f.quietest(); quiet && !f.rec.flat() {
		list.add(capture.CautionSmoothed,
			fmt.Sprintf("at %s the record holds %s, less than a scope's own input adds: sweeps were averaged, the samples smoothed or the bandwidth limited, and the file doesn't say so; noise, band sums and peaks are lower bounds", hertz(o.CentreHz), capture.SI(o.UngatedVPerRtHz, "V/√Hz", 2)),
			"capture in normal (sample) mode without averaging, smoothing or a bandwidth limit, and save the settings with it")
	} else if s, steep := f.steepest(); steep && !f.rec.flat() {
		list.put(s.caution())
	} else if m.PP20MHzV.LowerBound && f.rec.tr.Acquisition.Extremes == capture.ExtremesNone && !f.rec.flat() && f.limitSeen() {
		list.put(limitCaution())
	}
	return list
}

// converterCautions are the doubts by the converter's range, steps and rate.
func (f *findings) converterCautions(m *Measurement, list *cautionList) {
	step := f.rec.stepV
	if f.shape.clipped > 0 {
		list.add(capture.CautionClipped,
			fmt.Sprintf("%d samples are clipped at the ADC limit; peaks are cut off", f.cut()),
			"use more volts per division, or move the trace to the middle of the screen")
	}
	if list.has(capture.CautionClipped) { // which answers whether the tops are the waveform's own
		*list = slices.DeleteFunc(*list, func(c capture.Caution) bool { return c.Code == capture.CautionFlatTops })
	}
	if step > 0 && m.PPV.Value > 0 && m.PPV.Value/step < fewSteps {
		list.add(capture.CautionFewSteps,
			fmt.Sprintf("the whole signal covers only %.0f ADC steps", m.PPV.Value/step),
			"use fewer volts per division, AC coupling, or the averaging (high-resolution) mode")
	}
	if m.RipplePPV.Known && f.sw.Fold.SigmaV < undithered*step && m.RipplePPV.Value < rippleSteps*step {
		list.add(capture.CautionFewSteps,
			fmt.Sprintf("the ripple covers only %.1f ADC steps and there is no noise to smooth them out", m.RipplePPV.Value/step),
			"use fewer volts per division, or the averaging (high-resolution) mode")
	}
	if m.Noise.AtQuantisation {
		list.add(capture.CautionFewSteps,
			"the noise is smaller than the ADC's own steps; the figure is an upper limit",
			"use fewer volts per division, or the averaging (high-resolution) mode")
	}
	if l := switchingLine(m.Lines); m.AliasSuspected && l != nil {
		list.add(capture.CautionAlias,
			fmt.Sprintf("supplies switch up to 500 kHz and half the sample rate is %s; the line at %s may be an alias", hertz(f.rec.tr.SampleRateHz/2), hertz(l.FrequencyHz)),
			"take a second capture at 1 MS/s or more; a true line stays where it is")
	}
}

// switchingLine is the strongest line of the unit's that a supply's switching may
// have made, nil where there is none.
func switchingLine(lines []spectrum.Line) *spectrum.Line {
	for i, l := range lines { // by falling amplitude as found
		if l.FrequencyHz > cycle.SearchLowHz && l.Comb != spectrum.CombInstrument {
			return &lines[i]
		}
	}
	return nil
}

// cycleCautions are the doubts about a cycle that was found.
func (f *findings) cycleCautions(m *Measurement, list *cautionList) {
	const damp = "damp the ringing at the supply's output with a ceramic capacitor in series with about an ohm, and probe with a ground spring"
	if cycles := m.DurationS * m.SwitchingHz.Value; cycles < fewCycles {
		list.add(capture.CautionShortRecord,
			fmt.Sprintf("the record holds only %.0f switching cycles: the highest peaks may not be among them", cycles),
			"use a slower timebase, or more memory")
	}
	if f.parts.differ && m.Spikes.PerS.Known {
		list.add(capture.CautionCyclesDiffer,
			"what is left once the average cycle is subtracted is not all random: cycles differ from each other, or a second converter is running; the spike count may be several times too high or too low",
			"load the supply as the heaters will; show a few tens of cycles on a faster timebase, and count the spikes there by eye")
	}
	if c := f.sw.Model; c.IncludesRing {
		list.add(capture.CautionRingFills,
			fmt.Sprintf("the ringing lasts into the next edge and can't be told apart from the ripple; both together are %.3g mV p-p", 1e3*c.PPV),
			damp)
	} else if c.RingFills() {
		list.add(capture.CautionRingFills,
			fmt.Sprintf("the ringing lasts into the next edge, where %.0f %% of it is left; the ripple figure depends on its shape", 100*c.RingLeft),
			damp)
	}
	if sw := f.sw; f.rec.unfiltered() && sw.PlacesHz > 0 && sw.FastShare > placesFast {
		list.add(capture.CautionAlias,
			fmt.Sprintf("the switching frequency and the sample rate are in a ratio of small whole numbers, so that every cycle is sampled at the same %.0f places: what the ringing at the edges holds above %s is aliased into the average cycle, its spectral lines and the switching frequency", sw.PlacesHz/m.SwitchingHz.Value, hertz(sw.PlacesHz/2)),
			"capture at another sample rate, preferably 50 MS/s or more, or in high-resolution mode")
	}
	f.outweighedCaution(m, list)
	if f.sw.explainsLittle() {
		list.put(f.sw.explainsLittleCaution())
	}
	switch m.Kind {
	case cycle.Dithered:
		text := fmt.Sprintf("the switching frequency wanders over %.2g %% (spread spectrum); its spectral lines are smeared", 100*m.SwitchingSpreadHz.Value/m.SwitchingHz.Value)
		fix := ""
		if f.sw.Track.Sweeps() < 1 {
			text += "; the record holds less than one sweep, so the frequency is that of the record and not the supply's mean"
			fix = "take a record of 10 ms or more, which holds whole sweeps"
		}
		list.add(capture.CautionDithered, text, fix)
	case cycle.Bursting:
		list.add(capture.CautionBursting,
			"the supply switches in bursts (light load), which adds ripple at the burst rate",
			"load the supply as the heaters will; most supplies switch continuously above a tenth of their rating")
	}
}

// setupCautions are the doubts by how the capture was made: probe, baseline,
// load, mains, gating.
func (f *findings) setupCautions(m *Measurement, list *cautionList) {
	setup := f.rec.setup
	if m.Coupling != f.rec.tr.Coupling {
		list.add(capture.CautionDCAsAC,
			fmt.Sprintf("stated as AC-coupled, but its mean is %s: it is taken as DC-coupled", capture.SI(m.DCV.Value, "V", 3)),
			`write coupling = "dc" for it, or take the key out`)
	}
	if setup.RatedV > 0 && m.DCV.Known && m.DCV.Value != 0 {
		ratio := math.Abs(m.DCV.Value) / setup.RatedV
		for _, factor := range [...]float64{0.01, 0.1, 10, 100} {
			if math.Abs(math.Log(ratio/factor)) < math.Log(probeOff) {
				list.add(capture.CautionProbeFactor,
					fmt.Sprintf("the capture's mean of %.3g V differs from the rated %g V by a factor of about %g", m.DCV.Value, setup.RatedV, factor),
					"set the scope channel's probe factor to match the probe, or give probe_factor in the sheet")
			}
		}
	}
	if m.Noise.AtInstrument {
		list.add(capture.CautionBaselineNear,
			"the noise is within 3 dB of the instrument's own",
			"use fewer volts per division or a low-noise amplifier; the true figure may be lower")
	}
	f.baselineCautions(m, list)
	if setup.LoadA > 0 && setup.HeaterA > 0 && math.Abs(setup.LoadA/setup.HeaterA-1) > loadOff {
		list.add(capture.CautionLoadUnlike,
			fmt.Sprintf("captured at %.3g A; the heaters draw %.3g A", setup.LoadA, setup.HeaterA),
			"capture again under the real heaters, or a resistor that draws as much")
	}
	if m.MainsLineRMS.Known && !f.named.mains.Decided {
		list.add(capture.CautionMains,
			"whether the mains runs at 50 or 60 Hz can't be seen from the capture",
			"state mains_hz in the sheet or with --mains")
	}
	if stated := f.named.mains.InsteadOfHz; stated > 0 {
		list.add(capture.CautionMains,
			fmt.Sprintf("%g Hz mains is stated, but the capture shows the harmonics of %.0f Hz, which are the ones measured", stated, m.MainsHz.Value),
			"correct mains_hz in the sheet or --mains, or leave it out")
	}
	if !m.MainsLineRMS.Known && m.Span.HighHz < audioTopHz {
		list.add(capture.CautionShortRecord,
			fmt.Sprintf("the record of %s is too short for the mains ripple and too coarse for the switching ripple", seconds(m.DurationS)),
			"use 10 ms/div or slower for the mains")
	}
	if f.floor.ungated {
		list.add(capture.CautionUngated,
			"spikes and ringing fill most of the record; the noise floor is what the spectrum shows between the lines",
			"nothing to change: the noise matters little beside such spikes")
	}
}

// baselineCautions say what the comparison with the baseline left in doubt.
func (f *findings) baselineCautions(m *Measurement, list *cautionList) {
	const again = "take the baseline with the capture's own settings: same timebase, memory and volts per division"
	if l := f.named.match.TooWide; l != nil {
		list.add(capture.CautionBaselineUnlike, fmt.Sprintf("the baseline was made with more volts per division (steps of %.3g mV, the capture's are %.3g mV): its line at %s can't be compared and is counted as the unit's",
			1e3*f.rec.setup.Baseline.ADCStepV.Value, 1e3*f.rec.stepV, hertz(l.FrequencyHz)), again)
	}
	if l := f.named.match.TooCoarse; l != nil {
		list.add(capture.CautionBaselineUnlike, fmt.Sprintf("the baseline's line at %s is resolved to %s only and can't be compared with the capture's there, which is counted as the unit's",
			hertz(l.FrequencyHz), hertz(l.BinHz)), again)
	}
	if b := f.rec.setup.Baseline; b != nil && b.DCV.Known && b.Mode == capture.Differential && math.Abs(b.DCV.Value) > lowestPlainDCV {
		list.add(capture.CautionBaselineOfUnit,
			fmt.Sprintf("the baseline's mean is %s: the probe was across a supply that ran, and what was subtracted is that supply's", capture.SI(b.DCV.Value, "V", 3)),
			"take the baseline with the probe's tip on its own ground, or with the supply off at the wall")
	}
	if hz, ok := unitInBaseline(m, f.rec.setup); ok {
		list.add(capture.CautionBaselineOfUnit,
			fmt.Sprintf("the baseline shows the line at %s that the capture shows: with the supply running it is this unit's own, picked up by the probe's loop, and should not have been subtracted", hertz(hz)),
			"take the baseline with the supply off at the wall; where it was off, write supply = \"off\" in [instrument.baseline] and look for what else switches at that frequency on the bench")
	}
	if f.named.mainsIsInstruments {
		list.add(capture.CautionInstrumentMains,
			fmt.Sprintf("the line at %s is as strong in the baseline: it comes from the instrument or is picked up by its leads, and the figure is an upper limit", hertz(m.MainsLineHz.Value)),
			"keep the probe's leads short and away from mains leads and transformers, and run the instrument from the same mains outlet")
	}
}

// sameSwitching is how far, as a share, a line may lie from a baseline's switching
// frequency and be its harmonic.
const sameSwitching = 1e-3

// unitInBaseline finds a line that was charged to the instrument though it looks
// like the unit's switching: the baseline was then made with the supply running.
// It is not asked where the baseline is told to be made with the supply off.
func unitInBaseline(m *Measurement, setup Setup) (hz float64, ok bool) {
	if setup.Baseline == nil || setup.BaselineOff {
		return 0, false
	}
	strongest := 0.0
	for _, l := range m.Lines {
		if l.InstrumentRMSV <= strongest || l.FrequencyHz < cycle.SearchLowHz {
			continue
		}
		for _, f := range []figure.Figure{m.SwitchingHz, setup.Baseline.SwitchingHz} {
			if f.Known && l.HarmonicOf(f.Value, sameSwitching) > 0 {
				hz, ok, strongest = l.FrequencyHz, true, l.InstrumentRMSV
			}
		}
	}
	return hz, ok
}
