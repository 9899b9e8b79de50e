#!/usr/bin/python3
"""Heaters of several rails on one supply, for rails_test.go, by scipy's brentq on
Kirchhoff's laws: an open-circuit supply behind its output resistance, branches side by
side, each a resistor and a heater of I = i0 (V/v0)^0.6. Prints volts and the resistor's
watts of each branch."""
from scipy.optimize import brentq


def branch(bus, ohm, v0, i0):
    return brentq(lambda i: ohm * i + v0 * (i / i0) ** (1 / 0.6) - bus, 0, 20, xtol=1e-15)


def solve(supply, out, branches):
    def excess(bus):
        return bus + out * sum(n * branch(bus, ohm, v0, i0) for n, ohm, v0, i0 in branches) - supply

    bus = brentq(excess, 1e-6, supply, xtol=1e-14)
    for n, ohm, v0, i0 in branches:
        i = branch(bus, ohm, v0, i0)
        yield v0 * (i / i0) ** (1 / 0.6), ohm * i * i


if __name__ == "__main__":
    for supply, out, branches in [
        (15, 0.2, [(2, 8, 12.6, 0.3), (1, 14.5, 6.3, 0.6)]),
        (12.6, 0.1, [(1, 0, 12.6, 0.3), (2, 10.5, 6.3, 0.6)]),
        (7.5, 0.1, [(1, 1.6, 7.0, 0.3), (1, 1.8, 6.3, 0.6)]),
    ]:
        print(supply, *(f"{v:.6f} V {w:.6f} W" for v, w in solve(supply, out, branches)))
