//! The rows of the starter: one circuit that conforms, of parts that nobody makes.

use crate::tables::column::Table;

/// A cell: its column, and its text in metric and in US units.
pub type Cell = (&'static str, &'static str, &'static str);

/// A row of cells; columns that it doesn't name are blank.
pub type Row = &'static [Cell];

const fn same(column: &'static str, text: &'static str) -> Cell {
    (column, text, text)
}

const PLANT: Cell = same("plant", "Example plant");
const PALLET: Cell = same("pallet", "P01");
const FIXTURE: Cell = same("fixture", "F1");
const CIRCUIT: Cell = same("circuit", "1");
const ACTIVE: Cell = same("status", "active");
const EACH: Cell = same("uom", "each");
const CURRENCY: Cell = same("currency", "EUR");
const SUPPLIER: Cell = same("supplier", "Example supplier");
const LEAD_TIME: Cell = same("lead_time", "21");
const NBR: Cell = same("seal", "NBR");
const LEAK: Cell = ("leak", "0.001", "0.0001");
const PROMISED: Cell = same("promised_date", "2027-02-26");

/// The rows of a table.
#[must_use]
pub const fn rows(table: Table) -> &'static [Row] {
    match table {
        Table::Lists => LINES,
        Table::Components => COMPONENTS,
        Table::Circuits => CIRCUITS,
        Table::Stations => STATIONS,
        Table::Orders => ORDERS,
        // A waiver that matches no finding is one itself (W02).
        Table::Waivers => &[],
    }
}

macro_rules! listed {
    ($position:literal, $part:literal, $qty:literal $(, $cell:expr)* $(,)?) => {
        &[PLANT, PALLET, FIXTURE, CIRCUIT, same("position", $position), same("part_no", $part), same("qty", $qty) $(, $cell)*]
    };
}

static LINES: &[Row] = &[
    listed!("CC", "EX-CYL-40", "1", same("note", "charging cylinder")),
    listed!("CV", "EX-CHECK-6", "1"),
    listed!("IV", "EX-SHUT-6", "1"),
    listed!("G", "EX-GAUGE-250", "1"),
    listed!(
        "C1",
        "EX-CLAMP-20",
        "4",
        ("stroke_used", "10", "0.4"),
        same("side", "clamp"),
        ("force_required", "2500", "550")
    ),
    listed!("L1", "EX-TUBE-8", "1", ("length", "1500", "60"), same("note", "all oil flows through it")),
    listed!(
        "L2",
        "EX-TUBE-8",
        "2",
        ("length", "400", "16"),
        same("share", "0.5"),
        same("note", "branches, half of the oil each")
    ),
];

macro_rules! part {
    ($part:literal, $kind:literal, $description:literal, $price:literal $(, $cell:expr)* $(,)?) => {
        &[
            same("part_no", $part), same("kind", $kind), same("description", $description), same("unit_price", $price),
            ACTIVE, CURRENCY, LEAD_TIME, SUPPLIER $(, $cell)*
        ]
    };
}

static COMPONENTS: &[Row] = &[
    part!(
        "EX-CYL-40",
        "charging_cylinder",
        "example, invented",
        "390.00",
        EACH,
        NBR,
        ("rated_pressure", "250", "3600"),
        ("stroke", "80", "3.25"),
        ("dead_volume", "2", "0.12"),
        ("capacity", "40", "2.4"),
        same("pressure_ratio", "0.5"),
        ("return_loss", "3", "45")
    ),
    part!(
        "EX-CHECK-6",
        "check_valve",
        "example, invented",
        "48.00",
        EACH,
        NBR,
        ("rated_pressure", "350", "5000"),
        ("dead_volume", "0.3", "0.02"),
        LEAK
    ),
    part!(
        "EX-SHUT-6",
        "isolation_valve",
        "example, invented",
        "62.00",
        EACH,
        NBR,
        ("rated_pressure", "350", "5000"),
        ("dead_volume", "0.3", "0.02"),
        LEAK
    ),
    part!("EX-GAUGE-250", "gauge", "example, invented", "27.00", EACH, ("full_scale", "250", "4000")),
    part!(
        "EX-CLAMP-20",
        "clamp",
        "example, invented",
        "118.00",
        EACH,
        NBR,
        ("rated_pressure", "250", "3600"),
        ("min_pressure", "25", "350"),
        ("area_clamp", "314", "0.49"),
        ("stroke", "12", "0.5"),
        ("volume_clamp", "3.77", "0.245"),
        ("dead_volume", "0.4", "0.025"),
        LEAK,
        ("return_pressure", "3", "45"),
        ("stiffness", "60000", "340000"),
        same("force_ratio", "1"),
        ("force_max", "7500", "1700")
    ),
    part!(
        "EX-TUBE-8",
        "tube",
        "example, invented",
        "4.80",
        ("uom", "m", "ft"),
        ("pack_qty", "6", "20"),
        ("inner_diameter", "6", "0.25"),
        ("outer_diameter", "8", "0.375"),
        ("tensile_strength", "360", "52000"),
        ("elastic_modulus", "205", "29700000"),
        same("poisson", "0.3")
    ),
    part!(
        "EX-PUMP-350",
        "pump",
        "example, invented",
        "2150.00",
        EACH,
        ("rated_pressure", "350", "5000"),
        ("capacity", "500", "30"),
        ("flow", "2", "0.5"),
        ("flow_high", "0.5", "0.12")
    ),
    part!(
        "EX-RAM-100",
        "drive_ram",
        "example, invented",
        "720.00",
        EACH,
        ("rated_pressure", "350", "5000"),
        ("stroke", "100", "4")
    ),
];

static CIRCUITS: &[Row] = &[&[
    PLANT,
    PALLET,
    FIXTURE,
    CIRCUIT,
    same("acting", "single"),
    same("charging", "cylinder"),
    same("station", "ST-1"),
    ("pressure_set", "160", "2305"),
    ("pressure_min", "85", "1200"),
    ("temp_charge", "20", "68"),
    ("temp_min", "17", "63"),
    ("temp_max", "25", "77"),
    same("hold_time", "8"),
    same("clamp_time_max", "8"),
    same("unclamp_time_max", "8"),
    same("fluid", "default"),
    same("need_date", "2027-03-31"),
    same("built", "no"),
]];

static STATIONS: &[Row] = &[&[
    same("station", "ST-1"),
    same("pump", "EX-PUMP-350"),
    same("drive_ram", "EX-RAM-100"),
    ("pump_setting", "326", "4700"),
    same("built", "no"),
]];

macro_rules! order {
    ($part:literal, $qty:literal, $order:literal, $price:literal) => {
        order!($part, ("qty", $qty, $qty), EACH, $order, $price)
    };
    ($part:literal, $qty:expr, $uom:expr, $order:literal, $price:literal) => {
        &[
            same("part_no", $part),
            $qty,
            $uom,
            same("order_no", $order),
            SUPPLIER,
            same("unit_price", $price),
            CURRENCY,
            PROMISED,
        ]
    };
}

static ORDERS: &[Row] = &[
    order!("EX-CYL-40", "1", "EX-001", "390.00"),
    order!("EX-CHECK-6", "1", "EX-002", "48.00"),
    order!("EX-SHUT-6", "1", "EX-003", "62.00"),
    order!("EX-GAUGE-250", "1", "EX-004", "27.00"),
    order!("EX-CLAMP-20", "4", "EX-005", "118.00"),
    order!("EX-TUBE-8", ("qty", "6", "20"), ("uom", "m", "ft"), "EX-006", "4.80"),
    order!("EX-PUMP-350", "1", "EX-007", "2150.00"),
    order!("EX-RAM-100", "1", "EX-008", "720.00"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cell_stands_under_a_known_column_once() {
        for table in Table::ALL {
            for row in rows(*table) {
                let mut names: Vec<&str> = row.iter().map(|cell| cell.0).collect();
                assert!(names.iter().all(|name| table.column(name).is_some()), "{table}: {names:?}");
                for column in table.columns().iter().filter(|column| column.required) {
                    assert!(names.contains(&column.name), "{table}: {}", column.name);
                }
                names.sort_unstable();
                assert!(names.windows(2).all(|pair| pair.first() != pair.last()), "{table}: {names:?}");
            }
        }
    }
}
