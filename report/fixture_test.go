package report

import (
	"fmt"
	"math"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/filter"
	"stillglow/analysis/heater"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/spike"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// The fixture is an invented bench: invented brands, figures from closed forms.
// It is built by hand so that these tests hold whatever the engine measures.

var fixtureBrands = []string{"Marlpit", "Tressock", "Vandlebury", "Oskelund"}

func known(v, u float64) figure.Figure { return figure.Figure{Value: v, Known: true, U: u} }

// lcg is a small fixed generator: the fixture needs texture, not randomness.
type lcg uint64

func (g *lcg) next() float64 {
	*g = *g*6364136223846793005 + 1442695040888963407
	return float64(uint64(*g)>>11)/float64(1<<53) - 0.5
}

// fixtureSupply is what a made-up supply shows.
type fixtureSupply struct {
	switchingHz float64
	rippleV     float64 // peak-to-peak
	spikeV      float64 // peak
	noise       float64 // V/√Hz, white
	mainsV      float64 // rms at 100 Hz
}

// captured is the measurement of a capture of the supply: a fast one over 10 MS/s.
func (u fixtureSupply) captured(file string, rate, duration float64, seed uint64) *analysis.Measurement {
	fsw, ripple, spike, noise, mains := u.switchingHz, u.rippleV, u.spikeV, u.noise, u.mainsV
	g := lcg(seed + 1)
	m := &analysis.Measurement{File: file, SHA256: fmt.Sprintf("%064x", seed*2654435761+12345), SampleRateHz: rate,
		Samples: int(rate * duration), DurationS: duration, Coupling: capture.CouplingDC, Calibrated: true, LoadA: 0.9,
		Span: capture.Span{LowHz: 4 / duration, HighHz: 0.4 * rate}}
	fast := rate > 10e6
	dc := 7.02
	m.DCV = known(dc, dc*0.03)
	m.ACRMSV = known(math.Hypot(ripple/3.46, mains), ripple*0.02)
	m.PPV = known(ripple+2*spike, 0)
	crest := known((ripple/2+spike)/math.Hypot(ripple/3.46, mains), 0)
	m.Own = map[string]*figure.Figure{"crest_factor": &crest}
	m.ADCStepV = known(0.0004, 0)
	m.QuantNoiseVPerRtHz = known(0.0004/math.Sqrt(12*rate/2), 0)
	m.MainsHz = known(50, 0)
	if fast {
		m.PP20MHzV = known(ripple+1.6*spike, 0.03*ripple)
		m.PP20MHz999V = known(ripple+1.1*spike, 0)
		m.PP20MHzFilter = "first-order low-pass at 20 MHz"
		m.PPOverS = duration
		m.Kind = cycle.Fixed
		m.SwitchingHz = known(fsw, 1.2)
		m.SwitchingFundamentalRMSV = known(ripple*0.286, 0.003*ripple)
		m.RipplePPV = known(ripple, ripple*0.03)
		m.RippleRMSV = known(ripple/3.46, 0)
		m.PeriodicRMSV = known(ripple/3.4, 0)
		m.RandomRMSV = known(noise*math.Sqrt(0.4*rate), 0)
		m.MainsLineHz = figure.NotMeasured("the record of " + eng(duration, "s") + " is too short for 100 Hz; capture 0.1 s or more")
		m.MainsLineRMS = m.MainsLineHz
		m.MainsCombRMS, m.MainsCombPPV = m.MainsLineHz, m.MainsLineHz
		m.Cycle = fixtureCycle(fsw, ripple, int(duration*fsw))
		fixtureSpikes(m, fsw, spike, &g)
	} else {
		short := figure.NotMeasured("the sample rate of " + eng(rate, "S/s") + " does not reach the switching edges; capture at 50 MS/s or more")
		m.PP20MHzV, m.SwitchingHz, m.RipplePPV, m.SwitchingFundamentalRMSV = short, short, short, short
		m.Spikes.PerS, m.Spikes.PeakMedianV, m.Spikes.PeakP95V, m.Spikes.RingHz, m.Spikes.RingQ = short, short, short, short, short
		m.MainsLineHz, m.MainsLineRMS = known(100, 0.02), known(mains, mains*0.02)
		m.MainsCombRMS, m.MainsCombPPV = known(mains*1.1, 0), known(mains*3.2, 0)
		m.Lines = append(m.Lines, spectrum.Line{FrequencyHz: 100, RMSV: mains, Comb: "mains", Harmonic: 2, Name: "2 x mains (100 Hz)"},
			spectrum.Line{FrequencyHz: 200, RMSV: mains * 0.3, Comb: "mains", Harmonic: 4, Name: "4 x mains (200 Hz)"})
		m.Bands = append(m.Bands, spectrum.Band{ID: "audio", Name: "20 Hz to 20 kHz", LowHz: 20, HighHz: 20e3,
			RMSV: known(mains*1.1, mains*0.03), RMSNoLinesV: known(noise*141, 0)},
			spectrum.Band{ID: "audio_a", Name: "20 Hz to 20 kHz, A-weighted", LowHz: 20, HighHz: 20e3,
				RMSV: known(mains*0.12, mains*0.01), RMSNoLinesV: known(noise*100, 0)})
	}
	m.Noise = spectrum.NoiseFloor{DensityVPerRtHz: known(noise, noise*0.06), AtHz: known(31.6e3, 0), UngatedVPerRtHz: known(noise*1.3, 0),
		CornerHz: known(900, 0), At1kHzVPerRtHz: known(noise*1.4, 0), ExcisedShare: 0.12}
	for f := math.Max(m.Span.LowHz, 20); f < m.Span.HighHz; f *= math.Cbrt(2) {
		d := noise * math.Sqrt(1+900/f)
		m.Noise.ThirdOctaves = append(m.Noise.ThirdOctaves, spectrum.ThirdOctave{CentreHz: f, DensityVPerRtHz: d, UngatedVPerRtHz: 1.2 * d,
			BaselineVPerRtHz: noise * 0.2, LowVPerRtHz: 0.94 * d, HighVPerRtHz: 1.06 * d})
	}
	u.spectrum(m, fast, &g)
	u.waveforms(m, dc, fast, &g)
	return m
}

func fixtureCycle(fsw, ripple float64, cycles int) analysis.Cycle {
	c := analysis.Cycle{PeriodS: 1 / fsw, Cycles: cycles, RiseSlopeVPerS: known(ripple*fsw/0.45, 0),
		FallSlopeVPerS: known(-ripple*fsw/0.55, 0), ESRStepV: known(0.1*ripple, 0), ApparentDuty: known(0.45, 0), ESRStepShare: known(0.1, 0)}
	for i := range 256 {
		c.MeanV = append(c.MeanV, triangle(float64(i)/256)*ripple)
		c.SpreadV = append(c.SpreadV, ripple*0.03)
	}
	return c
}

// triangle rises over 45 % of a period and falls over the rest, ±0.5.
func triangle(phase float64) float64 {
	phase -= math.Floor(phase)
	if phase < 0.45 {
		return phase/0.45 - 0.5
	}
	return 0.5 - (phase-0.45)/0.55
}

func ring(t, peak float64) float64 {
	if t < 0 {
		return 0
	}
	return peak * math.Exp(-t/90e-9) * math.Cos(2*math.Pi*18e6*t)
}

func fixtureSpikes(m *analysis.Measurement, fsw, peakV float64, g *lcg) {
	s := &m.Spikes
	s.ThresholdV = peakV * 0.2
	s.Count = int(2 * m.DurationS * fsw)
	s.PerS, s.PerCycle = known(2*fsw, 0), known(2, 0)
	s.PeakMedianV, s.PeakP95V, s.PeakMaxV = known(peakV*0.95, peakV*0.03), known(peakV, peakV*0.03), known(peakV*1.1, 0)
	s.DurationMedianS, s.AreaMedianVs = known(14e-9, 0), known(peakV*14e-9, 0)
	s.RingHz, s.RingQ = known(18e6, 2e5), known(5.1, 0.4)
	for i := range min(s.Count, 200) {
		sign := 1.0 - 2*float64(i%2)
		s.List = append(s.List, spike.Event{TimeS: (float64(i/2) + 0.45*float64(i%2)) / fsw, PeakV: sign * peakV * (0.95 + 0.1*g.next()),
			DurationS: 14e-9, AreaVs: sign * peakV * 14e-9, RingHz: 18e6, RingQ: 5, CyclePhase: 0.45 * float64(i%2),
			Class: []string{"rising", "falling"}[i%2]})
	}
	for i := range 21 {
		s.AmplitudeHist.Edges = append(s.AmplitudeHist.Edges, peakV*(0.8+0.02*float64(i)))
		s.IntervalHist.Edges = append(s.IntervalHist.Edges, (0.4+0.01*float64(i))/fsw)
	}
	for i := range 20 {
		d := float64(i-9) / 4
		s.AmplitudeHist.Counts = append(s.AmplitudeHist.Counts, int(40*math.Exp(-d*d/2)))
		s.IntervalHist.Counts = append(s.IntervalHist.Counts, int(30*math.Exp(-math.Pow(float64(i-5)/1.5, 2)))+int(30*math.Exp(-math.Pow(float64(i-15)/1.5, 2))))
	}
	s.Typical = analysis.Envelope{StartS: -100e-9, StepS: 2e-9}
	for i := range 400 {
		v := ring(float64(i)*2e-9-100e-9, peakV*0.95) + peakV*0.01*g.next()
		s.Typical.MinV, s.Typical.MaxV = append(s.Typical.MinV, v), append(s.Typical.MaxV, v)
	}
}

func (u fixtureSupply) spectrum(m *analysis.Measurement, fast bool, g *lcg) {
	fsw, ripple, noise, mains := u.switchingHz, u.rippleV, u.noise, u.mainsV
	s := &m.Spectrum
	lines := map[float64]float64{}
	if fast {
		for h := 1; h <= 15; h++ {
			a := ripple * 0.286 / float64(h*h)
			lines[float64(h)*fsw] = a
			name := fmt.Sprintf("switching harmonic %d", h)
			if h == 1 {
				name = "switching " + eng(fsw, "Hz")
			}
			m.Lines = append(m.Lines, spectrum.Line{FrequencyHz: float64(h) * fsw, RMSV: a, Comb: "switching", Harmonic: h, Name: name})
		}
	} else {
		lines[100], lines[200] = mains, mains*0.3
	}
	const perDecade = 160
	step := math.Pow(10, 1.0/perDecade)
	for f := m.Span.LowHz; f < m.Span.HighHz; f *= step {
		d2 := noise * noise * (1 + 900/f) * (1 + 0.3*g.next())
		for lf, a := range lines {
			if math.Abs(math.Log(f/lf)) < math.Log(step)*0.75 {
				d2 += a * a / (0.02 * lf)
			}
		}
		s.FrequencyHz, s.VPerRtHz = append(s.FrequencyHz, f), append(s.VPerRtHz, math.Sqrt(d2))
		s.BaselineVPerRtHz = append(s.BaselineVPerRtHz, noise*0.2*math.Sqrt(1+300/f))
	}
}

func (u fixtureSupply) waveforms(m *analysis.Measurement, dc float64, fast bool, g *lcg) {
	fsw, ripple, spike, mains := u.switchingHz, u.rippleV, u.spikeV, u.mainsV
	const columns = 4000
	m.Waveform.StepS = m.DurationS / columns
	for i := range columns {
		t := float64(i) * m.Waveform.StepS
		mid := dc + mains*math.Sqrt2*math.Sin(2*math.Pi*100*t)
		half := ripple/2 + spike*0.02*g.next()
		up, down := half, half
		if fast && i%29 == 0 {
			up, down = spike, spike*0.8
		}
		m.Waveform.MinV, m.Waveform.MaxV = append(m.Waveform.MinV, mid-down), append(m.Waveform.MaxV, mid+up)
	}
	if !fast {
		return
	}
	m.Detail = analysis.Envelope{StartS: 20 / fsw, StepS: 4 / fsw / 3000}
	for i := range 3000 {
		t := m.Detail.StartS + float64(i)*m.Detail.StepS
		v := dc + ripple*triangle(t*fsw) + ripple*0.02*g.next()
		for _, sp := range m.Spikes.List {
			if d := t - sp.TimeS; d > -1e-9 && d < 1e-6 {
				v += ring(d, sp.PeakV)
			}
		}
		m.Detail.MinV, m.Detail.MaxV = append(m.Detail.MinV, v), append(m.Detail.MaxV, v)
	}
}

func fixtureTarget() target.Target {
	return target.Target{Name: "line-preamp", Title: "line preamp, quiet heaters", Description: "for the tests",
		Limits: []target.Limit{
			{Criterion: target.HeaterDC, Name: "heater volts", Unit: "V", Min: 6.6, Max: 7.6, Source: "common practice, no source"},
			{Criterion: target.RipplePP, Name: "ripple, peak-to-peak in 20 MHz", Unit: "V", Max: 0.05, NeedLowHz: 1000, NeedHighHz: 20e6, Source: "common practice, no source"},
			{Criterion: target.MainsLine, Name: "2 x mains line", Unit: "V", Max: 0.001, NeedLowHz: 100, NeedHighHz: 120, Source: "common practice, no source"},
			{Criterion: target.SpikePeak, Name: "spike peak (95th percentile)", Unit: "V", Max: 0.04, NeedLowHz: 1000, NeedHighHz: 20e6, Source: "common practice, no source"},
			{Criterion: target.SpikeRate, Name: "spikes per second", Unit: "1/s", Max: 500e3, NeedLowHz: 1000, NeedHighHz: 20e6, Source: "common practice, no source"},
			{Criterion: target.Noise, Name: "noise density between the lines", Unit: "V/√Hz", Max: 300e-9, NeedLowHz: 1e3, NeedHighHz: 100e3, Source: "common practice, no source"},
			{Criterion: target.Mask, Name: "density mask, worst point", Unit: "V/√Hz", Points: []target.MaskPoint{{Hz: 20, VPerRtHz: 1e-4}, {Hz: 1e3, VPerRtHz: 3e-6}, {Hz: 20e3, VPerRtHz: 1e-6}, {Hz: 1e6, VPerRtHz: 1e-6}},
				NeedLowHz: 20, NeedHighHz: 1e6, Source: "common practice, no source"},
		}}
}

func fixturePlan(volts float64) *heater.Plan {
	part := func(label string, ohm, v float64, below bool) heater.Part {
		return heater.Part{Label: label, Ohm: ohm, Below: below, HeaterV: v, LoadA: 0.89, W: 0.64, BuyW: 2, SurfaceC: 71,
			ErrFrac: v/6.3 - 1, WorstLow: -0.04, WorstHigh: v*1.06/6.3 - 1, PulledV: v * 1.04, PulledOver: !below, Corners: []heater.Corner{
				{Name: "nominal", Kind: heater.KindNominal, Heater: "12AU7", HeaterV: v, RelErr: v/6.3 - 1, LoadA: 0.89, PartW: 0.64},
				{Name: "supply high, resistor low, heaters low", Kind: heater.KindSpread, Heater: "12AU7", HeaterV: v * 1.06, RelErr: v*1.06/6.3 - 1, LoadA: 0.92, PartW: 0.74, OverLimit: true},
				{Name: "12AU7 pulled", Kind: heater.KindPulled, Heater: "12AU7", HeaterV: v * 1.04, RelErr: v*1.04/6.3 - 1, LoadA: 0.6, PartW: 0.3},
				{Name: "12AU7 heater shorted", Kind: heater.KindShort, AllOff: true, Unlimited: true, Note: "nothing in the way of the current: fit a fuse"},
				{Name: "cold start", Kind: heater.KindCold, Heater: "12AU7", HeaterV: 2.1, RelErr: -0.67, LoadA: 3.9, PartW: 12}}}
	}
	w := heater.WarmUp{Heater: "12AU7", To90S: 6.1, To99S: 9.4, PeakV: 6.33, PeakRelErr: 0.005, PeakHeater: "12AU7", PeakA: 3.9}
	for i := range 300 {
		at := 0.08 * float64(i)
		cold := math.Exp(-at / 3)
		w.TimeS, w.HeaterV, w.LoadA = append(w.TimeS, at), append(w.HeaterV, 6.33-4.2*cold), append(w.LoadA, 0.89+3.01*cold)
	}
	return &heater.Plan{WarmUp: w, BestWhy: "one part, and no heater leaves its limits with a valve pulled", Headroom: "48 % of the 2 A rating at most, the rule is 80 %",
		Hints: []string{"two in series on 12.6 V would halve the current"}, Warnings: []string{"below the supply's own least load it may burst"}, NominalA: 0.9, LowA: 0.84, HighA: 0.96, ShareOfRated: 0.48, HeadroomOK: true, ColdA: 3.9, ColdNoDropA: 5.4,
		ColdRides: "the cold start draws 3.9 A for about a second", CanFeed: true, Best: 0,
		Load:   heater.Load{Volts: 6.3, Groups: []heater.Group{{Valve: heater.Valve{Type: "12AU7", Volts: 6.3}, Count: 3, Wiring: heater.Parallel}}},
		Supply: heater.Supply{Volts: volts, OutputOhm: 0.05, RatedA: 2},
		Arrangements: []heater.Arrangement{
			{Name: "one shared resistor", ExactOhm: 0.78, Best: 1, RippleDB: -1.2, Exact: "0.78 Ω all heaters", RippleHint: "a 1000 µF capacitor behind it takes 40 dB at 100 kHz", Warnings: []string{"a pulled valve takes the others over their limit"}, Parts: []heater.Part{part("0.75 Ω", 0.75, 6.33, true), part("0.82 Ω", 0.82, 6.28, false)}},
			{Name: "silicon diode", Best: -1, Warnings: []string{"one diode drops too much"}},
			{Name: "one per valve", ExactOhm: 2.4, Best: 0, Parts: []heater.Part{part("2.4 Ω", 2.4, 6.3, false)}}},
		Assumptions: []string{"heater current grows with volts to the power 0.6 (0.5 to 0.65)"}}
}

// fixture is a bench of n units.
func fixture(n int) *Report {
	t := fixtureTarget()
	r := &Report{Title: "Heater supplies for the spring line stage", Workshop: "Tin Lantern Workshop", Date: "2026-03-14",
		Note: "Invented for tests.", Invented: true, Sheet: "bench/bench.toml", ToolVersion: "test", MainsHz: 50, Target: t,
		HeaterA: 0.9, Instrument: "two-channel scope, 12 bit", GainPercent: 3,
		HeaterLoad: heater.Load{Volts: 6.3, Groups: []heater.Group{{Valve: heater.Valve{Type: "12AU7", Volts: 6.3, Amps: 0.3, CentreTapped: true, Source: "published valve data"}, Count: 3, Wiring: heater.Parallel}}}}
	base := fixtureSupply{switchingHz: 65e3, rippleV: 1e-4, spikeV: 1e-4, noise: 8e-9, mainsV: 1e-6}.captured("captures/baseline.csv.gz", 100e6, 1e-3, 99)
	r.Baseline = &Capture{M: base, Layout: "CSV, time and volts columns"}
	for i := range n {
		quality := math.Pow(1.35, float64(i)) * 0.4
		if i > 12 {
			quality = 0.4 * math.Pow(1.35, 12) * (1 + 0.02*float64(i-12))
		}
		supply := fixtureSupply{switchingHz: 65e3 + 7e3*float64(i), rippleV: 0.012 * quality, spikeV: 0.03 * quality, noise: 40e-9 * quality, mainsV: 0.0003 * quality}
		brand := fixtureBrands[i%len(fixtureBrands)]
		u := Unit{Eval: target.Evaluation{TargetName: t.Name, Rank: i + 1, LoadedV: known(7.02-0.01*float64(i), 0.02), OutputOhm: known(0.05, 0.01)}}
		u.Eval.Unit = target.Unit{Brand: brand, Model: "MK" + fmt.Sprint(7+i%3), Mark: fmt.Sprintf("#%d", i+1), RatedV: 7, RatedA: 2,
			Readings: []target.Reading{{LoadA: 0, V: 7.07}, {LoadA: 0.9, V: 7.02}}, HeaterA: 0.9}
		u.Eval.Unit.Key = unitName(u.Eval.Unit)
		blunted := supply // as a slow capture shows it
		blunted.spikeV *= 0.2
		slow := blunted.captured(fmt.Sprintf("captures/%02d-slow.csv.gz", i+1), 200e3, 0.2, uint64(2*i))
		fast := supply.captured(fmt.Sprintf("captures/%02d-fast.csv.gz", i+1), 100e6, 1e-3, uint64(2*i+1))
		fast.Spikes.PeakP95V.LowerBound = i == 2
		u.Captures = []Capture{{M: slow, Layout: "CSV, time and volts columns", LoadA: 0.9}, {M: fast, Layout: "CSV, time and volts columns", LoadA: 0.9,
			Assumptions: []capture.Assumption{{What: "probe factor", Value: "10", Why: "from the bench sheet"}}}}
		fixtureJudge(&u, &t, slow, fast, supply.noise)
		u.Plan = fixturePlan(7.02)
		if u.Eval.Verdict == target.NearMiss {
			u.Filter = fixtureAdvice(&u, fast)
		}
		r.Units = append(r.Units, u)
	}
	fixtureBrandStats(r)
	return r
}

func fixtureJudge(u *Unit, t *target.Target, slow, fast *analysis.Measurement, noise float64) {
	e := &u.Eval
	e.Worst, e.WorstDB = -1, math.Inf(1)
	for i, l := range t.Limits {
		m := target.Margin{Limit: l, Covered: true, From: fast.File, Captures: 1}
		switch l.Criterion {
		case target.HeaterDC:
			m.Figure, m.From = e.LoadedV, "meter readings"
			m.DB = 3
		case target.RipplePP:
			m.Figure = fast.PP20MHzV
		case target.MainsLine:
			m.Figure, m.From = slow.MainsLineRMS, slow.File
		case target.SpikePeak:
			m.Figure = fast.Spikes.PeakP95V
		case target.SpikeRate:
			m.Figure = fast.Spikes.PerS
		case target.Noise:
			m.Figure, m.From = known(noise, noise*0.06), slow.File
		case target.Mask:
			m = target.Margin{Limit: l, Reason: "no capture spans 20 Hz to 1 MHz; capture 0.2 s at 2.5 MS/s or more"}
		}
		if m.Covered && m.DB == 0 {
			m.DB = 20 * math.Log10(l.Max/m.Figure.Value)
		}
		m.LowDB, m.HighDB = m.DB-0.5, m.DB+0.5
		if m.Covered && m.DB < e.WorstDB {
			e.Worst, e.WorstDB = i, m.DB
		}
		e.Margins = append(e.Margins, m)
	}
	switch {
	case e.WorstDB >= 0:
		e.Verdict, e.Why = target.Pass, "all that the target asks is inside"
	case e.WorstDB > -target.NearMissDB:
		e.Verdict = target.NearMiss
		e.Why = fmt.Sprintf("%s %.1f dB over", e.Margins[e.Worst].Limit.Name, -e.WorstDB)
	default:
		e.Verdict = target.Fail
		e.Why = fmt.Sprintf("%s %.1f dB over", e.Margins[e.Worst].Limit.Name, -e.WorstDB)
	}
	switch e.Unit.Mark {
	case "#4":
		e.Verdict, e.Why = target.Retake, "clipped: the spike peaks are lower bounds"
		e.Cautions = []capture.Caution{{Code: capture.CautionClipped, Text: "12 samples lie at the converter's end stop", Fix: "set a larger volts per division"}}
		e.WouldFlip = "a capture that does not clip"
	case "#2":
		e.Verdict, e.Why = target.Open, "everything measured is within its limit; the mask is not covered"
	}
}

func fixtureAdvice(u *Unit, m *analysis.Measurement) *filter.Advice {
	after := u.Eval
	after.Margins = append([]target.Margin(nil), u.Eval.Margins...)
	for i := range after.Margins {
		after.Margins[i].DB += 18
		after.Margins[i].Figure.Value /= 8
	}
	after.Verdict, after.WorstDB = target.Pass, u.Eval.WorstDB+18
	best := filter.Result{Circuit: filter.Circuit{Topology: filter.LC}, Parts: []string{"10 µH coil, 2 A", "2200 µF 16 V electrolytic"}, DropV: 0.05,
		PeakDB: 0.8, PeakHz: 1100, After: after}
	for i, f := range m.Spectrum.FrequencyHz {
		gain := 1 / math.Sqrt(1+math.Pow(f/4e3, 2))
		best.FrequencyHz, best.GainDB = append(best.FrequencyHz, f), append(best.GainDB, 20*math.Log10(gain))
		best.SpectrumHz, best.AfterVPerRtHz = append(best.SpectrumHz, f), append(best.AfterVPerRtHz, m.Spectrum.VPerRtHz[i]*gain)
	}
	return &filter.Advice{UnitKey: u.Eval.Unit.Key, Found: true, Best: best, ReserveDB: 3, CommonMode: "a common-mode choke in the DC lead helps above 1 MHz"}
}

func fixtureBrandStats(r *Report) {
	for _, name := range fixtureBrands {
		b := target.Brand{Name: name, WorstDB: math.Inf(1), BestDB: math.Inf(-1), SpreadDB: 4, ShareLow: 0.2, ShareHigh: 0.95, MoreToTell: "3 more units"}
		for i := range r.Units {
			if e := &r.Units[i].Eval; e.Unit.Brand == name {
				b.Units++
				if e.Verdict == target.Open || e.Verdict == target.Retake {
					b.Undecided++
					b.UndecidedDB = append(b.UndecidedDB, e.WorstDB)
					continue
				}
				b.Judged++
				if e.Verdict == target.Pass {
					b.Passing++
				}
				b.UnitWorstDB, b.UnitKeys = append(b.UnitWorstDB, e.WorstDB), append(b.UnitKeys, e.Unit.Key)
				b.UnitPass = append(b.UnitPass, e.Verdict == target.Pass)
				b.WorstDB, b.BestDB = math.Min(b.WorstDB, e.WorstDB), math.Max(b.BestDB, e.WorstDB)
			}
		}
		if b.Units > 0 {
			b.MedianDB = (b.WorstDB + b.BestDB) / 2
			r.Brands = append(r.Brands, b)
		}
	}
}

// hostile gives a unit names that try to break each output.
func hostile(r *Report) {
	r.Units[0].Eval.Unit.Brand = `<script>alert(1)</script>`
	r.Units[0].Eval.Unit.Model = `=cmd()|'/C calc'!A0`
	r.Units[0].Eval.Unit.Mark = "../../etc/passwd"
	r.Units[1].Eval.Unit.Brand = "\u202eexe.tiuq\u202c \u05e9\u05dc\u05d5\u05dd"
	r.Units[1].Eval.Unit.Model = "\x1b[31mred\x1b[0m\r\nsecond line"
	r.Units[2].Eval.Unit.Brand = "🔌🔥 \U0001F469\u200d\U0001F527"
	r.Units[2].Eval.Unit.Model = longName300
	r.Units[2].Eval.Unit.Mark = "@everyone"
	for i := range 3 {
		u := &r.Units[i].Eval.Unit
		u.Key = u.Brand + " " + u.Model + " " + u.Mark
	}
	r.Title = `"><img src=x onerror=alert(1)> *bold* [link](http://example.com)`
	r.Units[0].Captures[0].M.File = "captures/</script><b>x.csv"
}

var longName300 = func() string {
	s := ""
	for len(s) < 300 {
		s += "quiet"
	}
	return s
}()
