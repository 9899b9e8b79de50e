package analysis

import (
	"context"
	"math"
	"runtime"
	"testing"

	"stillglow/analysis/spike"
	"stillglow/capture"
)

// Both edges' rings are told apart, random and mains-tied events kept out of the
// cycle's.
func TestSpikeClasses(t *testing.T) {
	s := trapSupply()
	s.RandomSpikesPerS, s.RandomSpikeV = 1500, 80e-3
	m, truth := measureSupply(t, s, Setup{})
	random := 0
	for _, e := range truth.Spikes {
		if e.Class == "random" {
			random++
		}
	}
	// one may fall on an edge's own peak
	if d := random - m.Spikes.Random; d < 0 || d > 1 || m.Spikes.Count != truth.SpikeCount-d {
		t.Errorf("%d spikes, %d random; want %d, %d", m.Spikes.Count, m.Spikes.Random, truth.SpikeCount, random)
	}
	within(t, "rising ring", m.Spikes.RisingRingHz, truth.RisingRingHz, 0.03)
	within(t, "falling ring", m.Spikes.FallingRingHz, truth.FallingRingHz, 0.03)
	within(t, "Q", m.Spikes.RingQ, truth.RingQ, 0.15)
	within(t, "duration", m.Spikes.DurationMedianS, truth.SpikeDurationS, 0.1)
	if d := m.Spikes.DurationMedianS; math.Abs(d.Value-truth.SpikeDurationS) > d.U || d.U > 0.25*d.Value {
		t.Errorf("duration %.3g ± %.2g s, want %.3g inside ± of a quarter and less", d.Value, d.U, truth.SpikeDurationS)
	}
	if len(m.Spikes.List) != m.Spikes.Count {
		t.Errorf("%d spikes listed of %d", len(m.Spikes.List), m.Spikes.Count)
	}

	s = trapSupply()
	s.RateHz, s.Samples, s.BandwidthHz = 5e6, 5e5, 2e6
	s.MainsHz, s.MainsSpikeV = 60, 250e-3
	m, truth = measureSupply(t, s, Setup{})
	if m.Spikes.MainsTied < 11 || m.Spikes.MainsTied > 13 {
		t.Errorf("%d mains-tied spikes in 0.1 s at 120 Hz, want 12", m.Spikes.MainsTied)
	}
}

// Where single spikes stand only six times above the noise, a plain reading of
// each peak would come out high by the noise; the matched reading must not.
func TestSpikesNearTheNoise(t *testing.T) {
	s := trapSupply()
	s.Duty, s.ESRStepV, s.ADCBits, s.CornerHz = 0.4, 0, 12, 0
	noise := s.NoiseVPerRtHz * math.Sqrt(s.BandwidthHz*math.Atan(s.RateHz/2/s.BandwidthHz))
	s.SpikeRiseV = 6.8 * noise / 0.9
	s.SpikeFallV = -s.SpikeRiseV
	m, truth := measureSupply(t, s, Setup{})
	within(t, "median peak", m.Spikes.PeakMedianV, truth.SpikePeakMedianV, 0.05)
	if m.Spikes.Count != truth.SpikeCount {
		t.Errorf("%d spikes, want %d", m.Spikes.Count, truth.SpikeCount)
	}
}

func TestUndersampledSpikesAreLowerBounds(t *testing.T) {
	s := trapSupply()
	s.RateHz, s.Samples, s.BandwidthHz = 25e6, 60e3, 0
	s.RingRiseHz, s.RingFallHz, s.SpikeWidthS = 15e6, 15e6, 25e-9
	m, _ := measureSupply(t, s, Setup{})
	if !m.Spikes.PeakMedianV.Known || !m.Spikes.PeakMedianV.LowerBound || !m.HasCaution(capture.CautionUndersampled) {
		t.Errorf("one sample in a pulse: %+v %+v", m.Spikes.PeakMedianV, m.Cautions)
	}
	// slower records tell that there are spikes, not their peaks nor that there are none
	s.RateHz = 10e6
	m, _ = measureSupply(t, s, Setup{})
	if m.Spikes.PeakMedianV.Known || m.Spikes.RingHz.Known || !m.Spikes.PerS.LowerBound || m.Spikes.PerS.Value == 0 {
		t.Errorf("10 MS/s: %+v, ring %+v, %+v per second", m.Spikes.PeakMedianV, m.Spikes.RingHz, m.Spikes.PerS)
	}
	s.SpikeRiseV, s.SpikeFallV = 0, 0
	if m, _ = measureSupply(t, s, Setup{}); m.Spikes.PerS.Known && m.Spikes.PerS.Value == 0 {
		t.Error("10 MS/s: no spikes are claimed where none could be seen")
	}
}

// The same trace gives the same bits on one processor and on several.
func TestMeasureIsDeterministic(t *testing.T) {
	s := trapSupply()
	s.Samples, s.RandomSpikesPerS = 120e3, 1000
	tr, _ := s.Trace("x")
	old := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(old)
	a, err := Measure(context.Background(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	runtime.GOMAXPROCS(4)
	b, err := Measure(context.Background(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := dump(b), dump(a); got != want {
		t.Error("figures differ with the number of processors")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Measure(ctx, tr, Setup{}); err == nil {
		t.Error("a cancelled context was ignored")
	}
}

// The time of a listed spike is that of its greatest sample, whatever edge the cycle's
// fit makes of it: where a range too small cuts the peaks off, too.
func TestSpikesAreListedWhereTheyStand(t *testing.T) {
	for name, fullScaleV := range map[string]float64{"whole": 0, "cut off": 40e-3, "cut off at the ripple's height": 26e-3} {
		t.Run(name, func(t *testing.T) {
			s := plainSupply()
			s.Samples, s.ADCFullScaleV = 50e3, fullScaleV
			tr, _ := s.Trace(name)
			m, err := Measure(context.Background(), tr, Setup{})
			if err != nil {
				t.Fatal(err)
			}
			const near = 0.4e-6 // more than a pulse, less than half a cycle
			seen := 0
			for _, e := range m.Spikes.List {
				if e.Class != spike.Rising && e.Class != spike.Falling {
					continue
				}
				from, to := int((e.TimeS-near)*s.RateHz), int((e.TimeS+near)*s.RateHz)
				if from < 0 || to >= len(tr.Volts) {
					continue
				}
				seen++
				sign, most := math.Copysign(1, e.PeakV), math.Inf(-1)
				for _, v := range tr.Volts[from:to] {
					most = max(most, sign*v)
				}
				at := int(math.Round(e.TimeS * s.RateHz))
				if got := max(sign*tr.Volts[at-2], sign*tr.Volts[at-1], sign*tr.Volts[at], sign*tr.Volts[at+1], sign*tr.Volts[at+2]); got < 0.8*most {
					t.Errorf("%s of %g V listed at %g s, where the record reaches %g V; next to it %g V", e.Class, e.PeakV, e.TimeS, sign*got, sign*most)
				}
			}
			if seen < 80 {
				t.Errorf("%d events at the edges, want 98 or so", seen)
			}
		})
	}
}
