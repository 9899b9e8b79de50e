#!/usr/bin/python3
"""Run every circuit of circuits.json through ngspice (.ac and .tran).

Writes the netlists, ac.csv (gain in dB of the heaters' volts over the supply's
inner volts, 20 points a decade from 10 Hz to 100 MHz) and tran.csv (the last
20 us of 0.4 ms behind the filter). With --check it writes nothing into the
folder and compares a fresh run with the committed figures: every .ac, and the
.tran of the circuits named after it (all when none is).
The stimulus of .tran: 7 V with sines of 10 mV at 100 kHz, 5 mV at 1 MHz and
5 mV at 3 MHz (peak). Sines, so that sampling cuts nothing off.
"""
import json, math, os, subprocess, sys, tempfile

HERE = os.path.dirname(os.path.abspath(__file__))


def netlist(c, analysis, out):
    n = ["* " + c["name"] + " " + analysis]
    if analysis == "ac":
        n.append("Vs in 0 DC 7 AC 1")
    else:
        n += ["V1 t1 0 SIN(7 10m 100k)", "V2 t2 t1 SIN(0 5m 1meg)", "V3 in t2 SIN(0 5m 3meg)"]
    n.append(f"Rs in a {max(c['source_ohm'], 1e-9)}")
    k = [0]

    def cap(node, f, esr, esl):
        k[0] += 1
        i = k[0]
        n.append(f"C{i} {node} x{i} {f}")
        n.append(f"Rc{i} x{i} y{i} {max(esr, 1e-9)}")
        n.append(f"Lc{i} y{i} 0 {max(esl, 1e-15)}")

    node = "a"
    if c["topology"] == "CLC":
        cap("a", c["c1_f"], c["c1_esr_ohm"], c["c1_esl_h"])
    if c["topology"] != "RC":
        n.append(f"L a b {c['l_h']}")
        n.append(f"Rdcr b d {c['l_dcr_ohm']}")
        cp = 1 / ((2 * math.pi * c["l_srf_hz"]) ** 2 * c["l_h"])
        n.append(f"Cp a d {cp}")
        node = "d"
    n.append(f"R {node} out {max(c['r_ohm'], 1e-9)}")
    o = "c2" if c["topology"] == "CLC" else "c1"
    cap("out", c[o + "_f"], c[o + "_esr_ohm"], c[o + "_esl_h"])
    if "cfilm_f" in c:
        cap("out", c["cfilm_f"], c["cfilm_esr_ohm"], c["cfilm_esl_h"])
    if "cdamp_f" in c:
        n.append(f"Rd out e {c['damp_ohm']}")
        n.append(f"Cd e 0 {c['cdamp_f']}")
    n.append(f"Rload out 0 {c['load_ohm']}")
    n.append(".options reltol=1e-6 abstol=1e-12 vntol=1e-9 method=gear maxord=2")
    n.append(".control")
    if analysis == "ac":
        n += ["ac dec 20 10 100meg", f"wrdata {out} vdb(out)"]
    else:
        n += ["tran 20n 0.4m 0 4n", "linearize v(out)", f"wrdata {out} v(out)"]
    n += ["quit", ".endc", ".end"]
    return "\n".join(n) + "\n"


def run(c, analysis, folder):
    cir = os.path.join(folder, f"{c['name']}_{analysis}.cir")
    raw = os.path.join(folder, f"{c['name']}_{analysis}.txt")
    with open(cir, "w") as f:
        f.write(netlist(c, analysis, raw))
    p = subprocess.run(["ngspice", "-b", cir], capture_output=True, text=True)
    if not os.path.exists(raw):
        sys.exit(p.stdout + p.stderr)
    return [tuple(map(float, line.split()[:2])) for line in open(raw)]


def write(path, names, rows):
    with open(path, "w") as f:
        f.write(",".join(names) + "\n")
        for r in rows:
            f.write(",".join(f"{v:.9g}" for v in r) + "\n")


def main():
    circuits = json.load(open(os.path.join(HERE, "circuits.json")))
    check = "--check" in sys.argv
    chosen = sys.argv[sys.argv.index("--check") + 1:] if check else []
    tables = {}
    with tempfile.TemporaryDirectory() as folder:
        for analysis, first in (("ac", "hz"), ("tran", "s")):
            some = [c for c in circuits if analysis == "ac" or not chosen or c["name"] in chosen]
            columns = [run(c, analysis, folder) for c in some]
            if analysis == "tran":
                columns = [[p for p in col if p[0] > 0.38e-3 - 1e-9] for col in columns]
            x = [p[0] for p in columns[0]]
            assert all(abs(p[0] - q) < 1e-9 * abs(q) + 1e-12 for col in columns for p, q in zip(col, x))
            tables[analysis] = ([first] + [c["name"] for c in some],
                                [(t,) + tuple(col[i][1] for col in columns) for i, t in enumerate(x)])
    if check:
        for analysis, (names, rows) in tables.items():
            lines = open(os.path.join(HERE, analysis + ".csv")).read().split()
            at = [lines[0].split(",").index(name) for name in names]
            old = [[float(line.split(",")[i]) for i in at] for line in lines[1:]]
            assert len(old) == len(rows), analysis
            worst = max(abs(a - b) for r, o in zip(rows, old) for a, b in zip(r[1:], o[1:]))
            limit = 0.01 if analysis == "ac" else 2e-6
            assert worst < limit, f"{analysis}: a fresh run differs by {worst}"
            print(f"{analysis}.csv, {', '.join(names[1:])}: fresh ngspice run within {worst:.2g}")
        return
    for c in circuits:
        for analysis in ("ac", "tran"):
            with open(os.path.join(HERE, f"{c['name']}_{analysis}.cir"), "w") as f:
                f.write(netlist(c, analysis, f"{c['name']}_{analysis}.txt"))
    for analysis, (names, rows) in tables.items():
        write(os.path.join(HERE, analysis + ".csv"), names, rows)


main()
