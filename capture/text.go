package capture

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strings"
)

// readText reads time and volts columns separated by commas.
func (s *source) readText(ctx context.Context, opt Options) (*Trace, error) {
	r, _, err := s.open(true)
	if err != nil {
		return nil, err
	}
	t := &Trace{File: s.name, Layout: "CSV, time and volts columns", Calibrated: true, TimeUnit: "s", VoltUnit: "V", Channels: []string{""}}
	sc := bufio.NewScanner(r)
	line := 0
	var first, last float64
	for sc.Scan() {
		line++
		a, b, ok := strings.Cut(strings.TrimSpace(sc.Text()), ",")
		x, nx := scanNumber([]byte(a), '.')
		y, ny := scanNumber([]byte(b), '.')
		if !ok || nx != len(a) || ny != len(b) || ny == 0 {
			if len(t.Volts) == 0 {
				continue
			}
			return nil, &ParseError{Path: s.name, Line: line, Found: fmt.Sprintf("%q", sc.Text()), Expected: "time,volts"}
		}
		if len(t.Volts) == 0 {
			first = x.v
		}
		last = x.v
		t.Volts = append(t.Volts, y.v)
	}
	if err := sc.Err(); err != nil {
		return nil, streamError(s.name, err)
	}
	if _, err := io.Copy(io.Discard, r); err != nil {
		return nil, streamError(s.name, err)
	}
	if len(t.Volts) < minSamples || last <= first {
		return nil, &ParseError{Path: s.name, Found: "no table of time and volts", Expected: "rows such as 0.001,0.52"}
	}
	t.StartS = first
	t.SampleRateHz = float64(len(t.Volts)-1) / (last - first)
	if opt.RateHz > 0 {
		t.SampleRateHz = opt.RateHz
	}
	return t, t.applyInstrument(opt)
}
