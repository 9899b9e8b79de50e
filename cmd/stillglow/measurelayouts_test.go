package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"stillglow/capture/synth/testrun"
)

// One record, in millivolts as an 8-bit converter's steps of 4 mV give them:
// 7 V with mains ripple, a switching sawtooth, spikes and noise, at 1 MHz.
const (
	layoutRows = 12000
	layoutStep = 4 // mV
)

func layoutRecord() []int {
	mv := make([]int, layoutRows)
	seed := uint32(7)
	for i := range mv {
		seed = seed*1664525 + 1013904223
		noise := float64(seed>>8)/(1<<24) - 0.5
		cycle := math.Mod(float64(i)*0.0497, 1)
		v := 7000 + 60*math.Sin(2*math.Pi*float64(i)*100e-6) + 40*(cycle-0.5) + 16*noise
		if i%20 == 3 && i%400 > 200 {
			v += 90
		}
		mv[i] = layoutStep * int(math.Round(v/layoutStep))
	}
	return mv
}

// layoutText is a layout's settings and names, and how it writes row i of a
// sample in millivolts.
type layoutText struct {
	head string
	row  func(i, mv int) string
	last string // behind the rows
	args []string
}

func (l layoutText) bytes(mv []int) []byte {
	var b bytes.Buffer
	b.WriteString(l.head)
	for i, v := range mv {
		b.WriteString(l.row(i, v))
		b.WriteByte('\n')
	}
	b.WriteString(l.last)
	return b.Bytes()
}

func inVolts(mv int) string { return fmt.Sprintf("%d.%03d", mv/1000, mv%1000) }

// inSeconds prints row i's time at 1 MHz.
func inSeconds(i int) string { return fmt.Sprintf("0.%06d", i) }

func inCommas(s string) string { return strings.ReplaceAll(s, ".", ",") }

// plainRow is time and volts with a delimiter between.
func plainRow(delim string) func(i, mv int) string {
	return func(i, mv int) string { return inSeconds(i) + delim + inVolts(mv) }
}

func voltsAlone(_, mv int) string { return inVolts(mv) }

func numbered(i, mv int) string { return fmt.Sprintf("%d,%s", i, inVolts(mv)) }

// besides puts settings into the cells left of the first rows.
func besides(settings ...string) func(i, mv int) string {
	return func(i, mv int) string {
		left := ",,"
		if i < len(settings) {
			left = settings[i] + ","
		}
		return left + plainRow(",")(i, mv)
	}
}

// layoutTexts are the kinds of layout that instruments, their programs, data
// frames and spreadsheets write.
var layoutTexts = map[string]layoutText{
	"no header":                     {row: plainRow(",")},
	"time and volts":                {head: "time (s),CH1 (V)\n", row: plainRow(",")},
	"units in a row below":          {head: "Time,CH1\ns,V\n", row: plainRow(",")},
	"units in brackets below":       {head: "Time,Channel A\n(us),(mV)\n\n", row: func(i, mv int) string { return fmt.Sprintf("%d,%d", i, mv) }},
	"sources above units":           {head: "x-axis,1\nsecond,Volt\n", row: plainRow(",")},
	"source in a row of its own":    {head: "Source,CH1\nSecond,Volt\n", row: plainRow(",")},
	"exponents":                     {head: "in s,C1 in V\n", row: func(i, mv int) string { return fmt.Sprintf("%.6E,%.3E", float64(i)*1e-6, float64(mv)/1000) }},
	"engineering exponents":         {head: "x-axis,1\nsecond,Volt\n", row: func(i, mv int) string { return fmt.Sprintf("+%d.000E-06,+%d.00E-03", i, mv) }},
	"milliseconds, decimal commas":  {head: "Zeit (ms);Kanal A (V)\n", row: func(i, mv int) string { return inCommas(fmt.Sprintf("%d.%03d;%s", i/1000, i%1000, inVolts(mv))) }},
	"microseconds and millivolts":   {head: "t/us;U/mV\n", row: func(i, mv int) string { return fmt.Sprintf("%d;%d", i, mv) }},
	"names and units by underscore": {head: "time_us,out_mV\n", row: func(i, mv int) string { return fmt.Sprintf("%d,%d", i, mv) }},
	"tabs":                          {head: "Time (s)\tCH1 (V)\n", row: plainRow("\t")},
	"bars":                          {head: "time|CH1\n", row: plainRow("|")},
	"blanks":                        {head: "# time CH1\n", row: plainRow(" ")},
	"aligned blanks":                {head: "     time      v(out)\n", row: func(i, mv int) string { return fmt.Sprintf(" %12s   %9s ", inSeconds(i), inVolts(mv)) }},
	"everything quoted":             {head: "\"Time (s)\",\"CH1 (V)\"\n", row: func(i, mv int) string { return fmt.Sprintf("%q,%q", inSeconds(i), inVolts(mv)) }},
	"quoted decimal commas":         {head: "\"Time\",\"CH1\"\n", row: func(i, mv int) string { return fmt.Sprintf("%q,%q", inCommas(inSeconds(i)), inCommas(inVolts(mv))) }},
	"trailing delimiters":           {head: "time (s),CH1 (V),\n", row: func(i, mv int) string { return plainRow(",")(i, mv) + "," }},
	"units in cells":                {head: "Time,CH1\n", row: func(i, mv int) string { return fmt.Sprintf("%dus,%dmV", i, mv) }},
	"prefixes in cells":             {head: "time (s),CH1 (V)\n", row: func(i, mv int) string { return fmt.Sprintf("%du,%dm", i, mv) }},
	"formulas of a text":            {head: "=\"Time (s)\",=\"CH1 (V)\"\n", row: func(i, mv int) string { return fmt.Sprintf("=%q,=%q", inSeconds(i), inVolts(mv)) }},
	"units in a remark":             {head: "# CH1 in mV, times in us\ntime,CH1\n", row: func(i, mv int) string { return fmt.Sprintf("%d,%d", i, mv) }},
	"an empty cell ahead":           {head: "Samples\t12000\nY_Unit_Label\tVolts\nDelta_X\t0.000001\nX_Value\tCH1\tComment\n", row: func(_, mv int) string { return "\t" + inVolts(mv) }},
	"interval above":                {head: "Sample Interval,1.000000e-06\nVertical Units,V\nCH1\n", row: voltsAlone},
	"rate above in words":           {head: "Sampled at 1 MHz\nCH1 (V)\n", row: voltsAlone},
	"rate above with its unit":      {head: "# Sample rate: 1 MSa/s\n# Points: 12000\n", row: voltsAlone},
	"rate above, thousands marks":   {head: "Sample Rate,1,000,000 Hz\nCH1 (V)\n", row: voltsAlone},
	"sample numbers":                {head: "Sample Rate (Hz),1000000\nindex,CH1 (V)\n", row: numbered},
	"numbers under a time header":   {head: "Time(s),CH1 (V),t0 = 0,tInc = 1e-06,\n", row: func(i, mv int) string { return numbered(i, mv) + ",," }},
	"increment beside the names":    {head: "X,CH1,Start,Increment\nSequence,Volt,0.000e+00,1.000000e-06\n", row: func(i, mv int) string { return numbered(i, mv) + ",," }},
	"interval in a header cell":     {head: "CH1 (V),dt = 1e-6 s\n", row: voltsAlone},
	"codes, volts per count":        {head: "Sample Interval,1e-6\nVolts per count,0.004\ncounts\n", row: func(_, mv int) string { return fmt.Sprint(mv / layoutStep) }},
	"codes with a zero":             {head: "XINCREMENT,1e-6\nYINCREMENT,0.004\nYREFERENCE,128\nYORIGIN,0\ncounts\n", row: func(_, mv int) string { return fmt.Sprint(mv/layoutStep + 128) }},
	"settings at the left":          {row: besides("Record Length,12000", "Sample Interval,1.0e-06", "Source,CH1", "Vertical Units,V", "Horizontal Units,s")},
	"settings at the right": {row: func(i, mv int) string {
		return plainRow(",")(i, mv) + []string{",,Model,bench", ",,Source,CH1", ",,,"}[min(i, 2)]
	}},
	"a spreadsheet's separator line": {head: "sep=;\nTime;CH1\n", row: plainRow(";")},
	"a current beside":               {head: "Time (s),CH1 (V),CH2 (A)\n", row: func(i, mv int) string { return plainRow(",")(i, mv) + ",0.9" }},
	"power and temperature beside":   {head: "time_s,out_V,load_W_power,temp_C\n", row: func(i, mv int) string { return plainRow(",")(i, mv) + ",0.9,24.5" }, args: []string{"--channel", "out"}},
	"logic lines beside":             {head: "x-axis,1,D0-D7\nsecond,Volt,\n", row: func(i, mv int) string { return plainRow(",")(i, mv) + fmt.Sprintf(",%d", i%4) }},
	"codes beside":                   {head: "No,Time(s),CH1(V),CH1 raw\n", row: func(i, mv int) string { return fmt.Sprintf("%d,%s,%d", i, plainRow(",")(i, mv), mv/layoutStep) }},
	"second of two channels":         {head: "Time (s),CH1 (V),CH2 (V)\n", row: func(i, mv int) string { return fmt.Sprintf("%s,0.5,%s", inSeconds(i), inVolts(mv)) }, args: []string{"--channel", "CH2"}},
	"a time to each channel":         {head: "Time,CH1,Time,CH2\ns,V,s,V\n", row: func(i, mv int) string { return fmt.Sprintf("%s,0.5,%s", inSeconds(i), plainRow(",")(i, mv)) }, args: []string{"--channel", "CH2"}},
	"screen wider than the memory": {head: "time (s),CH1 (V)\n", row: plainRow(","), last: func() string {
		var b strings.Builder
		for i := range 50 {
			b.WriteString(inSeconds(layoutRows+i) + ",\n")
		}
		return b.String()
	}()},
	"a footer":                     {head: "time (s),CH1 (V)\n", row: plainRow(","), last: "\nEnd of record\nsaved by hand,yes\n"},
	"the unit given":               {head: "time,CH1\n", row: func(i, mv int) string { return fmt.Sprintf("%d.5,%d.0", i, mv) }, args: []string{"--time-unit", "us", "--volt-unit", "mV"}},
	"rate given":                   {row: voltsAlone, args: []string{"--rate", "1MHz"}},
	"scale given":                  {head: "time (s),adc\n", row: func(i, mv int) string { return fmt.Sprintf("%s,%d", inSeconds(i), mv/layoutStep) }, args: []string{"--scale", "0.004"}},
	"names and units line by line": {head: "bench.acq\n0.001 msec/sample\n1 channels\nOut\nmV\nmsec\tCH1\n\t12000\n", row: func(i, mv int) string { return fmt.Sprintf("%d.%03d\t%d", i/1000, i%1000, mv) }},
	"a title for each channel":     {head: "Interval=\t1e-6 s\nTimeFormat=\tStartOfBlock\nChannelTitle=\tOut\tIn\nRange=\t10.000 V\t500.0 mV\n", row: func(i, mv int) string { return plainRow("\t")(i, mv) + "\t0.5" }, args: []string{"--channel", "Out"}},
	"axes below the names":         {head: "Frame#,Time,Out 1\n,,X\n,s,V\n", row: func(i, mv int) string { return fmt.Sprintf("%d,%s", i, plainRow(",")(i, mv)) }},
	"the frequency of the samples": {head: "NO_OF_SAMPLES\t12000\nTOT_NO_OF_CHAN\t2\nFREQUENCY\t1000000\nCHANNEL_NAMES\tOut\tIn\n", row: func(_, mv int) string { return inVolts(mv) + "\t0.5" }, args: []string{"--channel", "Out"}},
	"the times alone named":        {head: "Channel,1,2\nUnit,V,V\nRange,10,10\nTime (us),,\n", row: func(i, mv int) string { return fmt.Sprintf("%d,%s,0.5", i, inVolts(mv)) }, args: []string{"--channel", "1"}},
	"a handheld's keys":            {head: "Channel\t\t\t  :,CH1\nProbe attenuation\t  :,1X\nTime interval\t\t  :,1.00uS\n\nindex,CH1_Voltage(mV)\n", row: func(i, mv int) string { return fmt.Sprintf("%d,%d", i, mv) }},
}

// importFacts are the keys of measure's JSON that tell how a file is written.
var importFacts = []string{"file", "channel", "sha256", "layout", "note", "assumptions"}

// measuredJSON runs measure on text written as it stands in raw.
func measuredJSON(t *testing.T, name string, raw []byte, args []string) map[string]any {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.csv")
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	root := newRootCmd()
	root.SetOut(&out)
	root.SetErr(&bytes.Buffer{})
	root.SetArgs(append([]string{"measure", "--json", path}, args...))
	if err := root.Execute(); err != nil {
		t.Errorf("%s: %v", name, err)
		return nil
	}
	var m map[string]any
	if err := json.Unmarshal(out.Bytes(), &m); err != nil {
		t.Errorf("%s: %v", name, err)
		return nil
	}
	for _, k := range importFacts {
		delete(m, k)
	}
	// How well the rate is known depends on how the times are printed.
	if u, ok := m["uncertainty"].(map[string]any); ok {
		for k := range u {
			if strings.HasSuffix(k, "_hz") {
				delete(u, k)
			}
		}
	}
	return m
}

// TestSameMeasurementInEveryLayout measures one record in every layout: what
// comes out is the same to the last digit, but for the file's name and hash and
// what the importer says of the layout.
func TestSameMeasurementInEveryLayout(t *testing.T) {
	mv := layoutRecord()
	want := measuredJSON(t, "time and volts", layoutTexts["time and volts"].bytes(mv), nil)
	if len(want) < 60 {
		t.Fatalf("%d keys", len(want))
	}
	known := 0
	for _, v := range want {
		if x, ok := v.(float64); ok && x != 0 {
			known++
		}
	}
	if known < 20 {
		t.Fatalf("only %d figures are known of the record", known)
	}
	check := func(name string, raw []byte, args []string) {
		got := measuredJSON(t, name, raw, args)
		if got == nil {
			return
		}
		for k, v := range want {
			a, _ := json.Marshal(v)
			b, _ := json.Marshal(got[k])
			if !bytes.Equal(a, b) {
				t.Errorf("%s: %s is %.300s, want %.300s", name, k, b, a)
			}
		}
		if len(got) != len(want) {
			t.Errorf("%s: %d keys, want %d", name, len(got), len(want))
		}
	}
	for _, name := range testrun.Some(slices.Sorted(maps.Keys(layoutTexts)), 8) {
		l := layoutTexts[name]
		check(name, l.bytes(mv), l.args)
	}
	// The same text in other clothes.
	plain := layoutTexts["time and volts"].bytes(mv)
	var zipped bytes.Buffer
	w := gzip.NewWriter(&zipped)
	w.Write(plain)
	w.Close()
	if !testrun.Full() {
		return
	}
	check("gzip", zipped.Bytes(), nil)
	check("CRLF", bytes.ReplaceAll(plain, []byte("\n"), []byte("\r\n")), nil)
	check("CR", bytes.ReplaceAll(plain, []byte("\n"), []byte("\r")), nil)
	check("blank lines between", bytes.ReplaceAll(plain, []byte("\n"), []byte("\n\n")), nil)
	check("a byte order mark", append([]byte("\xef\xbb\xbf"), plain...), nil)
	for _, big := range []bool{false, true} {
		var wide []byte
		for _, u := range utf16.Encode([]rune("\ufeff" + string(plain))) {
			if big {
				wide = append(wide, byte(u>>8), byte(u))
			} else {
				wide = append(wide, byte(u), byte(u>>8))
			}
		}
		check(fmt.Sprintf("UTF-16, big end first: %v", big), wide, nil)
	}
	// Newest row first.
	lines := strings.Split(strings.TrimSuffix(string(plain), "\n"), "\n")
	for a, b := 1, len(lines)-1; a < b; a, b = a+1, b-1 {
		lines[a], lines[b] = lines[b], lines[a]
	}
	check("newest row first", []byte(strings.Join(lines, "\n")+"\n"), nil)
}
