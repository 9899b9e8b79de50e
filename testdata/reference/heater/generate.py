#!/usr/bin/env python3
"""Solve the heater circuits of cases.json with ngspice.

Writes operating_points.csv and warm_ups.csv beside itself and one netlist a case
under netlists.
With --check it works in a temporary folder and compares with the committed
figures (1e-5 relative) instead. Needs ngspice and Python's standard library.
"""
import csv
import json
import math
import os
import re
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
TUNGSTEN_P = 1.2  # resistance of tungsten ~ T^1.2, from memory
REST = 1e-9       # ohms that stand for a plain wire


def circuit(case, models, thermal=None):
    """The netlist's elements and, for each kind of heater, its nodes and count."""
    lines = [f"* {case['name']}: heater circuit of a small DC supply"]
    series = case.get("output_ohm", 0) + case.get("lead_ohm", 0) + case.get("shared_ohm", 0)
    lines += [f"Vs in 0 DC {case['supply_v']}", f"Rs in a {max(series, REST)}"]
    node = "a"
    for k in range(case.get("diodes", 0)):
        lines.append(f"D{k} {node} d{k} DROP")
        node = f"d{k}"
    if "diode" in case:
        m = models[case["diode"]]
        lines.append(f".model DROP D(IS={m['is']} N={m['n']} RS={m['rs']})")
    lines.append(f"Vbus {node} bus DC 0")
    heaters = []
    for k, strand in enumerate(case["strands"]):
        for c in range(strand["count"]):
            lines.append(f"R{k}_{c} bus s{k}_{c}_0 {max(strand.get('ohm', 0), REST)}")
            last = len(strand["heaters"]) - 1
            for j, (v0, i0) in enumerate(strand["heaters"]):
                top = f"s{k}_{c}_{j}"
                low = "0" if j == last else f"s{k}_{c}_{j + 1}"
                drop = f"V({top})" if low == "0" else f"V({top},{low})"
                if thermal is None:
                    # Straight under 5 % of the rated volts, so that the solver's first steps find a slope.
                    low_slope = i0 / v0 * 0.05 ** (case["n"] - 1)
                    law = f"{drop} > {0.05 * v0} ? {i0}*pow({drop}/{v0},{case['n']}) : {low_slope}*{drop}"
                    lines.append(f"B{k}_{c}_{j} {top} {low} I = {law}")
                    lines.append(f".nodeset V({top})={v0 * (last - j + 1)}")
                else:
                    cold, m, tau = thermal
                    t = f"t{k}_{c}_{j}"
                    amps = f"{drop}/({v0 / i0}*pow(max(V({t}),0.1),{TUNGSTEN_P}))"
                    lines.append(f"B{k}_{c}_{j} {top} {low} I = {amps}")
                    # Node t is the temperature over the rated one.
                    lines.append(f"C{k}_{c}_{j} {t} 0 {tau / (1 - cold)} IC={cold}")
                    loss = f"(pow(max(V({t}),0.1),{m})-{cold ** m})/{1 - cold ** m}"
                    lines.append(f"BP{k}_{c}_{j} 0 {t} I = {drop}*{amps}/{v0 * i0} - {loss}")
                if c == 0:
                    heaters.append((k, j, top, low))
    return lines, heaters


def ngspice(lines, folder, name):
    path = os.path.join(folder, name + ".cir")
    with open(path, "w") as f:
        f.write("\n".join(lines) + "\n")
    done = subprocess.run(["ngspice", "-b", name + ".cir"], cwd=folder, capture_output=True, text=True)
    out = done.stdout + done.stderr
    if "Error" in out or "singular" in out:
        sys.exit(f"{name}: ngspice says\n{out}")
    return out


def operating_points(doc, folder):
    rows = []
    for case in doc["operating_points"]:
        lines, heaters = circuit(case, doc)
        # kT/q of our diode law is that at 300 K.
        lines += [".options TEMP=26.85 TNOM=26.85 RELTOL=1e-6 ABSTOL=1e-12 VNTOL=1e-9 NUMDGT=10", ".control", "op"]
        lines += ["print i(vbus)"]
        for k, j, top, low in heaters:
            lines.append(f"print v({top})" if low == "0" else f"print v({top})-v({low})")
        lines += ["quit", ".endc", ".end"]
        out = ngspice(lines, folder, case["name"])
        values = [float(v) for v in re.findall(r"^\S+ = (\S+)\s*$", out, re.M)]
        if len(values) != 1 + len(heaters):
            sys.exit(f"{case['name']}: expected {1 + len(heaters)} figures, got {values}\n{out}")
        for (k, j, _, _), v in zip(heaters, values[1:]):
            rows.append([case["name"], k, j, f"{v:.7g}", f"{values[0]:.7g}"])
    return ["case", "strand", "heater", "heater_v", "total_a"], rows


def warm_ups(doc, folder):
    rows = []
    for case in doc["warm_ups"]:
        m = TUNGSTEN_P * (1 + case["n"]) / (1 - case["n"])
        cold = (1 / case["cold_ratio"]) ** (1 / TUNGSTEN_P)
        lines, heaters = circuit(case, doc, (cold, m, case["tau_s"]))
        lines += [".options RELTOL=1e-6 ABSTOL=1e-10 VNTOL=1e-8 NUMDGT=8", ".control", "tran 0.01 40 0 0.01 uic"]
        columns = " ".join(f"v({top})" if low == "0" else f"v({top},{low})" for _, _, top, low in heaters)
        temps = " ".join(f"v(t{k}_0_{j})" for k, j, _, _ in heaters)
        lines += ["set wr_singlescale", "linearize", f"wrdata {case['name']}.data i(vbus) {columns} {temps}", "quit", ".endc", ".end"]
        ngspice(lines, folder, case["name"])
        path = os.path.join(folder, case["name"] + ".data")
        with open(path) as f:
            table = [[float(x) for x in line.split()] for line in f]
        os.remove(path)
        n = len(heaters)
        for want in [0.5, 1, 2, 3, 5, 7, 10, 14, 20, 30]:
            row = min(table, key=lambda r: abs(r[0] - want))
            assert abs(row[0] - want) < 1e-6, row
            for h, (k, j, _, _) in enumerate(heaters):
                rows.append([case["name"], want, k, j, f"{row[2 + h]:.6g}", f"{row[1]:.6g}", f"{row[2 + n + h]:.6g}"])
    return ["case", "time_s", "strand", "heater", "heater_v", "total_a", "relative_temperature"], rows


def main():
    check = "--check" in sys.argv[1:]
    with open(os.path.join(HERE, "cases.json")) as f:
        doc = json.load(f)
    with tempfile.TemporaryDirectory() as temp:
        folder = temp if check else os.path.join(HERE, "netlists")
        os.makedirs(folder, exist_ok=True)
        for name, make in [("operating_points.csv", operating_points), ("warm_ups.csv", warm_ups)]:
            head, rows = make(doc, folder)
            path = os.path.join(HERE, name)
            if not check:
                with open(path, "w", newline="") as f:
                    w = csv.writer(f, lineterminator="\n")
                    w.writerow(head)
                    w.writerows(rows)
                continue
            with open(path) as f:
                kept = list(csv.reader(f))[1:]
            if len(kept) != len(rows):
                sys.exit(f"{name}: {len(kept)} rows committed, {len(rows)} computed")
            for a, b in zip(kept, rows):
                for x, y in zip(a, b):
                    try:
                        same = math.isclose(float(x), float(y), rel_tol=1e-5, abs_tol=1e-9)
                    except ValueError:
                        same = x == y
                    if not same:
                        sys.exit(f"{name}: committed {a}, computed {b}")
            print(f"{name}: {len(rows)} figures agree with ngspice")


if __name__ == "__main__":
    main()
