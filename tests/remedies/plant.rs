//! Plants as cells: random small ones, sound and unsound cells mixed.

use std::collections::BTreeSet;
use std::fmt;
use std::fs;
use std::path::Path;

use proptest::prelude::*;
use proptest::sample::select;

pub type Row = Vec<String>;
pub type Table = Vec<Row>;

/// A plant as cells; each list is a file.
#[derive(Clone)]
pub struct Plant {
    pub components: Table,
    pub circuits: Option<Table>,
    pub stations: Table,
    pub orders: Option<Table>,
    pub waivers: Option<Table>,
    pub lists: Vec<Table>,
}

const COMPONENTS: &str = "part_no,kind,rated_pressure,min_pressure,area_clamp,area_unclamp,stroke,volume_clamp,\
    dead_volume,capacity,pressure_ratio,return_loss,set_pressure,full_scale,inner_diameter,outer_diameter,\
    tensile_strength,expansion,gas_volume,precharge,flow,leak,return_pressure,stiffness,force_max,support_capacity,\
    includes,seal,status,uom,unit_price,lead_time,pack_qty";
/// Names of the component table's columns.
pub fn component_columns() -> Vec<&'static str> {
    COMPONENTS.split(',').map(str::trim).collect()
}

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

pub fn plant() -> impl Strategy<Value = Plant> {
    let components: Vec<_> = (0..PARTS).map(part).collect();
    let stations = (figure(60.0, 110.0), figure(60.0, 110.0)).prop_map(|(one, two)| {
        let row = |name: &str, number: u8, setting| {
            vec![name.to_owned(), format!("PUMP-{number}"), format!("DRIVERAM-{number}"), setting]
        };
        vec![row("LS1", 1, one), row("LS2", 2, two)]
    });
    let circuits = Vec::from(PLACES.map(circuit_row));
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
        if rows.is_empty() {
            return;
        }
        let at = row % rows.len();
        let cells = &mut rows[at];
        let column = keys + column % (cells.len() - keys);
        cells[column] = text;
    }

    pub fn write(&self, folder: &Path) {
        self.write_with(folder, "");
    }

    /// Writes it with further columns of the component table.
    pub fn write_with(&self, folder: &Path, columns: &str) {
        fs::create_dir_all(folder.join("lists")).unwrap();
        fs::write(folder.join("policy.toml"), "date = \"2026-03-02\"\n").unwrap();
        write_table(&folder.join("components.csv"), &format!("{COMPONENTS}{columns}"), &self.components);
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
}

/// The key of a row of a list or of `circuits`: a blank circuit is the first.
pub fn place_of(row: &[String]) -> Vec<String> {
    let mut place = row[..4].to_vec();
    if place[3].is_empty() {
        "1".clone_into(&mut place[3]);
    }
    place
}
