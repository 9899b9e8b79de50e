package report

import (
	"encoding/json"
	"fmt"
	"math"

	"stillglow/analysis"
	"stillglow/analysis/target"
)

// The live plots read their curves from one JSON block. Curves are whole numbers
// told as differences, which is a quarter of the size of decimals: volts are
// multiples of a quantum of 1/10000 of the curve's range, frequency and density
// are 10000 times their decimal logarithm (steps of 0.023 %).
const logSteps = 10000

// deltas are whole numbers as differences from the one before.
type deltas []int

// wave is an envelope: volts = o + q * number, time = t + dt * index. lo is left
// out where it equals hi everywhere.
type wave struct {
	T  number `json:"t"`
	DT number `json:"dt"`
	N  number `json:"n"` // samples in a column
	O  number `json:"o"` // level that the axis is drawn about
	Q  number `json:"q"`
	Hi deltas `json:"hi"`
	Lo deltas `json:"lo,omitempty"`
	U  string `json:"u"` // "V" or "FS"
	// Marks are spikes inside the record: time and peak against the ripple.
	Marks [][2]number `json:"m,omitempty"`
}

// density is a spectrum in logarithms.
type density struct {
	Label string `json:"n,omitempty"`
	U     string `json:"u,omitempty"`
	F     deltas `json:"f"`
	V     deltas `json:"v"`
	// Base is the instrument's baseline.
	Base *density `json:"b,omitempty"`
}

type foldedCycle struct {
	PeriodS number `json:"p"`
	Q       number `json:"q"`
	Mean    deltas `json:"m"`
	Spread  deltas `json:"s,omitempty"`
	U       string `json:"u"`
}

type unitData struct {
	Name    string       `json:"n"`
	Wave    *wave        `json:"w,omitempty"`
	Detail  *wave        `json:"d,omitempty"`
	Spike   *wave        `json:"k,omitempty"`
	Cycle   *foldedCycle `json:"c,omitempty"`
	Spectra []density    `json:"s"`
	Lines   []lineData   `json:"l,omitempty"` // the strongest, named
	After   *density     `json:"a,omitempty"` // behind the post-filter
}

// lineData is a line's frequency, the density its peak is drawn at, and its name.
type lineData [3]any

type limitData struct {
	Name     string   `json:"n"`
	Hz       []number `json:"f"`
	VPerRtHz []number `json:"v"`
}

// pageData is the JSON block. json.Marshal escapes <, > and &, so that nothing
// in it can close the script element.
func (r *Report) pageData(share float64) ([]byte, error) {
	d := struct {
		Units  []unitData  `json:"units"`
		Limits []limitData `json:"limits"`
	}{Units: []unitData{}, Limits: []limitData{}}
	for i := range r.Units {
		d.Units = append(d.Units, r.Units[i].data(share))
	}
	for _, l := range r.Target.Limits {
		lo, hi := l.NeedLowHz, l.NeedHighHz
		if l.Criterion != target.Noise {
			lo, hi = 1e-3, 1e12
		}
		if x, y := limitCurve(l, lo, hi); len(x) > 0 {
			d.Limits = append(d.Limits, limitData{longName(l), numbers(x), numbers(y)})
		}
	}
	b, err := json.Marshal(d)
	if err != nil {
		return nil, fmt.Errorf("page data: %w", err)
	}
	return b, nil
}

func numbers(v []float64) []number {
	out := make([]number, len(v))
	for i := range v {
		out[i] = number(v[i])
	}
	return out
}

// data are a unit's curves; share shrinks them.
func (u *Unit) data(share float64) unitData {
	columns := int(share * liveColumns)
	d := unitData{Name: shorten(unitName(u.Eval.Unit), 60), Spectra: []density{}}
	if m := longest(u.Captures); m != nil {
		d.Wave = waveData(m.Waveform, m, int(share*waveColumns), false)
	}
	if m := fastest(u.Captures); m != nil {
		d.Detail = waveData(m.Detail, m, int(share*waveColumns), true)
	}
	if m := spikeOf(u.Captures); m != nil {
		d.Spike = waveData(m.Spikes.Typical, m, columns, false)
	}
	if m := cycleOf(u.Captures); m != nil {
		d.Cycle = cycleData(m, max(columns, 128))
	}
	for _, m := range spectra(u.Captures) {
		label := fmt.Sprintf("%s at %s", eng(m.DurationS, "s"), eng(m.SampleRateHz, "S/s"))
		if s := densityData(label, voltUnit(m), m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, columns); s != nil {
			s.Base = densityData("", "", m.Spectrum.FrequencyHz, m.Spectrum.BaselineVPerRtHz, columns/2)
			d.Spectra = append(d.Spectra, *s)
		}
	}
	for _, l := range pickLines(spectra(u.Captures), 0, math.Inf(1)) {
		d.Lines = append(d.Lines, lineData{number(l.hz), number(l.vrhz), lineLabel(l.name)})
	}
	if u.Filter != nil && u.Filter.Found {
		d.After = densityData(behindFilter(&u.Filter.Best), "V", u.Filter.Best.SpectrumHz, u.Filter.Best.AfterVPerRtHz, columns)
	}
	return d
}

func waveData(e analysis.Envelope, m *analysis.Measurement, columns int, marks bool) *wave {
	e = reduce(e, columns)
	lo, hi, offset := levels(e)
	q := (hi - lo) / 10000
	if !(q > 0) {
		q = 1e-9
	}
	// A power of ten keeps the steps round for the read-out.
	q = math.Pow(10, math.Floor(math.Log10(q)))
	w := &wave{T: number(e.StartS), DT: number(e.StepS), N: number(e.StepS * m.SampleRateHz), O: number(offset), Q: number(q), U: voltUnit(m)}
	w.Hi = quantised(e.MaxV, offset, q)
	same := true
	for i := range e.MinV {
		same = same && e.MinV[i] == e.MaxV[i]
	}
	if !same {
		w.Lo = quantised(e.MinV, offset, q)
	}
	end := e.StartS + e.StepS*float64(len(e.MinV))
	for _, s := range m.Spikes.List {
		if marks && s.TimeS >= e.StartS && s.TimeS+s.DurationS < end && len(w.Marks) < 200 {
			w.Marks = append(w.Marks, [2]number{number(s.TimeS), number(s.PeakV)})
		}
	}
	return w
}

func quantised(v []float64, offset, q float64) deltas {
	out := make(deltas, len(v))
	last := 0
	for i, x := range v {
		n := last // a gap holds the last value
		if finite(x) {
			n = int(math.Round((x - offset) / q))
		}
		out[i] = n - last
		last = n
	}
	return out
}

func logDeltas(v []float64) deltas {
	out := make(deltas, len(v))
	last := 0
	for i, x := range v {
		n := last
		if finite(x) && x > 0 {
			n = int(math.Round(logSteps * math.Log10(x)))
		}
		out[i] = n - last
		last = n
	}
	return out
}

func cycleData(m *analysis.Measurement, points int) *foldedCycle {
	k := &m.Cycle
	lo, hi := extent(k.MeanV)
	q := math.Pow(10, math.Floor(math.Log10(math.Max(hi-lo, 1e-12)/10000)))
	c := &foldedCycle{PeriodS: number(k.PeriodS), Q: number(q), Mean: quantised(everyNth(k.MeanV, points), 0, q), U: voltUnit(m)}
	if len(k.SpreadV) == len(k.MeanV) {
		c.Spread = quantised(everyNth(k.SpreadV, points), 0, q)
	}
	return c
}

// everyNth thins evenly spaced points to at least the given points, evenly; a cycle is smooth.
func everyNth(v []float64, points int) []float64 {
	n := len(v) / points
	if n < 2 || len(v)%n != 0 {
		return v
	}
	out := make([]float64, 0, len(v)/n)
	for i := 0; i < len(v); i += n {
		out = append(out, v[i])
	}
	return out
}

// densityData keeps the points a density can be drawn at; longer curves are
// thinned, peaks kept.
func densityData(label, unit string, hz, v []float64, columns int) *density {
	x, y := thin(hz, v, columns/2)
	var fx, fy []float64
	for i := range x {
		if finite(x[i]) && finite(y[i]) && x[i] > 0 && y[i] > 0 {
			fx, fy = append(fx, x[i]), append(fy, y[i])
		}
	}
	if len(fx) < 2 {
		return nil
	}
	return &density{Label: label, U: unit, F: logDeltas(fx), V: logDeltas(fy)}
}
