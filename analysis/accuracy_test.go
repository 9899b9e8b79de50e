package analysis

import (
	"context"
	"flag"
	"fmt"
	"math"
	"sort"
	"strings"
	"testing"

	"stillglow/capture/synth"
)

// The Monte Carlo draws supplies from ranges that cover the trade, measures each
// capture and compares with the exact truth. The table of DEVELOPERS.md is the
// output of
//
//	go test ./analysis -run TestAccuracy -accuracy 500 -v
//
// A figure counts where the capture can hold it: where the noise of the record
// itself, by the Cramér-Rao bound for a sine in white noise (Rife and Boorstyn
// 1974, from memory) or by the bound for a straight line's end, leaves room for
// the error asked for. The share of draws that count is part of the table.
var accuracyDraws = flag.Int("accuracy", 8, "draws of TestAccuracy")

// accuracyRow gathers the errors of one figure.
type accuracyRow struct {
	name     string
	unit     string
	bound    float64 // on the 95th percentile, same unit
	errors   []float64
	missing  int // should have been measured, was not
	excluded int
	seeds    []uint64
}

func (r *accuracyRow) quantile(q float64) float64 {
	e := append([]float64(nil), r.errors...)
	sort.Float64s(e)
	return quantileOf(e, q)
}

func TestAccuracy(t *testing.T) {
	if testing.Short() && *accuracyDraws == 8 {
		*accuracyDraws = 4
	}
	rows := []*accuracyRow{
		{name: "ripple peak-to-peak", unit: "%", bound: 3},
		{name: "ripple rms", unit: "%", bound: 4},
		{name: "switching frequency", unit: "ppm", bound: 50},
		{name: "switching line rms", unit: "%", bound: 4},
		{name: "spike count", unit: "%", bound: 0.01},
		{name: "spike peak, median of an edge", unit: "%", bound: 6},
		{name: "ring frequency", unit: "%", bound: 3},
		{name: "ring Q", unit: "%", bound: 15},
		{name: "noise density", unit: "dB", bound: 0.7},
		{name: "periodic rms", unit: "%", bound: 3},
		{name: "random rms", unit: "%", bound: 5},
	}
	by := map[string]*accuracyRow{}
	for _, r := range rows {
		by[r.name] = r
	}
	for seed := range uint64(*accuracyDraws) {
		s := synth.Draw(1000 + seed)
		tr, truth := s.Trace("draw")
		m, err := Measure(context.Background(), tr, Setup{})
		if err != nil {
			t.Fatal(err)
		}
		checkFinite(t, m)
		see := func(name string, f Figure, want, scale float64, holds bool) {
			r := by[name]
			switch {
			case !holds || want == 0:
				r.excluded++
			case !f.Known:
				r.missing++
			default:
				r.errors = append(r.errors, scale*math.Abs(f.Value/want-1))
				r.seeds = append(r.seeds, 1000+seed)
			}
		}
		n := float64(s.Samples)
		noise := math.Hypot(truth.RandomRMSV, truth.ADCStepV/math.Sqrt(12))
		// the end of a straight line over half the record, twice
		rippleLimit := math.Sqrt2 * math.Sqrt(4/(n/2)) * noise / truth.RipplePPV
		// a step of the ripple that outweighs the spike on it can't be told apart
		// from it within the edge's own duration
		clearEdge := truth.ESRStepV < 0.3*math.Min(truth.RisingPeakV, truth.FallingPeak)
		// steps that no noise dithers bend the curve itself
		dithered := truth.RandomRMSV > 0.4*truth.ADCStepV
		see("ripple peak-to-peak", m.RipplePPV, truth.RipplePPV, 100, rippleLimit < 0.006 && dithered)
		see("ripple rms", m.RippleRMSV, truth.RippleRMSV, 100, rippleLimit < 0.006 && dithered)
		snr := math.Pow(truth.SwitchingLineRMSV/noise, 2) / 2 * n
		hzLimit := math.Sqrt(6/snr) / (math.Pi * m.DurationS) / truth.SwitchingHz
		see("switching frequency", m.SwitchingHz, truth.SwitchingHz, 1e6, hzLimit < 15e-6)
		see("switching line rms", m.SwitchingFundamentalRMSV, truth.SwitchingLineRMSV, 100, snr > 1e4 && dithered)
		stands := math.Min(truth.RisingPeakV, truth.FallingPeak) > 6*noise
		see("spike count", Known(float64(m.Spikes.Count)), float64(truth.SpikeCount), 100, stands && clearEdge)
		if stands && clearEdge {
			a, b := m.Spikes.RisingPeakMedianV, m.Spikes.FallingPeakMedianV
			see("spike peak, median of an edge", a, truth.RisingPeakV, 100, true)
			see("spike peak, median of an edge", b, truth.FallingPeak, 100, true)
		} else {
			by["spike peak, median of an edge"].excluded += 2
		}
		ringing := math.Max(truth.RisingPeakV, truth.FallingPeak) > 10*noise && clearEdge
		see("ring frequency", m.Spikes.RingHz, truth.RingHz, 100, ringing)
		see("ring Q", m.Spikes.RingQ, truth.RingQ, 100, ringing)
		// the converter's own noise must not top the supply's
		quant := quantisationDensity(truth.ADCStepV, s.RateHz)
		if m.Noise.DensityVRHz.Known && dithered && quant < s.NoiseVRHz {
			by["noise density"].errors = append(by["noise density"].errors, math.Abs(20*math.Log10(m.Noise.DensityVRHz.Value/s.NoiseVRHz)))
			by["noise density"].seeds = append(by["noise density"].seeds, 1000+seed)
		} else {
			by["noise density"].excluded++
		}
		see("periodic rms", m.PeriodicRMSV, truth.PeriodicRMSV, 100, truth.PeriodicRMSV > 0.3*noise)
		see("random rms", m.RandomRMSV, noise, 100, dithered && truth.RandomRMSV > 0.02*truth.PeriodicRMSV)
	}
	var table strings.Builder
	fmt.Fprintf(&table, "| figure | draws that hold it | median error | 95th percentile | bound |\n|---|---|---|---|---|\n")
	for _, r := range rows {
		fmt.Fprintf(&table, "| %s | %d of %d | %.2g %s | %.2g %s | %g %s |\n", r.name,
			len(r.errors)+r.missing, len(r.errors)+r.missing+r.excluded,
			r.quantile(0.5), r.unit, r.quantile(0.95), r.unit, r.bound, r.unit)
		total := len(r.errors) + r.missing
		over := r.missing
		var bad []string
		for i, e := range r.errors {
			if e > r.bound {
				over++
				bad = append(bad, fmt.Sprintf("%d: %.3g", r.seeds[i], e))
			}
		}
		if len(bad) > 0 || r.missing > 0 {
			t.Logf("%s over the bound: %s; missing %d", r.name, strings.Join(bad, ", "), r.missing)
		}
		if float64(over) > 0.05*float64(total)+1 {
			t.Errorf("%s: %d of %d draws are off by more than %g %s", r.name, over, total, r.bound, r.unit)
		}
	}
	t.Logf("%d draws\n%s", *accuracyDraws, table.String())
}
