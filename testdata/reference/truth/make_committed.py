#!/usr/bin/python3
"""Writes the short records in records/ and their truth, records/truth.json, for
`go test ./analysis`: one record a family, computed, none measured.

    /usr/bin/python3 testdata/reference/truth/make_committed.py          # write
    /usr/bin/python3 testdata/reference/truth/make_committed.py --check  # compare

Even seeds under 100. Where the tool's own words decide
what a truth is (its spike threshold, the frequency of its noise density), the truth
goes in as the edges' peaks and as densities over frequency."""

import gzip
import json
import os
import sys
import tempfile
import warnings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)

import numpy as np

import definitions
import instrument
import supplies
from judge import pairs

FOLDER = os.path.join(HERE, "records")
KINDS = ["fast", "fast", "mid", "slow", "fast", "card"]
NOISE_HZ = [float(x) for x in np.round(10 ** np.arange(2, 7.31, 0.1), 1)]


def short_plan(rng, kind):
    c = instrument.plan(rng, kind)
    c.n = {"fast": 10000, "mid": 10000, "slow": 25000, "card": 12000}[kind]
    if kind == "slow":
        c.rate_hz = 100e3
    if kind == "card":
        c.rate_hz = 48e3
    return c


def numbers(x):
    return float(f"{x:.5g}") if np.isfinite(x) else None


def one(i, folder):
    family, kind = list(supplies.FAMILIES)[i], KINDS[i % len(KINDS)]
    if family in ("linear", "wandering_mains"):
        kind = "slow"
    seed = 100000 + 2 * i
    rng = np.random.default_rng([seed, 77])
    c = short_plan(rng, kind)
    s = supplies.draw(family, seed, c.duration_s + 0.03)
    name = f"computed-{family}-{kind}" + (".wav" if c.wav else ".csv")
    path = os.path.join(folder, name)
    instrument.write(s, c, path, rng)
    with open(path, "rb") as f:
        data = f.read()
    os.remove(path)
    with open(path + ".gz", "wb") as f, gzip.GzipFile("", "wb", 9, f, mtime=0) as z:
        z.write(data)
    t = definitions.truth_of(s, c)
    holds = c.duration_s >= 2e-3 and c.span_high_hz >= 19e3
    if holds:
        t["noise_density_v_per_rthz"] = definitions.noise_truth(s, c, 6e3)
    lo, hi = 1 / c.duration_s * 4, c.span_high_hz
    at = [] if holds else [[hz, *map(numbers, definitions.noise_truth(s, c, hz))] for hz in NOISE_HZ if lo / 2 <= hz <= hi * 1.3]
    return {
        "file": name + ".gz", "family": family, "kind": kind, "seed": seed, "rate_hz": c.rate_hz, "samples": c.n, "export": str(c.habit),
        "figures": {k: None if v is None else [[numbers(a), numbers(b)] for a, b in pairs(v)] for k, v in sorted(t.items())},
        "noise_at": at, "step_v": numbers(s.step_v), "idle_hz": numbers(s.idle_hz),
        "edges": [{"per_s": numbers(r), "peak_median_v": numbers(np.median(p)), "peak_p95_v": numbers(np.percentile(p, 95)), "peak_max_v": numbers(p.max()), "ring_hz": numbers(f)} for r, p, f in c.edges],
    }


def build(folder):
    warnings.simplefilter("ignore")
    records = [one(i, folder) for i in range(len(supplies.FAMILIES))]
    doc = {"note": "Computed by make_committed.py; definitions in definitions.py. None of it was measured.",
           "card_full_scale_v": instrument.CARD_FULL_SCALE_V,
           "records": records}
    lines = json.dumps({k: v for k, v in doc.items() if k != "records"}, indent=1)[:-2]
    with open(os.path.join(folder, "truth.json"), "w") as f:
        f.write(lines + ',\n "records": [\n' + ",\n".join("  " + json.dumps(r) for r in records) + "\n ]\n}\n")


def main():
    if "--check" not in sys.argv:
        os.makedirs(FOLDER, exist_ok=True)
        build(FOLDER)
        return
    with tempfile.TemporaryDirectory() as d:
        build(d)
        a, b = (json.load(open(os.path.join(x, "truth.json"))) for x in (d, FOLDER))
        if a != b:
            sys.exit("records/truth.json is not what make_committed.py writes")
        for r in a["records"]:
            x, y = (gzip.open(os.path.join(p, r["file"])).read() for p in (d, FOLDER))
            if x != y:
                sys.exit(f"{r['file']} is not what make_committed.py writes")
    print(f"{len(a['records'])} committed records are what their script writes")


if __name__ == "__main__":
    main()
