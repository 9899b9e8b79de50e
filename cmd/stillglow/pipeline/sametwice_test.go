package pipeline

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stillglow/analysis/target"
	"stillglow/capture"
)

// twoUnits writes a sheet of units Alder 1 and Alder 2, each with captures in its
// files.
func twoUnits(t *testing.T, first, second []string, files map[string][]byte) string {
	t.Helper()
	dir := t.TempDir()
	for name, data := range files {
		write(t, filepath.Join(dir, name), string(data))
	}
	var b strings.Builder
	b.WriteString("target = \"line-preamp\"\n")
	for i, list := range [][]string{first, second} {
		fmt.Fprintf(&b, "[[unit]]\nbrand = \"Alder\"\nmark = \"%d\"\n", i+1)
		for _, f := range list {
			fmt.Fprintf(&b, "[[unit.capture]]\nfile = %q\n", f)
		}
	}
	path := filepath.Join(dir, "bench.toml")
	write(t, path, b.String())
	return path
}

// record is a noisy one in a format: volts and seconds, or millivolts, semicolons
// and milliseconds, or either gzipped.
func rippleCSV(t *testing.T, seed uint64, format string) []byte {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 2))
	var b bytes.Buffer
	other := strings.HasPrefix(format, "millivolts")
	if other {
		b.WriteString("time (ms);signal (mV)\n")
	} else {
		b.WriteString("time (s),volts (V)\n")
	}
	for i := range 3000 {
		at, v := float64(i)*1e-6, 7+2e-3*math.Sin(2*math.Pi*float64(i)*0.05)+2e-4*r.NormFloat64()
		if other {
			fmt.Fprintf(&b, "%.6f;%.4f\n", at*1e3, v*1e3)
		} else {
			fmt.Fprintf(&b, "%.7e,%.7f\n", at, v)
		}
	}
	if !strings.HasSuffix(format, "gzip") {
		return b.Bytes()
	}
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := z.Write(b.Bytes()); err != nil || z.Close() != nil {
		t.Fatal(err)
	}
	return packed.Bytes()
}

// A record under two units is an error that names both places, whatever it is
// saved as; a unit's repeat and its neighbour's like capture are none.
func TestOneRecordUnderTwoUnits(t *testing.T) {
	for _, format := range []string{"as it is", "gzip", "millivolts", "millivolts gzip"} {
		path := twoUnits(t, []string{"a.csv", "b.csv"}, []string{"c.csv", "d.csv"}, map[string][]byte{
			"a.csv": rippleCSV(t, 1, ""), "b.csv": rippleCSV(t, 2, ""), "c.csv": rippleCSV(t, 3, ""), "d.csv": rippleCSV(t, 2, format)})
		_, err := Evaluate(context.Background(), path, Options{SkipFilter: true})
		var list ErrorList
		if !errors.As(err, &list) || len(list) != 1 {
			t.Errorf("%s: %v, want one error", format, err)
			continue
		}
		var at *capture.ParseError
		if !errors.As(list[0], &at) || at.Path != path || at.Line != 15 || at.Column != 1 {
			t.Errorf("%s: at %+v, want line 15 column 1 of the sheet", format, at)
		}
		for _, words := range []string{`"d.csv" of Alder 2`, `"b.csv" of Alder 1 (line 8)`} {
			if !strings.Contains(err.Error(), words) {
				t.Errorf("%s: %q without %q", format, err, words)
			}
		}
	}
	path := twoUnits(t, []string{"a.csv", "b.csv"}, []string{"c.csv"}, map[string][]byte{
		"a.csv": rippleCSV(t, 1, ""), "b.csv": rippleCSV(t, 2, ""), "c.csv": rippleCSV(t, 3, "")})
	if _, err := Evaluate(context.Background(), path, Options{SkipFilter: true}); err != nil {
		t.Errorf("records of their own: %v", err)
	}
}

// A record that one unit names twice counts once, with a caution.
func TestOneRecordTwiceUnderOneUnit(t *testing.T) {
	path := twoUnits(t, []string{"a.csv", "b.csv", "again.csv"}, nil, map[string][]byte{
		"a.csv": rippleCSV(t, 1, ""), "b.csv": rippleCSV(t, 2, ""), "again.csv": rippleCSV(t, 1, "millivolts")})
	r, err := Evaluate(context.Background(), path, Options{SkipFilter: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, u := range r.Units {
		if u.Eval.Unit.Mark != "1" {
			continue
		}
		if len(u.Captures) != 2 || len(u.Eval.Unit.Captures) != 2 {
			t.Errorf("%d captures shown, %d judged, want 2", len(u.Captures), len(u.Eval.Unit.Captures))
		}
		told := false
		for _, k := range u.Eval.Cautions {
			told = told || k.Code == target.CautionSameTwice && strings.Contains(k.Text, "again.csv")
		}
		if !told {
			t.Errorf("cautions %v, want one about again.csv", u.Eval.Cautions)
		}
	}
	if _, err := os.Stat(path); err != nil {
		t.Fatal(err)
	}
}

// Equal volts without noise in two files, as a simulator, a flat trace or a signal
// generator gives them, are no proof of one record: the later carries a caution, and
// both units are judged. One file under two units is an error whatever it holds.
func TestEqualVoltsWithoutNoise(t *testing.T) {
	wave := func(digits int, at func(i int) float64) []byte {
		var b bytes.Buffer
		b.WriteString("time (s),volts (V)\n")
		for i := range 3000 {
			fmt.Fprintf(&b, "%.7e,%.*f\n", float64(i)*1e-6, digits, at(i))
		}
		return b.Bytes()
	}
	sine := func(i int) float64 { return 7 + 2e-3*math.Sin(2*math.Pi*float64(i)*0.05123) }
	for name, data := range map[string][]byte{
		"a sine with all its digits": wave(15, sine),
		"a sine with six digits":     wave(6, sine),
		"a triangle":                 wave(9, func(i int) float64 { return 7 + 1e-3*math.Abs(float64(i%40)-20) }),
		"nothing but 7 V":            wave(3, func(int) float64 { return 7 }),
	} {
		path := twoUnits(t, []string{"a.csv"}, []string{"b.csv"}, map[string][]byte{"a.csv": data, "b.csv": data})
		r, err := Evaluate(context.Background(), path, Options{SkipFilter: true})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		told := 0
		for _, u := range r.Units {
			if len(u.Captures) != 1 {
				t.Errorf("%s: %d captures of %s", name, len(u.Captures), u.Eval.Unit.Key)
			}
			for _, k := range u.Eval.Cautions {
				if k.Code == target.CautionSameVolts {
					told++
				}
			}
		}
		if told != 1 {
			t.Errorf("%s: %d cautions about equal volts, want 1", name, told)
		}
		path = twoUnits(t, []string{"a.csv"}, []string{"a.csv"}, map[string][]byte{"a.csv": data})
		if _, err := Evaluate(context.Background(), path, Options{SkipFilter: true}); err == nil {
			t.Errorf("%s: one file under two units passes", name)
		}
	}
}

// A converter's steps hide no proof: noise of a third of a step and more tells records
// apart, and the same samples of two units are an error.
func TestEqualSamplesOfFewSteps(t *testing.T) {
	for _, noise := range []float64{0.35, 0.7, 3} {
		r := rand.New(rand.NewPCG(9, 1))
		var b bytes.Buffer
		b.WriteString("time (s),volts (V)\n")
		for i := range 6000 {
			v := 40*math.Sin(2*math.Pi*float64(i)*0.05123) + noise*r.NormFloat64()
			fmt.Fprintf(&b, "%.7e,%.5f\n", float64(i)*1e-6, 2e-4*math.Round(v))
		}
		path := twoUnits(t, []string{"a.csv"}, []string{"b.csv"}, map[string][]byte{"a.csv": b.Bytes(), "b.csv": append(b.Bytes(), '\n')})
		var list ErrorList
		if _, err := Evaluate(context.Background(), path, Options{SkipFilter: true}); !errors.As(err, &list) {
			t.Errorf("noise of %g steps: %v, want an error", noise, err)
		}
	}
}
