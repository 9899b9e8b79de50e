package main

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/cycle"
	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/demobench"
	"stillglow/capture/synth/testrun"
	"stillglow/cmd/stillglow/pipeline"
	"stillglow/report"
)

// Each unit of the demo bench reads as the thing it was made to show, and by the
// measurement alone.
func TestDemoScenarios(t *testing.T) {
	cache, err := pipeline.OpenCache(filepath.Join(cacheHome(t), "stillglow"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := pipeline.Evaluate(context.Background(), filepath.Join("..", "..", "testdata", "bench", demobench.Sheet), pipeline.Options{Cache: cache})
	if err != nil {
		t.Fatal(err)
	}
	truth := map[string]synth.Truth{}
	for _, f := range testrun.Some(demobench.Files(), 5) {
		if f.Supply != nil {
			_, truth[f.Name] = f.Supply.Render()
		}
	}
	for _, want := range []struct {
		mark    string
		verdict target.Verdict
		over    []target.Criterion // the only criteria outside
		caution string
		kind    cycle.Kind
		rescued bool
	}{
		{mark: "A1", verdict: target.Pass, kind: cycle.Fixed},
		{mark: "A2", verdict: target.Pass, kind: cycle.Fixed},
		{mark: "A3", verdict: target.Fail, over: []target.Criterion{target.HeaterDC}},
		{mark: "B1", verdict: target.NearMiss, over: []target.Criterion{target.RipplePP, target.BandRF1}, rescued: true},
		{mark: "B2", verdict: target.NearMiss, over: []target.Criterion{target.CommonPP}},
		{mark: "B3", verdict: target.Pass, kind: cycle.Dithered, caution: capture.CautionDithered},
		{mark: "C1", verdict: target.Fail, over: []target.Criterion{target.RipplePP, target.SpikePeak}},
		{mark: "C2", verdict: target.Fail, over: []target.Criterion{target.BandAudioA}, kind: cycle.Bursting, caution: capture.CautionBursting},
		{mark: "C3", verdict: target.Retake, caution: capture.CautionClipped},
		{mark: "D1", verdict: target.Fail, over: []target.Criterion{target.MainsLine, target.BandAudioA}},
		{mark: "D2", verdict: target.Retake, caution: capture.CautionProbeFactor},
		{mark: "D3", verdict: target.Open},
	} {
		i := slices.IndexFunc(r.Units, func(u report.Unit) bool { return u.Eval.Unit.Mark == want.mark })
		if i < 0 {
			t.Errorf("%s is not ranked", want.mark)
			continue
		}
		u := r.Units[i]
		if u.Eval.Verdict != want.verdict {
			t.Errorf("%s: %s, want %s: %s", want.mark, u.Eval.Verdict, want.verdict, u.Eval.Why)
		}
		if want.verdict != target.Retake {
			var over []target.Criterion
			for _, m := range u.Eval.Margins {
				if m.Covered && m.DB < 0 {
					over = append(over, m.Limit.Criterion)
				}
			}
			if !slices.Equal(over, want.over) {
				t.Errorf("%s: outside in %v, want %v", want.mark, over, want.over)
			}
		}
		if want.verdict == target.Pass && u.Eval.WorstDB < 3 {
			t.Errorf("%s passes by %.1f dB only", want.mark, u.Eval.WorstDB)
		}
		if want.caution != "" && !slices.ContainsFunc(u.Eval.Cautions, func(c capture.Caution) bool { return c.Code == want.caution }) {
			t.Errorf("%s: no caution %s among %v", want.mark, want.caution, u.Eval.Cautions)
		}
		if want.kind != "" && u.Captures[0].M.Kind != want.kind {
			t.Errorf("%s: switching %q, want %q", want.mark, u.Captures[0].M.Kind, want.kind)
		}
		if want.rescued && (u.Filter == nil || !u.Filter.Found) {
			t.Errorf("%s: no post-filter rescues it", want.mark)
		}
		for _, c := range u.Captures {
			if of, drawn := truth[c.M.File]; drawn {
				agrees(t, c.M, of)
			}
		}
	}
	if !r.Invented {
		t.Error("the report does not say that its data is invented")
	}
}

// agrees compares a measurement with the truth its capture was made from.
func agrees(t *testing.T, m *analysis.Measurement, want synth.Truth) {
	t.Helper()
	near := func(what string, f figure.Figure, want, rel float64) {
		if f.Known && !f.LowerBound && want > 0 && math.Abs(f.Value-want) > rel*want {
			t.Errorf("%s: %s %.6g, truth %.6g", m.File, what, f.Value, want)
		}
	}
	if m.Kind == cycle.Fixed && want.Clipped == 0 {
		near("ripple", m.RipplePPV, want.RipplePPV, 0.04) // 160 mV of ring on 6 mV of ripple
		near("switching frequency", m.SwitchingHz, want.SwitchingHz, 50e-6)
		near("95th percentile of the spikes", m.Spikes.PeakP95V, want.SpikePeakP95V, 0.15) // some spikes are little above the noise
	}
	near("mains line", m.MainsLineRMS, want.MainsLineRMSV, 0.02)
}
