#!/usr/bin/env python3
"""Single edits of a conforming plant, each with the findings that it makes true and no others.

usage: mutate.py OUT              write OUT/base, OUT/<mutant>/, OUT/edits.csv, OUT/expected.csv
       mutate.py OUT --check      the same, and audit every mutant with the reference program
       mutate.py OUT --sample N   a seeded choice of N of them (also with --check)
       mutate.py OUT --against R  compare OUT/expected.csv with R/<mutant>/findings.csv of another program
"""
import collections
import copy
import csv
import math
import pathlib
import random
import sys

import base_plant
import figures as fg
import oracle
from plant import Plant

COLUMNS = "rule plant pallet fixture circuit side position part_no state".split()
BLANK = ("",) * 4


def write(folder, tables):
    folder = pathlib.Path(folder)
    (folder / "lists").mkdir(parents=True, exist_ok=True)
    heads = tables.get("_heads", {})
    for name, rows in tables.items():
        if name == "_heads":
            continue
        if name == "policy":
            (folder / "policy.toml").write_text(rows, "utf-8")
            continue
        with open(folder / f"{name}.csv", "w", encoding="utf-8", newline="") as f:
            w = csv.DictWriter(f, heads.get(name) or list(rows[0]), lineterminator="\n")
            w.writeheader()
            w.writerows(rows)


class Line:
    """A line of the base plant, as the edits speak of it."""

    def __init__(self, table, index, row, book):
        self.table, self.index, self.row = table, index, row
        self.place = tuple(row[k] for k in ("plant", "pallet", "fixture", "circuit"))
        self.part, self.position, self.comp = row["part_no"], row["position"], book.comp[row["part_no"]]
        self.kind, self.side = self.comp["kind"], row["side"] or "clamp"
        self.qty = float(row["qty"])
        fixed = self.kind in ("clamp", "work_support")
        both = book.double(self.place) and (fixed or self.side == "both")
        self.sides = ["clamp", "unclamp"] if both else [self.side if book.double(self.place) else "clamp"]
        self.pieces = self.qty * (float(row["length[mm]"]) / 1000 if row["length[mm]"] else 1)

    def num(self, name):
        key = next(k for k in self.comp if k.split("[")[0] == name)
        return float(self.comp[key]) if self.comp[key] else None


class Book:
    def __init__(self, out):
        self.out, self.base = pathlib.Path(out), base_plant.build()
        self.heads = {k: list(v[0]) for k, v in self.base.items() if k != "policy"}
        self.comp = {r["part_no"]: r for r in self.base["components"]}
        write(self.out / "base", self.base)
        audit = oracle.run(self.out / "base")
        self.circuits = audit.plant.circuits
        self.rows = {tuple(r[k] for k in ("plant", "pallet", "fixture", "circuit")): r for r in self.base["circuits"]}
        self.lines = [Line(t, i, r, self) for t in sorted(self.base) if t.startswith("lists/") for i, r in enumerate(self.base[t])]
        self.order = {o["part_no"]: o for o in self.base["orders"]}
        self.place = {c.place[2] + "/" + c.place[3]: c.place for c in self.circuits.values()}
        self.standing = ("M05", *self.place["F8/1"], "", "", "", "waived")
        self.mutants, self.names = [], collections.Counter()

    # ---- subjects
    def double(self, place):
        return place[2] == "F2"

    def fig(self, place, side="clamp"):
        return getattr(self.circuits[place], side)

    def built(self, place):
        return self.rows[place]["built"] == "yes"

    def on_line(self, rule, l, part=None, position=None):
        return (rule, *l.place, l.side, l.position if position is None else position, part or l.part, "open")

    def on(self, rule, place=BLANK, side="", position="", part=""):
        return (rule, *place, side, position, part, "open")

    def lines_of(self, part):
        return [l for l in self.lines if l.part == part]

    def at(self, place, *kinds):
        return [l for l in self.lines if l.place == place and (not kinds or l.kind in kinds)]

    # ---- one mutant
    def mutant(self, name, why, edits, expect=(), gone=False, note=""):
        """`edits`: (table, row, column, text), (table, row, None) to delete, (table, None, dict) to append, ("policy", old, new).
        `gone`: the standing waived finding is no more."""
        self.names[name] += 1
        if self.names[name] > 1:
            name += f"-{self.names[name]}"
        expected = set(expect) | (set() if gone else {self.standing})
        self.mutants.append((f"{len(self.mutants) + 1:04d}-{name}".replace("/", "_").replace(" ", ""), why, edits, expected, note))

    def column(self, table, name):
        return next(h for h in self.heads[table] if h.split("[")[0] == name)

    def part_edit(self, name, why, part, column, text, expect=(), **k):
        index = next(i for i, r in enumerate(self.base["components"]) if r["part_no"] == part)
        self.mutant(f"{name}-{part}", why, [("components", index, self.column("components", column), base_plant.show(text))], expect, **k)

    def line_edit(self, name, why, l, column, text, expect=(), **k):
        self.mutant(f"{name}-{l.part}-{l.place[2]}", why, [(l.table, l.index, self.column(l.table, column), base_plant.show(text))], expect, **k)

    def row_edit(self, name, why, table, key, column, text, expect=(), **k):
        index = next(i for i, r in enumerate(self.base[table]) if key(r))
        self.mutant(name, why, [(table, index, self.column(table, column), base_plant.show(text))], expect, **k)

    def circuit_edit(self, name, why, place, column, text, expect=(), **k):
        self.row_edit(f"{name}-{place[2]}.{place[3]}", why, "circuits", lambda r: (r["fixture"], r["circuit"]) == place[2:], column, text, expect, **k)

    def station_edit(self, name, why, station, column, text, expect=(), **k):
        self.row_edit(f"{name}-{station}", why, "stations", lambda r: r["station"] == station, column, text, expect, **k)

    def applied(self, edits):
        t = copy.deepcopy(self.base)
        for table, row, *rest in edits:
            if table == "policy":
                assert row in t["policy"], row
                t["policy"] = t["policy"].replace(row, rest[0])
            elif row is None:
                t[table].append(rest[0])
            elif rest[0] is None:
                del t[table][row]
            else:
                assert t[table][row][rest[0]] != rest[1] or rest[0] == "note", (table, row, rest)
                t[table][row][rest[0]] = rest[1]
        t["_heads"] = self.heads
        return t

    # ---- what follows from a change
    def less(self, part, amount, place=None):
        """Fewer pieces needed than ordered."""
        if place and self.built(place):
            return []
        left = float(self.order[part]["qty"]) - amount
        return [self.on("B05" if left < 1e-9 else "B04", part=part)]

    def more(self, l):
        return [] if self.built(l.place) else [self.on("B03", part=l.part)]

    def share_of_cylinder(self, place, side="clamp"):
        """Demand per volume of charging cylinder."""
        c, p = self.circuits[place], self.fig(place, side).p1
        return 1 - math.exp(-p / c.fluid["bulk_modulus"]) + c.fluid["free_air"] * (1 - 101325 / (p + 101325))

    def fill(self, place, side="clamp", swept=0.0, capacity=None):
        """V findings of a side whose swept volume grows by `swept` or whose cylinder changes, m³."""
        s = self.fig(place, side)
        if self.circuits[place].charging != "cylinder":
            return []
        f, cap = self.share_of_cylinder(place, side), capacity or s.capacity
        demand = lambda c: s.demand + swept + (c - s.capacity) * f
        u = demand(cap) / cap
        smaller = [float(r["capacity[cm3]"]) * 1e-6 for r in self.base["components"] if r["kind"] == "charging_cylinder"]
        fits = any(c < cap * (1 - 1e-9) and demand(c) / c <= 0.9 for c in smaller)
        rule = "V01" if u > 0.9 else "V02" if u > 0.85 else "V03" if u < 0.25 and fits else None
        return [self.on(rule, place, side)] if rule else []

    def weakest(self, place, side, w):
        """What follows where the weakest rating of a side falls to w."""
        s, c, out = self.fig(place, side), self.circuits[place], []
        relief = self.at(place, "relief_valve")
        if self.rows[place]["station"] and not relief and s.potential > w:
            out.append(self.on("P13", place, side))
        if 0.95 * w < s.p1 <= w:
            out.append(self.on("P14", place, side))
        if side == "clamp" and c.p_hot is not None and c.p_hot > w:
            out.append(self.on("H01", place))
        return out + [self.on_line("P10", l) for l in relief if l.num("set_pressure") * 1e5 > w]

    def rating(self, l, w, rule=None):
        """What follows where one line's rating falls to w (Pa)."""
        out = []
        for side in l.sides:
            s = self.fig(l.place, side)
            seen = s.p1 if l.kind in ("clamp", "work_support") else s.p_full
            if w < seen:
                out.append(self.on_line(rule or {"charging_cylinder": "P01", "isolation_valve": "P06"}.get(l.kind, "P05"), l))
            if w < s.weakest:
                out += self.weakest(l.place, side, w)
        return out

    def hold(self, place, c):
        """H01 to H03, F01, F02 of a circuit whose trapped oil has the figures `c` (of the reference physics)."""
        row, out = self.rows[place], []
        cell = lambda n: float(row[self.column("circuits", n)])
        pmin = num_of(c.row["pressure_min"], cell("pressure_min") * 1e5)
        if c.p_hot is not None and c.p_hot > c.clamp.weakest:
            out.append(self.on("H01", place))
        if c.p_cold is not None and c.p_cold < pmin:
            out.append(self.on("H02", place))
        elif c.p_hold is not None and c.p_hold < pmin:
            out.append(self.on("H03", place))
        for l in self.at(place, "clamp"):
            force = lambda p: (l.num("force_ratio") or 1) * l.num("area_clamp") * 1e-6 * max(0, p - (0 if self.double(place) else l.num("return_pressure") * 1e5))
            if l.row["force_required[N]"] and c.p_hold is not None and force(c.p_hold) < float(l.row["force_required[N]"]):
                out.append(self.on_line("F01", l))
            if l.num("force_max") and force(max(c.clamp.p1, c.p_hot or 0)) > l.num("force_max"):
                out.append(self.on_line("F02", l))
        for l in self.at(place, "work_support"):
            if l.row["force_required[N]"] and l.num("support_capacity") * c.p_hold / (l.num("rated_pressure") * 1e5) < float(l.row["force_required[N]"]):
                out.append(self.on_line("F01", l))
        return out

    def figures_of(self, edits, place):
        folder = self.out / "scratch"
        write(folder, self.applied(edits))
        audit = oracle.Audit(Plant(folder))
        audit.join()
        audit.line_rules()
        return audit.make(place)

    # ---- results
    def save(self):
        edits, expected = [], []
        for name, why, changes, want, note in self.mutants:
            write(self.out / name, self.applied(changes))
            for table, row, *rest in changes:
                if table == "policy":
                    edits.append([name, why, table, "", row, rest[0], note])
                elif row is None:
                    edits.append([name, why, table, "appended", "", str({k: v for k, v in rest[0].items() if v}), note])
                else:
                    edits.append([name, why, table, row + 2, rest[0] or "deleted", rest[1] if rest[0] else "", note])
            expected += [[name, *f] for f in sorted(want)]
        for file, head, rows in (("edits.csv", "mutant why table row column text ambiguity".split(), edits), ("expected.csv", ["mutant", *COLUMNS], expected)):
            with open(self.out / file, "w", encoding="utf-8", newline="") as f:
                csv.writer(f, lineterminator="\n").writerows([head, *rows])


def num_of(x, default):
    return x if isinstance(x, float) else default


def differences(name, want, got, note):
    if want == got:
        return 0
    print(name, f"(ambiguity {note})" if note else "")
    for f in sorted(want - got):
        print("    missing   ", *f)
    for f in sorted(got - want):
        print("    unexpected", *f)
    return 1


def check(book):
    bad = 0
    for name, _, _, want, note in book.mutants:
        got = {(f["rule"], *f["place"], f["side"], f["position"], f["part_no"], "waived" if f["waived"] else "open") for f in oracle.run(book.out / name).findings}
        bad += differences(name, want, got, note)
    print(f"{len(book.mutants)} mutants, {bad} differ")
    return 1 if bad else 0


def against(out, results):
    want, notes = collections.defaultdict(set), {}
    for r in csv.DictReader(open(out / "edits.csv", encoding="utf-8", newline="")):
        notes[r["mutant"]] = r["ambiguity"]
    for r in csv.DictReader(open(out / "expected.csv", encoding="utf-8", newline="")):
        want[r["mutant"]].add(tuple(r[k] for k in COLUMNS))
    bad = 0
    for name, note in notes.items():
        path = results / name / "findings.csv"
        rows = list(csv.DictReader(open(path, encoding="utf-8-sig", newline=""))) if path.is_file() else []
        state = lambda r: "waived" if r["state"] == "waived" else "open"
        got = {tuple(state(r) if k == "state" else r[k] for k in COLUMNS) for r in rows} if path.is_file() else {("no findings.csv",)}
        bad += differences(name, want[name], got, note)
    print(f"{len(notes)} mutants, {bad} differ")
    return 1 if bad else 0


def main(args):
    import mutants
    out = pathlib.Path(args[0])
    if args[1:2] == ["--against"]:
        return against(out, pathlib.Path(args[2]))
    book = Book(out)
    mutants.everything(book)
    if "--sample" in args:
        n = int(args[args.index("--sample") + 1])
        book.mutants = sorted(random.Random(n).sample(book.mutants, n), key=lambda m: m[0])
    book.save()
    print(len(book.mutants), "mutants,", len({f[0] for m in book.mutants for f in m[3]}), "rules")
    return check(book) if "--check" in args else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
