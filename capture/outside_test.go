package capture

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// The files in testdata/captures were written by sox, ffmpeg, NumPy, pandas,
// LibreOffice and ngspice: its make.sh holds the commands.
const outside = "../testdata/captures"

// TestOutsideWAV reads a 1 kHz sine of half full scale (-6.0206 dB, as sox
// makes it) in every encoding: each sample within one step of the formula.
func TestOutsideWAV(t *testing.T) {
	for name, bits := range map[string]int{
		"sox-u8": 8, "sox-s16": 16, "sox-s24": 24, "sox-s32": 32, "sox-f32": 24, "sox-f64": 32,
		"ffmpeg-u8": 8, "ffmpeg-s16le": 16, "ffmpeg-s24le": 24, "ffmpeg-s32le": 32, "ffmpeg-f32le": 24, "ffmpeg-f64le": 32,
		"ffmpeg-rf64": 16, "ffmpeg-3ch-s24le": 24, "sox-stereo-s24": 24,
	} {
		opt := Options{}
		rate := 48000.0
		switch {
		case strings.Contains(name, "3ch"):
			opt.Channel = "3"
		case strings.Contains(name, "stereo"):
			opt.Channel, rate = "left", 44100
		}
		tr, err := Open(context.Background(), filepath.Join(outside, name+".wav"), opt)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if tr.SampleRateHz != rate || len(tr.Volts) != 1000 || tr.Calibrated || len(tr.Cautions) != 1 {
			t.Errorf("%s: %d samples at %g Hz, %v", name, len(tr.Volts), tr.SampleRateHz, tr.Cautions)
		}
		step := math.Ldexp(1, 1-bits)
		for i, v := range tr.Volts {
			want := 0.5 * math.Sin(2*math.Pi*1000*float64(i)/rate)
			if math.Abs(v-want) > 1.01*step+1e-9 {
				t.Errorf("%s: sample %d is %.9f, want %.9f", name, i, v, want)
				break
			}
		}
		fit, err := FitSine(tr.Volts, rate, 0)
		if err != nil || math.Abs(fit.Amplitude-0.5) > step || math.Abs(fit.FrequencyHz-1000) > 100*step+1e-3 {
			t.Errorf("%s: %+v %v", name, fit, err)
		}
	}
	_, err := Open(context.Background(), filepath.Join(outside, "sox-alaw.wav"), Options{})
	var pe *ParseError
	if !errors.As(err, &pe) || !strings.Contains(err.Error(), "A-law") {
		t.Errorf("A-law: %v", err)
	}
}

// TestOutsideTables reads what NumPy, pandas and a spreadsheet wrote.
func TestOutsideTables(t *testing.T) {
	for name, c := range map[string]struct{ channels, cautions string }{
		"numpy-default.txt": {}, "numpy-csv.csv": {}, "numpy-fixed.csv": {channels: "CH1"},
		"pandas-default.csv": {}, "pandas-noindex.csv": {}, "pandas-german.csv": {},
		"libreoffice-de-DE.csv": {}, "libreoffice-en-US.csv": {},
		"pandas-quoted.csv.gz": {}, "pandas-utf16.csv": {},
		"pandas-nan.csv": {cautions: CautionBridged},
	} {
		t.Run(name, func(t *testing.T) {
			tr, err := Open(context.Background(), filepath.Join(outside, name), Options{})
			if err != nil {
				t.Fatal(err)
			}
			l := layoutCase{rate: 500e3, n: 400, channels: c.channels, cautions: c.cautions}
			if name == "pandas-nan.csv" {
				l.v = func(i int) float64 {
					if i == 200 {
						return (wave(199) + wave(201)) / 2
					}
					return wave(i)
				}
			}
			l.compare(t, tr)
		})
	}
}

// TestOutsideSimulator reads an RC charging through 1 ms, written by ngspice
// as simulated (uneven steps) and linearized, against 1-exp(-t/RC).
func TestOutsideSimulator(t *testing.T) {
	for name, code := range map[string]string{"ngspice-even.data": "", "ngspice-uneven.data": CautionUneven} {
		tr, err := Open(context.Background(), filepath.Join(outside, name), Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if code == "" && (len(tr.Cautions) > 0 || math.Abs(tr.SampleRateHz/1e5-1) > 1e-9) || code != "" && (len(tr.Cautions) != 1 || tr.Cautions[0].Code != code) {
			t.Errorf("%s: %g Hz, %v", name, tr.SampleRateHz, tr.Cautions)
		}
		for i, v := range tr.Volts {
			x := tr.StartS + float64(i)/tr.SampleRateHz
			if want := 1 - math.Exp(-x/1e-3); math.Abs(v-want) > 5e-5 {
				t.Errorf("%s: at %g s %.6f, want %.6f", name, x, v, want)
				break
			}
		}
	}
}
