"""Makes six plants as people keep them, each a second time in the plain form: `python3 make.py`.

The plants are invented. Both forms say the same; the plain one is written column by column in this
program's own names, so that it needs no policy.
"""

import csv
import pathlib
import shutil

import openpyxl

HERE = pathlib.Path(__file__).parent

PARTS = [
    # part_no, kind, rated_pressure, area_clamp, stroke, capacity, piston_area, inner_diameter
    ("CL-10", "clamp", 350, 490, 12, None, None, None),
    ("CL-20", "clamp", 350, 804, 14, None, None, None),
    ("CC-40", "charging_cylinder", 400, None, 30, 40, 1256, None),
    ("CV-1", "check_valve", 315, None, None, None, None, None),
    ("IV-1", "isolation_valve", 315, None, None, None, None, None),
    ("GA-1", "gauge", 400, None, None, None, None, None),
    ("TU-8", "tube", 350, None, None, None, None, 6),
    ("PU-1", "pump", 300, None, None, None, None, None),
    ("DR-1", "drive_ram", 300, None, 40, None, 1963, None),
]
PART_COLUMNS = ["part_no", "kind", "rated_pressure", "area_clamp", "stroke", "capacity", "piston_area", "inner_diameter"]
PLACES = [("T1", "F1", "1"), ("T1", "F1", "2"), ("T1", "F2", "1"), ("T2", "F1", "1")]
CIRCUITS = [
    # pallet, fixture, circuit, acting, charging, station, pressure_set, pressure_min, hold_time, temp_min, temp_max, need_date
    ("T1", "F1", "1", "single", "cylinder", "S1", 200, 150, 480, 10, 35, "2027-03-15"),
    ("T1", "F1", "2", "single", "cylinder", "S1", 200, 150, 480, 10, 35, "2027-03-16"),
    ("T1", "F2", "1", "single", "cylinder", "S1", 210, 160, 480, 10, 35, "2027-04-01"),
    ("T2", "F1", "1", "single", "cylinder", "S1", 210, 160, 480, 10, 35, "2027-12-24"),
]
CIRCUIT_COLUMNS = [
    "pallet", "fixture", "circuit", "acting", "charging", "station", "pressure_set", "pressure_min", "hold_time",
    "temp_min", "temp_max", "need_date",
]
STATIONS = [("S1", "PU-1", "DR-1", 140)]
STATION_COLUMNS = ["station", "pump", "drive_ram", "pump_setting"]


def lines():
    """pallet, fixture, circuit, part_no, qty, length in mm"""
    for number, place in enumerate(PLACES):
        clamp = "CL-10" if number % 2 == 0 else "CL-20"
        yield (*place, clamp, 4 - number % 3, None)
        yield (*place, "CC-40", 1, None)
        yield (*place, "CV-1", 1, None)
        yield (*place, "IV-1", 1, None)
        yield (*place, "GA-1", 1, None)
        yield (*place, "TU-8", 2, 1250.5 + 100 * number)


LIST_COLUMNS = ["pallet", "fixture", "circuit", "part_no", "qty", "length"]


def text(path, rows, delimiter=",", encoding="utf-8"):
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding=encoding) as file:
        csv.writer(file, delimiter=delimiter, lineterminator="\r\n").writerows(rows)


def comma(value):
    return "" if value is None else str(value).replace(".", ",")


def plain(name, length_column="length [mm]", parts=PARTS, listed=None):
    folder = HERE / name / "plain"
    text(folder / "components.csv", [PART_COLUMNS, *parts])
    text(folder / "lists" / "all.csv", [[*LIST_COLUMNS[:-1], length_column], *(listed or lines())])
    text(folder / "circuits.csv", [CIRCUIT_COLUMNS, *CIRCUITS])
    text(folder / "stations.csv", [STATION_COLUMNS, *STATIONS])


def kept(name):
    folder = HERE / name / "kept"
    folder.mkdir(parents=True)
    return folder


def save(path, sheets):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    made = {}
    for title, rows in sheets.items():
        sheet = workbook.create_sheet(title)
        for row in rows:
            sheet.append(row)
        made[title] = sheet
    return workbook, made, path


GERMAN_KINDS = {
    "clamp": "Schwenkspanner", "charging_cylinder": "Füllzylinder", "check_valve": "Rückschlagventil",
    "isolation_valve": "Absperrventil", "gauge": "Manometer", "tube": "Rohr", "pump": "Pumpe",
    "drive_ram": "drive_ram",
}
GERMAN_PARTS = ["Teilenummer", "Bauart", "Nenndruck [bar]", "Spannfläche [mm2]", "Gesamthub [mm]", "Nutzvolumen [cm3]",
                "piston_area [mm2]", "Innendurchmesser [mm]"]
GERMAN_LIST = ["Palette", "Vorrichtung", "Spannkreis", "Sachnummer", "Stückzahl", "Rohrlänge [mm]"]
GERMAN_CIRCUITS = ["Palette", "Vorrichtung", "Spannkreis", "Wirkungsweise", "Druckversorgung", "Rüstplatz",
                   "Spanndruck", "Mindestspanndruck", "Haltezeit [min]", "Tmin (C)", "Tmax (C)", "Bedarfstermin"]
GERMAN_STATIONS = ["Rüstplatz", "Pumpe", "Druckzylinder", "Pumpendruck"]


def german_parts():
    return [(part[0], GERMAN_KINDS[part[1]], *part[2:]) for part in PARTS]


def german_circuits(date=lambda text: text):
    words = {"single": "einfachwirkend", "cylinder": "Zylinder"}
    return [(*row[:3], words[row[3]], words[row[4]], *row[5:11], date(row[11])) for row in CIRCUITS]


def dotted(iso):
    year, month, day = iso.split("-")
    return f"{day}.{month}.{year}"


def merged_workbooks():
    """German workbooks: a title, pallets and fixtures merged over their rows, subtotals between."""
    folder = kept("merged-workbooks")
    rows, merges, number = [["Spannliste Halle 2"], [], GERMAN_LIST], [], 3
    for place in PLACES:
        own = [line for line in lines() if line[:3] == place]
        for index, line in enumerate(own):
            rows.append([*(line[:3] if index == 0 else (None, None, None)), *line[3:]])
        merges.extend((column, number + 1, number + len(own)) for column in "ABC")
        number += len(own)
        rows.append([None, None, None, None, sum(line[4] for line in own), None, "Zwischensumme"])
        number += 1
    workbook, sheets, path = save(folder / "Spannliste Halle 2.xlsx", {"Blatt1": rows})
    for column, first, last in merges:
        sheets["Blatt1"].merge_cells(f"{column}{first}:{column}{last}")
    workbook.save(path)
    workbook, _, path = save(folder / "Teilestamm.xlsx", {"Teile": [GERMAN_PARTS, *german_parts()]})
    workbook.save(path)
    workbook, _, path = save(
        folder / "Kreisdaten.xlsx",
        {"Kreise": [GERMAN_CIRCUITS, *german_circuits()], "Plätze": [GERMAN_STATIONS, *STATIONS]},
    )
    workbook.save(path)
    plain("merged-workbooks")


def old_code_page():
    """Semicolons, commas before decimals, Windows-1252, pieces with a word, dates with points."""
    folder = kept("old-code-page")
    text(folder / "artikelstamm.csv", [GERMAN_PARTS, *([comma(cell) for cell in part] for part in german_parts())], ";", "cp1252")
    listed = [[*line[:4], f"{line[4]} Stk", comma(line[5])] for line in lines()]
    listed.append(["", "", "", "", "61", "", "Summe"])
    text(folder / "spannliste.csv", [[*GERMAN_LIST, "Bemerkung"], *([*row, ""][:7] for row in listed)], ";", "cp1252")
    text(folder / "kreisdaten.csv", [GERMAN_CIRCUITS, *german_circuits(dotted)], ";", "cp1252")
    text(folder / "ladestationen.csv", [GERMAN_STATIONS, *STATIONS], ";", "cp1252")
    plain("old-code-page")


def export_names():
    """Names of an export, part numbers under a header of no meaning, blanks that mean the one above."""
    folder = kept("export-names")
    text(folder / "EXPORT_0815.csv", [["Material", "Category", "Nominal pressure [bar]", "Clamping area [mm2]",
                                       "Full stroke [mm]", "Usable oil [cm3]", "piston_area [mm2]", "Bore [mm]"], *PARTS])
    rows, before = [], ()
    for line in lines():
        rows.append([*(("", "", "") if line[:3] == before else line[:3]), f" {line[3]} ", *line[4:]])
        before = line[:3]
    text(folder / "EXPORT_0816.csv", [["Pallet no", "Jig", "Hydraulic circuit", "Key 7", "Quantity", "Cut length [mm]"], *rows])
    text(folder / "EXPORT_0817.csv", [["Pallet no", "Jig", "Hydraulic circuit", "Action", "Supply", "Load station",
                                       "Clamping pressure", "Lowest pressure", "Holding time", "Lowest temperature (C)",
                                       "Highest temperature (C)", "Needed by"], *CIRCUITS])
    text(folder / "EXPORT_0818.csv", [["Load station", "Power unit", "Ram", "Pump pressure"], *STATIONS])
    plain("export-names")


def one_workbook():
    """One workbook with a sheet for each table, another sheet, and hidden rows."""
    folder = kept("one-workbook")
    workbook, sheets, path = save(
        folder / "Werk 7.xlsx",
        {
            "Deckblatt": [["Spannvorrichtungen Werk 7"], ["Stand März"]],
            "Teilestamm": [GERMAN_PARTS, *german_parts()],
            "Stückliste": [GERMAN_LIST, *lines()],
            "Spannkreise": [GERMAN_CIRCUITS, *german_circuits()],
            "Rüstplätze": [GERMAN_STATIONS, *STATIONS],
        },
    )
    sheets["Stückliste"].row_dimensions[3].hidden = True
    sheets["Stückliste"].column_dimensions["C"].hidden = True
    workbook.save(path)
    plain("one-workbook")


def month_first():
    """Dates with the month first, units in cells, a part number with a typing error."""
    folder = kept("month-first")
    wrong = [[*line[:3], "CV-l" if line[3] == "CV-1" and line[0] == "T2" else line[3], *line[4:]] for line in lines()]
    text(folder / "parts.csv", [["Part number", "Kind", *PART_COLUMNS[2:]], *PARTS])
    rows = [[*line[:5], "" if line[5] is None else f"{line[5]} mm"] for line in wrong]
    text(folder / "bom.csv", [["Pallet", "Fixture", "Circuit", "Item", "Pcs", "Cut length"], *rows])
    def american(iso):
        year, month, day = (int(part) for part in iso.split("-"))
        return f"{month}/{day}/{year}"
    text(folder / "service.csv", [[*CIRCUIT_COLUMNS[:-1], "Due date"], *([*row[:-1], american(row[-1])] for row in CIRCUITS)])
    text(folder / "stations.csv", [STATION_COLUMNS, *STATIONS])
    plain("month-first", listed=wrong)


def tabs_and_units():
    """Tabs, a title, a row of units, totals between the rows, lists in their own folder."""
    folder = kept("tabs-and-units")
    text(folder / "Parts 2026.txt", [["Part master 2026"], ["Article no", "Category", *PART_COLUMNS[2:]],
                                     ["", "", "bar", "mm2", "mm", "cm3", "mm2", "mm"], *PARTS], "\t")
    for pallet in ("T1", "T2"):
        own = [line for line in lines() if line[0] == pallet]
        rows = []
        for place in dict.fromkeys(line[:3] for line in own):
            mine = [line for line in own if line[:3] == place]
            rows.extend(mine)
            rows.append(["", "", "", "", sum(line[4] for line in mine), "", "Grand total"])
        rows = [[*row, ""][:7] for row in rows]
        text(folder / "lists" / f"{pallet}.txt", [["Pallet", "Jig", "Circuit no", "Article no", "Quantity", "Tube length", "Remarks"],
                                                  ["", "", "", "", "pcs", "mm", ""], *rows], "\t")
    text(folder / "circuits.txt", [CIRCUIT_COLUMNS, *CIRCUITS], "\t")
    text(folder / "stations.txt", [STATION_COLUMNS, *STATIONS], "\t")
    plain("tabs-and-units")


for plant in (merged_workbooks, old_code_page, export_names, one_workbook, month_first, tabs_and_units):
    shutil.rmtree(HERE / plant.__name__.replace("_", "-"), ignore_errors=True)
    plant()
