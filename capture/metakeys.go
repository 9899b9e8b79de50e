package capture

import (
	"strings"
	"unicode"
)

// metaKey is one thing a preamble can state.
type metaKey uint8

const (
	metaNone metaKey = iota
	metaInterval
	metaRate
	metaStart
	metaPoints
	metaPerDivT       // seconds per division: shown only
	metaScale         // volts per count, or per division
	metaPerDiv        // volts per division
	metaZeroCode      // the code of zero volts
	metaOffset        // volts to add, or a code: by its unit
	metaPosition      // divisions
	metaProbe         // attenuation
	metaCoupling      // text
	metaBandwidth     // hertz, or on and off
	metaTimeUnit      // text
	metaVoltUnit      // text
	metaSource        // text
	metaBits          // of the converter
	metaStep          // volts of one converter step
	metaTrueRate      // of the converter, before interpolation
	metaAcquisition   // text: how samples are made
	metaAverages      // sweeps averaged
	metaInterpolation // text
	metaDecimation    // converter samples per stored one
	metaMemory        // points the instrument's memory held
	metaTriggerLevel  // volts
	metaCodesPerDiv   // converter codes in a division
	metaFrequency     // hertz, of the samples or of a signal
)

// metaNames maps a key as normalised by normKey. The words are what scopes,
// loggers and their manuals commonly say in English, German and French.
var metaNames = map[string]metaKey{
	"sample interval": metaInterval, "sampling interval": metaInterval, "sample period": metaInterval, "sampling period": metaInterval, "sampling time": metaInterval,
	"time interval": metaInterval, "interval": metaInterval, "x increment": metaInterval, "xincrement": metaInterval, "xincr": metaInterval, "xinc": metaInterval, "x incr": metaInterval, "x inc": metaInterval, "increment": metaInterval,
	"dt": metaInterval, "tinc": metaInterval, "t inc": metaInterval, "t incr": metaInterval, "time inc": metaInterval, "hresolution s": metaInterval, "delta t": metaInterval, "deltat": metaInterval, "delta time": metaInterval, "delta x": metaInterval, "deltax": metaInterval, "dx": metaInterval, "δt": metaInterval, "time delta": metaInterval,
	"time step": metaInterval, "timestep": metaInterval, "tstep": metaInterval, "time increment": metaInterval, "time per sample": metaInterval, "time resolution": metaInterval, "horizontal resolution": metaInterval, "h resolution": metaInterval, "hresolution": metaInterval, "horizontal interval": metaInterval, "horiz interval": metaInterval, "time per point": metaInterval, "seconds per sample": metaInterval, "seconds per point": metaInterval, "point spacing": metaInterval, "sample spacing": metaInterval, "xunitspersample": metaInterval, "x step": metaInterval, "t sample": metaInterval, "resolution x": metaInterval,
	"abtastintervall": metaInterval, "abtastzeit": metaInterval, "zeitschritt": metaInterval, "abtastperiode": metaInterval, "schrittweite": metaInterval, "zeitinkrement": metaInterval, "intervalle": metaInterval, "inkrement": metaInterval, "periode d échantillonnage": metaInterval,
	"sample rate": metaRate, "sampling rate": metaRate, "samplerate": metaRate, "samplingrate": metaRate, "sampling frequency": metaRate, "sample frequency": metaRate, "samplefrequency": metaRate, "samplingfrequency": metaRate, "sampling freq": metaRate, "sample freq": metaRate, "sampling speed": metaRate, "sample speed": metaRate, "acquisition rate": metaRate, "acq rate": metaRate, "fs": metaRate, "f s": metaRate, "srate": metaRate, "s rate": metaRate, "sps": metaRate, "samples per second": metaRate, "samples s": metaRate, "sa s": metaRate, "rate": metaRate, "data rate": metaRate, "datarate": metaRate, "scan rate": metaRate, "sample clock": metaRate, "sampling": metaRate, "sr": metaRate, "sa rate": metaRate, "points per second": metaRate, "horizontal sample rate": metaRate, "update rate": metaRate,
	"frecuencia de muestreo": metaRate, "tasa de muestreo": metaRate, "frequenza di campionamento": metaRate, "velocità di campionamento": metaRate, "taxa de amostragem": metaRate, "frequência de amostragem": metaRate, "bemonsteringsfrequentie": metaRate, "samplefrequentie": metaRate, "częstotliwość próbkowania": metaRate, "частота дискретизации": metaRate, "采样率": metaRate, "采样频率": metaRate, "サンプリング周波数": metaRate,
	"intervalo de muestreo": metaInterval, "periodo de muestreo": metaInterval, "período de muestreo": metaInterval, "intervallo di campionamento": metaInterval, "periodo di campionamento": metaInterval, "intervalo de amostragem": metaInterval, "período de amostragem": metaInterval, "период дискретизации": metaInterval, "采样间隔": metaInterval, "采样周期": metaInterval, "サンプリング周期": metaInterval, "サンプリング間隔": metaInterval,
	"abtastrate": metaRate, "abtastfrequenz": metaRate, "fréquence d échantillonnage": metaRate, "frequence d echantillonnage": metaRate,
	"start": metaStart, "hoffset": metaStart, "h offset": metaStart, "horizontal offset": metaStart, "xorg": metaStart, "x org": metaStart, "horizontal start": metaStart, "start time": metaStart, "starttime": metaStart, "t start": metaStart, "tstart": metaStart, "x origin": metaStart, "xorigin": metaStart, "xzero": metaStart, "x zero": metaStart, "x0": metaStart, "t0": metaStart, "first sample": metaStart, "first point": metaStart, "time of first sample": metaStart, "time of first point": metaStart, "time zero": metaStart, "x start": metaStart, "xstart": metaStart, "time origin": metaStart, "startzeit": metaStart,
	"record length": metaPoints, "recordlength": metaPoints, "points": metaPoints, "number of points": metaPoints, "number of samples": metaPoints, "no of points": metaPoints, "no of samples": metaPoints, "nr of points": metaPoints, "num points": metaPoints, "num samples": metaPoints, "numpoints": metaPoints, "numsamples": metaPoints, "samples": metaPoints, "n samples": metaPoints, "nsamples": metaPoints, "n points": metaPoints, "npoints": metaPoints, "data points": metaPoints, "datapoints": metaPoints, "sample count": metaPoints, "point count": metaPoints, "waveform points": metaPoints, "waveform length": metaPoints, "data length": metaPoints, "sample points": metaPoints, "nr pt": metaPoints, "record size": metaPoints, "length": metaPoints, "total samples": metaPoints, "total points": metaPoints, "samples per channel": metaPoints, "anzahl punkte": metaPoints, "anzahl werte": metaPoints, "punkte": metaPoints, "datenpunkte": metaPoints, "messpunkte": metaPoints, "aufzeichnungslänge": metaPoints, "nombre de points": metaPoints,
	"horizontal scale": metaPerDivT, "time base": metaPerDivT, "timebase": metaPerDivT, "time div": metaPerDivT, "s div": metaPerDivT, "sec div": metaPerDivT, "time per div": metaPerDivT, "zeitbasis": metaPerDivT,
	"voltage per adc value": metaScale, "volt per adc value": metaScale, "volts per adc value": metaScale, "voltage per adc": metaScale, "y increment": metaScale, "yincrement": metaScale, "yincr": metaScale, "yinc": metaScale, "y inc": metaScale, "y incr": metaScale, "ymult": metaScale, "y mult": metaScale, "ymul": metaScale, "y multiplier": metaScale, "y scale": metaScale, "yscale": metaScale, "v per count": metaScale, "volts per count": metaScale, "volt per count": metaScale, "v count": metaScale, "volts count": metaScale, "mv per count": metaScale, "volts per code": metaScale, "v per code": metaScale, "volts per lsb": metaScale, "v per lsb": metaScale, "v lsb": metaScale, "volts per bit": metaScale, "volts per adc": metaScale, "volts per adc count": metaScale, "volts per step": metaScale, "v bit": metaScale, "volts lsb": metaScale, "volts bit": metaScale, "count scale": metaScale, "code scale": metaScale, "scale": metaScale, "scale factor": metaScale, "scaling": metaScale, "scaling factor": metaScale, "multiplier": metaScale, "conversion factor": metaScale, "adc scale": metaScale, "raw scale": metaScale, "vertical scale factor": metaScale, "skalierung": metaScale, "faktor": metaScale, "skalenfaktor": metaScale, "vertical increment": metaScale, "vertical step": metaScale, "volt scale": metaScale, "voltage scale": metaScale, "lsb value": metaScale, "lsb weight": metaScale, "lsb size": metaScale, "counts to volts": metaScale, "adc to volts": metaScale,
	"lsb": metaScale, "adc step": metaStep, "converter step": metaStep, "quantisation step": metaStep, "quantization step": metaStep, "vertical resolution": metaStep, "voltage resolution": metaStep, "adc resolution": metaStep,
	"vertical scale": metaPerDiv, "voltbase": metaPerDiv, "volt base": metaPerDiv, "voltage base": metaPerDiv, "vscale": metaPerDiv, "v scale": metaPerDiv, "channel scale": metaPerDiv, "volts div": metaPerDiv, "volt div": metaPerDiv, "v div": metaPerDiv, "volts per division": metaPerDiv, "volts per div": metaPerDiv, "volt per div": metaPerDiv, "v per div": metaPerDiv, "mv div": metaPerDiv, "mv per div": metaPerDiv, "vertical volts div": metaPerDiv, "vertical sensitivity": metaPerDiv, "sensitivity": metaPerDiv, "vertical units per div": metaPerDiv, "scale per division": metaPerDiv, "scale div": metaPerDiv, "vdiv": metaPerDiv, "empfindlichkeit": metaPerDiv, "vertical v div": metaPerDiv, "vert scale": metaPerDiv, "vertikale skala": metaPerDiv,
	"y reference": metaZeroCode, "yreference": metaZeroCode, "yref": metaZeroCode, "y ref": metaZeroCode, "zero code": metaZeroCode, "zero level": metaZeroCode, "zero count": metaZeroCode, "zero counts": metaZeroCode, "zero": metaZeroCode, "offset counts": metaZeroCode, "offset count": metaZeroCode, "offset codes": metaZeroCode, "offset code": metaZeroCode, "code of zero": metaZeroCode, "code at zero": metaZeroCode, "yoff": metaZeroCode, "y off": metaZeroCode, "ground level": metaZeroCode, "ground code": metaZeroCode, "mid code": metaZeroCode, "midscale": metaZeroCode, "mid scale": metaZeroCode, "zero offset": metaZeroCode, "adc offset": metaZeroCode, "adc zero": metaZeroCode, "code offset": metaZeroCode, "count offset": metaZeroCode, "raw offset": metaZeroCode, "raw zero": metaZeroCode, "nullpunkt": metaZeroCode,
	"offset": metaOffset, "vertical offset": metaOffset, "y origin": metaOffset, "yorigin": metaOffset, "yzero": metaOffset, "y zero": metaOffset, "y offset": metaOffset, "yoffset": metaOffset, "volts offset": metaOffset, "voltage offset": metaOffset, "offset v": metaOffset, "offset volts": metaOffset, "offset voltage": metaOffset, "dc offset": metaOffset, "channel offset": metaOffset, "vert offset": metaOffset, "intercept": metaOffset, "v offset": metaOffset,
	"vertical position": metaPosition, "position": metaPosition, "y position": metaPosition, "vert position": metaPosition,
	"probe": metaProbe, "probe attenuation": metaProbe, "probe atten": metaProbe, "probe factor": metaProbe, "probe ratio": metaProbe, "probe gain": metaNone, "attenuation": metaProbe, "probe setting": metaProbe, "probe scale": metaProbe, "probe div": metaProbe, "tastkopf": metaProbe, "teilerfaktor": metaProbe, "tastteiler": metaProbe, "tastkopf faktor": metaProbe, "tastkopffaktor": metaProbe, "sonde": metaProbe, "atten": metaProbe, "attn": metaProbe, "probe x": metaProbe, "probe type": metaProbe,
	"coupling": metaCoupling, "input coupling": metaCoupling, "channel coupling": metaCoupling, "vertical coupling": metaCoupling, "kopplung": metaCoupling, "eingangskopplung": metaCoupling, "couplage": metaCoupling, "ac dc": metaCoupling, "vert coupling": metaCoupling,
	"bandwidth": metaBandwidth, "bandwidth limit": metaBandwidth, "bw limit": metaBandwidth, "bwl": metaBandwidth, "bwlimit": metaBandwidth, "bw": metaBandwidth, "bandwidthlimit": metaBandwidth, "bandwidth limiting": metaBandwidth, "bandwidth filter": metaBandwidth, "bandbreite": metaBandwidth, "bandbreitenbegrenzung": metaBandwidth, "bandbreitenlimit": metaBandwidth, "input bandwidth": metaBandwidth, "channel bandwidth": metaBandwidth, "analog bandwidth": metaBandwidth, "analogue bandwidth": metaBandwidth, "instrument bandwidth": metaBandwidth, "scope bandwidth": metaBandwidth, "noise filter": metaNone,
	"hunit": metaTimeUnit, "hunits": metaTimeUnit, "h unit": metaTimeUnit, "h units": metaTimeUnit, "horizontal units": metaTimeUnit, "horizontal unit": metaTimeUnit, "x units": metaTimeUnit, "x unit": metaTimeUnit, "xunit": metaTimeUnit, "xunits": metaTimeUnit, "time unit": metaTimeUnit, "time units": metaTimeUnit, "timeunit": metaTimeUnit, "zeiteinheit": metaTimeUnit, "horz units": metaTimeUnit, "unit of time": metaTimeUnit,
	"vunit": metaVoltUnit, "vunits": metaVoltUnit, "v unit": metaVoltUnit, "v units": metaVoltUnit, "vertical units": metaVoltUnit, "vertical unit": metaVoltUnit, "y units": metaVoltUnit, "y unit label": metaVoltUnit, "y unit": metaVoltUnit, "yunit": metaVoltUnit, "yunits": metaVoltUnit, "volt unit": metaVoltUnit, "voltage unit": metaVoltUnit, "voltage units": metaVoltUnit, "unit": metaVoltUnit, "units": metaVoltUnit, "channel unit": metaVoltUnit, "channel units": metaVoltUnit, "spannungseinheit": metaVoltUnit, "vert units": metaVoltUnit, "amplitude unit": metaVoltUnit, "amplitude units": metaVoltUnit, "data unit": metaVoltUnit, "einheit": metaVoltUnit, "data units": metaVoltUnit, "volts unit": metaVoltUnit,
	"source": metaSource, "tracename": metaSource, "channel label": metaSource, "sources": metaSource, "channels": metaSource, "channel": metaSource, "channel name": metaSource, "trace": metaSource, "trace name": metaSource, "channel title": metaSource, "channel titles": metaSource, "channel names": metaSource, "channeltitle": metaSource, "channeltitles": metaSource, "channelnames": metaSource, "signal": metaSource, "signal name": metaSource, "waveform source": metaSource, "kanal": metaSource, "label": metaSource, "source channel": metaSource,
	"adc bits": metaBits, "bits": metaBits, "adc resolution bits": metaBits, "bit depth": metaBits, "bits per sample": metaBits, "resolution bits": metaBits,
	"true sample rate": metaTrueRate, "real sample rate": metaTrueRate, "actual sample rate": metaTrueRate, "adc sample rate": metaTrueRate, "adc rate": metaTrueRate, "hardware sample rate": metaTrueRate, "converter rate": metaTrueRate, "real time sample rate": metaTrueRate, "adc sampling rate": metaTrueRate, "converter sample rate": metaTrueRate, "original sample rate": metaTrueRate,
	"acquisition mode": metaAcquisition, "acquire mode": metaAcquisition, "acq mode": metaAcquisition, "acquisition": metaAcquisition, "acquisition type": metaAcquisition, "acquire type": metaAcquisition, "acquire": metaAcquisition, "sampling mode": metaAcquisition, "sample mode": metaAcquisition, "acqmode": metaAcquisition, "erfassungsart": metaAcquisition, "erfassung": metaAcquisition, "mode d acquisition": metaAcquisition, "record type": metaAcquisition, "processing": metaAcquisition,
	"averages": metaAverages, "average": metaAverages, "average count": metaAverages, "averaging": metaAverages, "number of averages": metaAverages, "num averages": metaAverages, "no of averages": metaAverages, "average number": metaAverages, "avg count": metaAverages, "avg": metaAverages, "averages count": metaAverages, "averaging count": metaAverages, "sweeps averaged": metaAverages, "average times": metaAverages, "acquisition averages": metaAverages, "mittelwerte": metaAverages, "mittelungen": metaAverages, "moyennes": metaAverages,
	"interpolation": metaInterpolation, "interpolate": metaInterpolation, "interpolation mode": metaInterpolation, "interpolation type": metaInterpolation, "sin x x": metaInterpolation,
	"decimation": metaDecimation, "decimation factor": metaDecimation, "decimate": metaDecimation, "sparsing": metaDecimation, "downsampling": metaDecimation, "downsampling factor": metaDecimation, "down sampling": metaDecimation, "subsampling": metaDecimation,
	"memory depth": metaMemory, "mem depth": metaMemory, "memory length": metaMemory, "acquisition memory": metaMemory, "speichertiefe": metaMemory,
	"trigger level": metaTriggerLevel, "trig level": metaTriggerLevel, "triggerpegel": metaTriggerLevel,
	"codes per division": metaCodesPerDiv, "counts per division": metaCodesPerDiv, "counts per div": metaCodesPerDiv, "codes per div": metaCodesPerDiv, "points per division": metaCodesPerDiv, "lsb per division": metaCodesPerDiv, "lsb per div": metaCodesPerDiv, "codes div": metaCodesPerDiv, "counts div": metaCodesPerDiv,
	"no of frames": metaPoints,
	"frequency":    metaFrequency,
	"manufacturer": metaNone,
}

// metaIsText tells the keys whose value is a word.
func metaIsText(k metaKey) bool {
	return k == metaCoupling || k == metaTimeUnit || k == metaVoltUnit || k == metaSource || k == metaAcquisition || k == metaInterpolation
}

var keyUnit = newPattern(`[(\[{]([^)\]}]*)[)\]}]`)

// normKey folds a key: lower case, words of letters and digits, unit in
// brackets apart.
func normKey(s string) (key, unitText string) {
	s = strings.TrimSpace(s)
	if m := keyUnit.FindStringSubmatchIndex(s); m != nil && m[0] > 0 {
		unitText = s[m[2]:m[3]]
		s = s[:m[0]] + " " + s[m[1]:]
	}
	var b strings.Builder
	blank := false
	for _, r := range strings.ToLower(s) {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			if blank && b.Len() > 0 {
				b.WriteByte(' ')
			}
			blank = false
			b.WriteRune(r)
		} else {
			blank = true
		}
	}
	return b.String(), unitText
}

var sampledAt = newPattern(`(?i)\bsampl\w*\b[^0-9]*\b(?:at|rate|with)\b[^0-9]*([0-9]+(?:[.,][0-9]+)? ?[kMG]?(?:Hz|Sa/s|S/s|sps))`)

var channelWord = newPattern(`^(?:ch|chan|channel|kanal|voie|c)? ?([0-9]{1,2}|[a-h])$|^(?:ch|chan|channel|kanal|voie|c) ?([0-9a-z]{1,3})$`)

// lookupKey finds a key, also one with a channel before or behind it, as
// "CH1 probe", and with a trailing unit word as "sample rate hz".
func lookupKey(text string) (k metaKey, unitText, channel string) {
	if len(text) > 60 {
		return metaNone, "", ""
	}
	key, unitText := normKey(text)
	if key == "" {
		return metaNone, "", ""
	}
	if k, ok := metaNames[key]; ok {
		return k, unitText, ""
	}
	words := strings.Fields(key)
	if k, channel, ok := keyOfChannel(words); ok {
		return k, unitText, channel
	}
	k, unitText = keyWithUnit(text, words)
	return k, unitText, ""
}

// keyOfChannel finds a key with a channel before or behind it.
func keyOfChannel(words []string) (k metaKey, channel string, ok bool) {
	for n := 1; n <= 2 && n < len(words); n++ {
		head, tail := strings.Join(words[:n], " "), strings.Join(words[n:], " ")
		if channelWord.MatchString(head) {
			if k, ok := metaNames[tail]; ok {
				return k, strings.ReplaceAll(head, " ", ""), true
			}
		}
		head, tail = strings.Join(words[:len(words)-n], " "), strings.Join(words[len(words)-n:], " ")
		if channelWord.MatchString(tail) {
			if k, ok := metaNames[head]; ok && !(len(tail) == 1 && tail[0] >= 'a') {
				return k, strings.ReplaceAll(tail, " ", ""), true
			}
		}
	}
	return metaNone, "", false
}

// keyWithUnit finds a key with its unit behind: "sample rate hz", "time interval
// s", "scale v count".
func keyWithUnit(text string, words []string) (k metaKey, unitText string) {
	for n := 1; n <= 2 && n < len(words); n++ {
		tail := strings.Join(words[len(words)-n:], "/")
		if !isUnitWord(tail) {
			continue
		}
		if k, ok := metaNames[strings.Join(words[:len(words)-n], " ")]; ok {
			// Letter case tells mHz from MHz: take it from the text.
			f := strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
			if len(f) >= n {
				tail = strings.Join(f[len(f)-n:], "/")
			}
			return k, tail
		}
	}
	return metaNone, ""
}
