"""Instruments and their habits: what a supply becomes in a file.

A scope of 8, 10 or 12 bits with real ranges, gain, offset and step errors, clock
jitter, one-pole bandwidth, AC coupling, and what exports do: averages, peak
detect, interpolation, thinning without a filter, high resolution, rounded stamps,
few digits, interleave spurs. A sound card filters before it samples."""

import gzip
import wave

import numpy as np
from scipy import signal

DIVS = 10
VOLTS_PER_DIV = np.array([1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000]) * 1e-3
CARD_FULL_SCALE_V = 0.5
CODES_PER_DIV = {8: 25, 10: 100, 12: 400}
LEAD_S, CARD_LEAD_S, CARD_SKIP = 1e-5, 1e-3, 100  # of the supply's time, and samples, left out ahead of a record


class Capture:
    """A record before it is a file."""

    def __init__(self, **k):
        self.habit, self.filtered, self.stated_limit, self.wav = "plain", False, False, False
        self.__dict__.update(k)

    @property
    def duration_s(self):
        return self.n / self.rate_hz

    @property
    def first_s(self):
        """The supply's time at the record's first sample."""
        return self.start_s + (CARD_LEAD_S + CARD_SKIP / self.rate_hz if self.kind == "card" else LEAD_S)


def folded_noise(rng, density2, rate_hz, n, bandwidth_hz):
    """Gaussian noise of a one-sided density behind one pole, as sampling folds it."""
    f = np.fft.rfftfreq(n, 1 / rate_hz)
    grid = np.geomspace(max(rate_hz / n / 2, 1e-3), max(rate_hz / 2, 4 * bandwidth_hz), 2000)

    def behind(x):
        return density2(x) / (1 + (x / bandwidth_hz) ** 2)

    coarse = np.linspace(0, rate_hz / 2, 257)[1:]
    folds = np.zeros(len(coarse))
    most = int(min(np.ceil(4 * bandwidth_hz / rate_hz), 60))
    for k in range(1, most + 1):
        folds += behind(k * rate_hz - coarse) + behind(k * rate_hz + coarse)
    top = (most + 0.5) * rate_hz
    if top < 4 * bandwidth_hz:
        x = np.geomspace(top, 20 * bandwidth_hz, 400)
        folds += np.trapz(behind(x), x) / (rate_hz / 2)
    own = np.interp(np.log(np.maximum(f, grid[0])), np.log(grid), behind(grid))
    s = own + np.interp(f, coarse, folds)
    x = np.sqrt(s * rate_hz * n / 4) * (rng.normal(size=len(f)) + 1j * rng.normal(size=len(f)))
    x[0] = 0
    return np.fft.irfft(x, n)


def plan(rng, kind):
    """Rate, length and habits of one record of a kind: fast, mid, slow or card."""
    c = Capture(kind=kind, bits=int(rng.choice([8, 8, 8, 8, 10, 12])), coupling="AC" if rng.random() < 0.85 else "DC", bandwidth_hz=float(rng.choice([70e6, 100e6, 100e6, 200e6])))
    if kind == "fast":
        c.rate_hz, c.n = float(rng.choice([50e6, 100e6, 125e6, 200e6, 250e6, 500e6])), int(rng.choice([10000, 20000, 50000, 100000]))
        c.habit = rng.choice(["plain", "averaged", "averaged_unsaid", "peak_detect", "sinc", "linear", "rounded", "digits", "interleave", "uneven_codes"], p=[0.53, 0.06, 0.02, 0.04, 0.06, 0.05, 0.06, 0.06, 0.06, 0.06])
    elif kind == "mid":
        c.rate_hz, c.n = float(rng.choice([2.5e6, 5e6, 10e6, 20e6])), int(rng.choice([20000, 50000, 100000]))
        c.habit = rng.choice(["plain", "high_resolution", "peak_detect", "rounded", "digits", "interleave"], p=[0.55, 0.2, 0.05, 0.08, 0.06, 0.06])
    elif kind == "slow":
        c.rate_hz, c.n = float(rng.choice([100e3, 250e3, 500e3, 1e6])), int(rng.choice([50000, 100000, 200000]))
        c.habit = rng.choice(["plain", "high_resolution", "high_resolution_unsaid", "peak_detect", "rounded", "digits"], p=[0.45, 0.25, 0.1, 0.06, 0.08, 0.06])
    else:
        c.rate_hz, c.n, c.wav, c.coupling, c.bits = float(rng.choice([44100, 48000, 96000, 192000])), int(rng.choice([48000, 96000])), True, "AC", 24
        c.filtered = True
    if kind in ("fast", "mid", "slow") and rng.random() < 0.2:
        c.limited, c.bandwidth_hz = True, 20e6
        c.stated_limit = bool(rng.random() < 0.6)
    c.poor_range = bool(rng.random() < 0.12)
    c.time_column = bool(rng.random() < 0.35) and c.n <= 50000
    if c.habit == "rounded":
        c.time_column, c.n = True, min(c.n, 50000)
    if c.habit.startswith("averaged"):
        c.n, c.average = min(c.n, 20000), int(rng.choice([16, 64]))
    if c.habit in ("sinc", "linear"):
        c.up = int(rng.choice([2, 4, 5]))
        c.n = c.n // c.up * c.up
    c.filtered = c.filtered or c.habit.startswith("high_resolution")
    c.start_s = 0.0
    return c


def _averages(s, start_s, width_s, n):
    """Averages over n bins that follow one another: what a high-resolution mode gives."""
    edges = start_s + np.arange(n + 1) * width_s
    y = s.slow(edges[:-1] + width_s / 2)
    for tr in s.trains:
        y = y + np.diff(tr.integral(edges)) / width_s
    return y


def record(s, c, rng):
    """Volts as the converter would give them, without DC; sets the file's habits."""
    n, rate = c.n, c.rate_hz
    own = log_noise(rng, c)
    c.instrument_v2hz = own**2

    def density2(f):
        return s.density2(f) + own**2

    if c.kind == "card":
        up = 5 if rate > 90e3 else 10
        y = _averages(s, c.start_s + CARD_LEAD_S, 1 / (rate * up * 2), 2 * up * (n + 200))
        y = signal.decimate(signal.decimate(y, 2, ftype="fir"), up, ftype="fir")[CARD_SKIP:CARD_SKIP + n]
        x = np.fft.rfft(rng.normal(size=n) * np.sqrt(rate / 2))
        f = np.fft.rfftfreq(n, 1 / rate)
        c.instrument_v2hz = (2e-8) ** 2
        y = y + np.fft.irfft(x * np.sqrt(s.density2(f) + c.instrument_v2hz), n)
        return couple(y, c, s)
    t = c.start_s + LEAD_S + np.arange(n) / rate
    bw = c.bandwidth_hz
    if c.habit.startswith("high_resolution"):
        y = _averages(s, t[0], 1 / rate, n)
        x = np.fft.rfft(rng.normal(size=n) * np.sqrt(rate / 2))
        f = np.fft.rfftfreq(n, 1 / rate)
        y = y + np.fft.irfft(x * np.sqrt(density2(f)), n)
        c.bits = max(c.bits, 12)
    elif c.habit.startswith("averaged"):
        tr = s.trains[0] if s.trains else None
        y, c.sweeps_s = np.zeros(n), []
        for _ in range(8):
            t1 = c.start_s + rng.uniform(0, max(s.duration_s - n / rate - 1e-4, 1e-6))
            if tr is not None:
                t1 = tr.t[tr.cycles][np.clip(np.searchsorted(tr.t[tr.cycles], t1), 0, len(tr.cycles) - 2)] - 0.1 * n / rate
            c.sweeps_s.append(np.maximum(t1, 0))
            y += s.volts(np.maximum(t1, 0) + np.arange(n) / rate, bw) / 8
        y += folded_noise(rng, density2, rate, n, bw) / np.sqrt(c.average)
        c.bits = max(c.bits, 10)
    elif c.habit == "peak_detect":
        over = 16
        tt = c.start_s + LEAD_S + np.arange(n // 2 * over) / (rate * over / 2)
        y = np.empty(n)
        for a in range(0, n // 2, 50000):
            b = min(a + 50000, n // 2)
            part = s.volts(tt[a * over:b * over], bw) + folded_noise(rng, density2, rate * over / 2, (b - a) * over, bw)
            blocks = part.reshape(-1, over)
            y[2 * a:2 * b:2], y[2 * a + 1:2 * b:2] = blocks.min(1), blocks.max(1)
    elif c.habit in ("sinc", "linear"):
        k = n // c.up
        y0 = s.volts(c.start_s + LEAD_S + np.arange(k) / rate * c.up, bw) + folded_noise(rng, density2, rate / c.up, k, bw)
        y0 = quantise(couple(y0, c, s), c, rng)
        c.quantised = True
        if c.habit == "sinc":
            y = signal.resample(y0, n)
        else:
            y = np.interp(np.arange(n), np.arange(k) * c.up, y0)
        return y
    else:
        jitter = rng.normal(size=n) * (5e-12 if rate >= 50e6 else 2e-11)
        y = s.volts(t + jitter, bw) + folded_noise(rng, density2, rate, n, bw)
        if c.habit == "interleave":
            k = int(rng.choice([2, 4]))
            off = rng.normal(size=k) * 0.4
            gain = 1 + rng.normal(size=k) * 0.003
            y = y * gain[np.arange(n) % k]
            c.interleave_steps = off
    return couple(y, c, s)


def log_noise(rng, c):
    """The front end's own density, V/rtHz: 100 to 300 uV rms in 100 MHz (common practice, no source)."""
    return float(np.exp(rng.uniform(np.log(8e-9), np.log(3e-8))))


def couple(y, c, s):
    if c.coupling == "DC":
        return y + s.dc_v
    return y - np.mean(y)


def quantise(y, c, rng):
    """Chooses the range as a bench does, and takes the converter's steps."""
    pp = np.ptp(y)
    centre = (y.max() + y.min()) / 2
    fill = rng.uniform(0.08, 0.3) if c.poor_range else rng.uniform(0.5, 0.98)
    if c.coupling == "DC":
        centre_v, need = 0.0, 2 * np.max(np.abs(y)) / 0.95
        if rng.random() < 0.5:  # a scope with offset enough to bring it to the middle
            centre_v, need = round(centre, 1), 2 * np.max(np.abs(y - round(centre, 1))) / fill
    else:
        centre_v, need = 0.0, 2 * np.max(np.abs(y)) / fill
    fits = VOLTS_PER_DIV[VOLTS_PER_DIV * DIVS >= min(need, 19)]
    c.volts_per_div = float(fits[0])
    step = c.volts_per_div / CODES_PER_DIV[c.bits]
    c.step_v = step
    most = 2 ** (c.bits - 1) - 1
    gain, offset = 1 + rng.uniform(-0.02, 0.02), rng.normal() * 0.05 * c.volts_per_div
    c.gain = gain
    x = ((y - centre_v) * gain + offset) / step
    if getattr(c, "interleave_steps", None) is not None:
        x = x + c.interleave_steps[np.arange(len(x)) % len(c.interleave_steps)]
    # thresholds that are not quite even: a bend over the range and a jitter a step
    uneven = 0.6 if c.habit == "uneven_codes" else 0.12
    edges = np.arange(-most - 1, most + 1) + 0.5 + uneven * np.random.default_rng(rng.integers(1 << 30)).uniform(-0.5, 0.5, 2 * most + 2)
    x = x + 0.3 * np.sin(np.pi * x / most)
    code = np.clip(np.searchsorted(edges, x) - most - 1, -most - 1, most)
    c.clipped = bool((code == most).any() or (code == -most - 1).any())
    return code * step + centre_v


def text_of(values, digits):
    """Distinct values formatted once."""
    u, inv = np.unique(values, return_inverse=True)
    words = np.array([f"{x:.{digits}g}" for x in u], dtype=object)
    return words[inv]


def write(s, c, path, rng):
    """Renders, digitises and writes; returns the volts as written."""
    y = record(s, c, rng)
    if c.wav:
        full = 2**23 - 1
        y = y * (1 + rng.uniform(-0.01, 0.01))
        code = np.clip(np.round(y / CARD_FULL_SCALE_V * full), -full - 1, full).astype("<i4")
        with wave.open(path, "wb") as w:
            w.setnchannels(1)
            w.setsampwidth(3)
            w.setframerate(int(c.rate_hz))
            w.writeframes(code.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
        return y
    if not getattr(c, "quantised", False):
        y = quantise(y, c, rng)
    write_volts(c, y, path)
    return y


def write_volts(c, y, path):
    """A CSV as scopes write them: preamble, then volts or time and volts."""
    head = ["Comment,computed and not measured", "Source,CH1", f"Coupling,{c.coupling}", f"Vertical Scale,{c.volts_per_div:g}", f"Record Length,{c.n}"]
    if getattr(c, "limited", False):
        if c.stated_limit:
            head.append("Bandwidth Limit,20 MHz")
    else:
        head.append(f"Bandwidth,{c.bandwidth_hz:g}")
    if c.habit == "averaged":
        head.append(f"Averages,{c.average}")
    elif c.habit == "peak_detect":
        head.append("Acquisition Mode,Peak Detect")
    elif c.habit == "high_resolution":
        head.append("Acquisition Mode,High Resolution")
    digits = 3 if c.habit == "digits" else 8
    volts = text_of(np.round(y / (c.step_v / 64)) * (c.step_v / 64), digits)
    if c.time_column:
        # stamps to 5 digits of the span where a program rounds them
        start = -c.n / c.rate_hz / 2
        t = start + np.arange(c.n) / c.rate_hz
        k = 3 if c.habit == "rounded" else 9
        stamps = [f"{x:.{k}e}" if c.habit != "rounded" else f"{x:.{max(2, int(-np.floor(np.log10(1 / c.rate_hz)) + 1))}f}" for x in t]
        head.append("")
        head.append("Time (s),CH1 (V)")
        rows = [a + "," + b for a, b in zip(stamps, volts)]
    else:
        head.append(f"Sample Interval,{1 / c.rate_hz:.12g}")
        head.append("")
        head.append("CH1 (V)")
        rows = volts.tolist()
    data = ("\n".join(head) + "\n" + "\n".join(rows) + "\n").encode()
    with (gzip.GzipFile(path, "wb", 9, mtime=0) if path.endswith(".gz") else open(path, "wb")) as f:
        f.write(data)
