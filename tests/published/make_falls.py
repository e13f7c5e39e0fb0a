"""Write falls.csv: how far pressure falls in circuits of every build, by other libraries; run by hand beside make_tables.py.

Circuits are drawn at random from a seed, one of each build in turn: one zone or two, accumulators in neither, either or
both, relief valves that open and reseat, leaks by viscosity, long falls on which gas runs empty, charges up to 1500 bar.
Roots are scipy's brentq, falls of pressure scipy's solve_ivp (DOP853) on the oil balance dN/dt = -Q, nitrogen is
CoolProp's. Nothing here comes from this project's own code.
"""

import math
import random

import CoolProp
from make_tables import NITROGEN, P_ATM, VERSIONS, write
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

GAS = CoolProp.AbstractState("HEOS", NITROGEN)
GAS.specify_phase(CoolProp.iphase_supercritical_gas)
RHO, HEAT, RESEAT, SETTLED = 870.0, 1900.0, 0.9, 30.0
SOURCE = f"scipy {VERSIONS['scipy']} brentq and solve_ivp (DOP853) on the oil balance, CoolProp {VERSIONS['CoolProp']}"
HIGHEST = 5e8


def density(absolute, temperature):
    GAS.update(CoolProp.PT_INPUTS, absolute, temperature)
    return GAS.rhomass()


def viscosity(temperature):
    """ASTM D341 through 32 mm2/s at 40 and 5.36 mm2/s at 100 degC."""
    y = [math.log10(math.log10(nu + 0.7)) for nu in (32.0, 5.36)]
    x = [math.log10(t) for t in (313.15, 373.15, temperature)]
    return 10 ** 10 ** (y[0] + (y[1] - y[0]) * (x[2] - x[0]) / (x[1] - x[0])) - 0.7


class Oil:
    def __init__(self, draw):
        self.k = draw.uniform(0.9e9, 2.5e9)
        self.air = draw.choice([0.0, 0.003, 0.02])
        self.alpha = draw.uniform(5e-4, 9e-4)
        self.metal = draw.choice([11.7e-6, 23e-6])
        self.t1 = 273.15 + draw.uniform(12, 28)


class Zone:
    """One zone; its leak is set once the fall that is wanted is known."""

    def __init__(self, draw, oil, pressure, full_pressure, with_gas):
        self.oil, self.pz, self.pf = oil, pressure, full_pressure
        self.v = draw.uniform(20e-6, 900e-6)
        self.e = self.v * draw.choice([0.0, draw.uniform(0, 5e-10)])
        self.grip = self.v * draw.choice([0.0, draw.uniform(-1e-5, 1e-5)])
        self.gas = []
        for _ in range(draw.choice([1, 1, 2]) if with_gas else 0):
            precharge = max(2e5, pressure * draw.uniform(0.1, 1.05))
            self.gas.append((draw.uniform(5e-6, 200e-6), precharge, density(precharge + P_ATM, 293.15)))
        self.relief, self.leak = None, 0.0

    def m(self, p, t):
        rise = t - self.oil.t1
        box = self.v * (1 + 3 * self.oil.metal * rise) + self.grip * rise + self.e * (p - self.pz)
        if self.gas:
            rho = density(p + P_ATM, t)
            box += sum(volume * max(0.0, 1 - filled / rho) for volume, _, filled in self.gas)
        box -= self.oil.air * self.v * P_ATM / (p + P_ATM) * t / self.oil.t1
        return box * math.exp(-self.oil.alpha * rise + (p - self.pf) / self.oil.k)

    def pressure(self, n, t):
        return pressure_of(lambda p: self.m(p, t) - n)

    def stated(self, name):
        gas = " + ".join(f"{volume * 1e6!r}@{precharge / 1e5!r}" for volume, precharge, _ in self.gas) or "none"
        stated = {name: f"{self.v * 1e6!r} cm3", f"{name}_elasticity": repr(self.e), f"{name}_gas": gas}
        stated |= {f"{name}_leak": f"{self.leak * 6e7 * 350e5!r} cm3/min", f"{name}_grip": repr(self.grip)}
        return stated | ({f"{name}_relief": f"{self.relief!r} Pa"} if self.relief else {})


def pressure_of(excess, near=None):
    """Where an excess of oil is nothing; 0 where there is always one."""
    if near:
        low, high = near * 0.97, near * 1.03
        if excess(low) < 0 < excess(high):
            return brentq(excess, low, high, xtol=1e-7, rtol=1e-14)
    if excess(0.0) > 0:
        return 0.0
    return brentq(excess, 0.0, 2e9, xtol=1e-7, rtol=1e-14)


class Circuit:
    def __init__(self, draw, *, two, gas_full, gas_reduced, opens, dry):
        self.oil = Oil(draw)
        self.pf = draw.choice([draw.uniform(80e5, 400e5), draw.uniform(80e5, 400e5), draw.uniform(1000e5, 1500e5)])
        self.s = self.pf * draw.uniform(0.3, 0.95) if two else math.inf
        self.p1 = min(self.pf, self.s)
        self.full = Zone(draw, self.oil, self.pf, self.pf, gas_full)
        self.reduced = Zone(draw, self.oil, self.p1, self.pf, gas_reduced) if two else None
        self.dwell = draw.choice([0.0, 45.0])
        self.closing = draw.choice([0.0, 0.0005 * self.full.v])
        self.stated_at = draw.choice([None, 0.0, 46.0])
        self.cold, self.hot = self.oil.t1 - draw.uniform(0, 8), self.oil.t1 + draw.uniform(0, 14)
        for zone in self.zones() if opens else []:
            zone.relief = draw.uniform(1.02, 1.12) * zone.pz
        # So that the cold way falls to a part of what it starts from, most of it out of one zone or both.
        self.seconds = draw.uniform(1, 60) * 3600.0
        shares = [draw.choice([1.0, 0.0, 1.0, draw.random()]), draw.choice([1.0, draw.random()])]
        start = max(1e5, self.left()[1])
        part = draw.uniform(0.01, 0.1) if dry else draw.uniform(0.1, 0.9)
        end = start * part
        leaked = self.m(start, self.cold) - self.m(end, self.cold)
        mean = (start - end) / math.log(start / end)
        for zone, share in zip(self.zones(), shares):
            zone.leak = share * leaked / (self.seconds * mean * self.thinner(self.cold))
        if not two:
            self.full.leak = self.full.leak or leaked / (self.seconds * mean * self.thinner(self.cold))

    def zones(self):
        return [self.full] + ([self.reduced] if self.reduced else [])

    def thinner(self, t):
        return 1.0 if self.stated_at is None else (self.stated_at or viscosity(293.15)) / viscosity(t)

    def behind(self, p, t):
        return self.reduced.m(min(p, self.s), t) if self.reduced else 0.0

    def m(self, p, t):
        return self.full.m(p, t) + self.behind(p, t)

    def state(self, n, t, near=None):
        return pressure_of(lambda p: self.m(p, t) - n, near)

    def charged(self):
        return [zone.m(zone.pz, self.oil.t1) for zone in self.zones()]

    def settled(self):
        oil = self.oil
        warmth = 0.0 if self.dwell >= SETTLED else oil.alpha * oil.t1 * self.pf / (RHO * HEAT)
        n = [m * math.exp(-oil.alpha * warmth) for m in self.charged()]
        n[0] -= self.closing
        return self.shared(sum(n))

    def shared(self, n):
        behind = self.behind(self.state(n, self.oil.t1), self.oil.t1)
        return [n - behind, behind] if self.reduced else [n]

    def hot_pressures(self):
        return [zone.pressure(n, self.hot) for zone, n in zip(self.zones(), self.charged())]

    def left(self):
        """Oil of each zone after relief valves have closed again, and the cold state."""
        kept = []
        for zone, n, p in zip(self.zones(), self.settled(), self.hot_pressures()):
            opened = zone.relief is not None and p > zone.relief
            kept.append(min(n, zone.m(RESEAT * zone.relief, self.hot)) if opened else n)
        return kept, self.state(sum(kept), self.cold)

    def together(self, n, t, seconds, way=-1):
        leaks, near = [zone.leak * self.thinner(t) for zone in self.zones()], [None]

        def fall(_, y):
            p = near[0] = self.state(y[0] * 1e-6, t, near[0])
            return [way * 1e6 * (leaks[0] * p + (leaks[1] * min(p, self.s) if self.reduced else 0.0))]
        too_much = lambda _, y: self.m(HIGHEST, t) * 1e6 - y[0]
        too_much.terminal = True
        run = solve_ivp(fall, (0, seconds), [n * 1e6], method="DOP853", rtol=1e-11, atol=1e-12, max_step=seconds / 25,
                        events=too_much)
        return run.y[0][-1] * 1e-6 if run.status == 0 else math.inf

    def left_hot(self, kept, seconds):
        hot, g = self.hot, self.thinner(self.hot)
        n, rest = sum(kept), seconds
        if self.reduced and self.reduced.pressure(kept[1], hot) > self.s * (1 + 1e-9):
            at_setting = self.reduced.m(self.s, hot)

            def apart(_, y):
                return [-g * zone.leak * zone.pressure(part * 1e-6, hot) * 1e6 for zone, part in zip(self.zones(), y)]
            reached = lambda _, y: y[1] - at_setting * 1e6
            reached.terminal = True
            run = solve_ivp(apart, (0, seconds), [part * 1e6 for part in kept], method="DOP853", rtol=1e-11, atol=1e-12,
                            events=reached, max_step=seconds / 25)
            n, rest = (run.y[0][-1] + run.y[1][-1]) * 1e-6, seconds - run.t[-1]
        return self.together(n, hot, rest) if rest > 0 else n

    def held(self):
        kept, _ = self.left()
        return min(self.state(self.together(sum(kept), self.cold, self.seconds), self.cold),
                   self.state(self.left_hot(kept, self.seconds), self.cold))

    def lowest_oil(self, lowest):
        needed = self.m(lowest, self.cold)
        by_cold = self.together(needed, self.cold, self.seconds, way=1)
        excess = lambda n: (self.left_hot(self.shared(n), self.seconds) - needed) * 1e6
        high = needed
        for _ in range(30):
            high += 0.1 * needed
            if high > self.m(HIGHEST, self.cold):
                return math.inf
            if excess(high) > 0:
                break
        return max(by_cold, brentq(excess, needed, high, xtol=1e-18, rtol=1e-13))

    def stated(self):
        oil = self.oil
        stated = {"full_pressure": f"{self.pf!r} Pa", "bulk_modulus": f"{oil.k!r} Pa", "free_air": repr(oil.air),
                  "thermal_expansion": repr(oil.alpha), "metal_expansion": repr(oil.metal), "charge_temperature": repr(oil.t1),
                  "dwell": f"{self.dwell} s", "closing": f"{self.closing * 1e6!r} cm3",
                  "lowest": repr(self.cold), "highest": repr(self.hot)}
        if self.stated_at is not None:
            stated["leak_mm2_s"] = repr(self.stated_at)
        stated |= self.full.stated("full")
        return stated | ({"setting": f"{self.s!r} Pa"} | self.reduced.stated("reduced") if self.reduced else {})


BUILDS = [
    dict(two=two, gas_full=full, gas_reduced=reduced, opens=opens, dry=dry)
    for two in (False, True)
    for full in (False, True)
    for reduced in ((False, True) if two else (False,))
    for opens in (False, True)
    for dry in (False, True)
]


def rows_of(circuit):
    stated = circuit.stated()
    kept, cold = circuit.left()
    clamps = lambda p: min(p, circuit.s)
    row = lambda name, more, value, unit, off: (name, {**stated, **more}, value, off * value, unit, SOURCE)
    hot = [min(p, zone.relief or math.inf) for zone, p in zip(circuit.zones(), circuit.hot_pressures())]
    yield row("hot_pressure", {"zone": "full"}, hot[0] / 1e5, "bar", 1e-8)
    yield row("hot_pressure", {}, hot[-1] / 1e5, "bar", 1e-8)
    yield row("oil_left", {}, sum(kept) * 1e6, "cm3", 1e-8)
    yield row("cold_pressure", {}, clamps(cold) / 1e5, "bar", 1e-7)
    time = {"time": f"{circuit.seconds!r} s"}
    held = circuit.held()
    if held < 1.0:
        return
    yield row("holding_pressure", {**time, "zone": "full"}, held / 1e5, "bar", 1e-6)
    yield row("holding_pressure", time, clamps(held) / 1e5, "bar", 1e-6)
    if held < circuit.s * 0.999:
        yield row("hold_reserve", {"pressure": f"{held!r} Pa"}, circuit.seconds / 60, "min", 1e-6)
    wanted = 0.5 * clamps(cold)
    oil = circuit.lowest_oil(wanted)
    if math.isfinite(oil):
        yield row("lowest_oil", {**time, "pressure_min": f"{wanted!r} Pa"}, oil * 1e6, "cm3", 1e-8)


def main():
    rows = []
    for number, build in enumerate(BUILDS * 3):
        draw = random.Random(number)
        while True:
            circuit = Circuit(draw, **build)
            # Slack in the cold, nothing is left to leak.
            if circuit.left()[1] > 10e5:
                break
        rows += rows_of(circuit)
        print(number, build, len(rows), flush=True)
    write("falls.csv", ["CoolProp", "scipy"], rows, "make_falls.py")


if __name__ == "__main__":
    main()
