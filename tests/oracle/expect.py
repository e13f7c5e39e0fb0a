#!/usr/bin/env python3
"""Works out with the reference program what follows from each edit of `mutants.csv`, and adds the edits of EDITS.

usage: expect.py       write base/ and mutants.csv anew

The edits stand in mutants.csv (table, row of the file, column, text); the expected column is what the reference
program says of the edited plant: its findings, and for each circuit the rules that can't be assessed.
"""
import copy
import csv
import json
import pathlib
import re
import shutil
import tempfile
import warnings

import base_plant
import oracle

HERE = pathlib.Path(__file__).resolve().parent
KEY = "rule plant pallet fixture circuit side position part_no".split()
COLUMNS = "mutant why table row column text expected".split()

# (why, table, {cells that name the row}, column, text)
EDITS = [
    *[("M11", "components", {"part_no": p}, "includes", t) for p in ("RD-H", "SQ-H") for t in ("", "test_point", "gauge")],
    *[("M12", "lists/a", {"part_no": "GB-H"}, c, t) for c, t in
      (("zone", "full"), ("zone", "charge"), ("zone", ""), ("part_no", "00417"), ("part_no", "CV-0"), ("zone", "reduced"))],
    *[("V04", "circuits", {"fixture": "F1", "circuit": "1"}, "cycles_per_day", t) for t in ("10", "15", "16", "20", "50", "1000")],
    *[("V04", "components", {"part_no": "CL2-A"}, "leak", t) for t in ("0.0015", "0.01", "0.1")],
    *[("P15", "components", {"part_no": p}, "rated_pressure", t) for p, t in
      (("TX-C", "280"), ("TX-C", "250"), ("MB-C", "260"), ("CU-C", "266"), ("CU-C", "267"), ("CL1-C", "260"))],
    *[("P15", "components", {"part_no": "MB-C"}, "includes", t) for t in ("", "check_valve", "check_valve isolation_valve relief_valve")],
    *[("P09", "components", {"part_no": "SQ-H"}, "set_pressure", t) for t in ("134", "135", "135.1", "136", "149", "160")],
    *[("P09", "lists/a", {"part_no": "SQ-H"}, "step", t) for t in ("1", "3")],
    *[("P16", "components", {"part_no": "CC-B"}, "pressure_ratio", t) for t in ("1.2", "1.22", "1.225", "1.275", "1.28", "1.3", "1.5", "1")],
    *[("P16", "components", {"part_no": "DR-1"}, "piston_area", t) for t in ("1200", "1225", "1275", "1300", "")],
    *[("P17", "components", {"part_no": "RV-F"}, "set_pressure", t) for t in ("201", "205", "210", "215", "219", "220", "221", "200", "350", "351")],
    *[("F04", "circuits", {"fixture": "F1", "circuit": "1"}, c, t) for c, t in
      (("cutting_force", "4000"), ("cutting_force", "6000"), ("cutting_force", "20000"), ("cutting_force", "100000"),
       ("friction", "0.05"), ("friction", "0.01"), ("friction", ""), ("cutting_force", ""))],
    *[("T03", "components", {"part_no": p}, "time_min", t) for p in ("CL1-A", "CL1-D", "WS1-B", "CL1-C") for t in ("0.1", "10")],
    *[("B09", "orders", {"part_no": p}, "promised_date", t) for p in ("CL1-A", "00417") for t in ("2026-01-14", "2026-01-15", "2025-06-01")],
    *[("B10", "orders", {"part_no": "HO-F"}, c, t) for c, t in (("qty", "0.4"), ("qty", "0.1"), ("qty", "0.5"), ("qty", "0"))],
    *[("B10", "components", {"part_no": p}, "lead_time", t) for p in ("HO-F", "CL1-A") for t in ("1", "45", "46", "400")],
    *[("U01", "lists/c", {"part_no": "HO-F"}, "fitted_on", t) for t in ("2020-01-01", "2022-01-01", "2023-04-20", "2023-04-21", "2023-04-22", "2015-06-30")],
    *[("U01", "components", {"part_no": "HO-F"}, c, t) for c, t in (("service_life", "10"), ("service_life", "44"), ("cycle_life", "80"), ("cycle_life", "90"))],
    *[("U02", "components", {"part_no": "HO-F"}, c, t) for c, t in
      (("service_life", "45"), ("service_life", "60"), ("service_life", "75"), ("service_life", "76"), ("cycle_life", "100"), ("cycle_life", "149"), ("cycle_life", "150"), ("cycle_life", "151"))],
    *[("U03", "circuits", {"fixture": "F1", "circuit": "1"}, c, t) for c, t in
      (("topped_up", "2024-01-01"), ("topped_up", "2020-05-05"), ("topped_up", "2024-10-01"), ("topped_up", "2024-11-01"), ("topped_up", ""), ("cycles_per_day", "40"))],
    *[("[asked]", "circuits", {"fixture": f, "circuit": n}, c, "") for f, n in (("F1", "1"), ("F2", "1"), ("F3", "1"), ("F5", "1"), ("F7", "1"))
      for c in ("pressure_min", "hold_time", "temp_min", "temp_max")],
    *[("blank that flatters", "components", {"part_no": p}, c, "") for p in ("CL1-A", "CL1-D", "CL1-G", "CL1-C") for c in ("force_ratio", "leak")],
    *[("blank that flatters", "components", {"part_no": p}, "return_pressure", "") for p in ("CL1-A", "CL1-D", "CL1-G")],
    *[("blank that flatters", "components", {"part_no": p}, "leak", "") for p in
      ("CV-0", "IV-A", "IV-C", "IV-F", "RV-F", "CO-D", "CV-D", "WS1-B", "WS2-B", "CL2-A", "CL1-H", "CL2-H", "MB-C")],
    *[("blank that flatters", "components", {"part_no": p}, c, "") for p in ("CL2-A", "CL1-H", "CL1-F", "CL1-E", "CL2-C")
      for c in ("force_ratio", "return_pressure")],
    *[("blank that flatters", "lists/a", {"part_no": p}, "arm_length", t) for p in ("CL2-A", "CL1-H") for t in ("10", "60")],
    *[("[asked]", "circuits", {"fixture": f, "circuit": n}, c, "0") for f, n in (("F1", "1"), ("F5", "1")) for c in ("hold_time", "pressure_min")],
    *[("[asked]", "circuits", {"fixture": "F4", "circuit": "1"}, c, "") for c in ("pressure_min", "clamp_time_max")],
    *[("[asked]", "circuits", {"fixture": "F4", "circuit": "1"}, "charging", t) for t in ("coupler", "cylinder")],
    *[("L04", "circuits", {"fixture": "F1", "circuit": "1"}, c, t) for c, t in
      (("temp_min", "30"), ("temp_max", "5"), ("temp_max", "19"), ("temp_min", "21.5"), ("friction", "15"), ("friction", "1.01"), ("friction", "1"))],
    *[("blank that flatters", "lists/a", {"part_no": "CL1-A"}, "arm_length", t) for t in ("50", "80")],
    *[("L04", "circuits", "appended", "", json.dumps({"plant": "North", "pallet": "P1", "fixture": "F3", "circuit": "1", **more})) for more in
      ({"temp_min": "-20"}, {"charging": "coupler", "station": "LS2", "acting": "single", "pressure_set": "150", "pressure_min": "75", "temp_charge": "20",
       "temp_min": "19", "temp_max": "21.5", "hold_time": "240", "clamp_time_max": "20", "need_date": "2026-03-01"})],
    *[("L04", "stations", "appended", "", json.dumps({"station": "LS2", **more})) for more in
      ({"pump": "PU-2", "drive_ram": "DR-2", "pump_setting": "100"}, {"pump": "PU-2", "drive_ram": "DR-2", "pump_setting": "150"})],
    *[("L13", table, "header", column, text) for table, column, text in (
        ("components", "rated_pressure[bar]", "rated_presure[bar]"), ("components", "force_max[N]", "force max[N]"),
        ("components", "force_max[N]", "max_force[N]"), ("components", "time_min[s]", "min_time[s]"),
        ("circuits", "pressure_min[bar]", "min_pressure[bar]"), ("circuits", "pressure_min[bar]", "pressure_mn[bar]"),
        ("circuits", "hold_time[min]", "holdtme[min]"), ("circuits", "temp_max[degC]", "max_temp[degC]"),
        ("lists/a", "force_required[N]", "force_requierd[N]"), ("lists/c", "stroke_used[mm]", "used_stroke[mm]"),
        ("orders", "promised_date", "promised_dat"), ("stations", "pump_setting[bar]", "pump_seting[bar]"))],
    *[("part of another kind", "stations", {"station": n}, c, t) for n, c, t in
      (("LS1", "pump", "DR-1"), ("LS1", "drive_ram", "PU-1"), ("LS2", "pump", "CV-0"), ("LS2", "drive_ram", "CV-0"))],
    ("part of another kind", "components", {"part_no": "PU-1"}, "kind", "manifold"),
    ("part of another kind", "components", {"part_no": "DR-1"}, "kind", "other"),
]


def edited(base, edit):
    """The base plant with an edit, as tests/mutants.rs makes it."""
    plant = copy.deepcopy(base)
    plant["_heads"] = {k: list(v[0]) for k, v in base.items() if k != "policy"}
    table, row, column, text = edit["table"], edit["row"], edit["column"], edit["text"]
    if table == "policy":
        if plant["policy"].count(column) != 1:
            return None
        plant["policy"] = plant["policy"].replace(column, text)
        return plant
    rows = plant[table]
    name = lambda wanted: next((c for c in rows[0] if c == wanted or c.split("[")[0] == wanted), None)
    if row == "header":
        plant["_heads"][table] = [text if c == column else c for c in rows[0]]
        plant[table] = [{text if c == column else c: v for c, v in r.items()} for r in rows]
    elif row == "appended":
        cells = json.loads(text)
        if any(name(c) is None for c in cells):
            return None
        rows.append({**dict.fromkeys(rows[0], ""), **{name(c): v for c, v in cells.items()}})
    elif column == "deleted":
        del rows[int(row) - 2]
    else:
        if name(column) is None or rows[int(row) - 2][name(column)] == text:
            return None
        rows[int(row) - 2][name(column)] = text
    return plant


def followed(folder, plant):
    """Findings and what is not assessed, as one text; None where the plant can't be read."""
    work = pathlib.Path(folder)
    shutil.rmtree(work, ignore_errors=True)
    base_plant.write(work / "plant", plant)
    try:
        oracle.write(oracle.run(work / "plant"), work / "results")
    except SystemExit:
        return None
    rows = lambda name: csv.DictReader(open(work / "results" / name, encoding="utf-8"))
    found = [";".join([*(f[k] for k in KEY), "waived" if f["state"] == "waived" else "open"]) for f in rows("findings.csv")]
    lacks = [";".join(["not assessed", c["plant"], c["pallet"], c["fixture"], c["circuit"], " ".join(sorted(c["not_assessed"].split()))])
             for c in rows("circuits.csv") if c["not_assessed"]]
    return " | ".join(sorted(set(found)) + sorted(lacks))


def main():
    warnings.simplefilter("ignore")
    base = base_plant.build()
    shutil.rmtree(HERE / "base", ignore_errors=True)
    base_plant.write(HERE / "base", base)
    edits = [e for e in csv.DictReader(open(HERE / "mutants.csv", encoding="utf-8")) if not e["mutant"].startswith("new-")]
    for i, (why, table, key, column, text) in enumerate(EDITS):
        if key in ("header", "appended"):
            row = key
        else:
            row = next(n for n, r in enumerate(base[table], 2) if all(v == next(r[c] for c in r if c.split("[")[0] == k) for k, v in key.items()))
        edits.append(dict(mutant=f"new-{i:03}-{re.sub('[^A-Za-z0-9]+', '-', f'{column}-{text}')[:40]}", why=why, table=table, row=str(row), column=column, text=text))
    out = []
    with tempfile.TemporaryDirectory() as work:
        standing = followed(work, base)
        for edit in edits:
            plant = edited(base, edit)
            expected = None if plant is None else followed(work, plant)
            if expected is not None:
                out.append({**edit, "expected": expected})
    with open(HERE / "mutants.csv", "w", encoding="utf-8", newline="") as f:
        w = csv.DictWriter(f, COLUMNS, lineterminator="\n")
        w.writeheader()
        w.writerows(out)
    quiet = sum(e["expected"] == standing for e in out)
    print(f"{len(out)} of {len(edits)} edits, {quiet} of them without a finding of their own")


if __name__ == "__main__":
    main()
