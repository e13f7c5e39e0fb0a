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
    def __init__(self, cm3, elastic, gas, charge, full, leak, grip):
        self.v, self.e, self.gas, self.pz, self.pf, self.g = cm3 * 1e-6, elastic, gas, charge, full, leak
        self.grip = grip

    def oil(self, p, celsius):
        rise = celsius - 20.0
        box = self.v * (1 + 3 * METAL * rise) + self.grip * rise + self.e * (p - self.pz)
        if self.gas:
            volume, precharge = self.gas[0] * 1e-6, self.gas[1] * 1e5
            filled = density(precharge + P_ATM, T1)
            box += volume * max(0.0, 1 - filled / density(p + P_ATM, celsius + 273.15))
        box -= AIR * self.v * P_ATM / (p + P_ATM) * (celsius + 273.15) / T1
        return box * math.exp(-ALPHA * rise + (p - self.pf) / K)

    def pressure(self, n, celsius):
        if self.oil(0.0, celsius) > n:
            return 0.0
        return brentq(lambda p: self.oil(p, celsius) - n, 0.0, 8e8, xtol=1e-6, rtol=1e-14)


def viscosity(celsius):
    """ASTM D341 through 32 mm2/s at 40 and 5.36 mm2/s at 100 degC."""
    y = [math.log10(math.log10(nu + 0.7)) for nu in (32.0, 5.36)]
    x = [math.log10(t + 273.15) for t in (40.0, 100.0, celsius)]
    return 10 ** 10 ** (y[0] + (y[1] - y[0]) * (x[2] - x[0]) / (x[1] - x[0])) - 0.7


class Circuit:
    """With `reduced` None all is in `full`. Grips in m3/K, leaks in cm3/min at 350 bar."""

    def __init__(self, full, reduced, pf, s, relief, gas, closing, leaks, *, relief_reduced=None, dwell=0,
                 grips=(0.0, 0.0), stated=None):
        self.single = reduced is None
        s = math.inf if self.single else s
        self.pf, self.s, self.relief, self.closing, self.gas, self.leaks = pf * 1e5, s * 1e5, relief, closing, gas, leaks
        self.relief_reduced, self.dwell, self.grips, self.stated = relief_reduced, dwell, grips, stated
        self.cm3, self.p1 = (full, reduced), min(self.pf, self.s)
        g = [leak / 6e7 / 350e5 for leak in leaks]
        self.f = Zone(full, 2e-14, gas[0], self.pf, self.pf, g[0], grips[0])
        self.r = None if self.single else Zone(reduced, 3e-14, gas[1], self.p1, self.pf, g[1], grips[1])

    def arguments(self):
        gas = lambda one: f"{one[0]:g}@{one[1]:g}" if one else "none"
        stated = {"full": f"{self.cm3[0]} cm3", "full_pressure": f"{self.pf / 1e5:g} bar",
                  "full_relief": f"{self.relief or 9999} bar", "closing": f"{self.closing} cm3",
                  "full_gas": gas(self.gas[0]), "full_leak": f"{self.leaks[0]} cm3/min"}
        if not self.single:
            stated |= {"reduced": f"{self.cm3[1]} cm3", "setting": f"{self.s / 1e5:g} bar",
                       "reduced_gas": gas(self.gas[1]), "reduced_leak": f"{self.leaks[1]} cm3/min"}
        if self.relief_reduced:
            stated["reduced_relief"] = f"{self.relief_reduced} bar"
        if self.dwell:
            stated["dwell"] = f"{self.dwell} s"
        if any(self.grips):
            stated |= {"full_grip": self.grips[0], "reduced_grip": self.grips[1]}
        if self.stated is not None:
            stated["leak_mm2_s"] = self.stated
        return stated

    def q(self, p):
        return min(p, self.s)

    def thinner(self, celsius):
        return 1.0 if self.stated is None else (self.stated or viscosity(20.0)) / viscosity(celsius)

    def behind(self, p, t):
        return 0.0 if self.single else self.r.oil(p, t)

    def oil(self, p, t):
        return self.f.oil(p, t) + self.behind(self.q(p), t)

    def state(self, n, t):
        if self.oil(0.0, t) > n:
            return 0.0
        return brentq(lambda p: self.oil(p, t) - n, 0.0, 8e8, xtol=1e-6, rtol=1e-14)

    def shared(self, n):
        reduced = self.behind(self.q(self.state(n, 20.0)), 20.0)
        return n - reduced, reduced

    def settled(self):
        charged = self.f.oil(self.pf, 20.0), self.behind(self.p1, 20.0)
        shrink = 1.0 if self.dwell >= 30 else math.exp(-ALPHA * ALPHA * T1 * self.pf / (RHO * HEAT))
        total = charged[0] * shrink - self.closing * 1e-6 + charged[1] * shrink
        return charged, self.state(total, 20.0), self.shared(total)

    def hot(self, t):
        charged, _, (full, reduced) = self.settled()
        hot_full = self.f.pressure(charged[0], t)
        hot = hot_full if self.single else self.r.pressure(charged[1], t)
        if self.relief and hot_full > self.relief * 1e5:
            hot_full = self.relief * 1e5
            full = min(full, self.f.oil(0.9 * hot_full, t))
        if self.relief_reduced and hot > self.relief_reduced * 1e5:
            hot = self.relief_reduced * 1e5
            reduced = min(reduced, self.r.oil(0.9 * hot, t))
        return hot_full, hot_full if self.single else hot, full, reduced

    def together(self, n, t, seconds, way=-1):
        g = self.thinner(t)

        def fall(_, y):
            p = self.state(y[0] * 1e-6, t)
            behind = 0.0 if self.single else self.r.g * self.q(p)
            return [way * g * (self.f.g * p + behind) * 1e6]
        run = solve_ivp(fall, (0, seconds), [n * 1e6], method="DOP853", rtol=1e-11, atol=1e-12, max_step=seconds / 40)
        return run.y[0][-1] * 1e-6

    def left_hot(self, full, reduced, hot, seconds):
        n, left, g = full + reduced, seconds, self.thinner(hot)
        if not self.single and self.r.pressure(reduced, hot) > self.s * (1 + 1e-9):
            at_setting = self.r.oil(self.s, hot)

            def apart(_, y):
                return [-g * self.f.g * self.f.pressure(y[0] * 1e-6, hot) * 1e6,
                        -g * self.r.g * self.r.pressure(y[1] * 1e-6, hot) * 1e6]
            event = lambda _, y: y[1] - at_setting * 1e6
            event.terminal = True
            run = solve_ivp(apart, (0, seconds), [full * 1e6, reduced * 1e6], method="DOP853", rtol=1e-11, atol=1e-12,
                            events=event, max_step=seconds / 40)
            n, left = (run.y[0][-1] + run.y[1][-1]) * 1e-6, seconds - run.t[-1]
        return self.together(n, hot, left) if left > 0 else n

    def held(self, cold, hot, seconds):
        _, _, full, reduced = self.hot(hot)
        by_cold = self.q(self.state(self.together(full + reduced, cold, seconds), cold))
        return min(by_cold, self.q(self.state(self.left_hot(full, reduced, hot, seconds), cold)))

    def lowest_oil(self, cold, hot, seconds, lowest):
        needed = self.oil(lowest, cold)
        by_cold = self.together(needed, cold, seconds, way=1)
        by_hot = brentq(lambda n: (self.left_hot(*self.shared(n), hot, seconds) - needed) * 1e6,
                        needed, needed + 5e-6, xtol=1e-18, rtol=1e-13)
        return max(by_cold, by_hot)


CIRCUITS = [
    Circuit(80, 60, 250, 120, None, (None, None), 0.0, (0.002, 0.003)),
    Circuit(80, 60, 250, 120, 300, (None, None), 0.1, (0.002, 0.003)),
    Circuit(120, 90, 200, 150, None, ((20, 90), None), 0.05, (0.01, 0.004)),
    Circuit(120, 90, 200, 150, 230, (None, (30, 70)), 0.05, (0.01, 0.02)),
    Circuit(60, 140, 320, 100, 340, ((10, 200), (15, 60)), 0.1, (0.02, 0.01)),
    Circuit(60, 140, 140, 180, None, ((10, 80), (15, 60)), 0.0, (0.01, 0.01)),
    Circuit(80, 60, 250, 120, None, (None, None), 0.02, (0.002, 0.003), relief_reduced=150, dwell=45),
    Circuit(60, 140, 320, 100, 340, (None, (15, 60)), 0.05, (0.004, 0.002), grips=(0.0, -9e-9), stated=0),
    Circuit(120, 90, 200, 150, None, ((20, 90), None), 0.0, (0.0, 0.02), grips=(4e-9, 2e-8), stated=46),
    Circuit(150, None, 180, None, None, (None, None), 0.03, (0.002,), stated=0),
    Circuit(150, None, 180, None, 240, ((25, 90), None), 0.03, (0.02,), grips=(-5e-9, 0.0), stated=32),
    Circuit(150, None, 180, None, None, (None, None), 0.0, (0.003,), dwell=60, grips=(1.2e-7, 0.0), stated=0),
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
        minimum = 0.6 * min(c.s, c.pf)
        low = c.lowest_oil(12.0, 32.0, 3600.0, minimum)
        asked = {**warm, "time": "60 min", "pressure_min": f"{minimum!r} Pa"}
        add("lowest_oil", asked, low * 1e6, "cm3")
        for t in (12.0, 20.0, 26.0, 32.0):
            at = {**asked, "temperature": f"{t} degC", "accuracy": "4 bar"}
            add("lowest_reading", {**at, "zone": "full"}, c.state(low, t) / 1e5 + 4.0, "bar")
            zones = {"full": c.f} | ({} if c.single else {"reduced": c.r})
            for name, zone in zones.items():
                held = zone.oil(400e5, 32.0)
                at = {**warm, "temperature": f"{t} degC", "accuracy": "4 bar", "rating": "400 bar", "zone": name}
                add("highest_reading", at, zone.pressure(held, t) / 1e5 - 4.0, "bar")
    write("zones.csv", ["CoolProp", "scipy"], rows, "make_zones.py")


if __name__ == "__main__":
    main()
