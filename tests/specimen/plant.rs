//! The plant of the specimen: parts, a load station, a waiver, lists as given.

use chrono::NaiveDate;
use clampbook::audit::outcome::ListedRow;
use clampbook::physics::quantity::{Pressure, Volume};
use clampbook::tables::column::Table;
use clampbook::tables::component::Component;
use clampbook::tables::order::Waiver;
use clampbook::tables::origin::{HeaderCell, InputNote, NoteKind, Origin, Source};
use clampbook::tables::plant::Plant;
use clampbook::tables::station::{Station, StationPart};
use clampbook::tables::words::Kind;
use rust_decimal::Decimal;

use super::{PUMP_RATING, PUMP_SETTING};

fn component(part_no: &str, kind: Kind, rated: f64) -> Component {
    Component {
        part_no: part_no.to_owned(),
        kind: Some(kind),
        description: format!("{} {part_no}", kind.plain()),
        rated_pressure: Some(Pressure::from_bar(rated)),
        unit_price: Some(Decimal::new(1250, 2)),
        currency: "EUR".to_owned(),
        supplier: "Stores".to_owned(),
        ..Component::default()
    }
}

pub fn fill_plant(plant: &mut Plant) {
    let mut pump = component("PU-1", Kind::Pump, PUMP_RATING);
    pump.capacity = Some(Volume::from_cm3(5000.0));
    plant.components = vec![
        pump,
        component("RAM-1", Kind::DriveRam, 700.0),
        component("CC-1", Kind::ChargingCylinder, 350.0),
        component("@CL-1", Kind::Clamp, 350.0),
    ];
    plant.components[2].pressure_ratio = Some(0.5);
    plant.components.push(component("CC-2", Kind::ChargingCylinder, 350.0));
    for (index, part) in (0_u32..).zip(&plant.components) {
        plant.part_index.insert(part.part_no.clone(), index);
    }
    plant.has_stations = true;
    plant.stations = vec![Station {
        station: "LS-1".to_owned(),
        pump: StationPart::Known(0),
        drive_ram: StationPart::Known(1),
        pump_setting: Some(Pressure::from_bar(PUMP_SETTING)),
        ..Station::default()
    }];
    plant.station_index.insert("LS-1".into(), 0);
    plant.orders = Some(Vec::new());
    plant.waivers = vec![Waiver {
        fixture: "waived overfull".to_owned(),
        rule: "V01".to_owned(),
        reason: "Filled by hand until the new cylinder comes".to_owned(),
        approved_by: "J. Doe".to_owned(),
        expires: NaiveDate::from_ymd_opt(2027, 1, 31),
        ..Waiver::default()
    }];
    plant.sources = sources();
    plant.notes = vec![InputNote {
        kind: NoteKind::SetAside,
        origin: Origin { source: 0, row: 4 },
        letter: "D".to_owned(),
        column: "length".to_owned(),
        found: "63,5 mn".to_owned(),
        message: "Expected a length such as '63.5 mm'. The line was set aside.".to_owned(),
    }];
}

fn sources() -> Vec<Source> {
    let header = [("Part", Some("part_no")), ("qty", Some("qty")), ("length [mm]", Some("length")), ("colour", None)];
    let cells = |names: &[(&str, Option<&'static str>)]| {
        (0_u32..)
            .zip(names)
            .map(|(index, (text, column))| HeaderCell { index, text: (*text).to_owned(), column: *column })
            .collect()
    };
    vec![
        Source {
            file: "lists/line-1.csv".to_owned(),
            sheet: String::new(),
            table: Some(Table::Lists),
            header: cells(&header),
            unknown_headers: Vec::new(),
            sha256: "0123456789abcdef".repeat(4),
            rows_read: 4,
            rows_set_aside: 1,
            rows_skipped: 1,
            remarks: vec!["Semicolons apart.".to_owned()],
            hidden: Vec::new(),
            is_left_out: false,
        },
        Source {
            file: "lists/line-2.xlsx".to_owned(),
            sheet: "Fixture 12".to_owned(),
            table: Some(Table::Lists),
            header: cells(&[("part_no", Some("part_no")), ("length (in)", Some("length"))]),
            unknown_headers: Vec::new(),
            sha256: "fedcba9876543210".repeat(4),
            rows_read: 1,
            rows_set_aside: 0,
            rows_skipped: 0,
            remarks: Vec::new(),
            hidden: Vec::new(),
            is_left_out: false,
        },
    ]
}

/// Lines with texts that would be something else than text if they could.
pub fn listed() -> Vec<ListedRow> {
    let row = |source, row, cells: &[&str]| ListedRow {
        origin: Origin { source, row },
        cells: cells.iter().map(|cell| (*cell).to_owned()).collect(),
        place: None,
    };
    vec![
        row(0, 2, &["@CL-1", "1", "12", "=HYPERLINK(\"http://example.org\")"]),
        row(0, 3, &["CC-1", "=1+1", "+12", "http://example.org"]),
        row(0, 4, &["CC-1", "1", "63,5 mn", "tab\there, bell\u{7}"]),
        row(0, 5, &["-5", "1", "", &"long ".repeat(8000)]),
        row(1, 2, &["_x0041_", "1/4"]),
    ]
}
