package filter

import (
	"context"
	"testing"

	"stillglow/analysis/figure"
	"stillglow/analysis/target"
	"stillglow/capture"
)

// A filter across the output leaves common mode as it is: its margins stay, a unit
// that breaks nothing else gets no filter, and one that does is searched for that.
func TestCommonModePassesTheFilter(t *testing.T) {
	in := nearMiss(6, 20e-3, 10e6)
	both := *in.Unit.Captures[0]
	both.File, both.Mode = "both.csv", capture.Common
	both.Span = capture.Span{LowHz: 5, HighHz: 30e6}
	both.PP20MHzV, both.MainsCombRMS = figure.Known(0.5), figure.Known(5e-3) // 3.1 dB over
	in.Unit.Captures = append(in.Unit.Captures, &both)
	in.Target.Limits = append(in.Target.Limits, commonLimitOf(t))
	before := target.Evaluate(in.Unit, in.Target)
	at := len(before.Margins) - 1
	if m := before.Margins[at]; !m.Covered || m.DB > -3 {
		t.Fatalf("to begin with %+v", m)
	}
	a, err := Search(context.Background(), in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !a.Found || a.CommonMode == "" {
		t.Fatalf("the ripple is not searched for: %+v", a)
	}
	if got := a.Best.After.Margins[at]; got.DB != before.Margins[at].DB {
		t.Errorf("common mode %g dB behind the filter, %g dB ahead", got.DB, before.Margins[at].DB)
	}
	// With the ripple inside there is nothing that a filter would mend.
	only := nearMiss(-6, 1e-3, 10e6)
	only.Unit.Captures = append(only.Unit.Captures, &both)
	only.Target.Limits = append(only.Target.Limits, commonLimitOf(t))
	a, err = Search(context.Background(), only, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if a.Found || a.Why == "" || a.Why != a.CommonMode {
		t.Errorf("%+v", a)
	}
}

// commonLimitOf is the named limit on common-mode peak-to-peak.
func commonLimitOf(t *testing.T) target.Limit {
	t.Helper()
	tg, err := target.Named(target.Default)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range tg.Limits {
		if l.Criterion == target.CommonPP {
			return l
		}
	}
	t.Fatal("no limit on common-mode peak-to-peak")
	return target.Limit{}
}
