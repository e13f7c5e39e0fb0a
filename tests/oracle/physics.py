"""Formulas of the contract, SI units, None = unknown."""
import functools
import math

import CoolProp
from CoolProp.CoolProp import AbstractState
from scipy.integrate import quad
from scipy.optimize import brentq

P_ATM = 101325.0
T_FILL = 293.15
R_N2 = 8.31451 / 0.02801348
_N2 = AbstractState("HEOS", "Nitrogen")
_N2.specify_phase(CoolProp.iphase_supercritical_gas)


def add(*xs):
    """Sum, unknown where one is."""
    return None if any(x is None for x in xs) else math.fsum(xs)


@functools.lru_cache(maxsize=200000)
def density(p_abs, t, model):
    """(density, d density / d pressure) of nitrogen."""
    if model == "ideal":
        return p_abs / (R_N2 * t), 1 / (R_N2 * t)
    _N2.update(CoolProp.PT_INPUTS, p_abs, t)
    return _N2.rhomass(), _N2.first_partial_deriv(CoolProp.iDmass, CoolProp.iP, CoolProp.iT)


class Gas:
    """Accumulators of one side: [(n × gas_volume, precharge)]."""

    def __init__(self, cells, model):
        self.model = model
        self.cells = [(v, density(pc + P_ATM, T_FILL, model)[0]) for v, pc in cells]

    def oil(self, p, t):
        if not self.cells:
            return 0.0
        rho = density(p + P_ATM, t, self.model)[0]
        return math.fsum(v * max(0.0, 1 - r0 / rho) for v, r0 in self.cells)

    def slope(self, p, t):
        if not self.cells:
            return 0.0
        rho, drho = density(p + P_ATM, t, self.model)
        return math.fsum(v * r0 * drho / rho**2 for v, r0 in self.cells if rho > r0)

    def kinks(self, t):
        """Gauge pressures at which an accumulator starts to take oil."""
        out = []
        for _, r0 in self.cells:
            f = lambda p: density(p + P_ATM, t, self.model)[0] - r0
            if f(0.0) < 0:
                hi = 1e6
                while f(hi) < 0:
                    hi *= 2
                out.append(brentq(f, 0.0, hi, xtol=1e-7, rtol=1e-14))
        return out


class Zone:
    """Oil trapped in one zone; every oil volume is referred to the state at charge (T1, p_full)."""

    def __init__(self, v_t, c_el, gas, grip, fluid, a_metal, p_z, p_full, t1):
        self.v_t, self.c_el, self.gas, self.grip, self.p_z, self.p_full, self.t1 = v_t, c_el, gas, grip, p_z, p_full, t1
        self.k, self.alpha, self.air, self.a3 = (fluid["bulk_modulus_high"], fluid["thermal_expansion"], fluid["free_air_low"],
                                                 3 * a_metal)

    def box(self, p, t):
        dt = t - self.t1
        v_x = self.air * self.v_t * (P_ATM / (p + P_ATM)) * (t / self.t1)
        return self.v_t * (1 + self.a3 * dt) + self.grip * dt + self.c_el * (p - self.p_z) + self.gas.oil(p, t) - v_x

    def m(self, p, t):
        return self.box(p, t) * math.exp(-self.alpha * (t - self.t1)) * math.exp((p - self.p_full) / self.k)

    def dm(self, p, t):
        d_x = -self.air * self.v_t * P_ATM / (p + P_ATM) ** 2 * (t / self.t1)
        e = math.exp(-self.alpha * (t - self.t1)) * math.exp((p - self.p_full) / self.k)
        return e * (self.c_el + self.gas.slope(p, t) - d_x + self.box(p, t) / self.k)


class State:
    """One or two zones as one body of oil: `full` at p, `reduced` at min(p, s)."""

    def __init__(self, full, reduced=None, s=math.inf):
        self.full, self.reduced, self.s = full, reduced, s

    def q(self, p):
        return min(p, self.s)

    def m(self, p, t):
        return (self.full.m(p, t) if self.full else 0.0) + (self.reduced.m(self.q(p), t) if self.reduced else 0.0)

    def dm(self, p, t):
        return (self.full.dm(p, t) if self.full else 0.0) + (self.reduced.dm(p, t) if self.reduced and p < self.s else 0.0)

    def pressure(self, n, t):
        f = lambda p: self.m(p, t) - n
        if f(0.0) >= 0:
            return 0.0
        hi = 1e6
        while f(hi) < 0:
            if hi > 1e12:
                return math.inf
            hi *= 1.5
        p = brentq(f, 0.0, hi, xtol=1e-7, rtol=1e-14)
        return 0.0 if p < 1 else p

    def flow(self, p, g_full, g_reduced):
        return g_full * p + g_reduced * self.q(p)

    def leak_time(self, p, start, t, g_full, g_reduced):
        """Seconds from start down to p."""
        if p >= start:
            return 0.0
        if not (g_full or g_reduced):
            return math.inf
        kinks = [k for z in (self.full, self.reduced) if z for k in z.gas.kinks(t)] + [self.s]
        ends = [math.log(p), *sorted(math.log(x) for x in kinks if p < x < start), math.log(start)]
        f = lambda u: self.dm(math.exp(u), t) * math.exp(u) / self.flow(math.exp(u), g_full, g_reduced)
        return sum(quad(f, a, b, epsabs=0, epsrel=1e-11, limit=200)[0] for a, b in zip(ends, ends[1:]) if b > a)

    def after(self, seconds, start, t, g_full, g_reduced):
        if start < 1 or self.leak_time(1.0, start, t, g_full, g_reduced) <= seconds:
            return 0.0
        if seconds == 0 or not (g_full or g_reduced):
            return start
        f = lambda u: self.leak_time(math.exp(u), start, t, g_full, g_reduced) - seconds
        return math.exp(brentq(f, 0.0, math.log(start), xtol=1e-13, rtol=1e-14))


def tube_compliance(n, d, D, length, e, nu):
    return n * math.pi / 4 * d**2 * length * (3 * (1 - 2 * nu) * d**2 + 2 * (1 + nu) * D**2) / (e * (D**2 - d**2))


def tube_pressure(tensile, factor, d, D):
    return tensile / factor * (D**2 - d**2) / (D**2 + d**2)


def viscosity(t, v40, v100):
    """ASTM D341 through two points, mm²/s."""
    z = lambda v: math.log10(math.log10(v + 0.7))
    b = (z(v40) - z(v100)) / (math.log10(373.15) - math.log10(313.15))
    a = z(v40) + b * math.log10(313.15)
    return 10 ** (10 ** (a - b * math.log10(t))) - 0.7


def laminar(mu, length, d):
    return 128 * mu * length / (math.pi * d**4)
