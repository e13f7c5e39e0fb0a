#!/usr/bin/env python3
"""physics.py against values from outside; exit 1 on a miss. Source of each row beside it."""
import math
import sys

import physics as ph

PSI = 0.45359237 * 9.80665 / 0.0254**2
IN = 0.0254
rigid = dict(bulk_modulus_high=1.4e9, thermal_expansion=7e-4, free_air_low=0.0)
flat = ph.State(ph.Zone(500e-6, 0.0, ph.Gas([], "real"), 0.0, rigid, 0.0, 350e5, 350e5, 293.15))
g = 0.05e-6 / 60 / 350e5
n2 = lambda p, pc: ph.Gas([(1e-3, pc * 1e5 - ph.P_ATM)], "real").oil(p * 1e5 - ph.P_ATM, 293.15) * 1e6
tube = lambda D, t: ph.tube_pressure(50000 * PSI, 4, (D - 2 * t) * IN, D * IN) / PSI
ROWS = [
    ("tube 0.25 x 0.035 in", tube(0.25, 0.035), 3950, 60, "SAE J524/J525 nominal ratings, Lamé, printed to 50 psi"),
    ("tube 0.375 x 0.065 in", tube(0.375, 0.065), 5000, 60, "the same table"),
    ("tube 1.0 x 0.12 in", tube(1.0, 0.12), 3350, 60, "the same table"),
    ("nitrogen 100 bar 20 degC", ph.density(1e7, 293.15, "real")[0], 114.8417, 1e-3, "teqp, NIST"),
    ("nitrogen 200 bar 20 degC", ph.density(2e7, 293.15, "real")[0], 218.5444, 1e-3, "teqp, NIST"),
    ("oil of a 1 L accumulator, 60 bar abs, between 70 and 140", n2(140, 60) - n2(70, 60), 420.1086, 1e-3, "CoolProp 8, Span 2000"),
    ("the same, 180, 200 to 350 bar", n2(350, 180) - n2(200, 180), 321.0121, 1e-3, "CoolProp 8, Span 2000"),
    ("viscosity at 80 degC of 32/5.4", ph.viscosity(353.15, 32, 5.4), 8.5, 0.05, "ASTM D341 sheet, rounded"),
    ("laminar leak, 30 min", flat.after(1800, 350e5, 293.15, g, 0.0) / 1e5, 350 * math.exp(-1800 * g * 1.4e9 / 500e-6), 2.0,
     "exponential decay; the constant modulus form differs by (p0 - p)/K"),
    ("rigid box, 10 K warmer", (flat.pressure(flat.m(350e5, 293.15), 303.15) - 350e5) / 1e5, 7e-4 * 10 * 1.4e9 / 1e5, 1e-3, "dp = alpha K dT"),
]
bad = 0
for name, got, want, tol, source in ROWS:
    ok = abs(got - want) <= tol
    bad += not ok
    print("ok  " if ok else "MISS", name, f"{got:.7g}", f"{want:.7g}", "±", tol, "|", source)
sys.exit(bool(bad))
