package target

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

const (
	noSource  = "common practice, no source"
	atxSource = "outside reference: the ATX12V power supply design guide allows 50 mV p-p on 5 V rails, 10 Hz to 20 MHz"
	// The public technical product specification of a server chassis (P4000S family,
	// revision 1.5, section 2.2.5.9).
	serverSource = "outside reference: a server chassis' power supply specification allows 350 mV p-p from each output to the chassis, across 100 Ω, 10 Hz to 20 MHz"
	halfSource   = "half of an outside reference, like all limits above the audio band here: a server chassis' power supply specification allows 350 mV p-p across 100 Ω, 10 Hz to 20 MHz"
	touchSource  = "0.25 mA through 100 Ω, the touch current allowed for double-insulated (class II) supplies (IEC 60950-1, table 5A, from memory); the coupling calculation alone would allow more"
	dcSource     = "from 6.6 V (5 % down still leaves 6.27 V for a 6.3 V heater) to 7.6 V (with one of two equal valves pulled, a shared dropper leaves the other at 6.91 V, just inside +10 %); heater data: ±10 % is the customary permissible error, from memory"
)

// named holds the targets. How the limits were come to:
//
// The line preamp takes a stage of gain 10 to 30 after heaters that couple
// through a few picofarads and some megohms into a cathode of about 1 kΩ. At
// 100 Hz, 1 mV through 10 MΩ into 1 kΩ is 0.1 µV at the input; 100 µV
// A-weighted, taken at 3 kHz through 5 pF (10 MΩ) gives 10 nV, far under
// the 2 to 3 µV of a triode's own noise. 20 mV p-p (20 MHz) is what a brick
// of good design does, and 30 mV spikes are what still falls below hearing
// after wiring at normal distance. These are customs of the bench, so the
// limits carry "no source". "stillglow target hears" derives limits instead.
//
// The phono preamp has 100 times the line's gain at 1 kHz and another 17 dB at
// 50 Hz (IEC 60098), so everything audible is set 10 to 14 dB tighter; what is
// beyond audio is set 6 dB tighter. The microphone preamp has the gain
// without the bass lift. The driver stage works at volts of signal.
//
// The common-mode half is told by the coupling sum: what may stand across the
// capture's 100 Ω for allowedV at the input of commonStage (TestCommonLimits
// recomputes it), audio taken at 3 kHz, mains at 100 Hz with the RIAA curve for
// phono, rounded down; no more than the touch current allows. allowedV is a third of
// a triode's own noise for the line stage, a ninth where the gain is high.
func named() []Target {
	return []Target{
		{
			Name: "line-preamp", Title: "Low-noise line preamp",
			Description: "heaters of a line stage, gain 10 to 30, indirectly heated valves",
			Limits: []Limit{
				namedDC(),
				limit(RipplePP, 20e-3, noSource),
				limit(MainsLine, 1e-3, noSource),
				limit(SpikePeak, 30e-3, noSource),
				limit(BandAudioA, 100e-6, noSource),
				limit(BandRF1, 5e-3, noSource),
				limit(Noise, 1e-6, noSource),
				limit(CommonMains, 25e-3, touchSource),
				limit(CommonAudio, 0.9e-3, commonSource(lineAllowedV, "3 kHz")),
				limit(CommonPP, 350e-3, serverSource),
			},
		},
		{
			Name: "phono-preamp", Title: "Phono preamp",
			Description: "heaters of a moving-magnet phono stage with RIAA de-emphasis",
			Limits: []Limit{
				namedDC(),
				limit(RipplePP, 10e-3, noSource),
				limit(MainsLine, 0.2e-3, noSource),
				limit(SpikePeak, 15e-3, noSource),
				limit(BandAudioA, 30e-6, noSource),
				limit(BandRF1, 2.5e-3, noSource),
				limit(Noise, 0.3e-6, noSource),
				limit(CommonMains, 2e-3, commonSource(quietAllowedV, "100 Hz")+riaaCounted),
				limit(CommonAudio, 0.5e-3, commonSource(quietAllowedV, "3 kHz")+riaaCounted),
				limit(CommonPP, 175e-3, halfSource),
			},
		},
		{
			Name: "mic-preamp", Title: "Microphone preamp",
			Description: "heaters of a microphone stage behind a step-up transformer",
			Limits: []Limit{
				namedDC(),
				limit(RipplePP, 10e-3, noSource),
				limit(MainsLine, 0.3e-3, noSource),
				limit(SpikePeak, 15e-3, noSource),
				limit(BandAudioA, 30e-6, noSource),
				limit(BandRF1, 2.5e-3, noSource),
				limit(Noise, 0.3e-6, noSource),
				limit(CommonMains, 10e-3, commonSource(quietAllowedV, "100 Hz")),
				limit(CommonAudio, 0.3e-3, commonSource(quietAllowedV, "3 kHz")),
				limit(CommonPP, 175e-3, halfSource),
			},
		},
		{
			Name: "driver-stage", Title: "Driver stage",
			Description: "heaters of a power amplifier's driver, volts of signal at the grid",
			Limits: []Limit{
				namedDC(),
				limit(RipplePP, 50e-3, atxSource),
				limit(MainsLine, 10e-3, noSource),
				limit(SpikePeak, 100e-3, noSource),
				limit(BandAudioA, 1e-3, noSource),
				limit(CommonMains, 25e-3, touchSource),
				limit(CommonAudio, 25e-3, commonSource(driverAllowedV, "3 kHz")),
				limit(CommonPP, 350e-3, serverSource),
			},
		},
	}
}

// What the common-mode half of a named target may add at the input, V rms,
// A-weighted.
const (
	lineAllowedV   = 0.3e-6
	quietAllowedV  = 0.1e-6
	driverAllowedV = 10e-6
)

// commonStage is the stage that the named common-mode limits are worked out for.
func commonStage(riaa bool) Stage {
	return Stage{CathodeOhm: 1500, Reference: CentreTap, RIAA: riaa}
}

// commonSource words where a common-mode limit in audio comes from.
func commonSource(allowedV float64, at string) string {
	return fmt.Sprintf("coupling calculation at %s: %s allowed at the input of a stage with 1.5 kΩ in the cathode, no bypass, heater tied to ground through two 100 Ω resistors (stillglow target hears)", at, VoltText(allowedV))
}

// riaaCounted follows commonSource where the stage's output is de-emphasised.
const riaaCounted = ", RIAA de-emphasis included"

// Default is the name of the target used where none is asked for.
const Default = "line-preamp"

// RailVolts is the heater rail that the named targets' DC band is for.
const RailVolts = 6.3

// namedDC is the DC band of the named targets.
func namedDC() Limit {
	l := dcBand(6.6, 7.6, dcSource)
	l.ForRailV = RailVolts
	return l
}

// ForRail gives the target for a heater rail of other volts: the DC band of a
// named target goes with the rail (13.2 to 15.2 V for 12.6 V), one written out
// stays. volts of 0 leave the target as it is.
func (t Target) ForRail(volts float64) Target {
	if !(volts > 0) || math.Abs(volts/RailVolts-1) < sameRail {
		return t
	}
	limits := make([]Limit, len(t.Limits))
	for i, l := range t.Limits {
		if l.ForRailV > 0 {
			l = dcBand(l.Min*volts/l.ForRailV, l.Max*volts/l.ForRailV,
				fmt.Sprintf("in proportion for a %.4g V rail; for 6.3 V: %s", volts, dcSource))
			l.ForRailV = volts
		}
		limits[i] = l
	}
	t.Limits = limits
	return t
}

// DirectFrom is a named target for heaters that the supply suits without a dropper: its DC
// band reaches down to volts, since it left room only for one. A band that is written out
// for one unit stays.
func (t Target) DirectFrom(volts float64) Target {
	limits := slices.Clone(t.Limits)
	for i, l := range limits {
		if l.Criterion == HeaterDC && l.ForRailV > 0 && volts < l.Min {
			limits[i].Min, limits[i].Direct = volts, true
			limits[i].Source = "down to this the heaters stay inside their own limits in every worst case, connected directly; else " + l.Source
		}
	}
	t.Limits = limits
	return t
}

// WithVolts is the target with the DC limit that an evaluation was held against.
func (t Target) WithVolts(e Evaluation) Target {
	limits := slices.Clone(t.Limits)
	for _, m := range e.Margins {
		for i, l := range limits {
			if l.Criterion == HeaterDC && m.Limit.Criterion == HeaterDC {
				limits[i] = m.Limit
			}
		}
	}
	t.Limits = limits
	return t
}

// Names lists the named targets.
func Names() []string {
	var names []string
	for _, t := range named() {
		names = append(names, t.Name)
	}
	return names
}

// Named gives the target of that name; "" is the default. An unknown name is
// an error that tells the nearest.
func Named(name string) (Target, error) {
	if name == "" {
		name = Default
	}
	for _, t := range named() {
		if t.Name == name {
			return t, nil
		}
	}
	return Target{}, fmt.Errorf("unknown target %q%s; the named ones are %s", name, nearestWords(name, Names()), strings.Join(Names(), ", "))
}

// nearestWords is ", nearest is ..." where a candidate is near enough to be meant.
func nearestWords(word string, candidates []string) string {
	if n := nearest(word, candidates); n != "" {
		return fmt.Sprintf(", nearest is %q", n)
	}
	return ""
}

// nearest is the candidate with the least edit distance, "" where more than half
// of the word would have to change; a candidate that holds the word counts as near.
func nearest(word string, candidates []string) string {
	best, bestD := "", math.MaxInt
	for _, c := range candidates {
		d := 2 * levenshtein.ComputeDistance(strings.ToLower(word), c)
		if word != "" && strings.Contains(c, strings.ToLower(word)) {
			d = 1
		}
		if d < bestD {
			best, bestD = c, d
		}
	}
	if bestD > max(4, len(word)) { // bestD is twice the distance
		return ""
	}
	return best
}

// Custom makes a target of limits written out, over those of base (nil: none).
// limits maps a criterion's key to its upper limit in the criterion's unit;
// a limit of 0 takes the criterion out of base. mask, when not empty, is a
// list of hertz and V/√Hz, by rising frequency; the mains line counts in it only
// where it has no limit of its own. heaterDC is the lower and the
// upper DC limit in volts, both 0: as in base.
func Custom(limits map[string]float64, mask [][2]float64, heaterDC [2]float64, base *Target) (Target, error) {
	t := Target{Name: "own limits", Title: "Limits given in the sheet"}
	if base != nil {
		t = *base
		if len(limits) > 0 || len(mask) > 0 || heaterDC != [2]float64{} {
			t.Name += " with own limits"
			t.Title += ", with limits of its own"
		}
	}
	set := map[Criterion]Limit{}
	for _, l := range t.Limits {
		set[l.Criterion] = l
	}
	for _, k := range slices.Sorted(maps.Keys(limits)) {
		l, err := writtenLimit(k, limits[k])
		switch {
		case err != nil:
			return Target{}, err
		case l.Max == 0:
			delete(set, l.Criterion)
		default:
			set[l.Criterion] = l
		}
	}
	if heaterDC != [2]float64{} {
		if !(heaterDC[0] > 0 && heaterDC[1] > heaterDC[0]) || math.IsInf(heaterDC[1], 0) {
			return Target{}, fmt.Errorf("limit %s is %g to %g V, expected a positive lower and a greater upper voltage", HeaterDC, heaterDC[0], heaterDC[1])
		}
		set[HeaterDC] = dcBand(heaterDC[0], heaterDC[1], writtenSource)
	}
	if len(mask) > 0 {
		points, err := maskPoints(mask)
		if err != nil {
			return Target{}, err
		}
		l := maskLimit(points, writtenSource)
		l.Basis = WrittenOut
		_, l.LessMains = set[MainsLine]
		set[Mask] = l
	}
	t.Limits = nil
	for _, id := range Criteria() {
		if l, ok := set[id]; ok {
			t.Limits = append(t.Limits, l)
		}
	}
	if len(t.Limits) == 0 {
		return Target{}, fmt.Errorf("the target has no limits, expected at least one; name a target (%s) or write limits out", strings.Join(Names(), ", "))
	}
	return t, nil
}

const writtenSource = "given in the sheet"

// writtenLimit is the upper limit v, in the criterion's unit, of the criterion
// with the key; 0 leaves the criterion out.
func writtenLimit(key string, v float64) (Limit, error) {
	c, ok := lookup(Criterion(key))
	if !ok || c.id == Mask {
		return Limit{}, fmt.Errorf("unknown limit %q%s; stillglow target line-preamp lists the keys", key, nearestWords(key, keyStrings()))
	}
	if c.id == HeaterDC {
		return Limit{}, fmt.Errorf("limit %q is a band, expected a lower and an upper voltage", key)
	}
	if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return Limit{}, fmt.Errorf("limit %s is %g, expected a positive number of %s (0 leaves the criterion out)", key, v, c.unit)
	}
	l := limit(c.id, v, writtenSource)
	l.Basis = WrittenOut
	return l, nil
}

func maskPoints(mask [][2]float64) ([]MaskPoint, error) {
	if len(mask) < 2 {
		return nil, fmt.Errorf("the mask has %d point, expected two or more", len(mask))
	}
	points := make([]MaskPoint, len(mask))
	for i, p := range mask {
		if !(p[0] > 0) || !(p[1] > 0) || math.IsInf(p[0], 0) || math.IsInf(p[1], 0) {
			return nil, fmt.Errorf("point %d of the mask is [%g, %g], expected positive hertz and V/√Hz", i+1, p[0], p[1])
		}
		if i > 0 && p[0] <= mask[i-1][0] {
			return nil, fmt.Errorf("point %d of the mask is at %g Hz, expected more than the %g Hz before it", i+1, p[0], mask[i-1][0])
		}
		points[i] = MaskPoint{Hz: p[0], VPerRtHz: p[1]}
	}
	return points, nil
}

func keyStrings() []string {
	var s []string
	for _, id := range Criteria() {
		if id != Mask {
			s = append(s, string(id))
		}
	}
	return s
}
