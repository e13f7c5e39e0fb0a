//! Random small plants, sound and unsound cells mixed: whatever they are, the report holds together.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::env;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use proptest::prelude::*;
use proptest::sample::select;
use proptest::test_runner::{RngAlgorithm, TestRng, TestRunner};

/// The program; another one than Cargo built where the variable names it.
fn program() -> PathBuf {
    env::var_os("CLAMPBOOK_BIN").map_or_else(|| PathBuf::from(env!("CARGO_BIN_EXE_clampbook")), PathBuf::from)
}

type Row = Vec<String>;
type Table = Vec<Row>;

/// A plant as cells; each list is a file.
#[derive(Clone)]
struct Plant {
    components: Table,
    circuits: Option<Table>,
    stations: Table,
    orders: Option<Table>,
    waivers: Option<Table>,
    lists: Vec<Table>,
}

const COMPONENTS: &str = "part_no,kind,rated_pressure,min_pressure,area_clamp,area_unclamp,stroke,volume_clamp,\
    dead_volume,capacity,pressure_ratio,return_loss,set_pressure,full_scale,inner_diameter,outer_diameter,\
    tensile_strength,expansion,gas_volume,precharge,flow,leak,return_pressure,stiffness,force_max,support_capacity,\
    includes,seal,status,uom,unit_price,lead_time,pack_qty";
const CIRCUITS: &str = "plant,pallet,fixture,circuit,acting,charging,station,pressure_set,pressure_min,temp_min,temp_max,\
    hold_time,clamp_time_max,unclamp_time_max,fluid,need_date,built";
const STATIONS: &str = "station,pump,drive_ram,pump_setting";
const ORDERS: &str = "part_no,qty,uom,order_no,unit_price,promised_date";
const WAIVERS: &str = "plant,pallet,fixture,circuit,position,rule,reason,approved_by,expires";
const LISTS: &str = "plant,pallet,fixture,circuit,position,part_no,qty,length,stroke_used,side,share,force_required,\
    set_pressure,precharge,reduced,supports,note";
/// The cells that hold something, a row a line: a failing plant is to be read.
impl fmt::Debug for Plant {
    fn fmt(&self, out: &mut fmt::Formatter) -> fmt::Result {
        let used: BTreeSet<&String> =
            self.lists.iter().flatten().map(|row| &row[5]).chain(self.stations.iter().flatten()).collect();
        let components: Table = self.components.iter().filter(|row| used.contains(&row[0])).cloned().collect();
        let optional = [(CIRCUITS, &self.circuits), (ORDERS, &self.orders), (WAIVERS, &self.waivers)];
        let optional = optional.into_iter().filter_map(|(head, table)| table.as_ref().map(|table| (head, table)));
        let lists = self.lists.iter().map(|table| (LISTS, table));
        for (head, table) in
            [(COMPONENTS, &components), (STATIONS, &self.stations)].into_iter().chain(optional).chain(lists)
        {
            writeln!(out)?;
            for row in table {
                let cells = head.split(',').map(str::trim).zip(row).filter(|(_, cell)| !cell.is_empty());
                writeln!(out, "{}", cells.map(|(name, cell)| format!("{name}={cell}")).collect::<Vec<_>>().join("; "))?;
            }
        }
        Ok(())
    }
}

const KINDS: [&str; 21] = [
    "clamp",
    "work_support",
    "charging_cylinder",
    "drive_ram",
    "pump",
    "check_valve",
    "isolation_valve",
    "relief_valve",
    "reducing_valve",
    "sequence_valve",
    "flow_control",
    "accumulator",
    "gauge",
    "test_point",
    "tube",
    "hose",
    "manifold",
    "fitting",
    "coupling",
    "filter",
    "other",
];
/// Parts of the table: each kind twice, so that a plant may lack what a kind needs and still hold it.
const PARTS: usize = 2 * KINDS.len();

fn of(choice: &'static [&'static str]) -> impl Strategy<Value = String> {
    select(choice).prop_map(str::to_owned)
}

/// A number of the range.
fn figure(low: f64, high: f64) -> impl Strategy<Value = String> {
    (low..high).prop_map(|value| format!("{value:.3}"))
}

/// A number of the range, or as often nothing.
fn maybe(low: f64, high: f64) -> impl Strategy<Value = String> {
    prop_oneof![figure(low, high), Just(String::new())]
}

fn joined(head: &str, cells: impl IntoIterator<Item = (&'static str, String)>) -> Row {
    let mut row = vec![String::new(); head.split(',').count()];
    for (name, cell) in cells {
        row[head.split(',').position(|column| column.trim() == name).unwrap()] = cell;
    }
    row
}

/// A part of a kind: what the kind needs, mostly, and some of the rest. No two ratings are the same,
/// and cylinders share ratio and loss, so that no figure hangs on which of them comes first.
fn part(index: usize) -> impl Strategy<Value = Row> {
    let rated = 240.0 + 7.3 * f64::from(u16::try_from(index * 11 % PARTS).unwrap());
    let numbers = (
        (
            figure(rated, rated + 0.001),
            maybe(1.0, 90.0),
            figure(100.0, 900.0),
            maybe(80.0, 700.0),
            figure(4.0, 30.0),
            maybe(1.0, 9.0),
        ),
        (
            maybe(0.0, 2.0),
            figure(20.0, 300.0),
            figure(60.0, 280.0),
            figure(240.0, 500.0),
            figure(3.0, 8.0),
            maybe(9.0, 14.0),
        ),
        (
            maybe(3000.0, 6000.0),
            maybe(0.1, 3.0),
            figure(5.0, 200.0),
            figure(20.0, 150.0),
            maybe(0.5, 8.0),
            maybe(0.0, 0.01),
        ),
        (
            maybe(0.5, 12.0),
            maybe(5e4, 4e5),
            maybe(1e3, 4e4),
            figure(1e3, 4e4),
            maybe(1.0, 90.0),
            maybe(0.0, 60.0),
            maybe(1.0, 10.0),
        ),
    );
    let words = (
        of(&["", "", "check_valve", "gauge relief_valve"]),
        of(&["", "", "", "", "", "NBR", "EPDM"]),
        of(&["", "active", "obsolete"]),
        of(&["", "", "each", "m"]),
    );
    (numbers, words).prop_map(move |((a, b, c, d), words)| {
        let kind = KINDS[index % KINDS.len()];
        // The first clamp is a single-acting one, and rams reach further than cylinders.
        let unclamp = if index < KINDS.len() { String::new() } else { a.3 };
        let stroke = if kind == "drive_ram" { "40".to_owned() } else { a.4 };
        let cells = [
            ("part_no", part_no(index)),
            ("kind", kind.to_owned()),
            ("rated_pressure", a.0),
            ("min_pressure", a.1),
            ("area_clamp", a.2),
            ("area_unclamp", unclamp),
            ("stroke", stroke),
            ("volume_clamp", a.5),
            ("dead_volume", b.0),
            ("capacity", b.1),
            ("pressure_ratio", "2.5".to_owned()),
            ("return_loss", "4".to_owned()),
            ("set_pressure", b.2),
            ("full_scale", b.3),
            ("inner_diameter", b.4),
            ("outer_diameter", b.5),
            ("tensile_strength", c.0),
            ("expansion", c.1),
            ("gas_volume", c.2),
            ("precharge", c.3),
            ("flow", c.4),
            ("leak", c.5),
            ("return_pressure", d.0),
            ("stiffness", d.1),
            ("force_max", d.2),
            ("support_capacity", d.3),
            ("unit_price", d.4),
            ("lead_time", d.5),
            ("pack_qty", d.6),
            ("includes", words.0),
            ("seal", words.1),
            ("status", words.2),
            ("uom", words.3),
        ];
        joined(COMPONENTS, cells)
    })
}

fn part_no(index: usize) -> String {
    format!("{}-{}", KINDS[index % KINDS.len()].to_uppercase().replace('_', ""), index / KINDS.len() + 1)
}

const PLACES: [[&str; 4]; 6] = [
    ["North", "P1", "F1", "1"],
    ["North", "P1", "F1", "2"],
    ["North", "P1", "F2", ""],
    ["North", "P2", "F1", "1"],
    ["South", "P1", "F1", "1"],
    ["", "", "F9", "A b"],
];

/// One of six circuits on five fixtures.
fn place() -> impl Strategy<Value = [&'static str; 4]> {
    select(PLACES.to_vec())
}

fn line() -> impl Strategy<Value = Row> {
    let part = prop_oneof![60 => (0..PARTS).prop_map(part_no), 1 => of(&["CLAMP-9", "1.2E+05", "clamp-1"])];
    let cells = (
        (of(&["", "", "", "10", "20", "30", "40", "50"]), part, of(&["1", "2", "3", "4"]), figure(50.0, 3000.0)),
        (prop_oneof![8 => Just(String::new()), 1 => figure(2.0, 20.0)], of(&["", "", "", "clamp", "unclamp", "both"])),
        prop_oneof![8 => Just(String::new()), 1 => of(&["0.5", "1", "0"])],
        (
            prop_oneof![6 => Just(String::new()), 1 => figure(500.0, 9000.0)],
            prop_oneof![6 => Just(String::new()), 1 => figure(50.0, 250.0)],
        ),
        (of(&["", "", "", "yes", "no"]), of(&["", "", "", "", "", "10", "20 30"]), of(&["", "spare", "a \"b\", c"])),
    );
    cells.prop_map(
        |((position, part, qty, length), (stroke, side), share, (force, setting), (reduced, supports, note))| {
            let mut row: Row = vec![String::new(); 4];
            row.extend([
                position,
                part,
                qty,
                length,
                stroke,
                side,
                share,
                force,
                setting.clone(),
                setting,
                reduced,
                supports,
                note,
            ]);
            row
        },
    )
}

/// What a sound circuit has.
fn core() -> Table {
    ["CHARGINGCYLINDER-1", "CHECKVALVE-1", "ISOLATIONVALVE-1", "GAUGE-1", "CLAMP-1", "TUBE-1"]
        .map(|part| {
            joined(LISTS, [("part_no", part.to_owned()), ("qty", "1".to_owned()), ("length", "800".to_owned())])
        })
        .to_vec()
}

/// The lines of a circuit: a sound one's and more, or any.
fn circuit() -> impl Strategy<Value = Table> {
    (place(), prop::bool::weighted(0.7), prop::collection::vec(line(), 0..5)).prop_map(|(place, is_sound, more)| {
        let mut rows = if is_sound { core() } else { Table::new() };
        rows.extend(more);
        for row in &mut rows {
            row.iter_mut().zip(place).for_each(|(cell, name)| name.clone_into(cell));
        }
        rows
    })
}

fn lists() -> impl Strategy<Value = Vec<Table>> {
    let list = prop::collection::vec(circuit(), 1..4).prop_map(|circuits| circuits.concat());
    // A list given twice, now and then.
    (prop::collection::vec(list, 1..4), prop::bool::weighted(0.1)).prop_map(|(mut lists, is_twice)| {
        if is_twice {
            lists.push(lists[0].clone());
        }
        lists
    })
}

fn circuit_row(place: [&'static str; 4]) -> impl Strategy<Value = Option<Row>> {
    let cells = (
        (
            of(&["", "", "", "single", "double"]),
            of(&["", "", "cylinder", "coupler", "live"]),
            of(&["LS1", "LS1", "LS2", "LS2", "LS9", ""]),
        ),
        (
            maybe(150.0, 240.0),
            maybe(60.0, 150.0),
            maybe(5.0, 20.0),
            maybe(20.0, 30.0),
            maybe(1.0, 600.0),
            maybe(0.5, 30.0),
            maybe(0.5, 30.0),
        ),
        (of(&["", "", "", "", "", "default", "water"]), of(&["", "2026-04-01"]), of(&["", "", "yes", "no"])),
    );
    let row = cells.prop_map(move |((acting, charging, station), numbers, (fluid, need, built))| {
        let mut row: Row = place.map(str::to_owned).to_vec();
        row.extend([
            acting, charging, station, numbers.0, numbers.1, numbers.2, numbers.3, numbers.4, numbers.5, numbers.6,
            fluid, need, built,
        ]);
        row
    });
    prop::option::weighted(0.92, row)
}

fn order_row() -> impl Strategy<Value = Row> {
    let part = prop_oneof![9 => (0..PARTS).prop_map(part_no), 1 => of(&["NOBODYS-1"])];
    (
        part,
        figure(1.0, 30.0),
        of(&["", "", "m", "ft", "each"]),
        of(&["4711", "4712"]),
        maybe(1.0, 90.0),
        of(&["", "2026-03-20", "2026-05-01"]),
    )
        .prop_map(|(part, qty, uom, order, price, date)| {
            // What the table doesn't know is counted in the unit of its first order.
            let uom = if part == "NOBODYS-1" { String::new() } else { uom };
            vec![part, qty, uom, order, price, date]
        })
}

fn waiver_row() -> impl Strategy<Value = Row> {
    let rule = of(&["L02", "L03", "L09", "M01", "M05", "P03", "P05", "P12", "P13", "V01", "H03", "X99"]);
    (place(), any::<bool>(), rule, of(&["agreed", ""]), of(&["2026-12-31", "2026-03-10", "2025-01-01", "never"]))
        .prop_map(|(place, is_everywhere, rule, reason, expires)| {
            let place = if is_everywhere { ["", "*", "", ""] } else { place };
            let mut row: Row = place.map(str::to_owned).to_vec();
            row.extend([String::new(), rule, reason, "K. Lind".to_owned(), expires]);
            row
        })
}

/// A cell to overwrite: table, row, column (counted round) and text.
type Spoilt = (usize, usize, usize, String);

fn spoilt() -> impl Strategy<Value = Vec<Spoilt>> {
    let text = of(&[
        "",
        "0",
        "-3",
        "n/a",
        "1e300",
        "1e-300",
        "1,5",
        "1.234.567",
        "12 bar",
        "3 in",
        "two",
        "2026-13-01",
        "\u{a0}",
        "=1+1",
    ]);
    let some = prop::collection::vec((0_usize..3, 0_usize..500, 0_usize..500, text), 1..6);
    prop_oneof![Just(Vec::new()), some]
}

fn plant() -> impl Strategy<Value = Plant> {
    let components: Vec<_> = (0..PARTS).map(part).collect();
    let stations = (figure(60.0, 110.0), figure(60.0, 110.0)).prop_map(|(one, two)| {
        let row = |name: &str, number: u8, setting| {
            vec![name.to_owned(), format!("PUMP-{number}"), format!("DRIVERAM-{number}"), setting]
        };
        vec![row("LS1", 1, one), row("LS2", 2, two)]
    });
    let circuits = PLACES.map(circuit_row).into_iter().collect::<Vec<_>>();
    let orders = prop::collection::vec(order_row(), 1..9);
    let waivers = prop::collection::vec(waiver_row(), 1..4);
    let optional = (prop::bool::weighted(0.9), prop::option::weighted(0.3, orders), prop::option::of(waivers));
    (components, stations, circuits, optional, lists(), spoilt()).prop_map(
        |(components, stations, circuits, (has_circuits, orders, waivers), lists, spoilt)| {
            let used: BTreeSet<Vec<String>> = lists.iter().flatten().map(|row| place_of(row)).collect();
            let rows: Table =
                circuits.into_iter().flatten().filter(|row| used.contains(&place_of(row)) || row[2] == "F9").collect();
            let mut plant =
                Plant { components, circuits: has_circuits.then_some(rows), stations, orders, waivers, lists };
            spoilt.into_iter().for_each(|spoilt| plant.spoil(spoilt));
            plant
        },
    )
}

fn write_table(path: &Path, head: &str, rows: &[Row]) {
    let mut out = csv::Writer::from_path(path).unwrap();
    out.write_record(head.split(',').map(str::trim)).unwrap();
    rows.iter().for_each(|row| out.write_record(row).unwrap());
    out.flush().unwrap();
}

impl Plant {
    /// Overwrites a cell that is no key: those must stay unique and readable for the test itself.
    fn spoil(&mut self, (table, row, column, text): Spoilt) {
        let lists = self.lists.len();
        let (rows, keys) = match table {
            0 => (&mut self.components, 2),
            1 => (&mut self.lists[row % lists], 6),
            _ => match &mut self.circuits {
                Some(rows) if !rows.is_empty() => (rows, 7),
                _ => return,
            },
        };
        let at = row % rows.len();
        let cells = &mut rows[at];
        let column = keys + column % (cells.len() - keys);
        cells[column] = text;
    }

    fn write(&self, folder: &Path) {
        fs::create_dir_all(folder.join("lists")).unwrap();
        fs::write(folder.join("policy.toml"), "date = \"2026-03-02\"\n").unwrap();
        write_table(&folder.join("components.csv"), COMPONENTS, &self.components);
        write_table(&folder.join("stations.csv"), STATIONS, &self.stations);
        for (name, head, table) in [
            ("circuits", CIRCUITS, &self.circuits),
            ("orders", ORDERS, &self.orders),
            ("waivers", WAIVERS, &self.waivers),
        ] {
            if let Some(rows) = table {
                write_table(&folder.join(format!("{name}.csv")), head, rows);
            }
        }
        for (index, rows) in self.lists.iter().enumerate() {
            write_table(&folder.join(format!("lists/list-{index}.csv")), LISTS, rows);
        }
    }

    /// The same plant told backwards: last file first, last line first.
    fn reversed(&self) -> Self {
        let back = |rows: &Table| rows.iter().rev().cloned().collect::<Table>();
        Self {
            circuits: self.circuits.as_ref().map(back),
            orders: self.orders.as_ref().map(back),
            waivers: self.waivers.as_ref().map(back),
            stations: back(&self.stations),
            lists: self.lists.iter().rev().map(back).collect(),
            ..self.clone()
        }
    }

    /// Part numbers that a circuit uses, on its lines and through its station.
    fn parts_of(&self, place: &[String]) -> BTreeSet<String> {
        let own = self.lists.iter().flatten().filter(|row| place_of(row) == place).map(|row| row[5].clone());
        let station = self.station_of(place);
        let sources = self
            .stations
            .iter()
            .filter(|row| Some(&row[0]) == station.as_ref())
            .flat_map(|row| [row[1].clone(), row[2].clone()]);
        own.chain(sources).filter(|part| !part.is_empty()).collect()
    }

    fn station_of(&self, place: &[String]) -> Option<String> {
        let row = self.circuits.iter().flatten().find(|row| place_of(row) == place)?;
        (!row[6].is_empty()).then(|| row[6].clone())
    }
}

/// The key of a row of a list or of `circuits`: a blank circuit is the first.
fn place_of(row: &[String]) -> Vec<String> {
    let mut place = row[..4].to_vec();
    if place[3].is_empty() {
        "1".clone_into(&mut place[3]);
    }
    place
}

type Record = BTreeMap<String, String>;

/// What a run said and wrote.
struct Report {
    status: i32,
    files: BTreeMap<String, Vec<u8>>,
}

impl Report {
    fn of(plant: &Plant, threads: &str, with_workbook: bool) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (root, data) = (folder.path().join("plant"), folder.path().join("data"));
        plant.write(&root);
        let mut command = Command::new(program());
        command.arg("check").arg(&root).arg("--data").arg(&data).args(["--quiet", "--threads", threads]);
        if with_workbook {
            command.arg("--out").arg(data.with_file_name("report.xlsx"));
        }
        let output = command.output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        let status = output.status.code().unwrap_or(-1);
        assert!(matches!(status, 0 | 1) && said.is_empty(), "status {status}: {said}");
        let mut files: BTreeMap<_, _> = fs::read_dir(&data)
            .unwrap()
            .map(|entry| entry.unwrap())
            .map(|entry| (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap()))
            .collect();
        if with_workbook {
            files.insert("report.xlsx".to_owned(), fs::read(data.with_file_name("report.xlsx")).unwrap());
        }
        Self { status, files }
    }

    fn table(&self, name: &str) -> Vec<Record> {
        let mut reader = csv::Reader::from_reader(self.files[name].as_slice());
        reader.deserialize().map(Result::unwrap).collect()
    }

    fn summary(&self) -> serde_json::Value {
        serde_json::from_slice(&self.files["summary.json"]).unwrap()
    }
}

fn key_of(record: &Record) -> Vec<String> {
    ["plant", "pallet", "fixture", "circuit"].map(|column| record[column].clone()).to_vec()
}

/// Every figure is finite or empty, and none that can't be is negative.
fn figures_are_sound(circuits: &[Record]) {
    let words = [
        "plant",
        "pallet",
        "fixture",
        "circuit",
        "verdict",
        "clamp_weakest_part",
        "unclamp_weakest_part",
        "not_assessed",
    ];
    for circuit in circuits {
        for (column, cell) in
            circuit.iter().filter(|(column, cell)| !words.contains(&column.as_str()) && !cell.is_empty())
        {
            let value: f64 = cell.parse().unwrap_or(f64::NAN);
            assert!(value.is_finite(), "{column}: {cell}");
            let may_be_negative = column.ends_with("reserve_cm3") || column.ends_with("potential_bar");
            assert!(value >= 0.0 || may_be_negative, "{column}: {cell}");
        }
        for side in ["clamp", "unclamp"] {
            demand_is_the_sum(circuit, side);
        }
    }
}

/// The parts of a demand make it up, as far as the digits of the file go.
fn demand_is_the_sum(circuit: &Record, side: &str) {
    let cell = |name: &str| circuit[&format!("{side}_{name}")].parse::<f64>().ok();
    let parts = ["swept_cm3", "compression_cm3", "air_cm3", "dilation_cm3", "elastic_cm3", "accumulator_cm3"].map(cell);
    let Some(demand) = cell("demand_cm3") else { return };
    let sum: f64 =
        parts.iter().map(|part| part.unwrap_or_else(|| panic!("a demand of unknown parts: {circuit:?}"))).sum();
    assert!((demand - sum).abs() <= 1e-6 * demand.abs().max(1.0), "{side}: {demand} is not {sum}");
    if let (Some(fill), Some(capacity)) = (cell("fill"), cell("capacity_cm3")) {
        assert!(
            (fill * capacity - demand).abs() <= 1e-6 * demand.abs().max(1.0),
            "{side}: fill {fill} of {capacity} is not {demand}"
        );
    }
}

/// The verdict as it follows from the findings.
fn verdict_of(plant: &Plant, circuit: &Record, findings: &[Record]) -> &'static str {
    let place = key_of(circuit);
    let (parts, station) = (plant.parts_of(&place), plant.station_of(&place));
    let concerns = |finding: &&Record| {
        let weighs = finding["severity"] != "observation" && !finding["rule"].starts_with(['B', 'W']);
        let elsewhere = key_of(finding).iter().all(String::is_empty);
        let mine = if elsewhere && finding["fixture"].is_empty() {
            let of_part = finding["position"].is_empty() && parts.contains(&finding["part_no"]);
            let of_station = finding["part_no"].is_empty() && station.as_ref() == Some(&finding["position"]);
            of_part || of_station
        } else {
            key_of(finding) == place
        };
        weighs && mine
    };
    let mine: Vec<&Record> = findings.iter().filter(concerns).collect();
    if mine.iter().any(|finding| finding["state"] != "waived") {
        "does not conform"
    } else if !circuit["not_assessed"].is_empty() {
        "not assessed"
    } else if mine.is_empty() {
        "conforms"
    } else {
        "conforms with waivers"
    }
}

/// Counts of the summary are those of the tables; the exit status says the same.
fn totals_add_up(plant: &Plant, report: &Report) {
    let (circuits, findings, summary) = (report.table("circuits.csv"), report.table("findings.csv"), report.summary());
    let keys: BTreeSet<_> = circuits.iter().map(key_of).collect();
    assert_eq!(keys.len(), circuits.len());
    let listed: BTreeSet<_> =
        plant.lists.iter().flatten().chain(plant.circuits.iter().flatten()).map(|row| place_of(row)).collect();
    assert_eq!(keys, listed);
    let number =
        |group: &str, name: &str| summary[group][name].as_u64().unwrap_or_else(|| panic!("{group} {name}: {summary}"));
    assert_eq!(number("circuits", "total"), circuits.len() as u64);
    for verdict in ["conforms", "conforms with waivers", "does not conform", "not assessed"] {
        let count = circuits.iter().filter(|circuit| circuit["verdict"] == verdict).count();
        assert_eq!(number("circuits", &verdict.replace(' ', "_")), count as u64, "{verdict}");
    }
    let lines: usize = plant.lists.iter().map(Vec::len).sum();
    assert_eq!(number("lines", "read"), lines as u64);
    let groups = ["findings", "purchasing", "waivers"];
    for (severity, plural) in [("major", "majors"), ("minor", "minors"), ("observation", "observations")] {
        let count =
            findings.iter().filter(|finding| finding["severity"] == severity && finding["state"] != "waived").count();
        assert_eq!(groups.map(|group| number(group, plural)).iter().sum::<u64>(), count as u64, "{plural}");
    }
    let waived = findings.iter().filter(|finding| finding["state"] == "waived").count();
    assert_eq!(groups.map(|group| number(group, "waived")).iter().sum::<u64>(), waived as u64);
    let is_open = findings.iter().any(|finding| finding["severity"] != "observation" && finding["state"] != "waived");
    let is_unknown = circuits.iter().any(|circuit| circuit["verdict"] == "not assessed");
    assert_eq!(report.status, i32::from(is_open || is_unknown));
}

/// A finding without what hangs on the order: where it was read, and how it is told.
fn gist(findings: &[Record]) -> Vec<Vec<String>> {
    let columns = [
        "rule", "severity", "state", "plant", "pallet", "fixture", "circuit", "side", "position", "part_no",
        "measured", "limit", "unit",
    ];
    let named_later = ["L03", "L11", "L12"];
    let kept = findings.iter().filter(|finding| !named_later.contains(&finding["rule"].as_str()));
    let mut rows: Vec<Vec<String>> =
        kept.map(|finding| columns.map(|column| finding[column].clone()).to_vec()).collect();
    rows.sort();
    rows
}

fn is_close(one: &str, other: &str) -> bool {
    one == other
        || matches!((one.parse::<f64>(), other.parse::<f64>()), (Ok(a), Ok(b)) if (a - b).abs() <= 1e-9 * a.abs().max(b.abs()))
}

fn are_close<'a>(one: impl IntoIterator<Item = &'a String>, other: impl IntoIterator<Item = &'a String>) -> bool {
    one.into_iter().zip(other).all(|(one, other)| is_close(one, other))
}

fn order_does_not_matter(one: &Report, other: &Report) {
    let (circuits, others) = (one.table("circuits.csv"), other.table("circuits.csv"));
    assert_eq!(circuits.len(), others.len());
    for (circuit, other) in circuits.iter().zip(&others) {
        assert!(are_close(circuit.values(), other.values()), "{circuit:?}\n{other:?}");
    }
    let (findings, others) = (gist(&one.table("findings.csv")), gist(&other.table("findings.csv")));
    assert_eq!(findings.len(), others.len(), "{findings:#?}\n{others:#?}");
    for (finding, other) in findings.iter().zip(&others) {
        assert!(are_close(finding, other), "{finding:?}\n{other:?}");
    }
    let (purchase, others) = (one.table("purchase.csv"), other.table("purchase.csv"));
    assert_eq!(purchase.len(), others.len());
    for (row, other) in purchase.iter().zip(&others) {
        assert!(are_close(row.values(), other.values()), "{row:?}\n{other:?}");
    }
}

fn differing(one: &Report, other: &Report) -> Vec<String> {
    let names: BTreeSet<&String> = one.files.keys().chain(other.files.keys()).collect();
    names.into_iter().filter(|name| one.files.get(*name) != other.files.get(*name)).cloned().collect()
}

/// Runs a plant three times and looks at all that was written; answers with rules and verdicts.
fn holds_together(plant: &Plant) -> Vec<String> {
    let report = Report::of(plant, "1", true);
    let (circuits, findings) = (report.table("circuits.csv"), report.table("findings.csv"));
    figures_are_sound(&circuits);
    for circuit in &circuits {
        assert_eq!(verdict_of(plant, circuit, &findings), circuit["verdict"], "{circuit:?}\n{findings:?}");
    }
    totals_add_up(plant, &report);
    let wide = Report::of(plant, "3", true);
    assert_eq!(differing(&report, &wide), Vec::<String>::new());
    order_does_not_matter(&report, &Report::of(&plant.reversed(), "2", false));
    let verdicts = circuits.iter().map(|circuit| circuit["verdict"].clone());
    findings.iter().map(|finding| finding["rule"].clone()).chain(verdicts).collect()
}

#[test]
fn the_report_of_any_plant_holds_together() {
    let cases = env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(64);
    let config =
        ProptestConfig { cases, max_shrink_iters: 300, failure_persistence: None, ..ProptestConfig::default() };
    let seen = RefCell::new(BTreeMap::<String, u32>::new());
    let run =
        TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha)).run(&plant(), |plant| {
            for word in holds_together(&plant) {
                *seen.borrow_mut().entry(word).or_default() += 1;
            }
            Ok(())
        });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let seen = seen.into_inner();
    // Else the plants are all alike, and nothing was tried.
    let rules = seen.keys().filter(|word| word.len() == 3).count();
    let is_varied =
        rules >= 40 && ["not assessed", "does not conform"].iter().all(|verdict| seen.contains_key(*verdict));
    assert!(is_varied, "{rules} rules: {seen:?}");
    if cases > 64 {
        eprintln!("{rules} rules: {seen:?}");
    }
}
