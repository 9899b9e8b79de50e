package synth

import (
	"bufio"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Layout is a way of laying out a CSV. All are invented, of ordinary kinds.
type Layout int

// The layouts.
const (
	TimeVolts    Layout = iota // header "time,volts", seconds and volts
	DecimalComma               // semicolons, decimal commas, milliseconds and millivolts, units in their own row
	Preamble                   // key,value lines with the increment, then one column of volts
	TwoChannels                // time and two channels; the second is a slow current probe
)

// WriteCSV writes volts in the layout. digits is the number of significant
// digits of a value, 0: 6. Lines end in \n, except DecimalComma's in \r\n.
// coupling is what Preamble states, "": DC. It fails on an unknown layout or
// when w does.
func WriteCSV(w io.Writer, layout Layout, rateHz float64, volts []float64, digits int, coupling string) error {
	if digits == 0 {
		digits = 6
	}
	b := bufio.NewWriterSize(w, 1<<16)
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', digits, 64) }
	start := -math.Floor(float64(len(volts))/2) / rateHz
	// enough digits that the stamps' own rounding is far below an interval
	timeDigits := 4 + int(math.Ceil(math.Log10(float64(len(volts)))))
	at := func(i int) string { return strconv.FormatFloat(start+float64(i)/rateHz, 'e', timeDigits, 64) }
	milli := func(i int) string {
		decimals := 3 + int(math.Ceil(math.Log10(rateHz/1e3)))
		return strconv.FormatFloat((start+float64(i)/rateHz)*1e3, 'f', max(3, decimals), 64)
	}
	switch layout {
	case TimeVolts:
		fmt.Fprintln(b, "time,volts")
		for i, v := range volts {
			b.WriteString(at(i) + "," + num(v) + "\n")
		}
	case DecimalComma:
		comma := func(s string) string { return strings.Replace(s, ".", ",", 1) }
		fmt.Fprint(b, "Zeit;Kanal A\r\n(ms);(mV)\r\n\r\n")
		for i, v := range volts {
			b.WriteString(comma(milli(i)) + ";" + comma(num(v*1e3)) + "\r\n")
		}
	case Preamble:
		if coupling == "" {
			coupling = "DC"
		}
		fmt.Fprintf(b, "Record Length,%d\nSample Interval,%s,s\nVertical Unit,V\nCoupling,%s\nProbe,1\nData,\n",
			len(volts), strconv.FormatFloat(1/rateHz, 'e', 9, 64), coupling)
		for _, v := range volts {
			b.WriteString(num(v) + "\n")
		}
	case TwoChannels:
		fmt.Fprintln(b, "Time (s),Output (V),Load (A)")
		for i, v := range volts {
			b.WriteString(at(i) + "," + num(v) + ",0.64\n")
		}
	default:
		return fmt.Errorf("synth: unknown layout %d", layout)
	}
	return b.Flush()
}

// Gzip runs write through a gzip stream without name or time, so that the same
// content gives the same bytes. Its error is the first of write's and w's.
func Gzip(w io.Writer, write func(io.Writer) error) error {
	z, err := gzip.NewWriterLevel(w, gzip.DefaultCompression)
	if err != nil {
		return err
	}
	if err := write(z); err != nil {
		return err
	}
	return z.Close()
}

// WriteWAV writes one channel of 16 or 24 bit PCM where digital full scale is
// fullScaleV volts peak, > 0. Values beyond it stop at full scale, as in a
// converter. It fails on other bits or full scales, or when w does.
func WriteWAV(w io.Writer, bits int, rateHz int, fullScaleV float64, volts []float64) error {
	if bits != 16 && bits != 24 {
		return errors.New("synth: WAV takes 16 or 24 bits")
	}
	if fullScaleV <= 0 {
		return errors.New("synth: WAV needs the volts of full scale")
	}
	bytes := bits / 8
	size := len(volts) * bytes
	b := bufio.NewWriter(w)
	le := func(v any) { _ = binary.Write(b, binary.LittleEndian, v) } // a bufio.Writer keeps its error
	b.WriteString("RIFF")
	le(uint32(36 + size + size%2))
	b.WriteString("WAVEfmt ")
	le(uint32(16))
	le([]uint16{1, 1})
	le([]uint32{uint32(rateHz), uint32(rateHz * bytes)})
	le([]uint16{uint16(bytes), uint16(bits)})
	b.WriteString("data")
	le(uint32(size))
	top := math.Ldexp(1, bits-1)
	for _, v := range volts {
		c := int32(math.Max(-top, math.Min(top-1, math.RoundToEven(v/fullScaleV*top))))
		b.WriteByte(byte(c))
		b.WriteByte(byte(c >> 8))
		if bits == 24 {
			b.WriteByte(byte(c >> 16))
		}
	}
	if size%2 == 1 {
		b.WriteByte(0)
	}
	return b.Flush()
}
