//! Random plants of both unit systems: figures and findings are those of the reference program.
//!
//! `tests/oracle/plants/*/results` was written by `tests/oracle/oracle.py`; no output of this program
//! went into it. Figures agree to 1e-6 of themselves, findings as sets.

#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test stops where something is amiss"
)]

#[path = "plants/run.rs"]
mod run;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use run::Row;

const TOLERANCE: f64 = 1e-6;
/// Below this a difference is rounding: bar, cm³, seconds.
const NOTHING: f64 = 1e-9;

/// Rules that the two programs read in different ways where the contract is silent (`tests/oracle/README.md`): P03 and
/// P11 without a load station, F04 beside a line that is set aside, an order in a unit that is no unit.
const OPEN: [&str; 5] = ["P03", "P11", "F04", "B07", "L04"];
/// Columns of the same kind: dates of what is built in part, and the figure of F04.
const OPEN_COLUMNS: [&str; 3] = ["need_date", "order_by", "friction_N"];

fn is_open(rule: &str) -> bool {
    OPEN.contains(&rule)
}

fn agrees(column: &str, ours: &str, theirs: &str) -> bool {
    if OPEN_COLUMNS.contains(&column) {
        return true;
    }
    if column == "not_assessed" {
        let codes = |text: &str| {
            text.split_whitespace().filter(|code| !is_open(code)).map(str::to_owned).collect::<BTreeSet<_>>()
        };
        return codes(ours) == codes(theirs);
    }
    ours == theirs
        || ours.parse::<f64>().ok().zip(theirs.parse::<f64>().ok()).is_some_and(|(a, b)| {
            let size = a.abs().max(b.abs());
            (a - b).abs() <= TOLERANCE * size || size < NOTHING
        })
}

fn by_key(folder: &Path, file: &str, key: &[&str]) -> BTreeMap<Vec<String>, Row> {
    let rows = run::rows(&folder.join(file));
    let count = rows.len();
    let keyed: BTreeMap<_, _> =
        rows.into_iter().map(|row| (key.iter().map(|name| row[*name].clone()).collect(), row)).collect();
    assert_eq!(keyed.len(), count, "{} of {} has a key twice", file, folder.display());
    keyed
}

/// What differs in a table, and how many cells were compared.
fn compare(ours: &Path, theirs: &Path, file: &str, key: &[&str], wrong: &mut String) -> usize {
    let (ours, theirs) = (by_key(ours, file, key), by_key(theirs, file, key));
    let mut cells = 0;
    for name in ours.keys().chain(theirs.keys()).collect::<BTreeSet<_>>() {
        let (Some(row), Some(reference)) = (ours.get(name), theirs.get(name)) else {
            writeln!(wrong, "    {file} {name:?} stands on one side only").unwrap();
            continue;
        };
        for (column, text) in reference {
            cells += 1;
            if !agrees(column, &row[column], text) {
                writeln!(wrong, "    {file} {name:?} {column}: {} here, {text} there", row[column]).unwrap();
            }
        }
    }
    cells
}

/// Findings with their severity; lines without a position may share a key, so each has its number.
fn findings(folder: &Path) -> BTreeSet<String> {
    let mut times: BTreeMap<String, usize> = BTreeMap::new();
    let rows = run::rows(&folder.join("findings.csv")).into_iter().filter(|row| !is_open(&row["rule"]));
    let keys = rows.map(|row| {
        let key = format!("{};{}", run::key(&row), row["severity"]);
        let time = times.entry(key.clone()).or_default();
        *time += 1;
        format!("{key};{time}")
    });
    keys.collect()
}

#[test]
fn figures_and_findings_are_those_of_the_reference_program() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/plants");
    let mut names: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    assert!(names.len() >= 7, "only {} plants", names.len());
    let (mut wrong, mut cells, mut found) = (String::new(), 0, 0);
    for plant in names {
        let data = tempfile::tempdir().unwrap();
        run::check(&plant.join("plant"), data.path(), &["--no-remedies", "--quiet"]);
        let theirs = plant.join("results");
        let mut here = String::new();
        cells += compare(data.path(), &theirs, "circuits.csv", &["plant", "pallet", "fixture", "circuit"], &mut here);
        cells += compare(data.path(), &theirs, "purchase.csv", &["part_no"], &mut here);
        let expected = findings(&theirs);
        found += expected.len();
        here += &run::difference(&expected, &findings(data.path()));
        if !here.is_empty() {
            writeln!(wrong, "{}\n{here}", plant.display()).unwrap();
        }
    }
    println!("{cells} cells and {found} findings compared");
    assert!(cells > 2000 && found > 100, "only {cells} cells and {found} findings");
    assert!(wrong.is_empty(), "{wrong}");
}
