package demobench

import (
	_ "embed"
	"fmt"
	"io"

	"stillglow/capture/synth"
)

// Sheet is the bench sheet's file name.
const Sheet = "bench.toml"

//go:embed bench.toml
var sheetText string

// File is one file of the demo bench.
type File struct {
	Name   string                // within the bench's folder
	Write  func(io.Writer) error // writes the whole file, the same bytes each time
	Supply *synth.Supply         // behind a capture; nil for the sheet
}

// Rates and lengths of the workshop's captures.
const (
	fastHz     = 125e6 // scope, spikes and the 20 MHz ripple
	fastLen    = 50000 // 0.4 ms
	slowHz     = 100e3 // scope in high resolution, mains and audio
	slowLen    = 45000 // 0.45 s
	cardHz     = 96000 // sound card
	cardLen    = 48000 // 0.5 s
	cardFullV  = 0.5   // volts peak at digital full scale
	commonFast = 12500 // 0.1 ms, of common mode
	commonSlow = 25000 // 0.25 s
	scopeHz    = 100e6 // the scope's bandwidth

	scopeNoise = 20e-9 // V/sqrt(Hz), the instruments' own
	slowNoise  = 60e-9
	cardNoise  = 25e-9
)

// fast captures a supply on the scope, 8 bit, AC-coupled.
func fast(s synth.Supply) synth.Supply {
	s.RateHz, s.Samples = fastHz, fastLen
	s.ACCoupled, s.ADCBits, s.BandwidthHz = true, 8, scopeHz
	s.InstrumentVPerRtHz = scopeNoise
	return s
}

// slow captures it in the scope's high-resolution acquisition, 12 bit.
func slow(s synth.Supply) synth.Supply {
	s = s.Slow(slowHz, slowLen)
	s.ACCoupled, s.ADCBits = true, 12
	s.InstrumentVPerRtHz = slowNoise
	return s
}

// short cuts a capture down to the given samples.
func short(s synth.Supply, samples int) synth.Supply {
	s.Samples = samples
	return s
}

// card captures it on a sound card's line input, 24-bit.
func card(s synth.Supply) synth.Supply {
	s = s.Slow(cardHz, cardLen)
	s.ACCoupled, s.ADCBits, s.ADCFullScaleV = true, 24, 2*cardFullV
	s.InstrumentVPerRtHz = cardNoise
	return s
}

// csv makes a CSV file; a name that ends in .gz is compressed.
func csv(name string, layout synth.Layout, s synth.Supply) File {
	f := File{Name: name, Supply: &s}
	f.Write = func(w io.Writer) error {
		v, _ := s.Render()
		coupling := "DC"
		if s.ACCoupled {
			coupling = "AC"
		}
		write := func(w io.Writer) error { return synth.WriteCSV(w, layout, s.RateHz, v, 6, coupling) }
		if len(name) > 3 && name[len(name)-3:] == ".gz" {
			return synth.Gzip(w, write)
		}
		return write(w)
	}
	return f
}

// wav makes a sound card's file.
func wav(name string, s synth.Supply) File {
	f := File{Name: name, Supply: &s}
	f.Write = func(w io.Writer) error {
		v, _ := s.Render()
		return synth.WriteWAV(w, 24, int(s.RateHz), cardFullV, v)
	}
	return f
}

// Files lists the whole demo bench, the sheet first.
func Files() []File {
	sheet := File{Name: Sheet, Write: func(w io.Writer) error { _, err := io.WriteString(w, sheetText); return err }}
	return append([]File{sheet}, captures()...)
}

// quiet is the design that the brands' better units share: a 120 kHz
// converter with a clean output stage.
func quiet(seed uint64) synth.Supply {
	return synth.Supply{
		Seed: seed, DCV: 7, MainsHz: 50, MainsPPV: 0.45e-3,
		SwitchingHz: 118e3, RipplePPV: 5e-3, Duty: 0.42, ESRStepV: 1.2e-3,
		SpikeRiseV: 6e-3, SpikeFallV: -5e-3, SpikeWidthS: 60e-9, RingRiseHz: 9e6, RingFallHz: 8e6, RingQ: 5,
		SpikeJitterFrac: 0.03, NoiseVPerRtHz: 180e-9, CornerHz: 300, NoiseBandwidthHz: 1.5e6,
	}
}

func captures() []File {
	a1 := quiet(101)
	a1.RipplePPV, a1.ESRStepV, a1.SpikeRiseV, a1.SpikeFallV, a1.MainsPPV, a1.NoiseVPerRtHz = 3.2e-3, 0.8e-3, 4.5e-3, -4e-3, 0.31e-3, 120e-9

	a2 := quiet(102)
	a2.SwitchingHz, a2.RipplePPV, a2.SpikeRiseV, a2.SpikeFallV, a2.MainsPPV, a2.NoiseVPerRtHz = 121.3e3, 4.6e-3, 6.5e-3, -5e-3, 0.6e-3, 190e-9

	a3 := quiet(103) // sags under load; its noise is fine
	a3.SwitchingHz, a3.RipplePPV, a3.MainsPPV = 116.2e3, 8e-3, 0.7e-3

	b1 := quiet(201) // near miss: ripple
	b1.SwitchingHz, b1.RipplePPV, b1.ESRStepV, b1.Duty = 67.4e3, 31e-3, 7e-3, 0.35
	b1.SpikeRiseV, b1.SpikeFallV, b1.NoiseVPerRtHz, b1.MainsPPV = 12e-3, -10e-3, 300e-9, 0.52e-3

	b2 := quiet(202)
	b2.SwitchingHz, b2.RipplePPV, b2.ESRStepV, b2.Duty = 68.9e3, 7e-3, 1.6e-3, 0.35
	b2.SpikeRiseV, b2.SpikeFallV, b2.NoiseVPerRtHz, b2.MainsPPV = 7e-3, -5.5e-3, 260e-9, 0.5e-3

	b3 := quiet(203) // dithered
	b3.SwitchingHz, b3.RipplePPV, b3.ESRStepV, b3.MainsPPV = 98e3, 6.5e-3, 1.5e-3, 0.4e-3
	b3.SpikeRiseV, b3.SpikeFallV = 8e-3, -6.5e-3
	b3.DitherFrac, b3.DitherRateHz = 0.03, 4e3

	c1 := quiet(301) // spikes only
	c1.SwitchingHz, c1.RipplePPV, c1.ESRStepV, c1.MainsPPV = 132e3, 6e-3, 1e-3, 0.55e-3
	c1.SpikeRiseV, c1.SpikeFallV, c1.SpikeWidthS, c1.RingRiseHz, c1.RingFallHz, c1.RingQ = 0.16, -0.12, 40e-9, 15e6, 12e6, 9

	c2 := quiet(302) // bursts
	c2.SwitchingHz, c2.RipplePPV, c2.ESRStepV, c2.MainsPPV = 146e3, 12e-3, 2e-3, 0.48e-3
	c2.BurstHz, c2.BurstDuty, c2.BurstPPV = 5.3e3, 0.5, 5e-3

	c3 := quiet(303) // captured wrongly: the scope's range was too small
	c3.SwitchingHz, c3.RipplePPV, c3.SpikeRiseV, c3.SpikeFallV, c3.MainsPPV = 129e3, 12e-3, 24e-3, -20e-3, 0.57e-3
	c3fast := fast(c3)
	c3fast.ADCFullScaleV = 16e-3

	d1 := quiet(401) // mains ripple only
	d1.SwitchingHz, d1.MainsPPV = 104e3, 14e-3

	d2 := quiet(402) // the scope was set to a 10:1 probe, the cable is 1:1
	d2.SwitchingHz, d2.RipplePPV, d2.MainsPPV = 106e3, 6e-3, 0.65e-3
	d2fast := fast(d2)
	d2fast.ACCoupled, d2fast.ADCFullScaleV, d2fast.ADCOffsetV, d2fast.ProbeFactorWrong = false, 40e-3, 7.36, 10
	d2fast.DCV = 7.36

	d3 := quiet(403) // no fast capture yet
	d3.SwitchingHz, d3.MainsPPV, d3.NoiseVPerRtHz = 105e3, 0.8e-3, 240e-9

	c2fast := fast(c2)
	c2fast.Samples = 125000 // 1 ms: a few packets

	c2slow := c2.Slow(1e6, 210000) // fast enough to see what the packets are made of
	c2slow.ACCoupled, c2slow.ADCBits, c2slow.InstrumentVPerRtHz = true, 12, slowNoise

	// Across 100 Ω from the output to earth: mains leakage at 50 Hz, and the primary's
	// edges through the transformer's capacitance.
	a1both := quiet(501)
	a1both.SwitchingHz, a1both.RipplePPV, a1both.ESRStepV, a1both.NoiseVPerRtHz = 118e3, 8e-3, 1e-3, 150e-9
	a1both.SpikeRiseV, a1both.SpikeFallV, a1both.MainsPPV = 45e-3, -40e-3, 1e-3
	a1both.InstrumentSpurHz, a1both.SpurPP = 50, 16e-3
	b2both := quiet(502) // quiet across its output, a near miss in common mode
	b2both.SwitchingHz, b2both.RipplePPV, b2both.ESRStepV, b2both.NoiseVPerRtHz, b2both.Duty = 68.9e3, 20e-3, 2e-3, 1.5e-6, 0.35
	b2both.SpikeRiseV, b2both.SpikeFallV, b2both.MainsPPV = 0.26, -0.2, 2e-3
	b2both.InstrumentSpurHz, b2both.SpurPP = 50, 26e-3

	baseline := synth.Supply{Seed: 1}
	baseFast := fast(baseline)
	baseFast.ADCFullScaleV = 8e-3
	return []File{
		csv("baseline.csv.gz", synth.Preamble, baseFast),
		csv("baseline-slow.csv.gz", synth.Preamble, slow(baseline)),
		wav("baseline-card.wav", card(baseline)),
		csv("baseline-common-fast.csv.gz", synth.Preamble, short(fast(synth.Supply{Seed: 2}), commonFast)),
		csv("baseline-common-slow.csv.gz", synth.Preamble, short(slow(synth.Supply{Seed: 2}), commonSlow)),

		csv("murrowfen-a1-fast.csv.gz", synth.Preamble, fast(a1)),
		wav("murrowfen-a1-card.wav", card(a1)),
		csv("murrowfen-a1-common-fast.csv.gz", synth.Preamble, short(fast(a1both), commonFast)),
		csv("murrowfen-a1-common-slow.csv.gz", synth.Preamble, short(slow(a1both), commonSlow)),
		csv("murrowfen-a2-fast.csv.gz", synth.Preamble, fast(a2)),
		csv("murrowfen-a2-slow.csv.gz", synth.Preamble, slow(a2)),
		csv("murrowfen-a3-fast.csv.gz", synth.TimeVolts, fast(a3)),
		csv("murrowfen-a3-slow.csv.gz", synth.Preamble, slow(a3)),

		csv("tindlewick-b1-fast.csv", synth.Preamble, fast(b1)),
		csv("tindlewick-b1-slow.csv.gz", synth.DecimalComma, slow(b1)),
		csv("tindlewick-b2-fast.csv.gz", synth.DecimalComma, fast(b2)),
		csv("tindlewick-b2-slow.csv.gz", synth.Preamble, slow(b2)),
		csv("tindlewick-b2-common-fast.csv.gz", synth.Preamble, short(fast(b2both), commonFast)),
		csv("tindlewick-b2-common-slow.csv.gz", synth.Preamble, short(slow(b2both), commonSlow)),
		csv("tindlewick-b3-fast.csv.gz", synth.Preamble, fast(b3)),
		wav("tindlewick-b3-card.wav", card(b3)),

		csv("zarplonk-c1-fast.csv.gz", synth.TwoChannels, fast(c1)),
		csv("zarplonk-c1-slow.csv.gz", synth.Preamble, slow(c1)),
		csv("zarplonk-c2-fast.csv.gz", synth.Preamble, c2fast),
		csv("zarplonk-c2-slow.csv.gz", synth.Preamble, c2slow),
		csv("zarplonk-c3-fast.csv.gz", synth.Preamble, c3fast),
		csv("zarplonk-c3-slow.csv.gz", synth.Preamble, slow(c3)),

		csv("quibblet-d1-fast.csv.gz", synth.TimeVolts, fast(d1)),
		csv("quibblet-d1-slow.csv.gz", synth.Preamble, slow(d1)),
		csv("quibblet-d2-fast.csv.gz", synth.Preamble, d2fast),
		csv("quibblet-d2-slow.csv.gz", synth.Preamble, slow(d2)),
		wav("quibblet-d3-card.wav", card(d3)),
	}
}

// fileError says which file of the bench could not be written.
func fileError(name string, err error) error { return fmt.Errorf("%s: %w", name, err) }
