//! A part of a plant looked at by itself, the same as JSON, and where things are named.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

const PLANT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/plant");

fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).env_remove("COLUMNS").output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

fn json(more: &[&str]) -> Value {
    let (_, text, _) = run(&[&["check", PLANT, "--json"], more].concat());
    serde_json::from_str(&text).unwrap()
}

/// Findings as texts, those on circuits of a pallet alone.
fn findings(run: &Value, pallet: Option<&str>) -> BTreeSet<String> {
    let all = run["findings"].as_array().unwrap().iter();
    let wanted = all.filter(|finding| pallet.is_none_or(|pallet| finding["pallet"] == *pallet));
    // Waivers can only be judged on the whole.
    let wanted = wanted.filter(|finding| !finding["rule"].as_str().unwrap().starts_with('W'));
    wanted.map(ToString::to_string).collect()
}

#[test]
fn a_pallet_by_itself_has_the_findings_and_verdicts_that_it_has_in_the_whole() {
    let whole = json(&[]);
    let mut pallets = 0;
    for pallet in whole["summary"]["by_pallet"].as_array().unwrap() {
        let name = pallet["pallet"].as_str().unwrap();
        let place = format!("{}/{name}", pallet["plant"].as_str().unwrap());
        let part = json(&["--pallet", &place]);
        assert_eq!(findings(&part, Some(name)), findings(&whole, Some(name)), "{place}");
        assert_eq!(part["summary"]["circuits"], pallet["circuits"], "{place}");
        assert_eq!(part["summary"]["only"], format!("pallet {place}"));
        // What stands on parts and stations is said as in the whole; what only the whole can tell is left out.
        let elsewhere = findings(&part, Some(""));
        assert!(elsewhere.is_subset(&findings(&whole, Some(""))), "{elsewhere:?}");
        assert!(!elsewhere.iter().any(|finding| finding.contains("\"rule\":\"B") || finding.contains("\"rule\":\"W")));
        pallets += 1;
    }
    assert!(pallets > 5);
    let plant = json(&["--plant", "tarnholm"]);
    assert!(plant["summary"]["by_pallet"].as_array().unwrap().iter().all(|pallet| pallet["plant"] == "Tarnholm"));
}

#[test]
fn a_circuit_by_itself_has_what_it_has_in_the_whole() {
    let whole = json(&[]);
    let of_circuit = |run: &Value| -> BTreeSet<String> {
        let all = run["findings"].as_array().unwrap().iter();
        all.filter(|finding| finding["pallet"] == "T02" && finding["fixture"] == "left" && finding["circuit"] == "2")
            .map(ToString::to_string)
            .collect()
    };
    let part = json(&["--circuit", "T02/left/2"]);
    assert_eq!(of_circuit(&part), of_circuit(&whole));
    assert_eq!(part["summary"]["circuits"]["total"], 1);
    let (status, text, _) = run(&["check", PLANT, "--circuit", "T02 / left / 2"]);
    assert_eq!(status, 1);
    assert!(text.contains("Only a part was looked at: circuit Tarnholm/T02/left/2, 1 of "), "{text}");
    assert!(text.contains("no verdict on"), "{text}");
}

/// A plant of two pallets, of whose lists the second has a header that nobody knows.
fn plant_with_a_header(header: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    std::fs::create_dir(folder.path().join("lists")).unwrap();
    put("components.csv", "part_no,kind,rated_pressure\nM-1,manifold,300\n");
    put("lists/one.csv", "pallet,fixture,part_no,qty\nONE,F,M-1,1\n");
    put("lists/two.csv", &format!("pallet,part_no,qty,{header}\nTWO,M-1,1,F\n"));
    folder
}

#[test]
fn a_header_of_another_list_counts_only_where_it_may_hold_a_place() {
    let told = |header: &str, pallet: &str| -> Vec<String> {
        let plant = plant_with_a_header(header);
        let (_, text, _) = run(&["check", plant.path().to_str().unwrap(), "--json", "--pallet", pallet]);
        let run: Value = serde_json::from_str(&text).unwrap();
        let all = run["findings"].as_array().unwrap().iter().filter(|finding| finding["rule"] == "L13");
        all.map(|finding| finding["file"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(told("lenght", "TWO"), ["lists/two.csv"]);
    assert!(told("lenght", "ONE").is_empty());
    // Its rows may be of any fixture.
    assert_eq!(told("fixtur", "ONE"), ["lists/two.csv"]);
}

#[test]
fn json_is_what_the_data_files_say() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let printed = json(&["--data", data.to_str().unwrap()]);
    let summary: Value = serde_json::from_slice(&std::fs::read(data.join("summary.json")).unwrap()).unwrap();
    assert_eq!(printed["summary"], summary);
    let mut reader = csv::Reader::from_path(data.join("findings.csv")).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let columns = reader.headers().unwrap().clone();
    let all = printed["findings"].as_array().unwrap();
    assert_eq!(rows.len(), all.len());
    for (row, finding) in rows.iter().zip(all) {
        for (column, cell) in columns.iter().zip(row) {
            let same = match &finding[column] {
                Value::String(text) => text == cell,
                Value::Null => cell.is_empty(),
                // The reader of JSON may miss a number's last digit.
                number => {
                    let (one, other) = (number.as_f64().unwrap(), cell.parse::<f64>().unwrap());
                    (one - other).abs() <= 1e-15 * other.abs()
                }
            };
            assert!(same, "{column}: {} is not {cell}", finding[column]);
        }
    }
}

/// One sentence on the standard error, exit status 2 and nothing written.
fn refused(arguments: &[&str]) -> String {
    let (status, out, said) = run(arguments);
    assert_eq!((status, out.as_str()), (2, ""), "{arguments:?}: {said}");
    assert_eq!(said.trim_end().lines().count(), 1, "{said}");
    said
}

#[test]
fn a_part_writes_nothing_that_would_pass_for_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    for (option, name) in [
        ("--out", "report.xlsx"),
        ("--data", "data"),
        ("--previous", "data"),
        ("--history", "history.csv"),
        ("--cards", "cards.xlsx"),
        ("--apply-remedies", "copy"),
    ] {
        let said = refused(&["check", PLANT, "--pallet", "T02", option, &path(name)]);
        assert!(said.starts_with(option), "{said}");
        assert!(!Path::new(&path(name)).exists());
    }
}

#[test]
fn a_place_that_is_none_or_more_than_one_is_told() {
    assert!(refused(&["check", PLANT, "--pallet", "T0Z"]).contains("The nearest is Tarnholm/T0"));
    assert!(refused(&["check", PLANT, "--circuit", "left"]).contains("Tarnholm/T02/left/2"));
    assert!(refused(&["check", PLANT, "--plant", "Tarnhome"]).contains("The nearest is Tarnholm."));
    assert!(refused(&["find", PLANT, "PLOVR-20"]).contains("The nearest part is PLOVER-20."));
}

#[test]
fn what_is_found_is_told_with_file_and_row() {
    let (status, text, _) = run(&["find", PLANT, "plover-20"]);
    assert_eq!(status, 0);
    // Row 17 of the list as the README shows it.
    let row = text.lines().find(|line| line.contains("Tarnholm/T02/left/2") && line.contains("C4")).unwrap();
    assert!(row.contains("PLOVER-20") && row.ends_with("lists/tarnholm-t02-t03.csv, row 17"), "{row}");
    assert!(text.contains("components.csv, row "), "{text}");
}
