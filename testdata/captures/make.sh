#!/bin/sh
# Captures written by programs that know nothing of this project: sox, ffmpeg,
# ngspice, LibreOffice and Python with NumPy and pandas, all from Debian 12. Every
# signal is invented: a 1 kHz sine of half full scale in the WAVs, whole millivolts
# around 5 V in the tables, an RC charging in ngspice.
# Usage: make.sh writes them beside itself; make.sh --check makes them afresh in a
# temporary folder and compares. What a missing program makes is left out.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
cd "$here"
if [ "${1:-}" = --check ]; then
	work=$(mktemp -d)
	trap 'rm -rf "$work"' EXIT
	cp sox-f64.wav pandas-noindex.csv "$work" # what others are made from
	cd "$work"
fi
has() {
	command -v "$1" > /dev/null || { echo "no $1 here: its captures are left out"; return 1; }
}
sine="synth 1000s sine 1000 gain -6.020599913279624"

if has sox; then
	# WAVs: every encoding that sox and ffmpeg offer and the importer reads.
	sox -D -n -r 48000 -c 1 -e unsigned-integer -b 8 sox-u8.wav $sine
	for b in 16 24 32; do sox -D -n -r 48000 -c 1 -e signed-integer -b $b sox-s$b.wav $sine; done
	for b in 32 64; do sox -D -n -r 48000 -c 1 -e floating-point -b $b sox-f$b.wav $sine; done
	sox -D -r 44100 -n -r 44100 -c 2 -e signed-integer -b 24 sox-stereo-s24.wav synth 1000s sine 1000 sine 441 gain -6.020599913279624
	# One that must be refused: compressed.
	sox -D -n -r 48000 -c 1 -e a-law sox-alaw.wav $sine
	# For the calibration: what a sound card with 2 V (peak) at full scale makes
	# of 0.5 V rms at 1 kHz, 24-bit, so a peak of 0.35355 of full scale.
	sox -D -n -r 48000 -c 1 -e signed-integer -b 24 sine-1khz-0v5rms.wav synth 9600s sine 1000 gain -9.030899869919436
fi
if has ffmpeg; then
	for c in u8 s16le s24le s32le f32le f64le; do
		ffmpeg -v error -y -i sox-f64.wav -c:a pcm_$c -fflags +bitexact ffmpeg-$c.wav
	done
	ffmpeg -v error -y -i sox-f64.wav -c:a pcm_s16le -rf64 always -fflags +bitexact ffmpeg-rf64.wav
	ffmpeg -v error -y -i sox-f64.wav -filter_complex "[0:a][0:a][0:a]amerge=inputs=3[a]" -map "[a]" -c:a pcm_s24le -fflags +bitexact ffmpeg-3ch-s24le.wav
fi

# Tables by NumPy and pandas.
if /usr/bin/python3 -c "import pandas" 2> /dev/null; then
/usr/bin/python3 - <<'PY'
import numpy as np, pandas as pd
i = np.arange(400)
t, v = i * 2e-6, (5000 + (i * 37) % 101 - 50) / 1000
np.savetxt('numpy-default.txt', np.column_stack([t, v]))
np.savetxt('numpy-csv.csv', np.column_stack([t, v]), delimiter=',', header='time,volts')
np.savetxt('numpy-fixed.csv', np.column_stack([t * 1e6, v * 1e3]), delimiter=',', fmt='%.3f', header='time (us),CH1 (mV)', comments='')
d = pd.DataFrame({'time': t, 'volts': v})
d.to_csv('pandas-default.csv')
d.to_csv('pandas-noindex.csv', index=False)
d.to_csv('pandas-german.csv', index=False, sep=';', decimal=',')
d.to_csv('pandas-quoted.csv.gz', index=False, quoting=1, compression={'method': 'gzip', 'mtime': 1})
d.assign(volts=d.volts.where(d.index != 200)).to_csv('pandas-nan.csv', index=False, na_rep='NaN')
d.to_csv('pandas-utf16.csv', index=False, encoding='utf-16')
PY
else
	echo "no pandas here: its captures are left out"
fi

# ngspice: wrdata of an RC of 1 ms charging to 1 V, as simulated (uneven
# steps) and linearized.
if has ngspice; then
cat > rc.cir <<'CIR'
* RC of 1 kilo-ohm and 1 microfarad charging from 0 to 1 V
V1 in 0 1
R1 in out 1k
C1 out 0 1u IC=0
.tran 10u 5m uic
.control
set wr_singlescale
run
wrdata ngspice-uneven.data v(out)
unset wr_singlescale
linearize v(out)
wrdata ngspice-even.data v(out)
quit
.endc
.end
CIR
ngspice -b rc.cir > /dev/null
fi

# LibreOffice: the same table saved by a spreadsheet set to German and to English.
if has soffice; then
for loc in de-DE en-US; do
	prof=$(mktemp -d)
	mkdir -p "$prof/user"
	cat > "$prof/user/registrymodifications.xcu" <<XCU
<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry"><item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>$loc</value></prop></item></oor:items>
XCU
	sep=44; case $loc in de-DE) sep=59 ;; esac
	soffice -env:UserInstallation="file://$prof" --headless --convert-to ods:calc8 --infilter="CSV:44,34,76,1,,1033" --outdir "$prof" pandas-noindex.csv > /dev/null 2>&1
	soffice -env:UserInstallation="file://$prof" --headless --convert-to "csv:Text - txt - csv (StarCalc):$sep,34,76,1,,0,false,true" --outdir "$prof" "$prof/pandas-noindex.ods" > /dev/null 2>&1
	cp "$prof/pandas-noindex.csv" "libreoffice-$loc.csv"
	rm -r "$prof"
done
fi

if [ "$PWD" != "$here" ]; then
	differ=0
	for f in *; do
		cmp -s "$f" "$here/$f" || { echo "$f: made afresh it differs from the one in $here"; differ=1; }
	done
	[ $differ = 0 ] && echo "$(ls | wc -l) captures made afresh are the ones that are kept"
	exit $differ
fi
