//! Not assessed is not a dead end: each circuit that could not be assessed names one cell, and giving that cell settles at
//! least one of the rules that waited.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a test stops where it fails, and prints its count")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use clampbook::audit::outcome::Audit;
use clampbook::audit::settling::settles_most;
use clampbook::audit::{Wanted, whole_without_rows};
use clampbook::circuit::audited::CircuitAudit;
use clampbook::tables::circuit::CircuitKey;
use clampbook::tables::words::{Verdict, folded};

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// `None` where the run is refused.
fn run(plant: &Path) -> Option<Audit> {
    let reading = clampbook::read::open(plant, None, "2026-11-25".parse().unwrap()).ok()?;
    whole_without_rows(reading, &Wanted { remedies: false, ..Wanted::default() }).ok()
}

/// A text table, cell by cell.
struct Sheet {
    path: PathBuf,
    rows: Vec<Vec<String>>,
}

impl Sheet {
    fn read(path: PathBuf) -> Self {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_path(&path).unwrap();
        let rows = reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
        Self { path, rows }
    }

    /// The column of a name, made where the table lacks it.
    fn column(&mut self, name: &str) -> usize {
        let bare = |header: &str| folded(header.split(['[', '(']).next().unwrap_or_default());
        if let Some(at) = self.rows[0].iter().position(|header| bare(header) == folded(name)) {
            return at;
        }
        self.rows[0].push(name.to_owned());
        self.rows.iter_mut().skip(1).for_each(|row| row.push(String::new()));
        self.rows[0].len() - 1
    }

    fn write(&self) {
        let mut writer = csv::WriterBuilder::new().flexible(true).from_path(&self.path).unwrap();
        self.rows.iter().for_each(|row| writer.write_record(row).unwrap());
        writer.flush().unwrap();
    }
}

/// What somebody may well put into a cell of this column.
fn plausible(column: &str, audit: &Audit, circuit: &CircuitAudit) -> String {
    let known_part = |kinds: &[&str]| {
        let of_kind = |part: &&clampbook::tables::component::Component| {
            part.faults.is_empty() && part.kind.is_some_and(|kind| kinds.contains(&kind.word()))
        };
        audit.plant.components.iter().find(of_kind).map_or_else(String::new, |part| part.part_no.clone())
    };
    match column {
        "station" => audit.plant.stations.first().map_or_else(String::new, |station| station.station.clone()),
        "part_no" => known_part(&["fitting", "manifold", "test_point", "gauge", "isolation_valve"]),
        "pump" => known_part(&["pump"]),
        "drive_ram" => known_part(&["drive_ram"]),
        "acting" => "single".to_owned(),
        "charging" => circuit.circuit.service().charging().word().to_owned(),
        "kind" => "fitting".to_owned(),
        "supports" => {
            let is_clamp = |line: &&clampbook::tables::line::Line| {
                line.component(&audit.plant.components)
                    .is_some_and(|part| part.kind.is_some_and(|kind| kind.word() == "clamp"))
            };
            let of_fixture = audit.circuits.iter().filter(|other| same_fixture(other, circuit));
            // A clamp without a quantity is no clamp to stand under; its own row tells.
            let has_quantity = |line: &&clampbook::tables::line::Line| line.has_quantity();
            let mut clamps = of_fixture.flat_map(|other| &other.circuit.lines).filter(is_clamp).filter(has_quantity);
            clamps.find(|line| !line.position.is_empty()).map_or_else(String::new, |line| line.position.to_string())
        }
        "temp_min" => "18 degC".to_owned(),
        "temp_max" => "24 degC".to_owned(),
        "temp_charge" => "20 degC".to_owned(),
        "hold_time" => "2 h".to_owned(),
        "dwell" | "clamp_time_max" | "unclamp_time_max" | "time_min" => "5 s".to_owned(),
        "leak" => "0".to_owned(),
        "rated_pressure" | "full_scale" => "400 bar".to_owned(),
        "pressure_set" | "pump_setting" | "set_pressure" => "150 bar".to_owned(),
        "pressure_min" | "precharge" | "min_pressure" => "60 bar".to_owned(),
        "return_pressure" => "3 bar".to_owned(),
        "force_required" | "force_max" | "cutting_force" | "support_capacity" => "5000 N".to_owned(),
        "stroke" | "stroke_used" | "outer_diameter" => "10 mm".to_owned(),
        "length" => "1000 mm".to_owned(),
        "area_clamp" | "area_unclamp" | "piston_area" => "500 mm2".to_owned(),
        "capacity" | "volume_clamp" | "gas_volume" => "50 cm3".to_owned(),
        "inner_diameter" => "6 mm".to_owned(),
        "arm_rated" | "arm_length" => "30 mm".to_owned(),
        "flow" | "flow_high" => "2 L/min".to_owned(),
        "share" | "force_ratio" | "pressure_ratio" | "qty" | "step" | "cycles_per_day" => "1".to_owned(),
        "friction" => "0.15".to_owned(),
        _ => String::new(),
    }
}

/// Puts a plausible text into the cell that a report names.
fn give(plant: &Path, cell: &str, audit: &Audit, circuit: &CircuitAudit) {
    let (place, column) = cell.rsplit_once(", ").unwrap();
    let no_table = ("circuits.csv", "a row for the circuit");
    let (file, row) = place.rsplit_once(", ").unwrap_or(no_table);
    let path = plant.join(file);
    if !path.is_file() {
        fs::write(&path, "plant,pallet,fixture,circuit\n").unwrap();
    }
    let mut sheet = Sheet::read(path);
    let at = sheet.column(column);
    let row = match row.strip_prefix("row ") {
        Some(number) => number.parse::<usize>().unwrap() - 1,
        None => {
            assert_eq!(row, "a row for the circuit");
            let key = &circuit.circuit.key;
            let mut cells = vec![String::new(); sheet.rows[0].len()];
            for (name, text) in
                [("plant", &key.plant), ("pallet", &key.pallet), ("fixture", &key.fixture), ("circuit", &key.circuit)]
            {
                let column = sheet.column(name);
                cells.resize(cells.len().max(column + 1), String::new());
                cells[column] = text.to_string();
            }
            sheet.rows.push(cells);
            sheet.rows.len() - 1
        }
    };
    sheet.rows[row][at] = plausible(column, audit, circuit);
    sheet.write();
}

/// Asks every circuit that is not assessed for its cell, and gives it, `most` cells one after the other until a rule is
/// settled; what did not hold, by what it was.
fn tried(plant: &Path, most: usize, faults: &mut BTreeMap<String, String>) -> usize {
    let Some(audit) = run(plant) else { return 0 };
    let mut count = 0;
    let folder = tempfile::tempdir().unwrap();
    for circuit in audit.circuits.iter().filter(|circuit| circuit.verdict == Verdict::NotAssessed) {
        count += 1;
        let key: &CircuitKey = &circuit.circuit.key;
        let copy = folder.path().join(count.to_string());
        copied(plant, &copy);
        if let Err(fault) = settled(&copy, &audit, circuit, most) {
            faults.insert(fault, key.to_string());
        }
    }
    count
}

fn same_fixture(one: &CircuitAudit, other: &CircuitAudit) -> bool {
    let of = |audit: &CircuitAudit| {
        (audit.circuit.key.plant.clone(), audit.circuit.key.pallet.clone(), audit.circuit.key.fixture.clone())
    };
    of(one) == of(other)
}

fn codes(circuit: &CircuitAudit) -> Vec<&'static str> {
    circuit.not_assessed.iter().map(|lack| lack.rule).collect()
}

/// Gives a circuit the cells that it names until it waits for fewer rules.
fn settled(plant: &Path, audit: &Audit, circuit: &CircuitAudit, most: usize) -> Result<(), String> {
    let mut given = Vec::new();
    let mut now: Option<Audit> = None;
    for _ in 0..most {
        let audit = now.as_ref().unwrap_or(audit);
        let Some(at) = audit.circuits.iter().find(|other| other.circuit.key == circuit.circuit.key) else {
            return Err(format!("after {given:?} the circuit is gone"));
        };
        let lacks: Vec<&str> = at.not_assessed.iter().map(|lack| lack.because.as_str()).collect();
        let Some(cell) = settles_most(&audit.plant, at) else {
            // A support under a clamp of another circuit waits for that one, which names its own cell.
            let beside = |other: &&CircuitAudit| same_fixture(other, at);
            let waits = audit.circuits.iter().filter(beside).any(|other| codes(other).len() > 1);
            let is_beside = codes(at) == ["F03"] && waits;
            return if is_beside { Ok(()) } else { Err(format!("no cell: {}", lacks.join("; "))) };
        };
        give(plant, &cell, audit, at);
        given.push(cell);
        let after = run(plant).ok_or_else(|| format!("refused after {given:?}"))?;
        let left = after.circuits.iter().find(|other| other.circuit.key == circuit.circuit.key).map(codes);
        if left.is_some_and(|left| codes(circuit).iter().any(|code| !left.contains(code))) {
            return Ok(());
        }
        now = Some(after);
    }
    Err(format!("{given:?} settle none of {:?}", codes(circuit)))
}

fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap().path();
        let target = to.join(entry.file_name().unwrap());
        if entry.is_dir() { copied(&entry, &target) } else { fs::copy(&entry, &target).map(drop).unwrap() }
    }
}

fn report(what: &str, count: usize, faults: &BTreeMap<String, String>) {
    println!("{what}: {count} circuits not assessed, {} without a cell that settles a rule", faults.len());
    assert!(faults.is_empty(), "{faults:#?}");
}

/// A conforming plant with one cell after the other left blank: data are missing in every place that there is.
#[test]
fn every_blank_that_leaves_a_circuit_open_names_a_cell_that_settles_it() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    copied(&root("tests/oracle/base"), &plant);
    let (mut count, mut faults) = (0, BTreeMap::new());
    for table in ["circuits.csv", "components.csv", "stations.csv", "lists/a.csv", "lists/b.csv", "lists/c.csv"] {
        let path = plant.join(table);
        let before = fs::read(&path).unwrap();
        let given = Sheet::read(path.clone());
        for (row, column) in
            (1..given.rows.len()).flat_map(|row| (0..given.rows[0].len()).map(move |column| (row, column)))
        {
            let is_key = table == "circuits.csv" && column < 4 || table != "circuits.csv" && column == 0;
            // A part without a kind may be the clamp above a support of another circuit: its own circuit names the cell.
            let is_kind = table == "components.csv" && given.rows[0][column] == "kind";
            if is_key || is_kind || given.rows[row][column].is_empty() {
                continue;
            }
            let mut blanked = Sheet::read(path.clone());
            blanked.rows[row][column].clear();
            blanked.write();
            count += tried(&plant, 1, &mut faults);
            fs::write(&path, &before).unwrap();
        }
    }
    report("blanks", count, &faults);
    assert!(count > 100, "{count}");
}

/// Plants on which much is missing at once.
#[test]
fn plants_with_many_gaps_name_a_cell_for_each_circuit() {
    let folder = tempfile::tempdir().unwrap();
    let mut plants = vec![root("sample-data/plant")];
    plants.extend(fs::read_dir(root("tests/oracle/plants")).unwrap().map(|entry| entry.unwrap().path().join("plant")));
    let (mut count, mut faults) = (0, BTreeMap::new());
    for (number, from) in plants.iter().filter(|from| from.is_dir()).enumerate() {
        let plant = folder.path().join(number.to_string());
        copied(from, &plant);
        // Where several things are missing, one alone may settle nothing yet.
        count += tried(&plant, 12, &mut faults);
    }
    report("plants", count, &faults);
}
