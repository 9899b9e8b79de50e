package capture

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
)

// rowsMS prints 200 rows of times in µs and volts in mV; sep lies between.
func rowsMS(sep string) string {
	return rowsOf(200, func(i int) string { return fmt.Sprintf("%d%s%.0f", i, sep, wave(i)*1000) })
}

// remarked is rowsMS(",") with the text that behind has for a row in a cell of its own.
func remarked(behind map[int]string) string {
	return rowsOf(200, func(i int) string {
		row := fmt.Sprintf("%d,%.0f", i, wave(i)*1000)
		if text, ok := behind[i]; ok {
			row += "," + text
		}
		return row
	})
}

func everyOther(text string) map[int]string {
	m := map[int]string{}
	for i := 0; i < 200; i += 2 {
		m[i] = text
	}
	return m
}

func inVolts(i int) string { return fmt.Sprintf("%.4f", wave(i)) }

// codeOf is a converter's code of the i-th sample, 1 mV each from 128 at 5 V.
func codeOf(i int) int { return int(math.Round((wave(i)-5)*1000)) + 128 }

// exportCases are heads, units and clocks as loggers, meters, older scopes and
// spreadsheets of several countries print them.
var exportCases = []layoutCase{
	{name: "Cyrillic names and units behind a comma", text: "Время, мкс;Напряжение, мВ\n" + rowsMS(";"), rate: 1e6, channels: "Напряжение"},
	{name: "Cyrillic in Windows-1251", text: cp1251("Время, мкс;Канал 1, мВ\n" + rowsMS(";")), rate: 1e6, channels: "Канал 1"},
	{name: "a row of units in Windows-1251", text: cp1251("Время;Канал 1\nмкс;мВ\n" + rowsMS(";")), rate: 1e6, channels: "Канал 1"},
	{name: "volts per LSB right above a section's name", text: "[Horizontal]\nSample Rate,1 MSa/s\n[Vertical]\nZero Code,128\nOffset,5.0 V\nVolts/LSB,0.001\n[Data]\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i)) }), rate: 1e6},
	{name: "settings as an instrument answers them, in one line", text: "NR_PT 200;XINCR 1.0E-6;XUNIT \"s\";YMULT 1.0E-3;YZERO 5.0E0;YOFF 1.28E2;YUNIT \"V\"\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i)) }), rate: 1e6},
	{name: "settings as an instrument answers them, one a line", text: "WFMPRE:XINCR 1.0E-6\nWFMPRE:YMULT 1.0E-3\nWFMPRE:YZERO 5.0E0\nWFMPRE:YOFF 128\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i)) }), rate: 1e6},
	{name: "codes with a scale, the settings' unit volts", text: "XINCR,1e-6\nYMULT,0.001\nYOFF,128\nYZERO,5.0\nYUNIT,V\nCURVE\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i)) }), rate: 1e6, channels: "CURVE"},
	{name: "codes with divisions and codes per division", text: "Sample rate,1 MS/s\nVertical Scale,25 mV\nCodes per division,25\nCH1\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i) - 128) }), rate: 1e6, channels: "CH1", v: func(i int) float64 { return wave(i) - 5 }},
	{name: "the volts to add are given", text: "Sample rate,1 MS/s\nVertical Scale,25 mV\nVertical Offset,-5 V\nCodes per division,25\nCH1\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i) - 128) }), opt: Options{OffsetV: 5}, rate: 1e6, channels: "CH1"},
	{name: "a sound editor's samples on a linear scale", text: "cap.wav   1 channel (mono)\nSample Rate: 48000 Hz. Sample values on linear scale.\nLength processed: 200 samples  0.00417 seconds.\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.5f", wave(i)-5) }), rate: 48000, v: func(i int) float64 { return wave(i) - 5 }, cautions: CautionUncalibrated},
	{name: "an elapsed time of data frames", text: ",Vout\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("0 days 00:00:01.%06d,%.4f", i*10, wave(i)) }), rate: 100e3, start: 1, channels: "Vout"},
	{name: "channels named by a switch unit's numbers", text: "Scan,Time,101 (VDC),102 (VDC)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,12:%02d:%02d.0,%.4f,0.5", i+1, i/60, i%60, wave(i)) }), opt: Options{Channel: "101"}, rate: 1, start: 43200, channels: "101|102"},
	{name: "a setting of words over two channels right above their names", text: "\"Sampling Frequency (Hz)=\",1000000,\n\"Inverted = \",\"NO\",\"NO\"\n\"Time (s)\",\"Out (V)\",\"Out (V)\"\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.4f,0.5", float64(i)*1e-6, wave(i)) }), opt: Options{Channel: "1"}, rate: 1e6, channels: "Out|Out (column 3)"},
	{name: "three decimals behind a comma, in volts", text: "Time (us);CH1 (V)\n" + commaFor(rowsOf(200, func(i int) string { return fmt.Sprintf("%d;%.3f", i, wave(i)) })), rate: 1e6, channels: "CH1"},
	{name: "three decimals behind a comma, the mark given", text: "Time (us);CH1 (mV)\n" + commaFor(rowsOf(200, func(i int) string { return fmt.Sprintf("%d;%.3f", i, wave(i)) })), opt: Options{DecimalMark: ","}, rate: 1e6, channels: "CH1", v: func(i int) float64 { return wave(i) / 1000 }},
	{name: "three decimals behind a point, in millivolts between commas", text: "Time (us),CH1 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.3f", i, wave(i)) }), rate: 1e6, channels: "CH1", v: func(i int) float64 { return wave(i) / 1000 }},
	{name: "three decimals behind a point, in volts between semicolons", text: "Time (us);CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d;%.3f", i, wave(i)) }), rate: 1e6, channels: "CH1"},
	{name: "answers for each channel right above their names", text: "Inverted,Yes,No\nTime,CH1,CH2\ns,V,V\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.4f,0.5", float64(i)*1e-6, wave(i)) }), opt: Options{Channel: "CH1"}, rate: 1e6, channels: "CH1|CH2"},
	{name: "answers for each channel between the names and the rows", text: "Time (s),CH1 (V),CH2 (V)\nInvert,Off,On\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.4f,0.5", float64(i)*1e-6, wave(i)) }), opt: Options{Channel: "CH1"}, rate: 1e6, channels: "CH1|CH2"},
	{name: "blanks on both sides of a unit", text: "Time ( us ),CH1 [ mV ]\n" + rowsMS(","), rate: 1e6, channels: "CH1"},
	{name: "the lost letter of a unit given", text: "Time ( s),CH1 (mV)\n" + rowsMS(","), opt: Options{TimeUnit: "us"}, rate: 1e6, channels: "CH1", cautions: CautionTimeUnit},
	{name: "a spreadsheet's column of ten times the volts", text: "Time (us),CH1 (mV),CH1*10 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,0.5,%.0f", i, wave(i)*1000) }), opt: Options{Channel: "2"}, rate: 1e6, channels: "CH1|CH1*10", cautions: CautionProbeFactor},
	{name: "a name with a probe's factor", text: "Time (us),CH1 x10 (mV)\n" + rowsMS(","), rate: 1e6, channels: "CH1 x10", cautions: CautionProbeFactor},
	{name: "a name with a factor of one", text: "Time (us),CH1 1x (mV)\n" + rowsMS(","), rate: 1e6, channels: "CH1 1x"},
	{name: "a circuit's node of a part x10", text: "time,V(x10)\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "V(x10)"},
	{name: "a spike in the last row of a single column", text: "Sample rate,1 MS/s\nCH1 (V)\n" + rowsOf(199, inVolts) + "7.3\n", rate: 1e6, channels: "CH1", v: func(i int) float64 {
		if i == 199 {
			return 7.3
		}
		return wave(i)
	}},
	{name: "two rows of names with other units, units given", text: "Time (ms),CH1 (mV)\nTime (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), opt: Options{TimeUnit: "s", VoltUnit: "V"}, rate: 1e6, channels: "CH1", cautions: CautionProbeFactor + " " + CautionTimeUnit},
	{name: "units behind in, two channels", text: "\"in s\",\"CH1 in mV\",\"CH2 in V\"\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.1f,0.5", float64(i)*1e-6, 1000*wave(i)) }), opt: Options{Channel: "CH1"}, rate: 1e6, channels: "CH1|CH2"},
	{name: "the symbol of the time over its unit beside a unit alone", text: "t/us,mV\n" + rowsMS(","), rate: 1e6},
	{name: "units behind in, one channel", text: "in us,C1 in mV\n" + rowsMS(","), rate: 1e6, channels: "C1"},
	{name: "logic lines named channels that change with each row", text: "Time [s],Channel 0,Channel 1,Analog 0\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%d,%d,%.4f", float64(i)*1e-6, i%2, i/3%2, wave(i)) }), rate: 1e6, channels: "Analog 0"},
	{name: "an interval named like a time above names", text: "Time per point (usec),1.000E+01\nn,CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", i, wave(i)) }), rate: 100e3, channels: "CH1"},
	{name: "a whole interval named like a time above rows", text: "Time per point (usec),10\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.4f", i, wave(i)) }), rate: 100e3},
	{name: "a rate with a prefix in a cell of its own", text: "Sampling Rate\t100.0\tM\nCH1 (V)\n" + rowsOf(200, inVolts), rate: 100e6, channels: "CH1"},
	{name: "a rate with a prefix in brackets behind its key", text: "Sample rate (k);500\nCH1 (V)\n" + rowsOf(200, inVolts), rate: 500e3, channels: "CH1"},
	{name: "a row that stands twice at a seam", text: "time,volts\n" + rowsOf(120, tv(1e-6)) + rowsOf(81, func(i int) string { return tv(1e-6)(i + 119) }), rate: 1e6, cautions: CautionSkipped},
	{name: "rows that stand twice at two seams", text: "time,volts\n" + rowsOf(80, tv(1e-6)) + rowsOf(80, func(i int) string { return tv(1e-6)(i + 60) }) + rowsOf(90, func(i int) string { return tv(1e-6)(i + 110) }), rate: 1e6, cautions: CautionSkipped},
	{name: "a seam in a record whose times fall", text: "time,volts\n" + rowsOf(120, func(i int) string { return tv(1e-6)(199 - i) }) + rowsOf(90, func(i int) string { return tv(1e-6)(89 - i) }), rate: 1e6, cautions: CautionSkipped},
	{name: "the clock goes back, other volts", text: "time,volts\n" + rowsOf(200, tv(1e-6)) + rowsOf(190, func(i int) string { return fmt.Sprintf("%.9e,%.4e", float64(i+10)*1e-6, wave(i)) }), rate: 1e6, cautions: CautionSegments},
	{name: "a second capture in other units, no line between", text: "Time (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)) + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.0f", i, 1000*wave(i)) }), rate: 1e6, channels: "CH1", cautions: CautionSegments},
	{name: "the same date and time in all rows, the rate stated", text: "Sample rate (Hz),1000000\nSample,Date/Time,CH0\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,3/4/2019 3:22:34.12 PM,%.4f", i+1, wave(i)) }), rate: 1e6, channels: "CH0", cautions: CautionTimeRounded},
	{name: "times that stand still, the rate given", text: "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("0.5,%.4f", wave(i)) }), opt: Options{RateHz: 1e6}, rate: 1e6, cautions: CautionTimeRounded},
	{name: "volts sorted by themselves", text: "Sample rate,1 MS/s\nCH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.4f", 5+0.001*float64(i/2)) }), rate: 1e6, channels: "CH1", v: func(i int) float64 { return 5 + 0.001*float64(i/2) }, cautions: CautionUnsorted},
	{name: "times beside volts that were sorted to fall", text: "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.4f", float64(i)*1e-6, 5-0.001*float64(i/2)) }), rate: 1e6, v: func(i int) float64 { return 5 - 0.001*float64(i/2) }, cautions: CautionUnsorted},
	{name: "numbered rows without a name over their numbers", text: "Time (s),CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.6f,%.4f", i, float64(i)*1e-6, wave(i)) }), rate: 1e6, channels: "CH1"},
	{name: "quoted row numbers from 1, quoted names for all but them", text: "\"time\",\"A\",\"B\"\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("\"%d\",%.6f,0.5,%.4f", i+1, float64(i)*1e-6, wave(i)) }), opt: Options{Channel: "B"}, rate: 1e6, channels: "A|B"},
	{name: "a last column without a name", text: "No,Time (s),CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.6f,%.4f,0.5", i, float64(i)*1e-6, wave(i)) }), opt: Options{Channel: "CH1"}, rate: 1e6, channels: "CH1|column 4"},
	{name: "names of channels that are off, empty cells below", text: "Time (s),CH1 (V),CH2 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.4f,", float64(i)*1e-6, wave(i)) }), rate: 1e6, channels: "CH1"},
	{name: "a channel taken out, units given", text: "Time (s),CH1 (V),CH2 (V)\n" + rowsOf(200, tv(1e-6)), opt: Options{TimeUnit: "s", VoltUnit: "V"}, rate: 1e6, channels: "CH1"},
	{name: "times from 0 to 1 at 96 kS/s without a unit", text: "time,volts\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.10f,%.4f", float64(i)/96000, wave(i)) }), rate: 96e3},
	{name: "an interval with a decimal comma above whole numbers", text: "Abtastintervall (us);1,250\nCH1 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.0f", wave(i)*1000) }), rate: 800e3, channels: "CH1"},
	{name: "an interval with a decimal comma above numbers and whole numbers", text: "Abtastintervall (us);1,250\nn;CH1 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d;%.0f", i, wave(i)*1000) }), rate: 800e3, channels: "CH1"},
	{name: "an interval with a decimal comma behind a tab", text: "Abtastintervall (us)\t1,5\nCH1 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.0f", wave(i)*1000) }), rate: 1e6 / 1.5, channels: "CH1"},
	{name: "times of two whole numbers", text: "Time,CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%02d:%02d,%.4f", i/60, i%60, wave(i)) }), rate: 1, channels: "CH1", cautions: CautionTimeUnit},
	{name: "minutes and seconds with decimals", text: "Time,CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%02d:%04.1f,%.4f", i/600, float64(i%600)/10, wave(i)) }), rate: 10, channels: "CH1"},
	{name: "a rate in kSa", text: "Sampling,1000KSa\nCH1 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.1f", wave(i)*1000) }), rate: 1e6, channels: "CH1"},
	{name: "a rate of 1000 k", text: "Sample rate: 1000 k\nCH1 (V)\n" + rowsOf(200, inVolts), rate: 1e6, channels: "CH1"},
	{name: "samples a second as a unit", text: "Samples/s,1000000\nCH1 (V)\n" + rowsOf(200, inVolts), rate: 1e6, channels: "CH1"},
	{name: "one column of decimal commas below settings with semicolons", text: "Sampling rate (kHz);1000\nCH1 (mV)\n" + commaFor(rowsOf(200, func(i int) string { return fmt.Sprintf("%.1f", wave(i)*1000) })), rate: 1e6, channels: "CH1"},
	{name: "a line of signs between the names and the rows", text: "Time (us),CH1 (mV)\n==================\n" + rowsMS(","), rate: 1e6, channels: "CH1"},
	{name: "a first row behind a comment mark", text: "Time (us),CH1 (mV)\n# -1,5000\n" + rowsMS(","), rate: 1e6, channels: "CH1"},
	{name: "divisions, a note between the names and the rows", text: "Volts/div,0.5\nTime (s),CH1 (div)\n(trigger at the middle)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6e,%.4f", float64(i)*1e-6, wave(i)/0.5) }), rate: 1e6, channels: "CH1"},
	{name: "settings and names that a spreadsheet has quoted as a whole", text: "\"Probe,10x\"\n\"Coupling,AC\"\n\"Time (us),CH1 (mV)\"\n" + rowsMS(","), rate: 1e6, channels: "CH1", check: func(t *testing.T, tr *Trace) {
		if tr.Coupling != CouplingAC {
			t.Errorf("coupling %q", tr.Coupling)
		}
	}},
	{name: "settings with empty cells behind, the last right above the codes", text: "XINCR,1e-6,,\nYMULT,0.001,,\nYZERO,5.0,,\nWFMPRE:YOFF 128,,\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i)) }), rate: 1e6},
	{name: "the last setting above the codes quoted as a whole", text: "XINCR,1e-6\nYMULT,0.001\nYZERO,5.0\n\"YOFF,128\"\n" + rowsOf(200, func(i int) string { return fmt.Sprint(codeOf(i)) }), rate: 1e6},
	{name: "blank lines between the names and the rows", text: "Time (us);CH1 (mV)\n\n\n\n\n" + rowsMS(";"), rate: 1e6, channels: "CH1"},
	{name: "statistics between the units and the rows", text: "Time\tCH1\nus\tmV\nmin\t4000\nmax\t6000\nmean\t5000.5\n" + rowsMS("\t"), rate: 1e6, channels: "CH1"},
	{name: "a note between the name and a single column", text: "Sample rate,1 MS/s\nCH1 (mV)\n(trigger at the middle)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.1f", wave(i)*1000) }), rate: 1e6, channels: "CH1"},
	{name: "a first row of more cells than the rest", text: "Time (us),CH1 (mV)\n-1,5000,trig,x\n" + rowsMS(","), rate: 1e6, channels: "CH1"},
	{name: "another table with units of its own above", text: "Time (ms),Vrms (mV)\n1,5000\n2,5001\n\nwaveform\n" + rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "another table of one row above", text: "Time (ms),Vrms (mV)\n1,5000\n\nwaveform\n" + rowsOf(200, tv(1e-6)), rate: 1e6},
	{name: "a remark behind the first row, units above", text: "Time (us),CH1 (mV),Mark\n" + remarked(map[int]string{0: "trig"}), rate: 1e6, channels: "CH1"},
	{name: "remarks behind a row in the middle and the last", text: "Time (us),CH1 (mV)\n" + remarked(map[int]string{117: "trig", 199: "end"}), rate: 1e6, channels: "CH1"},
	{name: "a remark behind every other row", text: "Time (us),CH1 (mV)\n" + remarked(everyOther("ok")), rate: 1e6, channels: "CH1"},
	{name: "marks for over range behind two rows", text: "Time (us),CH1 (mV),Mark\n" + remarked(map[int]string{0: "OVL", 150: "OVL"}), rate: 1e6, channels: "CH1", cautions: CautionClipped},
	{name: "marks for over range in place of volts and behind some", text: "Time (us),CH1 (mV)\n" + rowsOf(200, func(i int) string {
		switch i {
		case 25, 26:
			return fmt.Sprintf("%d,OVL", i)
		case 24:
			return fmt.Sprintf("%d,%.0f,OVL", i, wave(i)*1000)
		}
		return fmt.Sprintf("%d,%.0f", i, wave(i)*1000)
	}), rate: 1e6, channels: "CH1", cautions: CautionClipped, check: func(t *testing.T, tr *Trace) {
		said := 0
		for _, k := range tr.Cautions {
			if k.Code == CautionClipped {
				said++
				if !strings.Contains(k.Text, "2 samples were over") || !strings.Contains(k.Text, "1 sample marked as over") {
					t.Error(k.Text)
				}
			}
		}
		if said != 1 {
			t.Errorf("%d cautions of clipping", said)
		}
	}},
	{name: "a column of units behind each", text: "Time,Unit,CH1,Unit\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,us,%.0f,mV", i, wave(i)*1000) }), rate: 1e6, channels: "CH1"},
	{name: "a meter's readings with their number and unit", text: "Reading,Timestamp,Value,Unit\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d,%.3f,%.4f,VDC", i+1, float64(i)*0.02, wave(i)) }), rate: 50, channels: "Value", cautions: CautionTimeUnit},
	{name: "a meter's VDC behind each value", text: "Sample Interval (s): 0.0001\nDCV\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%+.6EVDC", wave(i)) }), rate: 1e4, channels: "DCV"},
	{name: "prefixes alone behind each value", text: "Time,CH1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%du,%.1fm", i, wave(i)*1000) }), rate: 1e6, channels: "CH1"},
	{name: "a clock of twelve hours over noon", text: "Date Time,CH1 (V)\n" + rowsOf(200, func(i int) string {
		s, half := 59.9+float64(i)*1e-3, "AM"
		h, m := 11, 59
		if i >= 100 {
			h, m, s, half = 12, 0, float64(i-100)*1e-3, "PM"
		}
		return fmt.Sprintf("11/26/2026 %02d:%02d:%06.3f %s,%.3f", h, m, s, half, wave(i))
	}), rate: 1000, start: 43199.9, channels: "CH1"},
	{name: "a clock over midnight", text: "Clock,Volt\n" + rowsOf(200, func(i int) string {
		if i < 100 {
			return fmt.Sprintf("23:59:%06.3f,%.3f", 59.9+float64(i)*1e-3, wave(i))
		}
		return fmt.Sprintf("00:00:%06.3f,%.3f", float64(i-100)*1e-3, wave(i))
	}), rate: 1000, start: 86399.9},
	{name: "a clock with its offset from universal time", text: "Time [s],Channel 0\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("2026-01-01T12:00:00.%09d+01:00,%.4f", i*100, wave(i)) }), rate: 1e7, start: 43200, channels: "Channel 0"},
	{name: "a clock with its zone", text: "Time,CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("2026-01-01 12:00:00.%03d UTC,%.4f", i, wave(i)) }), rate: 1000, start: 43200, channels: "CH1"},
	{name: "a clock with its offset after a blank", text: "Time,CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("2026-01-01 12:00:00.%03d -0530,%.4f", i, wave(i)) }), rate: 1000, start: 43200, channels: "CH1"},
	{name: "hours", text: "Time (h),CH1 (V)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9f,%.4f", float64(i)/3600/10, wave(i)) }), rate: 10, channels: "CH1"},
	{name: "how times are counted, in brackets", text: "Time (relative),CH1 (V)\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "CH1"},
	{name: "a # that names the rows' numbers", text: "CH1: 20.0mV/div DC x1\n\n#\tT(us)\tU(mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%d\t%d\t%.0f", i, i, wave(i)*1000) }), rate: 1e6, channels: "U"},
	{name: "interpolated, the converter's rate stated beside the rows'", text: "Sample Rate,1 MS/s\nTrue Sample Rate,100 kS/s\nTime (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "CH1", cautions: CautionInterpolated,
		check: func(t *testing.T, tr *Trace) {
			if tr.TrueRateHz != 1e5 || tr.Span.HighHz > 0.4e5 {
				t.Errorf("true rate %g, span to %g", tr.TrueRateHz, tr.Span.HighHz)
			}
		}},
	{name: "interpolated, no times", text: "Sample Rate,1 MS/s\nTrue Sample Rate,100 kS/s\nCH1 (V)\n" + rowsOf(200, inVolts), rate: 1e6, channels: "CH1", cautions: CautionInterpolated},
	{name: "rows lost within the rounding of coarse stamps", text: "Time (us),CH1 (V)\n" + rowsOf(196, func(i int) string {
		k := i + (i+1)/49
		return fmt.Sprintf("%d,%.4f", 2*k, 5+float64(k%7)*0.001)
	}), rate: 5e5, channels: "CH1", cautions: CautionGaps, v: func(i int) float64 {
		if i%50 == 48 && i != 199 { // bridged between its neighbours
			return (5 + float64((i-1)%7)*0.001 + 5 + float64((i+1)%7)*0.001) / 2
		}
		return 5 + float64(i%7)*0.001
	}},
	{name: "settings in millivolts, the header in volts", text: "Vertical Units,mV\nTime (s),CH1 (V)\n" + rowsOf(200, tv(1e-6)), rate: 1e6, channels: "CH1", cautions: CautionProbeFactor},
	{name: "whole volts that may be millivolts", text: "Time (s),Voltage\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%.0f", float64(i)*1e-6, wave(i)*1000-5000) }), rate: 1e6, channels: "Voltage", v: func(i int) float64 { return math.Round(wave(i)*1000 - 5000) }, cautions: CautionProbeFactor},
	{name: "a sound program's samples", text: "Sample Data Export\n\nSample Rate: 48000 Hz. Sample values on linear scale.\nChannels: 1\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.5f", wave(i)-5) }), rate: 48000, v: func(i int) float64 { return wave(i) - 5 }, cautions: CautionUncalibrated,
		check: func(t *testing.T, tr *Trace) {
			if tr.Calibrated {
				t.Error("fractions of full scale taken for volts")
			}
		}},
	{name: "a sound program's samples, full scale given", text: "Sample Rate: 48000 Hz. Sample values on linear scale.\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.5f", wave(i)-5) }), opt: Options{VoltsPerFullScale: 2}, rate: 48000, v: func(i int) float64 { return 2 * (wave(i) - 5) },
		check: func(t *testing.T, tr *Trace) {
			if !tr.Calibrated {
				t.Error("not calibrated")
			}
		}},
	{name: "a sound program's samples, full scale and an offset given", text: "Sample Rate: 48000 Hz. Sample values on linear scale.\n\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.5f", wave(i)-5) }), opt: Options{VoltsPerFullScale: 2, OffsetV: 5}, rate: 48000, v: func(i int) float64 { return 2*(wave(i)-5) + 5 },
		check: func(t *testing.T, tr *Trace) {
			if !tr.Calibrated || math.Abs(tr.Levels.ResolutionV-2e-5) > 1e-12 {
				t.Errorf("calibrated %v, resolution %g V, want 2e-5", tr.Calibrated, tr.Levels.ResolutionV)
			}
		}},
	{name: "whole numbers beside columns in volts", text: "Time (s),Unit no.,A0 (mV)\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.6f,%d,%.1f", float64(i)*1e-6, i*i%7, wave(i)*1000) }), rate: 1e6, channels: "A0"},
}

func cp1251(s string) string {
	b, err := charmap.Windows1251.NewEncoder().String(s)
	if err != nil {
		panic(err)
	}
	return b
}

// TestRefusedExports refuses what may be volts of another size, or none, each with the
// line it is about and what to give.
func TestRefusedExports(t *testing.T) {
	few := func(i int) string { return fmt.Sprintf("%.6f,%d", float64(i)*1e-6, 697+i%6) }
	for _, c := range []struct {
		name, text string
		line       int
		words      string
	}{
		{"a microcontroller's codes on few levels", "time,a0\n" + rowsOf(100, few), 2, "whole numbers"},
		{"codes near zero", "time,ch1\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.6f,%d", float64(i)*1e-6, i%4) }), 2, "whole numbers"},
		{"codes whose offset has no known sign", "Sample rate,1 MS/s\nVertical Scale,25 mV\nVertical Offset,-5 V\nCodes per division,25\nCH1\n" + rowsOf(100, func(i int) string { return fmt.Sprint(codeOf(i) - 128) }), 3, "add or to take off|--offset"},
		{"divisions whose offset has no known sign", "Sample rate,1 MS/s\nVertical Scale,25 mV\nVertical Offset,-5 V\nCH1 (div)\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.3f", (wave(i)-5)/0.025) }), 3, "add or to take off|--offset"},
		{"JSON", "{\"rate\":1e6,\"volts\":[" + strings.TrimSuffix(strings.ReplaceAll(rowsOf(100, inVolts), "\n", ","), ",") + "]}", 1, "JSON|as CSV"},
		{"times in ticks", "Time (ticks),CH1 (V)\n" + rowsOf(100, tv(1e-6)), 1, `times in "ticks"|--time-unit`},
		{"times in a multiple of the second", "Time (1e-6 s),CH1 (V)\n" + rowsOf(100, tv(1e-6)), 1, `times in "1e-6 s"`},
		{"times in a prefix alone", "Time (M),CH1 (V)\n" + rowsOf(100, tv(1e-6)), 1, `times in "M"`},
		{"volts in a power of ten", "Time (s),CH1 (1e-3 V)\n" + rowsOf(100, tv(1e-6)), 1, "multiple of a unit|--scale"},
		{"volts in a prefix alone", "Time (s),CH1 (u)\n" + rowsOf(100, tv(1e-6)), 1, "values in u"},
		{"volts in bits", "Time (s),CH1 (bits)\n" + rowsOf(100, tv(1e-6)), 2, "codes without a scale"},
		{"a meter's log of AC volts", "Time (s),V AC (V)\n" + rowsOf(100, tv(0.1)), 1, "result"},
		{"a sound editor's samples on a scale of dB", "Sample Rate: 48000 Hz. Sample values on dB scale.\nLength processed: 100 samples 0.00208 seconds.\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.5f", wave(i)-20) }), 3, "values in dB"},
		{"thousands of millivolts behind a point", "Time (us);CH1 (mV)\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%d;%.3f", i*10, wave(i)) }), 0, "point may mark decimals or thousands|--decimal point"},
		{"thousands of millivolts behind a comma", "Time (us);CH1 (mV)\n" + commaFor(rowsOf(100, func(i int) string { return fmt.Sprintf("%d;%.3f", i*10, wave(i)) })), 0, "comma may mark decimals or thousands|--decimal comma"},
		{"a unit of time without its first letter", "Time ( s),CH1 (mV)\n" + rowsMS(","), 1, "lost its first letter|--time-unit"},
		{"a unit of volts without its first letter", "Time (us),CH1 ( V)\n" + rowsMS(","), 1, "lost its first letter|--volt-unit"},
		{"codes with a code of zero and no scale", "XINCR,1E-06\nYOFF,128\nYZERO,5\nYUNIT,V\nCURVE\n" + rowsOf(100, func(i int) string { return fmt.Sprint(codeOf(i)) }), 6, "codes without a scale|--scale"},
		{"a meter's log in VAC", "Time (s),Value\n" + rowsOf(100, func(i int) string { return fmt.Sprintf("%.1f,%.4fVAC", float64(i)*0.1, wave(i)) }), 0, ""},
	} {
		tr, err := Read(context.Background(), strings.NewReader(c.text), "x.csv", Options{})
		var pe *ParseError
		if !errors.As(err, &pe) || c.line > 0 && pe.Line != c.line {
			t.Errorf("%s: read %v, %v", c.name, tr != nil, err)
			continue
		}
		for _, w := range strings.Split(c.words, "|") {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %v, without %q", c.name, err, w)
			}
		}
	}
}

// A scope's volts without a unit at a rate that a sound card has, too, stay volts where the
// rate comes from its times: no full scale that the sheet gives for the sound card is theirs.
func TestScopeAtASoundRate(t *testing.T) {
	text := "time,ch1\n" + rowsOf(200, func(i int) string { return fmt.Sprintf("%.9f,%.4f", float64(i)/96e3, wave(i)-5) })
	tr, err := Read(context.Background(), strings.NewReader(text), "x.csv", Options{VoltsPerFullScale: 0.5})
	if err != nil || !tr.Calibrated || math.Abs(tr.Volts[3]-(wave(3)-5)) > 1e-9 || math.Abs(tr.SampleRateHz/96e3-1) > 1e-6 {
		t.Errorf("%v %+v", err, tr)
	}
}

// TestUnitInAColumn reads a meter's log that has the unit of each reading in a column of its
// own: a meter that changes its range changes the unit with it, at once or a thousand rows on.
func TestUnitInAColumn(t *testing.T) {
	log := func(head string, mV func(i int) bool, n int) string {
		return head + rowsOf(n, func(i int) string {
			if mV(i) {
				return fmt.Sprintf("%d,%.1f,%.1f,mV", i+1, float64(i)*0.1, wave(i)*1000)
			}
			return fmt.Sprintf("%d,%.1f,%.4f,V", i+1, float64(i)*0.1, wave(i))
		})
	}
	for _, c := range []struct {
		name, text string
	}{
		{"volts", log("No.,Time (s),Value,Unit\n", func(int) bool { return false }, 1200)},
		{"millivolts", log("No.,Time (s),Value,Unit\n", func(int) bool { return true }, 1200)},
		{"now and then", log("No.,Time (s),Value,Unit\n", func(i int) bool { return i%7 == 3 }, 1200)},
		{"from volts on row 1000", log("No.,Time (s),Value,Unit\n", func(i int) bool { return i > 1000 }, 1200)},
		{"to volts on row 1000", log("No.,Time (s),Value,Unit\n", func(i int) bool { return i < 1000 }, 1200)},
		{"under a name in volts", log("No.,Time (s),DC Voltage (V),Unit\n", func(i int) bool { return i < 1000 }, 1200)},
	} {
		tr, err := Read(context.Background(), strings.NewReader(c.text), "x.csv", Options{})
		if err != nil || len(tr.Volts) != 1200 {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for i, v := range tr.Volts {
			if math.Abs(v-wave(i)) > 1e-9 {
				t.Errorf("%s: reading %d is %g V, want %g", c.name, i, v, wave(i))
				break
			}
		}
	}
	lines := strings.Split(log("No.,Time (s),Value,Unit\n", func(int) bool { return false }, 1200), "\n")
	lines[1100] = strings.Replace(lines[1100], ",V", ",mA", 1)
	_, err := Read(context.Background(), strings.NewReader(strings.Join(lines, "\n")), "x.csv", Options{})
	var pe *ParseError
	if !errors.As(err, &pe) || pe.Line != 1101 || pe.Column != 4 {
		t.Errorf("a row in mA among volts: %v", err)
	}
}
