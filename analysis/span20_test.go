package analysis

import (
	"context"
	"testing"

	"stillglow/analysis/bandlimit"
)

// A 28 MHz ring lies above the limit: the shapes must part company on it, in the
// order of how steeply they fall, and where the instrument limited the bandwidth
// itself nothing is applied.
func TestLowPassShapesPartOnRing(t *testing.T) {
	s := plainSupply()
	s.RateHz, s.Samples, s.BandwidthHz = 250e6, 40e3, 0
	s.SpikeRiseV, s.SpikeFallV = 180e-3, -150e-3
	s.SpikeWidthS, s.RingRiseHz, s.RingFallHz, s.RingQ = 18e-9, 28e6, 28e6, 12
	tr, _ := s.Trace("ring")
	pp := map[bandlimit.LowPass]float64{}
	for _, shape := range bandlimit.LowPasses {
		m, err := Measure(context.Background(), tr, Setup{LowPass: shape})
		if err != nil {
			t.Fatal(err)
		}
		if !m.PP20MHzV.Known || m.PP20MHzFilter == "" {
			t.Fatalf("%s: %q %q", shape, m.PP20MHzV.Missing, m.PP20MHzFilter)
		}
		pp[shape] = m.PP20MHzV.Value
		if m.PP20MHz999V.Value > m.PP20MHzV.Value {
			t.Errorf("%s: 99.9 %% of the time spans %g, all of it %g", shape, m.PP20MHz999V.Value, m.PP20MHzV.Value)
		}
	}
	if !(pp[bandlimit.None] > 1.1*pp[bandlimit.FirstOrder] && pp[bandlimit.FirstOrder] > 1.1*pp[bandlimit.Butterworth4] && pp[bandlimit.Butterworth4] > pp[bandlimit.Ideal]) {
		t.Errorf("shapes do not part: %v", pp)
	}
	tr.BandLimited, tr.BandwidthHz = true, 20e6
	tr.Span.HighHz = 20e6
	m, err := Measure(context.Background(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	if m.PP20MHzV.Value != pp[bandlimit.None] {
		t.Errorf("a band-limited capture was filtered again: %g, want %g (%s)", m.PP20MHzV.Value, pp[bandlimit.None], m.PP20MHzFilter)
	}
	// A limit of 250 MHz leaves the ring in: the figure is that of the usual low-pass.
	tr.BandLimited, tr.BandwidthHz = true, 250e6
	tr.Span.HighHz = 125e6
	if m, err = Measure(context.Background(), tr, Setup{}); err != nil {
		t.Fatal(err)
	}
	if m.PP20MHzV.Value != pp[bandlimit.DefaultLowPass] || m.Within20MHz {
		t.Errorf("behind a limit of 250 MHz %g V in 20 MHz, want %g; within 20 MHz: %v (%s)", m.PP20MHzV.Value, pp[bandlimit.DefaultLowPass], m.Within20MHz, m.PP20MHzFilter)
	}
	t.Logf("28 MHz ring, peak-to-peak in volts by shape: %v", pp)
}

func TestPeakToPeakNeedsItsSpan(t *testing.T) {
	s := plainSupply()
	s.RateHz, s.Samples, s.BandwidthHz = 20e6, 50e3, 0
	tr, _ := s.Trace("slow")
	m, err := Measure(context.Background(), tr, Setup{})
	if err != nil {
		t.Fatal(err)
	}
	if m.PP20MHzV.Known || m.PP20MHzV.Missing == "" {
		t.Errorf("a 20 MHz figure from a span to %g Hz: %+v", tr.Span.HighHz, m.PP20MHzV)
	}
	if m.MainsLineRMS.Known {
		t.Error("a mains line from 2.5 ms")
	}
	if m.DCV.Known {
		t.Error("DC from an AC-coupled capture")
	}
}
