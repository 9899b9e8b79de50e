package capture

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"stillglow/capture/synth/testrun"
)

// wave is the i-th sample of the fixtures, in volts: whole millivolts.
func wave(i int) float64 { return float64(5000+(i*37)%101-50) / 1000 }

// rowsOf prints n rows.
func rowsOf(n int, row func(i int) string) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(row(i))
		b.WriteByte('\n')
	}
	return b.String()
}

// tv is the plain row: time in steps of dt, volts.
func tv(dt float64) func(int) string {
	return func(i int) string { return fmt.Sprintf("%.9e,%.4e", float64(i)*dt, wave(i)) }
}

func commaFor(s string) string { return strings.ReplaceAll(s, ".", ",") }

// layoutCase is one fixture with what must come out of it.
type layoutCase struct {
	name     string
	text     string
	opt      Options
	rate     float64
	start    float64
	n        int                 // 0: 200
	channels string              // joined by |
	v        func(i int) float64 // nil: wave
	tol      float64             // volts; 0: 1e-9
	cautions string              // codes, joined by space
	check    func(t *testing.T, tr *Trace)
}

const rows200 = 200

var layoutCases = []layoutCase{
	{name: "time and volts, no header", text: rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "header", text: "time,volts\n" + rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "header with units in brackets", text: "Time (s),CH1 (V)\n" + rowsOf(200, tv(4e-9)), rate: 250e6, channels: "CH1"},
	{name: "square brackets, ms and mV", text: "Time [ms],Channel A [mV]\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.3f,%.1f", float64(i)*0.002, wave(i)*1000) }), rate: 500e3, channels: "Channel A"},
	{name: "units row below", text: "Time,CH1\ns,V\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "CH1"},
	{name: "units row in brackets, µs and uV", text: "Time,Channel A\n(µs),(uV)\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.2f,%.0f", float64(i)*0.5, wave(i)*1e6) }), rate: 2e6, channels: "Channel A"},
	{name: "Latin-1 micro sign", text: "Time (\xb5s),CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.2f,%.3f", float64(i)*0.5, wave(i)) }), rate: 2e6, channels: "CH1"},
	{name: "Greek mu", text: "Time (μs),CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.2f,%.3f", float64(i)*0.5, wave(i)) }), rate: 2e6, channels: "CH1"},
	{name: "name and unit by underscore", text: "time_us,ch1_mv\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.1f", i, wave(i)*1000) }), rate: 1e6, channels: "ch1"},
	{name: "German, slash units, semicolon, decimal comma", text: "t/ms;U/V\n" + commaFor(rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f;%.3f", float64(i)*0.01, wave(i)) })), rate: 100e3, channels: "U"},
	{name: "decimal comma with tab", text: "Zeit in s\tSpannung in V\n" + commaFor(rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f\t%.3f", float64(i)*1e-5, wave(i)) })), rate: 100e3, channels: "Spannung"},
	{name: "decimal comma in quotes, comma between", text: "\"Time\",\"Volt\"\n" + rowsOf(200, func(i int) string {
		return fmt.Sprintf("%q,%q", commaFor(fmt.Sprintf("%.6f", float64(i)*1e-5)), commaFor(fmt.Sprintf("%.3f", wave(i))))
	}), rate: 100e3},
	{name: "two channels, second by name", text: "Time (s),CH1 (V),CH2 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9e,%d.5,%.4e", float64(i)*1e-6, i%7, wave(i)) }), opt: Options{Channel: "ch2"}, rate: 1e6, channels: "CH1|CH2"},
	{name: "two channels, second by number", text: "Time (s),CH1 (V),CH2 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9e,%d.5,%.4e", float64(i)*1e-6, i%7, wave(i)) }), opt: Options{Channel: "2"}, rate: 1e6, channels: "CH1|CH2"},
	{name: "preamble of keys, interval only, volts alone", text: "Record Length,200\nSample Interval,1.000000e-06\nVertical Units,V\nProbe Atten,10\n\nVolts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) }), rate: 1e6},
	{name: "rate in the preamble with its unit, one column", text: "# captured at the bench\n# Sample rate: 2.5 MSa/s\n# Points: 200\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) }), rate: 2.5e6},
	{name: "sample numbers and rate", text: "Sample Rate (Hz),1000000\nindex,CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", i, wave(i)) }), rate: 1e6, channels: "CH1"},
	{name: "start and increment beside the header", text: "X,CH1,Start,Increment\nSequence,Volt,-1.0000e-04,1.000000e-06\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f,,", i, wave(i)) }), rate: 1e6, start: -1e-4, channels: "CH1"},
	{name: "start and increment beside the name of a lone channel, a comma behind each row", text: "CH1,Start,Increment,\nVolt,-1.0000e-04,1.000000e-06\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.3e,", wave(i)) }), rate: 1e6, start: -1e-4, channels: "CH1"},
	{name: "start and increment beside the name of a lone voltage", text: "Output,t0,dt\nV,-1.0000e-04,1.000000e-06\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) }), rate: 1e6, start: -1e-4},
	{name: "the unit of times stated for settings alone", text: "TraceName,CH1,CH2\nVUnit,V,V\nHResolution,1.0e-03,1.0e-03\nHOffset,-20,-20\nHUnit,s,s\n" + rowsOf(200, func(i int) string { return fmt.Sprintf(",%.4f,0.5", wave(i)) }), opt: Options{Channel: "CH1"}, rate: 1000, start: -20, channels: "CH1|CH2"},
	{name: "the unit of times stated for settings alone, in µs", text: "TraceName,CH1\nVUnit,V\nHResolution,0.1\nHOffset,-20\nHUnit,us\n" + rowsOf(200, func(i int) string { return fmt.Sprintf(",%.4f", wave(i)) }), rate: 10e6, start: -20e-6, channels: "CH1"},
	{name: "a channel named as the axis it is not", text: "Time,X(CH1),\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9e,%.4f,", float64(i)*1e-6, wave(i)) }), rate: 1e6, channels: "X(CH1)"},
	{name: "first word FORM", text: "FORMAT,2.0\nSAMPLING PERIOD,1.0E-06\n" + rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "first word ID3", text: "ID3 supply\ntime (us),CH1 (mV)\n" + rowsMS(","), rate: 1e6, channels: "CH1"},
	{name: "start and increment in the first data row", text: "X,CH1,Start,Increment\n" + rowsOf(200, func(i int) string {
		if i == 0 {
			return fmt.Sprintf("%d,%.4f,-1e-4,1e-6", i, wave(i))
		}
		return fmt.Sprintf("%d,%.4f", i, wave(i))
	}), rate: 1e6, start: -1e-4, channels: "CH1"},
	{name: "settings left of the data", text: rowsOf(200, func(i int) string {
		left := []string{"Record Length,2.000000e+02,,", "Sample Interval,1.000000e-06,,", "Trigger Point,1.0e+02,,", "Source,CH1,,", "Vertical Units,V,,", "Vertical Scale,5.0e-02,,", "Probe Atten,1.0e+00,,"}
		if i < len(left) {
			return left[i] + fmt.Sprintf("%.9f,%.4f,", float64(i-100)*1e-6, wave(i))
		}
		return fmt.Sprintf(",,,%.9f,%.4f,", float64(i-100)*1e-6, wave(i))
	}), rate: 1e6, start: -1e-4, channels: "CH1"},
	{name: "settings as numbers ahead, headed", text: "points,interval,start\n200,1e-6,0\n\ntime,volts\n" + rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "settings as bare numbers ahead, no header", text: "200,7\n0.5,1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.7f,%.4f", 1+float64(i)*1e-5, wave(i)) }), rate: 100e3, start: 1},
	{name: "raw codes with scale and offset", text: "Sample Rate,1e6\nVolts per count,0.001\nOffset (V),4.5\nsample,adc\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.0f", i, (wave(i)-4.5)/0.001) }), rate: 1e6, channels: "adc"},
	{name: "raw codes with reference, increment and origin", text: "XINCREMENT,1e-6\nYINCREMENT,0.004\nYREFERENCE,128\nYORIGIN,5\ncounts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d", 100+i%57) }), rate: 1e6, channels: "counts", v: func(i int) float64 { return (float64(100+i%57)-128)*0.004 + 5 }},
	{name: "number, time, volts and codes side by side", text: "No,Time(s),CH1(V),CH2(V),CH1 raw,CH2 raw\n" + rowsOf(200, func(i int) string {
		return fmt.Sprintf("%d,%.9e,%.4f,%.4f,%.0f,%d", i, float64(i)*1e-6, wave(i), 0.1*float64(i%5), wave(i)*1000, i%5)
	}), opt: Options{Channel: "CH1"}, rate: 1e6, channels: "CH1|CH2"},
	{name: "the same without a header", text: rowsOf(200, func(i int) string {
		return fmt.Sprintf("%d,%.9e,%.4f,%.0f", i, float64(i)*1e-6, wave(i), wave(i)*1000)
	}), rate: 1e6},
	{name: "divisions with volts per division", text: "Volts/div,0.5\nTime (s),CH1 (div)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,%.4f", float64(i)*1e-6, wave(i)/0.5) }), rate: 1e6, channels: "CH1"},
	{name: "divisions with the scale given", text: "Time (s),CH1 (div)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,%.4f", float64(i)*1e-6, wave(i)/0.5) }), opt: Options{Scale: 0.5}, rate: 1e6, channels: "CH1"},
	{name: "exponent turns positive", text: "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6E,%.6E", 0.995+float64(i)*1e-4, wave(i)) }), rate: 1e4, start: 0.995},
	{name: "spaces, aligned", text: "  time      v(out)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf(" %.8e  %.8e ", float64(i)*1e-6, wave(i)) }), rate: 1e6, channels: "v(out)"},
	{name: "simulator pairs, no header", text: rowsOf(200, func(i int) string {
		return fmt.Sprintf(" %.8e  %.8e  %.8e  %.8e", float64(i)*1e-6, wave(i), float64(i)*1e-6, 0.5+0.1*float64(i%3))
	}), opt: Options{Channel: "1"}, rate: 1e6, channels: "column 2|column 4"},
	{name: "remark header and %.18e", text: "# time volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.18e %.18e", float64(i)*1e-6, wave(i)) }), rate: 1e6},
	{name: "bar delimiter", text: "time|volts\n" + strings.ReplaceAll(rowsOf(200, tv(1e-6)), ",", "|"), rate: 1e6},
	{name: "leading plus", text: rowsOf(200, func(i int) string { return fmt.Sprintf("%+.7e,%+.4e", float64(i)*1e-6, wave(i)) }), rate: 1e6},
	{name: "everything quoted", text: "\"Time (s)\",\"CH1, the \"\"good\"\" one (V)\"\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("\"%.9e\",\"%.4e\"", float64(i)*1e-6, wave(i)) }), rate: 1e6, channels: `CH1, the "good" one`},
	{name: "quoted header over two lines", text: "\"Time\n(s)\",\"CH1\n(V)\"\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "CH1"},
	{name: "CRLF", text: strings.ReplaceAll("time,volts\n"+rowsOf(200, tv(1e-6)), "\n", "\r\n"), rate: 1e6},
	{name: "CR", text: strings.ReplaceAll("time,volts\n"+rowsOf(200, tv(1e-6)), "\n", "\r"), rate: 1e6},
	{name: "CR CR LF", text: strings.ReplaceAll("time,volts\n"+rowsOf(200, tv(1e-6)), "\n", "\r\r\n"), rate: 1e6},
	{name: "UTF-8 mark", text: "\xef\xbb\xbftime,volts\n" + rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "UTF-16 little end with mark", text: utf16Text("\ufeffTime (µs),CH1 (V)\r\n"+rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.3f", i, wave(i)) }), false), rate: 1e6, channels: "CH1"},
	{name: "UTF-16 big end without mark", text: utf16Text("Time (s),CH1 (V)\n"+rowsOf(200, tv(1e-6)), true), rate: 1e6, channels: "CH1"},
	{name: "trailing delimiters and blank lines", text: "time,volts,\n\n" + strings.ReplaceAll(rowsOf(200, tv(1e-6)), "\n", ",\n\n"), rate: 1e6},
	{name: "remarks between the rows and a footer", text: "time,volts\n" + rowsOf(100, tv(1e-6)) + "# half\n" + rowsOf(100, func(i int) string { return tv(1e-6)(i + 100) }) + "\nEnd of record\nsaved by hand,yes\n", rate: 1e6},
	{name: "no last line end", text: strings.TrimSuffix("time,volts\n"+rowsOf(200, tv(1e-6)), "\n"), rate: 1e6},
	{name: "cut inside the last row", text: "time,volts\n" + rowsOf(200, tv(1e-6)) + "2.0000000", rate: 1e6, cautions: CautionTruncated},
	{name: "cut inside the last exponent", text: "time,volts\n" + rowsOf(200, tv(1e-6)) + "2.000000000e-04,5.0230e-0", rate: 1e6, cautions: CautionTruncated},
	{name: "a few NaN and empty cells", text: "time,volts\n" + rowsOf(200, func(i int) string {
		switch i {
		case 50:
			return fmt.Sprintf("%.6e,NaN", float64(i)*1e-6)
		case 120:
			return fmt.Sprintf("%.6e,", float64(i)*1e-6)
		}
		return fmt.Sprintf("%.6e,%.4e", float64(i)*1e-6, wave(i))
	}), rate: 1e6, cautions: CautionBridged},
	{name: "an overrange mark", text: "time,volts\n" + rowsOf(200, func(i int) string {
		if i == 50 {
			return fmt.Sprintf("%.6e,9.9E+37", float64(i)*1e-6)
		}
		return fmt.Sprintf("%.6e,%.4e", float64(i)*1e-6, wave(i))
	}), rate: 1e6, cautions: CautionClipped},
	{name: "60 rows missing in the middle", text: "time,volts\n" + rowsOf(90, tv(1e-6)) + rowsOf(110, func(i int) string { return tv(1e-6)(i + 150) }), rate: 1e6, start: 150e-6, n: 110, v: func(i int) float64 { return wave(i + 150) }, cautions: CautionGaps},
	{name: "single rows missing", text: "time,volts\n" + rowsOf(100, tv(1e-6)) + rowsOf(99, func(i int) string { return tv(1e-6)(i + 101) }), rate: 1e6, v: func(i int) float64 {
		if i == 100 {
			return (wave(99) + wave(101)) / 2
		}
		return wave(i)
	}, cautions: CautionGaps},
	{name: "rows out of order", text: "time,volts\n" + rowsOf(200, func(i int) string { return tv(1e-6)((i*71 + 3) % 200) }), rate: 1e6, cautions: CautionUnsorted},
	{name: "two rows changed places", text: "time,volts\n" + rowsOf(200, func(i int) string {
		if i == 80 || i == 81 {
			i = 161 - i
		}
		return tv(1e-6)(i)
	}), rate: 1e6, cautions: CautionUnsorted},
	{name: "newest row first", text: "time,volts\n" + rowsOf(200, func(i int) string { return tv(1e-6)(199 - i) }), rate: 1e6},
	{name: "segments, the clock starting anew", text: "time,volts\n" + strings.Repeat(rowsOf(200, tv(1e-6)), 3), rate: 1e6, cautions: CautionSegments},
	{name: "segments with headers between, second", text: "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,0.5", float64(i)*1e-6) }) + "\nSegment 2\ntime,volts\n" + rowsOf(200, tv(1e-6)), opt: Options{Segment: 2}, rate: 1e6},
	{name: "segment column, third", text: "Segment,Time (s),CH1 (V)\n" + rowsOf(600, func(i int) string { return fmt.Sprintf("%d,%.6e,%.4f", i/200+1, float64(i)*1e-6, wave(i%200)) }), opt: Options{Segment: 3}, rate: 1e6, start: 400e-6, channels: "CH1"},
	{name: "segmented memory with long pauses", text: "time,volts\n" + rowsOf(600, func(i int) string {
		return fmt.Sprintf("%.9f,%.4f", float64(i/200)*0.01+float64(i%200)*1e-6, wave(i%200))
	}), rate: 1e6, cautions: CautionSegments},
	{name: "time stamps with too few digits", text: "time,volts\n" + rowsOf(2000, func(i int) string { return fmt.Sprintf("%.5f,%.4f", float64(i)*4e-6, wave(i)) }), n: 2000, rate: 250e3, cautions: CautionTimeRounded},
	// A spreadsheet's three digits of a fast capture's times: 40 rows share each.
	{name: "times alike over 40 rows, no names", text: rowsOf(2000, func(i int) string { return fmt.Sprintf("%.2E,%.4f", -3.24e-6+float64(i)*0.25e-9, wave(i)) }), n: 2000, rate: 4e9, start: -3.24e-6, tol: 1e-9, cautions: CautionTimeRounded},
	{name: "times alike over 40 rows, the interval stated", text: "Vertical Units,V\nSampling Period,2.5E-10\nWaveform Data\n" + rowsOf(2000, func(i int) string { return fmt.Sprintf("%.2E,%.4f", -3.24e-6+float64(i)*0.25e-9, wave(i)) }), n: 2000, rate: 4e9, start: -3.24e-6},
	{name: "times alike over 40 rows, under a name of any column", text: "Sampling Period,2.5E-10\ncol 1,col 2\n" + rowsOf(2000, func(i int) string { return fmt.Sprintf("%.2E,%.4f", -3.24e-6+float64(i)*0.25e-9, wave(i)) }), n: 2000, rate: 4e9, start: -3.24e-6, channels: "col 2"},
	{name: "jittering by rounding", text: "time,volts\n" + rowsOf(2000, func(i int) string { return fmt.Sprintf("%.6e,%.4f", 0.1+float64(i)*3.3e-7, wave(i)) }), n: 2000, start: 0.1, rate: 1 / 3.3e-7, cautions: CautionTimeRounded},
	{name: "upsampled by the exporter, the rate stated", text: "Sample Rate,1 MSa/s\ntime,volts\n" + rowsOf(400, func(i int) string {
		a, b := wave(i/4), wave(i/4+1)
		return fmt.Sprintf("%.9e,%.7f", float64(i)*0.25e-6, a+(b-a)*float64(i%4)/4)
	}), n: 400, v: func(i int) float64 { a, b := wave(i/4), wave(i/4+1); return a + (b-a)*float64(i%4)/4 }, tol: 1e-7, rate: 4e6, cautions: CautionInterpolated},
	{name: "units behind each number", text: "Time,CH1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.1f us,%.1f mV", float64(i)*0.5, wave(i)*1000) }), rate: 2e6, channels: "CH1"},
	{name: "volts in engineering notation", text: "Time (s),CH1 (V)\n" + rowsOf(200, func(i int) string {
		if i%3 == 0 {
			return fmt.Sprintf("%.1fE-06,%.0fm", float64(i)*0.5, wave(i)*1000)
		}
		return fmt.Sprintf("%.1fE-06,%.3f", float64(i)*0.5, wave(i))
	}), rate: 2e6, channels: "CH1"},
	{name: "time of day", text: "Clock,Volt\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("12:59:59.%03d,%.3f", i, wave(i)) }), rate: 1000, start: 46799},
	{name: "thousands separators", text: "time (us);volts (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d;5,%03d.00", i, int(math.Round(wave(i)*1000))-5000+100) }), rate: 1e6, v: func(i int) float64 { return wave(i) + 0.1 }},
	{name: "decimal comma, one column, interval given", text: commaFor(rowsOf(200, func(i int) string { return fmt.Sprintf("%.3f", wave(i)-5) })), opt: Options{RateHz: 1e6}, rate: 1e6, v: func(i int) float64 { return wave(i) - 5 }},
	{name: "channel names A and B", text: "Time,A,B\n(ms),(V),(V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f,0.25,%.3f", float64(i)*0.001, wave(i)) }), opt: Options{Channel: "B"}, rate: 1e6, channels: "A|B"},
	{name: "preamble with values per channel", text: "Model,none\nChannel,CH1,CH2\nProbe,1,10\nCoupling,DC,AC\nBandwidth Limit,Off,20MHz\nTime,CH1,CH2\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,0.5,%.4f", float64(i)*1e-6, wave(i)) }), opt: Options{Channel: "CH2"}, rate: 1e6, channels: "CH1|CH2", check: func(t *testing.T, tr *Trace) {
		if tr.Coupling != CouplingAC || tr.BandwidthHz != 20e6 || !tr.BandLimited {
			t.Errorf("coupling %q, bandwidth %g, limited %v", tr.Coupling, tr.BandwidthHz, tr.BandLimited)
		}
	}},
	{name: "settings to the right, apart", text: rowsOf(200, func(i int) string {
		return tv(1e-6)(i) + []string{",,Model,bench", ",,Probe,10", ",,Coupling,AC", ",,,"}[min(i, 3)]
	}), rate: 1e6, check: func(t *testing.T, tr *Trace) {
		if tr.Coupling != CouplingAC {
			t.Errorf("coupling %q", tr.Coupling)
		}
	}},
	{name: "settings between header and rows", text: "Time (s),CH1 (counts)\nVertical scale (V/count): 0.001\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,%.0f", float64(i)*1e-6, wave(i)*1000) }), rate: 1e6, channels: "CH1"},
	{name: "numbered channels", text: "x-axis,1,2\nsecond,Volt,Volt\n" + rowsOf(200, func(i int) string { return tv(1e-6)(i) + ",0.5" }), opt: Options{Channel: "1"}, rate: 1e6, channels: "1|2"},
	{name: "least and greatest", text: "Time,CH1 Min,CH1 Max\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,%.4f,%.4f", float64(i)*1e-6, wave(i)-0.01, wave(i)) }), opt: Options{Channel: "CH1 Max"}, rate: 1e6, channels: "CH1 Min|CH1 Max", cautions: CautionExtremes},
	{name: "a line of text near the top", text: "time,volts\n" + rowsOf(78, tv(1e-6)) + "operator coughed,here\n" + rowsOf(122, func(i int) string { return tv(1e-6)(i + 78) }), rate: 1e6},
	{name: "a longer capture of another rate below", text: "time (s),CH1 (V)\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.6e,0.5", float64(i)*1e-7) }) + "time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "CH1", cautions: CautionSkipped},
	{name: "a longer capture of one channel more below", text: rowsOf(100, func(i int) string { return fmt.Sprintf("%.6e,0.5", float64(i)*1e-6) }) + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,0.5,%.4f", float64(i)*1e-6, wave(i)) }), opt: Options{Channel: "2"}, rate: 1e6, channels: "column 2|column 3", cautions: CautionSkipped},
	{name: "a slower capture behind, no line between", text: rowsOf(200, tv(1e-6)) + rowsOf(300, func(i int) string { return fmt.Sprintf("%.9e,0.5", float64(i)*1e-5) }), rate: 1e6, cautions: CautionSegments},
	{name: "the slower capture behind, asked for", text: rowsOf(300, func(i int) string { return fmt.Sprintf("%.9e,0.5", float64(i)*1e-6) }) + rowsOf(200, tv(1e-5)), opt: Options{Segment: 2}, rate: 1e5},
	{name: "two captures of least and greatest", text: strings.Repeat("s,CH1 (V)\n"+rowsOf(200, func(i int) string { return fmt.Sprintf("%.9e,%.4f", float64(i/2)*2e-6, wave(i/2)+0.1*float64(i%2)) }), 2), rate: 1e6, channels: "CH1", v: func(i int) float64 { return wave(i/2) + 0.1*float64(i%2) }, cautions: CautionSegments + " " + CautionExtremes},
	{name: "two captures under names without one for the time", text: strings.Repeat(",CH1\nSecond,Volt\n"+rowsOf(200, tv(1e-6)), 2), rate: 1e6, channels: "CH1", cautions: CautionSegments},
	{name: "a decimal comma in the settings, a mean below whole numbers", text: "Abtastintervall (us);1,250\nCH1 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.0f", wave(i)*1000) }) + "\nMittel;5000,0\n", rate: 800e3, channels: "CH1"},
	{name: "a calibration table ahead", text: "point,reading\n" + rowsOf(20, func(i int) string { return fmt.Sprintf("%d,%.3f", i, float64(i)*0.5) }) + "\ntime (s),volts\n" + rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "a jittering clock", text: "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9e,5.25", (float64(i)+0.2*float64(i*7%5-2)/2)*1e-6) }), n: 200, rate: 1e6, v: func(int) float64 { return 5.25 }, cautions: CautionUneven + " " + CautionFlat},
	{name: "rate in words", text: "Sampled at 1 MHz\nvolts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) }), rate: 1e6},
	{name: "key and value apart by a semicolon", text: "dt [us]; 1\nvolts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) }), rate: 1e6},
	{name: "a time column to each channel", text: "Time,CH1,Time,CH2\ns,V,us,V\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9e,0.5,%d,%.4f", float64(i)*1e-6, 2*i, wave(i)) }), opt: Options{Channel: "CH2"}, rate: 500e3, channels: "CH1|CH2"},
	{name: "a time column to each channel but a computed one", text: "Time,CH1,Time,CH2,\ns,V,us,V,\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9e,0.5,%d,%.4f,7.5", float64(i)*1e-6, 2*i, wave(i)) }), opt: Options{Channel: "CH2"}, rate: 500e3, channels: "CH1|CH2|column 5"},
	{name: "a time column to each two channels", text: "Time (s),CH1 (V),CH2 (V),Time (s),CH3 (V),CH4 (V)\n" + rowsOf(200, func(i int) string {
		return fmt.Sprintf("%.9e,0.5,0.6,%.9e,0.7,%.4f", float64(i)*1e-6, float64(i)*4e-6, wave(i))
	}), opt: Options{Channel: "CH4"}, rate: 250e3, channels: "CH1|CH2|CH3|CH4"},
	{name: "the first of channels with a time column to each two", text: "Time (s),CH1 (V),CH2 (V),Time (s),CH3 (V),CH4 (V)\n" + rowsOf(200, func(i int) string {
		return fmt.Sprintf("%.9e,0.5,%.4f,%.9e,0.7,0.6", float64(i)*1e-6, wave(i), float64(i)*4e-6)
	}), opt: Options{Channel: "CH2"}, rate: 1e6, channels: "CH1|CH2|CH3|CH4"},
	{name: "a setting that begins like a name", text: "Waveform data\nSample interval: 1.0E-6\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%4d   %.4f", i+1, wave(i)) }), rate: 1e6},
	{name: "two rates stated", text: "Sample Rate,1000000\nADC speed,7\nSampling rate,2000000\nCH1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) }), rate: 1e6, channels: "CH1", cautions: CautionRateConflict},
	{name: "end mark of old systems", text: "time,volts\r\n" + strings.ReplaceAll(rowsOf(200, tv(1e-6)), "\n", "\r\n") + "\x1a", rate: 1e6},
	{name: "slow steps without a unit", text: "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.3f,%.4f", float64(i)*0.001, wave(i)) }), rate: 1000, cautions: CautionTimeUnit},
	{name: "interval tells the missing time unit", text: "Sample interval,1 us\ntime,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.3f,%.4f", float64(i)*0.001, wave(i)) }), rate: 1e6},
}

func utf16Text(s string, big bool) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		if big {
			b = append(b, byte(u>>8), byte(u))
		} else {
			b = append(b, byte(u), byte(u>>8))
		}
	}
	return string(b)
}

func TestLayouts(t *testing.T) {
	for i, c := range slices.Concat(layoutCases, stackedCases, exportCases) {
		ways := []bool{false, true}
		if i%4 > 0 && !testrun.Full() {
			ways = ways[:1]
		}
		t.Run(c.name, func(t *testing.T) {
			for _, zipped := range ways {
				b := []byte(c.text)
				if zipped {
					var z bytes.Buffer
					w := gzip.NewWriter(&z)
					w.Write(b)
					w.Close()
					b = z.Bytes()
				}
				tr, err := Read(context.Background(), bytes.NewReader(b), "x.csv", c.opt)
				if err != nil {
					t.Fatal(err)
				}
				c.compare(t, tr)
			}
		})
	}
}

func (c *layoutCase) compare(t *testing.T, tr *Trace) {
	t.Helper()
	n, v, tol := c.n, c.v, c.tol
	if n == 0 {
		n = rows200
	}
	if v == nil {
		v = wave
	}
	if tol == 0 {
		tol = 1e-9
	}
	if math.Abs(tr.SampleRateHz/c.rate-1) > 1e-9 && !(strings.Contains(c.cautions, CautionUneven) && math.Abs(tr.SampleRateHz/c.rate-1) < 1e-3) && !(strings.Contains(c.cautions, CautionTimeRounded) && math.Abs(tr.SampleRateHz/c.rate-1) < 1e-5) {
		t.Errorf("rate %.12g, want %g", tr.SampleRateHz, c.rate)
	}
	if math.Abs(tr.StartS-c.start) > 0.3/c.rate {
		t.Errorf("start %g, want %g", tr.StartS, c.start)
	}
	if got := strings.Join(tr.Channels, "|"); got != c.channels {
		t.Errorf("channels %q, want %q", got, c.channels)
	}
	if len(tr.Volts) != n {
		t.Errorf("%d samples, want %d", len(tr.Volts), n)
	}
	for _, i := range []int{0, 1, n / 2, n - 2, n - 1} {
		if i < len(tr.Volts) && math.Abs(tr.Volts[i]-v(i)) > tol {
			t.Errorf("sample %d is %.10g, want %.10g", i, tr.Volts[i], v(i))
		}
	}
	var codes []string
	for _, x := range tr.Cautions {
		codes = append(codes, x.Code)
	}
	want := strings.Fields(c.cautions)
	slices.Sort(codes)
	slices.Sort(want)
	if !slices.Equal(codes, want) {
		t.Errorf("cautions %v, want %v: %v", codes, want, tr.Cautions)
	}
	if c.check != nil {
		c.check(t, tr)
	}
	if t.Failed() {
		t.Logf("%s %+v", tr.Layout, tr.Assumptions)
	}
}
