package filter

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// Input is one unit as measured, with what it is to meet.
type Input struct {
	Unit   target.Unit   // as captured
	Target target.Target // that it shall meet

	// Traces holds the trace of each of Unit.Captures, and Setups how it was
	// measured; both empty, or an entry nil, where the samples are not at hand, or
	// not used (see UsesSamples): then the prediction is made from the measurement
	// alone.
	Traces []*capture.Trace
	Setups []analysis.Setup // of each trace, in the captures' order

	work *workspace // of a search that filters the same traces many times, nil: none
}

// How a result was come to.
const (
	FromSamples  = "peaks by the captures' samples, filtered and measured again, all else by their spectra"
	FromSums     = "by the captures' spectra"
	FromSpectrum = "estimated from the spectrum, cycle and typical spike"
)

// Predict gives what a circuit would leave of a unit: gain, drop, and every
// criterion's margin behind it. What is linear in the spectrum is scaled with the
// circuit's gain; peaks are measured afresh on the filtered traces where these are
// given, and else estimated, see Result.Method.
func Predict(ctx context.Context, in Input, c Circuit) (Result, error) {
	if err := c.Check(); err != nil {
		return Result{}, err
	}
	b, err := in.behind(ctx, c, allPeaks)
	if err != nil {
		return Result{}, err
	}
	r := Result{Circuit: c, Method: b.method, Wave: b.wave}
	finish(&r, in, b.unit)
	return r, nil
}

// depth is how much of a filtered trace is measured.
type depth int

const (
	peakToPeak20 depth = iota // the peak-to-peak; spikes and ripple are estimated
	allPeaks                  // ripple and spikes too, and the picture of both sides
)

// behindUnit is a unit behind a circuit.
type behindUnit struct {
	unit   target.Unit
	method string
	wave   Wave
}

// behind sends a unit's captures through a circuit. The circuit must pass Check.
func (in Input) behind(ctx context.Context, c Circuit, deep depth) (out behindUnit, err error) {
	out.unit, out.method = in.Unit, FromSums
	out.unit.Captures = make([]*analysis.Measurement, len(in.Unit.Captures))
	needs, drawn := needsSamples(in.Unit, in.Target), fastestDetail(in.Unit.Captures)
	work := in.work
	if work == nil {
		work = new(workspace)
	}
	for i, m := range in.Unit.Captures {
		if m.Mode == capture.Common { // a filter across the output leaves it as it is
			out.unit.Captures[i] = m
			continue
		}
		foreseen := work.ahead(m).behind(c, everything)
		out.unit.Captures[i] = foreseen
		draws := i == drawn && deep == allPeaks
		if !in.hasSamples(i) {
			if needs[i] {
				out.method = FromSpectrum
			}
			if draws {
				out.wave = detailWave(m, c)
			}
			continue
		}
		if !needs[i] && !draws {
			continue
		}
		tr, err := work.apply(ctx, in.Traces[i], c)
		if err != nil {
			return out, err
		}
		if draws {
			out.wave = waveOf(m, in.Traces[i], tr)
		}
		if !needs[i] {
			continue
		}
		if out.method == FromSums {
			out.method = FromSamples
		}
		if out.unit.Captures[i], err = in.remeasured(ctx, i, tr, foreseen, c, deep); err != nil {
			return out, fmt.Errorf("%s behind a %s filter: %w", m.File, c.Topology, err)
		}
	}
	out.unit.Captures = analysis.SettleAliases(out.unit.Captures)
	for i, m := range in.Unit.Captures {
		staysFolded(m, out.unit.Captures[i])
	}
	return out, nil
}

// remeasured measures the filtered trace of capture i.
func (in Input) remeasured(ctx context.Context, i int, tr *capture.Trace, foreseen *analysis.Measurement, c Circuit, deep depth) (*analysis.Measurement, error) {
	m, setup := in.Unit.Captures[i], in.Setups[i]
	tr.Acquisition = behindFilter(m, tr.Acquisition)
	if setup.Baseline != nil { // it went through the filter with the trace
		setup.Baseline = in.work.ahead(setup.Baseline).behind(c, everything)
	}
	got, err := analysis.MeasureBehind(ctx, tr, setup, analysis.Behind{Foreseen: foreseen, PeaksOnly: deep == peakToPeak20})
	if err != nil {
		return nil, err
	}
	got.File = m.File
	got.DCV = m.DCV // the limit holds at the supply's terminals
	got.Cautions = joinCautions(m.Cautions, got.Cautions)
	if deep == peakToPeak20 {
		return got, nil
	}
	mergedSpikes(m, got)
	if !m.Spikes.PeakP95V.LowerBound {
		wellSampled(got)
	}
	return got, nil
}

// UsesSamples tells of each capture of a unit whether Predict and Search use its
// samples: where it may show a peak that the target limits, and of the one that is
// drawn. Of all others the measurement tells as much.
func UsesSamples(u target.Unit, goal target.Target) []bool {
	uses := needsSamples(u, goal)
	if i := fastestDetail(u.Captures); i >= 0 {
		uses[i] = true
	}
	return uses
}

// needsSamples tells of each capture whether it may show a peak that the target limits.
func needsSamples(u target.Unit, goal target.Target) []bool {
	needs := make([]bool, len(u.Captures))
	for i, m := range u.Captures {
		for _, l := range goal.Limits {
			if m.Mode == capture.Differential && target.ShowsPeak(m, l) {
				needs[i] = true
			}
		}
	}
	return needs
}

// canConfirm reports whether the samples of every capture that needs them are at hand.
func (in Input) canConfirm() bool {
	for i, needed := range needsSamples(in.Unit, in.Target) {
		if needed && !in.hasSamples(i) {
			return false
		}
	}
	return true
}

// hasSamples reports whether capture i can be filtered and measured anew.
func (in Input) hasSamples(i int) bool {
	return in.Unit.Captures[i].Mode != capture.Common && i < len(in.Traces) && in.Traces[i] != nil && i < len(in.Setups)
}

// fastestDetail is the index of the capture with the highest rate that kept a
// detail of its waveform, -1 when none did.
func fastestDetail(captures []*analysis.Measurement) int {
	best := -1
	for i, m := range captures {
		if m.Mode == capture.Differential && len(m.Detail.MinV) > 1 && m.Detail.StepS > 0 && (best < 0 || m.SampleRateHz > captures[best].SampleRateHz) {
			best = i
		}
	}
	return best
}

// waveSamples is the most samples a Wave takes.
const waveSamples = 8000

// waveOf cuts the time of a measurement's detail out of both traces.
func waveOf(m *analysis.Measurement, before, behind *capture.Trace) Wave {
	rate := before.SampleRateHz
	from := max(0, int(math.Round(m.Detail.StartS*rate)))
	n := min(waveSamples, int(math.Round(float64(len(m.Detail.MinV))*m.Detail.StepS*rate)))
	to := min(from+n, len(before.Volts))
	if to-from < 2 {
		return Wave{}
	}
	return Wave{File: m.File, StepS: 1 / rate, BeforeV: aboutMean(before.Volts[from:to]), AfterV: aboutMean(behind.Volts[from:to])}
}

// detailWave sends the detail that a measurement keeps of its waveform through a
// circuit; nothing where it keeps none sample by sample.
func detailWave(m *analysis.Measurement, c Circuit) Wave {
	before := middle(m.Detail)
	if before == nil {
		return Wave{}
	}
	behind := append([]float64(nil), before...)
	throughGain(behind, 1/m.Detail.StepS, func(hz float64) complex128 { return Insertion(c, hz) })
	return Wave{File: m.File, StepS: m.Detail.StepS, BeforeV: aboutMean(before), AfterV: aboutMean(behind)}
}

// aboutMean is a copy of v with its mean taken off.
func aboutMean(v []float64) []float64 {
	out := make([]float64, len(v))
	mean := stat.Mean(v, nil)
	for i := range v {
		out[i] = v[i] - mean
	}
	return out
}

// behindFilter is how a filtered trace counts as made: as the capture was. Where
// nobody states the mode, the analysis takes a record that is quieter than a scope's
// input for a mean over sweeps; a filter makes any record as quiet as that, so the
// capture ahead of it decides.
func behindFilter(ahead *analysis.Measurement, a capture.Acquisition) capture.Acquisition {
	if a.Mode != capture.AcquisitionUnknown {
		return a
	}
	a.Mode = capture.AcquisitionSample
	if ahead.HasCaution(capture.CautionSmoothed) {
		a.Mode = capture.AcquisitionAverage
	}
	return a
}

// mergedSpikes bounds the spikes that can be told from the ripple ahead of a filter
// and no more behind it, where what is left of them lasts from edge to edge, and those
// that are counted but not sized: no spike is higher than the whole record's
// peak-to-peak.
func mergedSpikes(ahead, behind *analysis.Measurement) {
	s := &behind.Spikes
	merged := !s.PeakP95V.Known && (!s.PerS.Known || s.Count > 0) || behind.HasCaution(capture.CautionSpikesInRipple)
	if !merged || !ahead.Spikes.PeakP95V.Known || ahead.HasCaution(capture.CautionSpikesInRipple) || !behind.PPV.Known || behind.PPV.LowerBound {
		return
	}
	for _, f := range []*figure.Figure{&s.PeakMedianV, &s.PeakP95V, &s.PeakMaxV} {
		*f = behind.PPV
		f.UpperBound = true
	}
}

// staysFolded keeps upper what is upper ahead of the filter by what a weak low-pass
// let fold: in the record that comes through the filter as what it was folded to, and
// a fast capture behind the filter shows no more of it.
func staysFolded(ahead, behind *analysis.Measurement) {
	if ahead.Weakly.None() || len(ahead.Bands) != len(behind.Bands) {
		return
	}
	keep := func(f *figure.Figure, was figure.Figure) {
		f.UpperBound = f.UpperBound || was.UpperBound && f.Known && !f.LowerBound
	}
	was := ahead.Noise.Densities()
	for i, f := range behind.Noise.Densities() {
		keep(f, *was[i])
	}
	for i := range behind.Bands {
		keep(&behind.Bands[i].RMSV, ahead.Bands[i].RMSV)
		keep(&behind.Bands[i].RMSNoLinesV, ahead.Bands[i].RMSNoLinesV)
	}
}

// wellSampled takes back the doubt that spikes are undersampled: where those
// ahead of the filter were not, what a filter leaves of them is not either, and
// what looks too short there is the residue of noise and converter steps.
func wellSampled(m *analysis.Measurement) {
	s := &m.Spikes
	for _, f := range []*figure.Figure{&s.PeakMedianV, &s.PeakP95V, &s.PeakMaxV, &s.RisingPeakMedianV, &s.FallingPeakMedianV} {
		f.LowerBound = false
	}
	kept := m.Cautions[:0]
	for _, c := range m.Cautions {
		if c.Code != capture.CautionUndersampled {
			kept = append(kept, c)
		}
	}
	m.Cautions = kept
}

// finish fills in everything that does not depend on how the figures came.
func finish(r *Result, in Input, after target.Unit) {
	c := r.Circuit
	r.After = target.Evaluate(after, in.Target)
	for i := range r.After.Margins {
		if m := &r.After.Margins[i]; m.Covered && m.Limit.Criterion != target.HeaterDC {
			m.From += ", predicted"
		}
	}
	volts := in.Unit.RatedV
	if v, _ := target.LoadedVolts(in.Unit); v.Known {
		volts = v.Value
	}
	r.Parts = c.Shopping(mostVolts(in.Unit, volts), in.Unit.HeaterA)
	r.Cost = c.cost()
	r.DropV = c.DropV(in.Unit.HeaterA)
	r.FrequencyHz, r.GainDB = nil, nil
	for i := 0; i <= curvePoints*curveDecades; i++ {
		hz := math.Pow(10, float64(i)/curvePoints)
		db := DB(Insertion(c, hz))
		r.FrequencyHz, r.GainDB = append(r.FrequencyHz, hz), append(r.GainDB, db)
	}
	r.PeakHz, r.PeakDB = peak(c)
	r.SpectrumHz, r.BeforeVPerRtHz = widest(in.Unit)
	r.AfterVPerRtHz = make([]float64, len(r.SpectrumHz))
	for i, hz := range r.SpectrumHz {
		r.AfterVPerRtHz[i] = r.BeforeVPerRtHz[i] * cmplx.Abs(Insertion(c, hz))
	}
	r.Warnings = warnings(*r, in, volts)
}

// peak is the greatest gain and where, on a fine grid from 1 Hz to 100 MHz. It looks
// between the points of a coarse one only beside those that may be next to it.
func peak(c Circuit) (hz, db float64) {
	at := func(i int) (hz, db float64) {
		hz = math.Pow(10, float64(i)/peakPoints)
		return hz, DB(Insertion(c, hz))
	}
	coarse := make([]float64, curveDecades*peakPoints/peakCoarse+1)
	for k := range coarse {
		_, coarse[k] = at(k * peakCoarse)
	}
	least := slices.Max(coarse) - peakNear
	db = math.Inf(-1)
	for k, g := range coarse {
		if g < least || k > 0 && coarse[k-1] > g || k < len(coarse)-1 && coarse[k+1] > g {
			continue
		}
		for i := max((k-1)*peakCoarse, 0); i <= min((k+1)*peakCoarse, curveDecades*peakPoints); i++ {
			if f, g := at(i); g > db {
				hz, db = f, g
			}
		}
	}
	return hz, db
}

// widest joins the captures' spectra to one: the slow capture's up to where it
// ends, the faster ones' above.
func widest(u target.Unit) (hz, vrhz []float64) {
	last := 0.0
	for {
		var best *analysis.Measurement
		for _, m := range u.Captures {
			if !m.Calibrated || m.Mode != capture.Differential || len(m.Spectrum.FrequencyHz) == 0 || m.Span.HighHz <= last*spanOver {
				continue
			}
			if best == nil || m.Span.HighHz < best.Span.HighHz {
				best = m
			}
		}
		if best == nil {
			return hz, vrhz
		}
		for i, f := range best.Spectrum.FrequencyHz {
			if f > last && f <= best.Span.HighHz && f >= best.Span.LowHz/2 && i < len(best.Spectrum.VPerRtHz) {
				hz, vrhz = append(hz, f), append(vrhz, best.Spectrum.VPerRtHz[i])
			}
		}
		last = best.Span.HighHz
	}
}

// joinCautions keeps the capture's own doubts and adds what is new behind the
// filter, each code once. Whether a line is an alias the captures ahead of the
// filter have settled.
func joinCautions(own, behind []capture.Caution) []capture.Caution {
	out := append([]capture.Caution(nil), own...)
	seen := map[string]bool{}
	for _, c := range own {
		seen[c.Code] = true
	}
	seen[capture.CautionAlias] = true
	for _, c := range behind {
		if !seen[c.Code] {
			seen[c.Code] = true
			out = append(out, c)
		}
	}
	return out
}

// Describe gives what a circuit does by itself, without any unit: parts, gain,
// resonance, DC drop at loadA amps, and warnings. The circuit must pass Check.
func Describe(c Circuit, heaterV, loadA float64) Result {
	r := Result{Circuit: c}
	u := target.Unit{HeaterA: loadA, RatedV: heaterV + (c.DropV(loadA) + c.SourceOhm*loadA)}
	finish(&r, Input{Unit: u}, u)
	r.After, r.Method = target.Evaluation{}, ""
	return r
}
