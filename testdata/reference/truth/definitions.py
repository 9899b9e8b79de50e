"""What the unit's own terminals would show with a perfect instrument of the stated
span, figure by figure, from the closed form or from an oversampled clean curve.

A truth is (low, high): where a definition leaves open what a figure holds (is an
idle ring part of the ripple, is a step part of the spike on it) both readings are
right, and the error counts from the nearer end. A list of pairs: any of them. None:
the unit has no such thing, and any figure but zero is wrong. A key that is absent is
not judged for that record, for a reason given where it is left out.

Definitions (keys as in `stillglow measure --json`):
  ripple_pp_v, ripple_rms_v   the switching cycle without spikes and noise: low is the
      mean cycle at equal phase, high the largest mean of single cycles' own
      peak-to-peak; packets: from one cycle's to the packets' whole excursion; two
      converters: from the larger one's to the sum of both
  switching_hz                cycles per second: of the clock, or over the record
  switching_fundamental_rms_v first harmonic of the mean cycle, spikes included
  pp_20mhz_v                  maximum less minimum behind one pole at 20 MHz: low
      without, high with the unit's own noise at its likely extremes
  spike_peak_*                deviation from the ripple behind the stated bandwidth
  spikes_per_s                one event an edge whose peak stands over the threshold
      that the tool states; an edge within a third of it may or may not count
  ring_hz                     of either edge
  noise_density_v_per_rthz    random part: median density from 2 to 20 kHz where the
      record's span holds that, else over the third octave that the tool names
  bands.*                     rms between the band's ends, lines and spikes included
  mains_line_rms_v            rms of 2 x mains, its power over the record
  periodic, random            rms of the deterministic and the random part in the span
"""

import numpy as np
from scipy import signal

POLE_20M = 20e6
POLES_A = (20.598997, 107.65265, 737.86223, 12194.217)  # IEC 61672-1, Annex E (from memory)


def a_weight(f):
    a, b, c, d = POLES_A

    def r(x):
        x2 = x * x
        return d * d * x2 * x2 / ((x2 + a * a) * np.sqrt((x2 + b * b) * (x2 + c * c)) * (x2 + d * d))

    return r(f) / r(1000.0)


def instrument_density2(c):
    """Front end and converter steps, V^2/Hz. Without a baseline nobody can tell
    them from the unit's noise, so sums and densities are right with and without."""
    step = getattr(c, "step_v", 0.0)
    return c.instrument_v2hz + step**2 / 6 / c.rate_hz


def noise_power(s, lo, hi, weight=None, floor=0.0):
    f = np.geomspace(lo, hi, 600)
    d = s.density2(f) + floor
    if weight is not None:
        d = d * weight(f) ** 2
    return np.trapz(d, f)


class Clean:
    """The clean curve of a supply over a record, worked out when a figure asks."""

    def __init__(self, s, c):
        self.s, self.c = s, c
        self.t0, self.t1 = c.first_s, c.first_s + c.n / c.rate_hz
        self._audio = self._rf = None

    def windows(self, width_s, count, rate_hz):
        """Some stretches of width_s spread over the record, or over as much
        beyond its end as one needs."""
        span = max(self.t1 - self.t0 - width_s, 0)
        n = int(width_s * rate_hz)
        for k in range(count if span > width_s else 1 + int(span > 0)):
            yield self.t0 + span * (k + 0.5) / count + np.arange(n) / rate_hz

    def audio(self):
        """Switching's own part below 100 kHz, by averages over short bins: rate and volts."""
        if self._audio is None:
            width = min(self.t1 - self.t0, 4.0 if getattr(self.s, "steps", False) else 0.5)
            rate = 2e6
            t = self.t0 + np.arange(int(width * rate) + 1) / rate
            y = np.zeros(len(t) - 1)
            for tr in self.s.trains:
                y += np.diff(tr.integral(t)) * rate
            y = signal.decimate(y, 10, ftype="fir")
            self._audio = rate / 10, y + self.extra(self.t0 + (np.arange(len(y)) * 10 + 5) / rate)
        return self._audio

    def extra(self, t):
        y = np.zeros(len(t))
        for f in self.s.extra:
            y = y + f(t)
        return y

    def audio_power(self, lo, hi, weight=None, window="hann"):
        rate, y = self.audio()
        n = len(y)
        if self.s.mains_modulated:  # what the converter makes of the mains adds to it with its phase
            y = y + self.s.slow(self.t0 + np.arange(n) / rate)
        f, p = signal.periodogram(y, rate, window, detrend="linear")
        at = (f >= lo) & (f < hi)
        w = weight(np.maximum(f, 1)) ** 2 if weight is not None else 1.0
        total = float(np.sum((p * w)[at]) * f[1])
        if self.s.mains_modulated:
            return total
        for k, rms in self.s.mains_v.items():
            hz = k * self.s.mains_hz
            if lo <= hz < hi:
                total += (rms * (float(weight(hz)) if weight else 1.0)) ** 2
        return total

    def rf(self, width_s=1.5e-3):
        """Density of the clean switching waveform, from some windows."""
        if self._rf is None:
            self._rf = {}
        if width_s not in self._rf:
            rate, acc, k = 160e6, 0.0, 0
            for t in self.windows(width_s, 3 if self.s.clock != "fixed" else 1, rate):
                y = np.zeros(len(t))
                for tr in self.s.trains:
                    y += tr.volts(t, 1e9)
                f, p = signal.periodogram(y, rate, "hann", detrend="linear")
                acc, k = acc + p, k + 1
            self._rf[width_s] = f, acc / k
        return self._rf[width_s]

    def own_powers(self, lo, hi, rate=160e6):
        """Power of the record's own stretch between lo and hi, alike throughout:
        what lies before and after it is faded out, so that its ends are no edges."""
        lead, n = int((self.t0 - 1e-6) * rate), int((self.t1 - self.t0) * rate)
        t = self.t0 + np.arange(-lead, 2 * n) / rate
        y = np.zeros(len(t))
        for tr in self.s.trains:
            y += tr.volts(t, 1e9)
        y -= np.mean(y)
        y[:lead] *= np.sin(np.pi / 2 * np.arange(lead) / lead) ** 2
        y[lead + n:] *= np.cos(np.pi / 2 * np.arange(n) / n) ** 2
        f, z = np.fft.rfftfreq(len(t), 1 / rate), np.fft.rfft(y)
        at = (f >= lo) & (f < hi)
        return [float(np.mean(np.fft.irfft(z * at * g, len(t))[lead:lead + n] ** 2)) for g in (1.0, 1 / np.sqrt(1 + (f / self.c.bandwidth_hz) ** 2))]

    def rf_powers(self, lo, hi):
        """Power between lo and hi, behind the instrument's bandwidth and without:
        of the unit at length, and where its cycles differ, of the record's own
        stretch."""
        out = []
        f, p = self.rf()
        at = (f >= lo) & (f < hi)
        for q in (p, p / (1 + (f / self.c.bandwidth_hz) ** 2)):
            out.append(float(np.sum(q[at]) * f[1]))
        if self.s.clock != "fixed" and self.t1 - self.t0 < 1.2e-3:
            out += self.own_powers(lo, hi)
        return min(out), max(out)

    def extremes(self, bandwidth_hz):
        """Peak-to-peak and rms of the clean curve over the record."""
        span = self.t1 - self.t0
        rate = 4 * max(20e6, min(bandwidth_hz, 100e6))
        if span * rate < 1.2e6:
            times = [self.t0 + np.arange(int(span * rate)) / rate]
        else:
            times = list(self.windows(2e5 / rate, 6, rate))
        lo, hi, power = np.inf, -np.inf, []
        for t in times:
            y = self.s.volts(t, bandwidth_hz)
            lo, hi = min(lo, y.min()), max(hi, y.max())
            power.append(np.var(y))
        if len(times) > 1:
            t = self.t0 + np.linspace(0, span, 20001)
            slow = self.s.slow(t)
            return hi - lo, hi - lo + np.ptp(slow), None
        return hi - lo, hi - lo, float(np.mean(power))


def edge_classes(s, c):
    """Every ring class: rate of events per second, peaks of its events, frequency."""
    out = []
    t0, t1 = c.first_s, c.first_s + c.n / c.rate_hz
    for tr in s.trains:
        here = (tr.t >= t0) & (tr.t < t1)
        for k, r in enumerate(tr.rings):
            at = here & (tr.ring == k)
            if at.any():
                out.append((at.sum() / (t1 - t0), r.peak_v(c.bandwidth_hz) * np.abs(tr.scale[at]), r.hz))
    return out


def _ripple(s, c, clean, t):
    folds = [(tr.fold(clean.t0, clean.t1, c.bandwidth_hz), tr) for tr in s.trains if len(tr.cycles) > 3 and np.ptp(tr.v) + np.ptp(tr.s) > 0 or tr.sine is not None]
    if not folds:
        return
    pps = [(np.ptp(m), float(np.mean(each)), m.std(), whole, spread) for (m, each, whole, spread), _ in folds]
    big = max(pps, key=lambda p: p[0])
    low, high = min(big[0], big[1]), max(big[0], big[1])
    rms = [big[2], max(big[2], big[4])]
    if s.family == "subharmonic":  # over two cycles, or the mean of single ones
        high = max(high, big[3])
    if s.family == "resonant":  # over both halves of the bridge, or the mean of single ones
        m = folds[0][0][0]
        m = (m[:len(m) // 2] + m[len(m) // 2:2 * (len(m) // 2)]) / 2
        low, rms[0] = min(low, np.ptp(m)), min(rms[0], m.std())
    if len(pps) > 1:
        high, rms[1] = sum(p[0] for p in pps), np.sqrt(sum(p[2] ** 2 for p in pps))
    tr = folds[0][1]
    if tr.sine is not None and s.idle_hz:  # idle ring: in or out
        sine, tr.sine = tr.sine, None
        m = tr.fold(clean.t0, clean.t1, c.bandwidth_hz)[0]
        tr.sine = sine
        low, rms[0] = min(low, np.ptp(m)), min(rms[0], m.std())
    if s.clock == "packets":
        low = min(low, s.ripple_range[0])
        i = (tr.t >= clean.t0) & (tr.t < clean.t1)
        high = max(high, s.ripple_range[1] or (tr.v[i].max() - tr.v[i].min() if i.any() else high))
        rms = None
    t["ripple_pp_v"] = (low, high)
    if rms:
        t["ripple_rms_v"] = tuple(sorted(rms))
    if s.clock != "packets":
        firsts = []
        for x in s.trains:
            if len(x.cycles) > 3:
                m = x.fold(clean.t0, clean.t1, c.bandwidth_hz, whole=True)[0]
                firsts.append(np.abs(np.fft.rfft(m)[1:3]) * np.sqrt(2) / len(m))
        if s.family in ("resonant", "subharmonic", "two_unlocked"):
            # which line is called the fundamental is open: any of them
            t["switching_fundamental_rms_v"] = [(v, v) for fs in firsts for v in fs if v > 0]
            if s.family == "subharmonic":
                t.pop("switching_fundamental_rms_v")
        elif s.family == "forward":
            f, p = clean.rf()
            hz = s.frequencies[0]
            at = np.abs(f - hz) < 5 * f[1]
            v = float(np.sqrt(np.sum(p[at]) * f[1]))
            t["switching_fundamental_rms_v"] = (v * 0.995, v * 1.005)
        else:
            t["switching_fundamental_rms_v"] = (firsts[0][0], firsts[0][0])


def mean_rate(train, t0, t1):
    """Cycles per second between two times."""
    starts = train.t[train.cycles]
    k = np.searchsorted(starts, [t0, t1])
    k[1] = min(k[1], len(starts) - 1)
    return (k[1] - k[0]) / (starts[k[1]] - starts[k[0]])


def truth_of(s, c):
    """All figures that the record's span can be judged on."""
    t = {}
    clean = Clean(s, c)
    T, span_hi = c.duration_s, min(0.4 * c.rate_hz / getattr(c, "up", 1), c.bandwidth_hz)
    c.span_high_hz, floor = span_hi, instrument_density2(c)
    if c.coupling == "DC":
        t["dc_v"] = (s.dc_v, s.dc_v)
    if s.clock == "none":
        t["switching_hz"] = t["ripple_pp_v"] = t["ripple_rms_v"] = t["switching_fundamental_rms_v"] = None
    else:
        if s.mean_rate:
            # of averaged sweeps each has its own
            rates = [mean_rate(s.trains[0], a, a + T) for a in getattr(c, "sweeps_s", [clean.t0])]
            t["switching_hz"] = (min(rates), max(rates))
        else:
            t["switching_hz"] = [(f, f) for f in s.frequencies]
        _ripple(s, c, clean, t)
    if span_hi >= 15e6:
        low, high, power = clean.extremes(POLE_20M)
        peaks_low, peaks_high = low, high
        low, high = clean.rf_powers(1e6, 20e6)
        t["bands.1m_20m.rms_v"] = (np.sqrt(low + noise_power(s, 1e6, 20e6)), np.sqrt(high + noise_power(s, 1e6, 20e6, floor=floor)))

        def noise_rms(pole, extra):
            return np.sqrt(noise_power(s, 1 / T, 1e9, lambda f: 1 / np.sqrt(1 + (f / pole) ** 2), extra))

        z = np.sqrt(2 * np.log(max(2 * POLE_20M * T, 10)))
        t["pp_20mhz_v"] = (peaks_low, peaks_high + 2 * z * noise_rms(POLE_20M, floor))
        # a sample rate that misses part of a spike states so by its span
        low = clean.extremes(min(c.bandwidth_hz, span_hi))[0] if span_hi < c.bandwidth_hz else None
        full, high, power = clean.extremes(c.bandwidth_hz)
        low = full if low is None else min(low, full)
        # the converter's steps are behind the bandwidth, not limited by it
        nb, most = noise_rms(c.bandwidth_hz, 0.0), np.hypot(noise_rms(c.bandwidth_hz, c.instrument_v2hz), getattr(c, "step_v", 0.0) / np.sqrt(12))
        t["pp_v"] = (low, high + 2 * z * most)
        if power is not None:
            t["ac_rms_v"] = (np.sqrt(power + nb**2), np.sqrt(power + most**2))
            if s.clock == "fixed":
                # a load's steps are neither the supply's cycle nor its noise: in either
                steps = np.var(clean.extra(clean.t0 + np.linspace(0, T, 20001))) if getattr(s, "steps", False) else 0.0
                t["periodic_rms_v"], t["random_rms_v"] = (np.sqrt(max(power - steps, 0)), np.sqrt(power)), (nb, np.sqrt(most**2 + steps))
        if power is not None and T < 0.05 and s.mains_hz:
            # mains below the record's lowest frequency may be in or out
            for k in ("ac_rms_v", "periodic_rms_v"):
                if k in t:
                    slow = np.var(s.slow(clean.t0 + np.linspace(0, T, 2000)))
                    t[k] = (np.sqrt(max(t[k][0] ** 2 - slow, 0)), t[k][1])
    c.edges = edge_classes(s, c)
    if T >= 2e-4 and span_hi >= 0.99e6:
        low, high = clean.rf_powers(20e3, 1e6)
        t["bands.20k_1m.rms_v"] = (np.sqrt(low + noise_power(s, 20e3, 1e6)), np.sqrt(high + noise_power(s, 20e3, 1e6, floor=floor)))
    if T >= 0.08 and span_hi >= 0.95 * 19.2e3:
        for key, w in (("audio", None), ("audio_a", a_weight)):
            # what comes and goes weighs as a window has it: alike throughout, or less at the ends
            p = [clean.audio_power(20, 20e3, w, x) for x in (("hann", "boxcar") if getattr(s, "steps", False) else ("hann",))]
            t[f"bands.{key}.rms_v"] = (np.sqrt(min(p) + noise_power(s, 20, 20e3, w)), np.sqrt(max(p) + noise_power(s, 20, 20e3, w, floor)))
    if T >= 0.04:
        if s.mains_v:
            line = mains_line(s, clean)
            t["mains_line_rms_v"] = (line, line)
            t["mains_hz"] = (0.998 * round(s.mains_hz), 1.002 * round(s.mains_hz))
    c.clean = clean
    return t


def mains_line(s, clean):
    """2 x mains with what a mains-modulated converter adds coherently."""
    line = s.mains_v.get(2, 0.0)
    if not s.mains_modulated:
        return line
    rate, y = clean.audio()
    t = clean.t0 + np.arange(len(y)) / rate
    own = 2 * np.mean((y - y.mean()) * np.exp(-2j * s.mains_phase(t)))
    return float(abs(own / np.sqrt(2) + line * np.exp(1j * 1.4)))


def pair(v):
    return (float(v), float(v))


def noise_truth(s, c, at_hz):
    """Random density where the criterion lies or, in records that do not hold
    that, where the tool says. Cycles that differ at random are noise too."""
    holds = c.duration_s >= 2e-3 and c.span_high_hz >= 19e3
    lo, hi = (2e3, 20e3) if holds else (at_hz / 1.122, at_hz * 1.122)
    f = np.geomspace(lo, hi, 31)
    d = s.density2(f)
    floor = instrument_density2(c)
    if s.clock != "fixed" or getattr(s, "steps", False):
        rate, y = c.clean.audio()
        if hi < rate / 3:
            n = int(min(len(y), max(256, rate / lo * 8)))
            fw, p = signal.welch(y, rate, "hann", n)
            sel = (fw >= lo) & (fw <= hi)
        else:
            fw, p = c.clean.rf()
            sel = (fw >= lo) & (fw <= hi)
            p = signal.medfilt(p, 1)
        if sel.any():
            q = np.interp(f, fw[sel], p[sel])
            d = d, d + q
            if holds:
                return root(np.median(d[0])), root(max(np.median(d[1]), np.median(d[0]) + np.mean(q)) + floor)
            return root(d[0].min()), root(d[1].max() + floor)
    if holds:
        return root(np.median(d)), root(np.median(d) + floor)
    return root(d.min()), root(d.max() + floor)


def root(x):
    return float(np.sqrt(x))
