"""Supplies drawn from a seed, one function a family. Times in seconds, volts at
the unit's terminals. Nothing here was measured: the units are invented."""

import math

import numpy as np

from waveform import Ring, Train


class Supply:
    def __init__(self, family, duration_s):
        self.family, self.duration_s = family, duration_s
        self.trains = []
        self.extra = []  # slow parts: functions of t in volts
        self.dc_v = 7.0
        self.mains_hz = 0.0  # true, 0: none
        self.mains_v = {}  # harmonic of mains: volts rms
        self.wander = None  # (times, phase error in rad of the mains)
        self.white, self.corner_hz, self.roll_hz, self.hump = 1e-7, 0.0, 3e6, (0.0, 1.0, 1.0)
        self.clock = "fixed"  # how its cycle keeps time: fixed, moving, packets, none
        self.frequencies = []  # alternatives that count as the switching frequency
        self.mean_rate = False  # the frequency is cycles per second of the record
        self.step_v = 0.0  # a step under the spikes, which a peak may or may not hold
        self.idle_hz = 0.0
        self.mains_modulated = False

    def density2(self, f):
        """One-sided density of the unit's own random noise, V^2/Hz."""
        f = np.maximum(f, 1e-3)
        level, centre, width = self.hump
        s = self.white**2 * (1 + self.corner_hz / f) / (1 + (f / self.roll_hz) ** 2)
        return s + level**2 * np.exp(-((np.log(f / centre) / width) ** 2))

    def mains_phase(self, t):
        ph = 2 * np.pi * self.mains_hz * t
        if self.wander is not None:
            ph = ph + np.interp(t, *self.wander)
        return ph

    def slow(self, t):
        y = np.zeros(len(t))
        if self.mains_v:
            ph = self.mains_phase(t)
            for k, rms in self.mains_v.items():
                y += rms * np.sqrt(2) * np.cos(k * ph + 0.7 * k)
        for f in self.extra:
            y = y + f(t)
        return y

    def volts(self, t, bandwidth_hz):
        y = self.slow(t)
        for tr in self.trains:
            y = y + tr.volts(t, bandwidth_hz)
        return y


def log_uniform(rng, lo, hi):
    return float(np.exp(rng.uniform(np.log(lo), np.log(hi))))


def rings_of(rng, ripple_v, lo=0.3, hi=4.0, q=(3, 14), hz=(8e6, 60e6)):
    """A ring for each edge of the switch."""
    out = []
    for share in (1.0, rng.uniform(0.4, 1.0)):
        amp = ripple_v * log_uniform(rng, lo, hi) * share * rng.choice([-1, 1])
        f = log_uniform(rng, *hz)
        out.append(Ring(amp, f, rng.uniform(*q), rng.uniform(1e-9, 5e-9)))
    return out


def common(s, rng, mains=True):
    s.dc_v = rng.uniform(6.5, 7.6)
    s.white = log_uniform(rng, 2e-8, 1.5e-6)
    s.corner_hz = log_uniform(rng, 10, 3e3)
    s.roll_hz = log_uniform(rng, 2e5, 8e6)
    if mains:
        s.mains_hz = rng.choice([50.0, 60.0]) * (1 + rng.normal(0, 2e-4))
        line = log_uniform(rng, 2e-5, 2e-3)
        s.mains_v = {1: line * rng.uniform(0, 0.1), 2: line, 4: line * rng.uniform(0.1, 0.4), 6: line * rng.uniform(0.02, 0.2)}


def cycles_train(rng, t0s, periods, ons, esr_v, cap_v, esl_v=0.0, rings=(), scale=None, alternate=0.0):
    """Two segments a cycle: the switch on for ons, then off. esr_v is the
    triangle's peak-to-peak at the mean period, cap_v that of the parabolas."""
    n = len(t0s)
    rel = periods / np.mean(periods)
    offs = periods - ons
    peak, valley = esr_v / 2 * rel, -esr_v / 2 * rel
    if alternate:
        peak = peak * (1 + alternate * (-1.0) ** np.arange(n))
    nxt = np.append(valley[1:], valley[-1])
    duty = ons / periods
    q_on, q_off = 4 * cap_v * duty * rel**2 / ons**2, -4 * cap_v * (1 - duty) * rel**2 / offs**2
    t = np.empty(2 * n)
    t[0::2], t[1::2] = t0s, t0s + ons
    v, s, q = np.empty(2 * n), np.empty(2 * n), np.empty(2 * n)
    v[0::2], v[1::2] = valley + esl_v / 2, peak - esl_v / 2
    s[0::2], s[1::2] = (peak - valley) / ons - q_on * ons, (nxt - peak) / offs - q_off * offs
    q[0::2], q[1::2] = q_on, q_off
    ring = np.tile([0, 1], n) if len(rings) else None
    if scale is None:
        scale = 1 + 0.02 * rng.normal(size=2 * n)
    return Train(t, v, s, q, ring=ring, rings=rings, scale=scale, cycles=np.arange(0, 2 * n, 2))


def clocked(rng, f, duration_s, duty, jitter_s=0.0):
    n = int(duration_s * f) + 4
    t = (np.arange(n) - 2) / f
    if jitter_s:
        t = t + jitter_s * rng.normal(size=n)
        t = np.sort(t)
    periods = np.append(np.diff(t), 1 / f)
    return t, periods, duty * np.full(n, 1 / f)


def buck(s, rng):
    f, d, a = log_uniform(rng, 4e4, 5e5), rng.uniform(0.25, 0.75), log_uniform(rng, 1e-3, 4e-2)
    rings = rings_of(rng, a, 0.1, 1.5) if rng.random() < 0.8 else ()
    share = rng.random()
    s.trains.append(cycles_train(rng, *clocked(rng, f, s.duration_s, d), a * share, a * (1 - share), rings=rings))
    s.frequencies = [f]


def strong_ring(s, rng):
    f, d, a = log_uniform(rng, 5e4, 4e5), rng.uniform(0.3, 0.7), log_uniform(rng, 1e-3, 1e-2)
    s.trains.append(cycles_train(rng, *clocked(rng, f, s.duration_s, d), a * 0.8, a * 0.2, rings=rings_of(rng, a, 3, 12, q=(6, 25))))
    s.frequencies = [f]


def discontinuous(s, rng):
    f, a = log_uniform(rng, 4e4, 3e5), log_uniform(rng, 2e-3, 3e-2)
    t0, per, _ = clocked(rng, f, s.duration_s, 0.3)
    n, T = len(t0), 1 / f
    d1, d2 = rng.uniform(0.12, 0.3) * T, rng.uniform(0.15, 0.35) * T
    idle = T - d1 - d2
    t, v, sl, q = np.empty(3 * n), np.empty(3 * n), np.empty(3 * n), np.empty(3 * n)
    t[0::3], t[1::3], t[2::3] = t0, t0 + d1, t0 + d1 + d2
    m = 0.55 * a
    v[0::3], sl[0::3], q[0::3] = 0, 0.2 * m / d1, 0.8 * m / d1**2
    v[1::3], sl[1::3], q[1::3] = m, 2 * (a - m) / d2, -(a - m) / d2**2
    v[2::3], sl[2::3], q[2::3] = a, -a / idle, 0
    s.idle_hz = rng.uniform(2.5, 6) / idle
    z = np.zeros(3 * n)
    amp, w, al = z.copy(), z.copy(), z.copy()
    amp[2::3], w[2::3], al[2::3] = a * rng.uniform(0.05, 0.4), 2 * np.pi * s.idle_hz, s.idle_hz * np.pi / rng.uniform(3, 10)
    rings = rings_of(rng, a, 0.2, 2)
    ring = np.tile([0, 1, -1], n)
    s.trains.append(Train(t, v, sl, q, sine=(amp, w, z, al), ring=ring, rings=rings, cycles=np.arange(0, 3 * n, 3)))
    s.frequencies = [f]


def moving(s, rng, periods, ons, a, share, rings, rate_known=True, esl=0.0):
    t0 = np.concatenate([[0], np.cumsum(periods[:-1])]) - 4 * periods[0]
    s.trains.append(cycles_train(rng, t0, periods, ons, a * share, a * (1 - share), esl, rings))
    s.clock, s.mean_rate = "moving", rate_known


def constant_on_time(s, rng):
    f, d, a = log_uniform(rng, 1e5, 5e5), rng.uniform(0.3, 0.6), log_uniform(rng, 2e-3, 3e-2)
    n = int(s.duration_s * f * 1.05) + 20
    off = (1 - d) / f * (1 + rng.uniform(0.01, 0.06) * rng.normal(size=n)).clip(0.5, 1.5)
    on = np.full(n, d / f)
    moving(s, rng, on + off, on, a, 0.9, rings_of(rng, a, 0.2, 2))


def hysteretic(s, rng):
    f, d, a = log_uniform(rng, 5e4, 4e5), rng.uniform(0.3, 0.7), log_uniform(rng, 4e-3, 5e-2)
    n = int(s.duration_s * f * 1.05) + 20
    j = rng.uniform(0.01, 0.08)
    on = d / f * (1 + j * rng.normal(size=n)).clip(0.5, 1.5)
    off = (1 - d) / f * (1 + j * rng.normal(size=n)).clip(0.5, 1.5)
    moving(s, rng, on + off, on, a, 1.0, rings_of(rng, a, 0.1, 1))


def spread_triangle(s, rng):
    f, d, a = log_uniform(rng, 1e5, 5e5), rng.uniform(0.3, 0.7), log_uniform(rng, 2e-3, 3e-2)
    width, rate = rng.uniform(0.03, 0.12), log_uniform(rng, 200, 2e4)
    n = int(s.duration_s * f * 1.1) + 20
    x = (np.arange(n) / f * rate + rng.random()) % 1
    fi = f * (1 + width * (np.abs(2 * x - 1) - 0.5))
    moving(s, rng, 1 / fi, d / fi, a, 0.7, rings_of(rng, a, 0.2, 2))


def spread_hops(s, rng):
    f, d, a = log_uniform(rng, 1e5, 5e5), rng.uniform(0.3, 0.7), log_uniform(rng, 2e-3, 3e-2)
    steps, width, rate = rng.integers(4, 17), rng.uniform(0.04, 0.15), log_uniform(rng, 1e3, 2e4)
    n = int(s.duration_s * f * 1.1) + 20
    hop = (np.arange(n) / f * rate).astype(int)
    levels = rng.integers(0, steps, hop[-1] + 1) / (steps - 1) - 0.5
    fi = f * (1 + width * levels[hop])
    moving(s, rng, 1 / fi, d / fi, a, 0.7, rings_of(rng, a, 0.2, 2))


def flyback_train(rng, t0, per, on, drop_v, esr_v, rings, scale=None):
    """Capacitor drained while the primary conducts; then the secondary's ramp."""
    n, off = len(t0), per - on
    rel = per / np.mean(per)
    drop, jump = drop_v * rel, esr_v * rel
    t, v, s, q = np.empty(2 * n), np.empty(2 * n), np.empty(2 * n), np.empty(2 * n)
    t[0::2], t[1::2] = t0, t0 + on
    v[0::2], s[0::2], q[0::2] = 0, -drop / on, 0
    v[1::2], s[1::2], q[1::2] = jump - drop, (2 * drop - jump) / off, -drop / off**2
    return Train(t, v, s, q, ring=np.tile([0, 1], n), rings=rings, cycles=np.arange(0, 2 * n, 2),
                 scale=1 + 0.03 * rng.normal(size=2 * n) if scale is None else scale)


def flyback_leakage(s, rng):
    f, d, a = log_uniform(rng, 4e4, 1.5e5), rng.uniform(0.25, 0.5), log_uniform(rng, 4e-3, 5e-2)
    rings = rings_of(rng, a, 0.3, 2, hz=(3e6, 30e6))
    rings[1] = Ring(a * rng.uniform(2, 6), log_uniform(rng, 4e6, 3e7), rng.uniform(4, 15), rng.uniform(3e-9, 1e-8))
    t0, per, on = clocked(rng, f, s.duration_s, d)
    esr = a * rng.uniform(0.3, 1)
    s.trains.append(flyback_train(rng, t0, per, on, a - esr * 0.5, esr, rings))
    s.step_v, s.frequencies = esr, [f]


def quasi_resonant(s, rng):
    f, d, a = log_uniform(rng, 5e4, 1.5e5), rng.uniform(0.3, 0.5), log_uniform(rng, 4e-3, 4e-2)
    n = int(s.duration_s * f * 1.2) + 20
    depth, ph = rng.uniform(0.04, 0.2), rng.random()
    walk = 1 + 0.003 * rng.normal(size=n)
    # the bulk capacitor's ripple: rectified mains, locked to it, so cycle by cycle
    per, now = np.empty(n), -4 / f
    for i in range(n):
        per[i] = 1 / (f * (1 + depth * (abs(math.sin(math.pi * (2 * s.mains_hz * now + ph))) - 0.6)) * walk[i])
        now += per[i]
    t0 = np.concatenate([[0], np.cumsum(per[:-1])]) - 4 / f
    esr = a * rng.uniform(0.3, 0.8)
    s.trains.append(flyback_train(rng, t0, per, d * per, a - esr * 0.5, esr, rings_of(rng, a, 0.3, 3, hz=(4e6, 3e7))))
    s.clock, s.mean_rate, s.step_v, s.mains_modulated = "moving", True, esr, True


def burst(s, rng):
    f, a = log_uniform(rng, 6e4, 3e5), log_uniform(rng, 2e-3, 2e-2)
    rate = log_uniform(rng, 300, 8e3)
    on_share = rng.uniform(0.15, 0.6)
    sag = a * rng.uniform(0.5, 4)
    t, v, sl, ring, cyc = [], [], [], [], []
    now, d = -1 / rate, rng.uniform(0.3, 0.6)
    while now < s.duration_s + 1 / rate:
        pack = 1 / rate * (1 + 0.02 * rng.normal())
        m = max(3, int(on_share * pack * f))
        base = -sag / 2 + sag * np.arange(m) / m
        tt = now + np.arange(m) / f
        step = sag / m
        cyc.extend(len(t) + 2 * np.arange(m))
        t.extend(np.stack([tt, tt + d / f], 1).ravel())
        v.extend(np.stack([base, base + a + step * d], 1).ravel())
        sl.extend(np.tile([(a + step * d) * f / d, (step * (1 - d) - a) * f / (1 - d)], m))
        ring.extend(np.tile([0, 1], m))
        end = now + m / f
        t.append(end); v.append(sag / 2); sl.append(-sag / max(now + pack - end, 1 / f)); ring.append(-1)
        now += max(pack, (m + 1) / f)
    s.trains.append(Train(t, v, sl, ring=ring, rings=rings_of(rng, a, 0.3, 3), cycles=cyc))
    s.clock, s.frequencies, s.burst_hz = "packets", [f], rate
    s.ripple_range = (a, a + sag)


def pulse_skipping(s, rng):
    f, a = log_uniform(rng, 8e4, 4e5), log_uniform(rng, 3e-3, 3e-2)
    share, d = rng.uniform(0.1, 0.7), rng.uniform(0.2, 0.5)
    n = int(s.duration_s * f) + 4
    noise = a * 0.3 * rng.normal(size=n)
    level, drop = 0.0, a * share
    fire = np.zeros(n, bool)
    starts = np.empty(n)
    for i in range(n):
        starts[i] = level
        if level < noise[i]:
            fire[i] = True
            level += a
        level -= drop
    at = (np.arange(n) - 2) / f
    k = np.flatnonzero(fire)
    t, v, sl = np.empty(2 * len(k)), np.empty(2 * len(k)), np.empty(2 * len(k))
    t[0::2], t[1::2] = at[k], at[k] + d / f
    v[0::2], sl[0::2] = starts[k], (a - drop * d) * f / d
    v[1::2], sl[1::2] = starts[k] + a - drop * d, -drop * f
    s.trains.append(Train(t, v, sl, ring=np.tile([0, 1], len(k)), rings=rings_of(rng, a, 0.3, 2), cycles=np.arange(0, 2 * len(k), 2)))
    s.clock, s.frequencies = "packets", [f, len(k) / (n / f)]
    s.ripple_range = (a - drop, None)


def two_unlocked(s, rng):
    buck(s, rng)
    f0 = s.frequencies[0]
    f1 = f0 * rng.uniform(1.1, 3.7) * rng.choice([1, 1 / 3.0])
    a = log_uniform(rng, 1e-3, 2e-2)
    s.trains.append(cycles_train(rng, *clocked(rng, f1, s.duration_s, rng.uniform(0.3, 0.7)), a * 0.7, a * 0.3, rings=rings_of(rng, a, 0.2, 1.5)))
    s.frequencies = [f0, f1]


def resonant(s, rng):
    f, a = log_uniform(rng, 6e4, 2e5), log_uniform(rng, 2e-3, 3e-2)
    n = int(s.duration_s * 2 * f) + 6
    t = (np.arange(n) - 4) / (2 * f)
    z = np.zeros(n)
    amp = np.full(n, a) * (1 + rng.uniform(0, 0.08) * (-1.0) ** np.arange(n))
    rings = rings_of(rng, a, 0.05, 0.6) if rng.random() < 0.6 else ()
    s.trains.append(Train(t, z - a * 2 / np.pi, sine=(amp, z + 2 * np.pi * f, z, z), ring=np.arange(n) % 2 if len(rings) else None, rings=rings, cycles=np.arange(0, n, 2)))
    s.frequencies = [f, 2 * f]


def forward(s, rng):
    f, d, a = log_uniform(rng, 6e4, 2.5e5), rng.uniform(0.2, 0.45), log_uniform(rng, 2e-3, 3e-2)
    t0, per, on = clocked(rng, f, s.duration_s, d)
    rings = rings_of(rng, a, 0.3, 2)
    tr = cycles_train(rng, t0, per, on, a * 0.6, a * 0.4, rings=rings)
    # the core's reset ends after the transformer is demagnetised: a third, weak edge
    rings.append(Ring(a * rng.uniform(0.1, 0.5), log_uniform(rng, 2e6, 1e7), rng.uniform(2, 6), 5e-9))
    s.trains.append(tr)
    n = len(t0)
    z = np.zeros(n)
    s.trains.append(Train(t0 + on * rng.uniform(1.8, 2.0), z, ring=z.astype(int), rings=[rings[2]]))
    tr.rings = rings[:2]
    s.frequencies = [f]


def subharmonic(s, rng):
    f, d, a = log_uniform(rng, 8e4, 4e5), rng.uniform(0.5, 0.7), log_uniform(rng, 3e-3, 3e-2)
    t0, per, on = clocked(rng, f, s.duration_s, d)
    depth = rng.uniform(0.08, 0.3)
    on = on * (1 + depth * (-1.0) ** np.arange(len(on)))
    s.trains.append(cycles_train(rng, t0, per, on.clip(0.1 / f, 0.92 / f), a, 0.0, rings=rings_of(rng, a, 0.2, 2), alternate=depth))
    s.frequencies = [f, f / 2]


def overlapping_rings(s, rng):
    f, a = log_uniform(rng, 2e5, 6e5), log_uniform(rng, 2e-3, 2e-2)
    rings = rings_of(rng, a, 1, 4, q=(12, 30), hz=(6e6, 25e6))
    s.trains.append(cycles_train(rng, *clocked(rng, f, s.duration_s, rng.uniform(0.15, 0.3)), a * 0.8, a * 0.2, rings=rings))
    s.frequencies = [f]


def load_steps(s, rng):
    buck(s, rng)
    n = max(1, int(s.duration_s * log_uniform(rng, 1, 40)))
    at = np.sort(rng.uniform(0, s.duration_s, n))
    amp, tau = log_uniform(rng, 5e-3, 8e-2) * rng.choice([-1, 1], n), log_uniform(rng, 5e-5, 1e-3)

    def step(t):
        y = np.zeros(len(t))
        for t1, a in zip(at, amp):
            dt = t - t1
            on = (dt > 0) & (dt < 12 * tau)
            y[on] += a * np.exp(-dt[on] / tau) * (1 - np.exp(-dt[on] / (tau / 15)))
        return y

    s.extra.append(step)
    s.steps = True


def linear(s, rng):
    s.clock = "none"
    line = log_uniform(rng, 1e-4, 5e-3)
    s.mains_hz = rng.choice([50.0, 60.0]) * (1 + rng.normal(0, 2e-4))
    s.mains_v = {1: line * 0.05, 2: line, 4: line * 0.3, 6: line * 0.12, 8: line * 0.05}
    s.white, s.roll_hz = log_uniform(rng, 2e-8, 3e-7), 2e5


def parabolas(s, rng):
    f, d, a = log_uniform(rng, 4e4, 3e5), rng.uniform(0.25, 0.75), log_uniform(rng, 2e-3, 4e-2)
    s.trains.append(cycles_train(rng, *clocked(rng, f, s.duration_s, d), 0.03 * a, a, rings=rings_of(rng, a, 0.1, 1)))
    s.frequencies = [f]


def esr_triangle(s, rng):
    f, d, a = log_uniform(rng, 4e4, 3e5), rng.uniform(0.2, 0.8), log_uniform(rng, 2e-3, 6e-2)
    s.trains.append(cycles_train(rng, *clocked(rng, f, s.duration_s, d), a, 0.0, rings=rings_of(rng, a, 0.05, 1)))
    s.frequencies = [f]


def esl_steps(s, rng):
    f, d, a = log_uniform(rng, 6e4, 4e5), rng.uniform(0.3, 0.7), log_uniform(rng, 2e-3, 2e-2)
    s.step_v = a * rng.uniform(0.3, 1.5)
    s.trains.append(cycles_train(rng, *clocked(rng, f, s.duration_s, d), a, 0.0, esl_v=s.step_v, rings=rings_of(rng, a, 0.2, 2)))
    s.frequencies = [f]


def wandering_mains(s, rng):
    buck(s, rng)
    s.mains_v = {k: v * 3 for k, v in s.mains_v.items()}
    t = np.linspace(0, s.duration_s, 400)
    # cumulative phase of a frequency that walks by some hundredths of a hertz
    hz = np.cumsum(rng.normal(size=400)) * 0.004 * np.sqrt(max(s.duration_s, 1e-3))
    s.wander = (t, 2 * np.pi * np.cumsum(hz) * (t[1] - t[0]))
    slope, a = rng.normal() * 1e-3, log_uniform(rng, 1e-4, 3e-3)
    s.extra.append(lambda x: slope * x + a * np.sin(2 * np.pi * 0.3 * x + 1))


def quiet(s, rng):
    f, d, a = log_uniform(rng, 5e4, 5e5), rng.uniform(0.3, 0.7), log_uniform(rng, 5e-5, 6e-4)
    s.trains.append(cycles_train(rng, *clocked(rng, f, s.duration_s, d), a, 0.0, rings=rings_of(rng, a, 0.2, 2)))
    s.white = log_uniform(rng, 5e-9, 4e-8)
    s.mains_v = {k: v * 0.05 for k, v in s.mains_v.items()}
    s.frequencies = [f]


def loop_hump(s, rng):
    buck(s, rng)
    s.hump = (s.white * log_uniform(rng, 3, 30), log_uniform(rng, 2e3, 3e4), rng.uniform(0.3, 1.0))


def jittered_clock(s, rng):
    f, d, a = log_uniform(rng, 6e4, 4e5), rng.uniform(0.3, 0.7), log_uniform(rng, 2e-3, 3e-2)
    t0, per, on = clocked(rng, f, s.duration_s, d, jitter_s=log_uniform(rng, 1e-9, 2e-8))
    s.trains.append(cycles_train(rng, t0, per, on, a * 0.8, a * 0.2, rings=rings_of(rng, a, 0.2, 3)))
    s.frequencies, s.clock = [f], "moving"


FAMILIES = {f.__name__: f for f in (
    buck, strong_ring, discontinuous, constant_on_time, hysteretic, spread_triangle, spread_hops,
    quasi_resonant, flyback_leakage, burst, pulse_skipping, two_unlocked, resonant, forward, subharmonic,
    overlapping_rings, load_steps, linear, parabolas, esr_triangle, esl_steps, wandering_mains, quiet,
    loop_hump, jittered_clock)}


def draw(family, seed, duration_s):
    """The same unit for a seed, long enough for duration_s of capture."""
    rng = np.random.default_rng([seed, list(FAMILIES).index(family)])
    s = Supply(family, duration_s)
    common(s, rng)
    FAMILIES[family](s, rng)
    return s
