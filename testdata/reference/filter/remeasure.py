#!/usr/bin/env python3
"""Filter a supply's samples in time through ten post-filters, with scipy, and
measure what is left: the second opinion on the tool's "filter the samples and
measure again".

The supply is a triangle of 100 kHz (harmonics to 1.9 MHz), 250 Hz and a known
pseudo-noise, at 25 MS/s for 4 ms, which the filter sees over and over: its state
at the record's start is the one that the record ends with. The network's
differential equations (every capacitor with its ESR and ESL) are written out
from Kirchhoff's laws and stepped exactly, the input straight between samples
(scipy.signal.cont2discrete, "foh"). Measured from the periodogram: the switching
line's rms and the rms from 20 kHz to 1 MHz.

Writes remeasure.json beside itself; --check compares with it (1e-6 relative).
"""
import json
import math
import os
import sys

import numpy as np
from scipy.signal import cont2discrete

HERE = os.path.dirname(os.path.abspath(__file__))
RATE, SAMPLES = 25e6, 100000
RIPPLE_PP, MAINS_PEAK, NOISE_PP = 30e-3, 2e-3, 1e-3


def supply():
    t = np.arange(SAMPLES) / RATE
    v = MAINS_PEAK * np.sin(2 * np.pi * 250 * t)
    for k in range(1, 20, 2):
        v += RIPPLE_PP * 4 / np.pi**2 / k**2 * np.cos(2 * np.pi * 100e3 * k * t)
    x = 12345
    for i in range(SAMPLES):
        x = (1103515245 * x + 12345) % 2**31
        v[i] += NOISE_PP * (x / 2**31 - 0.5)
    return v


def cap(f, esr, esl):
    return {"f": f, "esr": esr, "esl": esl}


def circuits():
    e470, e1000, worn = cap(470e-6, 0.085, 15e-9), cap(1000e-6, 0.04, 15e-9), cap(376e-6, 0.17, 15e-9)
    poly, x7r, smd = cap(220e-6, 0.016, 6e-9), cap(1e-6, 5e-3, 8e-9), cap(5e-6, 5e-3, 2e-9)
    rows = [
        dict(topology="RC", r=0.91, c1=e470), dict(topology="RC", r=0.75, c1=e1000), dict(topology="RC", r=0.91, c1=e470, film=x7r),
        dict(topology="RC", r=0.91, c1=worn, film=x7r), dict(topology="RC", r=2.4, c1=poly, film=smd, load=21.0),
        dict(topology="LC", r=0.82, l=4.7e-6, dcr=0.041, c1=e470, film=x7r), dict(topology="LC", r=0.7, l=10e-6, dcr=0.06, c1=e1000),
        dict(topology="CLC", r=0.82, l=2.2e-6, dcr=0.028, c1=e470, c2=e470, film=x7r), dict(topology="CLC", r=0.7, l=10e-6, dcr=0.06, c1=poly, c2=e1000),
        dict(topology="RC", r=0.91, c1=e470, film=x7r, source=0.15),
    ]
    for k, c in enumerate(rows):
        c["name"] = f"filter{k + 1:02d}"
        for key, usual in dict(source=0.05, load=6.7, l=0.0, dcr=0.0, c2=None, film=None).items():
            c.setdefault(key, usual)
    return rows


def state_space(c):
    """dx/dt = A x + B e, out = C x + D e, with e the supply's inner volts.

    States: every capacitor's current (through its ESL) and its inner volts, then
    the coil's current.
    """
    caps = [c[k] for k in ("c1", "c2", "film") if c[k]]
    coil = c["topology"] != "RC"
    n = 2 * len(caps) + coil
    at_input = [c["topology"] == "CLC" and p is c["c1"] for p in caps]
    if c["topology"] == "CLC":  # c1 and c2 may be one and the same object
        at_input = [True] + [False] * (len(caps) - 1)
    A, B = np.zeros((n, n)), np.zeros(n)

    def unit(k):
        x = np.zeros(n)
        x[k] = 1
        return x

    drawn_out = sum((unit(2 * k) for k in range(len(caps)) if not at_input[k]), np.zeros(n))
    drawn_in = sum((unit(2 * k) for k in range(len(caps)) if at_input[k]), np.zeros(n))
    if coil:
        i_l = unit(n - 1)
        v_in, v_in_e = -c["source"] * (i_l + drawn_in), 1.0
        out, out_e = c["load"] * (i_l - drawn_out), 0.0
        A[n - 1] = (v_in - out - (c["r"] + c["dcr"]) * i_l) / c["l"]
        B[n - 1] = (v_in_e - out_e) / c["l"]
    else:
        g = 1 / (c["source"] + c["r"])
        out, out_e = -drawn_out / (g + 1 / c["load"]), g / (g + 1 / c["load"])
        v_in, v_in_e = None, None
    for k, p in enumerate(caps):
        v, v_e = (v_in, v_in_e) if at_input[k] else (out, out_e)
        A[2 * k] = (v - unit(2 * k + 1) - p["esr"] * unit(2 * k)) / p["esl"]
        B[2 * k] = v_e / p["esl"]
        A[2 * k + 1] = unit(2 * k) / p["f"]
    return A, B.reshape(-1, 1), out.reshape(1, -1), np.array([[out_e]])


def through(c, v):
    """The volts across the heaters for the periodic input v."""
    A, B, C, D = state_space(c)
    Ad, Bd, Cd, Dd, _ = cont2discrete((A, B, C, D), 1 / RATE, method="foh")
    # In the coordinates of "foh" one step is x' = Ad x + Bd e, out = Cd x + Dd e.
    x = np.zeros(len(A))
    for e in v:
        x = Ad @ x + Bd[:, 0] * e
    x = np.linalg.solve(np.eye(len(A)) - np.linalg.matrix_power(Ad, len(v)), x)
    out = np.empty(len(v))
    for i, e in enumerate(v):
        out[i] = (Cd @ x)[0] + Dd[0, 0] * e
        x = Ad @ x + Bd[:, 0] * e
    return out


def measured(v):
    spectrum = np.abs(np.fft.rfft(v - v.mean())) / len(v) * math.sqrt(2)
    hz = np.fft.rfftfreq(len(v), 1 / RATE)
    band = spectrum[(hz >= 20e3) & (hz <= 1e6)]
    return {"line_rms_v": float(spectrum[np.argmin(np.abs(hz - 100e3))]), "band_rms_v": float(np.sqrt(np.sum(band**2)))}


def main():
    v = supply()
    doc = {"rate_hz": RATE, "samples": SAMPLES, "ripple_pp_v": RIPPLE_PP, "mains_peak_v": MAINS_PEAK, "noise_pp_v": NOISE_PP,
           "before": measured(v), "filters": []}
    for c in circuits():
        # Captured at the terminals under the load; the inner volts stand above.
        c["after"] = measured(through(c, v * (1 + c["source"] / c["load"])))
        doc["filters"].append(c)
    path = os.path.join(HERE, "remeasure.json")
    if "--check" not in sys.argv[1:]:
        with open(path, "w") as f:
            json.dump(doc, f, indent=1)
            f.write("\n")
        return
    with open(path) as f:
        kept = json.load(f)

    def same(a, b, where):
        if isinstance(a, dict):
            for k in a:
                same(a[k], b[k], f"{where}.{k}")
        elif isinstance(a, list):
            for i, (x, y) in enumerate(zip(a, b, strict=True)):
                same(x, y, f"{where}[{i}]")
        elif isinstance(a, float):
            if not math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-15):
                sys.exit(f"remeasure.json: {where} is {b}, computed {a}")
        elif a != b:
            sys.exit(f"remeasure.json: {where} is {b}, computed {a}")

    same(doc, kept, "")
    print(f"remeasure.json: {len(doc['filters'])} filters re-measured agree with scipy")


if __name__ == "__main__":
    main()
