package analysis

import (
	"fmt"
	"math"

	"stillglow/analysis/figure"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
)

// cautions collects the doubts: those of the import first, then what the
// samples themselves show, each with what to change at the bench.
func (j *job) cautions() {
	m, tr := j.m, j.tr
	found := m.Cautions
	m.Cautions = append([]capture.Caution(nil), tr.Cautions...)
	add := func(code, text, fix string) {
		for _, c := range m.Cautions {
			if c.Code == code {
				return
			}
		}
		m.Cautions = append(m.Cautions, capture.Caution{Code: code, Text: text, Fix: fix})
	}
	for _, c := range found {
		add(c.Code, c.Text, c.Fix)
	}

	if j.clipped > 0 {
		add(capture.CautionClipped,
			fmt.Sprintf("%d samples lie at the converter's end stops; peaks are cut off", j.clipped),
			"use more volts per division, or move the trace to the middle of the screen")
		for _, f := range []*figure.Figure{&m.PPV, &m.PP20MHzV, &m.PP20MHz999V, &m.RipplePPV,
			&m.Spikes.PeakMedianV, &m.Spikes.PeakP95V, &m.Spikes.PeakMaxV,
			&m.Spikes.RisingPeakMedianV, &m.Spikes.FallingPeakMedianV} {
			f.LowerBound = f.Known
		}
	}
	if j.stepV > 0 && m.PPV.Value > 0 && m.PPV.Value/j.stepV < j.th.FewSteps {
		add(capture.CautionFewSteps,
			fmt.Sprintf("the whole signal covers only %.0f converter steps", m.PPV.Value/j.stepV),
			"use fewer volts per division, AC coupling, or the averaging (high-resolution) mode")
	}
	if m.RipplePPV.Known && j.fold.sigma < 0.4*j.stepV && m.RipplePPV.Value < 3*j.stepV {
		add(capture.CautionFewSteps,
			fmt.Sprintf("the ripple covers only %.1f converter steps and no noise dithers them", m.RipplePPV.Value/j.stepV),
			"use fewer volts per division, or the averaging (high-resolution) mode")
	}
	if m.Noise.AtQuantisation {
		add(capture.CautionFewSteps,
			"the noise lies under the converter's own steps; the figure is an upper one",
			"use fewer volts per division, or the averaging (high-resolution) mode")
	}
	if j.aliasPossible() && len(m.Lines) > 0 {
		for _, l := range m.Lines {
			if l.FrequencyHz > j.th.SearchLowHz && l.Comb != spectrum.CombInstrument {
				add(capture.CautionAlias,
					fmt.Sprintf("supplies switch up to 500 kHz and half the sample rate is %s; the line at %s may be an alias", hertz(tr.SampleRateHz/2), hertz(l.FrequencyHz)),
					aliasFix)
				break
			}
		}
	}
	const damp = "damp the ring at the supply's output with a ceramic capacitor in series with about an ohm, and probe with a ground spring"
	if m.SwitchingHz.Known {
		cycles := m.DurationS * m.SwitchingHz.Value
		if cycles < 20 {
			add(capture.CautionShortRecord,
				fmt.Sprintf("the record holds only %.0f switching cycles", cycles),
				"use a longer time base, or more memory")
		}
		if c := j.model; c.upper {
			add(capture.CautionRingFills,
				fmt.Sprintf("the ring lasts into the next edge and can't be told apart from the ripple; both together are %.3g mV p-p", 1e3*c.ppV),
				damp)
		} else if c.ringFills() {
			add(capture.CautionRingFills,
				fmt.Sprintf("the ring lasts into the next edge, where %.0f %% of it is left; the ripple figure depends on the ring's shape", 100*c.ringLeft),
				damp)
		}
		switch m.Kind {
		case SwitchingDithered:
			text := fmt.Sprintf("the switching frequency wanders over %.2g %% (spread spectrum); its lines are smeared", 100*m.SwitchingSpreadHz.Value/m.SwitchingHz.Value)
			fix := ""
			if j.track.sweeps() < 1 {
				text += "; the record holds less than one sweep, so the frequency is that of the record and not the supply's mean"
				fix = "take a record of 10 ms or more, which holds whole sweeps"
			}
			add(capture.CautionDithered, text, fix)
		case SwitchingBursting:
			add(capture.CautionBursting,
				"the supply switches in packets (light load); its ripple at the packet rate comes on top",
				"load it as the heaters will; most supplies run through above a tenth of their rating")
		}
	} else if j.wouldShowSwitching() && m.DurationS > 200e-6 && !j.aliasPossible() && j.track == nil {
		add(capture.CautionSwitchingLost,
			"no switching line stands out of the noise",
			"use fewer volts per division and a time base that shows some hundred cycles")
	}
	if j.setup.RatedV > 0 && m.DCV.Known && m.DCV.Value != 0 {
		ratio := math.Abs(m.DCV.Value) / j.setup.RatedV
		for _, f := range [...]float64{0.01, 0.1, 10, 100} {
			if math.Abs(math.Log(ratio/f)) < math.Log(1.35) {
				add(capture.CautionProbeFactor,
					fmt.Sprintf("the capture's mean of %.3g V is a factor of about %g from the rated %g V", m.DCV.Value, f, j.setup.RatedV),
					"set the channel's probe factor to the probe's, or give probe_factor in the sheet")
			}
		}
	}
	if m.Noise.AtInstrument {
		add(capture.CautionBaselineNear,
			"the noise lies within 3 dB of the instrument's own",
			"use fewer volts per division or a low-noise amplifier; the true figure may lie lower")
	}
	j.instrumentCautions(add)
	if j.setup.LoadA > 0 && j.setup.HeaterA > 0 && math.Abs(j.setup.LoadA/j.setup.HeaterA-1) > 0.2 {
		add(capture.CautionLoadUnlike,
			fmt.Sprintf("captured at %.3g A; the heaters draw %.3g A", j.setup.LoadA, j.setup.HeaterA),
			"capture again under the real heaters, or a resistor that draws as much")
	}
	if m.MainsLineRMS.Known && !j.mains.Decided {
		add(capture.CautionMains,
			"whether the mains runs at 50 or 60 Hz could not be told from the capture",
			"state mains_hz in the sheet or with --mains")
	}
	if !m.MainsLineRMS.Known && tr.Span.HighHz < 20e3 {
		add(capture.CautionShortRecord,
			fmt.Sprintf("the record of %s holds neither the mains nor the switching ripple", seconds(m.DurationS)),
			"use 10 ms/div or slower for the mains")
	}
	if j.ungated {
		add(capture.CautionUngated,
			"spikes and rings fill most of the record; the noise floor is what the spectrum shows between the lines",
			"none at the bench: the noise is then of little weight beside the spikes")
	}
}

// clippedCounts counts samples at the converter's ends: the known full scale
// where the file states it, else the pile-up at the record's own extremes.
func (j *job) clippedCounts() (low, high int) {
	tr := j.tr
	if tr.FullScaleMaxV > tr.FullScaleMinV {
		tol := max(j.stepV/2, 1e-9*(tr.FullScaleMaxV-tr.FullScaleMinV))
		lo, hi := tr.FullScaleMinV+tol, tr.FullScaleMaxV-tol
		if j.basic.min > lo && j.basic.max < hi {
			return 0, 0
		}
		for _, v := range tr.Volts {
			if v <= lo {
				low++
			} else if v >= hi {
				high++
			}
		}
		return low, high
	}
	return spectrum.Clipped(tr.Volts, j.basic.min, j.basic.max, j.stepV)
}
