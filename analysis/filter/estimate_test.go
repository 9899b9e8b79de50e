package filter

import (
	"context"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
)

// drawnInput is a supply of the trade (synth.Draw) captured twice, fast and slow, as
// measured, for a line preamp.
func drawnInput(t *testing.T, seed uint64, fastSamples int) Input {
	t.Helper()
	goal, err := target.Named("line-preamp")
	if err != nil {
		t.Fatal(err)
	}
	in := Input{Target: goal, Unit: target.Unit{Key: "drawn", HeaterA: 0.6, Readings: []target.Reading{{LoadA: 0, V: 7.2}, {LoadA: 0.6, V: 7.1}}}}
	s := synth.Draw(seed)
	s.Samples = fastSamples
	fast, _ := s.Trace("fast")
	slow, _ := s.Slow(200e3, 1<<16).Trace("slow")
	for _, tr := range []*capture.Trace{fast, slow} {
		setup := analysis.Setup{LoadA: 0.6, HeaterA: 0.6}
		m, err := analysis.Measure(context.Background(), tr, setup)
		if err != nil {
			t.Fatal(err)
		}
		in.Traces, in.Setups, in.Unit.Captures = append(in.Traces, tr), append(in.Setups, setup), append(in.Unit.Captures, m)
	}
	return in
}

// What the sums tell of a candidate is what the whole estimate tells of the same
// criteria, to the last digit, and other candidates tried before on the same transforms
// change nothing.
func TestSumsAloneTellTheSame(t *testing.T) {
	in := drawnInput(t, 3, 1<<16)
	before := target.Evaluate(in.Unit, in.Target)
	base, fit, trouble := circuitOf(in, before, Options{})
	if trouble != "" {
		t.Fatal(trouble)
	}
	afresh := in
	in.work = newWorkspace()
	told := 0
	for i, c := range candidates(base, fit, DefaultCatalogue()) {
		if i%20 != 0 {
			continue
		}
		short := target.Evaluate(in.estimated(c, sums), in.Target)
		whole := target.Evaluate(in.estimated(c, everything), in.Target)
		anew := target.Evaluate(afresh.estimated(c, everything), in.Target)
		for k, m := range whole.Margins {
			if a := anew.Margins[k]; a.Covered != m.Covered || a.DB != m.DB {
				t.Errorf("%s %g H %g F: %s %g dB by shared transforms, %g by its own", c.Topology, c.L.H, c.C1.F, m.Limit.Criterion, m.DB, a.DB)
			}
			if !noPeaks(m.Limit.Criterion) {
				continue
			}
			if s := short.Margins[k]; s.Covered != m.Covered || s.DB != m.DB {
				t.Errorf("%s %g H %g F: %s %g dB by sums, %g by the whole", c.Topology, c.L.H, c.C1.F, m.Limit.Criterion, s.DB, m.DB)
			}
			if before.Margins[k].Covered && m.DB != before.Margins[k].DB {
				told++
			}
		}
	}
	if told < 10 {
		t.Errorf("only %d margins changed behind a filter", told)
	}
}
