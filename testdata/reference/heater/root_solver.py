#!/usr/bin/env python3
"""Solve 30 heater circuits with scipy's root finder (brentq), by Kirchhoff's
laws written out here: the supply's open volts less what flows through its
resistance and the shared resistor is what the branches see; in a branch one
current passes the resistor and every heater, whose volts are V0*(I/I0)^(1/n).

Writes root_points.json (cases) and root_points.csv (results) beside itself; with
--check it compares with the committed results (1e-7 relative) instead.
"""
import csv
import json
import math
import os
import sys

from scipy.optimize import brentq

HERE = os.path.dirname(os.path.abspath(__file__))


def cases():
    """30 operating points: shared, own and no resistors, strings, tolerances,
    a pulled valve, a shorted heater with and without the supply's limit."""
    au7, n2p, e80, n6p = [6.3, 0.3], [6.3, 0.34], [6.3, 0.6], [6.3, 0.75]
    ax7s, sn7, ef86, e182 = [12.6, 0.15], [12.6, 0.3], [6.3, 0.2], [6.3, 0.64]

    def one(*heaters, count=1, ohm=0.0):
        return {"count": count, "ohm": ohm, "heaters": list(heaters)}

    mix = [one(au7, count=2), one(n2p)]
    own = [one(au7, count=2, ohm=2.4), one(n2p, ohm=2.0)]
    own12 = [one(au7, count=2, ohm=19.0), one(n2p, ohm=16.8)]
    strings = [one(n2p, n2p, ohm=6.8), one(ax7s, count=2, ohm=15.0)]
    odd = [one(n2p, au7)]
    out = [
        dict(v=7, shared=0.75, s=mix), dict(v=7, shared=0.68, s=mix), dict(v=7, s=own), dict(v=12, s=own12),
        dict(v=12, shared=6.07, s=mix), dict(v=9, shared=2.7, s=mix), dict(v=6, s=mix), dict(v=12, s=[one(ax7s, count=2), one(sn7)]),
        dict(v=7, shared=0.75, s=mix, n=0.5), dict(v=7, shared=0.75, s=mix, n=0.65), dict(v=7, shared=0.75, s=mix, n=1.0),
        dict(v=7.2, out=0.12, lead=0.08, shared=0.56, s=mix), dict(v=15, s=strings, out=0.1), dict(v=13.5, shared=1.0, s=odd),
        dict(v=7, shared=0.75, s=mix, supply=0.05, part=-0.05, heaters=-1), dict(v=7, shared=0.75, s=mix, supply=-0.05, part=0.05, heaters=1),
        dict(v=12, s=own12, supply=0.05, part=-0.05, heaters=-1), dict(v=12, s=own12, supply=-0.05, part=0.05, heaters=1),
        dict(v=7, shared=0.75, s=mix, pulled=1), dict(v=7, shared=0.75, s=mix, pulled=2), dict(v=12, shared=6.07, s=mix, pulled=2),
        dict(v=12, s=own12, pulled=1), dict(v=7, shared=0.43, s=[one(e80, count=2), one(n6p)], pulled=2), dict(v=7, shared=1.1, s=[one(e182)]),
        dict(v=7, s=own, short=[0, 0], limit=0), dict(v=7, s=own, short=[0, 0], limit=2.2), dict(v=12, s=own12, short=[1, 0], limit=3),
        dict(v=15, s=strings, short=[0, 0], limit=0, out=0.1), dict(v=7, shared=0.75, s=mix, short=[0, 0], limit=3),
        dict(v=7, shared=3.3, s=[one(ef86)], out=0.2, n=0.55),
    ]
    for k, c in enumerate(out):
        c["name"] = f"root{k + 1:02d}"
        for key, usual in dict(out=0.0, lead=0.0, shared=0.0, n=0.6, supply=0.0, part=0.0, heaters=0, pulled=0, short=None, limit=0.0).items():
            c.setdefault(key, usual)
    return out


SPREAD = 0.07  # of heater current at rated volts


def branches(c):
    """(count, ohm, [(v0, i0 or None for a short)], strand) of every branch."""
    out = []
    for k, s in enumerate(c["s"]):
        heaters = [(v, i * (1 + SPREAD * c["heaters"])) for v, i in s["heaters"]]
        ohm, count = s["ohm"] * (1 + c["part"]), s["count"]
        if c["pulled"] == k + 1:
            count -= 1
        if c["short"] and c["short"][0] == k:
            count -= 1
            bad = list(heaters)
            bad[c["short"][1]] = (0.0, None)
            out.append((1, ohm, bad, k))
        if count:
            out.append((count, ohm, heaters, k))
    return out


def solve(c):
    net = branches(c)
    open_v = c["v"] * (1 + c["supply"])
    series = c["out"] + c["lead"] + c["shared"] * (1 + c["part"])

    def volts(b, i):
        return b[1] * i + sum(v0 * (i / i0) ** (1 / c["n"]) for v0, i0 in b[2] if i0)

    def amps(b, v):
        if b[1] == 0 and not any(i0 for _, i0 in b[2]):
            raise ZeroDivisionError
        if v <= 0:
            return 0.0
        hi = 1.0
        while volts(b, hi) < v:
            hi *= 2
        return brentq(lambda i: volts(b, i) - v, 0, hi, xtol=1e-15, rtol=1e-13)

    def total(v):
        return sum(b[0] * amps(b, v) for b in net)

    try:
        bus = brentq(lambda v: v + series * total(v) - open_v, 0, open_v, xtol=1e-14, rtol=1e-13)
        if c["limit"] and total(bus) > c["limit"]:
            bus = brentq(lambda v: total(v) - c["limit"], 0, bus, xtol=1e-14, rtol=1e-13)
        currents, load = [amps(b, bus) for b in net], total(bus)
    except ZeroDivisionError:  # a short with no resistor of its own takes it all
        load = min(open_v / series, c["limit"] or math.inf)
        currents = [load if any(i0 is None for _, i0 in b[2]) else 0.0 for b in net]
    part = load * load * c["shared"] * (1 + c["part"])
    if not c["shared"]:
        part = max(i * i * b[1] for b, i in zip(net, currents))
    hottest = max([(v0 * (i / i0) ** (1 / c["n"])) / v0 for b, i in zip(net, currents) for v0, i0 in b[2] if i0], default=0.0)
    return load, part, hottest


def main():
    doc = cases()
    rows = [[c["name"]] + [f"{x:.9g}" for x in solve(c)] for c in doc]
    if "--check" in sys.argv[1:]:
        with open(os.path.join(HERE, "root_points.json")) as f:
            if json.load(f) != json.loads(json.dumps(doc)):
                sys.exit("root_points.json is not what root_solver.py writes")
        with open(os.path.join(HERE, "root_points.csv")) as f:
            kept = list(csv.reader(f))[1:]
        for a, b in zip(kept, rows, strict=True):
            if a[0] != b[0] or not all(math.isclose(float(x), float(y), rel_tol=1e-7, abs_tol=1e-12) for x, y in zip(a[1:], b[1:])):
                sys.exit(f"root_points.csv: committed {a}, computed {b}")
        print(f"root_points.csv: {len(rows)} operating points agree with scipy")
        return
    with open(os.path.join(HERE, "root_points.json"), "w") as f:
        f.write("[\n" + ",\n".join("  " + json.dumps(c) for c in doc) + "\n]\n")
    with open(os.path.join(HERE, "root_points.csv"), "w", newline="") as f:
        w = csv.writer(f, lineterminator="\n")
        w.writerow(["case", "load_a", "part_w", "hottest_over_rated"])
        w.writerows(rows)


if __name__ == "__main__":
    main()
