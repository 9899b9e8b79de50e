"""ngspice circuits as records: each netlist in circuits/ is simulated, read through
a modelled scope, and its truth computed from the dense curve (500 MS/s)."""

import os
import subprocess
import tempfile

import numpy as np
from scipy import signal

import definitions
import instrument

HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "circuits")
DENSE_HZ = 500e6
# netlist: settled until, length, alternatives of the switching frequency in hertz
# (None: it sets its own, counted from the curve)
CIRCUITS = {
    "buck_continuous": (4e-3, 400e-6, [1 / 6.6667e-6]),
    "buck_discontinuous": (4e-3, 400e-6, [100e3]),
    "flyback_idle": (2.5e-3, 400e-6, [1 / 16.6667e-6]),
    "hysteretic": (3e-3, 400e-6, None),
    "resonant": (3e-3, 400e-6, [100e3, 200e3]),
    "two_stage": (5e-3, 400e-6, [1 / 9.0909e-6, 1 / 3.2258e-6]),
}


def simulate(name):
    """The settled output at DENSE_HZ."""
    start, length, _ = CIRCUITS[name]
    with open(os.path.join(HERE, name + ".cir")) as f:
        text = f.read()
    out_node = "v(out,g)" if name == "resonant" else "v(out)"
    with tempfile.TemporaryDirectory() as d:
        out = os.path.join(d, "out.txt")
        control = f".control\ntran 4n {start + length + 2e-6} {start} 10n uic\nlet y={out_node}\nwrdata {out} y\n.endc\n.end\n"
        deck = os.path.join(d, "deck.cir")
        with open(deck, "w") as f:
            f.write(text.replace(".end\n", control))
        r = subprocess.run(["ngspice", "-b", deck], capture_output=True, text=True)
        if not os.path.exists(out):
            raise SystemExit(f"ngspice made nothing of {name}.cir: {(r.stderr or r.stdout)[-400:]}")
        t, y = np.loadtxt(out).T
    if t[-1] < start + length:
        raise SystemExit(f"ngspice stopped in {name}.cir at {t[-1]:g} s")
    return np.interp(start + np.arange(round(length * DENSE_HZ)) / DENSE_HZ, t, y)


def behind(y, bandwidth_hz):
    k = 1 - np.exp(-2 * np.pi * bandwidth_hz / DENSE_HZ)
    return signal.lfilter([k], [1, k - 1], y, zi=[(1 - k) * y[0]])[0]


def truth_of(name, y, bandwidth_hz, span_hz):
    t, skip = {}, 500
    wide, p20 = behind(y, bandwidth_hz)[skip:], behind(y, 20e6)[skip:]
    spans = behind(y, min(bandwidth_hz, span_hz))[skip:]
    t["pp_20mhz_v"], t["pp_v"] = definitions.pair(np.ptp(p20)), (float(np.ptp(spans)), float(np.ptp(wide)))
    f, p = signal.periodogram(y, DENSE_HZ, "hann", detrend="linear")
    for key, lo, hi in (("20k_1m", 20e3, 1e6), ("1m_20m", 1e6, 20e6)):
        at = (f >= lo) & (f < hi)
        t[f"bands.{key}.rms_v"] = definitions.pair(np.sqrt(np.sum(p[at]) * f[1]))
    u = np.arange(len(wide))
    level = wide - np.polyval(np.polyfit(u, wide, 1), u)
    t["ac_rms_v"] = tuple(sorted((float(level.std()), float(wide.std()))))
    hz = CIRCUITS[name][2]
    smooth = signal.sosfiltfilt(signal.butter(2, 2e6, fs=DENSE_HZ, output="sos"), level)
    if hz is None:
        # between its first and last upward crossing of the middle
        up = np.flatnonzero((smooth[:-1] < 0) & (smooth[1:] >= 0))
        hz = [(len(up) - 1) * DENSE_HZ / (up[-1] - up[0])]
    t["switching_hz"] = [definitions.pair(x) for x in hz]
    lines = []
    for x in hz:
        n = int(int(len(level) * x / DENSE_HZ) * DENSE_HZ / x)
        lines.append(float(np.sqrt(2) * abs(np.mean(level[:n] * np.exp(-2j * np.pi * x * np.arange(n) / DENSE_HZ)))))
    if CIRCUITS[name][2] is not None:
        t["switching_fundamental_rms_v"] = [definitions.pair(v) for v in lines]
    # ripple between what is left under 2 MHz and all of a cycle, spikes and all
    cycles = [part for x in hz for part in np.array_split(smooth, max(1, int(len(smooth) * x / DENSE_HZ)))]
    raw = [part for x in hz for part in np.array_split(wide, max(1, int(len(wide) * x / DENSE_HZ)))]
    t["ripple_pp_v"] = (float(0.93 * np.median([np.ptp(x) for x in cycles])), float(max(np.ptp(x) for x in raw)))
    return t


class Circuit:
    """What the judge asks of a supply."""

    family, step_v, idle_hz, dc_v, trains = "ngspice", 0.0, 0.0, 0.0, ()


def make(name, folder, seed=0, rate_hz=125e6, gz=False):
    """Simulates, digitises and writes one circuit's record; path, supply, capture, truth."""
    rng = np.random.default_rng([seed, list(CIRCUITS).index(name)])
    y = simulate(name)
    c = instrument.Capture(kind="fast", rate_hz=rate_hz, bits=8, coupling="AC", bandwidth_hz=100e6, poor_range=False, time_column=False, start_s=0.0)
    wide = behind(y, c.bandwidth_hz)[500:]
    c.n = int((len(wide) - 2) * rate_hz / DENSE_HZ)
    v = np.interp(np.arange(c.n) / rate_hz, np.arange(len(wide)) / DENSE_HZ, wide)
    c.instrument_v2hz = (1e-8) ** 2
    v = v + 1e-8 * np.sqrt(c.bandwidth_hz * np.pi / 2) * rng.normal(size=c.n)
    c.volts = instrument.quantise(v - v.mean(), c, rng)
    path = os.path.join(folder, f"ngspice-{name}.csv" + (".gz" if gz else ""))
    instrument.write_volts(c, c.volts, path)
    t = truth_of(name, y, c.bandwidth_hz, 0.4 * rate_hz)
    c.edges, c.span_high_hz = None, 0.4 * rate_hz
    s = Circuit()
    s.family = "ngspice " + name
    return path, s, c, t
