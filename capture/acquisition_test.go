package capture

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func codesOf(tr *Trace) (codes []string) {
	for _, c := range tr.Cautions {
		codes = append(codes, c.Code)
	}
	return codes
}

// TestAcquisitionStated reads how the samples were made from a preamble.
func TestAcquisitionStated(t *testing.T) {
	for _, c := range []struct {
		line string
		want Acquisition
		code string
	}{
		{"Acquisition Mode,Average\nAverages,64", Acquisition{Mode: AcquisitionAverage, Averages: 64}, CautionAveraged},
		{"Acquisition Mode,Average 16", Acquisition{Mode: AcquisitionAverage, Averages: 16}, CautionAveraged},
		{"Averages,64", Acquisition{Mode: AcquisitionAverage, Averages: 64}, CautionAveraged},
		{"Average,5.02 V", Acquisition{}, ""},
		{"Averages,1", Acquisition{}, ""},
		{"Acquisition Mode,Sample\nAverages,64", Acquisition{Mode: AcquisitionSample}, ""},
		{"Acquire Mode: Peak Detect", Acquisition{Mode: AcquisitionPeak}, CautionExtremes},
		{"Acq Mode,ENVELOPE", Acquisition{Mode: AcquisitionEnvelope}, CautionExtremes},
		{"Acquisition Mode,High Resolution", Acquisition{Mode: AcquisitionHighRes}, ""},
		{"Acquisition Type,HRESolution", Acquisition{Mode: AcquisitionHighRes}, ""},
		{"Acquisition Mode,ERES", Acquisition{Mode: AcquisitionEnhanced}, CautionSmoothed},
		{"Acquisition Type,HiRes\nInterpolation,Sin(x)/x\nDecimation,4\nMemory Depth,14M", Acquisition{Mode: AcquisitionHighRes, Interpolation: InterpolationSinX, Decimation: 4, MemoryPoints: 14e6}, ""},
		{"Record Length,200", Acquisition{RecordPoints: 200}, ""},
	} {
		text := c.line + "\nTime (s),CH1 (V)\n" + rowsOf(200, tv(1e-6))
		tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
		if err != nil {
			t.Errorf("%q: %v", c.line, err)
			continue
		}
		got := tr.Acquisition
		if c.want.Mode != AcquisitionUnknown && !strings.Contains(got.ModeWhy, "stated in line") {
			t.Errorf("%q: mode from %q", c.line, got.ModeWhy)
		}
		got.ModeWhy = ""
		if got != c.want {
			t.Errorf("%q: %+v, want %+v", c.line, got, c.want)
		}
		if codes := strings.Join(codesOf(tr), " "); codes != c.code {
			t.Errorf("%q: cautions %q, want %q", c.line, codes, c.code)
		}
	}
}

// extremesOf gives the least and the greatest of every 16 values of a wave in the order
// in which they come.
func extremesOf(wave func(i int) float64) func(i int) float64 {
	next := 0.0
	return func(i int) float64 {
		if i%2 == 1 {
			return next
		}
		least, most, first := math.Inf(1), math.Inf(-1), 0
		for k := range 16 {
			v := wave(8*i + k)
			if v < least {
				least, first = v, 1
			}
			if v > most {
				most = v
				if first == 1 {
					first = 2
				}
			}
		}
		if first == 2 { // the least came before the greatest
			next = most
			return least
		}
		next = least
		return most
	}
}

// TestPairsSeen tells least and greatest, in turn or in the order in which they came,
// from samples of noise and from waves in step with the sampling.
func TestPairsSeen(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	triangle := func(x float64) float64 { return math.Abs(math.Mod(x, 1)-0.5) - 0.25 }
	for _, c := range []struct {
		name string
		v    func(i int) float64
		want Extremes
	}{
		{"pairs", func(i int) float64 { return 5 + 0.01*math.Abs(r.NormFloat64())*float64(2*(i%2)-1) }, ExtremesPairs},
		{"pairs on a slow ripple, greatest first", func(i int) float64 {
			return 5 + 0.02*math.Sin(float64(i/2)*0.01) + (0.005+0.002*r.Float64())*float64(1-2*(i%2))
		}, ExtremesPairs},
		{"as they came, a ripple shorter than the interval", extremesOf(func(i int) float64 { return 0.02*triangle(float64(i)/7.31) + 0.001*r.NormFloat64() }), ExtremesPairs},
		{"as they came, a ripple of many intervals", extremesOf(func(i int) float64 { return 0.02*triangle(float64(i)/211.3) + 0.001*r.NormFloat64() }), ExtremesPairs},
		{"as they came, noise alone", extremesOf(func(i int) float64 { return 0.003 * r.NormFloat64() }), ExtremesPairs},
		{"a ripple of 7.31 samples", func(i int) float64 { return 0.02*triangle(float64(i)/7.31) + 0.001*r.NormFloat64() }, ExtremesNone},
		{"a ripple of many samples", func(i int) float64 { return 0.02*triangle(float64(i)/211.3) + 0.001*r.NormFloat64() }, ExtremesNone},
		{"a tone at a quarter of the rate", func(i int) float64 { return 0.01*math.Sin(math.Pi/2*(float64(i)+0.5)) + 0.0003*r.NormFloat64() }, ExtremesNone},
		{"a ripple of six samples", func(i int) float64 { return 0.02*triangle((float64(i)+0.3)/6) + 0.0003*r.NormFloat64() }, ExtremesNone},
		{"a ripple of eight samples", func(i int) float64 { return 0.02*triangle((float64(i)+0.5)/8) + 0.0003*r.NormFloat64() }, ExtremesNone},
		{"a pulse every four samples", func(i int) float64 { return 0.02*float64(min(i%4, 1)) + 0.0003*r.NormFloat64() }, ExtremesNone},
		{"four converters in turn", func(i int) float64 { return []float64{0, 0.01, 0.012, 0.002}[i%4] + 0.0005*r.NormFloat64() }, ExtremesNone},
		{"white noise", func(i int) float64 { return 5 + 0.01*r.NormFloat64() }, ExtremesNone},
		{"blue noise", func() func(i int) float64 {
			prev := 0.0
			return func(i int) float64 { x := r.NormFloat64(); d := x - prev; prev = x; return 5 + 0.01*d }
		}(), ExtremesNone},
		{"a tone at half the rate", func(i int) float64 { return 5 + 0.01*float64(2*(i%2)-1) }, ExtremesNone},
		{"flat", func(i int) float64 { return 5 }, ExtremesNone},
	} {
		text := "Time (s),CH1 (V)\n" + rowsOf(2000, func(i int) string { return fmt.Sprintf("%.6f,%.4f", float64(i)*1e-6, c.v(i)) })
		tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if tr.Acquisition.Extremes != c.want || (c.want == ExtremesPairs) != slices.Contains(codesOf(tr), CautionExtremes) {
			t.Errorf("%s: %+v %v", c.name, tr.Acquisition, tr.Cautions)
		}
		if c.want == ExtremesPairs && (tr.TrueRateHz != 500e3 || tr.Span.HighHz > 200e3) {
			t.Errorf("%s: true rate %g, span %+v", c.name, tr.TrueRateHz, tr.Span)
		}
	}
}

// TestLevels finds records that show nothing and ends that stand still.
func TestLevels(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	sine := func(i int) float64 { return math.Sin(2 * math.Pi * 0.00713 * float64(i)) }
	for _, c := range []struct {
		name        string
		v           func(i int) float64
		distinct    int
		top, bottom bool
		code        string
	}{
		{"flat", func(int) float64 { return 7.02 }, 1, false, false, CautionFlat},
		{"two codes", func(i int) float64 { return 7 + 0.04*float64(i/37%2) }, 2, false, false, CautionTwoLevels},
		{"a sine", func(i int) float64 { return 5 + 0.1*sine(i) }, MostLevels, false, false, ""},
		{"a sine in steps", func(i int) float64 { return 5 + 0.01*math.Round(10*sine(i)) }, MostLevels, false, false, ""},
		{"a sine cut at a level of its own", func(i int) float64 { return 5 + 0.1*min(sine(i), 0.6) }, MostLevels, true, false, CautionFlatTops},
		{"cut below, with noise of a step", func(i int) float64 { return 5 + 0.004*math.Round(50*max(sine(i), -0.7)+0.4*r.NormFloat64()) }, MostLevels, false, true, CautionFlatTops},
		{"cut near its middle", func(i int) float64 {
			return 5 + 0.004*min(math.Round(10*math.Asin(math.Sin(float64(i)/150))+0.6*r.NormFloat64()), 5)
		}, MostLevels, true, false, CautionFlatTops},
		{"the same uncut", func(i int) float64 {
			return 5 + 0.004*math.Round(10*math.Asin(math.Sin(float64(i)/150))+0.6*r.NormFloat64())
		}, MostLevels, false, false, ""},
		{"a slow sine in steps, without noise", func(i int) float64 { return 5 + 0.004*math.Round(12*math.Sin(float64(i)/300)) }, MostLevels, false, false, ""},
		{"noise", func(i int) float64 { return 5 + 0.01*r.NormFloat64() }, MostLevels, false, false, ""},
		{"noise in steps", func(i int) float64 { return 5 + 0.002*math.Round(4*r.NormFloat64()) }, MostLevels, false, false, ""},
		{"a sawtooth", func(i int) float64 { return 5 + 0.001*float64(i%61) }, MostLevels, false, false, ""},
	} {
		text := "Time (s),CH1 (V)\n" + rowsOf(4000, func(i int) string { return fmt.Sprintf("%.6f,%.4f", float64(i)*1e-6, c.v(i)) })
		tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		l := tr.Levels
		if l.Distinct != c.distinct || (l.Top.Samples > 0) != c.top || (l.Bottom.Samples > 0) != c.bottom {
			t.Errorf("%s: %+v", c.name, l)
		}
		if got := strings.Join(codesOf(tr), " "); got != c.code {
			t.Errorf("%s: cautions %q, want %q", c.name, got, c.code)
		}
	}
	// The bound of a flat record is the coarsest step that is known.
	text := "Vertical Scale,0.5 V/div\nTime (s),CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,7.020", float64(i)*1e-6) })
	tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{ProbeFactor: 10})
	if err != nil || math.Abs(tr.Levels.ResolutionV-0.2) > 1e-9 {
		t.Errorf("%v, %+v", err, tr.Levels)
	}
}

// TestPeakDetectBeside reads a channel that has the least and the greatest of each interval
// in a column of their own: what lies between them are samples, and only what lies to one
// side all along may be extremes itself.
func TestPeakDetectBeside(t *testing.T) {
	for _, c := range []struct {
		name, channel string
		peak          func(i int) float64
		mode          AcquisitionMode
		code          string
	}{
		{"samples", "CH1", func(i int) float64 { return wave(i) + 0.02 - 0.04*float64(i%2) }, AcquisitionUnknown, CautionSmoothed},
		{"samples that are now and then an extreme", "CH1", func(i int) float64 { return wave(i) + []float64{0.02, 0, 0, -0.02}[i%4] }, AcquisitionUnknown, CautionSmoothed},
		{"the extremes", "CH1 Peak Detect", func(i int) float64 { return wave(i) + 0.02 - 0.04*float64(i%2) }, AcquisitionPeak, CautionExtremes},
		{"the least beside the greatest", "CH1", func(i int) float64 { return wave(i) + 0.02 }, AcquisitionPeak, CautionExtremes},
		{"the channel without extremes", "CH2", func(i int) float64 { return wave(i) + 0.02 - 0.04*float64(i%2) }, AcquisitionUnknown, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := "TIME,CH1,CH1 Peak Detect,CH2\ns,V,V,V\n" + rowsOf(rows200, func(i int) string {
				return fmt.Sprintf("%.6e,%.4f,%.4f,%.4f", float64(i)*1e-6, wave(i), c.peak(i), wave(i+1))
			})
			tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{Channel: c.channel})
			if err != nil {
				t.Fatal(err)
			}
			if codes := strings.Join(codesOf(tr), " "); tr.Acquisition.Mode != c.mode || codes != c.code {
				t.Errorf("mode %q, cautions %q, want %q, %q", tr.Acquisition.Mode, codes, c.mode, c.code)
			}
		})
	}
}
