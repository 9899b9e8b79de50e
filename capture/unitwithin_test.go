package capture

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// Where a unit stands in a name that no bracket at its end holds: of small volts nothing but
// the unit tells millivolts from volts.
func TestUnitsWithinNames(t *testing.T) {
	for _, c := range []struct {
		name   string
		factor float64 // volts each
	}{
		{"(mV) CH1", 1e-3}, {"[mV] CH1", 1e-3}, {"mV(CH1)", 1e-3}, {"CH1 (AC, mV)", 1e-3}, {"CH1 (AC mV)", 1e-3}, {"CH1 (mV; AC)", 1e-3}, {"CH1 |mV|", 1e-3}, {`CH1 "mV"`, 1e-3},
		{"ripple_mv_ac", 1e-3}, {"millivolts_ch1", 1e-3}, {"voltageMv", 1e-3}, {"VoltageMV", 1e-3}, {"CH1mV", 1e-3}, {"A0mv", 1e-3}, {"chMilliVolts", 1e-3}, {"CH1uV", 1e-6}, {"CH1 (µV, filtered)", 1e-6},
		{"电压(毫伏)", 1e-3}, {"電圧[ミリボルト]", 1e-3}, {"CH1 (ÂµV)", 1e-6}, {"CH1 (æV)", 1e-6},
		{"V(mid)", 1}, {"CH1", 1}, {"Vmv2", 1}, {"CH1 (12V rail)", 1}, {"Out range 500 mV (V)", 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			name := `"` + strings.ReplaceAll(c.name, `"`, `""`) + `"`
			tr, err := Read(context.Background(), strings.NewReader("Time (us),"+name+"\n"+rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", i, wave(i)) })), "x.csv", Options{})
			if err != nil {
				t.Fatal(err)
			}
			if d := tr.Volts[7]/c.factor - wave(7); d > 1e-9 || d < -1e-9 || len(tr.Cautions) > 0 {
				t.Errorf("%g V, want %g of %g: %v %v", tr.Volts[7], c.factor, wave(7), tr.Assumptions, tr.Cautions)
			}
		})
	}
	for _, c := range []struct {
		settings string
		channel  string
		factor   float64 // volts each; 0: refused
	}{
		{"Signal unit,mV\n", "1", 1e-3}, {"Y label = Millivolt\n", "1", 1e-3}, {"# Unité: mV\n", "1", 1e-3}, {"unit_string,Volts,mVolts\n", "1", 1}, {"unit_string,Volts,mVolts\n", "2", 1e-3}, {"Value unit,uV\n", "2", 1e-6},
		{"Signal unit,V\n", "1", 1}, {"Trigger unit,V\n", "1", 1}, {"Trigger unit,mV\n", "1", 0}, {"Signal unit,mV\nValue unit,V\n", "1", 0}, {"Mode,mV\n", "1", 0},
	} {
		t.Run(c.settings+c.channel, func(t *testing.T) {
			tr, err := Read(context.Background(), strings.NewReader("Sample rate,1 MS/s\n"+c.settings+"A,B\n"+rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f,%.4f", wave(i), wave(i)) })), "x.csv", Options{Channel: c.channel})
			switch {
			case c.factor == 0 && (err == nil || !strings.Contains(err.Error(), "--volt-unit")):
				t.Errorf("%v %+v", err, tr)
			case c.factor == 0:
			case err != nil:
				t.Error(err)
			default:
				if d := tr.Volts[7]/c.factor - wave(7); d > 1e-9 || d < -1e-9 {
					t.Errorf("%g V, want %g of %g: %v", tr.Volts[7], c.factor, wave(7), tr.Assumptions)
				}
			}
		})
	}
	for _, name := range []string{"timeUs", "TimeMicroseconds", "(us) Time", "Time (us rel)", "时间(微秒)", "時間[マイクロ秒]", "Time (Âµs)", "Time (æs)"} {
		t.Run(name, func(t *testing.T) {
			tr, err := Read(context.Background(), strings.NewReader(name+",CH1 (mV)\n"+rowsMS(",")), "x.csv", Options{})
			if err != nil || tr.SampleRateHz != 1e6 || len(tr.Cautions) > 0 {
				t.Errorf("%v %+v", err, tr)
			}
		})
	}
}
