package capture

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
)

// stackedCases are layouts whose names stand in several rows above each other, and
// those of loggers whose times count otherwise.
var stackedCases = []layoutCase{
	// A physiology recorder's text: a name and a unit for each channel, line by line, then the samples of each.
	{name: "names and units line by line, samples counted ahead", text: "bench.acq\n0.5 msec/sample\n2 channels\nOut\nmV\nIn\nVolts\nmsec\tCH1\tCH2\n\t200\t200\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.1f\t%.1f\t0.1", float64(i)*0.5, wave(i)*1000) }), rate: 2000, channels: "CH1|CH2", opt: Options{Channel: "CH1"}},
	// A lab recorder's text: settings as key=, a title for each channel.
	{name: "a title for each channel", text: "Interval=\t0.001 s\nTimeFormat=\tStartOfBlock\nChannelTitle=\tOut\tIn\nRange=\t10.000 V\t500.0 mV\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.3f\t%.4f\t0.1", float64(i)*0.001, wave(i)) }), rate: 1000, channels: "Out|In", opt: Options{Channel: "Out"}},
	// Motion capture with analogue inputs.
	{name: "axes below the names", text: "Frame#,Time,Out 1\n,,X\n,s,V\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.3f,%.4f", i, float64(i)*0.005, wave(i)) }), rate: 200, channels: "Out 1"},
	{name: "axes that tell like names apart", text: "Frame#,Time (ms),Pad,Pad\n,,X,Y\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f,%.4f,0.1", i, float64(i)*0.1, wave(i)) }), rate: 10e3, channels: "Pad X|Pad Y", opt: Options{Channel: "Pad X"}},
	{name: "keys over values, frames and times, axes", text: "PathFileType\t4\t(X/Y/Z)\tx\nDataRate\tCameraRate\tNumFrames\tUnits\n1000\t1000\t200\tV\nFrame#\tTime\tOut\tIn\n\t\tX1\tX2\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d\t%.4f\t%.4f\t0.1", i+1, float64(i)*0.001, wave(i)) }), rate: 1000, channels: "Out|In", opt: Options{Channel: "Out"}},
	{name: "frames and the samples within each", text: "Devices\n1000\n,,Analog - Voltage,Analog - Voltage\nFrame,Sub Frame,CH1,CH2\n,,V,V\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%d,%.4f,0.1", i/10+1, i%10, wave(i)) }), rate: 1000, channels: "CH1|CH2", opt: Options{Channel: "CH1", RateHz: 1000}},
	{name: "the frequency of the samples", text: "NO_OF_SAMPLES\t200\nTOT_NO_OF_CHAN\t2\nFREQUENCY\t1000\nDATA_INCLUDED\tANALOG\nCHANNEL_NAMES\tOut\tIn\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f\t0.1", wave(i)) }), rate: 1000, channels: "Out|In", opt: Options{Channel: "Out"}},
	{name: "a row that names the times alone", text: "Channel,1,2\nName,Out,In\nUnit,V,V\nRange,10,10\nTime (ms),,\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f,%.4f,0.1", float64(i)*0.1, wave(i)) }), rate: 10e3, channels: "1|2", opt: Options{Channel: "1"}},
	// A paperless recorder: seconds and their thousandths side by side, two rows of names.
	{name: "thousandths beside the time of day", text: "Vendor ,none\nSampling interval ,10ms\nCH ,Signal name ,Input ,Range ,Filter ,Span\nCH1 ,\"CH 1\" ,DC ,5V ,Off ,5,-5,V\nData\nNumber,Date&Time,ms,CH1,CH2,Alarm1-10\nNO.,Time,ms,V,V,A1234567890\n" + rowsOf(400, func(i int) string {
		return fmt.Sprintf("%d,2019/01/01 12:00:%02d,%03d,+%.4f,+0.1,LLLLLLLLLL", i+1, i*10/1000, i*10%1000, wave(i))
	}), rate: 100, n: 400, channels: "CH1|CH2", opt: Options{Channel: "CH1"}, start: 43200},
	// Loggers on a computer stamp seconds, or thousandths, since 1970.
	{name: "seconds since 1970", text: "timestamp,voltage\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.2f,%.4f", 1600000000.25+float64(i)*0.1, wave(i)) }), rate: 10, start: 1600000000.25, channels: "voltage"},
	{name: "milliseconds since 1970", text: "timestamp,voltage\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", 1600000000250+i*10, wave(i)) }), rate: 100, start: 1600000000.25, channels: "voltage"},
	{name: "microseconds since 1970", text: "time,voltage\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", 1600000000250000+i*1000, wave(i)) }), rate: 1000, start: 1600000000.25, channels: "voltage"},
	{name: "a board's milliseconds", text: "millis,A0\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", i*10, wave(i)) }), rate: 100, channels: "A0"},
	{name: "a name of no time whose steps are the stated ones", text: "Sample Interval,1e-5 s\nabscissa,CH1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.2f,%.4f", float64(i)*0.01, wave(i)) }), rate: 100e3, channels: "CH1"},
	{name: "a name of no time, its unit given", text: "abscissa,CH1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.2f,%.4f", float64(i)*0.01, wave(i)) }), rate: 100e3, channels: "CH1", opt: Options{TimeUnit: "ms"}},
	{name: "a slow ramp on a converter's levels", text: rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f,%.1f", float64(i)*2e-4-0.1, float64(i/8)*0.2-6) }), rate: 5000, start: -0.1, v: func(i int) float64 { return math.Round(float64(i/8)*2-60) / 10 }, cautions: CautionTimeUnit},
	{name: "shortest decimals, the last row's shorter than all above", text: "time,CH1\n" + rowsOf(199, func(i int) string { return fmt.Sprintf("%.6f,%.4f1234567%s", float64(i)*1e-6, wave(i), "89"[:1+i%2]) }) + fmt.Sprintf("0.000199,%.4f123457", wave(199)), rate: 1e6, tol: 2e-5, channels: "CH1"},
	{name: "an interval beside the volts", text: "Time,TimeInterval,Voltage\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("2023-06-08 10:54:%06.3f,20.5,%.4f", float64(i)*0.05, wave(i)) }), rate: 20, start: 39240, channels: "Voltage"},
	// A memory recorder: settings for each channel, times in seconds that no unit names.
	{name: "slow times with exponents", text: "\"Ch\",\"1\",\"2\"\n\"Mode\",\"Tc\",\"Voltage\"\n\"Range\",\"100 C\",\"1V\"\n\"Time\",\"2-1[C]\",\"2-4[V]\",\"Event\"\n" + rowsOf(200, func(i int) string { return fmt.Sprintf(" %.9E, 2.62100E+01,%.5E,0", float64(i)*10, wave(i)) }), rate: 0.1, channels: "2-4", cautions: CautionTimeUnit},
	{name: "a word column that is no turn", text: "time (s),CH1 (V),state\n" + rowsOf(200, func(i int) string { return tv(1e-6)(i) + []string{",on", ",off", ",off"}[i%3] }), rate: 1e6, channels: "CH1"},
	{name: "in phase and quadrature", text: "t, i, q\n" + rowsOf(200, func(i int) string { return tv(1e-6)(i) + ",0.5" }), rate: 1e6, channels: "i|q", opt: Options{Channel: "i"}},
	{name: "a time in another script", text: "时间,电压\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "电压"},
	{name: "a time by the last word", text: "Plot Time,CH1\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "CH1"},
}

// TestNoTime refuses tables whose first column rises and is no time by its name, or may
// be a sweep's voltage by the curve beside it, and those whose stamps tell no unit.
func TestNoTime(t *testing.T) {
	for _, c := range []struct{ name, text, words string }{
		{"a name of no time", "gauge,CH1\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.4f,%.4f", float64(i)*1e-4, wave(i)) }), `"gauge" advances`},
		{"a name of no time over fine steps", "Ort,CH1\n" + rowsOf(100, tv(1e-6)), `"Ort" advances`},
		{"a diode's curve without names", rowsOf(400, func(i int) string {
			return fmt.Sprintf("%.3f,%.4e", float64(i)*0.005-1, 1e-12*float64(i*i*i*i)+1e-6*float64(i*37%5))
		}), "sweep"},
		{"the same downward", rowsOf(400, func(i int) string {
			return fmt.Sprintf("%.3f,%.4e", 1-float64(i)*0.005, 0.02-1e-12*float64(i*i*i*i)+1e-6*float64(i*37%5))
		}), "sweep"},
		{"x and y that only rise", "x,y\n" + rowsOf(400, func(i int) string { return fmt.Sprintf("%.3f,%.4f", float64(i)*0.005-1, float64(i)*0.01-2) }), "sweep"},
		{"a spectrum in megahertz without names", rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.4f,%.4f", 1418.8+float64(i)*0.001171875, wave(i), 0.1) }), "frequency"},
		{"an analyser's table without names", "Spectrum\nStart: 0 Hz\nStop: 5000 Hz\nRate: 10000 Hz\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f,%d.5", -50-wave(i), i%180) }), "frequency"},
		{"channels by name in turn", "time (s),channel,value\n" + rowsOf(200, func(i int) string {
			return fmt.Sprintf("%.6f,%s,%.4f", float64(i/2)*1e-6, []string{"out", "in"}[i%2], wave(i))
		}), "in turn"},
		{"channels by number in turn", "Date/Time,A/D Unit,A0,A1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("2018-03-05 09:30:%02d,%d,%.4f,0.5", 10+i/4, i%4, wave(i)) }), "in turn"},
		{"devices behind the values in turn", "Date/Time,A0,\n" + rowsOf(200, func(i int) string {
			return fmt.Sprintf("2018-03-05 09:30:%02d,%.4f,%d. device", 10+i/4, wave(i), i%3+1)
		}), "in turn"},
		{"positions over slow times with exponents", "mass_A\nt\tx\ty\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.9E\t%.9E\t%.9E", float64(i)/30, 79.2-wave(i), wave(i)) }), "--time-unit"},
		{"a slow logger without a unit", "Time,Voltage\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.1f,%.4f", float64(i)*0.1, wave(i)) }), "--time-unit"},
		{"a board's microseconds of the size of seconds since 1970", "time,volts\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%d,%.4f", 1600000000+i*100, wave(i)) }), "--time-unit"},
		{"frames and the samples within each", "Frame,Sub Frame,CH1\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%d,%d,%.4f", i/10+1, i%10, wave(i)) }), "--rate"},
	} {
		tr, err := Read(context.Background(), strings.NewReader(c.text), "x.csv", Options{Nth: 1})
		if err == nil || !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s: %v %v, want %q", c.name, tr != nil, err, c.words)
		}
	}
}
