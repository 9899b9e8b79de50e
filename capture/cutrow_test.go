package capture

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
)

// engineering prints v with an exponent that is a multiple of three, as many scopes do.
func engineering(v float64) string {
	e := 0
	for m := math.Abs(v); m != 0 && m < 1; m *= 1000 {
		e -= 3
	}
	return fmt.Sprintf("%+.6fE%+03d", v*math.Pow10(-e), e)
}

// TestCutInsideTheLastRow cuts a file at every byte of its last row. A number cut short
// reads as another number, so such a row must be left out: no sample may be other than
// the one that was written, whatever stands behind the volts.
func TestCutInsideTheLastRow(t *testing.T) {
	low := func(i int) float64 { return (wave(i) - 4.9) / 100 } // so that an exponent counts
	for _, c := range []struct {
		name, header string
		row          func(i int) string
		channel      string
		v            func(i int) float64
	}{
		{"exponents", "time,volts\n", func(i int) string { return fmt.Sprintf("%.6e,%.3e", float64(i)*1e-6, low(i)) }, "", low},
		{"a delimiter behind each row", "time,volts,\n", func(i int) string { return fmt.Sprintf("%.6e,%.3e,", float64(i)*1e-6, low(i)) }, "", low},
		{"empty cells behind each row", "time,volts,,\n", func(i int) string { return fmt.Sprintf("%.6e,%.3e,,", float64(i)*1e-6, low(i)) }, "", low},
		{"a channel behind, and a delimiter", "X,CH1,CH2,Start,Increment,\nSequence,Volt,Volt,0.0,1.0e-06\n", func(i int) string { return fmt.Sprintf("%d,%.3e,%.2e,", i, low(i), wave(i)) }, "CH1", low},
		{"the second channel, and a delimiter", "X,CH1,CH2,Start,Increment,\nSequence,Volt,Volt,0.0,1.0e-06\n", func(i int) string { return fmt.Sprintf("%d,%.2e,%.3e,", i, wave(i), low(i)) }, "CH2", low},
		{"volts alone, and a delimiter", "CH1,Start,Increment,\nVolt,0.0,1.0e-06\n", func(i int) string { return fmt.Sprintf("%.4e,", low(i)) }, "", low},
		{"exponents in threes", "x-axis,1\nsecond,Volt\n", func(i int) string { return engineering(float64(i)*1e-6) + "," + engineering(low(i)) }, "", low},
		{"exponents in threes, signs and lengths that differ", "x-axis,1\nsecond,Volt\n", func(i int) string {
			return engineering(float64(i)*1e-6) + "," + strings.Replace(engineering(low(i)), "0000E", "E", 1)
		}, "", low},
		{"decimal comma, semicolons behind", "Zeit in s;Spannung in V;\n", func(i int) string { return commaFor(fmt.Sprintf("%.6f;%.3E;", float64(i)*1e-6, low(i))) }, "", low},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows := rowsOf(rows200-1, c.row)
			last := c.row(rows200 - 1)
			kept := 0
			for n := 1; n <= len(last); n++ {
				tr, err := Read(context.Background(), strings.NewReader(c.header+rows+last[:n]), "x.csv", Options{Channel: c.channel})
				if err != nil {
					t.Fatalf("cut to %q: %v", last[:n], err)
				}
				if len(tr.Volts) < rows200-1 {
					t.Fatalf("cut to %q: %d samples", last[:n], len(tr.Volts))
				}
				for i, v := range tr.Volts {
					want := c.v(i)
					if math.Abs(v-want) > 5e-4*math.Abs(want)+5e-7 {
						t.Errorf("cut to %q: sample %d is %g, want %g", last[:n], i, v, want)
						break
					}
				}
				kept = len(tr.Volts)
			}
			if kept != rows200 {
				t.Errorf("of the whole row without a line end %d samples were read", kept)
			}
		})
	}
}

// A last line of delimiters alone, as spreadsheets leave it, is no row cut short.
func TestNoRowAtTheEnd(t *testing.T) {
	for _, end := range []string{",", ",,", ",,,,,", " , "} {
		text := "time,volts,,\n" + rowsOf(rows200, func(i int) string { return tv(1e-6)(i) + ",," }) + end
		tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{})
		if err != nil || len(tr.Volts) != rows200 || len(tr.Cautions) > 0 {
			t.Errorf("%q: %v %+v", end, err, tr)
		}
	}
}
