#!/usr/bin/python3
"""Makes the captures and the figures in this folder that come from outside the
project: ngspice simulates converters whose parts are known, numpy and scipy
measure them. Run here with Debian's ngspice and python3-scipy:

    /usr/bin/python3 make_reference.py            # figures only, from the captures
    /usr/bin/python3 make_reference.py --simulate # captures too
    /usr/bin/python3 make_reference.py --check    # compare with reference.json

--check exits 1 when a committed figure differs from what scipy says now.
"""
import gzip
import io
import json
import math
import os
import subprocess
import sys
import tempfile

import numpy as np
from scipy import optimize, signal

HERE = os.path.dirname(os.path.abspath(__file__))

# name: netlist, load in ohm, netlist replacements, settled until, rate, cycles' rate
CAPTURES = {
    "buck_21ohm": ("buck", 21, {}, 20e-3, 50e6, 400e-6, 150e3),
    "buck_10ohm5": ("buck", 10.5, {}, 20e-3, 50e6, 400e-6, 150e3),
    "postfilter_21ohm": ("postfilter", 21, {}, 25e-3, 50e6, 400e-6, 150e3),
    "postfilter_10ohm5": ("postfilter", 10.5, {}, 25e-3, 50e6, 400e-6, 150e3),
    "flyback_21ohm": ("flyback", 21, {"IM0": "0.125"}, 16e-3, 100e6, 200e-6, 100e3),
    "flyback_10ohm5": ("flyback", 10.5, {"IM0": "0.25"}, 16e-3, 100e6, 200e-6, 100e3),
}


def simulate(name):
    netlist, load, subst, start, rate, length, _ = CAPTURES[name]
    text = open(os.path.join(HERE, netlist + ".cir")).read()
    text = text.replace("LOAD", str(load))
    for key, value in subst.items():
        text = text.replace(key, value)
    with tempfile.TemporaryDirectory() as d:
        out = os.path.join(d, "out.txt")
        control = f""".control
tran {1/rate} {start+length+1e-6} {start} {1/rate} uic
linearize v(out)
wrdata {out} v(out)
.endc
.end
"""
        deck = os.path.join(d, "deck.cir")
        open(deck, "w").write(text.replace(".end\n", control))
        # without a plot request ngspice exits 1 though all went well: the file tells
        subprocess.run(["ngspice", "-b", deck], capture_output=True)
        volts = np.loadtxt(out)[: round(length * rate), 1]
    rows = io.StringIO()
    rows.write("Time (us),Output (V)\n")
    for i, v in enumerate(volts):
        rows.write(f"{i/rate*1e6:.2f},{v:.6f}\n")
    path = os.path.join(HERE, name + ".csv.gz")
    with open(path, "wb") as f, gzip.GzipFile("", "wb", 9, f, mtime=0) as z:
        z.write(rows.getvalue().encode())


def load_volts(name):
    with gzip.open(os.path.join(HERE, name + ".csv.gz"), "rt") as f:
        return np.loadtxt(f, delimiter=",", skiprows=1)[:, 1]


def fit_fundamental(v, rate, near):
    """Least squares of 40 harmonics and a straight line; the frequency by a
    bounded scalar search."""
    t = np.arange(len(v)) / rate

    def design(f):
        cols = [np.ones_like(t), t / t[-1]]
        for k in range(1, 41):
            cols += [np.cos(2 * np.pi * k * f * t), np.sin(2 * np.pi * k * f * t)]
        return np.stack(cols, 1)

    def cost(f):
        a = design(f)
        x, *_ = np.linalg.lstsq(a, v, rcond=None)
        return np.sum((v - a @ x) ** 2)

    span = 0.2 / t[-1]
    f = optimize.minimize_scalar(cost, bounds=(near - span, near + span), method="bounded", options={"xatol": near * 1e-9}).x
    x, *_ = np.linalg.lstsq(design(f), v, rcond=None)
    return f, math.hypot(x[2], x[3]) / math.sqrt(2)


def fold(v, rate, f):
    """Mean cycle by phase bins; as many bins as samples in a cycle."""
    n = int(rate / f)
    t = np.arange(len(v)) / rate
    v = v - np.polyval(np.polyfit(t, v, 1), t)
    b = np.floor((t * f % 1) * n).astype(int)
    return np.bincount(b, v, n) / np.bincount(b, minlength=n)


def ring(v, rate, f, near):
    """Frequency and Q of the ring after the strongest edge of every cycle, from
    the phase and the envelope of the analytic signal."""
    sos = signal.butter(4, [near * 0.5, near * 1.6], "bandpass", fs=rate, output="sos")
    n = int(rate / f)
    hz, q = [], []
    band = signal.sosfiltfilt(sos, v)
    analytic = signal.hilbert(band)
    env = np.abs(analytic)
    phase = np.unwrap(np.angle(analytic))
    for c in range(1, len(v) // n - 1):
        start = c * n + int(np.argmax(env[c * n : (c + 1) * n]))
        a, b = start + int(1.0 * rate / near), start + int(4 * rate / near)
        if b >= len(v):
            break
        t = np.arange(a, b) / rate
        w = np.polyfit(t, phase[a:b], 1)[0]
        d = -np.polyfit(t, np.log(env[a:b]), 1)[0]
        hz.append(w / (2 * np.pi))
        q.append(w / (2 * d))
    return float(np.median(hz)), float(np.median(q))


def capture_figures(name):
    netlist, load, _, _, rate, _, fsw = CAPTURES[name]
    v = load_volts(name)
    f, rms = fit_fundamental(v, rate, fsw)
    cycle = fold(v, rate, f)
    out = {
        "netlist": netlist + ".cir",
        "load_ohm": load,
        "sample_rate_hz": rate,
        "samples": len(v),
        "netlist_switching_hz": fsw,
        "dc_v": float(v.mean()),
        "ac_rms_v": float(v.std()),
        "pp_v": float(np.ptp(v)),
        "switching_hz": f,
        "switching_fundamental_rms_v": rms,
        "cycle_pp_v": float(np.ptp(cycle)),
        "cycle_rms_v": float(cycle.std()),
    }
    if netlist == "buck":
        # check values section 4: exact p-p of capacitor and ESR together
        di = 6.3 * (1 - 0.525) / (33e-6 * 150e3)
        out["closed_form_pp_v"] = di * 30e-3
        out["closed_form_rms_v"] = 5.549040e-3
    if netlist == "flyback":
        l, c = 405e-9, 1.001e-9
        out["netlist_ring_hz"] = 1 / (2 * math.pi * math.sqrt(l * c))
        out["netlist_ring_q"] = math.sqrt(l / c) / (2.4 + 0.04 + 0.1 / 16)
        out["ring_hz"], out["ring_q"] = ring(v, rate, f, out["netlist_ring_hz"])
        out["spike_count"], out["spike_peak_median_v"] = spikes(v, rate, f)
    return out


def spikes(v, rate, f):
    """Events that stand out of a running median, by their prominence: how many,
    and their median height. A tenth of the largest is far over what is left of
    the ripple."""
    r = np.abs(v - signal.medfilt(v, 2 * int(0.5e-6 * rate) + 1))
    at, _ = signal.find_peaks(r, prominence=0.1 * r.max(), distance=int(0.2 * rate / f))
    return len(at), float(np.median(r[at]))


def floor_by_medfilt():
    """The noise floor under the lines of the test record: welch's density through
    a running median, at third octaves."""
    v, rate = test_record()
    f, p = signal.welch(v, rate, "hann", 8192, 4096, detrend="constant")
    floor = signal.medfilt(p, 31)
    rows = []
    for n in range(38, 56):
        centre = 10 ** (n / 10)
        if n == 50:
            continue  # the line at 100 kHz
        sel = (f >= centre * 10**-0.05) & (f < centre * 10**0.05)
        rows.append([centre, math.sqrt(floor[sel].mean())])
    return rows


def decimated():
    """The test record at an eighth of its rate by three halvings, and its density
    there in sixth octaves away from the lines, up to 0.35 of the new rate."""
    v, rate = test_record()
    for _ in range(3):
        v, rate = signal.decimate(v, 2, ftype="fir"), rate / 2
    f, p = signal.welch(v, rate, "hann", 2048, 1024, detrend="constant")
    rows = []
    lo = 8 * rate / 2048
    while lo * 2 ** (1 / 6) < 0.35 * rate:
        hi = lo * 2 ** (1 / 6)
        sel = (f >= lo) & (f < hi)
        if sel.sum() >= 3 and not lo - 4 * f[1] < 1234.5 < hi + 4 * f[1]:
            rows.append([lo, hi, float(p[sel].mean())])
        lo = hi
    return rows


MASK = (1 << 64) - 1


def portable_noise(n, seed):
    """Noise that Go makes bit for bit alike: the sum of four uniforms from the
    splitmix64 counter generator, scaled to unit variance."""
    i = np.arange(1, 4 * n + 1, dtype=np.uint64)
    with np.errstate(over="ignore"):
        z = np.uint64(seed) + i * np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z = z ^ (z >> np.uint64(31))
    u = (z >> np.uint64(11)).astype(float) / (1 << 53)
    return (u.reshape(n, 4).sum(1) - 2) * math.sqrt(3)


def test_record(n=200_000, rate=1e6):
    """White noise through one pole, a random walk under it, two lines and DC."""
    e = portable_noise(n, 1)
    red = signal.lfilter([1], [1, -0.9], e) * 1e-4
    slow = signal.lfilter([1], [1, -0.99999], portable_noise(n, 2)) * 3e-6
    t = np.arange(n) / rate
    return 6.3 + red + slow + 0.01 * np.sin(2 * np.pi * 100e3 * t + 1) + 0.002 * np.sin(2 * np.pi * 1234.5 * t), rate


def spectra():
    v, rate = test_record()
    out = {"samples": len(v), "sample_rate_hz": rate, "first_v": v[:3].tolist(), "mean_v": float(v.mean())}
    for seg in (512, 8192, 65536):
        f, p = signal.welch(v, rate, "hann", seg, seg // 2, detrend="constant")
        # mean density in sixth octaves, away from the lines
        rows = []
        lo = 8 * rate / seg
        while lo < 0.45 * rate:
            hi = lo * 2 ** (1 / 6)
            sel = (f >= lo) & (f < hi)
            if sel.sum() >= 3 and not any(lo * 0.93 < x < hi * 1.07 for x in (100e3, 1234.5)):
                rows.append([lo, hi, float(p[sel].mean())])
            lo = hi
        out[f"welch_{seg}"] = rows
    out["medfilt_floor"] = floor_by_medfilt()
    out["welch_decimated"] = decimated()
    return out


def small_functions():
    """scipy's answers on short series, for the functions of ours that do the same."""
    x = portable_noise(60, 3)
    t = np.arange(400) / 400
    tone = np.exp(-3 * t) * np.cos(2 * np.pi * 25 * t)
    z = signal.hilbert(tone)
    ramp = np.cos(2 * np.pi * 0.01 * np.arange(2000)) + 0.3 * np.cos(2 * np.pi * 0.31 * np.arange(2000))
    dec = signal.decimate(ramp, 2, ftype="fir")
    return {
        "medfilt_7": signal.medfilt(x, 7).tolist(),
        "hilbert_envelope": np.abs(z)[100:300:20].tolist(),
        "decimate_2_middle": dec[400:600:20].tolist(),
    }


def windows():
    out = {}
    for name in ("hann", "blackmanharris"):
        for n in (16, 1000, 4096):
            w = signal.get_window(name, n)
            out[f"{name}_{n}"] = {"coherent_gain": float(w.mean()), "nenbw_bins": float(n * (w**2).sum() / w.sum() ** 2)}
    return out


def figures():
    return {
        "made_by": "make_reference.py",
        "captures": {name: capture_figures(name) for name in CAPTURES},
        "spectra": spectra(),
        "functions": small_functions(),
        "windows": windows(),
    }


def differences(a, b, path=""):
    if isinstance(a, dict) and isinstance(b, dict):
        for key in sorted(set(a) | set(b)):
            if key not in a or key not in b:
                yield f"{path}/{key}: missing on one side"
            else:
                yield from differences(a[key], b[key], f"{path}/{key}")
    elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        for i, (x, y) in enumerate(zip(a, b)):
            yield from differences(x, y, f"{path}[{i}]")
    elif isinstance(a, (int, float)) and isinstance(b, (int, float)):
        if abs(a - b) > 1e-6 * max(abs(a), abs(b)) + 1e-12:
            yield f"{path}: committed {a}, scipy now says {b}"
    elif a != b:
        yield f"{path}: committed {a!r}, now {b!r}"


def main():
    if "--simulate" in sys.argv:
        for name in CAPTURES:
            simulate(name)
    now = json.loads(json.dumps(figures()))
    path = os.path.join(HERE, "reference.json")
    if "--check" in sys.argv:
        found = list(differences(json.load(open(path)), now))
        print("\n".join(found) or "reference.json agrees with scipy")
        sys.exit(1 if found else 0)
    with open(path, "w") as f:
        json.dump(now, f, indent=1)
        f.write("\n")


if __name__ == "__main__":
    main()
