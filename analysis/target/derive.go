package target

import (
	"fmt"
	"math"

	"stillglow/analysis/spectrum"
)

// commonAudioHz is where the coupling of the common-mode audio limit is taken: the
// A-weighting is highest there.
const commonAudioHz = 3e3

// DeriveTarget turns an allowed input-referred noise, A-weighted volts rms,
// into limits on the heater. A quarter of its power goes to the mains line across
// the heater, to a density mask from 20 Hz to 20 kHz under which each fraction of an
// octave adds the same to what is heard, and to mains and audio of the common-mode
// half each. What the model can't decide keeps the limits of the nearest named
// target. Where the sum would allow more than any named target does, the loosest of
// those stands: what the model leaves out decides there.
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
	d := derivation{Stage: stage.withDefaults(), shareV: allowedInputV / 2,
		source: fmt.Sprintf("derived: %s A-weighted allowed at the input, see the assumptions", VoltText(allowedInputV))}
	limits := d.limits(t)
	mask := d.mask()
	return Target{
		Name:        "derived",
		Title:       "What the valve hears",
		Description: fmt.Sprintf("derived from the stage; above the audio band the limits of %s", base),
		Limits:      append(limits, mask),
		Assumptions: append(stage.assumptions(),
			"the allowed noise power is shared in quarters: mains ripple at twice the mains frequency and the density mask, across the heater; mains and audio, in common mode",
			fmt.Sprintf("no limit is looser than the loosest of the named targets (mains ripple %s, audio %s across the heater): above that, what the calculation leaves out matters more: wiring, magnetic fields, bad joints that act as rectifiers", VoltText(loosest(MainsLine)), VoltText(loosest(BandAudioA))),
			cannotDecide),
	}, nil
}

// derivation is a stage with the volts that each limit may add at its input.
type derivation struct {
	Stage
	shareV float64
	source string
}

// limits are those of a named target, with what the stage decides in place of its
// own.
func (d derivation) limits(named Target) []Limit {
	kept := map[Criterion]bool{HeaterDC: true, RipplePP: true, SpikePeak: true, BandRF1: true, CommonPP: true}
	allowed := map[Criterion]float64{
		MainsLine:   math.Min(d.allows(d.Coupling, 100), d.allows(d.Coupling, 120)),
		CommonMains: math.Min(d.allows(d.commonCoupling, 100), d.allows(d.commonCoupling, 120)),
		CommonAudio: d.allows(d.commonCoupling, commonAudioHz) * spectrum.AWeight(commonAudioHz),
	}
	var limits []Limit
	for _, l := range named.Limits {
		if kept[l.Criterion] {
			limits = append(limits, l)
		} else if v, ok := allowed[l.Criterion]; ok {
			got := limit(l.Criterion, math.Min(v, loosest(l.Criterion)), d.source)
			if got.Max < v {
				got.Source += fmt.Sprintf("; capped here: the calculation alone would allow %s", VoltText(v))
			}
			got.Basis = Derived
			limits = append(limits, got)
		}
	}
	return limits
}

// allows is what a coupling lets stand at hz, volts rms.
func (d derivation) allows(coupling func(hz float64) float64, hz float64) float64 {
	return d.shareV / (coupling(hz) * d.weight(hz))
}

// mask has equal parts per octave: S(f)·|K·W|²·f is constant, and its integral over
// the band is that constant times ln(high/low). The loosest named audio limit,
// spread the same way, bounds it.
func (d derivation) mask() Limit {
	span := math.Log(hearHighHz / hearLowHz)
	var points []MaskPoint
	corners := append([]float64{hearLowHz}, maskBands(hearLowHz, hearHighHz)...)
	corners[len(corners)-1] = hearHighHz
	for _, hz := range corners {
		v := math.Min(d.allows(d.Coupling, hz), loosest(BandAudioA)/spectrum.AWeight(hz))
		points = append(points, MaskPoint{Hz: hz, VPerRtHz: v / math.Sqrt(span*hz)})
	}
	mask := maskLimit(points, d.source)
	mask.LessMains, mask.Basis = true, Derived
	return mask
}

// loosest is the greatest limit of the named targets on a criterion, 0 where none
// has one.
func loosest(id Criterion) float64 {
	most := 0.0
	for _, t := range named() {
		for _, l := range t.Limits {
			if l.Criterion == id {
				most = math.Max(most, l.Max)
			}
		}
	}
	return most
}
