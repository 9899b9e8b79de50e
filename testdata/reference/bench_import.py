#!/usr/bin/env python3
"""Compare the CSV importer with pandas' read_csv (C engine) on one file.

Run from the project's root: /usr/bin/python3 testdata/reference/bench_import.py
Needs Go and Debian's python3-pandas. Writes a CSV of 5 million rows (130 MB,
"%.8e,%.4e") to a temporary folder, reads it in turns with both on the same two
cores, and prints the least and the median time of each and their ratio.
"""
import os, re, statistics, subprocess, sys, tempfile, time

import numpy as np
import pandas as pd

ROWS, ROUNDS = 5_000_000, int(sys.argv[1]) if len(sys.argv) > 1 else 7
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])

with tempfile.TemporaryDirectory() as d:
    csv, exe = os.path.join(d, "big.csv"), os.path.join(d, "capture.test")
    rng = np.random.default_rng(1)
    t = np.arange(ROWS) * 1e-8
    v = 5 + 0.02 * np.sin(2 * np.pi * 65e3 * t) + 0.001 * rng.standard_normal(ROWS)
    with open(csv, "w") as f:
        for i in range(0, ROWS, 100_000):
            f.write("".join("%.8e,%.4e\n" % p for p in zip(t[i : i + 100_000], v[i : i + 100_000])))
    subprocess.run(["go", "test", "-c", "-o", exe, "./capture"], check=True)
    env = dict(os.environ, STILLGLOW_BENCH_CSV=csv)
    ours, theirs = [], []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        frame = pd.read_csv(csv, header=None, engine="c")
        theirs.append(time.perf_counter() - start)
        assert len(frame) == ROWS
        del frame
        out = subprocess.run([exe, "-test.run=NONE", "-test.bench=ImportCSV", "-test.benchtime=1x"], env=env, cwd=d, check=True, capture_output=True, text=True).stdout
        ours.append(int(re.search(r"\s1\s+(\d+) ns/op", out).group(1)) / 1e9)
    size = os.path.getsize(csv) / 1e6
    for name, x in (("stillglow", ours), ("pandas", theirs)):
        print(f"{name:10} least {min(x):.3f} s ({size / min(x):.0f} MB/s), median {statistics.median(x):.3f} s")
    print(f"ratio      least {min(theirs) / min(ours):.2f}, median {statistics.median(theirs) / statistics.median(ours):.2f}")
