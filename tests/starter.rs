//! `clampbook starter` writes a folder that checks clean, in every form that it has.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn clampbook(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_clampbook")).current_dir(folder).args(arguments).output().unwrap()
}

fn rows(file: &Path) -> Vec<csv::StringRecord> {
    csv::Reader::from_path(file).unwrap().records().map(Result::unwrap).collect()
}

fn cell<'r>(file: &Path, row: &'r csv::StringRecord, column: &str) -> &'r str {
    let at = csv::Reader::from_path(file).unwrap().headers().unwrap().iter().position(|name| name == column).unwrap();
    row.get(at).unwrap()
}

#[test]
fn every_form_checks_without_a_finding() {
    for options in [&[][..], &["--us"], &["--xlsx"], &["--xlsx", "--us"]] {
        let folder = tempfile::tempdir().unwrap();
        let written = clampbook(folder.path(), &[&["starter", "plant"], options].concat());
        assert_eq!(written.status.code(), Some(0), "{options:?}: {}", String::from_utf8_lossy(&written.stderr));

        let checked = clampbook(folder.path(), &["check", "plant", "--data", "data"]);
        let said = String::from_utf8_lossy(&checked.stderr).into_owned();
        let findings = rows(&folder.path().join("data/findings.csv"));
        assert!(findings.is_empty(), "{options:?}: {findings:?}");
        assert_eq!(checked.status.code(), Some(0), "{options:?}: {said}");

        let file = folder.path().join("data/circuits.csv");
        let circuits = rows(&file);
        assert_eq!(circuits.len(), 1, "{options:?}");
        let circuit = circuits.first().unwrap();
        assert_eq!(cell(&file, circuit, "verdict"), "conforms", "{options:?}");
        assert_eq!(cell(&file, circuit, "not_assessed"), "", "{options:?}");
        // What the example asks for is answered, not left unknown.
        for column in [
            "clamp_fill",
            "clamp_charge_bar",
            "p_cold_bar",
            "p_hot_bar",
            "p_hold_bar",
            "clamp_time_s",
            "unclamp_time_s",
        ] {
            assert_ne!(cell(&file, circuit, column), "", "{options:?}: {column}");
        }
    }
}

#[test]
fn csv_and_workbook_say_the_same() {
    for units in [&[][..], &["--us"]] {
        let folder = tempfile::tempdir().unwrap();
        for (name, form) in [("csv", &[][..]), ("xlsx", &["--xlsx"])] {
            clampbook(folder.path(), &[&["starter", name], form, units].concat());
            clampbook(folder.path(), &["check", name, "--data", &format!("{name}-data")]);
        }
        for file in ["circuits.csv", "purchase.csv"] {
            let read = |form: &str| fs::read_to_string(folder.path().join(format!("{form}-data")).join(file)).unwrap();
            assert_eq!(read("csv"), read("xlsx"), "{file}");
        }
    }
}

#[test]
fn a_folder_that_holds_something_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("plant")).unwrap();
    fs::write(folder.path().join("plant/orders.csv"), "mine").unwrap();
    let refused = clampbook(folder.path(), &["starter", "plant"]);
    assert_eq!(refused.status.code(), Some(2));
    let said = String::from_utf8(refused.stderr).unwrap();
    assert!(said.contains("the folder is not empty, it holds 'orders.csv'"), "{said}");
    assert_eq!(fs::read(folder.path().join("plant/orders.csv")).unwrap(), b"mine");
    assert_eq!(fs::read_dir(folder.path().join("plant")).unwrap().count(), 1);
}

#[test]
fn a_plant_is_refused_because_it_is_not_empty() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(clampbook(folder.path(), &["starter", "plant"]).status.code(), Some(0));
    let refused = clampbook(folder.path(), &["starter", "plant"]);
    assert_eq!(refused.status.code(), Some(2));
    let said = String::from_utf8(refused.stderr).unwrap();
    assert!(said.contains("the folder is not empty"), "{said}");
    // Its policy needs no word of the command that finds headers.
    let told = clampbook(folder.path(), &["headers", "plant"]);
    let said = String::from_utf8(told.stdout).unwrap();
    assert!(said.contains("The policy needs no entry") && !said.contains("policy.toml:"), "{said}");
}
