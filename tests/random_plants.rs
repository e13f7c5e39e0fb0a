//! Random small plants, sound and unsound cells mixed: whatever they are, the report holds together.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::env;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

use proptest::prelude::*;
use proptest::test_runner::{RngAlgorithm, TestRng, TestRunner};

#[path = "random_plants/plant.rs"]
mod plant;

use plant::{Plant, Table, place_of, plant};

/// The program; another one than Cargo built where the variable names it.
fn program() -> PathBuf {
    env::var_os("CLAMPBOOK_BIN").map_or_else(|| PathBuf::from(env!("CARGO_BIN_EXE_clampbook")), PathBuf::from)
}

impl Plant {
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
        let sources = self.stations.iter().filter(|row| Some(&row[0]) == station.as_ref()).flat_map(|row| [row[1].clone(), row[2].clone()]);
        own.chain(sources).filter(|part| !part.is_empty()).collect()
    }

    fn station_of(&self, place: &[String]) -> Option<String> {
        let row = self.circuits.iter().flatten().find(|row| place_of(row) == place)?;
        (!row[6].is_empty()).then(|| row[6].clone())
    }
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
    let words = ["plant", "pallet", "fixture", "circuit", "verdict", "clamp_weakest_part", "unclamp_weakest_part", "not_assessed"];
    for circuit in circuits {
        for (column, cell) in circuit.iter().filter(|(column, cell)| !words.contains(&column.as_str()) && !cell.is_empty()) {
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
    let sum: f64 = parts.iter().map(|part| part.unwrap_or_else(|| panic!("a demand of unknown parts: {circuit:?}"))).sum();
    assert!((demand - sum).abs() <= 1e-6 * demand.abs().max(1.0), "{side}: {demand} is not {sum}");
    if let (Some(fill), Some(capacity)) = (cell("fill"), cell("capacity_cm3")) {
        assert!((fill * capacity - demand).abs() <= 1e-6 * demand.abs().max(1.0), "{side}: fill {fill} of {capacity} is not {demand}");
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
    let listed: BTreeSet<_> = plant.lists.iter().flatten().chain(plant.circuits.iter().flatten()).map(|row| place_of(row)).collect();
    assert_eq!(keys, listed);
    let number = |group: &str, name: &str| summary[group][name].as_u64().unwrap_or_else(|| panic!("{group} {name}: {summary}"));
    assert_eq!(number("circuits", "total"), circuits.len() as u64);
    for verdict in ["conforms", "conforms with waivers", "does not conform", "not assessed"] {
        let count = circuits.iter().filter(|circuit| circuit["verdict"] == verdict).count();
        assert_eq!(number("circuits", &verdict.replace(' ', "_")), count as u64, "{verdict}");
    }
    let lines: usize = plant.lists.iter().map(Vec::len).sum();
    assert_eq!(number("lines", "read"), lines as u64);
    let groups = ["findings", "purchasing", "waivers"];
    for (severity, plural) in [("major", "majors"), ("minor", "minors"), ("observation", "observations")] {
        let count = findings.iter().filter(|finding| finding["severity"] == severity && finding["state"] != "waived").count();
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
    let columns = ["rule", "severity", "state", "plant", "pallet", "fixture", "circuit", "side", "position", "part_no", "measured", "limit", "unit"];
    let named_later = ["L03", "L11", "L12"];
    let kept = findings.iter().filter(|finding| !named_later.contains(&finding["rule"].as_str()));
    let mut rows: Vec<Vec<String>> = kept.map(|finding| columns.map(|column| finding[column].clone()).to_vec()).collect();
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
    let config = ProptestConfig { cases, max_shrink_iters: 300, failure_persistence: None, ..ProptestConfig::default() };
    let seen = RefCell::new(BTreeMap::<String, u32>::new());
    let run = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha)).run(&plant(), |plant| {
        for word in holds_together(&plant) {
            *seen.borrow_mut().entry(word).or_default() += 1;
        }
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let seen = seen.into_inner();
    // Else the plants are all alike, and nothing was tried.
    let rules = seen.keys().filter(|word| word.len() == 3).count();
    let is_varied = rules >= 40 && ["conforms", "not assessed", "does not conform"].iter().all(|verdict| seen.contains_key(*verdict));
    assert!(is_varied, "{rules} rules: {seen:?}");
    if cases > 64 {
        eprintln!("{rules} rules: {seen:?}");
    }
}
