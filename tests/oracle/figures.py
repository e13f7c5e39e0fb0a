"""Figures of one circuit (section 4 of the contract). None = unknown."""
import math

import physics as ph
from physics import add
from plant import BAD, COMMERCIAL

SET_ASIDE = ("L01", "L02", "L04", "L05", "L06")
CONDUCTORS = ("tube", "hose")


def num(x):
    """A figure of a row: None where blank or unreadable."""
    return None if x is BAD or x is None else x


def own(line, name):
    """The setting of this piece before the component's."""
    x = line[name]
    return num(line["_comp"][name]) if x is None else num(x)


def kind(line):
    return num(line["_comp"]["kind"]) if line["_comp"] else None


def double_acting(comp):
    return num(comp["kind"]) == "clamp" and (comp["area_unclamp"] is not None or comp["volume_unclamp"] is not None)


def tube_rating(comp, factor):
    d, D, s = num(comp["inner_diameter"]), num(comp["outer_diameter"]), num(comp["tensile_strength"])
    return None if None in (d, D, s) else ph.tube_pressure(s, factor, d, D)


def rating(comp, factor):
    """(states one or should, value) for the weakest rating."""
    k, rated = num(comp["kind"]), comp["rated_pressure"]
    if k == "gauge" and rated is None:
        rated = comp["full_scale"]
    if k == "tube" and rated is not BAD and comp["tensile_strength"] is not None and comp["outer_diameter"] is not None:
        p = tube_rating(comp, factor)
        rated = BAD if p is None else p if rated is None else min(rated, p)
    return (rated is not None or k != "other"), num(rated)


class Side:
    """One side of a circuit; `lines` are those that belong to it."""

    def __init__(self, circuit, name, lines, plant):
        self.c, self.name, self.lines, self.plant = circuit, name, lines, plant
        self.pol, self.lim = plant.policy, plant.policy["limits"]
        self.known = [l for l in lines if not l["_aside"]]
        self.unknown_part = any(l["_comp"] is None for l in lines)
        self.aside = any(l["_aside"] for l in lines) or circuit.ragged
        self.pressures()
        self.ratings()
        self.volumes()

    def of(self, *kinds):
        return [l for l in self.known if kind(l) in kinds]

    def has(self, *kinds):
        """Present or built in, set-aside lines too; None where an unknown part could be it."""
        for l in self.lines:
            if l["_comp"] and (kind(l) in kinds or set(kinds) & set(num(l["_comp"]["includes"]) or [])):
                return True
        return None if self.unknown_part or any(l["_comp"] and kind(l) is None for l in self.lines) else False

    def pressures(self):
        c = self.c
        cylinders = [l for l in self.lines if kind(l) == "charging_cylinder"]
        if c.charging != "cylinder":
            self.ratio, loss = 1.0, 0.0
        elif not cylinders or cylinders[0]["_aside"]:
            self.ratio = loss = None
        else:
            comp = cylinders[0]["_comp"]
            self.ratio = self.lim["pressure_ratio"] if comp["pressure_ratio"] is None else num(comp["pressure_ratio"])
            loss = 0.0 if comp["return_loss"] is None else num(comp["return_loss"])
        pset = num(c.row["pressure_set"])
        known = None not in (self.ratio, loss)
        self.needed = (pset + loss) / self.ratio if known and pset is not None else None
        rated = num(c.pump["rated_pressure"]) if c.pump else None
        self.potential = rated * self.ratio - loss if known and rated is not None else None
        if not c.row["station"]:
            self.p_full = self.p1 = pset
            return
        self.p_full = c.p_pump * self.ratio - loss if known and c.p_pump is not None else None
        self.p1 = self.p_full
        reducing = [l for l in self.lines if kind(l) == "reducing_valve"]
        if reducing and self.p1 is not None:
            sets = [None if l["_aside"] else own(l, "set_pressure") for l in reducing]
            self.p1 = None if None in sets else min(self.p1, min(sets))
        if self.p1 is not None and self.p1 < 0 or self.p_full is not None and self.p_full < 0:
            self.p1 = self.p_full = None

    def sees(self, line):
        low = line["reduced"] == "yes" or line["reduced"] is None and kind(line) in ("clamp", "work_support")
        return self.p1 if low else self.p_full

    def ratings(self):
        self.weakest = self.weakest_line = None
        factor, ok = self.lim["design_factor"], not self.unknown_part
        tubes = []
        for l in self.lines:
            if l["_comp"] is None or kind(l) in ("pump", "drive_ram"):
                continue
            states, p = rating(l["_comp"], factor)
            ok = ok and (p is not None or not states)
            if p is not None and (self.weakest is None or p < self.weakest):
                self.weakest, self.weakest_line = p, l
            if kind(l) == "tube" and tube_rating(l["_comp"], factor) is not None:
                tubes.append(tube_rating(l["_comp"], factor))
        if not ok:
            self.weakest = self.weakest_line = None
        self.tube = min(tubes) if tubes else None

    def swept_of(self, l):
        comp = l["_comp"]
        area, vol = comp["area_" + self.name], comp["volume_" + self.name]
        if area is None and vol is None and self.name == "unclamp":
            return 0.0
        stroke = num(comp["stroke"])
        used = stroke if l["stroke_used"] is None else num(l["stroke_used"])
        terms = []
        if num(area) is not None and used is not None:
            terms.append(area * used)
        if num(vol) is not None and l["stroke_used"] is None:
            terms.append(vol)
        elif num(vol) is not None and None not in (used, stroke):
            terms.append(vol * used / stroke)
        return max(terms) if terms else None

    def volumes(self):
        names = "swept line dead capacity compression air dilation elastic accumulator demand fill reserve".split()
        for n in names:
            setattr(self, n, None)
        self.v_t = self.c_el = self.gas = None
        if self.aside:
            return
        c, p1, fluid = self.c, self.p1, self.c.fluid
        times = lambda l, x: None if x is None else l["qty"] * x
        blank0 = lambda comp, n: 0.0 if comp[n] is None else num(comp[n])
        movers = self.of("clamp", "work_support")
        pipes = self.of(*CONDUCTORS)
        self.swept = add(*(times(l, self.swept_of(l)) for l in movers))
        bore = lambda l: num(l["_comp"]["inner_diameter"])
        self.line = add(*(None if bore(l) is None else l["qty"] * math.pi / 4 * bore(l) ** 2 * l["length"] for l in pipes))
        self.dead = add(*(times(l, blank0(l["_comp"], "dead_volume")) for l in self.known))
        if c.charging == "cylinder":
            self.capacity = add(*(times(l, num(l["_comp"]["capacity"])) for l in self.of("charging_cylinder")))
        e_pipe = add(*(self.compliance(l) for l in pipes))
        e_clamp = add(*(self.elasticity(l) for l in self.of("clamp")))
        self.c_el = add(e_pipe, e_clamp)
        self.v_t = add(self.line, self.dead, self.swept)
        cells = [(times(l, num(l["_comp"]["gas_volume"])), own(l, "precharge")) for l in self.of("accumulator")]
        self.gas = None if any(None in x for x in cells) else ph.Gas(cells, self.pol["gas"]["model"])
        v0 = add(self.line, self.dead, self.capacity) if c.charging == "cylinder" else self.v_t
        if p1 is not None:
            if fluid and v0 is not None:
                k = fluid["bulk_modulus"]
                self.compression = v0 * -math.expm1(-p1 / k) if c.charging == "cylinder" else v0 * math.expm1(p1 / k)
                self.air = fluid["free_air"] * v0 * (1 - ph.P_ATM / (p1 + ph.P_ATM))
            self.dilation = None if e_pipe is None else p1 * e_pipe
            self.elastic = None if e_clamp is None else p1 * e_clamp
            if self.gas and not self.gas.cells:
                self.accumulator = 0.0
            elif self.gas and c.t1 is not None:
                self.accumulator = self.gas.oil(p1, c.t1)
        self.demand = add(self.swept, self.compression, self.air, self.dilation, self.elastic, self.accumulator)
        if c.charging == "cylinder" and None not in (self.demand, self.capacity):
            self.fill = self.demand / self.capacity if self.capacity else None
            self.reserve = self.lim["fill"] * self.capacity - self.demand

    def compliance(self, l):
        comp, n = l["_comp"], l["qty"]
        if kind(l) == "hose":
            if comp["expansion"] is None or comp["expansion"] == 0:
                return 0.0
            x, p = num(comp["expansion"]), num(comp["rated_pressure"])
            return None if None in (x, p) else n * l["length"] * x / p
        if comp["outer_diameter"] is None:
            return 0.0
        d, D = num(comp["inner_diameter"]), num(comp["outer_diameter"])
        e = 205e9 if comp["elastic_modulus"] is None else num(comp["elastic_modulus"])
        nu = 0.3 if comp["poisson"] is None else num(comp["poisson"])
        return None if None in (d, D, e, nu) else ph.tube_compliance(n, d, D, l["length"], e, nu)

    def elasticity(self, l):
        comp = l["_comp"]
        if comp["stiffness"] is None:
            return 0.0
        area = comp["area_" + self.name]
        if area is None and self.name == "unclamp":
            return 0.0
        k = num(comp["stiffness"])
        return None if num(area) is None or k is None else l["qty"] * area**2 / k


class Circuit:
    """A circuit with its sides and the figures of its clamp side."""

    def __init__(self, place, lines, row, plant):
        self.place, self.lines, self.plant, self.row = place, lines, plant, row
        pol = plant.policy
        self.ragged = any(l["_file"] in plant.ragged_files for l in lines)
        self.charging = num(row["charging"]) or "cylinder"
        clamps = [l for l in lines if kind(l) == "clamp"]
        stated = num(row["acting"])
        self.stated = stated
        self.acting = stated or ("double" if clamps and all(double_acting(l["_comp"]) for l in clamps) else "single")
        self.mixed = stated is None and len({double_acting(l["_comp"]) for l in clamps}) == 2
        self.fluid = pol["fluids"].get(row["fluid"] or "default")
        self.t1 = 293.15 if row["temp_charge"] is None else num(row["temp_charge"])
        self.station = plant.stations.get(row["station"])
        part = lambda n: plant.components.get(self.station[n]) if self.station and self.station[n] else None
        self.pump, self.ram = part("pump"), part("drive_ram")
        self.p_pump = None
        if self.station and (self.pump or not self.station["pump"]):
            terms = [self.station["pump_setting"], self.pump["rated_pressure"] if self.pump else None]
            terms = [t for t in terms if t is not None]
            self.p_pump = min(terms) if terms and BAD not in terms else None
        self.clamp = Side(self, "clamp", [l for l in lines if self.on(l, "clamp")], plant)
        self.unclamp = Side(self, "unclamp", [l for l in lines if self.on(l, "unclamp")], plant) if self.acting == "double" else None
        self.sides = [s for s in (self.clamp, self.unclamp) if s]
        self.hold()
        self.times()

    def on(self, l, side):
        if self.acting == "single":
            return side == "clamp"
        return l["_comp"] is None or kind(l) in ("clamp", "work_support", None) or l["_side"] in (side, "both")

    def hold(self):
        s, row = self.clamp, self.row
        self.p_cold = self.p_hot = self.p_hold = self.reserve = None
        self.bound = False
        if self.charging == "live":
            return
        blank = ("clamp", "work_support", "check_valve", "isolation_valve", "relief_valve", "coupling")
        self.bound = any(l["_comp"]["leak"] is None for l in s.of(*blank))
        if None in (s.v_t, s.c_el, s.gas, s.p1, self.fluid, self.t1) or s.aside:
            return
        t1, p1 = self.t1, s.p1
        oil = ph.Trapped(s.v_t, s.c_el, s.gas, self.fluid, self.plant.policy["metal"]["linear_expansion"], p1, t1)
        sets = [own(l, "set_pressure") for l in s.of("relief_valve")]
        if BAD in (row["temp_min"], row["temp_max"]) or None in sets and row["temp_max"] is not None:
            return
        m = oil.m(p1, t1)
        if row["temp_max"] is not None:
            hot = max(row["temp_max"], t1)
            self.p_hot = oil.pressure(m, hot)
            if sets:
                self.p_hot = min(self.p_hot, min(sets))
                m = min(m, oil.m(min(sets), hot))
        cold = t1 if row["temp_min"] is None else min(row["temp_min"], t1)
        same = m == oil.m(p1, t1)
        start = p1 if same and cold == t1 else oil.pressure(m, cold)
        if start < 1:
            start = 0.0
        if row["temp_min"] is not None:
            self.p_cold = start
        self.leak(oil, start, cold)

    def leak(self, oil, start, cold):
        g, row = [], self.row
        for l in self.clamp.known:
            leak, p = l["_comp"]["leak"], num(l["_comp"]["rated_pressure"])
            if leak is BAD or leak and p is None:
                return
            g.append(l["qty"] * leak / p if leak else 0.0)
        g, hold, pmin = math.fsum(g), row["hold_time"], num(row["pressure_min"])
        if g == 0 or start == 0:
            self.p_hold = start
        elif hold is not None and hold is not BAD:
            self.p_hold = oil.after(hold, start, cold, g)
        if g > 0 and pmin is not None:
            self.reserve = 0.0 if start < pmin * (1 - 1e-9) else oil.leak_time(pmin, start, cold, g) if pmin < start else 0.0

    def times(self):
        s, row = self.clamp, self.row
        self.clamp_time = self.unclamp_time = None
        if self.pump and None not in (s.demand, s.swept, s.ratio):
            flow, high = num(self.pump["flow"]), self.pump["flow_high"]
            high = flow if high is None else num(high)
            if None not in (flow, high):
                self.clamp_time = s.ratio * s.swept / flow + s.ratio * (s.demand - s.swept) / high
        pipes = s.of(*CONDUCTORS)
        springs = [l["_comp"]["return_pressure"] for l in s.of("clamp")]
        springs = [p for p in springs if p is not None and p != 0]
        if self.acting != "single" or not pipes or not springs or BAD in springs or s.swept is None or s.aside:
            return
        cold = self.t1 if row["temp_min"] is None else row["temp_min"]
        if not self.fluid or cold is BAD or self.t1 is None or any(num(l["_comp"]["inner_diameter"]) is None for l in pipes):
            return
        f = self.fluid
        mu = ph.viscosity(min(cold, self.t1), f["viscosity_40"], f["viscosity_100"]) * 1e-6 * f["density"]
        res = [(1.0 if l["share"] is None else l["share"], l["qty"] * ph.laminar(mu, l["length"], l["_comp"]["inner_diameter"])) for l in pipes]
        path = math.fsum(r for sh, r in res if sh == 1) + max((sh * r for sh, r in res if sh < 1), default=0.0)
        self.unclamp_time = s.swept * path / min(springs)


def force(l, p):
    """Force of one piece at pressure p."""
    comp = l["_comp"]
    if p is None:
        return None
    if kind(l) == "work_support":
        cap, rated = num(comp["support_capacity"]), num(comp["rated_pressure"])
        return None if None in (cap, rated) else cap * p / rated
    area = num(comp["area_clamp"])
    ratio = 1.0 if comp["force_ratio"] is None else num(comp["force_ratio"])
    spring = 0.0 if comp["return_pressure"] is None or double_acting(comp) else num(comp["return_pressure"])
    return None if None in (area, ratio, spring) else ratio * area * max(0.0, p - spring)


def physical_bad(comp):
    return bool(comp["_bad"] - COMMERCIAL)
