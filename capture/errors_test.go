package capture

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// TestErrorLines gives broken files and what the one line must say.
func TestErrorLines(t *testing.T) {
	plain := rowsOf(100, tv(1e-6))
	for _, c := range []struct {
		name, text string
		opt        Options
		line, col  int
		words      string // all must stand in the message, joined by |
	}{
		{"letters in a number", "time,volts\n" + plain + "1.0e-4,5.0x3\n" + plain, Options{}, 102, 2, `"5.0x3"|number`},
		{"damaged time", "time,volts\n" + plain + "1.0.0e-4,5.03\n" + plain, Options{}, 102, 1, `"1.0.0e-4"|time`},
		{"a third cell", plain + "1.0e-4,5,03\n" + plain, Options{}, 101, 3, "more cells|2 cells"},
		{"a third cell near the top", "time,volts\n" + rowsOf(10, tv(1e-6)) + "1.0e-5,5,03\n" + plain, Options{}, 12, 3, "more cells"},
		{"a unit that changes, at the start", "time,volts\n" + rowsOf(100, func(i int) string {
			if i < 10 {
				return fmt.Sprintf("%d ns,1.5", i*100)
			}
			return fmt.Sprintf("%.1f us,1.5", float64(i)*0.1)
		}), Options{}, 12, 1, "unit changes"},
		{"a unit that changes, far down", "time,volts\n" + rowsOf(2000, func(i int) string {
			if i < 1000 {
				return fmt.Sprintf("%d ns,1.5", i)
			}
			return fmt.Sprintf("%.3f us,1.5", float64(i)/1000)
		}), Options{}, 1002, 1, "unit changes"},
		{"a damaged row near the top", "time,volts\n" + rowsOf(5, tv(1e-6)) + "5.0e-6,oops\n" + rowsOf(100, func(i int) string { return tv(1e-6)(i + 6) }), Options{}, 7, 2, `"oops"`},
		{"a damaged time near the top", "time,volts\n" + rowsOf(5, tv(1e-6)) + "5.0e-6x,1.5\n" + rowsOf(100, func(i int) string { return tv(1e-6)(i + 6) }), Options{}, 7, 1, `"5.0e-6x"`},
		{"text only", "dear diary\nnothing here\n", Options{}, 1, 1, "without a table"},
		{"two channels", "time,CH1,CH2\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.6f,1.5,2.5", float64(i)*1e-6) }), Options{}, 0, 0, `2 channels|1 "CH1"|2 "CH2"|--channel`},
		{"no such channel", "time,CH1\n" + plain, Options{Channel: "CH7"}, 0, 0, `"CH7"|"CH1"`},
		{"no rate", rowsOf(100, func(i int) string { return fmt.Sprintf("%.4f", wave(i)) }), Options{}, 1, 0, "sample rate|--rate"},
		{"sample numbers, no rate", "sample,volts\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%d,%.4f", i, wave(i)) }), Options{}, 2, 0, "sample rate|--rate"},
		{"codes without a scale", "time,adc\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.6f,%d", float64(i)*1e-6, 100+i%50) }), Options{}, 2, 2, "scale|--scale"},
		{"whole numbers without a unit", rowsOf(100, func(i int) string { return fmt.Sprintf("%.6f,%d", float64(i)*1e-6, 100+i%50) }), Options{}, 1, 2, "whole numbers|--scale"},
		{"an offset that may be counts", "volts per count,0.001\noffset,128\ntime (s),adc\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.6f,%d", float64(i)*1e-6, 100+i%50) }), Options{}, 2, 0, "volts or counts"},
		{"divisions without a scale", "time (s),CH1 (div)\n" + plain, Options{}, 2, 2, "divisions|--scale"},
		{"amperes", "time (s),CH1 (A)\n" + plain, Options{}, 1, 2, "a current in A|volts"},
		{"a spectrum", "Frequency (Hz),CH1 (dBV)\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%d,%.2f", i*100, -80+float64(i%7)) }), Options{}, 1, 0, "frequency"},
		{"decimal commas between commas", rowsOf(100, func(i int) string {
			return commaFor(fmt.Sprintf("%.6f", float64(i)*1e-6)) + "," + commaFor(fmt.Sprintf("%.3f", 0.01*float64(i%9)))
		}), Options{}, 100, 0, "decimal comma"},
		{"many holes", "time,volts\n" + rowsOf(200, func(i int) string {
			if i%10 == 3 {
				return fmt.Sprintf("%.6e,NaN", float64(i)*1e-6)
			}
			return tv(1e-6)(i)
		}), Options{}, 5, 0, `20 of 200|"NaN"|save the record`},
		{"more over range than within", "time,volts\n" + rowsOf(200, func(i int) string {
			if i%10 > 3 {
				return fmt.Sprintf("%.6e,OVER", float64(i)*1e-6)
			}
			return tv(1e-6)(i)
		}), Options{}, 6, 0, `120 of 200|"OVER"|volts per division`},
		{"rate and time column a thousand apart", "Sample rate,1 kHz\nTime (s),CH1 (V)\n" + plain, Options{}, 3, 1, "1 MS/s|1 kS/s"},
		{"steps unlikely as seconds", "time,volts\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%d.5,%.4f", i, wave(i)) }), Options{}, 2, 0, "unlikely|--time-unit"},
		{"few rows", "time,volts\n" + rowsOf(5, tv(1e-6)), Options{}, 2, 0, "5 rows"},
		{"no such segment", plain, Options{Segment: 4}, 0, 0, "segment 4"},
		{"binary", "\x00\x01\x02\x03" + plain, Options{}, 0, 0, "binary"},
		{"a zip archive", "PK\x03\x04" + plain, Options{}, 0, 0, "zip"},
		{"time stands still", "time,volts\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("0.5,%.4f", wave(i)) }), Options{}, 0, 0, "advance"},
		{"huge volts", "time,volts\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.6f,%.4fe12", float64(i)*1e-6, wave(i)) }), Options{}, 0, 0, "volts below"},
		{"a gap over a tenth", "time,volts\n" + rowsOf(10, tv(1e-6)) + rowsOf(10, func(i int) string { return tv(1e-6)(i + 500) }), Options{}, 0, 0, "gap"},
		{"days of a spreadsheet from midnight on", "Date,CH1\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.9f,%.4f", 43831+float64(i)/86400, wave(i)) }), Options{}, 2, 0, "count days|--rate"},
		{"days from year 0", "t,CH1\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.9f,%.4f", 737791+float64(i)/86400, wave(i)) }), Options{}, 2, 0, "count days|--rate"},
		{"a time of day as a fraction of a day", "Time,CH1\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.11f,%.4f", 0.64+float64(i)*0.002/86400, wave(i)) }), Options{}, 2, 0, "count days|--rate"},
		{"a factor of all numbers", "   1.0e-03 *\n\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("   %.4f   %.4f", float64(i)*0.01, wave(i)) }), Options{}, 1, 0, "1.0e-03|factor of all numbers|--scale"},
		{"a column of units of time that changes", "Time,Unit,CH1,Unit\n" + rowsOf(200, func(i int) string {
			if i < 100 {
				return fmt.Sprintf("%d,us,%.4f,V", 10*i, wave(i))
			}
			return fmt.Sprintf("%g,ms,%.4f,V", float64(i)/100, wave(i))
		}), Options{}, 102, 1, "unit changes"},
		{"a channel taken out, its name left", "Time (s),CH1 (V),CH2 (V)\n" + plain, Options{}, 1, 3, "3 names|2 cells|lost column"},
		{"the times taken out, their name left", "Time (s),CH1 (V),CH2 (mV)\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.4f,%.1f", wave(i), 1000*wave(i)) }), Options{RateHz: 1e6, Channel: "1"}, 1, 3, "3 names|2 cells|lost column"},
		{"the times of a lone channel in millivolts taken out, their name left", "Time (s),CH1 (mV)\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.1f", 1000*(wave(i)-5)) }), Options{RateHz: 1e6}, 1, 2, "in mV|--volt-unit"},
		{"the segment of another unit", "Time (s),CH1 (V)\n" + plain + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.0f", i, 1000*wave(i)) }), Options{Segment: 2}, 102, 0, "another unit|a file of its own"},
		{"two rows of names with other units", "Time (ms),CH1 (mV)\nTime (s),CH1 (V)\n" + plain, Options{}, 2, 1, "\"s\"|\"ms\"|one unit"},
		{"a row of units unlike the names'", "Time (s),CH1 (mV)\ns,V\n" + plain, Options{}, 2, 2, "\"V\"|\"mV\"|one unit"},
		{"the peak-to-peak below a single column", "Sample rate,1 MS/s\nCH1 (V)\n" + rowsOf(200, inVolts) + "\n0.1\n", Options{}, 0, 0, "0.1 in row 201|peak-to-peak|below the last sample"},
		{"mean, deviation and count below a single column", "Sample rate,1 MS/s\nCH1 (V)\n" + rowsOf(202, inVolts) + "5.0\n0.02916\n202\n", Options{}, 0, 0, "0.02916 in row 204|deviation|below the last sample"},
		{"lines in quotes as a whole", "\"time,volts\"\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("\"%.6f,%.4f\"", float64(i)*1e-6, wave(i)) }), Options{}, 1, 1, "quotes off the lines"},
		{"times multiplied", "Time*1000 (s),CH1 (V)\n" + plain, Options{}, 1, 1, "multiple of a unit|--time-unit"},
		{"times with a factor", "Time (s) x 1e-3,CH1 (V)\n" + plain, Options{}, 1, 1, "multiple of a unit|--time-unit"},
		{"volts with a factor behind", "Time (s),CH1 (V*1e-3)\n" + plain, Options{}, 1, 2, "multiple of a unit|--scale"},
		{"volts with a factor of ten in figures", "Time (s),CH1 (10\u207b\u00b3 V)\n" + plain, Options{}, 1, 2, "multiple of a unit|--scale"},
		{"volts per ampere", "Time (s),CH1 (V/A)\n" + plain, Options{}, 1, 2, "V/A|volts"},
		{"bad option", plain, Options{Delimiter: "#"}, 0, 0, "delimiter"},
	} {
		tr, err := Read(context.Background(), strings.NewReader(c.text), "bench/x.csv", c.opt)
		if err == nil {
			t.Errorf("%s: read as %s, %g Hz, %d samples", c.name, tr.Layout, tr.SampleRateHz, len(tr.Volts))
			continue
		}
		msg := err.Error()
		if strings.ContainsAny(msg, "\n\r") || !strings.HasPrefix(msg, "bench/x.csv") {
			t.Errorf("%s: %q is not one line that begins with the file", c.name, msg)
		}
		if c.line > 0 {
			want := fmt.Sprintf("bench/x.csv:%d", c.line)
			if c.col > 0 {
				want += fmt.Sprintf(":%d", c.col)
			}
			if !strings.HasPrefix(msg, want+":") {
				t.Errorf("%s: %q, want it to begin with %s", c.name, msg, want)
			}
		}
		for _, w := range strings.Split(c.words, "|") {
			if !strings.Contains(msg, w) {
				t.Errorf("%s: %q lacks %q", c.name, msg, w)
			}
		}
	}
}

// TestChannelErrorLists lets callers list the channels.
func TestChannelErrorLists(t *testing.T) {
	text := "time,CH1,CH2\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.6f,1.5,2.5", float64(i)*1e-6) })
	_, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
	var ce *ChannelError
	if !errors.As(err, &ce) || len(ce.Channels) != 2 || ce.Channels[1] != "CH2" {
		t.Errorf("%v", err)
	}
}

// TestCancel stops a read.
func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, b := range [][]byte{[]byte(rowsOf(1000, tv(1e-6))), wavFile(1, 1, 16, 48000, make([]byte, 2000))} {
		if _, err := Read(ctx, bytes.NewReader(b), "x", Options{}); !errors.Is(err, context.Canceled) {
			t.Errorf("%v", err)
		}
	}
}
