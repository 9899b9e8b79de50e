package main

import (
	"context"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
)

// The least record that the guide names for a slow figure is one from which the
// figure is measured.
func TestLeastSlowRecordsAreMeasured(t *testing.T) {
	for _, name := range target.Names() {
		goal, err := target.Named(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range goal.Limits {
			if l.NeedHighHz <= 0 || l.NeedHighHz >= fastFromHz || l.Criterion.Mode() != capture.Differential {
				continue
			}
			s := planSettings([]target.Limit{l}, scopeLimits{})[0]
			supply := synth.Supply{Seed: 1, RateHz: s.NeedHz, Samples: int(math.Ceil(s.NeedS * s.NeedHz)), AntiAliased: true,
				MainsHz: 50, MainsPPV: 0.3e-3, NoiseVPerRtHz: 100e-9, NoiseBandwidthHz: s.NeedHz / 2}
			tr, _ := supply.Trace("least")
			m, err := analysis.Measure(context.Background(), tr, analysis.Setup{MainsHz: 50})
			if err != nil {
				t.Fatal(err)
			}
			e := target.Evaluate(target.Unit{Brand: "b", Captures: []*analysis.Measurement{m}}, target.Target{Limits: []target.Limit{l}})
			if !e.Margins[0].Figure.Known {
				t.Errorf("%s, %s: %d samples at %s: %s", name, l.Name, supply.Samples, rateText(s.NeedHz), e.Margins[0].Reason)
			}
		}
	}
}

// Every capture that the guide asks for holds its criteria's span by the rule
// that the importer uses: four periods of the lowest frequency, 0.4 of the rate.
func TestShotsCoverTheirCriteria(t *testing.T) {
	for _, name := range target.Names() {
		goal, err := target.Named(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, memory := range []int{1000, 2000, 4000, 10000, 100000, 1000000, 14000000, 500000000} {
			for _, rate := range []float64{40e6, 50e6, 500e6, 5e9} {
				scope := scopeLimits{Memory: memory, MaxRate: rate}
				seen := map[target.Criterion]bool{}
				for _, s := range planSettings(goal.Limits, scope) {
					for _, l := range s.Criteria {
						seen[l.Criterion] = true
						if s.DivS == 0 {
							if s.WhyNot == "" {
								t.Errorf("%s %d: no setting and no reason", name, memory)
							}
							continue
						}
						record := divisions * s.DivS
						if record*l.NeedLowHz < 4*0.999 || 0.4*s.RateHz < l.NeedHighHz*0.999 {
							t.Errorf("%s %d samples: %s/div at %s does not hold %s", name, memory, secondsText(s.DivS), rateText(s.RateHz), l.Name)
						}
						if s.RateHz > rate || s.RateHz*record > float64(memory)*1.001 || s.Samples > memory {
							t.Errorf("%s %d samples: %s for %s is more than the scope has", name, memory, rateText(s.RateHz), secondsText(record))
						}
						if s.DivS < s.LeastS*0.999 || s.DivS > s.MostS*1.001 {
							t.Errorf("%s: %g outside %g to %g", name, s.DivS, s.LeastS, s.MostS)
						}
					}
				}
				for _, l := range goal.Limits {
					if l.NeedHighHz <= 0 {
						continue
					}
					// what can be had alone is had in the company of others
					alone := planSettings([]target.Limit{l}, scope)[0]
					for _, s := range planSettings(goal.Limits, scope) {
						for _, other := range s.Criteria {
							if other.Criterion == l.Criterion && (s.DivS == 0) != (alone.DivS == 0) {
								t.Errorf("%s %d samples at %s: %s is lost among others", name, memory, rateText(rate), l.Name)
							}
						}
					}
					if l.NeedHighHz > 0 && !seen[l.Criterion] {
						t.Errorf("%s: no capture for %s", name, l.Name)
					}
				}
			}
		}
	}
}

// By hand: 2 x mains at 100 Hz needs 40 ms, ten divisions of 5 ms (the next step
// over 4 ms); 20 MHz needs 50 MS/s, so 10 000 samples hold 200 µs, 20 µs/div.
func TestShotsByHand(t *testing.T) {
	goal, _ := target.Named("line-preamp")
	settings := planSettings(goal.Limits, scopeLimits{Memory: 10000, MaxRate: 1e9})
	if len(settings) != 4 || !settings[0].Fast || settings[1].Fast || !settings[2].Fast || settings[3].Fast {
		t.Fatalf("%d captures", len(settings))
	}
	for i, want := range []capture.Mode{capture.Differential, capture.Differential, capture.Common, capture.Common} {
		for _, l := range settings[i].Criteria {
			if settings[i].Mode != want || l.Criterion.Mode() != want {
				t.Errorf("capture %d is %s, %s is %s, want %s", i, settings[i].Mode.Word(), l.Name, l.Criterion.Mode().Word(), want.Word())
			}
		}
	}
	if f := settings[0]; math.Abs(f.DivS-20e-6) > 1e-9 || math.Abs(f.RateHz-50e6) > 1 {
		t.Errorf("fast %g s/div at %g", f.DivS, f.RateHz)
	}
	small := planSettings(goal.Limits, scopeLimits{Memory: 2000, MaxRate: 1e9})
	for _, s := range small {
		if s.Fast && s.DivS != 0 && len(s.Criteria) == 3 {
			t.Error("2000 samples can't hold 200 µs at 50 MS/s")
		}
	}
	for v, want := range map[float64][2]float64{1: {1, 1}, 1.5: {1, 2}, 4e-3: {2e-3, 5e-3}, 9: {5, 10}, 0.05: {0.05, 0.05}} {
		if lo, hi := floor125(v), ceil125(v); math.Abs(lo-want[0]) > 1e-9 || math.Abs(hi-want[1]) > 1e-9 {
			t.Errorf("%g lies between %g and %g, got %g and %g", v, want[0], want[1], lo, hi)
		}
	}
}

func TestGuideFitsHundredColumns(t *testing.T) {
	for _, args := range [][]string{
		{"guide"}, {"guide", "--valves", "2x12AU7,1x6N2P", "--memory", "1k", "--max-rate", "20M"},
		{"guide", "--target", "phono-preamp", "--memory", "14M"}, {"guide", "../../testdata/bench/bench.toml"},
	} {
		out, errs, code := command(t, args...)
		if code != exitDone {
			t.Fatalf("%v: %s", args, errs)
		}
		for _, line := range strings.Split(out, "\n") {
			if n := utf8.RuneCountInString(line); n > 100 {
				t.Errorf("%v: %d columns: %s", args, n, line)
			}
		}
		for _, want := range []string{"Safety first", "earth", "licensed practice", "baseline", "from memory"} {
			if !strings.Contains(out, want) {
				t.Errorf("%v: nothing on %q", args, want)
			}
		}
	}
}

// The load by Ohm's law: 0.94 A from 7 V is 7.45 ohm and 6.58 W.
func TestGuideLoad(t *testing.T) {
	out, _, _ := command(t, "guide", "--valves", "2x12AU7,1x6N2P")
	for _, want := range []string{"0.94 A", "7.45 Ω", "6.6 W", "7.5 Ω (0.93"} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("no %q in the guide", want)
		}
	}
}
