"""Write the tables of expected values that come from other libraries.

Run by hand (pip install CoolProp fluids scipy numpy); `cargo test` only reads the tables.
None of these values comes from this project's own code: gas densities are CoolProp's, roots
scipy's brentq, falls of pressure scipy's solve_ivp on the oil balance, tubes scipy's
solve_bvp on the equation of equilibrium.
"""

import csv
import json
import math
import pathlib

import CoolProp
import fluids
import numpy as np
import scipy
from CoolProp.CoolProp import PropsSI, add_fluids_as_JSON, get_fluid_param_string
from fluids.control_valve import size_control_valve_l
from scipy.integrate import solve_bvp, solve_ivp
from scipy.optimize import brentq

HERE = pathlib.Path(__file__).parent
P_ATM = 101325.0
VERSIONS = {
    "CoolProp": CoolProp.__version__,
    "fluids": fluids.__version__,
    "scipy": scipy.__version__,
}


def nitrogen_as_published():
    """CoolProp's nitrogen with the reducing density of the paper, 11.1839 mol/dm3.

    CoolProp 8 carries 11.183901464580624 instead, its own refined critical point, which
    changes densities by up to 1e-7 of themselves.
    """
    fluid = json.loads(get_fluid_param_string("Nitrogen", "JSON"))[0]
    fluid["INFO"].update(NAME="NitrogenAsPublished", ALIASES=[], CAS="published",
                         REFPROP_NAME="N/A")
    fluid["EOS"][0]["STATES"]["reducing"]["rhomolar"] = 11183.9
    add_fluids_as_JSON("HEOS", json.dumps([fluid]))
    return "NitrogenAsPublished"


NITROGEN = nitrogen_as_published()


def write(name, libraries, rows, maker="make_tables.py"):
    """Rows are (function, arguments, expected, tolerance, unit, source)."""
    stated = ", ".join(f"{library} {VERSIONS[library]}" for library in libraries)
    with open(HERE / name, "w", newline="", encoding="utf-8") as file:
        file.write(f"# made by {maker} with {stated}\n")
        table = csv.writer(file, lineterminator="\n")
        table.writerow("function arguments expected tolerance unit source kind".split())
        for function, arguments, expected, tolerance, unit, source in rows:
            text = "; ".join(f"{key}={value}" for key, value in arguments.items())
            table.writerow([function, text, repr(float(expected)), f"{tolerance:.3g}", unit,
                            source, "other library"])


def density(pressure, temperature):
    """Of nitrogen; pressure absolute."""
    return PropsSI("D", "P", pressure, "T", temperature, NITROGEN)


def nitrogen_isotherms():
    source = f"CoolProp {CoolProp.__version__}, Nitrogen (Span et al. 2000) with the published reducing density"
    rows = []
    for celsius in (-20, 0, 20, 40, 60, 80):
        temperature = celsius + 273.15
        for bar in (1, 2, 5, 20, 50, 90, 140, 180, 250, 300, 350, 420, 500, 600, 700):
            value = density(bar * 1e5, temperature)
            rows.append(("density", {"absolute": f"{bar} bar", "temperature": f"{celsius} degC"},
                         value, 2e-9 * value, "kg/m3", source))
    for celsius in (-20, 20, 80):
        for rho in (1.0, 60.0, 220.0, 400.0, 550.0):
            value = PropsSI("P", "D", rho, "T", celsius + 273.15, NITROGEN) / 1e5
            rows.append(("pressure", {"density": rho, "temperature": f"{celsius} degC"}, value,
                         1e-10 * value, "bar", source))
    for low, middle, high in ((60, 70, 140), (90, 100, 200), (180, 200, 350), (270, 300, 350)):
        for celsius in (-10, 20, 60):
            temperature = celsius + 273.15
            precharged = density(low * 1e5 + P_ATM, 293.15)
            oil = {p: 1000 * max(0.0, 1 - precharged / density(p * 1e5 + P_ATM, temperature))
                   for p in (middle, high)}
            for p, value in oil.items():
                rows.append(("accumulator_oil",
                             {"gas_volume": "1000 cm3", "precharge": f"{low} bar",
                              "pressure": f"{p} bar", "temperature": f"{celsius} degC"},
                             value, 1e-8 if value else 0.0, "cm3", source))
    write("nitrogen_isotherms.csv", ["CoolProp"], rows)


def laminar():
    source = f"fluids {fluids.__version__}, one_phase_dP and Reynolds"
    rows = []
    for mm, metres, l_min, mm2_s in ((4, 3, 1.0, 87), (4, 3, 1.0, 32), (6, 5, 2.5, 87),
                                     (3, 2, 0.5, 400), (8, 4, 5.0, 46), (10, 12, 3.0, 150)):
        bore, flow, nu, rho = mm / 1000, l_min / 60000, mm2_s / 1e6, 870.0
        speed = flow / (math.pi / 4 * bore**2)
        loss = fluids.one_phase_dP(m=flow * rho, rho=rho, mu=nu * rho, D=bore, L=metres)
        common = {"viscosity_mm2_s": mm2_s, "inner_diameter": f"{mm} mm"}
        rows.append(("laminar_resistance",
                     {**common, "density": rho, "length": f"{metres} m", "flow": f"{l_min} L/min"},
                     loss / 1e5, 1e-9 * loss / 1e5, "bar", source))
        number = fluids.Reynolds(V=speed, D=bore, nu=nu)
        rows.append(("reynolds_number", {**common, "flow": f"{l_min} L/min"}, number,
                     1e-9 * number, "1", source))
        for bar in (0.5, 2.0):
            back = brentq(lambda q: fluids.one_phase_dP(m=q * rho, rho=rho, mu=nu * rho, D=bore,
                                                        L=metres) - bar * 1e5, 1e-9, 1e-2,
                          xtol=1e-20, rtol=1e-14)
            if fluids.Reynolds(V=back / (math.pi / 4 * bore**2), D=bore, nu=nu) > 2000:
                continue
            rows.append(("unclamp_time",
                         {**common, "density": rho, "length": f"{metres} m", "swept": "60 cm3",
                          "return_pressure": f"{bar} bar"},
                         60e-6 / back, 1e-8 * 60e-6 / back, "s", source + ", scipy brentq"))
    write("laminar.csv", ["fluids", "scipy"], rows)


def real_liquid():
    """Over a short step of pressure a real liquid has one bulk modulus."""
    source = f"CoolProp {CoolProp.__version__}, n-Dodecane, 10 bar about a mean pressure at 20 degC"
    rows = []
    for bar in (50, 200, 350, 600):
        mean = bar * 1e5 + P_ATM
        rho = PropsSI("D", "P", mean, "T", 293.15, "n-Dodecane")
        modulus = rho / PropsSI("d(D)/d(P)|T", "P", mean, "T", 293.15, "n-Dodecane")
        low, high = (PropsSI("D", "P", mean + step, "T", 293.15, "n-Dodecane")
                     for step in (-5e5, 5e5))
        common = {"volume": "1000 cm3", "pressure": "10 bar", "bulk_modulus": f"{modulus!r} Pa"}
        rows.append(("compression_of_chamber", common, 1000 * (high / low - 1), 2e-5, "cm3",
                     source))
        rows.append(("compression_of_filling", common, 1000 * (1 - low / high), 2e-5, "cm3",
                     source))
    air = f"CoolProp {CoolProp.__version__}, Air at 20 degC: a real gas, so within 0.1 %"
    for bar in (1, 5, 20):
        value = 1000 * (1 - PropsSI("D", "P", P_ATM, "T", 293.15, "Air")
                        / PropsSI("D", "P", P_ATM + bar * 1e5, "T", 293.15, "Air"))
        rows.append(("free_air_loss", {"free_air": 1, "volume": "1000 cm3",
                                       "pressure": f"{bar} bar"}, value, 1e-3 * value, "cm3", air))
    write("real_fluids.csv", ["CoolProp"], rows)


def tubes():
    """Radial displacement u of a thick tube: u'' + u'/r − u/r² = 0, stresses at both faces."""
    source = f"scipy {scipy.__version__}, solve_bvp on the equation of equilibrium"
    rows = []
    for outer_mm, wall_mm, e_gpa, nu in ((6, 1, 206, 0.3), (8, 1.5, 205, 0.3), (10, 1.5, 206, 0.3),
                                         (12, 2, 205, 0.28), (16, 2.5, 70, 0.33)):
        inner_mm = outer_mm - 2 * wall_mm
        ri, ro = inner_mm / 2, outer_mm / 2
        e, p = e_gpa * 1e4, 1.0  # bar
        axial_stress = p * ri**2 / (ro**2 - ri**2)
        lame, shear = e * nu / (1 + nu) / (1 - 2 * nu), e / 2 / (1 + nu)

        def stresses(r, u, du, ez):
            trace = du + u / r + ez
            return lame * trace + 2 * shear * du, lame * trace + 2 * shear * ez

        def conditions(a, b, par):
            inside, axial = stresses(ri, a[0] / e, a[1] / e, par[0] / e)
            outside, _ = stresses(ro, b[0] / e, b[1] / e, par[0] / e)
            return np.array([inside + p, outside, axial - axial_stress])

        r = np.linspace(ri, ro, 41)
        found = solve_bvp(lambda r, y, par: np.vstack([y[1], y[0] / r**2 - y[1] / r]), conditions,
                          r, np.ones((2, r.size)), p=[0.1], tol=1e-11, max_nodes=100000)
        assert found.success
        growth = 2 * found.y[0][0] / e / ri + found.p[0] / e
        value = math.pi / 4 * (inner_mm / 10) ** 2 * 100 * growth
        rows.append(("tube_compliance",
                     {"inner_diameter": f"{inner_mm} mm", "outer_diameter": f"{outer_mm} mm",
                      "length": "1 m", "elastic_modulus": f"{e_gpa} GPa", "poisson": nu,
                      "pressure": "1 bar"}, value, 1e-7 * value, "cm3", source))
    write("tubes.csv", ["scipy"], rows)


class Circuit:
    """The oil balance of a trapped circuit, written here once more from the formulas."""

    def __init__(self, volume, elasticity=0.0, accumulators=(), modulus=1.5e9, alpha=7e-4,
                 air=0.005, metal=11.7e-6, charge=200e5, celsius=20.0):
        self.volume, self.elasticity, self.accumulators = volume, elasticity, accumulators
        self.modulus, self.alpha, self.air, self.metal = modulus, alpha, air, metal
        self.charge, self.celsius = charge, celsius
        self.precharged = [density(p + P_ATM, 293.15) for _, p in accumulators]

    def arguments(self):
        gas = " + ".join(f"{v * 1e6:g}@{p / 1e5:g}" for v, p in self.accumulators)
        return {"full": f"{self.volume * 1e6:g} cm3", "full_elasticity": repr(self.elasticity),
                "full_gas": gas or "none", "bulk_modulus": f"{self.modulus / 1e9:g} GPa",
                "thermal_expansion": self.alpha, "free_air": self.air,
                "metal_expansion": self.metal, "full_pressure": f"{self.charge / 1e5:g} bar",
                "charge_temperature": f"{self.celsius:g} degC", "dwell": "30 s"}

    def oil(self, p, celsius):
        rise = celsius - self.celsius
        temperature = celsius + 273.15
        box = self.volume * (1 + 3 * self.metal * rise) + self.elasticity * (p - self.charge)
        if self.accumulators:
            rho = density(p + P_ATM, temperature)
            box += sum(v * max(0.0, 1 - filled / rho)
                       for (v, _), filled in zip(self.accumulators, self.precharged))
        box -= (self.air * self.volume * P_ATM / (p + P_ATM)
                * temperature / (self.celsius + 273.15))
        return box * math.exp(-self.alpha * rise) * math.exp((p - self.charge) / self.modulus)

    def pressure(self, oil, celsius, highest=3000e5):
        if self.oil(0.0, celsius) > oil:
            return 0.0
        return brentq(lambda p: self.oil(p, celsius) - oil, 0.0, highest, xtol=1e-7, rtol=1e-15)

    def empty(self, celsius):
        pressures = [PropsSI("P", "D", filled, "T", celsius + 273.15, NITROGEN) - P_ATM
                     for filled in self.precharged]
        return sorted((p for p in pressures if p > 0), reverse=True)


CIRCUITS = [
    Circuit(500e-6, charge=350e5),
    Circuit(500e-6, charge=350e5, air=0.0, elasticity=2e-14),
    Circuit(320e-6, elasticity=6e-14, charge=210e5),
    Circuit(500e-6, accumulators=((100e-6, 180e5),), charge=350e5),
    Circuit(350e-6, elasticity=3e-14, accumulators=((75e-6, 90e5),), charge=200e5),
    Circuit(350e-6, accumulators=((75e-6, 60e5), (20e-6, 120e5)), charge=160e5, air=0.02),
    Circuit(900e-6, accumulators=((13e-6, 300e5),), charge=500e5, modulus=1.7e9, celsius=25.0),
]


def trapped():
    libraries = f"CoolProp {CoolProp.__version__}, scipy {scipy.__version__} brentq"
    rows = []
    for circuit in CIRCUITS:
        held = circuit.oil(circuit.charge, circuit.celsius)
        for celsius in (25, 30, 45, 70):
            value = circuit.pressure(held, celsius) / 1e5
            rows.append(("hot_pressure", {**circuit.arguments(), "highest": f"{celsius} degC"},
                         value, 1e-9 * value, "bar", libraries))
        for celsius in (18, 10, 0, -15):
            value = circuit.pressure(held, celsius) / 1e5
            rows.append(("cold_pressure", {**circuit.arguments(), "lowest": f"{celsius} degC"},
                         value, 1e-9 * value, "bar", libraries))
        setting = circuit.charge * 1.06
        left = min(held, circuit.oil(setting, 45))
        common = {**circuit.arguments(), "highest": "45 degC", "relief_reseat": 1,
                  "full_relief": f"{setting / 1e5!r} bar"}
        rows.append(("oil_left", common, left * 1e6, 1e-10 * left * 1e6, "cm3", libraries))
        value = circuit.pressure(left, 10) / 1e5
        rows.append(("cold_pressure", {**common, "lowest": "10 degC"}, value,
                     1e-9 * value, "bar", libraries))
        for bar in (0, 40, 150, 300):
            value = circuit.oil(bar * 1e5, 35) * 1e6
            rows.append(("referred_oil", {**circuit.arguments(), "temperature": "35 degC",
                                          "pressure": f"{bar} bar"}, value, 1e-11 * value, "cm3",
                         libraries))
    write("trapped.csv", ["CoolProp", "scipy"], rows)


def leakdown():
    """dM/dt = −G p(M), p by brentq at every step; restarted where an accumulator runs empty."""
    libraries = (f"scipy {scipy.__version__} solve_ivp (DOP853) on the oil balance, "
                 f"CoolProp {CoolProp.__version__}")
    rows = []
    # At the temperature of the charge there is one way only; make_zones.py has the cold and the hot one.
    for circuit, leak in zip(CIRCUITS, (0.05, 0.05, 0.02, 0.03, 0.04, 0.05, 0.01)):
        celsius = circuit.celsius
        conductance = leak / 6e7 / 350e5
        start = circuit.pressure(circuit.oil(circuit.charge, circuit.celsius), celsius)
        kinks = [circuit.oil(p, celsius) for p in circuit.empty(celsius) if p < start]
        common = {**circuit.arguments(), "lowest": f"{celsius} degC", "full_leak": f"{leak} cm3/min", "leak_rated": "350 bar"}

        def fall(_, oil):
            return [-conductance * circuit.pressure(oil[0], celsius, 1000e5)]

        def oil_after(seconds):
            time, oil = 0.0, circuit.oil(start, celsius)
            for kink in [*kinks, None]:
                events = []
                if kink is not None:
                    if kink >= oil:
                        continue
                    event = lambda _, y, kink=kink: y[0] - kink
                    event.terminal = True
                    events = [event]
                run = solve_ivp(fall, (time, seconds), [oil], method="DOP853", rtol=1e-12,
                                atol=1e-18, events=events)
                time, oil = run.t[-1], run.y[0][-1]
                if run.status == 0:
                    break
            return oil

        for minutes in (30, 120, 480, 1440):
            value = circuit.pressure(oil_after(minutes * 60), celsius) / 1e5
            if value < 1e-3:
                continue
            rows.append(("holding_pressure", {**common, "time": f"{minutes} min"}, value,
                         2e-9 * value, "bar", libraries))
            rows.append(("hold_reserve", {**common, "pressure": f"{value!r} bar"}, minutes,
                         1e-8 * minutes, "min", libraries))
    write("leakdown.csv", ["CoolProp", "scipy"], rows)


def warmth():
    """A real liquid that is compressed without a loss of heat; the formula takes its figures from the middle of the way."""
    rows = []
    for fluid, bar, celsius in (("n-Dodecane", 100, 20), ("n-Dodecane", 250, 35), ("Toluene", 160, 20), ("Water", 200, 25)):
        start = celsius + 273.15
        end = PropsSI("T", "P", P_ATM + bar * 1e5, "S", PropsSI("S", "P", P_ATM, "T", start, fluid), fluid)
        at = (start + end) / 2
        alpha, rho, heat = (PropsSI(what, "P", P_ATM + bar * 0.5e5, "T", at, fluid)
                            for what in ("isobaric_expansion_coefficient", "D", "C"))
        stated = {"thermal_expansion": repr(alpha), "temperature": repr(at), "pressure": f"{bar} bar", "density": repr(rho),
                  "specific_heat": repr(heat)}
        source = f"CoolProp {CoolProp.__version__}, {fluid} at {celsius} degC and constant entropy: (dT/dp)_s = alpha T/(rho c_p)"
        rows.append(("charging_warmth", stated, end - start, 5e-3 * (end - start), "1", source))
    write("warmth.csv", ["CoolProp"], rows)


def valves():
    """The Kv that IEC 60534-2-1 asks for is what passes a flow at a loss of pressure."""
    rows = []
    for l_min, bar, rho in ((1.0, 0.5, 870.0), (6.0, 1.0, 870.0), (12.0, 2.5, 850.0), (30.0, 1.0, 998.0)):
        flow, loss = l_min / 60000, bar * 1e5
        # Thin oil, so that the flow is turbulent, far above its vapour.
        kv = size_control_valve_l(rho=rho, Psat=10.0, Pc=1.5e6, mu=0.002, P1=2e6, P2=2e6 - loss, Q=flow)
        source = f"fluids {fluids.__version__}, size_control_valve_l by IEC 60534-2-1, whose water has 999.1 kg/m3 and not 1000"
        value = loss / flow**2
        rows.append(("valve_loss", {"kv": repr(kv), "density": rho}, value, 1.5e-3 * value, "1", source))
    write("valves.csv", ["fluids"], rows)


if __name__ == "__main__":
    nitrogen_isotherms()
    laminar()
    real_liquid()
    tubes()
    trapped()
    leakdown()
    warmth()
    valves()
