#!/usr/bin/env python3
"""Seeded random plants, plausible and messy. usage: generate.py OUT FIRST_SEED COUNT"""
import csv
import pathlib
import random
import sys

from plant import CIRCUIT, COMPONENT, DEFAULT_UNIT, LIST, ORDER, RULES, STATION, UNITS, WAIVER

TEMP = {"degC": lambda c: c, "K": lambda c: c + 273.15, "degF": lambda c: c * 1.8 + 32, "°C": lambda c: c}
UNIT_NAMES = {"len": ["mm", "cm", "m", "in", "ft"], "area": ["mm2", "cm2", "in2"], "vol": ["cm3", "mL", "L", "in3", "mm3"],
              "press": ["bar", "MPa", "psi", "kPa", "N/mm2"], "force": ["N", "kN", "lbf"], "time": ["min", "h", "s"],
              "seconds": ["s", "min"], "flow": ["L/min", "gal/min"], "leak": ["cm3/min", "cm3/h", "in3/h", "mL/min"],
              "stiff": ["N/mm", "kN/mm", "lbf/in"], "expan": ["cm3/m", "in3/ft"], "temp": ["degC", "K", "degF", "°C"]}
# the rows below hold: mm, mm2, cm3, bar, N, degC, min (s for clamp times), L/min, cm3/min, N/mm, cm3/m
HERE = {"len": 1e-3, "area": 1e-6, "vol": 1e-6, "press": 1e5, "force": 1.0, "time": 60.0, "seconds": 1.0, "flow": 1e-3 / 60,
        "leak": 1e-6 / 60, "stiff": 1e3, "expan": 1e-6}
BAD_CELLS = {"press": ["high", "12x", "-50"], "len": ["63,5 mn", "-3"], "vol": ["n/a"], "num": ["one"], "flow": ["?"], "leak": ["tight"]}


class Maker:
    def __init__(self, seed):
        self.r = random.Random(seed)
        r = self.r
        self.units = r.choice(["metric", "metric", "us"])
        self.mess = r.choice([0.0, 0.004, 0.015, 0.04])
        self.model = r.choice(["real", "real", "ideal"])
        self.level = r.choice([70, 160, 250, 320])     # usual charge pressure, bar
        self.good = r.random() < 0.5                   # a plant in fair order
        if self.good:
            self.mess = r.choice([0.0, 0.0, 0.002])
        self.ratio = r.choice([0.5, 0.8, 1.0, 1.25])
        self.limits, self.rules = {}, {}
        self.components, self.lists, self.circuits, self.stations, self.orders, self.waivers = [], {}, [], [], [], []
        self.n = 100

    def chance(self, p):
        return self.r.random() < p

    def rnd(self, lo, hi, digits=3):
        return float(f"{self.r.uniform(lo, hi):.{digits}g}")

    def some(self, p, lo, hi):
        return self.rnd(lo, hi) if self.chance(p) else None

    def part(self, kind, **f):
        r = self.r
        self.n += 1
        row = dict(part_no=f"{kind[:2].upper()}-{self.n}", kind=kind, description=f"{kind} no. {self.n}", **f)
        if "rated_pressure" not in f:
            row["rated_pressure"] = r.choice([1.5, 1.6, 2.0] if self.good else [1.02, 1.1, 1.3, 1.5, 2.0]) * self.level
            if self.chance(0.02 if self.good else 0.06):
                row["rated_pressure"] = 0.93 * self.level
        if self.chance(0.98 if self.good else 0.8) and kind in ("clamp", "work_support", "check_valve", "isolation_valve", "relief_valve", "coupling"):
            row["leak"] = r.choice([0, 0, 0.0005, 0.001, 0.004, 0.02]) if not self.chance(0.7) else 0
        if self.chance(0.15):
            row["min_pressure"] = self.rnd(0.1, 0.5) * self.level if not self.chance(0.1) else 1.1 * self.level
        row["seal"] = r.choice(["", "NBR", "FKM", "nbr", "EPDM", "PU"] if self.chance(0.02 if self.good else 0.06) else ["", "NBR", "FKM"])
        row["dead_volume"] = self.some(0.4, 0.1, 3)
        row["status"] = "obsolete" if self.chance(0.04) else r.choice(["", "active"])
        row["unit_price"], row["currency"] = self.some(0.8, 2, 900), r.choice(["EUR", "EUR", "USD"])
        row["lead_time"] = r.choice([None, 7, 14, 60])
        row["pack_qty"] = r.choice([None, None, None, 5, 10])
        row["supplier"] = r.choice(["", "north", "south"])
        self.components.append(row)
        return row

    def table(self):
        r, L, c = self.r, self.level, self.chance
        for i in range(r.randint(3, 6)):
            area, stroke = self.rnd(80, 1500), self.rnd(4, 40)
            double, f = c(0.35), {}
            if c(0.25):
                f["volume_clamp"] = area * stroke / 1e3 * (1 if c(0.8) else 1.05)
            if double:
                f["area_unclamp"] = area * 0.7
                if c(0.15):
                    f["volume_unclamp"], f["area_unclamp"] = area * stroke * 0.7e-3, None
            if c(0.8) or not f.get("volume_clamp"):
                f["area_clamp"] = area
            f.update(stroke=stroke if c(0.97) else None, return_pressure=self.some(0.8, 2, 12), stiffness=self.some(0.4, 2e4, 3e5),
                     force_ratio=self.some(0.3, 0.5, 1.0), force_max=self.some(0.4, 0.9, 2.2) and None)
            if c(0.3) and f.get("area_clamp"):
                f["force_max"] = area * 0.1 * L * r.choice([1.3, 1.6, 2.0, 1.01])
            self.part("clamp", **f)
        for i in range(2):
            self.part("work_support", area_clamp=self.rnd(50, 500), stroke=self.rnd(3, 12), support_capacity=self.rnd(4e3, 9e4) if c(0.9) else None)
        for cap in (8, 15, 25, 40, 65, 100, 150, 250, 400):
            self.part("charging_cylinder", capacity=cap * self.rnd(0.9, 1.1), stroke=self.rnd(40, 110) if c(0.85) else None,
                      pressure_ratio=None if self.ratio == 0.5 and c(0.3) else self.ratio if c(0.93) else r.choice([0.5, 0.8, 1.1]),
                      return_loss=self.some(0.5, 1, 8), rated_pressure=r.choice([1.3, 1.6, 2.0]) * L if not c(0.04) else 0.9 * L)
        for i in range(2):
            self.part("drive_ram", stroke=r.choice([112, 120, 90]) if c(0.93) else None, rated_pressure=r.choice([1.3, 2.2]) * L / self.ratio if c(0.9) else L)
            self.part("pump", capacity=self.some(0.6, 80, 900) if c(0.8) else self.rnd(10, 60), flow=self.some(0.85, 0.5, 8), flow_high=self.some(0.4, 0.2, 3),
                      rated_pressure=r.choice([1.15, 1.2, 1.3] if self.good else [1.1, 1.4, 2.0]) * L / self.ratio)
        for kind, n in (("check_valve", 2), ("isolation_valve", 2), ("flow_control", 1), ("test_point", 1), ("manifold", 2), ("fitting", 3),
                        ("coupling", 1), ("filter", 1)):
            for i in range(n):
                inc = r.choice(["check_valve", "test_point check_valve", "isolation_valve", "filter relief_valve"]) if kind == "manifold" and c(0.5) else ""
                self.part(kind, includes=inc)
        for kind in ("relief_valve", "reducing_valve", "sequence_valve"):
            self.part(kind, set_pressure={"relief_valve": 1.2, "reducing_valve": 0.8, "sequence_valve": 0.5}[kind] * L * self.rnd(0.85, 1.15),
                      rated_pressure=2.5 * L)
        for i in range(2):
            self.part("accumulator", gas_volume=self.rnd(13, 200), precharge=self.rnd(0.35, 0.8) * L)
            self.part("gauge", full_scale=r.choice([1.6, 2.0, 2.5]) * L if self.good or c(0.95) else None, rated_pressure=r.choice([None, 2.5 * L, 2.5 * L]))
        self.components[-1]["full_scale"] = 1.7 * L
        for i in range(3):
            d = r.choice([4, 6, 8, 10])
            full = c(0.7)
            self.part("tube", inner_diameter=d, outer_diameter=d + r.choice([2, 3, 4]) if full else None,
                      tensile_strength=r.choice([3600, 4100, 5200]) * (1 if L < 200 else 2.2) if full and c(0.8) else None, elastic_modulus=r.choice([None, 1.95e6]),
                      poisson=r.choice([None, 0.28]))
            if not full or c(0.5):
                self.components[-1]["rated_pressure"] = 1.5 * L
            elif self.components[-1]["tensile_strength"]:
                self.components[-1]["rated_pressure"] = None
        self.part("hose", inner_diameter=r.choice([5, 6]), expansion=self.some(0.8, 0.5, 6), uom=r.choice(["", "ft", "each"]))
        self.part("other", rated_pressure=None if c(0.7) else 1.4 * L)
        self.pool = {}
        for row in self.components:
            self.pool.setdefault(row["kind"], []).append(row)
        if c(0.15):
            twin = dict(r.choice(self.components))
            twin["description"] = twin["description"] + (" b" if c(0.6) else "")
            self.components.append(twin)

    def station_rows(self):
        r, L = self.r, self.level
        for i in range(r.randint(1, 3)):
            self.stations.append(dict(station=f"LS{i + 1}", pump=r.choice(self.pool["pump"])["part_no"], drive_ram=r.choice(self.pool["drive_ram"])["part_no"],
                                      pump_setting=None if self.chance(0.1) else self.rnd(0.9, 1.0 if self.chance(0.9) else 1.5) * L / self.ratio, built="yes" if self.chance(0.1) else ""))
        if self.chance(self.mess * 3):
            self.stations[-1]["pump"] = "PU-unknown"
        if self.chance(self.mess * 3):
            self.stations[-1]["drive_ram"] = r.choice(["", "DR-unknown"])

    def circuit(self, place):
        r, L, c = self.r, self.level, self.chance
        charging = r.choice(["cylinder"] * 6 + ["coupler", "live"])
        clamps = self.pool["clamp"]
        doubles = [p for p in clamps if p.get("area_unclamp") or p.get("volume_unclamp")]
        singles = [p for p in clamps if p not in doubles]
        double = bool(doubles) and (c(0.35) or not singles)
        use = (doubles if double else singles) or clamps
        if c(0.03):
            use = clamps
        lines = []
        row = dict(zip(("plant", "pallet", "fixture", "circuit"), place), charging=charging if charging != "cylinder" or c(0.5) else "",
                   acting=r.choice(["", "double" if double else "single"]) if not c(0.03) else "single")
        target = L * self.rnd(0.88, 0.96)
        if c(0.8):
            st = r.choice(self.stations)
            row["station"] = st["station"]
        if charging != "cylinder" and self.ratio != 1 and c(0.8):
            row["station"] = ""
        if c(0.05 if not self.good else 0.01):
            row["station"] = "LS-none"
        row["pressure_set"] = target if c(0.9) else None
        row["pressure_min"] = target * (self.rnd(0.3, 0.7) if c(0.7) else self.rnd(0.6, 0.95)) if c(0.8) else None
        row.update(temp_charge=r.choice([None, 18, 22, 25]), temp_min=r.choice([None, 5, 12, 19] if not self.good else [None, 17, 19]), temp_max=r.choice([None, 24, 28, 33] if not self.good else [None, 22, 26]),
                   hold_time=r.choice([None, 60, 480, 2880] if c(0.3) else [60, 240]), clamp_time_max=self.some(0.4, 0.3, 15), unclamp_time_max=self.some(0.4, 0.02, 5),
                   fluid=r.choice(["", "", "default", "water-glycol"]) if not c(0.01) else "mystery", need_date=r.choice(["", "2026-03-01", "2026-06-15"]),
                   built="yes" if c(0.1) else "")

        def add(kind, p=1.0, part=None, **f):
            if c(p):
                f.setdefault("qty", r.choice([1, 1, 2, 4]) if kind in ("fitting",) else 1)
                lines.append(dict(part_no=(part or r.choice(self.pool[kind]))["part_no"], **f))
                return lines[-1]
        swept, pos = 0.0, 10
        for i in range(r.randint(1, 4)):
            part, q = r.choice(use), r.choice([1, 2, 2, 4])
            used = (part.get("stroke") or 5) * self.rnd(0.3, 1.0) if c(0.4) else None
            if c(0.01) and part.get("stroke"):
                used = part["stroke"] * 1.2
            area = part.get("area_clamp")
            swept += q * (area or 500) * (used or part.get("stroke") or 10) / 1000
            need = area * 0.1 * target * self.rnd(0.2, 0.6 if c(0.9 if self.good else 0.7) else 1.02) * (part.get("force_ratio") or 1) if area and c(0.5) else None
            add("clamp", part=part, qty=q, stroke_used=used, force_required=need, position=str(pos) if c(0.9) else "")
            pos += 10
        if c(0.3):
            add("work_support", qty=r.choice([1, 2]), supports=r.choice(["10", "10 20", "", "20"]), position=str(pos + 500),
                force_required=self.some(0.2, 1e3, 9e3))
        for i, kind in enumerate(("check_valve", "isolation_valve")):
            add(kind, 0.97, position=str(pos + 1 + i) if c(0.5) else "")
        add("gauge", 0.97 if self.good else 0.85)
        add("test_point", 0.3)
        add("manifold", 0.4, side=r.choice(["both", "clamp", ""]))
        add("fitting", 0.8, side=r.choice(["both", "", "unclamp"]))
        add("relief_valve", 0.25, set_pressure=target * self.rnd(1.1, 1.4) if c(0.4) else None)
        add("reducing_valve", 0.1)
        add("sequence_valve", 0.1, set_pressure=target * self.rnd(0.3, 1.0) if c(0.5) else None)
        add("accumulator", 0.15, precharge=target * self.rnd(0.4, 0.8) if c(0.4) else None)
        add("other", 0.1)
        add("flow_control", 0.1)
        if charging != "cylinder":
            add("coupling", 0.95)
            add("filter", 0.6)
        for side in ["", "unclamp"] if double else [""]:
            for i in range(r.randint(1, 3)):
                add("tube", 0.8, qty=r.choice([1, 1, 2]), length=self.rnd(200, 2500), side=side, share=r.choice([None, None, 0.5, 0.25]))
            add("hose", 0.2, length=self.rnd(200, 900), side=side)
            if charging == "cylinder" and c(0.97):
                want = swept * 1.35 + 3
                fits = [p for p in self.pool["charging_cylinder"] if p["capacity"] > want] or self.pool["charging_cylinder"][-1:]
                part = fits[0] if c(0.7) else fits[-1] if c(0.2) else r.choice(self.pool["charging_cylinder"])
                add("charging_cylinder", part=part, qty=2 if c(0.03) else 1, side=side)
        r.shuffle(lines)
        for l in lines:
            if "zone" not in l and c(0.03):
                l["zone"] = r.choice(["charge", "full", "reduced"])
            self.spoil(l)
            l.update(zip(("plant", "pallet", "fixture", "circuit"), place))
        return row, lines

    def newer(self):
        """Data of zones, groups, arms, ages and cutting forces, strewn over what is there."""
        r, c = self.r, self.chance
        for row in self.circuits:
            for name, p, values in (("source", 0.4, ["A", "B"]), ("cycles_per_day", 0.6, [2, 10, 40]), ("dwell", 0.4, [0, 10, 60]),
                                    ("friction", 0.5, [0.1, 0.15]), ("cutting_force", 0.4, [500, 4000, 20000]),
                                    ("topped_up", 0.3, ["2025-06-01", "2026-01-02"])):
                if name not in row and c(p):
                    row[name] = r.choice(values)
        for comp in self.components:
            kind = comp.get("kind")
            if kind == "clamp" and c(0.8):
                comp.update(force_ratio=r.choice([0.7, 0.9, 1.0]))
            if kind == "clamp" and c(0.4):
                comp.update(arm_rated=50, arm_factor=r.choice([0, 0.004]), time_min=r.choice(["", 0.5, 2]))
            if kind in ("check_valve", "coupling") and c(0.6):
                comp.update(closing_volume=r.choice([0.01, 0.1]))
            if kind in ("manifold", "fitting", "isolation_valve") and c(0.5):
                comp.update(kv=r.choice([0.2, 1.1]))
            if kind in ("hose", "accumulator", "clamp") and c(0.4):
                comp.update(service_life=r.choice([365, 2000]), cycle_life=r.choice(["", 5000]))
            if kind in ("charging_cylinder", "drive_ram") and c(0.4):
                comp.update(piston_area=r.choice([500, 800, 1000]))
            if kind == "work_support" and c(0.5):
                comp.update(capacity_from=r.choice([0, 20]))
        for rows in self.lists.values():
            for l in rows:
                for name, p, values in (("grip_length", 0.15, [20, 60]), ("arm_length", 0.15, [50, 80]), ("step", 0.1, [1, 2, 3]),
                                        ("fitted_on", 0.2, ["2020-01-01", "2025-12-01"])):
                    if name not in l and c(p):
                        l[name] = r.choice(values)
        for o in self.orders:
            if c(0.3):
                o["received"] = r.choice([0, 1, 1000])
        for st in self.stations:
            if c(0.2):
                st["relief_setting"] = r.choice([100, 350])

    def spoil(self, l):
        r, m = self.r, self.mess
        if self.chance(m):
            l["part_no"] = r.choice(["XX-1", "ZZ-9", "1.2E+05", l["part_no"].lower(), "2026-01-03"])
        if self.chance(m):
            l["qty"] = r.choice(["", "x", "0", "-1", "1.5"])
        if self.chance(m):
            l[r.choice(["length", "set_pressure", "force_required"])] = r.choice(["abc", "-4"])
        if self.chance(m / 2):
            l["share"] = "1.5"
        if self.chance(m / 2) and l.get("length"):
            l["length"] = None
        if self.chance(m):
            l["position"] = "10"

    def plant(self):
        r, c = self.r, self.chance
        self.table()
        self.station_rows()
        n = r.randint(3, 30)
        made = 0
        while made < n:
            fixture = (r.choice(["", "North"]), f"P{made // 4 + 1}", f"F{made + 1}")
            for k in range(r.choice([1, 1, 2])):
                row, lines = self.circuit((*fixture, str(k + 1)))
                made += 1
                self.circuits.append(row)
                if not c(0.02):
                    self.lists.setdefault(f"list-{r.randint(1, 3)}", []).extend(lines)
        if c(0.3):
            self.circuits.pop(r.randrange(len(self.circuits)))
        for row in self.components:
            if c(self.mess / 4):
                col = r.choice(["rated_pressure", "dead_volume", "leak", "unit_price", "stroke"])
                row[col] = r.choice(["abc", "-7"])
            if c(self.mess / 4):
                row[r.choice(["rated_pressure", "capacity", "inner_diameter", "set_pressure"])] = None
        if c(0.2) and len(self.lists) > 1:
            a, b = sorted(self.lists)[:2]
            self.lists[b].append(dict(r.choice(self.lists[a])))
        if c(0.75):
            self.order_rows()
        if c(0.75):
            self.waiver_rows()
        if c(self.mess * 3):
            r.choice(self.circuits)[r.choice(["pressure_min", "temp_max", "hold_time", "temp_charge", "pressure_set"])] = "soon"
        self.rules = {rule: r.choice(["off", "minor", "observation", "major"]) for rule in RULES if c(0.02)}
        for key, lo, hi in (("fill", .8, .95), ("fill_low", .2, .6), ("fill_watch", .6, .8), ("pressure_ratio", .4, 1), ("pressure_tolerance", .02, .6),
                            ("support_factor", 1, 2), ("gauge_high", .6, .9), ("precharge_low", .3, .6), ("design_factor", 3, 5), ("waiver_notice", 5, 90)):
            if c(0.25):
                self.limits[key] = round(self.rnd(lo, hi), 3) if key != "waiver_notice" else r.randint(5, 90)

    def order_rows(self):
        r, c = self.r, self.chance
        use = {}
        for lines in self.lists.values():
            for l in lines:
                use[l["part_no"]] = use.get(l["part_no"], 0) + (l["qty"] if isinstance(l["qty"], int) else 1)
        rows = {x["part_no"]: x for x in self.components}
        for part, n in use.items():
            comp = rows.get(part, {})
            if c(0.93):
                piped = comp.get("kind") in ("tube", "hose")
                self.orders.append(dict(part_no=part, qty=r.choice([n, n, n + 1, max(1, n - 1)]) if not piped else self.rnd(1, 40),
                                        uom=r.choice(["", "each"]) if not piped else r.choice(["", "m", "ft"]), order_no=f"O{len(self.orders) + 1}",
                                        unit_price=(comp.get("unit_price") if isinstance(comp.get("unit_price"), float) else 5.0) * r.choice([1, 1, 1.02, 1.2]) if c(0.8) else None,
                                        currency=comp.get("currency", "EUR") if c(0.9) else "USD", promised_date=r.choice(["", "2026-02-01", "2026-02-01", "2026-05-01"])))
                if c(0.02):
                    self.orders[-1]["uom"] = r.choice(["m", "each", "kg"])
                if c(0.02):
                    self.orders[-1]["promised_date"] = "02/03/26"
        self.newer()
        for row in self.stations:
            for n in ("pump", "drive_ram"):
                self.orders.append(dict(part_no=row[n] or "PU-x", qty=1, order_no=f"S{len(self.orders)}"))
        if c(0.5):
            self.orders.append(dict(part_no=r.choice(["QQ-1", r.choice(self.components)["part_no"]]), qty=2, order_no="extra"))

    def waiver_rows(self):
        r, c = self.r, self.chance
        for i in range(r.randint(1, 8)):
            row = r.choice(self.circuits)
            w = {k: row[k] if c(0.6) else r.choice(["", "*"]) for k in ("plant", "pallet", "fixture", "circuit")}
            w.update(rule=r.choice(["V01", "V02", "P03", "P05", "P12", "P13", "H02", "F01", "M06", "P11", "B02", "B03", "L09", "P02", "L08"]),
                     position=r.choice(["", "", "*", "10", "LS1"]), reason=r.choice(["known", "known", "known", ""]), approved_by="K",
                     expires=r.choice(["2026-12-31", "2026-12-31", "2026-02-10", "2026-01-15", "2025-12-31", ""]))
            if c(0.04):
                w["rule"] = "Q99"
            self.waivers.append(w)

    # ---- writing
    def write(self, folder):
        folder = pathlib.Path(folder)
        (folder / "lists").mkdir(parents=True, exist_ok=True)
        save = lambda name, cols, rows: self.csv(folder / f"{name}.csv", cols, rows)
        save("components", COMPONENT, self.components)
        if not self.chance(0.05):
            save("circuits", CIRCUIT, self.circuits)
        save("stations", STATION, self.stations)
        if self.orders:
            save("orders", ORDER, self.orders)
        if self.waivers:
            save("waivers", WAIVER, self.waivers)
        for name, rows in self.lists.items():
            save(f"lists/{name}", LIST, rows)
        lines = [f'units = "{self.units}"', 'date = "2026-01-15"', "[limits]", *(f"{k} = {v}" for k, v in self.limits.items()), "[gas]",
                 f'model = "{self.model}"', "[fluids.water-glycol]", "bulk_modulus = 2.9e9", "thermal_expansion = 6.2e-4", "free_air = 0.003",
                 "density = 1080.0", "viscosity_40 = 46.0", "viscosity_100 = 10.5", 'seals = ["NBR", "FKM"]', "[rules]",
                 *(f'{k} = "{v}"' for k, v in self.rules.items())]
        (folder / "policy.toml").write_text("\n".join(lines) + "\n", "utf-8")

    def csv(self, path, cols, rows):
        r = self.r
        used = [k for k in cols if any(row.get(k) not in (None, "") for row in rows) or k in ("part_no", "qty", "fixture", "rule", "reason", "approved_by", "expires", "kind", "station")]
        heads, conv = [], {}
        for k in used:
            name, dim = r.choice([k, k, k.replace("_", " ").title(), k.replace("_", "-"), k.upper()]), cols[k]
            unit = None
            if dim in UNIT_NAMES:
                unit = r.choice(UNIT_NAMES[dim] + [None] * 4)
                shown = unit
                low = (unit or "").casefold() or DEFAULT_UNIT[self.units][dim]
                if dim == "temp":
                    conv[k] = TEMP[{"degc": "degC", "degf": "degF", "k": "K", "°c": "°C"}[low]]
                else:
                    conv[k] = lambda x, d=dim, lo=low: x * HERE[d] / UNITS[d][lo]
                name += r.choice([f" [{shown}]", f" ({shown})"]) if shown else ""
            heads.append(name)
        out = [heads]
        for row in rows:
            cells = []
            for k in used:
                v = row.get(k)
                cells.append("" if v is None else v if isinstance(v, str) else f"{conv[k](v):.9g}" if k in conv else f"{v:.9g}")
            out.append([*cells])
        with open(path, "w", encoding="utf-8", newline="") as f:
            csv.writer(f, lineterminator="\n").writerows(out)


def main(out, first, count):
    for seed in range(first, first + count):
        m = Maker(seed)
        m.plant()
        m.write(pathlib.Path(out) / f"plant-{seed:04d}")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
