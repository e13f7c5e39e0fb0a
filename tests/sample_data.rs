//! The sample plant tells what its README says.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops where something is amiss")]

#[path = "plants/run.rs"]
mod run;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use clampbook::rules::catalogue::CATALOGUE;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn results() -> tempfile::TempDir {
    results_with(&[])
}

fn results_with(more: &[&str]) -> tempfile::TempDir {
    let data = tempfile::tempdir().unwrap();
    let (status, _) = run::check(&root().join("sample-data/plant"), data.path(), &[&["--quiet"], more].concat());
    assert_eq!(status, 1);
    data
}

/// `circuit → rules` of the table "What happened, circuit by circuit".
fn told() -> BTreeMap<String, BTreeSet<String>> {
    let text = fs::read_to_string(root().join("sample-data/README.md")).unwrap();
    let table = text.split("## What happened, circuit by circuit").nth(1).unwrap().split("\n## ").next().unwrap();
    let rows = table.lines().filter(|line| line.starts_with("| ")).skip(2);
    let cells = rows.map(|line| line.split('|').map(str::trim).collect::<Vec<_>>());
    cells.map(|row| (row[1].to_owned(), row[3].split_whitespace().map(str::to_owned).collect())).collect()
}

#[test]
fn every_circuit_has_the_findings_that_its_story_tells() {
    let data = results();
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for finding in run::rows(&data.path().join("findings.csv")) {
        let is_of_circuit = !finding["circuit"].is_empty() && !finding["rule"].starts_with(['B', 'W']);
        if is_of_circuit {
            let place = ["pallet", "fixture", "circuit"].map(|name| finding[name].as_str()).join(" / ");
            found.entry(place).or_default().insert(finding["rule"].clone());
        }
    }
    let told: BTreeMap<_, _> = told().into_iter().filter(|(_, rules)| !rules.is_empty()).collect();
    assert!(told.len() >= 20);
    assert_eq!(found, told);
}

#[test]
fn every_rule_fires() {
    // How sure a verdict is is looked at only where a run asks for it.
    let data = results_with(&["--sure"]);
    let found: BTreeSet<String> =
        run::rows(&data.path().join("findings.csv")).into_iter().map(|row| row["rule"].clone()).collect();
    let silent: Vec<_> = CATALOGUE.iter().map(|rule| rule.code).filter(|code| !found.contains(*code)).collect();
    assert!(
        silent.is_empty(),
        "no circuit of sample-data/plant breaks {silent:?}: let one do so, and tell it in sample-data/README.md"
    );
}

#[test]
fn one_pallet_is_clean() {
    let data = results();
    let on_it: Vec<_> =
        run::rows(&data.path().join("findings.csv")).into_iter().filter(|row| row["pallet"] == "T01").collect();
    assert!(on_it.is_empty(), "{on_it:?}");
    let circuits = run::rows(&data.path().join("circuits.csv"));
    let clean: Vec<_> = circuits.iter().filter(|row| row["pallet"] == "T01").collect();
    assert!(!clean.is_empty() && clean.iter().all(|row| row["verdict"] == "conforms"));
}

/// Pallets, circuits, lines and the circuits of each verdict: counted over the story and the lists, by hand.
#[test]
fn verdicts_and_totals_are_those_of_the_story() {
    let data = results();
    let circuits = run::rows(&data.path().join("circuits.csv"));
    let count = |verdict: &str| circuits.iter().filter(|row| row["verdict"] == verdict).count();
    let place = |row: &run::Row| ["pallet", "fixture", "circuit"].map(|name| row[name].as_str()).join(" / ");
    assert_eq!(circuits.len(), 49 + 1, "one circuit has no lines");
    assert_eq!(circuits.iter().map(|row| row["pallet"].as_str()).collect::<BTreeSet<_>>().len(), 15);
    let waived: Vec<_> = circuits.iter().filter(|row| row["verdict"] == "conforms with waivers").map(place).collect();
    assert_eq!(waived, ["T07 / yoke / 3"]);
    let unassessed: Vec<_> = circuits.iter().filter(|row| row["verdict"] == "not assessed").map(place).collect();
    assert_eq!(unassessed, ["T06 / vane / 4"]);
    assert_eq!(count("conforms") + count("does not conform"), 48);
    let severity: BTreeMap<&str, bool> = CATALOGUE
        .iter()
        .map(|rule| (rule.code, rule.severity != clampbook::tables::words::Severity::Observation))
        .collect();
    let told = told();
    for row in circuits.iter().filter(|row| row["verdict"] == "conforms") {
        let rules = told.get(&place(row)).cloned().unwrap_or_default();
        assert!(rules.iter().all(|rule| !severity[rule.as_str()]), "{} conforms in spite of {rules:?}", place(row));
    }
}

/// Guards against drift and proves nothing else: `reports/` is this program's own output. Made by
/// `cargo run --release -- check sample-data/plant --data reports/data`.
#[test]
fn the_committed_report_is_what_a_run_writes() {
    let data = results();
    let files = [
        "circuits.csv",
        "findings.csv",
        "purchase.csv",
        "input.csv",
        "remedies.csv",
        "causes.csv",
        "due.csv",
        "summary.json",
    ];
    for file in files {
        let committed = fs::read_to_string(root().join("reports/data").join(file)).unwrap().replace("\r\n", "\n");
        let fresh = fs::read_to_string(data.path().join(file)).unwrap();
        let line = committed.lines().zip(fresh.lines()).position(|(old, new)| old != new);
        assert!(committed == fresh, "reports/data/{file} is stale, from line {:?}", line.map(|at| at + 1));
    }
}
