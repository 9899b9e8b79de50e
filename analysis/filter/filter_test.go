package filter

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"stillglow/analysis"
	"stillglow/analysis/figure"
	"stillglow/analysis/heater"
	"stillglow/analysis/spectrum"
	"stillglow/analysis/target"
	"stillglow/capture"
	"stillglow/capture/synth"
	"stillglow/capture/synth/testrun"
)

// stepped filters samples in time: the RC with ESR by its own difference
// equation in substeps, the input straight between samples.
func stepped(v []float64, rateHz float64, c Circuit, warm int) []float64 {
	const sub = 8
	dt := 1 / rateHz / sub
	// capacitor voltage u: i = (e - out)/R, out = u + i_c·ESR, i_c = i - out/load
	r, esr, g := c.SourceOhm+c.ROhm, c.C1.ESROhm, 0.0
	if c.LoadOhm > 0 {
		g = 1 / c.LoadOhm
	}
	out := make([]float64, len(v))
	// the output node by Kirchhoff: (e-out)/r = (out-u)/esr + g·out
	node := func(e, u float64) float64 { return (e/r + u/esr) / (1/r + 1/esr + g) }
	u := v[0]
	for pass := 0; pass < warm; pass++ {
		for i := range v {
			next := v[(i+1)%len(v)]
			out[i] = node(v[i], u)
			for k := 0; k < sub; k++ {
				e := v[i] + (next-v[i])*(float64(k)+0.5)/sub
				u += dt / c.C1.F * (node(e, u) - u) / esr
			}
		}
	}
	return out
}

// Filtering in frequency equals filtering the samples in time, within 1 % rms.
// The record holds whole periods, run through until it settles.
func TestApplyEqualsFilteringInTime(t *testing.T) {
	const rate, n = 20e6, 20000
	r := rand.New(rand.NewPCG(7, 7))
	noise := make([]float64, 50)
	for i := range noise {
		noise[i] = r.Float64() * 2 * math.Pi
	}
	v := make([]float64, n)
	for i := range v {
		s := float64(i) / rate
		v[i] = 7 + 10e-3*math.Sin(2*math.Pi*100e3*s)
		for k, p := range noise { // a comb up to 2 MHz
			v[i] += 0.5e-3 * math.Cos(2*math.Pi*40e3*float64(k+1)*s+p)
		}
	}
	for _, c := range []Circuit{
		{Topology: RC, ROhm: 1, SourceOhm: 0.1, LoadOhm: 10, C1: Capacitor{F: 10e-6, ESROhm: 0.05}},
		{Topology: RC, ROhm: 2, LoadOhm: 21, C1: Capacitor{F: 2e-6, ESROhm: 0.2}},
	} {
		got, err := new(workspace).apply(context.Background(), &capture.Trace{Volts: v, SampleRateHz: rate, Coupling: capture.CouplingDC}, c)
		if err != nil {
			t.Fatal(err)
		}
		// The filter takes the volts as measured under the load.
		inner := make([]float64, n)
		for i := range v {
			inner[i] = v[i] * (1 + c.SourceOhm/math.Max(c.LoadOhm, 1e-9))
		}
		want := stepped(inner, rate, c, 3)
		var e2, w2 float64
		m := mean(want)
		for i := n / 4; i < n; i++ { // the mirrored start has died by then
			e2 += (got.Volts[i] - want[i]) * (got.Volts[i] - want[i])
			w2 += (want[i] - m) * (want[i] - m)
		}
		if share := math.Sqrt(e2 / w2); share > 0.01 {
			t.Errorf("%+v: %.3f %% off", c, 100*share)
		}
	}
}

// Blocks join without a seam: a long trace filtered in blocks is the same as its middle
// filtered from elsewhere on, in other blocks. Nothing of it lies at half the rate, where
// a response of real samples breaks off and rings on.
func TestApplyInBlocks(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL=1, as .ci/run does: three million samples")
	}
	r := rand.New(rand.NewPCG(1, 2))
	tr := &capture.Trace{SampleRateHz: 10e6, Volts: make([]float64, blockSamples+500000), Coupling: capture.CouplingAC}
	last := 0.0
	for i := range tr.Volts {
		v := r.NormFloat64()
		tr.Volts[i], last = (v+last)/2, v
	}
	c := Circuit{Topology: RC, ROhm: 1, LoadOhm: 10, C1: Capacitor{F: 100e-6, ESROhm: 0.1, ESLH: 15e-9}}
	all, err := new(workspace).apply(context.Background(), tr, c)
	if err != nil {
		t.Fatal(err)
	}
	part := *tr
	const from = blockSamples - 200000
	part.Volts = tr.Volts[from : from+400000]
	some, err := new(workspace).apply(context.Background(), &part, c)
	if err != nil {
		t.Fatal(err)
	}
	offset := mean(tr.Volts) - mean(part.Volts)
	for i := 100000; i < 300000; i++ {
		if d := math.Abs(all.Volts[from+i] - some.Volts[i]); d > 1e-3+math.Abs(offset) {
			t.Fatalf("sample %d: %g apart", i, d)
		}
	}
}

func TestApplyKeepsTheTraceAndTheLevel(t *testing.T) {
	c := Circuit{Topology: RC, ROhm: 1, SourceOhm: 0.5, LoadOhm: 10, C1: Capacitor{F: 1e-3, ESROhm: 0.04}}
	for _, n := range []int{2, 3, 7, 64, 65, 1001} {
		tr := &capture.Trace{SampleRateHz: 1e6, Volts: make([]float64, n), Coupling: capture.CouplingDC}
		for i := range tr.Volts {
			tr.Volts[i] = 7
		}
		got, err := new(workspace).apply(context.Background(), tr, c)
		if err != nil {
			t.Fatal(err)
		}
		// 7 V under 10 Ω with 0.5 Ω inside is 7.35 V; with 1 Ω more: 7.35·10/11.5.
		want := 7.35 * 10 / 11.5
		for i, v := range got.Volts {
			if math.Abs(v-want) > 1e-9 || tr.Volts[i] != 7 {
				t.Fatalf("%d samples: %g V, want %g", n, v, want)
			}
		}
	}
	if _, err := new(workspace).apply(context.Background(), &capture.Trace{SampleRateHz: 1, Volts: []float64{1}}, c); err == nil {
		t.Error("one sample was filtered")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := new(workspace).apply(ctx, &capture.Trace{SampleRateHz: 1, Volts: make([]float64, 100)}, c); err == nil {
		t.Error("went on after it was cancelled")
	}
}

func TestCheck(t *testing.T) {
	good := Circuit{Topology: RC, ROhm: 1, C1: Capacitor{F: 1e-3}}
	if err := good.Check(); err != nil {
		t.Error(err)
	}
	for name, c := range map[string]Circuit{
		"no topology":  {ROhm: 1, C1: Capacitor{F: 1e-3}},
		"no resistor":  {Topology: RC, C1: Capacitor{F: 1e-3}},
		"no capacitor": {Topology: LC, L: Inductor{H: 1e-6}},
		"no coil":      {Topology: LC, C1: Capacitor{F: 1e-3}},
		"one of two":   {Topology: CLC, L: Inductor{H: 1e-6}, C1: Capacitor{F: 1e-3}},
		"negative":     {Topology: RC, ROhm: -1, C1: Capacitor{F: 1e-3}},
		"NaN":          {Topology: RC, ROhm: 1, C1: Capacitor{F: 1e-3, ESROhm: math.NaN()}},
	} {
		if err := c.Check(); err == nil {
			t.Errorf("%s passed", name)
		}
	}
}

// More capacitance, less ESR or ESL never lets more through a filter without a
// coil, at any frequency where it matters.
func TestGainMovesTheRightWay(t *testing.T) {
	base := Circuit{Topology: RC, ROhm: 1.1, LoadOhm: 10, C1: Capacitor{F: 470e-6, ESROhm: 0.09, ESLH: 15e-9}}
	better := map[string]Circuit{}
	for name, change := range map[string]func(*Circuit){
		"more resistance": func(c *Circuit) { c.ROhm *= 2 },
		"more source":     func(c *Circuit) { c.SourceOhm = 0.5 },
		"less ESR":        func(c *Circuit) { c.C1.ESROhm /= 3 },
		"less ESL":        func(c *Circuit) { c.C1.ESLH /= 3 },
	} {
		c := base
		change(&c)
		better[name] = c
	}
	for name, c := range better {
		for hz := 10.0; hz < 30e6; hz *= 1.3 {
			was, is := DB(Insertion(base, hz))-DB(Insertion(base, 0)), DB(Insertion(c, hz))-DB(Insertion(c, 0))
			// ESR rules from 2 kHz to 1 MHz in this part, ESL above
			rules := !strings.HasPrefix(name, "less") || name == "less ESR" && hz > 2e3 && hz < 1e6 || name == "less ESL" && hz > 2e6
			if rules && is > was+1e-6 {
				t.Errorf("%s: %.4f dB at %g Hz, was %.4f", name, is, hz, was)
			}
		}
	}
	big := base
	big.C1.F *= 2
	for hz := 10.0; hz < 30e3; hz *= 1.3 {
		if DB(Insertion(big, hz)) > DB(Insertion(base, hz)) {
			t.Errorf("twice the capacitance lets more through at %g Hz", hz)
		}
	}
}

// nearMiss is a unit over its ripple limit by overDB at 100 kHz, spikes of a
// given ring frequency and height.
func nearMiss(overDB, spikeV, ringHz float64) Input {
	const rate = 100e6
	tg, err := target.Custom(map[string]float64{"ripple_pp_v": 20e-3, "spike_peak_p95_v": 30e-3, "band_20k_1m_rms_v": 10e-3}, nil, [2]float64{6.6, 7.6}, nil)
	if err != nil {
		panic(err)
	}
	pp := 20e-3 * math.Pow(10, overDB/20)
	m := &analysis.Measurement{
		File: "fast.csv", Calibrated: true, SampleRateHz: rate, Samples: 100000, DurationS: 1e-3,
		Span: capture.Span{LowHz: 4e3, HighHz: 40e6}, LoadA: 0.6,
		SwitchingHz: figure.Known(100e3), RipplePPV: figure.Known(pp), RippleRMSV: figure.Known(pp / 3.4641),
		Bands: []spectrum.Band{{ID: "20k_1m", LowHz: 20e3, HighHz: 1e6, RMSV: figure.Known(pp / 3.4641)}},
	}
	m.Cycle = analysis.Cycle{PeriodS: 10e-6, MeanV: make([]float64, 1000)}
	for i := range m.Cycle.MeanV {
		x := float64(i) / 1000
		m.Cycle.MeanV[i] = pp * (2*math.Min(x, 1-x) - 0.5)
	}
	m.Spikes = analysis.SpikeSummary{Count: 200, PerS: figure.Known(2e5), PeakP95V: figure.Known(spikeV), RingHz: figure.Known(ringHz)}
	m.Spikes.Typical = analysis.Envelope{StepS: 1 / rate, MinV: make([]float64, 400)}
	for i := range m.Spikes.Typical.MinV {
		if s := float64(i-100) / rate; s >= 0 {
			m.Spikes.Typical.MinV[i] = spikeV * math.Exp(-s*ringHz) * math.Sin(2*math.Pi*ringHz*s)
		}
	}
	m.Spikes.Typical.MaxV = m.Spikes.Typical.MinV
	for hz := 10e3; hz < 40e6; hz *= 1.02 {
		v := 1e-6
		if math.Abs(hz/100e3-1) < 0.011 {
			v = pp / 3.4641 / math.Sqrt(0.02*hz)
		}
		m.Spectrum.FrequencyHz, m.Spectrum.VPerRtHz = append(m.Spectrum.FrequencyHz, hz), append(m.Spectrum.VPerRtHz, v)
	}
	return Input{Target: tg, Unit: target.Unit{
		Key: "Invented 1", HeaterA: 0.6, Readings: []target.Reading{{LoadA: 0, V: 7.2}, {LoadA: 0.6, V: 7.1}}, Captures: []*analysis.Measurement{m},
	}}
}

func TestSearchRescuesANearMiss(t *testing.T) {
	in := nearMiss(6, 20e-3, 10e6)
	if v := target.Evaluate(in.Unit, in.Target).Verdict; v != target.NearMiss {
		t.Fatalf("verdict %q to begin with", v)
	}
	a, err := Search(context.Background(), in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !a.Found || a.ReserveDB != 3 || a.CommonMode == "" {
		t.Fatalf("%+v", a)
	}
	c := a.Best.Circuit
	// The dropper is (7.1 - 6.3)/0.6 = 1.333 Ω, in E24 1.3 Ω; one low-impedance
	// electrolytic across it with a short ceramic is the least of all, and 12 dB of
	// attenuation is within its reach.
	if c.Topology != RC || c.ROhm != 1.3 || c.C1.F < 470e-6 || c.CFilm.F == 0 || math.Abs(a.Best.DropV-0.78) > 1e-9 {
		t.Errorf("%+v", a.Best)
	}
	if a.Best.After.Verdict != target.Pass || a.Best.Method != FromSpectrum {
		t.Errorf("%q by %s", a.Best.After.Verdict, a.Best.Method)
	}
	for _, m := range a.Best.After.Margins {
		if m.Limit.Criterion == target.HeaterDC {
			continue
		}
		if m.DB < 3 && m.Limit.Criterion != target.SpikePeak || !strings.HasSuffix(m.From, ", predicted") {
			t.Errorf("%s: %.1f dB from %q", m.Limit.Criterion, m.DB, m.From)
		}
	}
	// Nothing cheaper in the catalogue would do: every candidate before it fails.
	base, dropper, _ := circuitOf(in, target.Evaluate(in.Unit, in.Target), Options{})
	for _, k := range candidates(base, dropper, DefaultCatalogue()) {
		if k.cost() >= c.cost() {
			break
		}
		if shortfall(target.Evaluate(in.Unit, in.Target), target.Evaluate(in.estimated(k.worn(), everything), in.Target), 3) <= 0 {
			if _, db := peak(k); db <= worstPeakDB {
				t.Errorf("cheaper and enough: %+v", k)
			}
		}
	}
}

// Whatever the filter, what goes in series with it is a part that is sold, and
// with the coil's own resistance it is the dropper to within its tolerance.
func TestSearchFitsStandardDroppers(t *testing.T) {
	in := nearMiss(6, 20e-3, 10e6)
	before := target.Evaluate(in.Unit, in.Target)
	for _, opt := range []Options{{}, {DropperOhm: 1.2}, {DropperOhm: 1.18, DropperLabel: "1 Ω + 0.18 Ω"}, {DropperOhm: 0.91}, {Series: "E12"}} {
		base, fit, trouble := circuitOf(in, before, opt)
		if trouble != "" {
			t.Fatal(trouble)
		}
		want := opt.DropperOhm
		if want == 0 {
			want = 1.3
		}
		if opt.Series == "E12" {
			want = 1.2 // 1.333 lies nearer to 1.2 than to 1.5
		}
		if fit.ohm != want {
			t.Errorf("%+v: dropper %g Ω", opt, fit.ohm)
		}
		for _, c := range candidates(base, fit, DefaultCatalogue()) {
			if c.Topology == RC && (c.ROhm != want || c.RLabel != opt.DropperLabel) {
				t.Errorf("%+v: RC with %g Ω %q", opt, c.ROhm, c.RLabel)
			}
			below, above, err := heater.Neighbours(fit.series, c.ROhm)
			if err != nil || c.ROhm > 0 && below != above && c.RLabel == "" {
				t.Errorf("%+v: %s with %g Ω, which nobody sells", opt, c.Topology, c.ROhm)
			}
			if total := c.ROhm + c.L.DCROhm; math.Abs(total-want) > 0.08*want {
				t.Errorf("%+v: %s drops over %.3g Ω, the dropper is %.3g Ω", opt, c.Topology, total, want)
			}
		}
	}
	in.Unit.Readings = []target.Reading{{LoadA: 0.6, V: 6.32}}
	if _, _, trouble := circuitOf(in, target.Evaluate(in.Unit, in.Target), Options{}); !strings.Contains(trouble, "no drop") {
		t.Errorf("33 mΩ to drop: %q", trouble)
	}
	c := Circuit{Topology: RC, ROhm: 1.18, RLabel: "1 Ω + 0.18 Ω", C1: Capacitor{F: 1e-3, Kind: Electrolytic}}
	if parts := c.Shopping(7, 0.6); parts[0] != "1 Ω + 0.18 Ω 1 W in series (the dropper)" {
		t.Errorf("%q", parts)
	}
}

// A greater miss never takes a cheaper filter, and a greater reserve neither.
func TestSearchCostRisesWithTheMiss(t *testing.T) {
	last := 0.0
	for _, over := range []float64{1, 4, 7, 10, 20, 30} {
		a, err := Search(context.Background(), nearMiss(over, 20e-3, 10e6), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !a.Found {
			break
		}
		if a.Best.Cost < last {
			t.Errorf("%g dB over: cost %.0f after %.0f", over, a.Best.Cost, last)
		}
		last = a.Best.Cost
	}
	if last == 0 {
		t.Error("nothing was ever found")
	}
}

func TestSearchSaysWhyNoneDoes(t *testing.T) {
	// Only an electrolytic with long leads: its ESL passes what rings at 30 MHz.
	only, err := NewCapacitor(Electrolytic, 1000e-6)
	if err != nil {
		t.Fatal(err)
	}
	only.ESROhm, only.ESLH = 1e-3, 60e-9
	a, err := Search(context.Background(), nearMiss(3, 90e-3, 30e6), Options{Catalogue: &Catalogue{Bulk: []Capacitor{only}}})
	if err != nil {
		t.Fatal(err)
	}
	if a.Found || !strings.Contains(a.Why, "ESL") {
		t.Errorf("found %v: %s", a.Found, a.Why)
	}
	in := nearMiss(3, 20e-3, 10e6)
	in.Unit.Readings = []target.Reading{{LoadA: 0.6, V: 12}}
	if a, _ := Search(context.Background(), in, Options{}); a.Found || !strings.Contains(a.Why, "volts under load") {
		t.Errorf("%s", a.Why)
	}
	in = nearMiss(3, 40e-3, 10e6)
	in.Unit.Captures[0].Spikes.PeakP95V.LowerBound = true
	if a, err := Search(context.Background(), in, Options{}); err != nil || a.Found || !strings.Contains(a.Why, "lower bound") {
		t.Errorf("%v: %s", err, a.Why)
	}
	in = nearMiss(3, 20e-3, 10e6)
	in.Unit.HeaterA = 0
	if a, _ := Search(context.Background(), in, Options{}); a.Found || a.Why == "" {
		t.Errorf("%s", a.Why)
	}
	if a, _ := Search(context.Background(), nearMiss(-6, 20e-3, 10e6), Options{}); a.Found || a.Why == "" {
		t.Errorf("a passing unit: %s", a.Why)
	}
}

func TestWarnings(t *testing.T) {
	in := nearMiss(6, 20e-3, 10e6)
	ceramic, err := NewCapacitor(Ceramic, 22e-6)
	if err != nil || ceramic.F != 11e-6 || ceramic.NominalF != 22e-6 {
		t.Fatalf("%+v %v", ceramic, err)
	}
	for name, row := range map[string]struct {
		c    Circuit
		want string
	}{
		"start-up":        {Circuit{Topology: RC, ROhm: 0.2, LoadOhm: 10, C1: Capacitor{F: 4700e-6, ESROhm: 0.02}}, "usually start with up to"},
		"loop":            {Circuit{Topology: LC, LoadOhm: 10, L: Inductor{H: 10e-6}, C1: Capacitor{F: 100e-6, ESROhm: 0.01}}, "control loop"},
		"peak on ripple":  {Circuit{Topology: LC, LoadOhm: 10, L: Inductor{H: 1e-6}, C1: Capacitor{F: 2.2e-6, ESROhm: 0.01}}, "switching frequency"},
		"drops too much":  {Circuit{Topology: RC, ROhm: 3, LoadOhm: 10, C1: Capacitor{F: 100e-6, ESROhm: 0.01}}, "to spare"},
		"ceramic at DC":   {Circuit{Topology: RC, ROhm: 1, LoadOhm: 10, C1: ceramic}, "ceramic"},
		"a short":         {Circuit{Topology: RC, ROhm: 1.3, LoadOhm: 10, C1: Capacitor{F: 47e-6, ESROhm: 0.04}}, "carries the heaters, not a shorted one"},
		"through dropper": {Circuit{Topology: RC, ROhm: 1.3, LoadOhm: 10, C1: Capacitor{F: 4700e-6, ESROhm: 0.02}}, "at switch-on"},
	} {
		r, err := Predict(context.Background(), in, row.c)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(strings.Join(r.Warnings, "\n"), row.want) {
			t.Errorf("%s: %q", name, r.Warnings)
		}
	}
	quiet := Circuit{Topology: RC, ROhm: 1.3, RatingW: 5, LoadOhm: 10, C1: Capacitor{F: 47e-6, ESROhm: 0.04, Kind: Electrolytic}}
	if r, _ := Predict(context.Background(), in, quiet); len(r.Warnings) != 0 {
		t.Errorf("a plain RC: %q", r.Warnings)
	}
	// A larger one is no trouble, but what it draws is told.
	quiet.C1.F = 1000e-6
	if r, _ := Predict(context.Background(), in, quiet); len(r.Warnings) != 1 || !strings.HasPrefix(r.Warnings[0], "inrush: 1000 µF draws up to ") {
		t.Errorf("a plain RC of 1000 µF: %q", r.Warnings)
	}
}

// What the first capacitor carries of the supply's ripple is at most the ripple over the
// impedance ahead of it (Ohm's law): 70 mV rms over 40 mΩ ahead of a coil 1.75 A, behind
// 0.75 Ω 89 mA, which every such part carries.
func TestRippleCurrent(t *testing.T) {
	m := &analysis.Measurement{Mode: capture.Differential, RippleRMSV: figure.Known(70e-3), SwitchingHz: figure.Known(100e3)}
	c1 := Capacitor{F: 1000e-6, ESROhm: 0.04, Kind: Electrolytic}
	clc := Circuit{Topology: CLC, C1: c1, C2: c1, L: Inductor{H: 10e-6}}
	w := strings.Join(rippleWarnings(clc, []*analysis.Measurement{m}), "\n")
	if !strings.Contains(w, "up to 1.8 A rms") && !strings.Contains(w, "up to 1.7 A rms") {
		t.Errorf("CLC: %q", w)
	}
	if w := rippleWarnings(Circuit{Topology: RC, ROhm: 0.75, C1: c1}, []*analysis.Measurement{m}); len(w) != 0 {
		t.Errorf("RC: %q", w)
	}
	m.Mode = capture.Common
	if w := rippleWarnings(clc, []*analysis.Measurement{m}); len(w) != 0 {
		t.Errorf("common mode flows elsewhere: %q", w)
	}
}

// What a builder buys by the list has its volts and amps, and what a caution says of a part
// agrees with the list.
func TestPartsAgreeWithTheCautions(t *testing.T) {
	l, err := NewInductor(100e-6)
	if err != nil {
		t.Fatal(err)
	}
	c1, err := NewCapacitor(Electrolytic, 470e-6)
	if err != nil {
		t.Fatal(err)
	}
	damp, err := NewCapacitor(Electrolytic, 2200e-6)
	if err != nil {
		t.Fatal(err)
	}
	r := Describe(Circuit{Topology: LC, L: l, C1: c1, DampOhm: 0.47, CDamp: damp, LoadOhm: 14}, 12.6, 0.9)
	parts, cautions := strings.Join(r.Parts, "\n"), strings.Join(r.Warnings, "\n")
	for _, want := range []string{"coil for 1.2 A or more, rated and saturation current", "0.47 Ω in series with a 2200 µF 25 V 105 °C low-impedance electrolytic capacitor across the heaters, as damping, its + towards"} {
		if !strings.Contains(parts, want) {
			t.Errorf("no %q in\n%s", want, parts)
		}
	}
	// 12.77 V over 0.19 Ω of coil and 85 mΩ beside 0.47 Ω would be 49 A: the supply decides.
	for _, want := range []string{"a coil that is usually rated about 0.63 A", "take a larger one, of the current named", "draws as much as the supply gives"} {
		if !strings.Contains(cautions, want) {
			t.Errorf("no %q in\n%s", want, cautions)
		}
	}
	// √(10 µH / 100 µF) is 0.316 Ω, of which an electrolytic of 470 µF has 85 mΩ itself
	// (40 Ω·µF); with the rest in series the 12 dB are nearly gone.
	small := Circuit{Topology: LC, LoadOhm: 10.5, L: Inductor{H: 10e-6, DCROhm: 0.06}, C1: Capacitor{F: 100e-6, ESROhm: 0.01}}
	r = Describe(small, 6.3, 0.6)
	if w := strings.Join(r.Warnings, "\n"); !strings.Contains(w, "damp it with about 0.23 Ω in series with an electrolytic of 470 µF or more across the heaters: 0.32 Ω in all, the capacitor's ESR of about 85 mΩ included") {
		t.Errorf("%+.1f dB: %s", r.PeakDB, w)
	}
	if small.CDamp, err = NewCapacitor(Electrolytic, 470e-6); err != nil {
		t.Fatal(err)
	}
	small.DampOhm = 0.23
	if d := Describe(small, 6.3, 0.6); r.PeakDB < 10 || d.PeakDB > 4 {
		t.Errorf("%+.1f dB, damped %+.1f dB", r.PeakDB, d.PeakDB)
	}
	l.RatedA = 0.5
	if r = Describe(Circuit{Topology: LC, L: l, C1: c1, LoadOhm: 14}, 12.6, 0.9); !strings.Contains(strings.Join(r.Warnings, "\n"), "through a coil rated 0.5 A") {
		t.Errorf("a rating that is told: %q", r.Warnings)
	}
	ceramic, err := NewCapacitor(Ceramic, 22e-6)
	if err != nil {
		t.Fatal(err)
	}
	r = Describe(Circuit{Topology: RC, ROhm: 2.7, C1: ceramic, LoadOhm: 14}, 12.6, 0.9)
	if w := strings.Join(r.Warnings, "\n"); !strings.Contains(w, "ceramic loses") || strings.Contains(w, "16 V") || !strings.Contains(r.Parts[1], "35 V") {
		t.Errorf("a ceramic at 15 V: %q, %q", r.Parts, w)
	}
}

// A damping electrolytic brings its ESR, which is on top of the resistor. 1 µH and 11 µF
// into 7 Ω peak at 18.2 dB; 0.3 Ω = √(L/C) in series with 47 µF would leave 2.1 dB if the
// capacitor were ideal, and 8.5 dB with its 0.85 Ω (40 Ω·µF); 220 µF of 0.18 Ω with 0.12 Ω
// leave 0.5 dB. All by ngspice, AC analysis of the same circuits (capacitor's ESL 15 nH,
// coil's DCR 19 mΩ and 4.05 pF across it).
func TestDampingCountsTheCapacitorsESR(t *testing.T) {
	l, err := NewInductor(1e-6)
	if err != nil {
		t.Fatal(err)
	}
	c1, err := NewCapacitor(CeramicSMD, 22e-6)
	if err != nil {
		t.Fatal(err)
	}
	c := Circuit{Topology: LC, LoadOhm: 7, L: l, C1: c1}
	electrolytic := func(f float64) Capacitor {
		p, err := NewCapacitor(Electrolytic, f)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	for _, k := range []struct {
		name   string
		damp   Capacitor
		ohm    float64
		peakDB float64
	}{
		{"none", Capacitor{}, 0, 18.2}, {"ideal", Capacitor{F: 47e-6, ESLH: 15e-9}, 0.3, 2.10}, {"47 µF", electrolytic(47e-6), 0.3, 8.47}, {"220 µF", electrolytic(220e-6), 0.12, 0.54},
	} {
		c.CDamp, c.DampOhm = k.damp, k.ohm
		if _, db := peak(c); math.Abs(db-k.peakDB) > 0.05 {
			t.Errorf("%s: %.2f dB, ngspice has %.2f dB", k.name, db, k.peakDB)
		}
	}
	c.CDamp, c.DampOhm = Capacitor{}, 0
	w := strings.Join(Describe(c, 6.3, 0.9).Warnings, "\n")
	if !strings.Contains(w, "damp it with about 0.12 Ω in series with an electrolytic of 220 µF or more") {
		t.Error(w)
	}
	// Worn parts damp less, and a promise must stand that.
	c.CDamp, c.DampOhm = electrolytic(220e-6), 0.12
	if worn := c.worn().CDamp; worn.ESROhm != 2*c.CDamp.ESROhm || math.Abs(worn.F-0.8*220e-6) > 1e-12 {
		t.Errorf("%+v", worn)
	}
}

func TestParts(t *testing.T) {
	for v, want := range map[float64]string{2.2e-3: "2200 µF", 470e-6: "470 µF", 1.333: "1.33 Ω", 15e-9: "15 nH", 999.98e-6: "1000 µF", 2.2e-9: "2.2 nF", 4.7e-3: "4700 µF", 25e6: "25 MHz"} {
		unit := strings.TrimLeft(want[strings.Index(want, " ")+1:], "mµnkM")
		if got := si(v, unit); got != want {
			t.Errorf("%g: %q, want %q", v, got, want)
		}
	}
	if _, err := NewCapacitor("paper", 1e-6); err == nil {
		t.Error("an unknown kind was made")
	}
	if ratedVolts(7) != 10 || ratedVolts(12.6) != 25 || ratedVolts(15) != 25 {
		t.Error("ratings")
	}
}

// The spectral estimate against the filtered samples measured again, on
// synthetic supplies: what is linear agrees within 3 %; ripple, where it matters what
// counts as a spike, within a factor of 2.5. The peak-to-peak adds up what need not come
// together, so that it is never far below the samples', and up to 3.2 times as great.
func TestEstimateAgreesWithSamples(t *testing.T) {
	ctx := context.Background()
	for _, seed := range []uint64{3, 8}[:testrun.Short(2, 1)] {
		s := synth.Supply{
			Seed: seed, DCV: 7, ACCoupled: true, SwitchingHz: 70e3 + 10e3*float64(seed), RipplePPV: 30e-3, ESRStepV: 6e-3, Duty: 0.4,
			SpikeRiseV: 40e-3, SpikeFallV: -30e-3, SpikeWidthS: 60e-9, RingRiseHz: 7e6, RingFallHz: 6e6, RingQ: 5,
			NoiseVPerRtHz: 0.2e-6, CornerHz: 100, RateHz: 62.5e6, Samples: 1 << 17, ADCBits: 12,
		}
		tr, _ := s.Trace("synthetic")
		setup := analysis.Setup{LoadA: 0.6, HeaterA: 0.6}
		m, err := analysis.Measure(ctx, tr, setup)
		if err != nil {
			t.Fatal(err)
		}
		tg, err := target.Named("line-preamp")
		if err != nil {
			t.Fatal(err)
		}
		in := Input{Unit: target.Unit{HeaterA: 0.6, Captures: []*analysis.Measurement{m}}, Target: tg, Traces: []*capture.Trace{tr}, Setups: []analysis.Setup{setup}}
		for _, c := range []Circuit{
			{Topology: RC, ROhm: 1.2, LoadOhm: 10.5, C1: Capacitor{F: 470e-6, ESROhm: 0.085, ESLH: 15e-9}},
			{Topology: RC, ROhm: 1.2, LoadOhm: 10.5, C1: Capacitor{F: 10e-6, ESROhm: 0.005, ESLH: 2e-9}},
			{Topology: LC, ROhm: 1.1, LoadOhm: 10.5, L: Inductor{H: 2.2e-6, DCROhm: 0.03, SelfResonanceHz: 50e6}, C1: Capacitor{F: 100e-6, ESROhm: 0.4, ESLH: 15e-9}},
		} {
			got, err := Predict(ctx, in, c)
			if err != nil {
				t.Fatal(err)
			}
			if got.Method != FromSamples {
				t.Fatal(got.Method)
			}
			fast := in
			fast.Traces = nil
			est, err := Predict(ctx, fast, c)
			if err != nil {
				t.Fatal(err)
			}
			if w := got.Wave; len(w.BeforeV) < 100 || len(w.AfterV) != len(w.BeforeV) || peakToPeak(w.AfterV) >= peakToPeak(w.BeforeV) || math.Abs(mean(w.AfterV)) > 1e-9 {
				t.Errorf("wave of %d and %d samples", len(w.BeforeV), len(w.AfterV))
			}
			a, b := got.After.Unit.Captures[0], est.After.Unit.Captures[0]
			near := func(what string, x, y figure.Figure, tol float64) {
				t.Helper()
				if !x.Known || !y.Known || math.Abs(math.Log(y.Value/x.Value)) > math.Log(tol) {
					t.Errorf("seed %d %s %g F: %s %.4g by samples, %.4g estimated", seed, c.Topology, c.C1.F, what, x.Value, y.Value)
				}
			}
			near("ripple", a.RipplePPV, b.RipplePPV, 2.5)
			if x, y := a.PP20MHzV, b.PP20MHzV; !x.Known || !y.Known || y.Value < 0.9*x.Value || y.Value > 3.2*x.Value {
				t.Errorf("seed %d %s %g F: p-p (20 MHz) %.4g by samples, %.4g estimated", seed, c.Topology, c.C1.F, x.Value, y.Value)
			}
			near("switching line", a.SwitchingFundamentalRMSV, b.SwitchingFundamentalRMSV, 1.03)
			for i := range a.Bands {
				if a.Bands[i].ID == "20k_1m" || a.Bands[i].ID == "1m_20m" {
					near(a.Bands[i].Name, a.Bands[i].RMSV, b.Bands[i].RMSV, 1.03)
				}
			}
		}
	}
}

// A coil with a ceramic alone rings; the damped variant among the candidates
// does not, and costs two parts more.
func TestDampedCandidates(t *testing.T) {
	base := Circuit{SourceOhm: 0.05, LoadOhm: 10}
	n := 0
	for _, c := range candidates(base, dropper{ohm: 0.3, series: "E24"}, DefaultCatalogue()) {
		if c.CDamp.F == 0 || c.needlesslyDamped() {
			continue
		}
		n++
		bare := c
		bare.CDamp, bare.DampOhm = Capacitor{}, 0
		_, was := peak(bare)
		_, is := peak(c)
		if c.DampOhm > 0 && c.DampOhm < 0.08 || c.CDamp.ESROhm <= 0 {
			t.Errorf("damped by %g Ω and %+v", c.DampOhm, c.CDamp)
		}
		if was <= worstPeakDB || is >= was-1 {
			t.Errorf("%s %g H %g F: peak %.1f dB, %.1f dB damped", c.Topology, c.L.H, c.C1.F, was, is)
		}
		if c.cost() < bare.cost()+2000 {
			t.Error("damping came free")
		}
	}
	if n == 0 {
		t.Error("nothing was damped")
	}
	for v, want := range map[float64]float64{0.316: 0.33, 1: 1, 9.5: 10, 82e-3: 82e-3} {
		if got := standard(v, []float64{10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82}, false); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%g: %g, want %g", v, got, want)
		}
	}
	if got := standard(44e-6, []float64{10, 22, 47}, true); math.Abs(got/47e-6-1) > 1e-9 {
		t.Errorf("%g", got)
	}
	if got := standard(48e-6, []float64{10, 22, 47}, true); math.Abs(got/100e-6-1) > 1e-9 {
		t.Errorf("%g", got)
	}
}

// What is recommended keeps its promise with the capacitors' ESR doubled and
// their value 20 % down: every limit that was broken is met with the reserve.
func TestRecommendationStandsWornParts(t *testing.T) {
	overDB, ringsHz, least := []float64{1, 4, 8, 12, 16}, []float64{2e6, 10e6, 25e6}, 12
	if !testrun.Full() {
		overDB, ringsHz, least = []float64{1, 8, 16}, []float64{10e6}, 3
	}
	found := 0
	for _, over := range overDB {
		for _, ring := range ringsHz {
			in := nearMiss(over, 20e-3, ring)
			before := target.Evaluate(in.Unit, in.Target)
			a, err := Search(context.Background(), in, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if !a.Found {
				continue
			}
			for _, r := range append([]Result{a.Best}, a.Others...) {
				found++
				c := r.Circuit
				for _, p := range []*Capacitor{&c.C1, &c.C2, &c.CFilm} {
					p.ESROhm, p.F = 2*p.ESROhm, 0.8*p.F
				}
				worn, err := Predict(context.Background(), in, c)
				if err != nil {
					t.Fatal(err)
				}
				wornDB := math.Inf(1)
				for i, b := range before.Margins {
					if b.Covered && b.DB < 0 {
						wornDB = math.Min(wornDB, worn.After.Margins[i].DB)
					}
				}
				if wornDB < a.ReserveDB || !r.WornKnown || math.Abs(r.WornDB-wornDB) > 1e-9 {
					t.Errorf("%g dB over, %s %g F: %.2f dB worn, told %.2f", over, c.Topology, r.Circuit.C1.F, wornDB, r.WornDB)
				}
				if r.Circuit.C1.F < 220e-6 || r.Circuit.CFilm.F == 0 {
					t.Errorf("%g dB over: %+v is no part an engineer would fit", over, r.Circuit)
				}
			}
		}
	}
	if found < least {
		t.Errorf("only %d recommendations", found)
	}
}

// A capacitor is rated by the most volts that any reading shows: 12.5 V unloaded
// vents a 10 V part, whatever the loaded volts are. Polarity, temperature, ESR
// limit and the resistor's watts stand with the parts.
func TestPartsAreRatedByTheUnloadedVolts(t *testing.T) {
	u := target.Unit{HeaterA: 0.6, RatedV: 7, Readings: []target.Reading{{LoadA: 0, V: 12.5}, {LoadA: 0.6, V: 7.1}}}
	if v := mostVolts(u, 7.1); v != 12.5 {
		t.Errorf("%g V", v)
	}
	u.Readings = []target.Reading{{LoadA: 0.3, V: 9.8}, {LoadA: 0.6, V: 7.1}} // 12.5 V by the line through both
	if v := mostVolts(u, 7.1); math.Abs(v-12.5) > 1e-9 {
		t.Errorf("%g V", v)
	}
	in := nearMiss(6, 20e-3, 10e6)
	in.Unit.Readings = []target.Reading{{LoadA: 0, V: 12.5}, {LoadA: 0.6, V: 7.1}}
	a, err := Search(context.Background(), in, Options{SourceOhm: 0.01})
	if err != nil || a.Best.Circuit.Topology == "" {
		t.Fatal(err, a.Why)
	}
	list := strings.Join(a.Best.Parts, "\n")
	for _, w := range []string{" 25 V 105 °C", "+ to the positive wire", "mounted clear of the dropper", "ESR at most ", "at 100 kHz", " 1 W in series"} {
		if !strings.Contains(list, w) {
			t.Errorf("no %q in\n%s", w, list)
		}
	}
}

// A coil that the heaters' current would saturate is neither searched nor passed
// over in silence.
func TestCoilCurrent(t *testing.T) {
	base := Circuit{SourceOhm: 0.05, LoadOhm: 6.3}
	for _, c := range candidates(base, dropper{ohm: 2, series: "E24", loadA: 1}, DefaultCatalogue()) {
		if c.Topology != RC && c.L.RatedA < 1.25 {
			t.Errorf("%g H for %g A", c.L.H, c.L.RatedA)
		}
	}
	l, err := NewInductor(100e-6)
	if err != nil {
		t.Fatal(err)
	}
	in := nearMiss(6, 20e-3, 10e6)
	in.Unit.HeaterA = 1
	r, err := Predict(context.Background(), in, Circuit{Topology: LC, LoadOhm: 6.3, L: l, C1: Capacitor{F: 470e-6, ESROhm: 0.1, Kind: Electrolytic}})
	if err != nil || !strings.Contains(strings.Join(r.Warnings, " "), "saturates") {
		t.Errorf("%v %q", err, r.Warnings)
	}
}

// Leads and the supply's own output capacitor by complex arithmetic written out:
// 0.1 Ω, 1000 µF with 30 mΩ, 1 m of leads, then an RC.
func TestLeadsAndOutputCapacitor(t *testing.T) {
	c := Circuit{Topology: RC, SourceOhm: 0.1, SourceH: LeadH(1), CSource: Capacitor{F: 1000e-6, ESROhm: 0.03}, ROhm: 0.75, LoadOhm: 6.7,
		C1: Capacitor{F: 470e-6, ESROhm: 0.085, ESLH: 15e-9}}
	for _, hz := range []float64{50, 1e3, 20e3, 300e3, 5e6} {
		w := 2 * math.Pi * hz
		par := func(a, b complex128) complex128 { return a * b / (a + b) }
		out := par(complex(6.7, 0), complex(0.085, w*15e-9-1/(w*470e-6)))
		own := complex(0.03, -1/(w*1000e-6))
		lead := complex(0, w*1e-6)
		at := par(own, lead+0.75+out) // at the terminals, with the filter
		bare := par(own, lead+6.7)
		want := at / (at + 0.1) * out / (lead + 0.75 + out) / (bare / (bare + 0.1))
		if d := math.Abs(DB(Insertion(c, hz)) - DB(want)); d > 1e-9 {
			t.Errorf("%g Hz: %.6f dB off", hz, d)
		}
	}
	plain := c
	plain.SourceH, plain.CSource = 0, Capacitor{}
	if d := DB(Insertion(plain, 1e6)) - DB(Insertion(c, 1e6)); d < 3 {
		t.Errorf("a metre of lead takes only %.2f dB more at 1 MHz", d)
	}
}

// The gain between the knots is the circuit's own: resonances of a high Q, poles
// and the lowest bins included.
func TestMultiplyFollowsTheGain(t *testing.T) {
	c := Circuit{Topology: LC, LoadOhm: 10, L: Inductor{H: 10e-6, DCROhm: 0.02, SelfResonanceHz: 25e6}, C1: Capacitor{F: 10e-6, ESROhm: 0.02, ESLH: 8e-9, Kind: Ceramic}}
	const n, binHz = 600_001, 83.0
	spectrum := make([]complex128, n)
	for i := range spectrum {
		spectrum[i] = 1
	}
	calls := 0
	multiply(spectrum, binHz, func(hz float64) complex128 { calls++; return Insertion(c, hz) })
	for k := 0; k < n; k += 1 + k/500 {
		want := Insertion(c, float64(k)*binHz)
		if d := cmplx.Abs(spectrum[k] - want); d > 2e-5*math.Max(cmplx.Abs(want), 1e-3) {
			t.Fatalf("at %g Hz: %v, want %v", float64(k)*binHz, spectrum[k], want)
		}
	}
	if calls > n/20 {
		t.Errorf("the gain was worked out %d times for %d bins", calls, n)
	}
	// The last bin counts too.
	if want := Insertion(c, (n-1)*binHz); cmplx.Abs(spectrum[n-1]-want) > 1e-9 {
		t.Errorf("last bin %v, want %v", spectrum[n-1], want)
	}
}

// The peak by a coarse grid and a fine one beside its maxima is that of the fine one.
func TestPeakIsThatOfTheFineGrid(t *testing.T) {
	for i, c := range candidates(Circuit{LoadOhm: 10.5, SourceOhm: 0.1, SourceH: 0.5e-6}, dropper{ohm: 1.2, series: "E24"}, DefaultCatalogue()) {
		if i%testrun.Short(8, 1) != 0 {
			continue
		}
		wantHz, want := 0.0, math.Inf(-1)
		for k := 0; k <= curveDecades*peakPoints; k++ {
			hz := math.Pow(10, float64(k)/peakPoints)
			if g := DB(Insertion(c, hz)); g > want {
				wantHz, want = hz, g
			}
		}
		if hz, db := peak(c); hz != wantHz || db != want {
			t.Errorf("%s %g H %g F: %g dB at %g Hz, want %g at %g", c.Topology, c.L.H, c.C1.F, db, hz, want, wantHz)
		}
	}
}

// Fewer part sets named beside the best are the first of them all, and the best is the same.
func TestFewerOthers(t *testing.T) {
	in := nearMiss(8, 20e-3, 10e6)
	all, err := Search(context.Background(), in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	one, err := Search(context.Background(), in, Options{Others: 1})
	if err != nil {
		t.Fatal(err)
	}
	if !all.Found || len(all.Others) < 2 || len(one.Others) != 1 {
		t.Fatalf("%d others of which %d are asked for, found %v", len(all.Others), len(one.Others), all.Found)
	}
	if !reflect.DeepEqual(one.Best, all.Best) || !reflect.DeepEqual(one.Others[0], all.Others[0]) {
		t.Errorf("%v and %v, want %v and %v", one.Best.Parts, one.Others[0].Parts, all.Best.Parts, all.Others[0].Parts)
	}
}
