package target

import (
	"fmt"
	"math"
	"sort"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
)

// The audio band that hearing is summed over, in hertz, and how finely.
const (
	hearLowHz     = 20.0
	hearHighHz    = 20e3
	hearPerOctave = 12
)

// weight is what the ear makes of a volt at the input, as a ratio: A-weighting,
// and the RIAA curve where the stage has one.
func (s Stage) weight(hz float64) float64 {
	w := spectrum.AWeight(hz)
	if s.RIAA {
		w *= math.Pow(10, RIAADB(hz)/20)
	}
	return w
}

// cell is one slice of the audio band.
type cell struct{ low, mid, high float64 }

func hearCells() []cell {
	n := int(math.Ceil(hearPerOctave * math.Log2(hearHighHz/hearLowHz)))
	cells := make([]cell, n)
	step := math.Pow(hearHighHz/hearLowHz, 1/float64(n))
	for i := range cells {
		lo := hearLowHz * math.Pow(step, float64(i))
		cells[i] = cell{lo, lo * math.Sqrt(step), lo * step}
	}
	return cells
}

// Hear computes what a supply adds at the valve's input through its heater,
// A-weighted, and how far that lies under the noise of the valve and its
// cathode resistor. Each part of the audio band comes from the fittest capture
// that covers it; where a part is not covered, Missing says so and the sum is
// a lower bound, and with nothing covered Known is false.
func Hear(stage Stage, captures ...*analysis.Measurement) Heard {
	h := Heard{CannotDecide: cannotDecide, Assumptions: append(stage.assumptions(),
		"what the instrument itself adds to a capture counts as the supply's")}
	if err := stage.Check(); err != nil {
		h.Missing = err.Error()
		return h
	}
	s := stage.withDefaults()
	audio, _ := lookup(BandAudioA)
	fit := append([]*analysis.Measurement(nil), captures...)
	sort.SliceStable(fit, func(i, j int) bool {
		qi, qj := quality(Unit{}, audio, fit[i]), quality(Unit{}, audio, fit[j])
		if qi != qj {
			return qi < qj
		}
		return audioOctaves(fit[i]) > audioOctaves(fit[j])
	})
	var heard, own float64
	missLow, missHigh := 0.0, 0.0
	for _, c := range hearCells() {
		w := s.weight(c.mid)
		k := s.Coupling(c.mid)
		h.FrequencyHz = append(h.FrequencyHz, c.mid)
		h.CouplingDB = append(h.CouplingDB, 20*math.Log10(k))
		t := s.thermal(c.mid) * w
		own += t * t * (c.high - c.low)
		p, ok := 0.0, false
		for _, m := range fit {
			if m.Calibrated && m.Span.LowHz > 0 && m.Span.LowHz <= c.mid && m.Span.HighHz >= c.mid {
				if p, ok = meanPower(m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, c.low, c.high); ok {
					break
				}
			}
		}
		if !ok {
			if missLow == 0 {
				missLow = c.low
			}
			missHigh = c.high
			continue
		}
		h.Known = true
		heard += p * k * k * w * w * (c.high - c.low)
	}
	h.ThermalAVRMS = math.Sqrt(own)
	switch {
	case !h.Known:
		h.Missing = "no capture covers the audio band; needs " + audioCapture
		return h
	case missLow > 0:
		h.Missing = fmt.Sprintf("%s not covered by any capture: the sum is a lower bound", spanText(missLow, missHigh))
	}
	h.InputAVRMS = math.Sqrt(heard)
	h.OutputAVRMS = h.InputAVRMS * s.GainBefore * s.GainAfter
	h.UnderDB = MarginDB(h.ThermalAVRMS, h.InputAVRMS)
	return h
}

func audioOctaves(m *analysis.Measurement) float64 {
	lo, hi := math.Max(m.Span.LowHz, hearLowHz), math.Min(m.Span.HighHz, hearHighHz)
	if m.Span.LowHz <= 0 || hi <= lo {
		return 0
	}
	return math.Round(4*math.Log2(hi/lo)) / 4
}

// DeriveTarget turns an allowed input-referred noise, A-weighted volts rms,
// into limits on the heater. Half of its power goes to the mains line and half
// to a density mask from 20 Hz to 20 kHz under which each fraction of an octave
// adds the same to what is heard. What the model can't decide keeps the limits
// of the nearest named target.
func DeriveTarget(stage Stage, allowedInputV float64) (Target, error) {
	if err := stage.Check(); err != nil {
		return Target{}, err
	}
	if !(allowedInputV > 0) || math.IsInf(allowedInputV, 0) {
		return Target{}, fmt.Errorf("allowed input noise is %g V, expected a positive number", allowedInputV)
	}
	base := Default
	if stage.RIAA {
		base = "phono-preamp"
	}
	t, err := Named(base)
	if err != nil {
		return Target{}, err
	}
	s := stage.withDefaults()
	source := fmt.Sprintf("derived: %s A-weighted allowed at the input, see the assumptions", VoltText(allowedInputV))
	share := allowedInputV / math.Sqrt2
	mains := math.Inf(1)
	for _, hz := range []float64{100, 120} {
		mains = math.Min(mains, share/(s.Coupling(hz)*s.weight(hz)))
	}
	// Equal parts per octave: S(f)·|K·W|²·f is constant, and its integral over
	// the band is that constant times ln(high/low).
	span := math.Log(hearHighHz / hearLowHz)
	var points []MaskPoint
	corners := append([]float64{hearLowHz}, maskBands(hearLowHz, hearHighHz)...)
	corners[len(corners)-1] = hearHighHz
	for _, hz := range corners {
		points = append(points, MaskPoint{Hz: hz, VRHz: share / math.Sqrt(span*hz) / (s.Coupling(hz) * s.weight(hz))})
	}
	kept := map[Criterion]bool{HeaterDC: true, RipplePP: true, SpikePeak: true, BandRF1: true}
	var limits []Limit
	for _, l := range t.Limits {
		switch {
		case kept[l.Criterion]:
			limits = append(limits, l)
		case l.Criterion == MainsLine:
			limits = append(limits, limit(MainsLine, mains, source))
		}
	}
	mask := maskLimit(points, source)
	mask.LessMains = true
	return Target{
		Name:        "derived",
		Title:       "What the valve hears",
		Description: fmt.Sprintf("derived from the stage; beyond audio as %s", base),
		Limits:      append(limits, mask),
		Assumptions: append(stage.assumptions(),
			"half of the allowed power goes to the mains ripple at twice the mains frequency, half to the mask",
			cannotDecide),
	}, nil
}
