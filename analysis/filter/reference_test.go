package filter

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"stillglow/capture"
	"stillglow/capture/synth/testrun"
)

const referenceDir = "../../testdata/reference/filter"

// refCircuit is one row of circuits.json, the circuits that ngspice was given.
type refCircuit struct {
	Name      string  `json:"name"`
	Topology  string  `json:"topology"`
	SourceOhm float64 `json:"source_ohm"`
	ROhm      float64 `json:"r_ohm"`
	LoadOhm   float64 `json:"load_ohm"`
	LH        float64 `json:"l_h"`
	LDCROhm   float64 `json:"l_dcr_ohm"`
	LSRFHz    float64 `json:"l_srf_hz"`
	C1F       float64 `json:"c1_f"`
	C1ESROhm  float64 `json:"c1_esr_ohm"`
	C1ESLH    float64 `json:"c1_esl_h"`
	C2F       float64 `json:"c2_f"`
	C2ESROhm  float64 `json:"c2_esr_ohm"`
	C2ESLH    float64 `json:"c2_esl_h"`
	FilmF     float64 `json:"cfilm_f"`
	FilmESR   float64 `json:"cfilm_esr_ohm"`
	FilmESL   float64 `json:"cfilm_esl_h"`
	DampOhm   float64 `json:"damp_ohm"`
	DampF     float64 `json:"cdamp_f"`
}

func (r refCircuit) circuit() Circuit {
	return Circuit{
		Topology: Topology(r.Topology), SourceOhm: r.SourceOhm, ROhm: r.ROhm, LoadOhm: r.LoadOhm,
		L:  Inductor{H: r.LH, DCROhm: r.LDCROhm, SelfResonanceHz: r.LSRFHz},
		C1: Capacitor{F: r.C1F, ESROhm: r.C1ESROhm, ESLH: r.C1ESLH}, C2: Capacitor{F: r.C2F, ESROhm: r.C2ESROhm, ESLH: r.C2ESLH},
		CFilm: Capacitor{F: r.FilmF, ESROhm: r.FilmESR, ESLH: r.FilmESL}, DampOhm: r.DampOhm, CDamp: Capacitor{F: r.DampF},
	}
}

func refCircuits(t *testing.T) []refCircuit {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(referenceDir, "circuits.json"))
	if err != nil {
		t.Fatal(err)
	}
	var list []refCircuit
	if err := json.Unmarshal(b, &list); err != nil {
		t.Fatal(err)
	}
	return list
}

// refTable reads a table of ngspice's results: the first column, and one by
// circuit name.
func refTable(t *testing.T, name string) (x []float64, columns map[string][]float64) {
	t.Helper()
	f, err := os.Open(filepath.Join(referenceDir, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	columns = map[string][]float64{}
	for _, row := range rows[1:] {
		for i, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				x = append(x, v)
			} else {
				columns[rows[0][i]] = append(columns[rows[0][i]], v)
			}
		}
	}
	return x, columns
}

// Every topology against ngspice's .ac analysis of the same parts: 0.2 dB.
func TestResponseAgainstNgspice(t *testing.T) {
	hz, want := refTable(t, "ac.csv")
	for _, r := range refCircuits(t) {
		c, worst, at := r.circuit(), 0.0, 0.0
		if err := c.Check(); err != nil {
			t.Fatal(err)
		}
		for i, f := range hz {
			if d := math.Abs(DB(Response(c, f)) - want[r.Name][i]); d > worst {
				worst, at = d, f
			}
		}
		t.Logf("%s: within %.4f dB of ngspice, worst at %.3g Hz", r.Name, worst, at)
		if worst > 0.2 {
			t.Errorf("%s: %.3f dB off at %g Hz", r.Name, worst, at)
		}
	}
}

// stimulus of generate.py: 7 V with three sines.
func stimulus(s float64) float64 {
	sin := func(v, hz float64) float64 { return v * math.Sin(2*math.Pi*hz*s) }
	return 7 + sin(10e-3, 100e3) + sin(5e-3, 1e6) + sin(5e-3, 3e6)
}

// A filtered trace against ngspice's .tran analysis: the steady waveform within 2 % of its
// peak-to-peak.
func TestApplyAgainstNgspice(t *testing.T) {
	const rate = 50e6
	in := &capture.Trace{SampleRateHz: rate, Coupling: capture.CouplingDC, Volts: make([]float64, 20001)}
	for i := range in.Volts {
		in.Volts[i] = stimulus(float64(i) / rate)
	}
	s, want := refTable(t, "tran.csv")
	for _, r := range refCircuits(t) {
		c := r.circuit()
		got, err := new(workspace).apply(context.Background(), in, c)
		if err != nil {
			t.Fatal(err)
		}
		// A trace is filtered for volts measured under the load; turn them back to the
		// inner ones.
		divider := c.LoadOhm / (c.LoadOhm + c.SourceOhm)
		var a, b []float64
		for i, x := range s {
			a = append(a, got.Volts[int(math.Round(x*rate))]*divider)
			b = append(b, want[r.Name][i])
		}
		ma, mb := mean(a), mean(b)
		worst, pp := 0.0, peakToPeak(b)
		for i := range a {
			worst = math.Max(worst, math.Abs((a[i]-ma)-(b[i]-mb)))
		}
		t.Logf("%s: %.4g V p-p, within %.3f %% of it; DC %.5f V, ngspice %.5f V", r.Name, pp, 100*worst/pp, ma, mb)
		if worst > 0.02*pp {
			t.Errorf("%s: off by %.3f %% of the peak-to-peak", r.Name, 100*worst/pp)
		}
		if math.Abs(peakToPeak(a)/pp-1) > 0.02 {
			t.Errorf("%s: %g V p-p, ngspice %g", r.Name, peakToPeak(a), pp)
		}
		if math.Abs(ma-mb) > 2e-3 {
			t.Errorf("%s: DC %g V, ngspice %g", r.Name, ma, mb)
		}
	}
}

func mean(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

// A fresh run of ngspice gives the committed tables: every .ac, one .tran.
func TestNgspiceTablesAreFresh(t *testing.T) {
	if !testrun.Full() {
		t.Skip("set STILLGLOW_FULL to simulate them afresh")
	}
	for _, tool := range []string{"ngspice", "/usr/bin/python3"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip(tool + " is not installed")
		}
	}
	out, err := exec.Command("/usr/bin/python3", filepath.Join(referenceDir, "generate.py"), "--check", "lc").CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	t.Logf("%s", out)
}

// Handbook rows: RC and LC attenuation by the closed forms
// -10·log10(1+(2πfRC)²) and the loaded LC low-pass, computed with scipy.
func TestAttenuationByHand(t *testing.T) {
	rc := func(r, c, esr float64) Circuit {
		return Circuit{Topology: RC, ROhm: r, C1: Capacitor{F: c, ESROhm: esr}}
	}
	lc := Circuit{Topology: LC, L: Inductor{H: 10e-6}, C1: Capacitor{F: 100e-6}, LoadOhm: 21}
	for _, row := range []struct {
		c      Circuit
		hz, db float64
	}{
		{rc(1, 1000e-6, 0), 100, -1.4451}, {rc(1, 1000e-6, 0), 100e3, -55.9636},
		{rc(5.6, 2200e-6, 0), 100, -17.8477},
		{rc(1, 1000e-6, 0.05), 100, -1.565}, {rc(1, 1000e-6, 0.05), 1e3, -16.077},
		{rc(1, 1000e-6, 0.05), 10e3, -26.026}, {rc(1, 1000e-6, 0.05), 100e3, -26.440},
		{lc, 5032.92, 36.444}, {lc, 1e3, 0.350}, {lc, 10e3, -9.391}, {lc, 100e3, -51.905}, {lc, 1e6, -91.927},
	} {
		if got := DB(Response(row.c, row.hz)); math.Abs(got-row.db) > 0.0006 {
			t.Errorf("%s at %g Hz: %.4f dB, want %.4f", row.c.Topology, row.hz, got, row.db)
		}
	}
	if hz, db := peak(lc); math.Abs(hz/5032.92-1) > 0.005 || math.Abs(db-36.444) > 1 {
		t.Errorf("undamped peak %.2f dB at %g Hz", db, hz)
	}
}
