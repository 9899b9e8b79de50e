#!/usr/bin/python3
"""Measures the demo bench a second time with numpy and scipy alone and compares
with what the tool says of the same files:

    /usr/bin/python3 testdata/reference/check_measure.py [stillglow binary]

Exits 1 when a figure is out of its tolerance. Compared: samples, rate, rms,
peak-to-peak, the 2 x mains line, the switching frequency and its fundamental,
the band sums with lines, the spikes' count and peak (medfilt, find_peaks), the
ring's frequency (hilbert), and the noise density, which must lie at or under what
the plain spectrum shows between the lines."""
import glob
import gzip
import json
import math
import os
import re
import subprocess
import sys

import numpy as np
from scipy import io, optimize, signal

ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
FULL_SCALE_V = 0.5  # of the demo's sound card


def read(path):
    """The demo's own layouts: a preamble and one column, or time and volts."""
    if path.endswith(".wav"):
        rate, x = io.wavfile.read(path)
        x = x if x.ndim == 1 else x[:, 0]
        full = {"int16": 2**15, "int32": 2**31, "float32": 1, "float64": 1}[x.dtype.name]
        return x.astype(float) / full * FULL_SCALE_V, float(rate)
    with (gzip.open if path.endswith(".gz") else open)(path, "rt") as f:
        text = f.read()
    head = "\n".join(text.splitlines()[:12])
    if ";" in head:
        text = text.replace(",", ".").replace(";", ",")
    rows = [r.rstrip(",").split(",") for r in text.splitlines()]
    rows = [r for r in rows if re.fullmatch(r"[-+0-9.eE]+(,[-+0-9.eE]+)*", ",".join(r))]
    x = np.array(rows, float)
    milli = 1e-3 if "(mV)" in head else 1.0
    step = re.search(r"Sample Interval,([-+0-9.eE]+)", head)
    if step:
        return x[:, 0] * milli, 1 / float(step.group(1))
    seconds = x[:, 0] * (1e-3 if "(ms)" in head else 1.0)
    return x[:, 1] * milli, (len(x) - 1) / (seconds[-1] - seconds[0])


def project(v, rate, hz, harmonics):
    """Least squares of harmonics of hz and a parabola: rms of each harmonic."""
    t = np.arange(len(v)) / rate
    u = t / t[-1]
    cols = [np.ones_like(t), u, u * u]
    for k in range(1, harmonics + 1):
        cols += [np.cos(2 * np.pi * k * hz * t), np.sin(2 * np.pi * k * hz * t)]
    a = np.stack(cols, 1)
    x, *_ = np.linalg.lstsq(a, v, rcond=None)
    left = np.sum((v - a @ x) ** 2)
    return np.hypot(x[3::2], x[4::2]) / math.sqrt(2), left


class Report:
    def __init__(self):
        self.bad = 0
        self.n = 0

    def close(self, file, what, got, want, tol):
        self.n += 1
        if got is None:
            self.fail(file, f"{what} is not measured, numpy says {want:.5g}")
        elif abs(got / want - 1) > tol:
            self.fail(file, f"{what} {got:.6g}, numpy says {want:.6g} ({100*(got/want-1):+.2f} %, allowed {100*tol:.2g})")

    def fail(self, file, text):
        self.bad += 1
        print(f"{os.path.basename(file)}: {text}")


def check(path, m, report):
    v, rate = read(path)
    report.close(path, "samples", m["samples"], len(v), 0)
    report.close(path, "sample_rate_hz", m["sample_rate_hz"], rate, 1e-6)
    report.close(path, "ac_rms_v", m["ac_rms_v"], v.std(), 1e-4)
    report.close(path, "pp_v", m["pp_v"], np.ptp(v), 1e-6)

    if m["mains_line_rms_v"] is not None:
        base = m["mains_line_hz"] / 2
        rms, _ = project(v, rate, base, 12)
        # the noise within the line's own width is what the two may differ by
        beside = [project(v, rate, base * f, 2)[0][1] for f in (0.93, 1.07)]
        report.close(path, "mains_line_rms_v", m["mains_line_rms_v"], rms[1], 0.02 + 2 * np.mean(beside) / rms[1])
        thin, _ = project(signal.decimate(v - v.mean(), 8, ftype="fir"), rate / 8, base, 12)
        report.close(path, "mains_line_rms_v, decimated", m["mains_line_rms_v"], thin[1], 0.02 + 2 * np.mean(beside) / rms[1])

    if os.path.basename(path).startswith("baseline") and m["switching_hz"]:
        report.fail(path, f"a switching frequency of {m['switching_hz']:.5g} Hz in a record of noise alone")
    elif m["switching_kind"] == "fixed" and m["switching_hz"] and len(v) < 300_000:
        hz = m["switching_hz"]
        near = optimize.minimize_scalar(lambda f: project(v, rate, f, 12)[1], bounds=(hz - 0.3 * rate / len(v), hz + 0.3 * rate / len(v)), method="bounded", options={"xatol": 1e-8 * hz}).x
        # two estimators of a few dozen cycles in noise: 50 ppm and a share of a bin
        report.close(path, "switching_hz", hz, near, 5e-5 + 0.005 * rate / len(v) / hz)

    if m["spike_count"] and m["ring_hz"] and len(v) < 300_000:
        spikes(path, v, rate, m, report)

    f, p = signal.periodogram(v, rate, "hann", detrend="constant")
    for band in m["bands"]:
        if band["rms_v"] is None or band["id"] not in ("audio", "20k_1m", "1m_20m", "above_20m"):
            continue
        sel = (f >= band["low_hz"]) & (f < band["high_hz"])
        report.close(path, band["id"], band["rms_v"], math.sqrt(p[sel].sum() * f[1]), 0.05)

    if m["noise_density_ungated_v_per_rthz"] is not None:
        if m["noise_density_v_per_rthz"] > 1.06 * m["noise_density_ungated_v_per_rthz"]:
            report.fail(path, "the gated floor lies above the plain one")
        at, seg = m["noise_density_at_hz"], min(len(v) // 8, 8192)
        f, p = signal.welch(v, rate, "hann", seg)
        # between the lines: the lower half of the bins around the place named
        sel = (f > at / 1.6) & (f < at * 1.6)
        floor = math.sqrt(np.quantile(p[sel], 0.5))
        report.n += 1
        if m["noise_density_v_per_rthz"] > 1.12 * floor:
            report.fail(path, f"noise density {m['noise_density_v_per_rthz']:.4g}, scipy sees {floor:.4g} at {at:.4g} Hz")


def spikes(path, v, rate, m, report):
    """Events by their prominence over a running median, and the ring's frequency
    by the analytic signal's phase."""
    threshold, cycle = m["spike_threshold_v"], rate / m["switching_hz"]
    r = np.abs(v - signal.medfilt(v, 2 * int(0.5e-6 * rate) + 1))
    at, _ = signal.find_peaks(r, height=threshold, prominence=0.8 * threshold, distance=int(0.2 * cycle))
    report.close(path, "spike_count", m["spike_count"], len(at), 1.01 / len(at))
    # noise lifts a plain peak reading by up to half the threshold, three deviations
    report.close(path, "spike_peak_median_v", m["spike_peak_median_v"], np.median(r[at]), 0.05 + 0.5 * threshold / np.median(r[at]))
    near = m["ring_hz"]
    band = signal.butter(4, [near * 0.6, near * 1.5], "bandpass", fs=rate, output="sos")
    analytic = signal.hilbert(signal.sosfiltfilt(band, v))
    envelope, phase = np.abs(analytic), np.unwrap(np.angle(analytic))
    hz = []
    for c in range(1, int(len(v) / cycle) - 1):
        start = int(c * cycle) + int(np.argmax(envelope[int(c * cycle) : int((c + 1) * cycle)]))
        part = slice(start + int(rate / near), start + int(3.5 * rate / near))
        if part.stop < len(v):
            hz.append(np.polyfit(np.arange(part.start, part.stop) / rate, phase[part], 1)[0] / (2 * np.pi))
    # the band's own delay pulls a short ring towards its middle
    report.close(path, "ring_hz", near, np.median(hz), 0.06)


def main():
    files = sorted(glob.glob(os.path.join(ROOT, "testdata", "bench", "*.csv*")) + glob.glob(os.path.join(ROOT, "testdata", "bench", "*.wav")))
    command = sys.argv[1:] or ["go", "run", "./cmd/stillglow"]
    out = subprocess.run([*command, "measure", "--json", "--mains", "50", "--volts-per-full-scale", str(FULL_SCALE_V), *files], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    report = Report()
    measured = [json.loads(line) for line in out.splitlines()]
    if len(measured) != len(files):
        sys.exit(f"{len(files)} files, {len(measured)} measured")
    for path, m in zip(files, measured):
        check(path, m, report)
    print(f"{report.n} figures of {len(files)} captures compared with numpy and scipy, {report.bad} out of tolerance")
    sys.exit(1 if report.bad else 0)


if __name__ == "__main__":
    main()
