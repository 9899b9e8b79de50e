package capture

import (
	"fmt"
	"slices"
	"strings"
)

// instrument takes coupling, bandwidth and probe factor from the preamble.
func (im *importer) instrument() {
	t := im.t
	im.coupling()
	for _, m := range im.bandwidths() {
		im.bandwidth(m)
	}
	if m, ok := im.meta(metaProbe); ok {
		if f, ok := probeFactor(m); ok {
			how := "the file's volts are taken as already at the probe tip"
			t.assume("probe factor", fmt.Sprintf("%g", f), stated(m)+"; "+how)
			if im.opt.ProbeFactor > 1 && f == im.opt.ProbeFactor {
				t.caution(CautionProbeFactor, fmt.Sprintf("the file states a probe factor of %g itself, and another %g was given: the volts may be %g times too high", f, f, f), "leave the probe factor out unless the meter says otherwise")
			}
		}
	}
	if m, ok := im.meta(metaStep); ok && m.ok && t.StepV == 0 && m.unit.kind == unitVolt && m.num > 0 {
		t.StepV = m.num
		t.assume("ADC step", SI(m.num, "V", 6), stated(m))
	}
}

// coupling takes the stated coupling, unless one is given.
func (im *importer) coupling() {
	t := im.t
	m, ok := im.meta(metaCoupling)
	if !ok || im.opt.Coupling != CouplingUnknown {
		return
	}
	switch s := strings.ToUpper(strings.TrimSpace(m.text)); {
	case strings.HasPrefix(s, "AC"), s == "A1M", strings.Contains(s, "AC") && !strings.Contains(s, "DC"):
		t.Coupling = CouplingAC
	case strings.HasPrefix(s, "DC"), s == "D1M", s == "D50", strings.Contains(s, "DC") && !strings.Contains(s, "AC"):
		t.Coupling = CouplingDC
	}
	if t.Coupling == CouplingUnknown {
		t.assume(SettingCoupling, "unknown", fmt.Sprintf("%q in line %d is neither AC nor DC", m.text, m.line))
		return
	}
	t.assume(SettingCoupling, strings.ToUpper(string(t.Coupling)), stated(m))
}

func (im *importer) bandwidths() []metaValue {
	// Both "bandwidth" and "bandwidth limit" may be stated.
	seen := map[string]bool{}
	var out []metaValue
	for _, m := range im.pre.values[metaBandwidth] {
		k, _ := normKey(m.key)
		if seen[k] {
			continue
		}
		seen[k] = true
		one := &preamble{values: map[metaKey][]metaValue{}}
		for _, v := range im.pre.values[metaBandwidth] {
			if vk, _ := normKey(v.key); vk == k || v.channel != "" {
				one.values[metaBandwidth] = append(one.values[metaBandwidth], v)
			}
		}
		if v, ok := one.get(metaBandwidth, im.sc.spot(im.ch)); ok {
			out = append(out, v)
		}
	}
	slices.SortStableFunc(out, func(a, b metaValue) int { return falseFirst(limitKey(a), limitKey(b)) })
	return out
}

// falseFirst orders false before true.
func falseFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

func limitKey(m metaValue) bool {
	k, _ := normKey(m.key)
	return strings.Contains(k, "lim") || strings.Contains(k, "bwl") || strings.Contains(k, "filter") || strings.Contains(k, "begrenz")
}

// usualLimitHz is the bandwidth limit nearly every scope has (common
// practice, no source), taken where a file only says "on".
const usualLimitHz = 20e6

// Words that say whether the bandwidth is limited.
var (
	limitOn  = map[string]bool{"on": true, "yes": true, "true": true, "1": true, "ein": true, "enabled": true, "limit": true, "limited": true}
	limitOff = map[string]bool{"off": true, "no": true, "false": true, "0": true, "aus": true, "disabled": true, "full": true, "none": true}
)

// bandwidth takes one stated bandwidth or limit.
func (im *importer) bandwidth(m metaValue) {
	t := im.t
	s := strings.ToLower(strings.TrimSpace(m.text))
	switch {
	case m.ok && (m.num >= 1000 || m.unit.kind == unitHertz && m.num > 0):
		im.narrow(m.num, stated(m))
		if limitKey(m) {
			im.limited(stated(m))
		}
	case limitOn[s]:
		im.limited(stated(m))
		if t.BandwidthHz == 0 || t.BandwidthHz > usualLimitHz {
			im.narrow(usualLimitHz, "the usual limit, common practice; the file says only "+s)
		}
	case limitOff[s]:
		t.assume("bandwidth limit", "off", stated(m))
	}
}

// narrow takes a bandwidth below the one that is known, unless one is given.
func (im *importer) narrow(hz float64, why string) {
	if t := im.t; im.opt.BandwidthHz == 0 && (t.BandwidthHz == 0 || hz < t.BandwidthHz) {
		t.BandwidthHz = hz
		t.assume("bandwidth", SI(hz, "Hz", 6), why)
	}
}

// limited notes that the instrument limits its bandwidth, unless it is given
// whether it does.
func (im *importer) limited(why string) {
	if im.opt.BandLimited == nil {
		im.t.BandLimited = true
		im.t.assume("bandwidth limit", "on", why)
	}
}

var probeRatio = newPattern(`^\s*[x×]?\s*([0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*(?:[x×]|:\s*1|to\s*1)?\s*$`)
var probeInverse = newPattern(`^\s*1\s*[:/]\s*([0-9]+(?:[.,][0-9]+)?)\s*$`)

// probeFactor reads 10, 10X, x10, 10:1, 1:10 and 1/10.
func probeFactor(m metaValue) (float64, bool) {
	s := strings.ToLower(m.text)
	for _, re := range []*pattern{probeInverse, probeRatio} {
		if g := re.FindStringSubmatch(s); g != nil {
			if v, ok := parseSlow(strings.Replace(g[1], ",", ".", 1), '.'); ok && v > 0 {
				return v, true
			}
		}
	}
	return 0, false
}
