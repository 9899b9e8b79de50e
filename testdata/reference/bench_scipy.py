#!/usr/bin/python3
"""Times our spectrum against scipy in the same run and prints ratios:

    /usr/bin/python3 testdata/reference/bench_scipy.py

Two references: one scipy.signal.welch over the record (a single resolution),
and the same octave steps done with scipy (scipy.signal.decimate by two and
welch at every step). Above 1, ours is faster."""
import os
import re
import subprocess
import time

import numpy as np
from scipy import signal

ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
SEGMENT = 4096


def best(f, n):
    f()
    times = []
    for _ in range(n):
        t = time.perf_counter()
        f()
        times.append(time.perf_counter() - t)
    return min(times)


def octaves(x):
    rate = 1e6
    while True:
        signal.welch(x, rate, "hann", min(SEGMENT, len(x)))
        if len(x) < 4 * SEGMENT:
            return
        x = signal.decimate(x, 2, n=54, ftype="fir")
        rate /= 2


def main():
    out = subprocess.run(["go", "test", "-run", "^$", "-bench", "BenchmarkSpectrum$", "-count", "3", "./analysis"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    ours = {}
    for size, ns in re.findall(r"BenchmarkSpectrum/(\d+)\S*\s+\d+\s+([\d.]+) ns/op", out):
        ours[int(size)] = min(float(ns) / 1e9, ours.get(int(size), 1e9))
    print(f"{'samples':>9} {'ours':>9} {'ns/sample':>9} {'one welch':>9} {'ratio':>6} {'octaves':>9} {'ratio':>6}")
    for n, s in sorted(ours.items()):
        x = np.random.default_rng(1).standard_normal(n)
        runs = 3 if n > 1 << 21 else 10
        one, chain = best(lambda: signal.welch(x, 1e6, "hann", SEGMENT), runs), best(lambda: octaves(x), runs)
        print(f"{n:9d} {s*1e3:7.2f}ms {s/n*1e9:9.1f} {one*1e3:7.2f}ms {one/s:6.2f} {chain*1e3:7.2f}ms {chain/s:6.2f}")


if __name__ == "__main__":
    main()
