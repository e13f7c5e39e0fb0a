"""Makes six plants as people keep them, each a second time in the plain form: `python3 make.py`.

The plants are invented. Both forms say the same; the plain one is written column by column in this
program's own names, so that it needs no policy.
"""

import csv
import datetime
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
    ("00815", "fitting", 400, None, None, None, None, None),
    ("PU-1", "pump", 300, None, None, None, None, None),
    ("DR-1", "drive_ram", 300, None, 40, None, 1963, None),
]
NAMES = {"CL-10": "Clamp small", "CL-20": "Clamp large", "CC-40": "Charger", "CV-1": "Non-return", "IV-1": "Shut-off",
         "GA-1": "Gauge 0-400", "TU-8": "Pipe 8x1", "00815": "Elbow", "PU-1": "Pump", "DR-1": "Ram"}
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
    """pallet, fixture, circuit, position, part_no, qty, length in mm"""
    for number, place in enumerate(PLACES):
        clamp = "CL-10" if number % 2 == 0 else "CL-20"
        yield (*place, "C1", clamp, 4 - number % 3, None)
        yield (*place, "Z", "CC-40", 1, None)
        yield (*place, "V1", "CV-1", 1, None)
        yield (*place, "V2", "IV-1", 1, None)
        yield (*place, "G", "GA-1", 1, None)
        yield (*place, "", "TU-8", 2, 1250.5 + 100 * number)
        yield (*place, "", "00815", 6, None)


LIST_COLUMNS = ["pallet", "fixture", "circuit", "position", "part_no", "qty", "length"]


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


def book(path, sheets, change=lambda made: None):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    made = {}
    for title, rows in sheets.items():
        sheet = workbook.create_sheet(title)
        for row in rows:
            sheet.append(list(row))
        made[title] = sheet
    change(made)
    path.parent.mkdir(parents=True, exist_ok=True)
    workbook.save(path)


def by_place(keys=3):
    return [(place, [line for line in lines() if line[:keys] == place])
            for place in dict.fromkeys(line[:keys] for line in lines())]


GERMAN_KINDS = {
    "clamp": "Schwenkspanner", "charging_cylinder": "Füllzylinder", "check_valve": "Rückschlagventil",
    "isolation_valve": "Absperrventil", "gauge": "Manometer", "tube": "Rohr", "fitting": "Verschraubung",
    "pump": "Pumpe", "drive_ram": "Antriebszylinder",
}
GERMAN_PARTS = ["Ident-Nr.", "Bauart", "Nenndruck [bar]", "Wirkfläche Spannen [mm2]", "Gesamthub [mm]",
                "Nutzvolumen [cm3]", "Kolbenfläche [mm2]", "Innen-Ø [mm]", "Benennung"]
GERMAN_CIRCUITS = ["Palette", "Vorrichtung", "Kreis", "Wirkungsweise", "Druckversorgung", "Rüstplatz",
                   "Spanndruck [bar]", "Mindestspanndruck [bar]", "Haltezeit [min]", "Temp. min. (C)",
                   "Temp. max. (C)", "Bedarfstermin"]
GERMAN_STATIONS = ["Rüstplatz", "Pumpe", "Druckzylinder", "Pumpendruck [bar]"]


def german_parts():
    return [(part[0], GERMAN_KINDS[part[1]], *part[2:], NAMES[part[0]]) for part in PARTS]


def german_circuits(date=lambda text: text):
    words = {"single": "einfachwirkend", "cylinder": "Füllzylinder"}
    return [(*row[:3], words[row[3]], words[row[4]], *row[5:11], date(row[11])) for row in CIRCUITS]


def dotted(iso):
    year, month, day = iso.split("-")
    return f"{day}.{month}.{year}"


def day(iso):
    return datetime.date.fromisoformat(iso)


def merged_workbooks():
    """German workbooks: a cover, a sheet for each pallet, titles, cells merged over rows, subtotals, the
    header again on each page, dates as dates, units in a row of their own."""
    folder = kept("merged-workbooks")
    header = ["Palette", "Vorrichtung", "Kreis", "Pos.", "Ident-Nr.", "Benennung", "Stk.", "Länge [mm]", "Bem."]
    sheets, merges = {"Deckblatt": [["Spannvorrichtungen Halle 2"], ["Stand", "März 2026"]]}, []
    for pallet in ("T1", "T2"):
        rows = [[f"Spannliste Palette {pallet}"], [], header]
        for place, own in by_place():
            if place[0] != pallet:
                continue
            first = len(rows) + 1
            for index, line in enumerate(own):
                name = NAMES[line[4]]
                rows.append([*(line[:3] if index == 0 else (None, None, None)), line[3], line[4], name, line[5], line[6]])
            merges.extend((f"Palette {pallet}", column, first, len(rows)) for column in "ABC")
            rows.append([None, None, None, None, None, "Zwischensumme", sum(line[5] for line in own)])
            rows.append([])
            rows.append(header)
        rows.pop()
        rows.append([None, None, None, None, "Summe", None, sum(line[5] for line in lines() if line[0] == pallet)])
        sheets[f"Palette {pallet}"] = rows

    def merge(made):
        for title, column, first, last in merges:
            made[title].merge_cells(f"{column}{first}:{column}{last}")

    book(folder / "Spannlisten Halle 2 (Stand 03-2026).xlsx", sheets, merge)
    bare = [name.split(" [")[0] for name in GERMAN_PARTS]
    units = [name.split(" [")[1][:-1] if " [" in name else None for name in GERMAN_PARTS]
    book(folder / "Teilestamm Hydraulik.xlsx", {"Tabelle1": [["Teilestamm"], [], bare, units, *german_parts()]})
    book(folder / "Kreisdaten.xlsx", {"Kreise": [GERMAN_CIRCUITS, *german_circuits(day)],
                                      "Plätze": [GERMAN_STATIONS, *STATIONS], "Tabelle3": []})
    plain("merged-workbooks")


def old_code_page():
    """Semicolons, commas before decimals, Windows-1252, pieces with a word, dates with points, a file for
    each pallet in a folder of its own, headings between the rows, empty columns at the end."""
    folder = kept("old-code-page")
    header = ["Palette", "Vorrichtung", "Kreis", "Einbauort", "Sachnummer", "Stückzahl", "Rohrlänge [mm]", "Bemerkung", ""]
    for pallet in ("T1", "T2"):
        rows = [header]
        for place, own in by_place():
            if place[0] == pallet:
                rows.append([f"--- Vorrichtung {place[1]}, Kreis {place[2]} ---", *[""] * 8])
                rows.extend([*line[:5], f"{line[5]} Stk", comma(line[6]), "", ""] for line in own)
        rows.append(["", "", "", "", "Summe:", str(sum(line[5] for line in lines() if line[0] == pallet)), "", "", ""])
        rows.append(["*** Ende der Liste ***", *[""] * 8])
        text(folder / "Stücklisten" / f"Palette {pallet}.csv", rows, ";", "cp1252")
    text(folder / "artikelstamm.csv", [GERMAN_PARTS, *([comma(cell) for cell in part] for part in german_parts())], ";", "cp1252")
    text(folder / "kreisdaten.csv", [GERMAN_CIRCUITS, *german_circuits(dotted)], ";", "cp1252")
    text(folder / "ladestationen.csv", [GERMAN_STATIONS, *STATIONS], ";", "cp1252")
    plain("old-code-page")


def export_names():
    """Names of an export, lines of a page head, numbers in quotes, blanks around cells, part numbers under a
    header of no meaning, blanks that mean the cell above."""
    folder = kept("export-names")
    page = [["Report P-17 parts and lists"], ["Printed 2026-03-02 06:14 by planning"], []]
    text(folder / "EXPORT_0815.csv", [*page, ["ITEM_NO", "ITEM_TEXT", "CATEGORY", "NOMINAL PRESSURE [bar]", "CLAMPING AREA [mm2]",
                                              "FULL STROKE [mm]", "USABLE OIL [cm3]", "PISTON_AREA [mm2]", "BORE [mm]"],
                                      *([part[0], NAMES[part[0]], part[1].upper().replace("_", " "), *part[2:]] for part in PARTS)])
    rows, before = [], ()
    for line in lines():
        rows.append([*(("", "", "") if line[:3] == before else line[:3]), line[3], f" {line[4]} ", NAMES[line[4]], f"{line[5]}.000", line[6]])
        before = line[:3]
    rows.append([f"Grand total {len(rows)} items", "", "", "", "", "", "60.000", ""])
    text(folder / "EXPORT_0816.csv", [*page, ["PALLET NO", "JIG", "HYDRAULIC CIRCUIT", "LOCATION", "KEY 7", "ITEM_TEXT", "QUANTITY", "CUT LENGTH [mm]"], *rows])
    text(folder / "EXPORT_0817.csv", [*page, ["PALLET NO", "JIG", "HYDRAULIC CIRCUIT", "ACTION", "SUPPLY", "LOAD STATION",
                                              "CLAMPING PRESSURE", "LOWEST PRESSURE", "HOLDING TIME", "LOWEST TEMPERATURE (C)",
                                              "HIGHEST TEMPERATURE (C)", "NEEDED BY"],
                                      *([*row[:3], "single-acting", "charging cylinder", *row[5:]] for row in CIRCUITS)])
    text(folder / "EXPORT_0818.csv", [["LOAD STATION", "POWER UNIT", "RAM", "PUMP PRESSURE"], *STATIONS])
    plain("export-names")


def one_workbook():
    """One workbook for all: a matrix with part numbers down and circuits across, a column and a row of
    totals, signs for none, another sheet, hidden rows and columns."""
    folder = kept("one-workbook")
    across = ["/".join(place) for place in PLACES]
    keys = dict.fromkeys(line[3:5] + line[6:] for line in lines())
    rows = [["Spannelemente je Kreis"], [], ["Teile-Nr.", "Bezeichnung", "Einbauort", "Rohrlänge [mm]", *across, "Summe"]]
    for position, part, length in keys:
        own = {place: 0 for place in across}
        for line in lines():
            if (line[3], line[4], line[6]) == (position, part, length):
                own["/".join(line[:3])] += line[5]
        rows.append([part, NAMES[part], position, length, *(count or "-" for count in own.values()), sum(own.values())])
    rows.append(["Summe", None, None, None, *(sum(line[5] for line in lines() if "/".join(line[:3]) == place) for place in across)])

    def hide(made):
        made["Matrix"].row_dimensions[5].hidden = True
        made["Matrix"].column_dimensions["F"].hidden = True

    book(folder / "Werk 7.xlsx", {
        "Deckblatt": [["Spannvorrichtungen Werk 7"], ["Stand März"]],
        "Teilestamm": [GERMAN_PARTS, *german_parts()],
        "Matrix": rows,
        "Spannkreise": [GERMAN_CIRCUITS, *german_circuits(day)],
        "Rüstplätze": [GERMAN_STATIONS, *STATIONS],
    }, hide)
    plain("one-workbook")


def month_first():
    """Dates with the month first, units in cells, part numbers with typing errors, lists of several files
    beside the tables."""
    folder = kept("month-first")
    typo = {("CV-1", "T2"): "CV-l", ("IV-1", "T1"): "IV- 1"}
    wrong = [[*line[:4], typo.get((line[4], line[0]), line[4]), *line[5:]] for line in lines()]
    text(folder / "parts list.csv", [["Part number", "Description", "Type", "Max. pressure", "Effective area [mm2]", "Stroke",
                                      "Oil capacity [cm3]", "Piston area [mm2]", "I.D."],
                                     *([part[0], NAMES[part[0]], part[1].replace("_", " ").title(), f"{part[2]} bar", part[3],
                                        *("" if cell is None else f"{cell} mm" for cell in part[4:5]), *part[5:7],
                                        *("" if cell is None else f"{cell} mm" for cell in part[7:])] for part in PARTS)])
    for pallet in ("T1", "T2"):
        rows = [[*line[:6], "" if line[6] is None else f"{line[6]} mm"] for line in wrong if line[0] == pallet]
        text(folder / f"BOM {pallet}.csv", [["Pallet #", "Fixture", "Circuit", "Ref", "Item", "Pcs", "Cut length"], *rows])

    def american(iso):
        year, month, day = (int(part) for part in iso.split("-"))
        return f"{month}/{day}/{year}"

    text(folder / "circuit data.csv", [["Pallet #", "Fixture", "Circuit", "Acting", "Charging", "Station", "Set pressure", "Min. pressure", "Hold time",
                                        "Temp min", "Temp max", "Due date"],
                                       *([*row[:6], f"{row[6]} bar", f"{row[7]} bar", f"{row[8]} min", row[9], row[10],
                                          american(row[-1])] for row in CIRCUITS)])
    text(folder / "load stations.csv", [["Station", "Pump", "Drive ram", "Pump setting"], ["S1", "PU-1", "DR-1", "140 bar"]])
    plain("month-first", listed=wrong)


def tabs_and_units():
    """Tabs, titles, a row of units, totals between the rows, a sheet of an older form, a list in the new."""
    folder = kept("tabs-and-units")
    text(folder / "Parts 2026.txt", [["Part master 2026"], ["Article no", "Category", *PART_COLUMNS[2:], "Remarks"],
                                     ["", "", "bar", "mm2", "mm", "cm3", "mm2", "mm", ""], *([*part, ""] for part in PARTS)], "\t")
    for pallet in ("T1", "T2"):
        rows = []
        for place, own in by_place():
            if place[0] == pallet:
                rows.extend([*line, ""] for line in own)
                rows.append(["", "", "", "Subtotal", "", sum(line[5] for line in own), "", ""])
        rows.append(["", "", "", "Grand total", "", sum(line[5] for line in lines() if line[0] == pallet), "", ""])
        head = [["Pallet", "Jig", "Circuit no", "Location", "Article no", "Quantity", "Tube length", "Remarks"],
                ["", "", "", "", "", "pcs", "mm", ""]]
        text(folder / "lists" / f"{pallet}.txt", [*head, *rows], "\t")
    book(folder / "circuits and stations.xlsx", {"Circuit data": [CIRCUIT_COLUMNS, *([*row[:11], day(row[11])] for row in CIRCUITS)],
                                                 "Load stations": [STATION_COLUMNS, *STATIONS]})
    plain("tabs-and-units")


for plant in (merged_workbooks, old_code_page, export_names, one_workbook, month_first, tabs_and_units):
    shutil.rmtree(HERE / plant.__name__.replace("_", "-"), ignore_errors=True)
    plant()
