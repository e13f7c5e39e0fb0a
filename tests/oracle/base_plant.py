"""A conforming plant, written as text cells, for single edits. Invented parts and numbers.

Everything stands well inside its limits, so that an edit of one cell breaks what it speaks of and nothing else:
charge pressure 200 bar (150 at LS2 and behind the reducing valve), ratings 350, potential pressure 220 and 170.
"""
import csv
import pathlib

COMPONENT = """part_no kind description rated_pressure[bar] min_pressure[bar] area_clamp[mm2] area_unclamp[mm2] stroke[mm] volume_clamp[cm3]
volume_unclamp[cm3] dead_volume[cm3] capacity[cm3] pressure_ratio return_loss[bar] set_pressure[bar] full_scale[bar] inner_diameter[mm]
outer_diameter[mm] tensile_strength[bar] elastic_modulus[GPa] poisson expansion[cm3/m] gas_volume[cm3] precharge[bar] flow[L/min]
flow_high[L/min] leak[cm3/min] return_pressure[bar] stiffness[N/mm] force_ratio force_max[N] support_capacity[N] includes seal status
replaced_by uom unit_price currency lead_time supplier pack_qty piston_area[mm2] arm_rated[mm] arm_factor time_min[s] capacity_from[bar]
closing_volume[cm3] kv accuracy air_ratio family service_life cycle_life""".split()
CIRCUIT = """plant pallet fixture circuit acting charging station pressure_set[bar] pressure_min[bar] temp_charge[degC] temp_min[degC]
temp_max[degC] hold_time[min] clamp_time_max[s] unclamp_time_max[s] fluid need_date built source dwell[s]
cycles_per_day cutting_force[N] friction part_expansion topped_up""".split()
STATION = "station pump drive_ram pump_setting[bar] built relief_setting[bar] air_pressure[bar]".split()
ORDER = "part_no qty uom order_no supplier unit_price currency promised_date received".split()
WAIVER = "plant pallet fixture circuit position rule reason approved_by expires".split()
LIST = """plant pallet fixture circuit position part_no qty length[mm] stroke_used[mm] side share force_required[N] set_pressure[bar]
precharge[bar] zone supports note step arm_length[mm] grip_length[mm] fitted_on""".split()
POLICY = """units = "metric"
date = "2026-01-15"
[limits]
waiver_notice = 30
[fluids.ester]
bulk_modulus = 1.6e9
thermal_expansion = 7.2e-4
free_air = 0.004
density = 920.0
viscosity_40 = 46.0
viscosity_100 = 9.0
seals = ["FKM"]
"""
VALVE = dict(rated_pressure=350, leak=0)


class Build:
    def __init__(self):
        self.components, self.circuits, self.orders, self.waivers = [], [], [], []
        self.lists = {"a": [], "b": [], "c": []}
        self.stations = [dict(station="LS1", pump="PU-1", drive_ram="DR-1", pump_setting=164), dict(station="LS2", pump="PU-2", drive_ram="DR-2", pump_setting=150)]
        self.part("PU-1", "pump", rated_pressure=180, capacity=400, flow=2)
        self.part("PU-2", "pump", rated_pressure=170, capacity=500, flow=3, flow_high=1.5)
        self.part("DR-1", "drive_ram", rated_pressure=250, stroke=100, piston_area=1250)
        self.part("DR-2", "drive_ram", rated_pressure=250, stroke=100)
        self.part("00417", "fitting", rated_pressure=350)
        self.part("CV-0", "check_valve", **VALVE)
        self.part("CC-S", "charging_cylinder", rated_pressure=350, capacity=9, pressure_ratio=1.25, return_loss=5, stroke=60)

    def part(self, part_no, kind, **f):
        self.components.append(dict(part_no=part_no, kind=kind, description=f"{kind} {part_no}", unit_price=100, currency="EUR", lead_time=10, **f))

    def circuit(self, letter, fixture, number, file, station="LS1", p=200, **f):
        self.letter, self.place, self.file = letter, dict(plant="North", pallet="P1", fixture=fixture, circuit=number), file
        row = dict(self.place, station=station, pressure_set=p, pressure_min=p / 2, temp_min=19, temp_max=21.5, hold_time=240, clamp_time_max=20,
                   need_date="2026-03-01", temp_charge=20)
        self.circuits.append({**row, **f})

    def line(self, part, qty=1, **f):
        self.lists[self.file].append({**self.place, "part_no": part, "qty": qty, **f})

    def own(self, prefix, kind, qty=1, line=(), **f):
        """A part that only this circuit uses, and its line."""
        part = f"{prefix}-{self.letter}"
        self.part(part, kind, **f)
        self.line(part, qty, **dict(line))

    def trunk(self, check="own", gauge=True, leak=0):
        if check == "own":
            self.own("CV", "check_valve", **VALVE, seal="FKM")
        elif check:
            self.line(check)
        self.own("IV", "isolation_valve", rated_pressure=350, leak=leak, seal="FKM", line=dict(position=f"V{self.letter}"))
        if gauge:
            self.own("GA", "gauge", rated_pressure=400, full_scale=400)
        self.own("TU", "tube", inner_diameter=6, outer_diameter=12, tensile_strength=4500, line=dict(length=1500))

    def cylinder(self, capacity, prefix="CC", **line):
        # One states its piston area, and no stroke that would ask for a capacity by it.
        size = dict(piston_area=1000) if self.letter == "B" else dict(stroke=60)
        self.own(prefix, "charging_cylinder", rated_pressure=350, capacity=capacity, pressure_ratio=1.25, return_loss=5, line=line, **size)


def build():
    b = Build()
    clamp = dict(rated_pressure=350, leak=0, return_pressure=5, force_ratio=1)
    b.circuit("A", "F1", "1", "a", acting="single", unclamp_time_max=20, cycles_per_day=1, topped_up="2026-01-01", friction=0.15, cutting_force=1000)
    b.own("CL1", "clamp", 2, line=dict(position="10", force_required=4000), area_clamp=500, stroke=10, force_max=18000, seal="NBR", **clamp)
    b.own("CL2", "clamp", 2, line=dict(position="20", force_required=3000, stroke_used=8), area_clamp=400, stroke=12, volume_clamp=4.8, stiffness=200000, **{**clamp, "leak": 0.0001})
    b.trunk("CV-0", leak=0.0005)
    b.line("00417", 4)
    b.cylinder(34)

    b.circuit("B", "F1", "2", "a", acting="single")
    b.own("WS1", "work_support", 2, line=dict(position="110", supports="10"), area_clamp=300, stroke=8, support_capacity=50000, rated_pressure=350, leak=0)
    b.own("WS2", "work_support", 2, line=dict(position="120", supports="20", force_required=5000), area_clamp=250, stroke=8, support_capacity=45000, rated_pressure=350, leak=0)
    b.trunk("CV-0")
    b.cylinder(16)

    b.circuit("C", "F2", "1", "b")
    b.own("CL1", "clamp", 3, line=dict(position="10", force_required=5000), area_clamp=600, area_unclamp=450, stroke=12, rated_pressure=350, leak=0, force_ratio=1, seal="FKM")
    b.own("CL2", "clamp", 2, line=dict(position="20"), area_clamp=500, area_unclamp=400, stroke=10, force_max=20000, rated_pressure=350, leak=0, force_ratio=1)
    b.trunk()
    b.own("MB", "manifold", line=dict(side="both"), rated_pressure=350, dead_volume=0.5, includes="check_valve isolation_valve")
    b.line("00417", 2)
    b.cylinder(54)
    b.cylinder(42, "CU", side="unclamp")
    b.own("TX", "tube", inner_diameter=5, rated_pressure=350, line=dict(side="unclamp", length=1200))

    b.circuit("D", "F3", "1", "b", station="LS2", p=150, charging="coupler", acting="single")
    b.own("CL1", "clamp", 4, line=dict(position="10", force_required=3000), area_clamp=500, stroke=10, **{**clamp, "force_ratio": 0.9})
    b.trunk()
    b.own("CO", "coupling", **VALVE)
    b.own("FI", "filter", rated_pressure=350)
    b.own("TP", "test_point", rated_pressure=350)
    b.line("00417", 2)

    b.circuit("E", "F4", "1", "c", station="LS2", p=150, charging="live", temp_min=None, temp_max=None, hold_time=None)
    b.own("CL1", "clamp", 2, line=dict(position="10", force_required=4000), area_clamp=500, stroke=10, force_max=14000, **clamp)
    b.own("CO", "coupling", **VALVE)
    b.own("FI", "filter", rated_pressure=350)
    b.own("GA", "gauge", rated_pressure=400, full_scale=400)
    b.own("TU", "tube", inner_diameter=8, rated_pressure=350, line=dict(length=2000))

    b.circuit("F", "F5", "1", "c", fluid="ester", acting="single", cycles_per_day=2)
    b.own("CL1", "clamp", 2, line=dict(position="10", force_required=4000), area_clamp=500, stroke=10, seal="FKM", **clamp)
    b.trunk(leak=0.0005)
    b.own("AC", "accumulator", gas_volume=20, precharge=70, rated_pressure=350)
    b.own("RV", "relief_valve", set_pressure=260, line=dict(position="R1"), **VALVE)
    b.own("HO", "hose", inner_diameter=6, rated_pressure=350, expansion=1, service_life=1000, cycle_life=100000, line=dict(length=500, fitted_on="2025-12-01"))
    b.components[-1]["lead_time"] = 60
    b.cylinder(45)

    b.circuit("G", "F6", "1", "c", station=None, p=180, built="yes", acting="single", clamp_time_max=None)
    b.own("CL1", "clamp", 2, line=dict(position="10", force_required=3000), area_clamp=500, stroke=10, **clamp)
    b.trunk()
    b.cylinder(20)

    b.circuit("H", "F7", "1", "a", p=150, acting="single")
    b.own("CL1", "clamp", 2, line=dict(position="10", force_required=3000), area_clamp=500, stroke=10, min_pressure=40, **clamp)
    b.own("CL2", "clamp", 2, line=dict(position="20"), area_clamp=300, stroke=10, min_pressure=30, **clamp)
    b.trunk()
    b.own("RD", "reducing_valve", set_pressure=150, rated_pressure=350, includes="check_valve")
    b.own("SQ", "sequence_valve", set_pressure=80, rated_pressure=350, includes="check_valve", line=dict(position="S1"))
    b.cylinder(30)
    b.line("GB-H", zone="reduced")

    b.circuit("I", "F8", "1", "b", acting="single")
    b.own("CL1", "clamp", 2, line=dict(position="10", force_required=3000), area_clamp=500, stroke=10, **clamp)
    b.trunk(gauge=False)
    b.cylinder(20)
    b.waivers.append(dict(plant="North", pallet="P1", fixture="F8", circuit="1", rule="M05", reason="gauge at the station", approved_by="K. Lind", expires="2026-12-31"))

    b.part("GB-H", "gauge", rated_pressure=400, full_scale=400)
    need = {"PU-1": 1, "PU-2": 1, "DR-1": 1, "DR-2": 1}
    for l in (l for rows in b.lists.values() for l in rows if l["fixture"] != "F6"):
        need[l["part_no"]] = need.get(l["part_no"], 0) + l["qty"] * (l["length"] / 1000 if "length" in l else 1)
    for i, (part, n) in enumerate(sorted(need.items(), key=lambda item: (item[0] == "GB-H", item[0]))):
        b.orders.append(dict(part_no=part, qty=n, order_no=f"O-{i + 1}", unit_price=100, currency="EUR", promised_date="2026-02-01"))
    cells = lambda cols, rows: [{c: show(r.get(c.split("[")[0])) for c in cols} for r in rows]
    return dict(components=cells(COMPONENT, b.components), circuits=cells(CIRCUIT, b.circuits), stations=cells(STATION, b.stations),
                orders=cells(ORDER, b.orders), waivers=cells(WAIVER, b.waivers), policy=POLICY,
                **{f"lists/{k}": cells(LIST, v) for k, v in b.lists.items()})


def show(v):
    return "" if v is None else v if isinstance(v, str) else f"{v:.12g}"


def write(folder, tables):
    """A plant as files."""
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
