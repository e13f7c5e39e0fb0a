#!/usr/bin/env python3
"""Independent reference audit of a plant folder. usage: oracle.py PLANT OUT
Writes circuits.csv, findings.csv, purchase.csv from the contract alone."""
import collections
import csv
import math
import pathlib
import re
import sys

import figures as fg
import out_units as u
from figures import force, kind, num, own
from plant import BAD, CIRCUIT, COMPONENT, RULES, Plant

EPS = 1e-9


def above(x, limit):
    return x > limit * (1 + EPS) if limit >= 0 else x > limit * (1 - EPS)


def below(x, limit):
    return x < limit * (1 - EPS) if limit >= 0 else x < limit * (1 + EPS)


class Audit:
    def __init__(self, plant):
        self.plant, self.pol, self.lim = plant, plant.policy, plant.policy["limits"]
        self.findings = []
        self.na = collections.defaultdict(set)

    # ---- recording
    def add(self, rule, place=("",) * 4, side="", position="", part="", measured=None, limit=None, unit="", key=None):
        severity = self.pol["rules"].get(rule, RULES[rule])
        if severity != "off":
            self.findings.append(dict(rule=rule, severity=severity, place=place, side=side, position=position, part_no=part,
                                      measured=measured, limit=limit, unit=unit, key=key, waived=False))

    def lack(self, place, *rules):
        for rule in rules:
            if self.pol["rules"].get(rule) != "off":
                self.na[place].add(rule)

    def line(self, rule, l, measured=None, limit=None, unit=""):
        self.add(rule, l["_place"], l["_side"], l["position"], l["part_no"], measured, limit, unit, key=id(l))

    # ---- the run
    def run(self):
        plant = self.plant
        self.join()
        self.line_rules()
        self.part_and_station_rules()
        plant.circuits = self.build(sorted(plant.by_place))
        for c in plant.circuits.values():
            self.circuit_rules(c)
            self.smaller_cylinder(c)
        self.age_rules()
        self.purchase_rules()
        self.waive()
        self.verdicts()

    def join(self):
        plant = self.plant
        plant.by_place = collections.defaultdict(list)
        plant.ragged_files = {l["_file"] for l in plant.lines if l["_ragged"] and l["_heads"] & {"plant", "pallet", "fixture", "circuit"}}
        for l in plant.lines:
            l["_comp"] = plant.components.get(l["part_no"])
            if l["_ragged"] and l["_file"] in plant.ragged_files:
                l["_place"] = ("",) * 4
                continue
            plant.by_place[l["_place"]].append(l)
        plant.rows, plant.stations = {}, {}
        for row in plant.circuit_rows or []:
            row["_place"] = (row["plant"], row["pallet"], row["fixture"], row["circuit"] or "1")
            plant.rows.setdefault(row["_place"], row)
        for row in plant.station_rows:
            plant.stations.setdefault(row["station"], row)
        plant.used = {l["part_no"] for l in plant.lines if l["_comp"]}
        plant.used |= {s[n] for s in plant.stations.values() for n in ("pump", "drive_ram") if s[n] in plant.components}
        blank = {k: "" if v == "text" else None for k, v in CIRCUIT.items()}
        plant.row_of = lambda p: plant.rows.get(p, blank)

    def build(self, places, swap=None):
        """Circuits of whole pallets; swap = (place, line, part) puts another part in one line's place."""
        out = {}
        for place in places:
            lines = self.plant.by_place[place]
            if swap and swap[0] == place:
                lines = [{**l, "part_no": swap[2], "_comp": self.plant.components[swap[2]], "_orig": id(l)} if l is swap[1] else l for l in lines]
            out[place] = fg.Circuit(place, lines, self.plant.row_of(place), self.plant)
        fg.solve(out)
        return out

    # ---- L
    def line_rules(self):
        plant = self.plant
        first_file = {}
        for l in plant.lines:
            rules, comp = set(), l["_comp"]
            if l["_bad"]:
                rules.add("L04")
            if comp is None and not l["_ragged"]:
                rules.add("L05" if altered(l["part_no"], plant.components) else "L01")
            q = l["qty"]
            if not l["_ragged"] and (q is None or q is BAD or q <= 0 or q != int(q)):
                rules.add("L02")
            if kind(l) in fg.CONDUCTORS and l["length"] is None and not l["_ragged"]:
                rules.add("L06")
            for rule in sorted(rules):
                self.line(rule, l)
            l["_aside"] = bool(rules) or fg.physical_bad(comp or {"_bad": ()}) if comp else True
            if not l["_aside"] and l["stroke_used"] is not None and kind(l) in ("clamp", "work_support"):
                stroke = num(comp["stroke"])
                if stroke is None:
                    self.lack(l["_place"], "L07")
                elif above(l["stroke_used"], stroke):
                    self.line("L07", l, l["stroke_used"] * 1e3, stroke * 1e3, "mm")
            elif l["_aside"] and comp and l["stroke_used"] is not None:
                self.lack(l["_place"], "L07")
            if first_file.setdefault(l["_raw"], l["_file"]) != l["_file"]:
                self.line("L12", l)
        for place, lines in plant.by_place.items():
            seen = set()
            for l in lines:
                if l["position"] and l["position"] in seen:
                    self.line("L03", l)
                seen.add(l["position"])
            if plant.circuit_rows is not None and place not in plant.rows:
                self.add("L08", place)
        for place, row in plant.rows.items():
            if place not in plant.by_place:
                self.add("L08", place)
                plant.by_place[place] = []
            if row["_bad"]:
                self.add("L04", place)

    def part_and_station_rules(self):
        plant = self.plant
        supported = {(l["_place"][:3], p) for l in plant.lines for p in l["supports"].split()}
        at = collections.defaultdict(list)
        for l in plant.lines:
            at[l["part_no"]].append(l)
        for part, comp in plant.components.items():
            if comp["_bad"]:
                self.add("L04", part=part)
            rows = [{k: r[k] for k in COMPONENT} for r in plant.component_rows if r["part_no"] == part]
            if any(r != rows[0] for r in rows):
                self.add("L11", part=part)
            if part not in plant.used:
                continue
            row = lambda l: plant.row_of(l["_place"])
            forced = any(l["force_required"] is not None or row(l)["cutting_force"] is not None and row(l)["friction"] is not None for l in at[part])
            if lacks(comp, forced, any(l["supports"] for l in at[part])):
                self.add("L09", part=part)
            for side in ("clamp", "unclamp"):
                a, v, s = (num(comp[n]) for n in ("area_" + side, "volume_" + side, "stroke"))
                if None not in (a, v, s) and above(abs(v - a * s), self.lim["catalogue_tolerance"] * a * s):
                    self.add("L10", part=part, measured=v * 1e6, limit=a * s * 1e6, unit="cm3")
                    break
            else:
                v, a, s = (num(comp[n]) for n in ("capacity", "piston_area", "stroke"))
                if num(comp["kind"]) == "charging_cylinder" and None not in (a, v, s) and above(abs(v - a * s), self.lim["catalogue_tolerance"] * a * s):
                    self.add("L10", part=part, measured=v * 1e6, limit=a * s * 1e6, unit="cm3")
        for head, _ in self.pol.get("_unknown", []):
            self.add("L13", position=head)
        for name, st in plant.stations.items():
            pump, ram = (fg.station_part(plant, st, n) for n in ("pump", "drive_ram"))
            if st["_bad"]:
                self.add("L04", position=name)
            if any(st[n] and st[n] not in plant.components for n in ("pump", "drive_ram")):
                self.add("L01", position=name)
            users = [p for p in plant.by_place if plant.row_of(p)["station"] == name and plant.by_place[p]]
            setting, rated = num(st["pump_setting"]), num(pump["rated_pressure"]) if pump else None
            air = (st["air_pressure"], pump["air_ratio"] if pump else None)
            air = BAD if BAD in air else None if None in air else air[0] * air[1]
            can = [x for x in (pump["rated_pressure"] if pump else None, st["relief_setting"], air) if x is not None]
            p02 = setting if st["pump_setting"] is not None else min(can) if pump and can and BAD not in can else None
            ram_rated = num(ram["rated_pressure"]) if ram else None
            if st["drive_ram"]:
                if p02 is None or ram_rated is None:
                    for p in users:
                        self.lack(p, "P02")
                elif above(p02, ram_rated):
                    self.add("P02", position=name, measured=p02 / u.BAR, limit=ram_rated / u.BAR, unit="bar")
            if st["pump"] and st["pump_setting"] is not None:
                if setting is None or rated is None:
                    for p in users:
                        self.lack(p, "P04")
                elif above(setting, rated):
                    self.add("P04", position=name, measured=setting / u.BAR, limit=rated / u.BAR, unit="bar")

    # ---- M, V, P, H, F, T of one circuit
    def circuit_rules(self, c):
        if not c.lines:
            return
        self.kind_rules(c)
        worst = {}
        for s in c.sides:
            self.side_rules(c, s)
            for l in s.lines:
                for rule, excess, measured, limit in self.pressure_rules(c, s, l):
                    k = (rule, id(l))
                    if k not in worst or excess > worst[k][0]:
                        worst[k] = (excess, l, measured / u.BAR, limit / u.BAR)
        for (rule, _), (_, l, measured, limit) in worst.items():
            self.line(rule, l, measured, limit, "bar")
        self.hold_rules(c)
        self.force_rules(c)
        for rule, limit, t in (("T01", c.row["clamp_time_max"], c.clamp_time), ("T02", c.row["unclamp_time_max"], c.unclamp_time)):
            if limit is not None:
                if t is None or limit is BAD:
                    self.lack(c.place, rule)
                elif above(t, limit):
                    self.add(rule, c.place, measured=t, limit=limit, unit="s")

    def kind_rules(self, c):
        s, place = c.clamp, c.place

        def need(rule, *kinds, side=None, where=None):
            found = (where or s).has(*kinds)
            if found is None:
                self.lack(place, rule)
            elif not found:
                self.add(rule, place, side or "")
        for side in c.sides:
            if c.charging == "cylinder":
                if side.group.cylinders:
                    pass
                elif any(x.unknown_part or x.may_have_more for x in side.group.sides):
                    self.lack(place, "M01")
                else:
                    self.add("M01", place, side.name)
                pieces = sum(1 if l["_aside"] else l["qty"] for l in side.group.cylinders)
                if pieces > 1 and any(kind(l) == "charging_cylinder" for l in side.lines):
                    self.add("M02", place, side.name, measured=pieces, limit=1)
        if c.charging != "live":
            need("M03", "check_valve")
            need("M04", "isolation_valve", side="clamp")
            if c.unclamp and c.unclamp.has("check_valve") is not False:
                if c.unclamp.has("check_valve"):
                    need("M04", "isolation_valve", side="unclamp", where=c.unclamp)
                elif not c.unclamp.has("isolation_valve"):
                    self.lack(place, "M04")
            if s.reducing:
                reduced = [l for l in s.lines if s.zone(l) == "reduced"]
                found = s.has("gauge", "test_point", lines=reduced)
                if found is None:
                    self.lack(place, "M12")
                elif not found:
                    self.add("M12", place)
        if c.ragged:
            # A row that may be the circuit's: a part above its rating can't be ruled out.
            self.lack(place, "P05")
        need("M05", "gauge", "test_point")
        if c.charging != "cylinder":
            need("M10", "filter")
        for l in c.lines:
            if l["_aside"]:
                if l["_comp"] and kind(l) == "clamp":
                    self.lack(place, "M06")
                if l["_comp"] and l["_comp"]["seal"]:
                    self.lack(place, "M07")
                if l["_comp"] and kind(l) in ("sequence_valve", "reducing_valve") and "check_valve" not in (num(l["_comp"]["includes"]) or []):
                    self.lack(place, "M11")
                continue
            if c.acting == "single" and kind(l) in ("sequence_valve", "reducing_valve") and "check_valve" not in (num(l["_comp"]["includes"]) or []):
                self.line("M11", l)
            double = fg.double_acting(l["_comp"])
            if kind(l) == "clamp" and (c.stated and double != (c.stated == "double") or c.mixed and double):
                self.line("M06", l)
            seal = l["_comp"]["seal"]
            if seal and c.fluid is None:
                self.lack(place, "M07")
            elif seal and {w.casefold() for w in re.split(r"[\s,;/]+", seal) if w} - {x.casefold() for x in c.fluid["seals"]}:
                self.line("M07", l)
            stroke = l["_comp"]["stroke"]
            if kind(l) == "charging_cylinder" and c.charging == "cylinder" and c.row["station"] and stroke is not None:
                reach = num(c.ram["stroke"]) if c.ram else None
                if reach is None:
                    self.lack(place, "M08")
                elif above(stroke, reach):
                    self.line("M08", l, stroke * 1e3, reach * 1e3, "mm")

    def side_rules(self, c, s):
        place, lim, row = c.place, self.lim, c.row

        def found(rule, measured, limit, unit="bar"):
            scale = u.BAR if unit == "bar" else 1e-6 if unit == "cm3" else 1
            self.add(rule, place, s.name, measured=measured / scale, limit=limit / scale, unit=unit)
        if c.charging == "cylinder":
            if s.fill is None:
                self.lack(place, "V01", "V02", "V03")
            elif above(s.fill, lim["fill"]):
                found("V01", s.fill, lim["fill"], "")
            elif above(s.fill, lim["fill_watch"]):
                found("V02", s.fill, lim["fill_watch"], "")
        if c.pump and c.pump["capacity"] is not None:
            if None in (num(c.pump["capacity"]), s.group.demand, s.ratio):
                self.lack(place, "M09")
            elif below(c.pump["capacity"], s.ratio * s.group.demand):
                found("M09", c.pump["capacity"], s.ratio * s.demand, "cm3")
        elif row["station"] and not c.pump and (not c.station or c.station["pump"]):
            self.lack(place, "M09")
        if row["pressure_set"] is not None and row["station"]:
            pset, tol = num(row["pressure_set"]), lim["pressure_tolerance"]
            if s.p1 is None or pset is None:
                self.lack(place, "P03", "P11")
            elif below(s.p1, (1 - tol) * pset):
                found("P03", s.p1, (1 - tol) * pset)
            elif above(s.p1, (1 + tol) * pset):
                found("P11", s.p1, (1 + tol) * pset)
        near, p14 = None, True
        for z, w in s.zone_weakest.items():
            p = s.at(z)
            if p is None or w is None:
                p14 = False
            elif above(p, lim["pressure_watch"] * w) and not above(p, w) and (near is None or p / w > near[0] / near[1]):
                near = (p, w)
        if near:
            found("P14", near[0], lim["pressure_watch"] * near[1])
        elif not p14:
            self.lack(place, "P14")
        if s.weakest is None and not self.na[place] & {"P14"}:
            self.lack(place, "P14")
        relief = s.has("relief_valve")
        if row["station"] and relief is not True:
            worst, known = None, s.potential is not None and s.weakest is not None and relief is not None
            for z, w in s.zone_weakest.items():
                p = s.potential if z != "reduced" or s.potential is None or s.setting is None else min(s.potential, s.setting)
                if p is not None and w is not None and above(p, w) and (worst is None or p / w > worst[0] / worst[1]):
                    worst = (p, w)
            if worst and relief is False:
                found("P13", *worst)
            elif not known:
                self.lack(place, "P13")
        guard = s.has("relief_valve", lines=[l for l in s.lines if l["_comp"] is None or s.zone(l) != "charge"])
        if s is c.unclamp and s.has("check_valve") is not False and guard is not True:
            ratios = [None if None in (num(l["_comp"]["area_clamp"]), num(l["_comp"]["area_unclamp"])) else
                      l["_comp"]["area_clamp"] / l["_comp"]["area_unclamp"] for l in s.of("clamp")]
            # The clamp side presses on the closed rod side: its charge pressure counts.
            if None in (c.clamp.p1, s.weakest, guard, s.has("check_valve")) or None in ratios:
                self.lack(place, "P15")
            elif ratios and above(c.clamp.p1 * max(ratios), s.weakest):
                found("P15", c.clamp.p1 * max(ratios), s.weakest)
        if s is c.clamp and c.charging == "cylinder" and row["hold_time"] is not None and any(
                m.c.row["cycles_per_day"] is not None for m in s.group.sides):
            days, kinds = lim["topup_days"], ("clamp", "work_support", "relief_valve")
            if c.topup is not None and below(c.topup, days):
                found("V04", c.topup, days, "")
            elif c.lost is None or s.reserve is None or any(
                    l["_comp"]["leak"] is None for m in s.group.sides for z in m.zones for l in m.inside(z, *kinds)):
                self.lack(place, "V04")

    def pressure_rules(self, c, s, l):
        """(rule, how bad, measured, limit) of one line on one side, Pa."""
        comp, place, lim, k, p1 = l["_comp"], c.place, self.lim, kind(l), s.p1
        out, seen = [], s.sees(l) if comp else None
        z = s.zone(l)
        if comp is None:
            return self.lack(place, "P05") or out
        rated = comp["rated_pressure"]
        if k == "gauge" and rated is None:
            rated = comp["full_scale"]

        def weak(rule, p, value):
            if value is None or p is None:
                self.lack(place, rule)
            elif below(value, p):
                out.append((rule, p / value, value, p))
        if k == "charging_cylinder":
            weak("P01", s.p_full, num(rated))
        elif k == "isolation_valve":
            weak("P06", seen, num(rated))
        elif k not in ("pump", "drive_ram") and not (rated is None and k in ("other", "tube")):
            weak("P05", seen, fg.on_arm(l, num(rated)))
            if k == "clamp" and l["arm_length"] is not None and comp["arm_rated"] is None and not out:
                self.lack(place, "P05")
        if k == "tube" and rated is None and (comp["tensile_strength"] is None or comp["outer_diameter"] is None):
            self.lack(place, "P05")
        if k == "tube" and comp["tensile_strength"] is not None and comp["outer_diameter"] is not None:
            weak("P08", seen, fg.tube_rating(comp, lim["design_factor"]))
        if l["_aside"]:
            ratio = (comp["pressure_ratio"], comp["piston_area"], c.ram and c.ram["piston_area"])
            asked = {"P07": comp["min_pressure"] is not None, "P09": k == "sequence_valve", "P10": k == "relief_valve",
                     "P17": k == "relief_valve", "P12": k == "gauge",
                     "P16": k == "charging_cylinder" and c.charging == "cylinder" and c.ram and None not in ratio}
            self.lack(place, *(rule for rule, is_asked in asked.items() if is_asked))
            return out
        low = comp["min_pressure"]
        if low is not None:
            held = [seen]
            if k == "work_support" and s is c.clamp and c.charging != "live" and asks_hold(c):
                held.append(c.at_hold(l)[0] if c.at_hold(l)[1] else None)
            known = [x for x in held if x is not None]
            if num(low) is not None and known and below(min(known), low):
                out.append(("P07", low / max(min(known), 1), min(known), low))
            elif None in held or num(low) is None or len(held) > 1 and c.bound:
                self.lack(place, "P07")
        if k == "charging_cylinder" and c.ram and comp["pressure_ratio"] is not None and None not in (comp["piston_area"], c.ram["piston_area"]):
            have = (num(comp["pressure_ratio"]), num(comp["piston_area"]), num(c.ram["piston_area"]))
            if None in have:
                self.lack(place, "P16")
            elif above(abs(have[0] - have[2] / have[1]), lim["catalogue_tolerance"] * have[2] / have[1]):
                out.append(("P16", 1.0, have[0] * u.BAR, have[2] / have[1] * u.BAR))
        setting = own(l, "set_pressure")
        if k == "sequence_valve":
            mine = fg.step(l)
            lows = [num(m["_comp"]["min_pressure"]) for m in s.of("clamp", "work_support")
                    if m["_comp"]["min_pressure"] is not None and mine is not None and fg.step(m) is not None and fg.step(m) < mine]
            least = lim["sequence_low"] * max((x for x in lows if x is not None), default=0.0)
            if setting is not None and seen is not None and above(setting, lim["sequence_high"] * seen):
                out.append(("P09", setting / max(seen, 1), setting, lim["sequence_high"] * seen))
            elif setting is not None and below(setting, least):
                out.append(("P09", least / setting, setting, least))
            elif None in (setting, seen, mine) or None in lows:
                self.lack(place, "P09")
        if k == "relief_valve":
            guards = [s.zone_weakest[x] for x in ((z, "full") if z == "charge" else (z,)) if x in s.zone_weakest]
            known = [x for x in guards if x is not None]
            if setting is not None and known and above(setting, min(known)):
                out.append(("P10", setting / min(known), setting, min(known)))
            elif setting is not None and seen is not None and not above(setting, seen):
                out.append(("P10", seen / setting, setting, seen))
            elif None in (setting, seen) or None in guards:
                self.lack(place, "P10")
            if setting is None or seen is None:
                self.lack(place, "P17")
            elif above(setting, seen) and below(setting, (1 + lim["relief_margin"]) * seen):
                out.append(("P17", seen / setting, setting, (1 + lim["relief_margin"]) * seen))
        if k == "gauge":
            full = num(comp["full_scale"])
            if full is None or seen is None:
                self.lack(place, "P12")
            elif below(seen, lim["gauge_low"] * full):
                out.append(("P12", full / max(seen, 1), seen, lim["gauge_low"] * full))
            elif above(seen, lim["gauge_high"] * full):
                out.append(("P12", seen / full, seen, lim["gauge_high"] * full))
        return out

    def hold_rules(self, c):
        s, row, place = c.clamp, c.row, c.place
        if c.charging == "live":
            return
        asked = {"pressure_min": "H02", "hold_time": "H03", "temp_min": "H02", "temp_max": "H01"}
        for name in self.pol["asked"]["uncoupled"]:
            if row.get(name) is None or row.get(name) == "":
                self.lack(place, *([asked[name]] if name in asked else []))
        if row["temp_max"] is not None:
            worst, known = None, True
            for z in s.zones:
                p, w = c.p_hot_by.get(z), s.zone_weakest.get(z, math.inf)
                if p is None or w is None:
                    known = False
                elif above(p, w) and (worst is None or p - w > worst[0] - worst[1]):
                    worst = (p, w)
            if worst:
                self.add("H01", place, measured=worst[0] / u.BAR, limit=worst[1] / u.BAR, unit="bar")
            elif not known:
                self.lack(place, "H01")
        pmin, given = num(row["pressure_min"]), row["pressure_min"] is not None
        if not given:
            return [self.lack(place, "H04") for l in s.of("accumulator")[:0]]
        low = False
        state = c.cold if row["temp_min"] is not None else c.p_settled
        if state is None or pmin is None:
            self.lack(place, "H02")
        elif below(state, pmin):
            low = True
            self.add("H02", place, measured=state / u.BAR, limit=pmin / u.BAR, unit="bar")
        if not low and pmin is not None and c.p_hold is not None and below(c.p_hold, pmin):
            self.add("H03", place, measured=c.p_hold / u.BAR, limit=pmin / u.BAR, unit="bar")
        elif not low and row["hold_time"] is not None and (c.p_hold is None or c.bound or pmin is None):
            self.lack(place, "H03")
        if any(l["_aside"] and l["_comp"] and kind(l) == "accumulator" for l in s.lines):
            self.lack(place, "H04")
        for l in s.of("accumulator"):
            pc = own(l, "precharge")
            lo, hi = (pmin and pmin * self.lim[n] for n in ("precharge_low", "precharge_high"))
            if pc is None or pmin is None:
                self.lack(place, "H04")
            elif below(pc, lo) or above(pc, hi):
                self.line("H04", l, pc / u.BAR, (lo if below(pc, lo) else hi) / u.BAR, "bar")

    def force_rules(self, c):
        s, place, live = c.clamp, c.place, c.charging == "live"
        for l in c.lines:
            if not l["_aside"] or not l["_comp"] or kind(l) not in ("clamp", "work_support"):
                continue
            asked = {"F01": l["force_required"] is not None, "F02": l["_comp"]["force_max"] is not None,
                     "F03": kind(l) == "work_support" and l["supports"],
                     "T03": kind(l) == "clamp" and l["_comp"]["time_min"] is not None}
            self.lack(place, *(rule for rule, is_asked in asked.items() if is_asked))
        for l in s.of("clamp", "work_support"):
            need = l["force_required"]
            if need is not None:
                p, sure = c.at_hold(l)
                f = force(l, p)
                if f is not None and below(f, need):
                    self.line("F01", l, f, need, "N")
                elif f is None or not sure or not live and c.bound or fg.flattering(l):
                    self.lack(place, "F01")
            most = l["_comp"]["force_max"]
            if most is not None:
                hot = not live and c.row["temp_max"] is not None
                ps = [p for p in (s.sees(l), c.at_hot(l) if hot else None) if p is not None]
                f = force(l, max(ps)) if ps else None
                if f is not None and num(most) is not None and above(f, most):
                    self.line("F02", l, f, most, "N")
                elif f is None or num(most) is None or hot and c.at_hot(l) is None or s.sees(l) is None:
                    self.lack(place, "F02")
            if kind(l) == "work_support" and l["supports"]:
                self.support_rule(c, l)
            least = l["_comp"]["time_min"]
            if kind(l) == "clamp" and least is not None:
                t = c.step_time(l)
                if t is None or num(least) is None:
                    self.lack(place, "T03")
                elif below(t, least):
                    self.line("T03", l, t, least, "s")
        cut = c.row["cutting_force"]
        if cut is not None and c.row["friction"] is not None:
            clamps = s.of("clamp")
            if num(cut) is not None and c.friction is not None and below(c.friction, self.lim["cutting_factor"] * cut):
                self.add("F04", place, measured=c.friction, limit=self.lim["cutting_factor"] * cut, unit="N")
            elif num(cut) is None or c.friction is None or not live and c.bound or any(fg.flattering(l) or not c.at_hold(l)[1] for l in clamps):
                self.lack(place, "F04")

    def support_rule(self, c, l):
        """n x strength against the part of the clamps' force, state by state."""
        fixture = [(self.figures(p, c), m) for p in self.plant.by_place if p[:3] == c.place[:3] for m in self.figures(p, c).lines]
        cap = lambda m: None if m["_aside"] or num(m["_comp"]["support_capacity"]) is None else m["qty"] * m["_comp"]["support_capacity"]
        parts = []
        for position in dict.fromkeys(l["supports"].split()):
            here = [(d, m) for d, m in fixture if m["position"] == position and (m["_comp"] is None or kind(m) in ("clamp", None))]
            caps = [cap(m) for d, m in fixture if position in m["supports"].split() and (m["_comp"] is None or kind(m) == "work_support")]
            if not here or any(m["_aside"] for _, m in here) or None in caps or not sum(caps):
                return self.lack(c.place, "F03")
            parts += [(d, m, cap(l) / sum(caps)) for d, m in here]
        live = lambda d: d.charging == "live"
        high = lambda d, m: [d.clamp.sees(m)] + ([d.at_hot(m)] if not live(d) and d.row["temp_max"] is not None else [])
        held = not live(c) and asks_hold(c)
        own_hold = lambda m: c.at_hold(m)[0] if c.at_hold(m)[1] else None
        if any(d is not c for d, _, _ in parts):
            mine = [c.clamp.sees(l)] + ([own_hold(l)] if held else [])
            states = [(min(x for x in mine if x is not None) if any(x is not None for x in mine) else None, [max((x for x in high(d, m) if x is not None), default=None) for d, m, _ in parts])]
            sure = None not in mine and all(None not in high(d, m) for d, m, _ in parts)
        else:
            states = [(c.clamp.sees(l), [c.clamp.sees(m) for _, m, _ in parts])]
            if held:
                states.append((own_hold(l), [own_hold(m) for _, m, _ in parts]))
            if not live(c) and c.row["temp_max"] is not None:
                states.append((c.at_hot(l), [c.at_hot(m) for _, m, _ in parts]))
            sure = True
        worst = None
        for p, loads in states:
            have, forces = force(l, p), [force(m, x) for x, (_, m, _) in zip(loads, parts)]
            if have is None or None in forces:
                sure = False
                continue
            want = self.lim["support_factor"] * sum(f * m["qty"] * k for f, (_, m, k) in zip(forces, parts))
            if below(l["qty"] * have, want) and (worst is None or want - l["qty"] * have > worst[1] - worst[0]):
                worst = (l["qty"] * have, want)
        if worst:
            self.line("F03", l, *worst, "N")
        elif not sure or held and c.bound:
            self.lack(c.place, "F03")

    def figures(self, place, c):
        return c if place == c.place else getattr(self, "trial", {}).get(place) or self.plant.circuits[place]

    def smaller_cylinder(self, c):
        for s in c.sides:
            lines = [l for l in s.lines if kind(l) == "charging_cylinder"]
            if c.charging != "cylinder" or s.fill is None or not below(s.fill, self.lim["fill_low"]) or len(lines) != 1:
                continue
            old = lines[0]
            group = [p for p in self.plant.by_place if p[:2] == c.place[:2]]
            base = self.trial_run(group, {p: self.plant.circuits[p] for p in group})
            for part, comp in sorted(self.plant.components.items()):
                cap = num(comp["capacity"])
                if num(comp["kind"]) != "charging_cylinder" or cap is None or not below(cap, old["_comp"]["capacity"]):
                    continue
                if comp["status"] == "obsolete" or comp["_bad"] or lacks(comp, False, False) or any(
                        f["rule"] == "L11" and f["part_no"] == part for f in self.findings):
                    continue
                after = self.trial_run(group, self.build(group, (c.place, old, part)))
                if not after - base:
                    self.add("V03", c.place, s.name, measured=s.fill, limit=self.lim["fill_low"])
                    break

    def trial_run(self, group, circuits):
        """Major and minor findings and codes not assessed of a fixture's circuits, by subject."""
        t = Audit(self.plant)
        t.trial = circuits
        for p in group:
            t.circuit_rules(circuits[p])
        swapped = {id(l): l["_orig"] for c in circuits.values() for l in c.lines if "_orig" in l}
        out = {(f["rule"], f["place"], f["side"], swapped.get(f["key"], f["key"])) for f in t.findings if f["severity"] != "observation"}
        return out | {(p, r) for p in group for r in t.na[p]}

    # ---- U
    def age_rules(self):
        """Service life of pieces, cycles, and the oil of a filling."""
        today, notice = self.pol["today"], self.lim["waiver_notice"]
        for c in self.plant.circuits.values():
            rate = num(c.row["cycles_per_day"])
            for l in c.lines:
                comp, since = l["_comp"], num(l["fitted_on"])
                if comp is None or since is None:
                    continue
                age, ends = (today - since).days, []
                if num(comp["service_life"]) is not None:
                    ends.append(comp["service_life"] - age)
                if num(comp["cycle_life"]) is not None and rate:
                    ends.append(comp["cycle_life"] / rate - age)
                if ends and min(ends) < -1e-9 * max(1, age):
                    self.line("U01", l)
                elif ends and min(ends) <= notice:
                    self.line("U02", l)
            since = num(c.row["topped_up"])
            if since is not None and c.topup is not None and (today - since).days > c.topup * (1 + EPS):
                self.add("U03", c.place, "clamp")

    # ---- B
    def purchase_rules(self):
        plant = self.plant
        needed, users, dates = collections.defaultdict(float), collections.defaultdict(set), collections.defaultdict(list)
        m_or_ft = "m" if self.pol["units"] == "metric" else "ft"

        def uom_of(comp, given):
            return given or (m_or_ft if comp and num(comp["kind"]) in fg.CONDUCTORS else "each")

        def need(part, amount):
            if amount is None or needed.get(part, 0.0) is None:
                needed[part] = None
            else:
                needed[part] += amount
        for place, lines in plant.by_place.items():
            row = plant.row_of(place)
            st = plant.stations.get(row["station"])
            parts = {l["part_no"] for l in lines} | ({st["pump"], st["drive_ram"]} if st and lines else set())
            if row["built"] == "yes":
                continue
            for part in parts:
                users[part].add(place)
                if num(row["need_date"]):
                    dates[part].append(row["need_date"])
            for l in lines:
                comp = l["_comp"]
                if comp is None:
                    continue
                q = l["qty"] if num(l["qty"]) and l["qty"] > 0 and l["qty"] == int(l["qty"]) else None
                uom = uom_of(comp, num(comp["uom"]))
                if kind(l) in fg.CONDUCTORS and uom != "each":
                    q = None if q is None or num(l["length"]) is None else q * l["length"] / u.LENGTH[uom]
                need(l["part_no"], q)
        for st in plant.stations.values():
            if st["built"] != "yes":
                for n in ("pump", "drive_ram"):
                    if st[n] in plant.components:
                        need(st[n], 1.0)
        ordered, have = collections.defaultdict(float), plant.orders is not None
        listed = {l["part_no"] for l in plant.lines}
        for o in plant.orders or []:
            part, comp = o["part_no"], plant.components.get(o["part_no"])
            if o["_bad"]:
                self.add("L04", part=part, position=o["order_no"])
            ordered[part] += 0.0
            mine, theirs = uom_of(comp, num(comp["uom"]) if comp else None), uom_of(comp, num(o["uom"]))
            if o["uom"] is not BAD:
                if mine == theirs or "each" not in (mine, theirs):
                    ordered[part] += (num(o["qty"]) or 0.0) * (u.LENGTH[theirs] / u.LENGTH[mine] if mine != theirs else 1)
                else:
                    self.add("B07", part=part, position=o["order_no"])
        # What replaces an obsolete part and is ordered beyond its own need counts for that part, in its unit.
        self.purchase = []
        replaces, taken = collections.defaultdict(list), {}
        unit_of = lambda p: uom_of(plant.components.get(p), num(plant.components[p]["uom"]) if p in plant.components else None)

        def in_unit(x, a, b):
            """x of part a's unit in part b's; None where they don't measure the same."""
            if unit_of(a) == unit_of(b):
                return x
            return None if "each" in (unit_of(a), unit_of(b)) else x * u.LENGTH[unit_of(a)] / u.LENGTH[unit_of(b)]
        for part in sorted(plant.components):
            comp = plant.components[part]
            if comp["status"] == "obsolete" and comp["replaced_by"] and part in plant.used:
                replaces[comp["replaced_by"]].append(part)
        for new, olds in replaces.items():
            spare = None if needed.get(new, 0.0) is None else max(0.0, ordered.get(new, 0.0) - needed.get(new, 0.0))
            for old in olds:
                n = needed.get(old, 0.0)
                there = None if spare is None or not n else in_unit(spare, new, old)
                if there is not None:
                    taken[old] = min(there, max(0.0, n - ordered.get(old, 0.0)))
                    spare -= in_unit(taken[old], old, new)
        for o in plant.orders or []:
            part, comp = o["part_no"], plant.components.get(o["part_no"])
            mine, theirs = uom_of(comp, num(comp["uom"]) if comp else None), uom_of(comp, num(o["uom"]))
            due, lead = o["promised_date"], num(comp["lead_time"]) if comp else None
            if due is None and lead is not None:
                due = self.pol["today"] + u.days(lead)
            open_ = not (num(o["qty"]) is not None and num(o["received"]) is not None and not below(o["received"], o["qty"]))
            if open_ and num(o["promised_date"]) and o["promised_date"] < self.pol["today"]:
                self.add("B09", part=part, position=o["order_no"])
            wanted = [d for p in [part, *(old for old in replaces.get(part, []) if taken.get(old))] for d in dates[p]]
            if open_ and num(due) and wanted and due > min(wanted):
                self.add("B06", part=part, position=o["order_no"])
            if comp and None not in (num(comp["unit_price"]), num(o["unit_price"])) and o["currency"] == comp["currency"] and mine == theirs \
                    and o["uom"] is not BAD and above(o["unit_price"], comp["unit_price"] * (1 + self.lim["price_tolerance"])):
                self.add("B08", part=part, position=o["order_no"], measured=o["unit_price"], limit=comp["unit_price"])
        for part in sorted(set(plant.used) | set(ordered)):
            comp, n = plant.components.get(part), needed.get(part, 0.0)
            if comp and part in plant.used and comp["status"] == "obsolete":
                self.add("B01", part=part)
            up = lambda x, comp=comp: x if not comp or not num(comp["pack_qty"]) else math.ceil(x / comp["pack_qty"] - EPS) * comp["pack_qty"]
            own_got = got = ordered.get(part, 0.0)
            new = comp["replaced_by"] if comp and comp["status"] == "obsolete" else ""
            got += taken.get(part, 0.0)
            for old in replaces.get(part, []):
                rest = needed.get(old, 0.0)
                rest = None if rest is None else in_unit(max(0.0, rest - ordered.get(old, 0.0)), old, part) or 0.0
                n = None if None in (n, rest) else n + rest
            both, n = n, needed.get(part, 0.0)
            if have and part in ordered and both is None and n is not None and not below(own_got, n):
                pass  # how much of it is needed can't be told: neither B04 nor B05
            elif have and part in ordered and both is not None and both > (n or 0.0):
                if below(own_got, n or 0.0):
                    self.add("B03", part=part, measured=own_got, limit=n)
                elif above(own_got, up(both)):
                    self.add("B04", part=part, measured=own_got, limit=up(both))
            elif have:
                if part not in ordered and not (new and new in ordered):
                    if n is None or n > 0:
                        self.add("B02", part=part, measured=0, limit=n)
                elif n is not None and n > 0 and below(got, n):
                    self.add("B03", part=part, measured=got, limit=n)
                elif n is not None and n > 0 and above(got, up(n)):
                    self.add("B04", part=part, measured=got, limit=up(n))
                elif n == 0 and not (comp is None and part in listed):
                    self.add("B05", part=part, measured=got, limit=0)
            if part in ordered or n is None or n > 0:
                want = None if n is None else up(max(0.0, n - got))
                price = num(comp["unit_price"]) if comp else None
                text = lambda k, comp=comp: comp[k] if comp and comp[k] not in (None, BAD) else ""
                self.purchase.append([part, text("description"), text("kind"), uom_of(comp, num(comp["uom"]) if comp else None), n, got, want, price,
                                      text("currency"), None if None in (want, price) else want * price, len(users[part]), text("supplier"),
                                      text("lead_time"), text("status"), text("replaced_by"),
                                      *self.dates(part, comp, new, n, got, dates[part], have)])

    def dates(self, part, comp, new, n, got, needs, have):
        """need_date, order_by, promised_date, order_part of a purchase row; B10."""
        buy = self.plant.components.get(new) if new else comp
        lead, first = num(buy["lead_time"]) if buy else None, min(needs, default=None)
        wait = None if lead is None else u.days(lead)
        if have and n and below(got, n) and None not in (wait, first) and self.pol["today"] + wait > first:
            self.add("B10", part=part)
        promised = [o["promised_date"] for o in self.plant.orders or [] if o["part_no"] == part and num(o["promised_date"])]
        iso = lambda d: "" if d is None else d.isoformat()
        return [iso(first), iso(None if None in (wait, first) else first - wait), iso(max(promised, default=None)), new or part]

    # ---- waivers, verdicts
    def waive(self):
        today, extra = self.pol["today"], []
        for w in self.plant.waivers:
            where = dict(place=(w["plant"], w["pallet"], w["fixture"], w["circuit"]), position=w["position"])
            if w["_bad"]:
                extra.append(("L04", where))
            elif not (w["rule"] and w["reason"] and w["approved_by"] and w["expires"]) or w["expires"] < today:
                extra.append(("W01", where))
            else:
                hits = [f for f in self.findings if f["rule"] == w["rule"] and all(
                    p in ("", "*") or p == q for p, q in zip((*where["place"], w["position"]), (*f["place"], f["position"])))]
                for f in hits:
                    f["waived"] = True
                if not hits or (w["expires"] - today).days <= self.lim["waiver_notice"]:
                    extra.append(("W02", where))
        for rule, where in extra:
            self.add(rule, **where)

    def verdicts(self):
        plant, self.verdict = self.plant, {}
        for place, lines in plant.by_place.items():
            st = plant.row_of(place)["station"]
            srow = plant.stations.get(st)
            parts = {l["part_no"] for l in lines} | ({srow["pump"], srow["drive_ram"]} - {""} if srow else set())
            mine = [f for f in self.findings if f["rule"][0] not in "BUW" and f["rule"] != "L13" and f["severity"] in ("major", "minor") and
                    (f["place"] == place or not any(f["place"]) and (f["part_no"] in parts if f["part_no"] and not f["position"]
                     else bool(st) and f["position"] == st and not f["part_no"]))]
            self.verdict[place] = ("does not conform" if any(not f["waived"] for f in mine) else "not assessed" if self.na[place]
                                   else "conforms with waivers" if mine else "conforms")
            if not lines and self.verdict[place].startswith("conforms"):
                # Fill, charge pressure and weakest rating are not known (entry 92).
                by_cylinder = (num(plant.row_of(place)["charging"]) or "cylinder") == "cylinder"
                self.na[place].update(["V01", "P05"] if by_cylinder else ["P05"])
                self.verdict[place] = "not assessed"


def not_asked(c):
    """Letters of the families V, P, H, F, T that a circuit was not asked."""
    force_ = c.row["cutting_force"] is not None or any(
        l["force_required"] is not None or l["supports"] or l["_comp"] and l["_comp"]["force_max"] is not None for l in c.lines)
    time = c.row["clamp_time_max"] is not None or c.row["unclamp_time_max"] is not None or any(
        l["_comp"] and l["_comp"]["time_min"] is not None for l in c.lines)
    asked = {"V": c.charging == "cylinder", "H": asks_hold(c), "F": force_, "T": time}
    return " ".join(sorted(k for k, v in asked.items() if not v))


def asks_hold(c):
    return c.charging != "live" and any(c.row[n] is not None for n in ("pressure_min", "hold_time", "temp_min", "temp_max"))


def altered(part, components):
    if re.fullmatch(r"[+-]?\d+([.,]\d+)?[eE][+-]?\d+", part):
        return True
    if re.fullmatch(r"\d{4}-\d\d-\d\d|\d{1,2}[./]\d{1,2}[./]\d{2,4}|\d{1,2}-[A-Za-z]{3}(-\d{2,4})?|[A-Za-z]{3}-\d{2,4}", part):
        return True
    return part != "" and any(c != part and (c.lstrip("0") == part or "." in c and c.rstrip("0").rstrip(".") == part) for c in components)


def lacks(comp, forced, supports):
    k = num(comp["kind"])
    got = lambda *names: all(comp[n] is not None for n in names)
    moves = got("area_clamp", "stroke") or got("volume_clamp")
    if k in ("clamp", "work_support"):
        return not (got("rated_pressure") and moves) or k == "clamp" and forced and not got("area_clamp") or \
            k == "work_support" and supports and not got("support_capacity")
    if k == "gauge":
        return not (got("rated_pressure") or got("full_scale"))
    if k == "tube":
        return not (got("inner_diameter") and (got("rated_pressure") or got("outer_diameter", "tensile_strength")))
    extra = {"charging_cylinder": ["capacity"], "accumulator": ["gas_volume", "precharge"], "relief_valve": ["set_pressure"],
             "reducing_valve": ["set_pressure"], "sequence_valve": ["set_pressure"], "hose": ["inner_diameter"]}
    return k is not None and k != "other" and not got("rated_pressure", *extra.get(k, []))


SIDE_COLUMNS = [(n + "_cm3", n, 1e-6) for n in "swept line dead capacity compression air dilation elastic accumulator demand".split()] + [
    ("fill", "fill", 1), ("reserve_cm3", "reserve", 1e-6), ("charge_bar", "p1", 1e5), ("pump_needed_bar", "needed", 1e5),
    ("potential_bar", "potential", 1e5), ("weakest_bar", "weakest", 1e5), ("weakest_part", "weakest_line", None), ("tube_bar", "tube", 1e5)]
HOLD_COLUMNS = [("p_settled_bar", "p_settled", 1e5), ("p_cold_bar", "p_cold", 1e5), ("p_hot_bar", "p_hot", 1e5), ("p_hot_full_bar", "p_hot_full", 1e5), ("p_hold_bar", "p_hold", 1e5),
                ("hold_reserve_min", "hold_reserve", 60), ("clamp_time_s", "clamp_time", 1), ("unclamp_time_s", "unclamp_time", 1)]
PURCHASE = "part_no description kind uom needed ordered order_qty unit_price currency extended circuits supplier lead_time_days status replaced_by need_date order_by promised_date order_part".split()


def text(x, scale=1):
    return "" if x is None else x if isinstance(x, str) else x["part_no"] if scale is None else repr(x / scale) if isinstance(x, float) else str(x)


def write(audit, out):
    out = pathlib.Path(out)
    out.mkdir(parents=True, exist_ok=True)

    def table(name, head, rows):
        with open(out / name, "w", encoding="utf-8", newline="") as f:
            csv.writer(f, lineterminator="\n").writerows([head, *rows])
    head = ["plant", "pallet", "fixture", "circuit", "verdict"]
    head += [f"{s}_{n}" for s in ("clamp", "unclamp") for n, _, _ in SIDE_COLUMNS] + [n for n, _, _ in HOLD_COLUMNS] + ["source", "topup_days", "friction_N", "not_assessed", "not_asked"]
    rows = []
    for place, c in sorted(audit.plant.circuits.items()):
        row = [*place, audit.verdict[place]]
        for s in (c.clamp, c.unclamp):
            row += [text(getattr(s, a), k) if s and c.lines else "" for _, a, k in SIDE_COLUMNS]
        row += [text(getattr(c, a), k) if c.lines else "" for _, a, k in HOLD_COLUMNS]
        row += [c.row["source"], text(c.topup), text(c.friction)]
        rows.append([*row, " ".join(sorted(audit.na[place])), not_asked(c)])
    table("circuits.csv", head, rows)
    rows = [[f["rule"], f["severity"], "waived" if f["waived"] else "open", *f["place"], f["side"], f["position"], f["part_no"],
             text(f["measured"]), text(f["limit"]), f["unit"]] for f in audit.findings]
    table("findings.csv", "rule severity state plant pallet fixture circuit side position part_no measured limit unit".split(), sorted(rows))
    table("purchase.csv", PURCHASE, [[text(x) for x in r] for r in audit.purchase])


def run(folder):
    audit = Audit(Plant(folder))
    audit.run()
    return audit


if __name__ == "__main__":
    for folder, out in zip(sys.argv[1::2], sys.argv[2::2]):
        write(run(folder), out)
