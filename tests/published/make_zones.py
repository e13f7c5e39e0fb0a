"""Write zones.csv: circuits of two zones by other libraries; run by hand beside make_tables.py.

Roots are scipy's brentq, falls of pressure scipy's solve_ivp on the oil balance dN/dt = -Q,
nitrogen is CoolProp's. Nothing here comes from this project's own code.
"""

import math

from make_tables import P_ATM, VERSIONS, density, write
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

K, ALPHA, METAL, AIR, RHO, HEAT = 1.6e9, 7e-4, 11.7e-6, 0.003, 870.0, 1900.0
SOURCE = f"scipy {VERSIONS['scipy']} brentq and solve_ivp (DOP853) on the oil balance, CoolProp {VERSIONS['CoolProp']}"
T1 = 293.15


class Zone:
    def __init__(self, cm3, elastic, gas, charge, full, leak):
        self.v, self.e, self.gas, self.pz, self.pf, self.g = cm3 * 1e-6, elastic, gas, charge, full, leak

    def oil(self, p, celsius):
        rise = celsius - 20.0
        box = self.v * (1 + 3 * METAL * rise) + self.e * (p - self.pz)
        if self.gas:
            volume, precharge = self.gas[0] * 1e-6, self.gas[1] * 1e5
            filled = density(precharge + P_ATM, T1)
            box += volume * max(0.0, 1 - filled / density(p + P_ATM, celsius + 273.15))
        box -= AIR * self.v * P_ATM / (p + P_ATM) * (celsius + 273.15) / T1
        return box * math.exp(-ALPHA * rise + (p - self.pf) / K)

    def pressure(self, n, celsius):
        if self.oil(0.0, celsius) > n:
            return 0.0
        return brentq(lambda p: self.oil(p, celsius) - n, 0.0, 3e8, xtol=1e-6, rtol=1e-14)


class Circuit:
    def __init__(self, full, reduced, pf, s, relief, gas, closing, leaks):
        self.pf, self.s, self.relief, self.closing, self.gas, self.leaks = pf * 1e5, s * 1e5, relief, closing, gas, leaks
        self.cm3, p1 = (full, reduced), min(self.pf, self.s)
        g = [leak / 6e7 / 350e5 for leak in leaks]
        self.f = Zone(full, 2e-14, gas[0], self.pf, self.pf, g[0])
        self.r = Zone(reduced, 3e-14, gas[1], p1, self.pf, g[1])
        self.p1 = p1

    def arguments(self):
        gas = lambda one: f"{one[0]:g}@{one[1]:g}" if one else "none"
        return {"full": f"{self.cm3[0]} cm3", "reduced": f"{self.cm3[1]} cm3",
                "full_pressure": f"{self.pf / 1e5:g} bar", "setting": f"{self.s / 1e5:g} bar",
                "full_relief": f"{self.relief or 9999} bar", "closing": f"{self.closing} cm3",
                "full_gas": gas(self.gas[0]), "reduced_gas": gas(self.gas[1]),
                "full_leak": f"{self.leaks[0]} cm3/min", "reduced_leak": f"{self.leaks[1]} cm3/min"}

    def q(self, p):
        return min(p, self.s)

    def oil(self, p, t):
        return self.f.oil(p, t) + self.r.oil(self.q(p), t)

    def state(self, n, t):
        if self.oil(0.0, t) > n:
            return 0.0
        return brentq(lambda p: self.oil(p, t) - n, 0.0, 3e8, xtol=1e-6, rtol=1e-14)

    def settled(self):
        charged = self.f.oil(self.pf, 20.0), self.r.oil(self.p1, 20.0)
        shrink = math.exp(-ALPHA * ALPHA * T1 * self.pf / (RHO * HEAT))
        total = charged[0] * shrink - self.closing * 1e-6 + charged[1] * shrink
        p = self.state(total, 20.0)
        reduced = self.r.oil(self.q(p), 20.0)
        return charged, p, (total - reduced, reduced)

    def hot(self, t):
        charged, _, (full, reduced) = self.settled()
        hot_full, hot = self.f.pressure(charged[0], t), self.r.pressure(charged[1], t)
        if self.relief and hot_full > self.relief * 1e5:
            hot_full = self.relief * 1e5
            full = min(full, self.f.oil(0.9 * hot_full, t))
        return hot_full, hot, full, reduced

    def together(self, n, t, seconds):
        def fall(_, y):
            p = self.state(y[0] * 1e-6, t)
            return [-(self.f.g * p + self.r.g * self.q(p)) * 1e6]
        run = solve_ivp(fall, (0, seconds), [n * 1e6], method="DOP853", rtol=1e-11, atol=1e-12, max_step=seconds / 40)
        return run.y[0][-1] * 1e-6

    def held(self, cold, hot, seconds):
        _, _, full, reduced = self.hot(hot)
        by_cold = self.q(self.state(self.together(full + reduced, cold, seconds), cold))
        n, left = full + reduced, seconds
        if self.r.pressure(reduced, hot) > self.s * (1 + 1e-9):
            at_setting = self.r.oil(self.s, hot)
            def apart(_, y):
                return [-self.f.g * self.f.pressure(y[0] * 1e-6, hot) * 1e6,
                        -self.r.g * self.r.pressure(y[1] * 1e-6, hot) * 1e6]
            event = lambda _, y: y[1] - at_setting * 1e6
            event.terminal = True
            run = solve_ivp(apart, (0, seconds), [full * 1e6, reduced * 1e6], method="DOP853", rtol=1e-11, atol=1e-12,
                            events=event, max_step=seconds / 40)
            n, left = (run.y[0][-1] + run.y[1][-1]) * 1e-6, seconds - run.t[-1]
        if left > 0:
            n = self.together(n, hot, left)
        return min(by_cold, self.q(self.state(n, cold)))


CIRCUITS = [
    Circuit(80, 60, 250, 120, None, (None, None), 0.0, (0.002, 0.003)),
    Circuit(80, 60, 250, 120, 300, (None, None), 0.1, (0.002, 0.003)),
    Circuit(120, 90, 200, 150, None, ((20, 90), None), 0.05, (0.01, 0.004)),
    Circuit(120, 90, 200, 150, 230, (None, (30, 70)), 0.05, (0.01, 0.02)),
    Circuit(60, 140, 320, 100, 340, ((10, 200), (15, 60)), 0.1, (0.02, 0.01)),
    Circuit(60, 140, 140, 180, None, ((10, 80), (15, 60)), 0.0, (0.01, 0.01)),
]


def main():
    rows = []
    for c in CIRCUITS:
        a = c.arguments()
        charged, p, split = c.settled()
        hot_full, hot, full, reduced = c.hot(32.0)
        warm = {**a, "lowest": "12 degC", "highest": "32 degC"}
        add = lambda name, extra, value, unit, off=1e-8: rows.append((name, extra, value, off * value, unit, SOURCE))
        add("charged_oil", a, sum(charged) * 1e6, "cm3")
        add("oil_at", {**a, "pressure": "90 bar"}, c.oil(90e5, 20.0) * 1e6, "cm3")
        add("settled_oil", a, split[0] * 1e6, "cm3")
        add("settled_pressure", a, c.q(p) / 1e5, "bar")
        add("hot_pressure", warm, hot / 1e5, "bar")
        add("hot_pressure", {**warm, "zone": "full"}, hot_full / 1e5, "bar")
        add("oil_left", warm, (full + reduced) * 1e6, "cm3")
        add("cold_pressure", warm, c.q(c.state(full + reduced, 12.0)) / 1e5, "bar")
        value = c.held(12.0, 32.0, 3600.0)
        add("holding_pressure", {**warm, "time": "60 min"}, value / 1e5, "bar", 1e-7)
        if value < c.s * 0.999:
            add("hold_reserve", {**warm, "pressure": f"{value!r} Pa"}, 60.0, "min", 1e-6)
    write("zones.csv", ["CoolProp", "scipy"], rows, "make_zones.py")


if __name__ == "__main__":
    main()
