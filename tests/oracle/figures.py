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


def arm(line):
    """(arm_length, arm_rated) of a clamp that states a length; the default is the rated one."""
    rated = num(line["_comp"]["arm_rated"])
    return (rated if line["arm_length"] is None else num(line["arm_length"])), rated


def rating(line, factor):
    """(states one or should, value) for the weakest rating."""
    comp = line["_comp"]
    k, rated = num(comp["kind"]), comp["rated_pressure"]
    if k == "gauge" and rated is None:
        rated = comp["full_scale"]
    if k == "tube" and rated is not BAD and comp["tensile_strength"] is not None and comp["outer_diameter"] is not None:
        p = tube_rating(comp, factor)
        rated = BAD if p is None else p if rated is None else min(rated, p)
    return (rated is not None or k != "other"), on_arm(line, num(rated))


def on_arm(line, rated):
    """A clamp's rating at the length of its arm (moment balance)."""
    if kind(line) != "clamp" or rated is None or line["arm_length"] is None:
        return rated
    length, base = arm(line)
    if line["arm_length"] is BAD or line["_comp"]["arm_rated"] is BAD:
        return None
    return rated * base / length if base is not None and length > base else rated


def station_part(plant, station, n):
    """The pump or drive ram of a station, where it is of that kind or has one built in (entry 91)."""
    comp = plant.components.get(station[n]) if station[n] else None
    return comp if comp and (num(comp["kind"]) == n or n in (num(comp["includes"]) or [])) else None


class Side:
    """One side of a circuit; `lines` are those that belong to it."""

    def __init__(self, circuit, name, lines, plant):
        self.c, self.name, self.lines, self.plant = circuit, name, lines, plant
        self.pol, self.lim = plant.policy, plant.policy["limits"]
        self.known = [l for l in lines if not l["_aside"]]
        self.unknown_part = any(l["_comp"] is None for l in lines)
        self.may_have_more = circuit.ragged
        self.aside = any(l["_aside"] for l in lines) or circuit.ragged
        self.reducing = [l for l in lines if kind(l) == "reducing_valve"]
        self.group = None
        self.ratings()
        self.volumes()

    def of(self, *kinds):
        return [l for l in self.known if kind(l) in kinds]

    def has(self, *kinds, lines=None):
        """Present or built in, set-aside lines too; None where an unknown part could be it."""
        for l in self.lines if lines is None else lines:
            if l["_comp"] and (kind(l) in kinds or set(kinds) & set(num(l["_comp"]["includes"]) or [])):
                return True
        return None if self.unknown_part or self.may_have_more or any(l["_comp"] and kind(l) is None for l in self.lines) else False

    def zone(self, l):
        z, k = num(l["zone"]), kind(l)
        if z is None:
            built_in = num(l["_comp"]["includes"]) or [] if l["_comp"] else []
            if k in ("charging_cylinder", "filter") or k == "coupling" and "check_valve" not in built_in:
                z = "charge"
            else:
                z = "reduced" if k in ("clamp", "work_support") else "full"
        return "full" if z == "reduced" and not self.reducing else z

    def inside(self, z, *kinds):
        return [l for l in (self.of(*kinds) if kinds else self.known) if self.zone(l) == z]

    def sees(self, line):
        return self.at(self.zone(line))

    def at(self, z):
        return self.p1 if z == "reduced" else self.p_full

    @property
    def zones(self):
        return ("full", "reduced") if self.reducing else ("full",)

    def pressures(self):
        """p_full, p1, ratio: of the group."""
        c, g = self.c, self.group
        self.ratio, loss = g.ratio, g.loss
        pset = num(c.row["pressure_set"])
        known = None not in (self.ratio, loss)
        self.needed = (pset + loss) / self.ratio if known and pset is not None else None
        self.p_full = self.p1 = self.potential = None
        if g.odd:
            pass
        elif not c.row["station"]:
            self.p_full = pset
        else:
            self.p_full = c.p_pump * self.ratio - loss if known and c.p_pump is not None else None
            self.potential = c.p_potential * self.ratio - loss if known and c.p_potential is not None else None
        self.setting = math.inf
        if self.reducing:
            sets = [None if l["_aside"] else own(l, "set_pressure") for l in self.reducing]
            self.setting = None if None in sets else min(sets)
        if self.p_full is not None and self.setting is not None:
            self.p1 = min(self.p_full, self.setting)
        if self.p_full is not None and self.p_full < 0:
            self.p1 = self.p_full = self.potential = None

    def ratings(self):
        self.weakest = self.weakest_line = None
        factor, ok = self.lim["design_factor"], not self.unknown_part
        tubes, self.zone_weakest = [], {}
        for l in self.lines:
            if l["_comp"] is None or kind(l) in ("pump", "drive_ram"):
                continue
            z = self.zone(l)
            states, p = rating(l, factor)
            if p is None and states:
                ok = False
                self.zone_weakest[z] = None
            if p is not None:
                if self.weakest is None or p < self.weakest:
                    self.weakest, self.weakest_line = p, l
                if self.zone_weakest.get(z, math.inf) is not None:
                    self.zone_weakest[z] = min(p, self.zone_weakest.get(z, math.inf))
            if kind(l) == "tube" and tube_rating(l["_comp"], factor) is not None:
                tubes.append(tube_rating(l["_comp"], factor))
        if not ok:
            self.weakest = self.weakest_line = None
        if self.unknown_part:
            self.zone_weakest = {z: None for z in ("charge", "full", "reduced")}
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
        """What needs no pressure: volumes and compliances, by zone."""
        for n in "swept line dead capacity compression air dilation elastic accumulator demand fill reserve own_capacity".split():
            setattr(self, n, None)
        self.body = {}
        if self.aside:
            return
        c = self.c
        times = lambda l, x: None if x is None else l["qty"] * x
        blank0 = lambda comp, n: 0.0 if comp[n] is None else num(comp[n])
        bore = lambda l: num(l["_comp"]["inner_diameter"])
        for z in ("charge", "full", "reduced"):
            at = [l for l in self.known if self.zone(l) == z]
            pipes = [l for l in at if kind(l) in CONDUCTORS]
            movers = [l for l in at if kind(l) in ("clamp", "work_support")]
            clamps = [l for l in at if kind(l) == "clamp"]
            self.body[z] = dict(
                swept=add(*(times(l, self.swept_of(l)) for l in movers)),
                line=add(*(None if bore(l) is None else l["qty"] * math.pi / 4 * bore(l) ** 2 * l["length"] for l in pipes)),
                dead=add(*(times(l, blank0(l["_comp"], "dead_volume")) for l in at)),
                e_pipe=add(*(self.compliance(l) for l in pipes)), e_clamp=add(*(self.elasticity(l) for l in clamps)),
                cells=[(times(l, num(l["_comp"]["gas_volume"])), own(l, "precharge")) for l in at if kind(l) == "accumulator"],
                grip=[(l["qty"], l["_comp"]["area_clamp"], l["grip_length"]) for l in clamps if l["grip_length"]])
        for n in ("swept", "line", "dead"):
            setattr(self, n, add(*(b[n] for b in self.body.values())))
        if c.charging == "cylinder":
            cylinders = self.of("charging_cylinder")
            self.own_capacity = add(*(times(l, self.usable(l)) for l in cylinders))

    def usable(self, l):
        comp = l["_comp"]
        cap, stroke, reach = num(comp["capacity"]), num(comp["stroke"]), num(self.c.ram["stroke"]) if self.c.ram else None
        return cap if None in (cap, stroke, reach) else cap * min(1.0, reach / stroke)

    def gas(self, z):
        cells = self.body[z]["cells"]
        return None if any(None in x for x in cells) else ph.Gas(cells, self.pol["gas"]["model"])

    def oil(self):
        """Demand of the side, once p_full and p1 are known."""
        c, fluid = self.c, self.c.fluid
        if self.aside:
            return
        cyl = c.charging == "cylinder"
        comp, air, dil, el, acc = [], [], [], [], []
        for z, b in self.body.items():
            p, gas = self.at(z), self.gas(z)
            empty = not any(self.zone(l) == z for l in self.known)
            v = add(b["line"], b["dead"]) if cyl else add(b["line"], b["dead"], b["swept"])
            if empty:
                continue
            both = None not in (p, v) and fluid is not None
            comp.append((v * (-math.expm1(-p / fluid["bulk_modulus"]) if cyl else math.expm1(p / fluid["bulk_modulus"]))) if both else None)
            air.append(fluid["free_air"] * v * (1 - ph.P_ATM / (p + ph.P_ATM)) if both else None)
            dil.append(None if None in (p, b["e_pipe"]) else p * b["e_pipe"])
            el.append(None if None in (p, b["e_clamp"]) else p * b["e_clamp"])
            acc.append(None if gas is None else 0.0 if not gas.cells else None if None in (p, c.t1) else gas.oil(p, c.t1))
        if cyl and self.of("charging_cylinder"):
            cap, p = self.own_capacity, self.p_full
            both = None not in (cap, p) and fluid is not None
            comp.append(cap * -math.expm1(-p / fluid["bulk_modulus"]) if both else None)
            air.append(fluid["free_air"] * cap * (1 - ph.P_ATM / (p + ph.P_ATM)) if both else None)
        self.compression, self.air, self.dilation, self.elastic, self.accumulator = add(*comp), add(*air), add(*dil), add(*el), add(*acc)
        self.demand = add(self.swept, self.compression, self.air, self.dilation, self.elastic, self.accumulator)

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


class Group:
    """Sides that one charging cylinder fills in one stroke, in key order."""

    def __init__(self, sides):
        self.sides, self.lim = sides, sides[0].lim
        first = sides[0].c
        for s in sides:
            s.group = self
        cylinder = first.charging == "cylinder"
        stations = {s.c.row["station"] for s in sides}
        self.odd = len(stations) > 1 or stations == {""} and len({s.c.row["pressure_set"] for s in sides}) > 1
        self.cylinders = [l for s in sides for l in s.lines if kind(l) == "charging_cylinder"]
        if not cylinder:
            self.ratio, self.loss = 1.0, 0.0
        elif not self.cylinders or self.cylinders[0]["_aside"]:
            self.ratio = self.loss = None
        else:
            comp, ram = self.cylinders[0]["_comp"], first.ram
            areas = (ram["piston_area"] if ram else None, comp["piston_area"])
            if BAD in areas or first.odd_ram:
                self.ratio = None
            elif None not in areas:
                self.ratio = areas[0] / areas[1]
            else:
                self.ratio = self.lim["pressure_ratio"] if comp["pressure_ratio"] is None else num(comp["pressure_ratio"])
            self.loss = 0.0 if comp["return_loss"] is None else num(comp["return_loss"])
        for s in sides:
            s.pressures()
            s.oil()
        self.demand, self.swept = add(*(s.demand for s in sides)), add(*(s.swept for s in sides))
        self.capacity = add(*(s.own_capacity for s in sides)) if cylinder else None
        for s in sides:
            s.capacity = self.capacity
            if cylinder and None not in (self.demand, self.capacity):
                s.fill = self.demand / self.capacity if self.capacity else None
                s.reserve = self.lim["fill"] * self.capacity - self.demand


def solve(circuits):
    """Everything that needs the groups, for circuits of whole pallets."""
    for name in ("clamp", "unclamp"):
        groups = {}
        for place, c in sorted(circuits.items()):
            s = getattr(c, name)
            if s:
                alone = c.charging != "cylinder" or not c.row["source"]
                groups.setdefault((place, None) if alone else (place[:2], c.row["source"]), []).append(s)
        for sides in groups.values():
            Group(sides)
    for c in circuits.values():
        c.hold()
        c.times()
    for c in circuits.values():
        c.topping_up()
        c.grip()


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
        self.station = plant.stations.get(row["station"]) if row["station"] else None
        part = lambda n: station_part(plant, self.station, n) if self.station else None
        self.pump, self.ram = part("pump"), part("drive_ram")
        # A ram of the table that is none: the ratio is not known.
        self.odd_ram = self.ram is None and self.station is not None and self.station["drive_ram"] in plant.components
        self.p_pump = self.p_potential = None
        if self.pump:
            air = (self.station["air_pressure"], self.pump["air_ratio"])
            most = [self.pump["rated_pressure"], self.station["relief_setting"]]
            most.append(BAD if BAD in air else None if None in air else air[0] * air[1])
            most = [t for t in most if t is not None]
            every = most + [t for t in [self.station["pump_setting"]] if t is not None]
            self.p_pump = min(every) if every and BAD not in every else None
            self.p_potential = min(most) if most and BAD not in most else None
        self.clamp = Side(self, "clamp", [l for l in lines if self.on(l, "clamp")], plant)
        self.unclamp = Side(self, "unclamp", [l for l in lines if self.on(l, "unclamp")], plant) if self.acting == "double" else None
        self.sides = [s for s in (self.clamp, self.unclamp) if s]

    def on(self, l, side):
        if self.acting == "single":
            return side == "clamp"
        return l["_comp"] is None or kind(l) in ("clamp", "work_support", None) or l["_side"] in (side, "both")

    def slowness(self, t):
        """How much less leaks at T than was stated."""
        f = self.fluid
        nu = lambda x: ph.viscosity(x, f["viscosity_40"], f["viscosity_100"])
        return (f["leak_viscosity"] or nu(293.15)) / nu(t)

    def zone_of(self, z):
        """Trapped oil of one zone, or None where something is unknown."""
        s, b, metal = self.clamp, self.clamp.body.get(z), self.plant.policy["metal"]
        part = self.row["part_expansion"]
        part = metal["part_expansion"] if part is None else part
        if b is None or part is BAD or any(BAD in x or x[1] is None for x in b["grip"]):
            return None
        v, e, gas = add(b["swept"], b["line"], b["dead"]), add(b["e_pipe"], b["e_clamp"]), s.gas(z)
        if None in (v, e, gas, s.at(z), s.p_full):
            return None
        grip = math.fsum(n * a * g for n, a, g in b["grip"]) * (metal["linear_expansion"] - part)
        return ph.Zone(v, e, gas, grip, self.fluid, metal["linear_expansion"], s.at(z), s.p_full, self.t1)

    def hold(self):
        s, row = self.clamp, self.row
        for n in ("p_settled", "p_cold", "p_hot", "p_hot_full", "p_hold", "hold_reserve", "start", "p_hold_full", "vented", "cold"):
            setattr(self, n, None)
        self.p_hot_by = {}
        self.bound = False
        if self.charging == "live":
            return
        blank = ("clamp", "work_support", "check_valve", "isolation_valve", "relief_valve", "coupling")
        self.bound = any(l["_comp"]["leak"] is None for z in s.zones for l in s.inside(z, *blank))
        dwell = 0.0 if row["dwell"] is None else num(row["dwell"])
        if s.aside or None in (s.p1, s.p_full, self.fluid, self.t1, dwell):
            return
        zones = {z: self.zone_of(z) for z in s.zones}
        closing = [(l["qty"], l["_comp"]["closing_volume"]) for z in s.zones for l in s.inside(z, "check_valve", "coupling")]
        if None in zones.values() or any(x[1] is BAD for x in closing):
            return
        t1, f, st = self.t1, self.fluid, ph.State(zones["full"], zones.get("reduced"), s.setting)
        warm = 0.0 if dwell >= s.lim["dwell_settled"] else f["thermal_expansion"] * t1 * s.p_full / (f["density"] * f["specific_heat"])
        n0 = {z: body.m(s.at(z), t1) for z, body in zones.items()}
        n = {z: x * math.exp(-f["thermal_expansion"] * warm) for z, x in n0.items()}
        n["full"] -= math.fsum(q * (v or 0.0) for q, v in closing)
        p = st.pressure(math.fsum(n.values()), t1)
        self.p_settled = st.q(p)
        if p > 0:
            n = {z: body.m(p if z == "full" else st.q(p), t1) for z, body in zones.items()}
        sets = {z: [own(l, "set_pressure") for l in s.inside(z, "relief_valve")] for z in zones}
        if row["temp_max"] is BAD or any(None in x for x in sets.values()):
            return
        hot = t1 if row["temp_max"] is None else max(row["temp_max"], t1)
        before = math.fsum(n.values())
        for z, body in zones.items():
            one = ph.State(body)
            p_hot = one.pressure(n0[z], hot)
            if sets[z]:
                low = min(sets[z])
                if p_hot > low * (1 + 1e-9):
                    n[z] = min(n[z], body.m(s.lim["relief_reseat"] * low, hot))
                p_hot = min(p_hot, low)
            self.p_hot_by[z] = p_hot
        self.vented = before - math.fsum(n.values())
        clamps = "reduced" if s.reducing else "full"
        if row["temp_max"] is not None:
            self.p_hot, self.p_hot_full = self.p_hot_by[clamps], self.p_hot_by["full"]
        else:
            self.p_hot_by = {}
        if row["temp_min"] is BAD:
            return
        cold = t1 if row["temp_min"] is None else min(row["temp_min"], t1)
        self.start = st.pressure(math.fsum(n.values()), cold)
        self.cold = st.q(self.start)
        if row["temp_min"] is not None:
            self.p_cold = self.cold
        self.leak(st, n, cold, hot)

    def conductance(self, z):
        out = []
        for l in self.clamp.inside(z):
            leak, p = l["_comp"]["leak"], num(l["_comp"]["rated_pressure"])
            if leak is BAD or leak and p is None:
                return None
            out.append(l["qty"] * leak / p if leak else 0.0)
        return math.fsum(out)

    def leak(self, st, n, cold, hot):
        s, row = self.clamp, self.row
        g = [self.conductance("full"), self.conductance("reduced") if s.reducing else 0.0]
        hold, pmin = row["hold_time"], num(row["pressure_min"])
        short = pmin is not None and (self.cold < pmin * (1 - 1e-9))
        if short:
            self.hold_reserve = 0.0
        if None in g:
            return
        if not any(g):
            self.p_hold, self.p_hold_full = self.cold, self.start
            return
        slow = {t: self.slowness(t) for t in (cold, hot)}
        gc, gh = [x * slow[cold] for x in g], [x * slow[hot] for x in g]
        if self.cold == 0:
            self.p_hold, self.p_hold_full = 0.0, self.start
        elif num(hold) is not None:
            ends = [st.after(hold, self.start, cold, *gc), self.hot_way(st, n, hot, gh, seconds=hold, cold=cold)]
            self.p_hold_full = min(ends)
            self.p_hold = min(st.q(p) for p in ends)
        if pmin is not None and not short:
            floor = min(pmin, self.cold)
            goal = st.m(floor, cold)
            way = [st.leak_time(floor, self.start, cold, *gc), self.hot_way(st, n, hot, gh, goal=goal)]
            self.hold_reserve = min(way)

    def hot_way(self, st, n, hot, g, seconds=None, cold=None, goal=None):
        """Full pressure at T_cold after `seconds` at T_hot, or the seconds until the oil `goal` is left."""
        total, spent = math.fsum(n.values()), 0.0
        if st.reduced:
            red, full = ph.State(st.reduced), ph.State(st.full)
            pr, pf = red.pressure(n["reduced"], hot), full.pressure(n["full"], hot)
            if pr > st.s * (1 + 1e-12):
                apart = red.leak_time(st.s, pr, hot, g[1], 0.0) if g[1] else math.inf

                def left(x):
                    a = full.after(x, pf, hot, g[0], 0.0) if g[0] and pf >= 1 else pf
                    b = red.after(x, pr, hot, g[1], 0.0) if g[1] else pr
                    return (full.m(a, hot) if pf >= 1 else n["full"]) + red.m(b, hot)
                if seconds is not None and seconds <= apart:
                    return st.pressure(left(seconds), cold)
                if goal is not None:
                    far = apart
                    if far == math.inf:
                        if pf < 1 or not g[0] or n["reduced"] + full.m(1.0, hot) >= goal:
                            return math.inf
                        return full.leak_time(full.pressure(goal - n["reduced"], hot), pf, hot, g[0], 0.0)
                    if left(far) <= goal:
                        return 0.0 if total <= goal else ph.brentq(lambda x: left(x) - goal, 0.0, far, rtol=1e-13)
                spent, total = apart, left(apart)
        p = st.pressure(total, hot)
        if goal is not None:
            if total <= goal:
                return spent
            end = st.pressure(goal, hot)
            return math.inf if end < 1 else spent + st.leak_time(end, p, hot, *g)
        end = st.after(seconds - spent, p, hot, *g)
        return 0.0 if end == 0 else st.pressure(st.m(end, hot), cold)

    def topping_up(self):
        """cycles and days that a filling of the group lasts, clamp side."""
        self.lost = self.cycles = self.topup = None
        if self.charging != "cylinder":
            return
        lost, rate, free = [], [], True
        for s in self.clamp.group.sides:
            c, terms = s.c, []
            if s.aside or c.vented is None:
                lost.append(None)
                continue
            for z in s.zones:
                for l in s.inside(z):
                    leak, p = l["_comp"]["leak"], num(l["_comp"]["rated_pressure"])
                    if kind(l) not in ("check_valve", "isolation_valve") and (leak is BAD or leak):
                        terms.append(None if leak is BAD or p is None else l["qty"] * leak / p * s.at(z))
            total = add(*terms)
            hold = num(c.row["hold_time"])
            lost.append(add(c.vented) if total == 0 else None if None in (total, hold) else hold * total * c.slowness(c.t1) + c.vented)
            if num(c.row["cycles_per_day"]) is not None:
                rate.append(c.row["cycles_per_day"])
        self.lost_own = None
        self.lost = add(*lost)
        if None not in (self.lost, self.clamp.reserve) and self.lost > 0:
            self.cycles = max(0.0, self.clamp.reserve) / self.lost
            self.topup = self.cycles / max(rate) if rate else None

    def times(self):
        s, row = self.clamp, self.row
        self.clamp_time = self.unclamp_time = None
        self.flow = num(self.pump["flow"]) if self.pump else None
        g = s.group
        if self.pump and None not in (g.demand, g.swept, s.ratio):
            high = self.pump["flow_high"]
            high = self.flow if high is None else num(high)
            if None not in (self.flow, high):
                self.clamp_time = s.ratio * g.swept / self.flow + s.ratio * (g.demand - g.swept) / high
        pipes = s.of(*CONDUCTORS)
        springs = [(l["_comp"]["return_pressure"], double_acting(l["_comp"])) for l in s.of("clamp")]
        # A single-acting clamp that states 0 pushes nothing back.
        if any(p == 0 and not is_double for p, is_double in springs):
            return
        springs = [p for p, _ in springs if p is not None and p != 0]
        if self.acting != "single" or not pipes or not springs or BAD in springs or s.swept is None or s.aside:
            return
        cold = self.t1 if row["temp_min"] is None else row["temp_min"]
        if not self.fluid or cold is BAD or self.t1 is None or any(num(l["_comp"]["inner_diameter"]) is None for l in pipes):
            return
        f = self.fluid
        mu = ph.viscosity(min(cold, self.t1), f["viscosity_40"], f["viscosity_100"]) * 1e-6 * f["density"]
        res = [(1.0 if l["share"] is None else l["share"], l["qty"] * ph.laminar(mu, l["length"], l["_comp"]["inner_diameter"])) for l in pipes]
        path = math.fsum(r for sh, r in res if sh == 1) + max((sh * r for sh, r in res if sh < 1), default=0.0)
        valves = [(l["qty"], l["_comp"]["kv"]) for l in s.known if kind(l) not in ("check_valve", "relief_valve") and l["_comp"]["kv"] is not None]
        if any(BAD in v for v in valves):
            return
        b = math.fsum(n * f["density"] / 1000 * 1e5 * (3600 / kv) ** 2 for n, kv in valves)
        dp = min(springs)
        q = 2 * dp / (path + math.sqrt(path**2 + 4 * b * dp)) if path or b else None
        self.unclamp_time = s.swept / q if q else None

    def step_time(self, l):
        """Time of the step in which a clamp moves."""
        s = self.clamp
        same = [s.swept_of(m) for m in s.of("clamp", "work_support") if step(m) == step(l)]
        vol = add(*(None if v is None else m["qty"] * v for v, m in zip(same, [m for m in s.of("clamp", "work_support") if step(m) == step(l)])))
        return None if s.aside or None in (vol, s.ratio, self.flow) else s.ratio * vol / self.flow

    # pressures that one line of the clamp side sees, by state
    def at_hold(self, l):
        """(pressure, is it the held one) by which F01 and F04 judge."""
        s = self.clamp
        if self.charging == "live":
            return s.sees(l), True
        z = s.zone(l)
        if z == "charge":
            return 0.0, True
        full = z == "full" and s.reducing
        held, cold = (self.p_hold_full, self.start) if full else (self.p_hold, self.cold)
        if held is not None:
            return held, True
        return (cold if cold is not None else s.sees(l)), False

    def at_hot(self, l):
        s = self.clamp
        z = s.zone(l)
        return 0.0 if z == "charge" else self.p_hot_by.get(z)

    def grip(self):
        """R_f, and the force sum's blanks."""
        self.friction = None
        mu, s = self.row["friction"], self.clamp
        clamps = s.of("clamp")
        if num(mu) is None or s.aside:
            return
        forces = [force(l, self.at_hold(l)[0]) for l in clamps]
        if None not in forces:
            self.friction = s.lim["contacts"] * mu * math.fsum(f * l["qty"] for f, l in zip(forces, clamps))


def step(l):
    """The step of a line."""
    return num(l["step"]) if l["step"] is not None else 1 if kind(l) == "work_support" else 2


def flattering(l):
    """A clamp's blank that makes its force look better than it may be."""
    comp = l["_comp"]
    if kind(l) != "clamp":
        return False
    return comp["force_ratio"] is None or not double_acting(comp) and comp["return_pressure"] is None or \
        l["arm_length"] is not None and comp["arm_rated"] is None


def force(l, p):
    """Force of one piece at pressure p."""
    comp = l["_comp"]
    if p is None:
        return None
    if kind(l) == "work_support":
        cap, rated = num(comp["support_capacity"]), num(comp["rated_pressure"])
        start = 0.0 if comp["capacity_from"] is None else num(comp["capacity_from"])
        return None if None in (cap, rated, start) or rated <= start else cap * max(0.0, p - start) / (rated - start)
    area = num(comp["area_clamp"])
    ratio = 1.0 if comp["force_ratio"] is None else num(comp["force_ratio"])
    spring = 0.0 if comp["return_pressure"] is None or double_acting(comp) else num(comp["return_pressure"])
    factor = 0.0 if comp["arm_factor"] is None else num(comp["arm_factor"])
    length, base = arm(l)
    if None in (area, ratio, spring, factor) or BAD in (l["arm_length"], comp["arm_rated"]):
        return None
    lever = 1 + factor * max(0.0, length - base) if None not in (length, base) else 1.0
    return ratio * area * max(0.0, p - spring) / lever


def physical_bad(comp):
    return bool(comp["_bad"] - COMMERCIAL)
