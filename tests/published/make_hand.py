"""Work out the circuits of `by_hand.csv` that need a root; run by hand, beside `worked_circuits.rs`.

One circuit of 160 bar at 20 degC: K = 1.5 GPa, 0.5 % of air, steel. 64.43 cm3 stand behind the check valve and yield
1.189e-15 m3/Pa; 1.5 m of hose more, 1.5 cm3 that yield 1.0405e-13 m3/Pa, stand ahead of it or behind it. Every figure is
the root of the oil balance written out here (scipy's brentq), every fall of pressure scipy's solve_ivp on dM/dt = -G p.
The pencil's line is printed beside it.
"""

import math

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

K, ALPHA, METAL, AIR, P_ATM, T1 = 1.5e9, 7e-4, 11.7e-6, 0.005, 101325.0, 293.15
BEHIND, WITH_HOSE = (64.43e-6, 1.189e-15), (65.93e-6, 1.189e-15 + 1.0405e-13)
LEAK = 0.004625e-6 / 60 / 350e5
HOURS = 8 * 3600.0


def oil(p, rise, zone, charged):
    volume, give = zone
    box = volume * (1 + 3 * METAL * rise) + give * (p - charged) - AIR * volume * P_ATM / (p + P_ATM) * (T1 + rise) / T1
    return box * math.exp(-ALPHA * rise + (p - charged) / K)


def pressure(m, rise, zone, charged):
    return brentq(lambda p: oil(p, rise, zone, charged) - m, 0.0, 2e8, xtol=1e-6)


def after(rise, zone, charged):
    return pressure(oil(charged, 0.0, zone, charged), rise, zone, charged)


def leaked(start, rise, zone, charged, conductance):
    def slope(p):
        return (oil(p + 100, rise, zone, charged) - oil(p - 100, rise, zone, charged)) / 200
    run = solve_ivp(lambda _, p: -conductance * p / slope(p[0]), (0, HOURS), [start], rtol=1e-11, atol=1e-6)
    return float(run.y[0][-1])


def pencil(rise, zone):
    """Bar for a change of temperature, without air: (alpha - 3 a) dT/(1/K + C/V)."""
    return (ALPHA - 3 * METAL) * rise / (1 / K + zone[1] / zone[0]) / 1e5


def hot_way(rise, conductance):
    """Eight hours so much warmer than at charge, then cooled to 18 degC."""
    end = leaked(after(rise, WITH_HOSE, 160e5), rise, WITH_HOSE, 160e5, conductance)
    return pressure(oil(end, rise, WITH_HOSE, 160e5), -2, WITH_HOSE, 160e5)


def reseated(share):
    """150 bar with the hose; a relief valve of 165 bar opens at 35 degC, and the circuit cools to 12 degC."""
    return pressure(oil(share * 165e5, 15, WITH_HOSE, 150e5), -8, WITH_HOSE, 150e5)


def main():
    bar = lambda name, value, by_pencil=None: print(f"{name:<58} {value / 1e5!r}", by_pencil or "")
    bar("hose behind, 10 K colder", after(-10, WITH_HOSE, 160e5), 160 - pencil(10, WITH_HOSE))
    bar("hose ahead, 10 K colder", after(-10, BEHIND, 160e5), 160 - pencil(10, BEHIND))
    bar("hose ahead, 20 K warmer", after(20, BEHIND, 160e5), 160 + pencil(20, BEHIND))
    bar("a bare 10 cm3 of 242 bar, 12 K warmer", after(12, (10e-6, 0.0), 242e5), 242 + pencil(12, (10e-6, 0.0)))
    cold = after(-2, WITH_HOSE, 160e5)
    bar("cold way, 8 h at 18 degC", leaked(cold, -2, WITH_HOSE, 160e5, LEAK))
    bar("charged to 154.1 bar at 18 degC and held there", leaked(154.1e5, 0, WITH_HOSE, 154.1e5, LEAK))
    bar("hot way, 8 h at 20 degC", hot_way(0, LEAK))
    bar("hot way, 8 h at 35 degC", hot_way(15, LEAK))
    bar("hot way, oil thinner by 86.8/40.0", hot_way(15, LEAK * 86.8 / 40.0))
    bar("reseat at 0.9", reseated(0.9))
    bar("reseat at once", reseated(1.0))
    bar("165 bar is exceeded", after(15, WITH_HOSE, 150e5))


if __name__ == "__main__":
    main()
