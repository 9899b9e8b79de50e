#!/usr/bin/env python3
"""Six hearing cases by an independent sum: what a supply adds at a valve's input
through its heater, A-weighted.

The stage is solved as a small network (numpy), not by the formulas of
analysis/target: the heater is a chain of points from one end to the other, each
with its share of the capacitance and leakage to the cathode, and of the capacitance
to the grid; the triode is a current source of gm between the nodes, with its anode
resistance and a load. What reaches the output from the heater is divided by what
reaches it from the grid. Common mode is a current into the heater and out by the
parts that tie it to ground. Cathode and grid path are added by size, the halves by
power, over 20 Hz to 20 kHz (scipy.integrate.quad).

A-weighting: IEC 61672-1, closed form. RIAA: time constants of IEC 60098. Both from
memory.

  hearing.py          writes cases.json
  hearing.py --check  works the cases out anew and compares
"""
import json
import math
import pathlib
import sys

import numpy as np
from scipy import integrate

HERE = pathlib.Path(__file__).resolve().parent
POINTS = 41  # along the heater
KT4 = 4 * 1.380649e-23 * 300

# Densities are v1k * (f / 1 kHz) ** slope in V/sqrt(Hz), at the capture's terminals.
CASES = [
    dict(name="unbypassed, one end at ground, across the heater alone",
         cathode_ohm=1500, reference="one end", across=(1e-6, 0)),
    dict(name="bypassed phono stage: the grid's path leads",
         cathode_ohm=820, bypass_f=100e-6, bypass_esr_ohm=0.2, riaa=True,
         reference="one end", heater_grid_f=0.15e-12, source_ohm=47e3, across=(2e-6, -0.5)),
    dict(name="centre tap, both halves",
         cathode_ohm=1500, reference="centre tap", heater_grid_f=0.15e-12, across=(1e-6, 0), common=(2e-6, 0)),
    dict(name="elevated on a divider, common mode falling with frequency",
         cathode_ohm=2200, reference="elevated", reference_ohm=100e3, reference_f=1e-6, across=(1e-6, 0), common=(5e-6, -1)),
    dict(name="second stage of low mu, centre tap, leaky heater",
         cathode_ohm=1000, mu=20, gm_s=2.2e-3, heater_cathode_f=3e-12, heater_cathode_ohm=2e6, source_ohm=100e3,
         gain_before=30, reference="centre tap", across=(3e-6, -0.5), common=(10e-6, -0.5)),
    dict(name="screened grid, one end at ground, common mode alone",
         cathode_ohm=1000, bypass_f=47e-6, mu=38, gm_s=2e-3, heater_grid_f=0.0025e-12, source_ohm=470e3,
         riaa=True, reference="one end", common=(50e-6, 0)),
]
USUAL = dict(bypass_f=0, bypass_esr_ohm=0, heater_cathode_f=5e-12, heater_cathode_ohm=10e6, heater_grid_f=0.5e-12,
             source_ohm=47e3, mu=100, gm_s=1.6e-3, gain_before=1, riaa=False, reference_ohm=0, reference_f=0)


def a_weight(f):
    def r(x):
        x2 = x * x
        return 12194**2 * x2 * x2 / ((x2 + 20.6**2) * math.sqrt((x2 + 107.7**2) * (x2 + 737.9**2)) * (x2 + 12194**2))
    return r(f) / r(1000)


def riaa(f):
    def h(x):
        s = 2j * math.pi * x
        return abs((1 + s * 318e-6) / ((1 + s * 3180e-6) * (1 + s * 75e-6)))
    return h(f) / h(1000)


def cathode_z(c, f):
    if not c["bypass_f"]:
        return complex(c["cathode_ohm"])
    zc = c["bypass_esr_ohm"] + 1 / (2j * math.pi * f * c["bypass_f"])
    return c["cathode_ohm"] * zc / (c["cathode_ohm"] + zc)


def paths(c, f, along):
    """Input-referred volts by cathode and by grid for heater volts along[i] at POINTS places."""
    w = 2 * math.pi * f
    ra, load = c["mu"] / c["gm_s"], 100e3
    yhk = (1 / c["heater_cathode_ohm"] + 1j * w * c["heater_cathode_f"]) / POINTS
    yhg = 1j * w * c["heater_grid_f"] / POINTS
    yk, ys = 1 / cathode_z(c, f), 1 / c["source_ohm"]
    gm = c["gm_s"]

    def output(into_k, into_g, grid_v=None):
        # nodes: cathode, anode, grid; ia = gm (vg - vk) + (va - vk) / ra flows from anode to cathode
        m = np.zeros((3, 3), complex)
        b = np.zeros(3, complex)
        m[0] = [yk + into_k[0] + gm + 1 / ra, -1 / ra, -gm]
        b[0] = into_k[1]
        m[1] = [-gm - 1 / ra, 1 / load + 1 / ra, gm]
        if grid_v is None:
            m[2, 2], b[2] = ys + into_g[0], into_g[1]
        else:
            m[2, 2], b[2] = 1, grid_v
        return np.linalg.solve(m, b)[1]

    none = (0, 0)
    total = np.sum(along)
    gain = abs(output(none, none, 1.0))
    # the heater's capacitance loads the cathode in either case; the grid path leaves the cathode alone
    by_k = abs(output((yhk * POINTS, yhk * total), none)) / gain
    by_g = abs(output(none, (yhg * POINTS, yhg * total))) / gain
    return (by_k + by_g) / c["gain_before"]


def reference_z(c, f):
    s = 2j * math.pi * f
    if c["reference"] == "centre tap":
        return 1 / (1 / 100 + 1 / 100)
    if c["reference"] == "elevated":
        r, cap = c["reference_ohm"] or 50e3, c["reference_f"] or 10e-6
        return 1 / (1 / r + s * cap)
    return 0.1 + s * 1e-6


def couplings(c, f):
    place = np.linspace(0, 1, POINTS)
    if c["reference"] == "centre tap":
        # about the tap the halves cancel but for a twentieth (an assumption, not solved for)
        across = place - 0.5 + 0.05
    else:
        across = place
    common = np.full(POINTS, reference_z(c, f) / 100)
    return paths(c, f, across), paths(c, f, common)


def hear(case):
    c = {**USUAL, **case}
    weight = lambda f: a_weight(f) * (riaa(f) if c["riaa"] else 1)

    def total(density):
        # in log frequency
        g = lambda x: density(math.exp(x)) ** 2 * math.exp(x)
        edges = np.log(np.geomspace(20, 20e3, 13))
        return math.sqrt(sum(integrate.quad(g, a, b, epsrel=1e-6)[0] for a, b in zip(edges, edges[1:])))

    def half(which, key):
        if key not in case:
            return 0.0
        v1k, slope = case[key]
        return total(lambda f: v1k * (f / 1e3) ** slope * couplings(c, f)[which] * weight(f))

    n = (c["mu"] + 1) / c["mu"]
    own = total(lambda f: math.sqrt(KT4 * (cathode_z(c, f).real * n * n + 2.5 / c["gm_s"])) / c["gain_before"] * weight(f))
    across, common = half(0, "across"), half(1, "common")
    both = math.hypot(across, common)
    return dict(across_a_rms_v=across, common_a_rms_v=common, input_a_rms_v=both, own_a_rms_v=own,
                under_db=20 * math.log10(own / both))


def main():
    got = []
    for case in CASES:
        stage = {**USUAL, **case}
        for key in ("across", "common"):
            stage[key] = list(case[key]) if key in case else None
        got.append(dict(stage=stage, heard={k: float(f"{v:.6g}") for k, v in hear(case).items()}))
    path = HERE / "cases.json"
    if "--check" not in sys.argv[1:]:
        path.write_text(json.dumps(got, indent=1) + "\n")
        return 0
    kept = json.loads(path.read_text())
    bad = 0
    for a, b in zip(got, kept, strict=True):
        for key, v in a["heard"].items():
            if a["stage"] != b["stage"] or abs(v - b["heard"][key]) > 1e-4 * abs(v):
                print(f'{a["stage"]["name"]}: {key} {v}, committed {b["heard"][key]}')
                bad += 1
    print(f"{len(got)} hearing cases, {bad} differ")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
