package main

import (
	"fmt"
	"math"
	"strings"

	"stillglow/analysis"
	"stillglow/analysis/heater"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// What a capture must be to hold a frequency: four periods of the lowest in the
// record, and the highest at most 0.4 of the sample rate. The importer gives a
// trace its span by the same two numbers.
const (
	periodsInRecord = 4
	periodsOfNoise  = 8 // a density needs more: lines of four periods are too few for a third octave's median
	shareOfRate     = 0.4
	divisions       = 10  // across the screen
	longerThanNeed  = 25  // a fast record this many times the least is long enough
	slowRecords     = 6   // a slow one
	slowRecordS     = 0.5 // but no longer: a higher rate, which keeps aliases out of the audio band, is worth more
	longestDivS     = 10.0
	fastFromHz      = 1e6
	pulseRateHz     = 200e6 // four samples in a 20 ns pulse
)

// scopeLimits are the instrument's: samples it keeps in one record, and the
// most samples per second.
type scopeLimits struct {
	Memory  int
	MaxRate float64
	Holds   []target.Limit // whose ripple and spikes every range must hold; nil: those of the capture
}

func (s scopeLimits) withDefaults() scopeLimits {
	if s.Memory <= 0 {
		s.Memory = 1000000
	}
	if s.MaxRate <= 0 {
		s.MaxRate = 500e6
	}
	return s
}

// captureSetting is one capture to take: a time per division that shows all its criteria.
type captureSetting struct {
	Criteria      []target.Limit
	Fast          bool // the switching cycle and above
	Mode          capture.Mode
	NeedS         float64 // least record
	NeedHz        float64 // least sample rate
	DivS          float64 // time per division to set, 0: the memory can't hold it
	LeastS, MostS float64 // what works, per division
	RateHz        float64 // sample rate that DivS gives
	Samples       int     // in the record, at most the memory
	VoltsPerDiv   float64 // to begin with, which holds a unit just inside the limits; 0: not told
	WhyNot        string  // when DivS is 0
}

// planSettings groups the criteria into as few captures as the memory allows: of each
// mode the fast ones together and the slow ones together, since one vertical range
// can't suit both. DC needs no capture.
func planSettings(limits []target.Limit, scope scopeLimits) []captureSetting {
	scope = scope.withDefaults()
	var settings []captureSetting
	for _, kind := range []struct {
		fast bool
		mode capture.Mode
	}{{true, capture.Differential}, {false, capture.Differential}, {true, capture.Common}, {false, capture.Common}} {
		for _, l := range limits {
			if l.NeedHighHz <= 0 || (l.NeedHighHz >= fastFromHz) != kind.fast || l.Criterion.Mode() != kind.mode {
				continue
			}
			periods := float64(periodsInRecord)
			if l.Unit == "V/√Hz" {
				periods = periodsOfNoise
			}
			one := captureSetting{Criteria: []target.Limit{l}, Fast: kind.fast, Mode: kind.mode,
				NeedS: periods / l.NeedLowHz, NeedHz: l.NeedHighHz / shareOfRate}
			merged := false
			for i := range settings {
				both := settings[i]
				if both.Fast != kind.fast || both.Mode != kind.mode {
					continue
				}
				both.Criteria = append(append([]target.Limit{}, both.Criteria...), l)
				both.NeedS, both.NeedHz = math.Max(both.NeedS, one.NeedS), math.Max(both.NeedHz, one.NeedHz)
				if both.steps(scope); both.LeastS <= both.MostS && both.NeedHz <= scope.MaxRate {
					settings[i], merged = both, true
					break
				}
			}
			if !merged {
				settings = append(settings, one)
			}
		}
	}
	for i := range settings {
		settings[i].settle(scope)
	}
	return settings
}

// steps finds the shortest and the longest time per division that do, on the
// 1-2-5 scale.
func (s *captureSetting) steps(scope scopeLimits) {
	s.LeastS = ceil125(s.NeedS / divisions)
	s.MostS = math.Min(longestDivS, floor125(float64(scope.Memory)/s.NeedHz/divisions))
}

// settle picks the time per division.
func (s *captureSetting) settle(scope scopeLimits) {
	memory := float64(scope.Memory)
	s.VoltsPerDiv = firstRange(append(append([]target.Limit{}, s.Criteria...), scope.Holds...), s.Mode)
	if s.NeedHz > scope.MaxRate {
		s.WhyNot = fmt.Sprintf("needs %s, the scope samples at %s at most", rateText(s.NeedHz), rateText(scope.MaxRate))
		return
	}
	s.steps(scope)
	if s.LeastS > s.MostS {
		s.WhyNot = fmt.Sprintf("needs %s in one record (%s at %s), the memory holds %s",
			samplesText(divisions*s.LeastS*s.NeedHz), secondsText(divisions*s.LeastS), rateText(s.NeedHz), samplesText(memory))
		return
	}
	record, rate := math.Min(slowRecords*s.NeedS, math.Max(slowRecordS, s.NeedS)), analysis.CleanRateHz
	if s.Fast {
		record, rate = longerThanNeed*s.NeedS, pulseRateHz
	}
	s.DivS = math.Min(s.MostS, ceil125(record/divisions))
	// Short pulses and clean audio want a high rate more than a long record.
	for s.DivS > s.LeastS*1.01 && memory/(divisions*s.DivS) < math.Min(rate, scope.MaxRate) {
		s.DivS = floor125(s.DivS * 0.99)
	}
	record = divisions * s.DivS
	s.RateHz = math.Min(memory/record, scope.MaxRate)
	s.Samples = int(math.Min(memory, math.Round(s.RateHz*record)))
}

// firstRange is a range to begin with: one and a half times the greatest
// peak-to-peak limit over six divisions. The slow capture sees the fast ripple
// and the spikes too: a range for its own small limits would cut them off.
func firstRange(limits []target.Limit, mode capture.Mode) float64 {
	var pp float64
	for _, l := range limits {
		if l.Criterion.Mode() != mode {
			continue
		}
		if l.Unit != "V" || l.NeedHighHz <= 0 { // DC takes no range of an AC-coupled channel
			continue
		}
		v := l.Max
		switch l.Criterion {
		case target.RipplePP, target.FoldedRipple, target.CommonPP:
		case target.SpikePeak:
			v *= 2
		default:
			v *= 2 * math.Sqrt2
		}
		pp = math.Max(pp, v)
	}
	if pp == 0 {
		return 0
	}
	return ceil125(1.5 * pp / 6)
}

// names lists the criteria in words.
func (s captureSetting) names() string {
	names := make([]string, len(s.Criteria))
	for i, l := range s.Criteria {
		names[i] = l.Name
	}
	return strings.Join(names, "; ")
}

// across says what a capture is made across, for the common-mode ones.
func (s captureSetting) across() string {
	if s.Mode == capture.Common {
		return "common mode, both wires together through 100 Ω to chassis or earth: "
	}
	return ""
}

// settings tells what to set on the scope, in one line.
func (s captureSetting) settings() string {
	if s.DivS == 0 {
		return s.WhyNot
	}
	limit := "high-resolution mode" + s.orLowPass()
	if s.Fast {
		limit = "bandwidth limit off"
	}
	return fmt.Sprintf("%s/div, AC coupling, %s (%s, %s at %s)", secondsText(s.DivS), limit,
		secondsText(divisions*s.DivS), samplesText(float64(s.Samples)), rateText(s.RateHz))
}

// The RC low-pass ahead of a scope without a high-resolution mode: R, the corner
// over the highest frequency wanted, and the least rate over the corner at which
// one pole is enough against aliases.
const (
	lowPassOhm    = 1000.0
	cornerOverTop = 2.4
	rateOverPole  = 10.0
)

// lowPass is the RC's capacitor, of E6, and its corner.
func (s captureSetting) lowPass() (farads, cornerHz float64) {
	most := 1 / (2 * math.Pi * lowPassOhm * cornerOverTop * s.NeedHz * shareOfRate)
	decade := math.Pow(10, math.Floor(math.Log10(most)))
	e6, _ := heater.ESeries("E6") // a name that it knows
	for _, m := range e6 {
		if m/10*decade <= most*1.01 {
			farads = m / 10 * decade
		}
	}
	return farads, 1 / (2 * math.Pi * lowPassOhm * farads)
}

// orLowPass words the low-pass, where the rate lets one pole do. A 20 MHz limit
// stops no alias of a slow capture.
func (s captureSetting) orLowPass() string {
	farads, corner := s.lowPass()
	if s.RateHz < rateOverPole*corner {
		return ""
	}
	top := s.NeedHz * shareOfRate / corner
	return fmt.Sprintf(", or an RC low-pass of 1 kΩ and %s at the scope's 1 MΩ input (-3 dB at %s, %.1f dB down at %s; bandwidth_hz = %.0fe3 in the capture's entry)",
		capture.SI(farads, "F", 2), capture.SI(corner, "Hz", 2), 10*math.Log10(1+top*top), target.HzText(s.NeedHz*shareOfRate), corner/1e3)
}

// floor125 and ceil125 are the neighbours of v on a scope's 1-2-5 scale.
func floor125(v float64) float64 { return step125(v, false) }
func ceil125(v float64) float64  { return step125(v, true) }

func step125(v float64, up bool) float64 {
	const slack = 1e-9
	e := math.Floor(math.Log10(v) + slack)
	below := math.NaN()
	for _, m := range [...]float64{1, 2, 5, 10} {
		x := m * math.Pow(10, e)
		if up && x >= v*(1-slack) {
			return x
		}
		if !up && x <= v*(1+slack) {
			below = x
		}
	}
	return below
}

func secondsText(s float64) string { return capture.SI(s, "s", 3) }

func rateText(hz float64) string { return capture.SI(hz, "S/s", 3) }

// samplesText: "10 k samples", "500 samples".
func samplesText(n float64) string { return capture.SI(n, "", 3) + " samples" }

// parseSamples reads 10k, 1M, 14M or 1000000.
func parseSamples(text string) (int, error) {
	v, err := capture.ParseHertz(strings.TrimSuffix(strings.TrimSpace(text), "S"))
	if err != nil || v < 100 || v > 1e10 {
		return 0, fmt.Errorf("found %q, expected samples such as 10k, 1M or 14M", text)
	}
	return int(v), nil
}
