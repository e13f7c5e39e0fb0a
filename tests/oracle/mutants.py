"""The edits, and what each makes true, reasoned from the contract and the base plant's numbers."""
import math
import random

BAR = 1e5


def everything(b):
    r = random.Random(20260115)
    for group in (harmless, cells, part_numbers, lines_gone, quantities, ratings, missing_figures, volumes, cylinders, kinds, pressures, settings,
                  stations, holding, forces, times, purchase, waivers, policy):
        group(b, r)


# ---- nothing follows
def harmless(b, r):
    for l in r.sample(b.lines, 12):
        b.line_edit("note", "text only", l, "note", "checked")
    for part in r.sample(sorted(b.comp), 8):
        b.part_edit("description", "text only", part, "description", "another word")
        b.part_edit("supplier", "text only", part, "supplier", "South & Co")
    for l in b.lines:
        if l.num("rated_pressure") == 350 and l.kind != "work_support" and l.part not in ("00417", "CV-0"):
            b.part_edit("rating-up", "a higher rating", l.part, "rated_pressure", r.choice([400, 500.5, 1000]))
        if l.row["length[mm]"]:
            b.line_edit("length-unit", "the same length with its unit in the cell", l, "length", f"{float(l.row['length[mm]']) / 1000:g} m")
    for part in r.sample(sorted(b.comp), 6):
        b.mutant(f"same-row-twice-{part}", "a part number twice with the same data", [("components", None, dict(b.comp[part]))])
    for place, row in b.rows.items():
        if row["station"]:
            b.circuit_edit("no-station", "p1 = pressure_set; station rules aren't asked for", place, "station", "")
            b.circuit_edit("station-unknown", "p1 unknown: not assessed, no finding", place, "station", "LS9")
        b.circuit_edit("no-pressure-min", "nothing asks for H02 to H04", place, "pressure_min", "")
        b.circuit_edit("fluid-unknown", "not assessed, no finding", place, "fluid", "mystery")
    for l in b.lines:
        if l.num("leak") is not None:
            b.part_edit("leak-blank", "passes of H03 and F01 are not assessed", l.part, "leak", "") if l.part != "CV-0" else None


# ---- L
def cells(b, r):
    for l in b.lines:
        note = "46" if l.place[2] == "F8" else ""
        bad = r.choice([("length", "63,5 mn"), ("share", "1.5"), ("force_required", "-5"), ("set_pressure", "high"), ("stroke_used", "-3"),
                        ("reduced", "perhaps"), ("precharge", "x7")])
        b.line_edit(f"L04-{bad[0]}", "a cell that can't be read", l, *bad, [b.on_line("L04", l)], note="48")
        for text in r.sample(["", "x", "0", "-2", "1.5"], 2):
            b.line_edit("L02", f"qty {text!r}", l, "qty", text, [b.on_line("L02", l)], note="48")
        if l.kind in ("tube", "hose"):
            for text in ("", "0"):
                b.line_edit("L06", "no length", l, "length", text, [b.on_line("L06", l)], note="48")
            b.line_edit("L04-length", "an unreadable length is L04 only", l, "length", "long", [b.on_line("L04", l)], note="48")
    earlier = {}
    for l in b.lines:
        taken = earlier.setdefault(l.place, [])
        if taken and l.kind not in ("clamp", "work_support"):
            p = r.choice(taken)
            b.line_edit("L03", f"position {p} twice", l, "position", p, [b.on_line("L03", l, position=p)])
        if l.position:
            taken.append(l.position)
    for part, comp in b.comp.items():
        if part in ("CC-S",) or any(l.place[2] == "F8" for l in b.lines_of(part)):
            continue
        column, text = r.choice([("dead_volume", "-1"), ("leak", "tight"), ("min_pressure", "?"), ("stiffness", "12 bananas"), ("elastic_modulus", "n/a")])
        if column == "min_pressure" and part.endswith("-H"):
            column = "dead_volume"
        b.part_edit(f"L04-{column}", "a physical cell of a part", part, column, text, [b.on("L04", part=part)], note="14")
        column, text = r.choice([("unit_price", "ask"), ("lead_time", "-3"), ("pack_qty", "many"), ("status", "old")])
        b.part_edit(f"L04-{column}", "a commercial cell of a part", part, column, text, [b.on("L04", part=part)])
    for place in b.rows:
        for column, text in r.sample([("pressure_min", "-5"), ("temp_min", "cold"), ("hold_time", "overnight"), ("temp_max", "?"), ("clamp_time_max", "fast"),
                                      ("need_date", "01/02/26")], 3):
            b.circuit_edit(f"L04-{column}", "a cell of a circuit", place, column, text, [b.on("L04", place)], note="15")
    for st in ("LS1", "LS2"):
        b.station_edit("L04-setting", "p1 unknown", st, "pump_setting", "max", [b.on("L04", position=st)], note="15")
    for o in r.sample(list(b.order.values()), 10):
        key, where = (lambda x, o=o: x is o or x == o), dict(part=o["part_no"], position=o["order_no"])
        b.row_edit(f"L04-date-{o['part_no']}", "a date that isn't ISO", "orders", key, "promised_date", "1.2.26", [b.on("L04", **where)])
        b.row_edit(f"L04-qty-{o['part_no']}", "an order that can't be read counts as 0", "orders", key, "qty", "two", [b.on("L04", **where), b.on("B03", part=o["part_no"])])
        b.row_edit(f"L04-price-{o['part_no']}", "an order's price", "orders", key, "unit_price", "-1", [b.on("L04", **where)])
    for l in b.lines:
        stroke = l.num("stroke")
        if l.kind not in ("clamp", "work_support"):
            continue
        used, before = 1.2 * stroke, float(l.row["stroke_used[mm]"] or stroke)
        out = [b.on_line("L07", l)]
        for side in l.sides:
            out += b.fill(l.place, side, l.qty * l.num("area_" + side) * (used - before) * 1e-9)
        b.line_edit("L07", "stroke_used above the stroke", l, "stroke_used", used, out)
        b.line_edit("stroke-full", "exactly the stroke", l, "stroke_used", stroke, [f for side in l.sides for f in b.fill(
            l.place, side, l.qty * l.num("area_" + side) * (stroke - before) * 1e-9)]) if str(l.row["stroke_used[mm]"]) != f"{stroke:g}" else None
    for place, row in b.rows.items():
        index, out = b.base["circuits"].index(row), [b.on("L08", place)]
        if row["charging"] in ("coupler", "live"):
            out.append(b.on("M01", place, "clamp"))
        if row["charging"] == "live":
            out += [b.on("M03", place), b.on("M04", place)]
        if row["built"] == "yes":
            out += [b.on("B02", part=l.part) for l in b.at(place)]
        b.mutant(f"L08-{place[2]}.{place[3]}", "a listed circuit without a row", [("circuits", index, None)], out)
    for fixture, circuit in (("F1", "3"), ("F9", "1"), ("F2", "2")):
        row = {**{h: "" for h in b.heads["circuits"]}, "plant": "North", "pallet": "P1", "fixture": fixture, "circuit": circuit, "station": "LS1"}
        b.mutant(f"L08-{fixture}.{circuit}", "a circuit without lines", [("circuits", None, row)], [b.on("L08", ("North", "P1", fixture, circuit))])
    for part in b.comp:
        twin = {**b.comp[part], "description": "something else"}
        b.mutant(f"L11-{part}", "the part number twice, other data; the first row counts", [("components", None, twin)], [b.on("L11", part=part)])
    for l in b.lines:
        if l.table == "lists/a" and l.kind in ("gauge", "fitting", "check_valve", "isolation_valve") and l.qty:
            out = [b.on_line("L12", l), *b.more(l)] + ([b.on_line("L03", l)] if l.position else [])
            b.mutant(f"L12-{l.part}-{l.place[2]}", "the same line in a later file", [("lists/c", None, dict(l.row))], out)


def part_numbers(b, r):
    for l in b.lines:
        for text, rule in r.sample([("ZZ-77", "L01"), (l.part.lower() if l.part != l.part.lower() else "Q1", "L01"), ("1.2E+05", "L05"), ("2026-03-01", "L05")], 2):
            gone = l.place[2] == "F8"
            out = [b.on_line(rule, l, part=text), *b.less(l.part, l.pieces, l.place)]
            if gone:
                out.append(b.on("W02", l.place))
            if l.kind == "reducing_valve":
                out.append(b.on("P11", l.place, "clamp"))
            b.line_edit(f"{rule}-{text}", "the part number isn't in the table", l, "part_no", text, out, gone=gone,
                        note="46" if gone else "63" if l.kind == "reducing_valve" else "")
    for l in b.lines_of("00417"):
        b.line_edit("L05-zeros", "lost zeros", l, "part_no", "417", [b.on_line("L05", l, part="417"), *b.less("00417", l.qty)])


# ---- lines deleted
def lines_gone(b, r):
    for l in b.lines:
        out, uncoupled = b.less(l.part, l.pieces, l.place), b.rows[l.place]["charging"] != "live"
        if l.kind == "charging_cylinder":
            out += [b.on("M01", l.place, side) for side in l.sides]
        if l.kind in ("check_valve", "isolation_valve") and uncoupled:
            out.append(b.on("M03" if l.kind == "check_valve" else "M04", l.place))
        if l.kind == "gauge" and not b.at(l.place, "test_point"):
            out.append(b.on("M05", l.place))
        if l.kind == "filter":
            out.append(b.on("M10", l.place))
        if l.kind == "reducing_valve":
            out.append(b.on("P11", l.place, "clamp"))
        if l.kind in ("clamp", "work_support"):
            used = float(l.row["stroke_used[mm]"] or l.num("stroke"))
            for side in l.sides:
                out += b.fill(l.place, side, -l.qty * l.num("area_" + side) * used * 1e-9)
        b.mutant(f"gone-{l.part}-{l.place[2]}", f"no {l.kind} line", [(l.table, l.index, None)], out)


def quantities(b, r):
    for l in b.lines:
        for n in (l.qty + 1, l.qty - 1):
            if n < 1:
                continue
            out = b.more(l) if n > l.qty else b.less(l.part, l.pieces / l.qty, l.place)
            if l.kind == "charging_cylinder":
                cap = b.fig(l.place, l.side).capacity * n
                out += [b.on("M02", l.place, l.side)] + [f for f in b.fill(l.place, l.side, capacity=cap) if f[0] != "V03"]
            if l.kind in ("clamp", "work_support"):
                used = float(l.row["stroke_used[mm]"] or l.num("stroke"))
                for side in l.sides:
                    out += b.fill(l.place, side, (n - l.qty) * l.num("area_" + side) * used * 1e-9)
                out += supports(b, {l.part: n})
            b.line_edit(f"qty-{n:g}", "another quantity", l, "qty", n, out)


def supports(b, qty=None, capacity=None, rated=None, factor=1.5, ratio=None):
    """F03 of the two supports, each under one clamp line: n × capacity × p1 / rated against factor × clamp force."""
    out = []
    qty, capacity, rated, ratio = qty or {}, capacity or {}, rated or {}, ratio or {}
    p1 = b.fig(b.place["F1/2"]).p1
    for support, clamp in (("WS1-B", "CL1-A"), ("WS2-B", "CL2-A")):
        s, c = b.lines_of(support)[0], b.lines_of(clamp)[0]
        have = qty.get(support, s.qty) * capacity.get(support, s.num("support_capacity")) * p1 / (rated.get(support, s.num("rated_pressure")) * BAR)
        load = qty.get(clamp, c.qty) * ratio.get(clamp, 1) * c.num("area_clamp") * 1e-6 * (p1 - c.num("return_pressure") * BAR)
        if have < factor * load * (1 - 1e-9):
            out.append(b.on_line("F03", s))
    return out


# ---- ratings
def ratings(b, r):
    for part in b.comp:
        lines = b.lines_of(part)
        if not lines or lines[0].kind in ("pump", "drive_ram"):
            continue
        top = max(b.fig(l.place, s).p_full for l in lines for s in l.sides)
        for w in (0.6 * top, 0.99 * top, 1.02 * top, 1.06 * top, 1.085 * top, 1.2 * top):
            w = round(w / BAR, 1)
            if lines[0].kind == "tube" and lines[0].num("rated_pressure") is None:
                tensile = w * 4 * (12**2 + 6**2) / (12**2 - 6**2)
                b.part_edit("P08", "p_tube by the tensile strength", part, "tensile_strength", tensile, [f for l in lines for f in b.rating(l, w * BAR, "P08")])
            else:
                b.part_edit("rating", f"rated at {w:g} bar", part, "rated_pressure", w, [f for l in lines for f in b.rating(l, w * BAR)])
        if lines[0].kind == "tube" and lines[0].num("tensile_strength"):
            w = 0.8 * top
            q = 4 * w / (4500 * BAR)
            D = round(6 * math.sqrt((1 + q) / (1 - q)), 3)
            w = 4500 * BAR / 4 * (D**2 - 36) / (D**2 + 36)
            b.part_edit("P08-wall", "p_tube by the wall", part, "outer_diameter", D, [f for l in lines for f in b.rating(l, w, "P08")])
    for part in ("WS1-B", "WS2-B"):
        for w in (600, 700, 900):
            b.part_edit("support-rating", "capacity is stated at a higher pressure", part, "rated_pressure", w, supports(b, rated={part: w}))
    for part in b.comp:
        lines = b.lines_of(part)
        if lines and part[:3] not in ("CL1", "CL2") or part in ("CL1-A", "CL1-E"):
            top = max(b.fig(l.place, s).p1 for l in lines for s in l.sides) / BAR
            out = [b.on_line("P07", l) for l in lines if any(b.fig(l.place, s).p1 < 1.01 * top * BAR for s in l.sides)]
            b.part_edit("P07", "needs more than the charge pressure", part, "min_pressure", round(1.01 * top, 1), out)
            b.part_edit("min-at", "needs less than any charge pressure", part, "min_pressure", 120)


def missing_figures(b, r):
    needs = {"charging_cylinder": ["rated_pressure", "capacity"], "accumulator": ["rated_pressure", "gas_volume", "precharge"],
             "relief_valve": ["rated_pressure", "set_pressure"], "reducing_valve": ["rated_pressure", "set_pressure"],
             "sequence_valve": ["rated_pressure", "set_pressure"], "hose": ["rated_pressure", "inner_diameter"], "clamp": ["rated_pressure", "stroke"],
             "work_support": ["rated_pressure", "stroke", "area_clamp", "support_capacity"], "gauge": []}
    for part, comp in b.comp.items():
        lines, kind = b.lines_of(part), comp["kind"]
        if part == "CC-S":
            b.part_edit("unused-blank", "a part that nobody uses lacks a figure", part, "rated_pressure", "")
            continue
        if kind == "tube":
            names = ["inner_diameter"] + (["outer_diameter", "tensile_strength"] if comp["tensile_strength[bar]"] else ["rated_pressure"])
        else:
            names = list(needs.get(kind, ["rated_pressure"]))
        if part == "CL2-A":
            names.remove("stroke")                 # its volume is stated: L07 of its stroke_used is not assessed
        if kind == "clamp" and any(l.row["force_required[N]"] for l in lines) or comp["force_max[N]"]:
            names.append("area_clamp")
        for name in names:
            text = "0" if r.random() < 0.3 else ""
            risky = any(l.place[2] == "F8" for l in lines)
            b.part_edit(f"L09-{name}", "a figure that the kind needs", part, name, text, [b.on("L09", part=part)], note="61" if risky else "")
        if kind == "gauge":
            b.part_edit("gauge-scale-only", "rated at its full scale", part, "rated_pressure", "")


def volumes(b, r):
    for part, comp in b.comp.items():
        l = (b.lines_of(part) or [None])[0]
        if l is None or l.kind not in ("clamp", "work_support"):
            continue
        full = l.num("area_clamp") * l.num("stroke") / 1000
        used = float(l.row["stroke_used[mm]"] or l.num("stroke")) / l.num("stroke")
        for k in (1.03, 0.97, 1.015, 1.5):
            swept = max(0.0, l.qty * full * used * (k - 1) * 1e-6)
            out = b.fill(l.place, "clamp", swept) + ([b.on("L10", part=part)] if abs(k - 1) > 0.02 else [])
            b.part_edit(f"L10-{k}", "stated volume against area × stroke", part, "volume_clamp", full * k, out)
        if b.double(l.place):
            full = l.num("area_unclamp") * l.num("stroke") / 1000
            for k in (1.04, 0.95, 1.01):
                out = b.fill(l.place, "unclamp", max(0.0, l.qty * full * used * (k - 1) * 1e-6)) + ([b.on("L10", part=part)] if abs(k - 1) > 0.02 else [])
                b.part_edit(f"L10u-{k}", "stated volume against area × stroke", part, "volume_unclamp", full * k, out)
    b.part_edit("L07-stroke", "the part's stroke below what the line uses; its volume is off, too", "CL2-A", "stroke", 7.5,
                [b.on_line("L07", b.lines_of("CL2-A")[0]), b.on("L10", part="CL2-A")])


# ---- charging cylinders
def cylinders(b, r):
    for l in b.lines:
        if l.kind != "charging_cylinder":
            continue
        s, f = b.fig(l.place, l.side), b.share_of_cylinder(l.place, l.side)
        for u in (0.2, 0.24, 0.3, 0.84, 0.87, 0.899, 0.91, 1.3):
            cap = round((s.demand - s.capacity * f) / (u - f) * 1e6, 3)
            b.part_edit(f"fill-{u}", "another capacity", l.part, "capacity", cap, b.fill(l.place, l.side, capacity=cap * 1e-6))
        if b.rows[l.place]["station"]:
            b.part_edit("M08", "longer than the drive ram's stroke", l.part, "stroke", 101, [b.on_line("M08", l)])
            b.part_edit("M08-at", "exactly the drive ram's stroke", l.part, "stroke", 100)
        station = b.rows[l.place]["station"]
        for column, value, p_full in (("return_loss", 25, 164 * 1.25 - 25), ("return_loss", "", 164 * 1.25), ("pressure_ratio", 1.4, 164 * 1.4 - 5),
                                      ("pressure_ratio", 1.15, 164 * 1.15 - 5)):
            p1 = min(p_full, 150) if b.at(l.place, "reducing_valve") else p_full
            want = s.p1 / BAR
            rule = "P03" if p1 < 0.95 * want else "P11" if p1 > 1.05 * want else None
            b.part_edit(f"{column}-{value}", "another charge pressure", l.part, column, value, [b.on(rule, l.place, l.side)] if station and rule else [])


def kinds(b, r):
    for place, row in b.rows.items():
        clamps = b.at(place, "clamp")
        if row["acting"] == "single":
            out = [b.on_line("M06", l) for l in clamps] + ([b.on("M01", place, "unclamp")] if row["charging"] == "" else [])
            b.circuit_edit("double", "single-acting clamps, stated double", place, "acting", "double", out)
            b.circuit_edit("acting-blank", "the default is what it is", place, "acting", "")
        for charging in ("coupler", "live", "cylinder"):
            if charging == (row["charging"] or "cylinder"):
                continue
            out = []
            if charging == "cylinder":
                out += [b.on("M01", place, "clamp")]
            elif not b.at(place, "filter"):
                out.append(b.on("M10", place))
            if row["charging"] == "live":
                out += [b.on("M03", place), b.on("M04", place)]
            if row["charging"] == "" and row["station"] and not b.at(place, "reducing_valve"):
                out += [b.on("P03", place, s.name) for s in b.circuits[place].sides]        # 164 bar of 200
            b.circuit_edit(charging, "charged another way", place, "charging", charging, out)
    c = b.place["F2/1"]
    b.circuit_edit("single", "double-acting clamps, stated single: both cylinders on one side", c, "acting", "single",
                   [*(b.on_line("M06", l) for l in b.at(c, "clamp")), b.on("M02", c, "clamp")])
    b.circuit_edit("stated-double", "as it is", c, "acting", "double")
    for part, other in (("CL1-C", "CL2-C"), ("CL2-C", "CL1-C")):
        b.part_edit("mixed", "one of two clamps single-acting: the circuit is single-acting", part, "area_unclamp", "",
                    [b.on_line("M06", b.lines_of(other)[0]), b.on("M02", c, "clamp")])
    for l in b.lines:
        if l.kind == "clamp" and not b.double(l.place):
            b.part_edit("M06", "a double-acting clamp in a single-acting circuit", l.part, "area_unclamp", 300, [b.on_line("M06", l)] if b.rows[l.place]["acting"] else [])
    for part in b.comp:
        if b.lines_of(part):
            b.part_edit("M07", "a seal that no fluid suits", part, "seal", "EPDM", [b.on_line("M07", l) for l in b.lines_of(part)])
            out = [b.on_line("M07", l) for l in b.lines_of(part) if l.place == b.place["F5/1"]]
            if b.comp[part]["seal"] != "NBR":
                b.part_edit("seal-NBR", "suits the default fluid, not the ester", part, "seal", "NBR", out)
    for place in b.rows:
        out = [b.on_line("M07", l) for l in b.at(place) if l.comp["seal"] == "NBR"]
        if place != b.place["F5/1"]:
            b.circuit_edit("ester", "another fluid", place, "fluid", "ester", out)


# ---- pressures
def pressures(b, r):
    for place, row in b.rows.items():
        sides, p = b.circuits[place].sides, float(row["pressure_set[bar]"])
        if row["station"]:
            for k, rule in ((1.1, "P03"), (1.3, "P03"), (1.02, None), (0.97, None), (0.9, "P11"), (0.75, "P11")):
                b.circuit_edit(f"set-{k}", "another wanted pressure", place, "pressure_set", p * k, [b.on(rule, place, s.name) for s in sides] if rule else [])
            other = "LS2" if row["station"] == "LS1" else "LS1"
            pump = {"LS1": 164, "LS2": 150}[other]
            p1 = pump if row["charging"] else pump * 1.25 - 5
            p1 = min(p1, 150) if b.at(place, "reducing_valve") else p1
            rule = "P03" if p1 < 0.95 * p else "P11" if p1 > 1.05 * p else None
            b.circuit_edit("station", "another station", place, "station", other, [b.on(rule, place, s.name) for s in sides] if rule else [])
    g = b.place["F6/1"]
    gauge = b.at(g, "gauge")[0]
    b.circuit_edit("set-345", "charged by hand near the ratings", g, "pressure_set", 345, [b.on("P14", g, "clamp"), b.on("H01", g), b.on_line("P12", gauge)])
    b.circuit_edit("set-380", "charged by hand above the ratings", g, "pressure_set", 380,
                   [b.on("H01", g), b.on_line("P12", gauge), *(f for l in b.at(g) if l.num("rated_pressure") == 350 for f in [b.on_line(
                       {"charging_cylinder": "P01", "isolation_valve": "P06"}.get(l.kind, "P05"), l)])])
    for l in b.lines:
        if l.kind == "gauge":
            p = b.fig(l.place).p_full / BAR
            for full, rule in ((p / 0.2, "P12"), (p / 0.8, "P12"), (p / 0.3, None), (p / 0.7, None), (p / 0.75, None), (p / 0.25, None)):
                if f"{full:.12g}" != l.comp["full_scale[bar]"]:
                    b.part_edit(f"scale-{full:.0f}", "another full scale", l.part, "full_scale", full, [b.on_line("P12", l)] if rule else [])


def settings(b, r):
    sq, rv, rd = (b.lines_of(p)[0] for p in ("SQ-H", "RV-F", "RD-H"))
    for value, rule in ((134, None), (135, None), (136, "P09"), (200, "P09"), (30, None), (29, "P09")):
        out = [b.on_line("P09", sq)] if rule else []
        b.part_edit(f"set-{value}", "sequence valve", "SQ-H", "set_pressure", value, out)
        b.line_edit(f"line-set-{value}", "the setting of this piece", sq, "set_pressure", value, out)
    for part in ("CL1-H", "CL2-H"):
        b.part_edit("min-90", "the lowest min_pressure is what counts", part, "min_pressure", 90)
        b.part_edit("P07", "above the charge pressure", part, "min_pressure", 151, [b.on_line("P07", b.lines_of(part)[0])])
    for value, rule in ((349, None), (350, None), (351, "P10"), (210, None), (200, "P10"), (195, "P10")):
        out = [b.on_line("P10", rv)] if rule else []
        b.part_edit(f"set-{value}", "relief valve", "RV-F", "set_pressure", value, out)
        b.line_edit(f"line-set-{value}", "the setting of this piece", rv, "set_pressure", value, out)
    h = b.place["F7/1"]
    for value, rule in ((140, "P03"), (143, None), (157, None), (160, "P11")):
        b.part_edit(f"set-{value}", "reducing valve", "RD-H", "set_pressure", value, [b.on(rule, h, "clamp")] if rule else [])
        b.line_edit(f"line-set-{value}", "the setting of this piece", rd, "set_pressure", value, [b.on(rule, h, "clamp")] if rule else [])
    ac = b.lines_of("AC-F")[0]
    for value, rule in ((50, None), (49, "H04"), (90, None), (91, "H04"), (60, None)):
        out = [b.on_line("H04", ac)] if rule else []
        b.part_edit(f"precharge-{value}", "accumulator", "AC-F", "precharge", value, out)
        b.line_edit(f"line-precharge-{value}", "the precharge of this piece", ac, "precharge", value, out)


def stations(b, r):
    use = lambda st: [(p, s) for p, row in b.rows.items() if row["station"] == st for s in b.circuits[p].sides]
    for st, value in [("LS1", v) for v in (150, 155, 156, 158, 170, 172, 173, 178, 180, 185, "")] + [("LS2", v) for v in (140, 143, 142.5, 155, 157.5, 160, 175, "")]:
        rated = {"LS1": 180, "LS2": 170}[st]
        pump, out = min(value or rated, rated), [b.on("P04", position=st)] if value and value > rated else []
        for place, s in use(st):
            p1 = pump if b.rows[place]["charging"] else pump * 1.25 - 5
            p1 = min(p1, 150) if b.at(place, "reducing_valve") else p1
            want = s.p1 / BAR
            rule = "P03" if p1 < 0.95 * want * (1 - 1e-9) else "P11" if p1 > 1.05 * want * (1 + 1e-9) else None
            out += [b.on(rule, place, s.name)] if rule else []
        b.station_edit(f"setting-{value}", "another pump setting", st, "pump_setting", value, out)
    for st, ram, setting in (("LS1", "DR-1", 164), ("LS2", "DR-2", 150)):
        for value in (setting - 1, setting, setting + 1):
            b.part_edit(f"ram-{value}", "drive ram's rating", ram, "rated_pressure", value, [b.on("P02", position=st)] if value < setting else [])
        b.station_edit("L01-ram", "drive ram not in the table", st, "drive_ram", "DR-9", [b.on("L01", position=st), *b.less(ram, 1)])
        pump = {"LS1": "PU-1", "LS2": "PU-2"}[st]
        b.station_edit("L01-pump", "pump not in the table", st, "pump", "PU-9", [b.on("L01", position=st), *b.less(pump, 1)])
        b.station_edit("built", "nothing is bought for it", st, "built", "yes", [*b.less(ram, 1), *b.less(pump, 1)])
        b.mutant(f"station-gone-{st}", "p1 unknown; its parts are needed nowhere", [("stations", b.base["stations"].index(next(s for s in b.base["stations"] if s["station"] == st)), None)],
                 [*b.less(ram, 1), *b.less(pump, 1)])
    b.part_edit("ram-stroke", "shorter than the charging cylinders", "DR-1", "stroke", 55,
                [b.on_line("M08", l) for l in b.lines if l.kind == "charging_cylinder" and b.rows[l.place]["station"]])
    b.part_edit("ram-no-stroke", "M08 is not assessed", "DR-1", "stroke", "")
    for pump, st in (("PU-1", "LS1"), ("PU-2", "LS2")):
        for cap in (10, 13, 21, 22, 25, 31, 41, 45):
            out = [b.on("M09", p, s.name) for p, s in use(st) if cap * 1e-6 < s.ratio * s.demand]
            b.part_edit(f"capacity-{cap}", "usable oil of the pump", pump, "capacity", cap, out)
        b.part_edit("no-capacity", "M09 isn't asked for", pump, "capacity", "", note="6")
        for rated in (284, 285, 340, 360):
            potential = lambda s: rated if st == "LS2" else rated * 1.25 - 5
            out = [b.on("P13", p, s.name) for p, s in use(st) if potential(s) > s.weakest / BAR * (1 + 1e-9) and not b.at(p, "relief_valve")]
            b.part_edit(f"rated-{rated}", "potential pressure", pump, "rated_pressure", rated, out)
    b.part_edit("rated-150", "pump rated below its setting: it gives 150 bar", "PU-1", "rated_pressure", 150,
                [b.on("P04", position="LS1"), *(b.on("P03", p, s.name) for p, s in use("LS1") if not b.at(p, "reducing_valve"))])
    b.part_edit("rated-149", "pump rated just below its setting", "PU-2", "rated_pressure", 149, [b.on("P04", position="LS2")])


# ---- hold
def holding(b, r):
    column = lambda n: b.column("circuits", n)
    for place, row in b.rows.items():
        c, index = b.circuits[place], b.base["circuits"].index(row)
        if row["charging"] == "live":
            b.circuit_edit("pressure-min", "no hold rules", place, "pressure_min", 500)
            continue
        precharge = [l for l in b.at(place, "accumulator")]
        for p in (c.p_cold * 1.01, c.p_cold * 0.999, (c.p_cold + c.p_hold) / 2, c.p_hold * 0.998, 130e5, 160e5):
            p = round(p / BAR, 2)
            rule = "H02" if p * BAR > c.p_cold else "H03" if p * BAR > c.p_hold else None
            out = [b.on(rule, place)] if rule else []
            out += [b.on_line("H04", l) for l in precharge if not 0.5 * p <= l.num("precharge") <= 0.9 * p]
            b.circuit_edit(f"min-{p:g}", "another pressure_min", place, "pressure_min", p, out)
        for name, values in (("temp_min", (2, 8, 14, 19.9)), ("temp_max", (30, 38, 45)), ("hold_time", (0, 600, 1500, 3000, 90000))):
            for v in values:
                edits = [("circuits", index, column(name), f"{v:g}")]
                b.mutant(f"{name}-{v:g}-{place[2]}.{place[3]}", "trapped oil", edits, b.hold(place, b.figures_of(edits, place)))
        for l in b.at(place, "isolation_valve"):
            i = next(i for i, x in enumerate(b.base["components"]) if x["part_no"] == l.part)
            for leak in ("0.001", "0.004", "0.02", "0.2"):
                edits = [("components", i, b.column("components", "leak"), leak)]
                b.mutant(f"leak-{leak}-{l.part}", "a leak", edits, b.hold(place, b.figures_of(edits, place)))


def forces(b, r):
    for l in b.lines:
        c, live = b.circuits[l.place], b.rows[l.place]["charging"] == "live"
        if l.kind == "clamp":
            spring = 0 if b.double(l.place) else l.num("return_pressure") * BAR
            force = lambda p: (l.num("force_ratio") or 1) * l.num("area_clamp") * 1e-6 * (p - spring)
            low, high = (c.clamp.p1, c.clamp.p1) if live else (c.p_hold, max(c.clamp.p1, c.p_hot))
            for k, rule in ((1.02, "F01"), (0.99, None), (2, "F01")):
                b.line_edit(f"force-{k}", "another force", l, "force_required", round(force(low) * k, 1), [b.on_line("F01", l)] if rule else [])
            for k, rule in ((0.98, "F02"), (1.01, None), (0.5, "F02")):
                b.part_edit(f"force-max-{k}", "another limit", l.part, "force_max", round(force(high) * k, 1), [b.on_line("F02", l)] if rule else [])
            if not live:
                between = (force(c.clamp.p1) + force(c.p_hot)) / 2
                b.part_edit("force-max-hot", "exceeded when warm only", l.part, "force_max", round(between, 1), [b.on_line("F02", l)])
        if l.kind == "work_support":
            for k in (0.4, 0.45, 0.48, 0.5, 0.55, 0.7):
                cap = round(l.num("support_capacity") * k)
                out = supports(b, capacity={l.part: cap})
                b.part_edit(f"capacity-{k}", "another capacity", l.part, "support_capacity", cap, out)
            for need, rule in ((40000, "F01"), (20000, None)):
                b.line_edit(f"force-{need}", "force asked of a support", l, "force_required", need, [b.on_line("F01", l)] if rule else [])
            b.line_edit("supports-nothing", "F03 is not assessed", l, "supports", "999")
    for part in ("CL1-A", "CL2-A"):
        for k in (1.5, 2.5):
            l, c = b.lines_of(part)[0], b.circuits[b.place["F1/1"]]
            most = l.num("force_max")
            hot = k * l.num("area_clamp") * 1e-6 * (c.p_hot - l.num("return_pressure") * BAR)
            out = supports(b, ratio={part: k}) + ([b.on_line("F02", l)] if most and hot > most else [])
            b.part_edit(f"force-ratio-{k}", "a stronger clamp on a support", part, "force_ratio", k, out)


def times(b, r):
    for place, row in b.rows.items():
        c = b.circuits[place]
        for column, t, rule in (("clamp_time_max", c.clamp_time, "T01"), ("unclamp_time_max", c.unclamp_time, "T02")):
            if t is not None:
                b.circuit_edit(f"{rule}-above", "too slow", place, column, f"{t * 0.95:.6g}", [b.on(rule, place)])
                b.circuit_edit(f"{rule}-below", "fast enough", place, column, f"{t * 1.05:.6g}")
                b.circuit_edit(f"{rule}-min", "a limit in minutes", place, column, f"{t * 0.95 / 60:.6g} min", [b.on(rule, place)])
    for pump, st in (("PU-1", "LS1"), ("PU-2", "LS2")):
        for flow in (0.05, 0.03, 0.02):
            out = []
            for place, row in b.rows.items():
                s = b.fig(place)
                if row["station"] == st:
                    high = flow if st == "LS1" else 1.5
                    t = s.ratio * (s.swept / flow + (s.demand - s.swept) / high) * 60e3
                    out += [b.on("T01", place)] if t > 20 else []
            b.part_edit(f"flow-{flow}", "a slow pump", pump, "flow", flow, out)
        b.part_edit("flow-blank", "T01 is not assessed", pump, "flow", "")
    t = b.circuits[b.place["F1/1"]].unclamp_time
    for part in ("CL1-A", "CL2-A"):
        for p in (0.02, 0.05, 1):
            b.part_edit(f"spring-{p}", "the lowest return pressure counts", part, "return_pressure", p, [b.on("T02", b.place["F1/1"])] if t * 5 / p > 20 else [])


# ---- purchase
def purchase(b, r):
    for part, o in b.order.items():
        index, where, n = b.base["orders"].index(o), dict(part=part, position=o["order_no"]), float(o["qty"])
        edit = lambda name, why, column, text, out, **k: b.mutant(f"{name}-{part}", why, [("orders", index, column, text)], out, **k)
        kind = b.comp[part]["kind"]
        b.mutant(f"B02-{part}", "needed and not ordered", [("orders", index, None)], [b.on("B02", part=part)])
        edit("B03", "ordered too little", "qty", f"{n - (0.25 if n < 1.5 else 1):g}", [b.on("B03", part=part)])
        edit("B04", "ordered too much", "qty", f"{n + 1:g}", [b.on("B04", part=part)])
        edit("B06", "promised too late", "promised_date", "2026-03-02", [b.on("B06", **where)], note="51" if kind in ("pump", "drive_ram") else "")
        edit("date-at", "promised for the day", "promised_date", "2026-03-01", [])
        wrong = "each" if kind in ("tube", "hose") else "m"
        edit("B07", "a unit that can't be converted", "uom", wrong, [b.on("B07", **where), b.on("B03", part=part)])
        edit("B08", "dearer than the table says", "unit_price", "106", [b.on("B08", **where)])
        edit("price-at", "dearer by the tolerance", "unit_price", "105", [])
        edit("currency", "prices of two currencies", "currency", "USD", [])
        if kind in ("tube", "hose"):
            b.mutant(f"feet-{part}", "metres ordered as feet", [("orders", index, "uom", "ft")], [b.on("B03", part=part)])
        b.part_edit("B01", "obsolete", part, "status", "obsolete", [b.on("B01", part=part)])
        b.part_edit("B08-table", "the table's price is lower", part, "unit_price", 90, [b.on("B08", **where)])
    for part in r.sample(sorted(b.order), 12):
        o = b.order[part]
        index = b.base["orders"].index(o)
        lead = [("orders", index, "promised_date", "")]
        b.mutant(f"lead-{part}", "today + 10 days", lead, [])
    for part in ["CC-S", "CL1-G", "CC-G", "NEW-1"]:
        row = {**{h: "" for h in b.heads["orders"]}, "part_no": part, "qty": "1", "order_no": "O-99"}
        b.mutant(f"B05-{part}", "ordered, needed nowhere", [("orders", None, row)], [b.on("B05", part=part)])
    for place, row in b.rows.items():
        parts = {l.part for l in b.at(place)}
        st = next((s for s in b.base["stations"] if s["station"] == row["station"]), None)
        late = [b.on("B06", part=p, position=b.order[p]["order_no"]) for p in parts | ({st["pump"], st["drive_ram"]} if st else set()) if p in b.order]
        b.circuit_edit("need-early", "needed before the orders come", place, "need_date", "2026-01-31", [] if b.built(place) else late, note="51")
        b.circuit_edit("need-at", "needed on the day", place, "need_date", "2026-02-01")
        if b.built(place):
            b.circuit_edit("not-built", "its parts are to be bought", place, "built", "no", [b.on("B02", part=p) for p in parts])
        else:
            out = [f for l in b.at(place) for f in b.less(l.part, l.pieces)]
            b.circuit_edit("built", "nothing is bought for it", place, "built", "yes", out)


def waivers(b, r):
    place = b.place["F8/1"]
    counts = b.on("M05", place)
    edit = lambda name, column, text, out, gone=True, **k: b.mutant(f"waiver-{name}", "the waiver of M05", [("waivers", 0, column, text)], out, gone=gone, **k)
    edit("expired", "expires", "2026-01-14", [counts, b.on("W01", place)])
    edit("last-day", "expires", "2026-01-15", [b.on("W02", place)], gone=False)
    edit("soon", "expires", "2026-02-10", [b.on("W02", place)], gone=False)
    edit("notice-over", "expires", "2026-02-15", [], gone=False)
    edit("no-reason", "reason", "", [counts, b.on("W01", place)])
    edit("no-approval", "approved_by", "", [counts, b.on("W01", place)])
    edit("no-date", "expires", "", [counts, b.on("W01", place)])
    edit("no-rule", "rule", "", [counts, b.on("W01", place)])
    edit("bad-date", "expires", "31.12.26", [counts, b.on("L04", place)], note="46")
    edit("bad-rule", "rule", "M99", [counts, b.on("L04", place)], note="46")
    for rule in ("M04", "V01", "P05", "H02", "F03"):
        edit(f"rule-{rule}", "rule", rule, [counts, b.on("W02", place)])
    edit("fixture", "fixture", "F7", [counts, b.on("W02", (*place[:2], "F7", "1"))])
    edit("position", "position", "10", [counts, b.on("W02", place, position="10")])
    for column in ("plant", "pallet", "circuit"):
        edit(f"any-{column}", column, "*", [], gone=False)
        edit(f"empty-{column}", column, "", [], gone=False)
    b.mutant("waiver-gone", "no waiver", [("waivers", 0, None)], [counts], gone=True)
    for i, rule in enumerate(("V01", "P12", "B02", "L01", "M05")):
        row = {**b.base["waivers"][0], "rule": rule, "fixture": "F1"}
        b.mutant(f"waiver-added-{rule}", "a waiver that matches nothing", [("waivers", None, row)], [b.on("W02", (*place[:2], "F1", "1"))])


def policy(b, r):
    sides = [(p, s) for p, c in b.circuits.items() for s in c.sides]
    limit = lambda key, value, out, **k: b.mutant(f"limit-{key}-{value}", "another limit", [("policy", "[limits]", f"[limits]\n{key} = {value}")], out, **k)
    cylinder = [(p, s) for p, s in sides if s.fill is not None]
    for u in (0.53, 0.55, 0.57, 0.61, 0.7):
        limit("fill_watch", u, [b.on("V02", p, s.name) for p, s in cylinder if s.fill > u])
    for u in (0.53, 0.556, 0.3):
        limit("fill_low", u, [b.on("V03", p, s.name) for p, s in cylinder if s.fill < u])
    gauges = b_lines(b, "gauge")
    for k in (0.4, 0.45, 0.48, 0.52):
        limit("gauge_high", k, [b.on_line("P12", l) for l in gauges if b.fig(l.place).p_full > k * 400e5 * (1 + 1e-9)])
    for k in (0.36, 0.4, 0.46):
        limit("gauge_low", k, [b.on_line("P12", l) for l in gauges if b.fig(l.place).p_full < k * 400e5 * (1 - 1e-9)])
    for k in (0.4, 0.45, 0.5, 0.55):
        limit("pressure_watch", k, [b.on("P14", p, s.name) for p, s in sides if s.p1 > k * s.weakest * (1 + 1e-9)])
    for factor in (8, 12, 12.5, 14, 20):
        p_tube = 4500e5 / factor * 0.6
        out = []
        for l in b_lines(b, "tube"):
            if l.num("tensile_strength"):
                out += b.rating(l, p_tube, "P08")
        limit("design_factor", factor, out)
    for k, n in ((0.5, 1), (0.53, 1), (0.54, 0), (0.6, 0)):
        limit("sequence_high", k, [b.on_line("P09", b.lines_of("SQ-H")[0])] if n else [])
    for k in (0.6, 0.7, 0.75):
        limit("precharge_low", k, [b.on_line("H04", b.lines_of("AC-F")[0])] if k > 0.7 else [])
    for k in (0.65, 0.7, 0.8):
        limit("precharge_high", k, [b.on_line("H04", b.lines_of("AC-F")[0])] if k < 0.7 else [])
    for k in (1.2, 2.5, 2.95, 3.1, 3.5):
        limit("support_factor", k, supports(b, factor=k))
    limit("pressure_ratio", 0.8, [])
    limit("price_tolerance", 0.01, [])
    place = b.place["F8/1"]
    b.mutant("notice", "a longer notice", [("policy", "waiver_notice = 30", "waiver_notice = 365")], [b.on("W02", place)])
    for date, out, gone in (("2026-11-20", [], False), ("2026-12-10", [b.on("W02", place)], False), ("2027-01-01", [b.on("W01", place), b.on("M05", place)], True)):
        b.mutant(f"date-{date}", "another day", [("policy", 'date = "2026-01-15"', f'date = "{date}"')], out, gone=gone)
    b.mutant("ideal", "ideal gas", [("policy", "[limits]", '[gas]\nmodel = "ideal"\n[limits]')])
    b.mutant("off-M05", "the waived rule is off", [("policy", "[limits]", '[rules]\nM05 = "off"\n[limits]')], [b.on("W02", place)], gone=True, note="47")
    b.mutant("off-V01", "another rule is off", [("policy", "[limits]", '[rules]\nV01 = "off"\n[limits]')])


def b_lines(b, kind):
    return [l for l in b.lines if l.kind == kind]
