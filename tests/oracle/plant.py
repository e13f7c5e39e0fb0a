"""Reads a plant folder of clean CSV files: cells to SI values, None = blank, BAD = can't be read."""
import csv
import datetime
import pathlib
import re
import tomllib
import unicodedata

BAD = type("Bad", (), {"__repr__": lambda s: "BAD"})()
IN, LBF, GAL = 0.0254, 0.45359237 * 9.80665, 231 * 0.0254**3
UNITS = {
    "len": {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": IN, "ft": 12 * IN},
    "area": {"mm2": 1e-6, "cm2": 1e-4, "in2": IN**2},
    "vol": {"mm3": 1e-9, "cm3": 1e-6, "ml": 1e-6, "l": 1e-3, "in3": IN**3, "gal": GAL},
    "press": {"pa": 1.0, "kpa": 1e3, "mpa": 1e6, "gpa": 1e9, "n/mm2": 1e6, "bar": 1e5, "psi": LBF / IN**2},
    "force": {"n": 1.0, "kn": 1e3, "lbf": LBF},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "flow": {"l/min": 1e-3 / 60, "ml/min": 1e-6 / 60, "cm3/min": 1e-6 / 60, "cm3/h": 1e-6 / 3600,
             "gal/min": GAL / 60, "in3/min": IN**3 / 60, "in3/h": IN**3 / 3600},
    "stiff": {"n/mm": 1e3, "kn/mm": 1e6, "lbf/in": LBF / IN},
    "expan": {"cm3/m": 1e-6, "in3/ft": IN**3 / (12 * IN)},
    "arm": {"1/mm": 1e3, "1/in": 1 / IN},
    "temp": {"degc": None, "degf": None, "k": None, "°c": None, "°f": None},
}
UNITS["leak"] = UNITS["flow"]
UNITS["seconds"] = UNITS["time"]
DEFAULT_UNIT = {
    "metric": {"len": "mm", "area": "mm2", "vol": "cm3", "press": "bar", "force": "n", "time": "min", "flow": "l/min",
               "stiff": "n/mm", "expan": "cm3/m", "arm": "1/mm", "temp": "degc", "leak": "cm3/min", "seconds": "s"},
    "us": {"len": "in", "area": "in2", "vol": "in3", "press": "psi", "force": "lbf", "time": "min", "flow": "gal/min",
           "stiff": "lbf/in", "expan": "in3/ft", "arm": "1/in", "temp": "degf", "leak": "in3/min", "seconds": "s"},
}
KINDS = """clamp work_support charging_cylinder drive_ram pump check_valve isolation_valve relief_valve reducing_valve
sequence_valve flow_control accumulator gauge test_point tube hose manifold fitting coupling filter other""".split()
LIST = dict(plant="text", pallet="text", fixture="text", circuit="text", position="text", part_no="part", qty="qty",
            length="len", stroke_used="len", side=("clamp", "unclamp", "both"), share="share", force_required="force",
            set_pressure="press", precharge="press", zone=("charge", "full", "reduced"), step="num", arm_length="len",
            grip_length="len", fitted_on="date", supports="text", note="text")
COMPONENT = dict(
    part_no="part", kind=tuple(KINDS), description="text", rated_pressure="press", min_pressure="press", area_clamp="area",
    area_unclamp="area", piston_area="area", stroke="len", volume_clamp="vol", volume_unclamp="vol", dead_volume="vol", capacity="vol",
    pressure_ratio="num", return_loss="press", set_pressure="press", full_scale="press", inner_diameter="len",
    outer_diameter="len", tensile_strength="press", elastic_modulus="press", poisson="num", expansion="expan",
    gas_volume="vol", precharge="press", flow="flow", flow_high="flow", leak="leak", return_pressure="press",
    stiffness="stiff", force_ratio="num", arm_rated="len", arm_factor="arm", time_min="seconds", force_max="force",
    support_capacity="force", capacity_from="press", closing_volume="vol", kv="num", accuracy="num", air_ratio="num",
    family="text", service_life="num", cycle_life="num", includes="kinds", seal="text",
    status=("active", "obsolete"), replaced_by="part", uom=("each", "m", "ft"), unit_price="num", currency="text",
    lead_time="num", supplier="text", pack_qty="num")
CIRCUIT = dict(plant="text", pallet="text", fixture="text", circuit="text", acting=("single", "double"),
               charging=("cylinder", "coupler", "live"), station="text", pressure_set="press", pressure_min="press",
               temp_charge="temp", temp_min="temp", temp_max="temp", hold_time="time", clamp_time_max="seconds",
               unclamp_time_max="seconds", fluid="text", need_date="date", built=("yes", "no"), source="text", dwell="seconds",
               cycles_per_day="num", cutting_force="force", friction="share", part_expansion="num", topped_up="date")
STATION = dict(station="text", pump="part", drive_ram="part", pump_setting="press", relief_setting="press",
               air_pressure="press", built=("yes", "no"))
ORDER = dict(part_no="part", qty="num", uom=("each", "m", "ft"), order_no="text", supplier="text", unit_price="num",
             currency="text", promised_date="date", received="num")
COMMERCIAL = {"description", "seal", "status", "replaced_by", "uom", "unit_price", "currency", "lead_time", "supplier", "pack_qty",
              "family", "service_life", "cycle_life"}
ZERO_OK = {"dead_volume", "return_loss", "return_pressure", "min_pressure", "leak", "expansion", "poisson", "share",
           "unit_price", "lead_time", "qty", "temp_charge", "temp_min", "temp_max",
           "closing_volume", "capacity_from", "arm_factor", "grip_length", "dwell", "received", "friction", "cutting_force", "accuracy",
           "part_expansion"}
RULES = dict(
    L01="major", L02="major", L03="minor", L04="major", L05="minor", L06="major", L07="major", L08="minor", L09="major",
    L10="observation", L11="major", L12="minor", L13="minor", M01="major", M02="minor", M03="major", M04="major",
    M05="minor", M06="major", M07="major", M08="observation", M09="major", M10="observation", M11="major", M12="minor",
    V01="major", V02="observation", V03="observation", V04="minor", P01="major", P02="major", P03="major", P04="major",
    P05="major", P06="major", P07="major", P08="major", P09="major", P10="major", P11="minor", P12="minor", P13="major",
    P14="observation", P15="minor", P16="major", P17="minor", H01="major", H02="major", H03="major", H04="minor",
    F01="major", F02="major", F03="major", F04="major", T01="minor", T02="minor", T03="minor", B01="minor", B02="major",
    B03="major", B04="observation", B05="observation", B06="minor", B07="major", B08="observation", B09="minor", B10="minor",
    U01="minor", U02="observation", U03="minor", W01="major", W02="observation")
WAIVER = dict(plant="text", pallet="text", fixture="text", circuit="text", position="text", rule=tuple(RULES),
              reason="text", approved_by="text", expires="date")
POLICY = dict(
    units="metric", date="",
    limits=dict(fill=0.90, fill_watch=0.85, fill_low=0.25, pressure_ratio=0.5, pressure_watch=0.95, gauge_low=0.25,
                gauge_high=0.75, design_factor=4.0, sequence_high=0.90, precharge_low=0.5, precharge_high=0.9,
                support_factor=1.5, pressure_tolerance=0.05, catalogue_tolerance=0.02, relief_margin=0.10, relief_reseat=0.90,
                sequence_low=1.10, cutting_factor=2.0, contacts=2, topup_days=30, dwell_settled=30, waiver_notice=30,
                price_tolerance=0.05),
    metal=dict(linear_expansion=11.7e-6, part_expansion=11.7e-6), gas=dict(model="real"), fluids={},
    asked=dict(uncoupled=["pressure_min", "hold_time", "temp_min", "temp_max"], live=[]), rules={}, columns={}, mail={})
FLUID = dict(bulk_modulus=1.5e9, thermal_expansion=7.0e-4, bulk_modulus_high=1.75e9, free_air=0.005, free_air_low=0.0,
             specific_heat=1900.0, leak_viscosity=0, density=870.0, viscosity_40=32.0, viscosity_100=5.36,
             seals=["NBR", "FKM", "PU"])


def squash(text):
    return re.sub(r"[\s_\-.]", "", unicodedata.normalize("NFKC", text)).casefold()


def load_policy(folder):
    path = folder / "policy.toml"
    given = tomllib.loads(path.read_text("utf-8")) if path.is_file() else {}
    out = {k: (dict(v) if isinstance(v, dict) else v) for k, v in POLICY.items()}
    for key, value in given.items():
        if isinstance(value, dict) and key != "fluids":
            out[key].update(value)
        elif key != "fluids":
            out[key] = value
    fluids = {"default": {}, **given.get("fluids", {})}
    out["fluids"] = {name: {**FLUID, **values} for name, values in fluids.items()}
    out["today"] = datetime.date.fromisoformat(out["date"]) if out["date"] else datetime.date.today()
    return out


def quantity(text, dim, unit):
    m = re.fullmatch(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z°/].*)?", text)
    if not m:
        return BAD
    value = float(m[1])
    if m[2]:
        unit = m[2].replace("²", "2").replace("³", "3").strip().casefold()
        if unit not in UNITS.get(dim, {}):
            return BAD
    if dim == "temp":
        return {"k": value, "degf": (value - 32) / 1.8 + 273.15, "°f": (value - 32) / 1.8 + 273.15}.get(unit, value + 273.15)
    return value * UNITS[dim][unit] if dim in UNITS else value


def cell(name, kind, text, unit):
    """One cell's value: SI number, word, text, date, None or BAD."""
    text = unicodedata.normalize("NFKC", text).replace("\u00a0", " ").strip()
    if text == "":
        return [] if kind == "kinds" else "" if kind in ("text", "part") else None
    if kind in ("text", "part"):
        return text
    if isinstance(kind, tuple):
        return {squash(w): w for w in kind}.get(squash(text), BAD)
    if kind == "kinds":
        words = [{squash(w): w for w in KINDS}.get(squash(t), BAD) for t in text.split()]
        return BAD if BAD in words else words
    if kind == "date":
        try:
            return datetime.date.fromisoformat(text) if re.fullmatch(r"\d{4}-\d\d-\d\d", text) else BAD
        except ValueError:
            return BAD
    value = quantity(text, "num" if kind in ("qty", "share") else kind, unit)
    if value is BAD or kind == "qty":
        return value
    if kind == "share" and not 0 <= value <= 1 or kind != "temp" and value < 0:
        return BAD
    return None if value == 0 and name not in ZERO_OK else value


def edits(a, b):
    """Letters added, left out, replaced or swapped between two words."""
    d = {(i, -1): i + 1 for i in range(-1, len(a))} | {(-1, j): j + 1 for j in range(-1, len(b))}
    for i in range(len(a)):
        for j in range(len(b)):
            d[i, j] = min(d[i - 1, j] + 1, d[i, j - 1] + 1, d[i - 1, j - 1] + (a[i] != b[j]))
            if i and j and a[i] == b[j - 1] and a[i - 1] == b[j]:
                d[i, j] = min(d[i, j], d[i - 2, j - 2] + 1)
    return d[len(a) - 1, len(b) - 1]


def near_column(head, columns, present):
    """The known column that an unknown header (without its unit) looks like and that the table lacks, or None."""
    name = re.sub(r"\s*[\[(][^\])]*[\])]\s*$", "", head).strip()
    words = sorted(w for w in re.split(r"[\s_\-.]+", unicodedata.normalize("NFKC", name).casefold()) if w)
    for key in columns:
        if key in present:
            continue
        want, a, b = sorted(key.split("_")), squash(name), squash(key)
        n = edits(a, b)
        if n <= 2 and 3 * n <= len(b) or words == want:
            return key
        if len(words) == len(want) and all(x and (y.startswith(x)) for x, y in zip(words, want)) and min(map(len, words)) >= 2:
            return key
    return None


def read_table(path, columns, policy):
    """Rows of one file as dicts: the columns, `_bad` (set), `_raw`, `_row`, `_ragged`, `_file`."""
    with open(path, encoding="utf-8-sig", newline="") as f:
        rows = list(csv.reader(f))
    alias = {squash(a): k for k, names in policy["columns"].items() for a in ([names] if isinstance(names, str) else names)}
    known = {squash(k): k for k in columns}
    heads, unknown = [], []
    while rows[0] and rows[0][-1].strip() == "":
        rows[0].pop()
    for head in rows[0]:
        m = re.fullmatch(r"(.*?)\s*[\[(]([^\])]*)[\])]\s*", head)
        name, unit = (m[1], m[2]) if m else (head, None)
        key = known.get(squash(name)) or alias.get(squash(name))
        if key is None or columns[key] not in UNITS:
            key = known.get(squash(head)) or alias.get(squash(head)) or key
            unit = None
        elif unit is None:
            unit = DEFAULT_UNIT[policy["units"]][columns[key]]
        if key is None and squash(head):
            unknown.append(head.strip())
        heads.append((key, unit and unit.replace("²", "2").replace("³", "3").strip().casefold(), squash(head)))
    policy.setdefault("_unknown", []).extend((h, near) for h in unknown for near in [near_column(h, columns, {x[0] for x in heads})] if near)
    out = []
    for number, row in enumerate(rows[1:], 2):
        short = len(row) < len(heads)
        if not any(c.strip() for c in row):
            continue
        while len(row) > len(heads) and row[-1].strip() == "":
            row.pop()
        rec = {k: cell(k, kind, "", None) for k, kind in columns.items()}
        rec.update(_bad=set(), _row=number, _file=path, _ragged=short or len(row) > len(heads), _heads={h[0] for h in heads})
        rec["_raw"] = frozenset((h[2], c.strip()) for h, c in zip(heads, row) if c.strip())
        for (key, unit, _), text in zip(heads, row):
            if key:
                rec[key] = cell(key, columns[key], text, unit)
                if rec[key] is BAD and columns[key] != "qty":
                    rec["_bad"].add(key)
        if rec["_ragged"]:
            rec["_bad"].add("_row")
        out.append(rec)
    return out


class Plant:
    def __init__(self, folder):
        folder = pathlib.Path(folder)
        self.policy = load_policy(folder)
        table = lambda name, cols: read_table(folder / f"{name}.csv", cols, self.policy) if (folder / f"{name}.csv").is_file() else None
        self.component_rows = [r for r in table("components", COMPONENT) if r["part_no"]]
        self.components = {}
        for row in self.component_rows:
            d, D = row["inner_diameter"], row["outer_diameter"]
            if isinstance(d, float) and isinstance(D, float) and D <= d:
                row["_bad"].add("outer_diameter")
                row["outer_diameter"] = BAD
            self.components.setdefault(row["part_no"], row)
        self.circuit_rows = table("circuits", CIRCUIT)
        for row in self.circuit_rows or []:
            low, high = row["temp_min"], row["temp_max"]
            if isinstance(low, float) and isinstance(high, float) and low > high:
                row["_bad"] |= {"temp_min", "temp_max"}
                row["temp_min"] = row["temp_max"] = BAD
        self.station_rows = table("stations", STATION) or []
        self.orders = table("orders", ORDER)
        self.waivers = table("waivers", WAIVER) or []
        self.lines = []
        for path in sorted((folder / "lists").glob("*.csv")):
            for row in read_table(path, {**LIST, "qty": "qty"}, self.policy):
                row["_place"] = (row["plant"], row["pallet"], row["fixture"] or path.stem, row["circuit"] or "1")
                row["_side"] = row["side"] if row["side"] not in (None, BAD) else "clamp"
                self.lines.append(row)
