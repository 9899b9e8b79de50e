#!/usr/bin/python3
"""How hot a cold start makes a time-lag fuse, for surge_test.go, by scipy's solve_ivp.

One heater, everything over its hot value: resistance x^1.2 at temperature x, heat loss
such that the steady current is V^0.6, a sixth of the resistance cold, and 11 s until it has
80 % of its volts from four times them through three times its ohms, times 1.5 for a slow
one. A series resistance makes the first current `cold` times the warm one, the supply holds
it at `limit`. The fuse is one pole of 0.87 s in its current squared. Prints the current that
would leave the fuse as hot for good.
"""
import numpy as np
from scipy.integrate import solve_ivp

P, N, RATIO, FUSE_S, SLOW, WARM_UP_S = 1.2, 0.6, 6.0, 0.87, 1.5, 11.0
M = P * (1 + N) / (1 - N)
COLD = RATIO ** (-1 / P)


def rate(x, i):
    loss = (x**M - COLD**M) / (1 - COLD**M)
    return (1 - COLD) * (i * i * x**P - loss)


def warm_up():
    def reached(_, y):
        return 4 / (3 + y[0] ** P) * y[0] ** P - 0.8

    reached.terminal = True
    s = solve_ivp(lambda _, y: [rate(y[0], 4 / (3 + y[0] ** P))], [0, 100], [COLD], events=reached, rtol=1e-9, atol=1e-12)
    return s.t_events[0][0]


def hottest(cold, limit, tau):
    series = max(0, (1 - cold / RATIO) / (cold - 1))

    def amps(x):
        return min(limit, (series + 1) / (series + x**P))

    def slope(_, y):
        return [rate(y[0], amps(y[0])) / tau, (amps(y[0]) ** 2 - y[1]) / FUSE_S]

    s = solve_ivp(slope, [0, 60], [COLD, 0], rtol=1e-8, atol=1e-10, max_step=0.02)
    return np.sqrt(s.y[1].max())


if __name__ == "__main__":
    tau = SLOW * WARM_UP_S / warm_up()
    for cold, limit in [(6, 6), (6, 3), (4, 4), (2, 2), (3, 1.5), (1.5, 1.5)]:
        print(f"{cold:g} {limit:g} {hottest(cold, limit, tau):.4f}")
