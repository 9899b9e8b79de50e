package target

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/spectrum"
	"stillglow/capture"
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
		w *= math.Pow(10, riaaDB(hz)/20)
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

// HeardBy is the sum with the heater tied to ground in one way.
type HeardBy struct {
	Reference         Reference // how the heater is tied
	DifferentialAVRMS float64   // by the volts across the heater, V rms at the input
	CommonAVRMS       float64   // by those of both wires together; 0 where not captured
	InputAVRMS        float64   // both, their powers added
	UnderDB           float64   // how far that lies under the valve's own noise, within ±MarginCapDB
}

// half is what captures of one mode add, cell by cell of the audio band.
type half struct {
	known             bool
	power             []float64 // V² in each cell at the capture's terminals; 0 where not covered
	missLow, missHigh float64   // what no capture covers; missLow 0: nothing
}

// halfOf takes each cell from the fittest capture that covers it.
func halfOf(fit []*analysis.Measurement, cells []cell) half {
	h := half{power: make([]float64, len(cells))}
	for i, c := range cells {
		p, ok := 0.0, false
		for _, m := range fit {
			if m.Calibrated && m.Span.LowHz > 0 && m.Span.LowHz <= c.mid && m.Span.HighHz >= c.mid {
				if p, ok = meanPower(m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz, c.low, c.high); ok {
					break
				}
			}
		}
		if !ok {
			if h.missLow == 0 {
				h.missLow = c.low
			}
			h.missHigh = c.high
			continue
		}
		h.known = true
		h.power[i] = p * (c.high - c.low)
	}
	return h
}

// through is the half's sum at the input, V rms, with a coupling.
func (h half) through(cells []cell, coupling func(hz float64) float64, weight func(hz float64) float64) float64 {
	var sum float64
	for i, c := range cells {
		k := coupling(c.mid) * weight(c.mid)
		sum += h.power[i] * k * k
	}
	return math.Sqrt(sum)
}

// fittest are a unit's captures of one mode, the best for hearing first.
func fittest(captures []*analysis.Measurement, mode capture.Mode) []*analysis.Measurement {
	id := BandAudioA
	if mode == capture.Common {
		id = CommonAudio
	}
	audio, _ := lookup(id)
	fit := Unit{Captures: captures}.ofMode(mode).Captures
	slices.SortStableFunc(fit, func(a, b *analysis.Measurement) int {
		return cmp.Or(cmp.Compare(quality(Unit{}, audio, a), quality(Unit{}, audio, b)), cmp.Compare(audioOctaves(b), audioOctaves(a)))
	})
	return fit
}

// Hear computes what a supply adds at the valve's input through its heater,
// A-weighted, and how far that lies under the noise of the valve and its
// cathode resistor: by the volts across the heater and by those of both its wires
// together, each from captures of its mode, their powers added. Each part of the
// audio band comes from the fittest capture that covers it; where a part is not
// covered, or a half is, Missing says so and the sum is a lower bound, and with
// nothing covered Known is false.
func Hear(stage Stage, captures ...*analysis.Measurement) Heard {
	h := Heard{CannotDecide: cannotDecide, Assumptions: append(stage.assumptions(),
		"the instrument's own noise in a capture counts as the supply's")}
	if err := stage.Check(); err != nil {
		h.Missing = err.Error()
		return h
	}
	s := stage.withDefaults()
	cells := hearCells()
	var own float64
	for _, c := range cells {
		h.FrequencyHz = append(h.FrequencyHz, c.mid)
		h.CouplingDB = append(h.CouplingDB, CouplingDB(s, c.mid))
		h.CommonCouplingDB = append(h.CommonCouplingDB, CommonCouplingDB(s, c.mid))
		t := s.thermal(c.mid) * s.weight(c.mid)
		own += t * t * (c.high - c.low)
	}
	h.ThermalAVRMS = math.Sqrt(own)
	across, both := halfOf(fittest(captures, capture.Differential), cells), halfOf(fittest(captures, capture.Common), cells)
	h.Known, h.DifferentialKnown, h.CommonKnown = across.known || both.known, across.known, both.known
	h.DifferentialWhole, h.CommonWhole = across.whole(), both.whole()
	if !h.Known {
		h.Missing = "no capture covers the audio band; needs " + audioCapture + ", and " + commonAudio
		return h
	}
	h.Missing = missingWords(across, both)
	for _, ref := range References() {
		h.ByReference = append(h.ByReference, heardBy(s.TiedAt(ref), across, both, cells, h.ThermalAVRMS))
	}
	is := heardBy(s, across, both, cells, h.ThermalAVRMS)
	h.Reference, h.DifferentialAVRMS, h.CommonAVRMS = s.Reference, is.DifferentialAVRMS, is.CommonAVRMS
	h.InputAVRMS, h.UnderDB = is.InputAVRMS, is.UnderDB
	h.OutputAVRMS = h.InputAVRMS * s.GainBefore * s.GainAfter
	return h
}

// whole reports whether all of the audio band is covered.
func (h half) whole() bool { return h.known && h.missLow == 0 }

// TiedAt is the stage with its heater tied to ground in another way, by the usual
// values; its own way keeps its own.
func (s Stage) TiedAt(ref Reference) Stage {
	if s.Reference != ref {
		s.Reference, s.ReferenceOhm, s.ReferenceF = ref, 0, 0
	}
	return s
}

// heardBy sums both halves for a stage with its defaults filled in.
func heardBy(s Stage, across, both half, cells []cell, ownV float64) HeardBy {
	out := HeardBy{Reference: s.Reference,
		DifferentialAVRMS: across.through(cells, s.Coupling, s.weight),
		CommonAVRMS:       both.through(cells, s.commonCoupling, s.weight)}
	out.InputAVRMS = math.Hypot(out.DifferentialAVRMS, out.CommonAVRMS)
	out.UnderDB = MarginDB(ownV, out.InputAVRMS)
	return out
}

// missingWords says which part of the sum is missing, "" none.
func missingWords(across, both half) string {
	var parts []string
	for _, p := range []struct {
		h     half
		words string
		needs string
	}{{across, "the volts across the heater", audioCapture}, {both, "common mode", commonAudio}} {
		switch {
		case !p.h.known:
			parts = append(parts, p.words+" not captured, needs "+p.needs)
		case p.h.missLow > 0:
			parts = append(parts, fmt.Sprintf("%s: %s not covered by any capture", p.words, spanText(p.h.missLow, p.h.missHigh)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, "; ") + ": the total is a lower bound"
}

// UnderText is how far a supply is under the valve's own noise: "17.2 dB under",
// "60 dB or more under", "3.0 dB over".
func UnderText(underDB float64) string {
	side := "under"
	if underDB < 0 {
		side, underDB = "over", -underDB
	}
	if underDB >= MarginCapDB {
		return fmt.Sprintf("%.0f dB or more %s", MarginCapDB, side)
	}
	return fmt.Sprintf("%.1f dB %s", underDB, side)
}

func audioOctaves(m *analysis.Measurement) float64 {
	lo, hi := math.Max(m.Span.LowHz, hearLowHz), math.Min(m.Span.HighHz, hearHighHz)
	if m.Span.LowHz <= 0 || hi <= lo {
		return 0
	}
	return math.Round(4*math.Log2(hi/lo)) / 4
}
