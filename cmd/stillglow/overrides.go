package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"stillglow/capture"
)

// addImportFlags gives cmd one flag for everything the importer would
// otherwise guess, and returns the options they fill.
func addImportFlags(cmd *cobra.Command) *capture.Options {
	opt := new(capture.Options)
	f := cmd.Flags()
	f.StringVar(&opt.Channel, "channel", "", "channel to read, by name or by number from 1")
	f.Func("time-unit", "unit of the time column: s, ms, us, ns or samples", oneOf(&opt.TimeUnit, "s", "ms", "us", "ns", "ps", "samples"))
	f.Func("volt-unit", "unit of the voltage column: V, mV, uV, counts or div", oneOf(&opt.VoltUnit, "V", "mV", "uV", "nV", "kV", "counts", "div"))
	f.Func("delimiter", "cell delimiter: comma, semicolon, tab, space or bar, or the character itself",
		spelled(&opt.Delimiter, "comma, semicolon, tab, space or bar", map[string]string{
			"comma": ",", ",": ",", "semicolon": ";", ";": ";", "tab": "tab", "\t": "tab", `\t`: "tab", "space": " ", " ": " ", "bar": "|", "|": "|",
		}))
	f.Func("decimal", "decimal mark: point or comma", spelled(&opt.DecimalMark, "point or comma", map[string]string{
		".": ".", "point": ".", "dot": ".", ",": ",", "comma": ",",
	}))
	f.Func("rate", "sample rate in hertz (48000, 48k, 2.5MHz); overrides the file's time column", hertz(&opt.RateHz))
	f.Func("scale", "volts per count or per division: multiplies the file's values", nonZero(&opt.Scale))
	f.Func("offset", "volts added after the scale", func(s string) (err error) {
		opt.OffsetV, err = finite(s)
		return err
	})
	f.Func("volts-per-full-scale", "WAV: volts (peak) at digital full scale", positive(&opt.VoltsPerFullScale))
	f.Func("probe", "multiply the file's volts by this (10 for a 10:1 probe that the scope was told is 1:1)", func(s string) error {
		t := strings.TrimSuffix(strings.TrimSuffix(strings.ToLower(strings.TrimSpace(s)), ":1"), "x")
		return positive(&opt.ProbeFactor)(strings.TrimPrefix(t, "x"))
	})
	f.Func("bandwidth", "bandwidth of the instrument in hertz (20M, 100MHz)", bandwidth(&opt.BandwidthHz))
	f.BoolFunc("band-limited", "the instrument's own bandwidth limit was on (=false: off)", yesNo(&opt.BandLimited))
	f.BoolFunc("anti-aliased", "high-resolution mode, or a low-pass ahead of the input, removed what lies above half the sample rate", yesNo(&opt.AntiAliased))
	f.Func("coupling", "input coupling: dc or ac", func(s string) error {
		switch c := capture.Coupling(strings.ToLower(s)); c {
		case capture.CouplingDC, capture.CouplingAC:
			opt.Coupling = c
			return nil
		}
		return fmt.Errorf("found %q, expected dc or ac", s)
	})
	f.Func("mode", "what the probe was across: differential (the output) or common (both wires together, 100 Ω to chassis or earth)", func(s string) error {
		m, ok := capture.ParseMode(s)
		if !ok {
			return fmt.Errorf("found %q, expected differential or common", s)
		}
		opt.Mode = m
		return nil
	})
	f.Func("max-samples", fmt.Sprintf("refuse a record of more samples, which are held in memory at 8 bytes each (default %d)", capture.DefaultMaxSamples), fromOne(&opt.MaxSamples))
	f.Func("segment", "segment to read, from 1, when the file holds several", fromOne(&opt.Segment))
	return opt
}

// spelled accepts the words that spellings holds, in either case.
func spelled(dst *string, expected string, spellings map[string]string) func(string) error {
	return func(s string) error {
		v, ok := spellings[strings.ToLower(s)]
		if !ok {
			return fmt.Errorf("found %q, expected %s", s, expected)
		}
		*dst = v
		return nil
	}
}

func yesNo(dst **bool) func(string) error {
	return func(s string) error {
		b, err := strconv.ParseBool(s)
		if err != nil {
			return fmt.Errorf("found %q, expected true or false", s)
		}
		*dst = &b
		return nil
	}
}

func fromOne(dst *int) func(string) error {
	return func(s string) error {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 {
			return fmt.Errorf("found %q, expected a whole number from 1", s)
		}
		*dst = n
		return nil
	}
}

// leastBandwidthHz: no instrument has less; a plain 20 meant 20M.
const leastBandwidthHz = 1e3

func bandwidth(dst *float64) func(string) error {
	return func(s string) error {
		if err := hertz(dst)(s); err != nil {
			return err
		}
		if *dst < leastBandwidthHz {
			return fmt.Errorf("found %q, expected 1 kHz or more, such as 20M", s)
		}
		return nil
	}
}

// oneOf accepts one of the words, and µ for u.
func oneOf(dst *string, words ...string) func(string) error {
	return func(s string) error {
		t := strings.NewReplacer("µ", "u", "μ", "u").Replace(strings.TrimSpace(s))
		for _, w := range words {
			if strings.EqualFold(t, w) {
				*dst = w
				return nil
			}
		}
		return fmt.Errorf("found %q, expected %s or %s", s, strings.Join(words[:len(words)-1], ", "), words[len(words)-1])
	}
}

func hertz(dst *float64) func(string) error {
	return func(s string) (err error) {
		*dst, err = capture.ParseHertz(s)
		return err
	}
}

func finite(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("found %q, expected a number", s)
	}
	return v, nil
}

func positive(dst *float64) func(string) error {
	return func(s string) error {
		v, err := finite(s)
		if err != nil || v <= 0 {
			return fmt.Errorf("found %q, expected a number above zero", s)
		}
		*dst = v
		return nil
	}
}

func nonZero(dst *float64) func(string) error {
	return func(s string) error {
		v, err := finite(s)
		if err != nil || v == 0 {
			return fmt.Errorf("found %q, expected a number other than zero", s)
		}
		*dst = v
		return nil
	}
}
