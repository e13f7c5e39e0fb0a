//! One run of the check in this process, and its data files as rows.

#![allow(dead_code, reason = "each test uses a part of it")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use clampbook::cli::check::{self, CheckArgs};
use clap::Parser;

/// Cells by column.
pub type Row = BTreeMap<String, String>;

/// Rule, plant, pallet, fixture, circuit, side, position, part_no.
pub const FINDING_KEY: [&str; 8] = ["rule", "plant", "pallet", "fixture", "circuit", "side", "position", "part_no"];

#[derive(Parser)]
struct Call {
    #[command(flatten)]
    args: CheckArgs,
}

/// Runs the check with more arguments, data files into `data`; gives the exit status and what it says.
pub fn check(plant: &Path, data: &Path, more: &[&str]) -> (u8, String) {
    let paths = ["check", plant.to_str().unwrap(), "--data", data.to_str().unwrap()];
    let call = Call::parse_from(paths.iter().chain(more));
    let mut out = Vec::new();
    let status = check::run(&call.args, &mut out).unwrap_or_else(|error| panic!("{}: {error:#}", plant.display()));
    (status, String::from_utf8(out).unwrap())
}

/// The rows of a CSV file.
pub fn rows(path: &Path) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    reader.deserialize().map(Result::unwrap).collect()
}

/// A finding's key and whether it is waived, cells joined by `;`.
pub fn key(finding: &Row) -> String {
    let mut cells: Vec<&str> = FINDING_KEY.iter().map(|name| finding[*name].as_str()).collect();
    cells.push(if finding["state"] == "waived" { "waived" } else { "open" });
    cells.join(";")
}

/// The findings of a data folder as a set; two of the same key are a fault.
pub fn finding_set(data: &Path) -> BTreeSet<String> {
    let mut set = BTreeSet::new();
    for finding in rows(&data.join("findings.csv")) {
        assert!(set.insert(key(&finding)), "{} stands twice", key(&finding));
    }
    set
}

/// The circuits of a data folder with rules that can't be assessed, and those rules.
#[allow(dead_code, reason = "not every test looks at it")]
pub fn not_assessed(data: &Path) -> Vec<String> {
    let circuits = rows(&data.join("circuits.csv"));
    let lacking = circuits.iter().filter(|circuit| !circuit["not_assessed"].is_empty());
    let said = lacking.map(|circuit| {
        let mut codes: Vec<&str> = circuit["not_assessed"].split(' ').collect();
        codes.sort_unstable();
        let place = ["plant", "pallet", "fixture", "circuit"].map(|name| circuit[name].as_str());
        format!("not assessed;{};{}", place.join(";"), codes.join(" "))
    });
    said.collect()
}

/// Says what one set has and the other has not; empty where they are equal.
pub fn difference(expected: &BTreeSet<String>, found: &BTreeSet<String>) -> String {
    let missing = expected.difference(found).map(|finding| format!("    missing    {finding}\n"));
    let unexpected = found.difference(expected).map(|finding| format!("    unexpected {finding}\n"));
    missing.chain(unexpected).collect()
}
