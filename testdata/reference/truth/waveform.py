"""Converter waveforms in closed form: piecewise polynomials between switching
events, damped sine arcs within a segment, and decaying rings that start at an
event. All of it passes an instrument's one-pole bandwidth in closed form too, so
a waveform can be read at any instant, with no grid, no interpolation and no
aliasing but the instrument's own."""

import numpy as np


class Ring:
    """amplitude_v * exp(-alpha t) sin(2 pi hz t), its start rounded by one pole of rise_s."""

    def __init__(self, amplitude_v, hz, q, rise_s):
        self.amplitude_v, self.hz, self.q, self.rise_s = amplitude_v, hz, q, rise_s
        self.alpha = np.pi * hz / q
        self.life_s = 9 / self.alpha + 9 * rise_s

    def shape(self, t, bandwidth_hz):
        """Volts at t seconds (>= 0) after the edge, behind a one-pole bandwidth."""
        s0 = self.alpha - 2j * np.pi * self.hz
        a, p = 1 / self.rise_s, 2 * np.pi * bandwidth_hz
        if abs(a / p - 1) < 1e-3:
            a *= 1.002
        y = np.exp(-s0 * t) / ((a - s0) * (p - s0)) + np.exp(-a * t) / ((s0 - a) * (p - a)) + np.exp(-p * t) / ((s0 - p) * (a - p))
        return self.amplitude_v * (-1j * a * p * y).real

    def peak_v(self, bandwidth_hz):
        """Largest deviation either way, always positive."""
        t = np.linspace(0, 3 / self.hz + 6 * self.rise_s + 1 / (2 * np.pi * bandwidth_hz) * 6, 4000)
        return float(np.max(np.abs(self.shape(t, bandwidth_hz))))

    def area_vs(self):
        w = 2 * np.pi * self.hz
        return self.amplitude_v * w / (self.alpha**2 + w**2)


class Train:
    """One converter's output: segments between events, and rings at them."""

    def __init__(self, t, v, s=None, q=None, sine=None, ring=None, rings=(), scale=None, cycles=None):
        z = np.zeros(len(t))
        self.t, self.v = np.asarray(t, float), np.asarray(v, float)
        self.s, self.q = z if s is None else np.asarray(s, float), z if q is None else np.asarray(q, float)
        self.sine = sine  # (amplitude, rad/s, phase, 1/s) arrays, or None
        self.ring = np.full(len(t), -1) if ring is None else np.asarray(ring, int)
        self.rings = list(rings)
        self.scale = np.ones(len(t)) if scale is None else np.asarray(scale, float)
        self.cycles = np.arange(len(t)) if cycles is None else np.asarray(cycles, int)

    def _sine(self, i, dt):
        a, w, ph, al = (x[i] for x in self.sine)
        return a * np.exp(-al * dt) * np.sin(w * dt + ph)

    def _jumps(self, p):
        """Step of the filtered segments at each event, old end less new start."""
        d = np.diff(self.t)
        v, s, q = self.v - self.s / p + 2 * self.q / p**2, self.s - 2 * self.q / p, self.q
        end = v[:-1] + s[:-1] * d + q[:-1] * d**2
        start = v[1:].copy()
        if self.sine is not None:
            i = np.arange(len(d))
            end = end + self._sine(i, d)
            start = start + self._sine(i + 1, 0.0)
        return np.concatenate([[0.0], end - start])

    def smooth(self, t, bandwidth_hz):
        """The segments alone: ripple without rings."""
        p = 2 * np.pi * bandwidth_hz
        i = np.clip(np.searchsorted(self.t, t, "right") - 1, 0, None)
        dt = t - self.t[i]
        s, q = self.s[i], self.q[i]
        y = self.v[i] - s / p + 2 * q / p**2 + (s - 2 * q / p) * dt + q * dt * dt
        if self.sine is not None:
            y += self._sine(i, dt)
        near = np.flatnonzero(dt < 16 / p)
        if len(near):
            y[near] += self._jumps(p)[i[near]] * np.exp(-p * dt[near])
        return y

    def spikes(self, t, bandwidth_hz):
        """The rings alone."""
        y = np.zeros(len(t))
        if not self.rings:
            return y
        i = np.searchsorted(self.t, t, "right") - 1
        life = max(r.life_s for r in self.rings)
        for back in range(200):
            j = i - back
            dt = t - self.t[np.clip(j, 0, None)]
            live = (j >= 0) & (dt < life)
            if not live.any():
                break
            for k, r in enumerate(self.rings):
                at = np.flatnonzero(live & (self.ring[np.clip(j, 0, None)] == k))
                if len(at):
                    y[at] += self.scale[j[at]] * r.shape(dt[at], bandwidth_hz)
        return y

    def volts(self, t, bandwidth_hz):
        return self.smooth(t, bandwidth_hz) + self.spikes(t, bandwidth_hz)

    def integral(self, t):
        """Volt-seconds from the first event to each t, rings as impulses of their area."""
        d = np.diff(self.t)
        whole = self.v[:-1] * d + self.s[:-1] * d**2 / 2 + self.q[:-1] * d**3 / 3
        if self.sine is not None:
            whole = whole + self._sine_integral(np.arange(len(d)), d)
        area = np.zeros(len(self.t))
        for k, r in enumerate(self.rings):
            area[self.ring == k] = r.area_vs()
        start = np.concatenate([[0.0], np.cumsum(whole)]) + np.cumsum(area * self.scale)
        i = np.clip(np.searchsorted(self.t, t, "right") - 1, 0, None)
        dt = t - self.t[i]
        y = start[i] + self.v[i] * dt + self.s[i] * dt**2 / 2 + self.q[i] * dt**3 / 3
        if self.sine is not None:
            y = y + self._sine_integral(i, dt)
        return y

    def _sine_integral(self, i, dt):
        a, w, ph, al = (x[i] for x in self.sine)
        s0 = np.where((w == 0) & (al == 0), 1.0, al - 1j * w)
        return np.where(a == 0, 0.0, (a * np.exp(1j * ph) * (1 - np.exp(-s0 * dt)) / s0).imag)

    def fold(self, t0, t1, bandwidth_hz, whole=False, points=1024, most=300):
        """Mean cycle between t0 and t1 at equal phases, each cycle's peak-to-peak,
        and peak-to-peak and rms of all of them together."""
        starts = self.t[self.cycles]
        a = np.searchsorted(starts, t0)
        b = min(np.searchsorted(starts, t1), len(starts) - 1)
        pick = np.unique(np.linspace(a, b - 1, min(most, max(b - a, 1))).astype(int))
        phase = (np.arange(points) + 0.5) / points
        period = starts[pick + 1] - starts[pick]
        t = (starts[pick][:, None] + phase[None, :] * period[:, None]).ravel()
        y = (self.volts if whole else self.smooth)(t, bandwidth_hz).reshape(len(pick), points)
        return y.mean(0), np.ptp(y, axis=1), np.ptp(y), y.std()
