//! A sound plant with one thing wrong in it that a hurried reader would pass over: no run says that all is well.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

use std::fs;
use std::path::Path;
use std::process::Command;

use clampbook::physics::unit::UnitSystem;
use clampbook::report::starter::{Form, write};
use clampbook::tables::words::folded;

/// Exit status and what is said.
fn check(plant: &Path) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .args(["check", plant.to_str().unwrap(), "--no-remedies", "--quiet", "--all"])
        .output()
        .unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    (output.status.code().unwrap(), said.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn rows(path: &Path) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_path(path).unwrap();
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn put(path: &Path, rows: &[Vec<String>]) {
    let mut writer = csv::Writer::from_path(path).unwrap();
    rows.iter().for_each(|row| writer.write_record(row).unwrap());
    writer.flush().unwrap();
}

fn column(rows: &[Vec<String>], name: &str) -> usize {
    let bare = |header: &str| folded(header.split('[').next().unwrap());
    rows[0].iter().position(|header| bare(header) == folded(name)).unwrap()
}

/// Other cells in a row of a table; `row` 0 appends a copy of the first row with them.
fn edit(plant: &Path, table: &str, row: usize, cells: &[(&str, &str)]) {
    let path = plant.join(table);
    let mut rows = rows(&path);
    let row = if row == 0 {
        rows.push(rows[1].clone());
        rows.len() - 1
    } else {
        row
    };
    for (name, text) in cells {
        let column = column(&rows, name);
        (*text).clone_into(&mut rows[row][column]);
    }
    put(&path, &rows);
}

fn of_starter(change: impl FnOnce(&Path)) -> (i32, String) {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    write(&plant, Form::Csv, UnitSystem::Metric).unwrap();
    assert_eq!(check(&plant).0, 0, "the starter conforms");
    change(&plant);
    check(&plant)
}

/// What contradicts itself, or is written in another unit than it is read, ends no run with status 0.
#[test]
fn what_can_not_be_right_does_not_pass() {
    let service =
        |cells: &'static [(&'static str, &'static str)]| move |plant: &Path| edit(plant, "circuits.csv", 1, cells);
    let cases: [(&str, Box<dyn FnOnce(&Path)>, &str); 6] = [
        ("temperatures in each other's column", Box::new(service(&[("temp_min", "60"), ("temp_max", "-10")])), "L04"),
        ("a highest temperature of 0", Box::new(service(&[("temp_max", "0")])), "L04"),
        ("no time to hold", Box::new(service(&[("hold_time", "0")])), "hold_time"),
        ("friction in percent", Box::new(service(&[("cutting_force", "20000"), ("friction", "15")])), "L04"),
        (
            "a force with a decimal comma too much",
            Box::new(|plant: &Path| edit(plant, "lists/example.csv", 5, &[("force_required", "99,99,9")])),
            "L04",
        ),
        (
            "a clamp that is rated below the pressure, under a word for other parts",
            Box::new(|plant: &Path| {
                let row = rows(&plant.join("components.csv")).iter().position(|row| row[1] == "clamp").unwrap();
                edit(plant, "components.csv", row, &[("rated_pressure", "150")]);
                fs::write(plant.join("policy.toml"), "[values.kind]\nother = [\"clamp\"]\n").unwrap();
            }),
            "P05",
        ),
    ];
    for (what, change, expected) in cases {
        let (status, said) = of_starter(change);
        assert_eq!(status, 1, "{what}: {said}");
        assert!(said.contains(expected), "{what}: {said}");
    }
}

/// A rule that asks for two data is not asked by one of them.
#[test]
fn a_cut_without_friction_is_said() {
    let (_, said) = of_starter(|plant| edit(plant, "circuits.csv", 1, &[("cutting_force", "20000"), ("friction", "")]));
    assert!(said.contains("whether the clamps hold against it is not looked at"), "{said}");
}

/// The first of two rows counts; the second is told with what it says otherwise.
#[test]
fn a_second_row_is_told_with_what_is_other() {
    for (file, cells, told) in [
        ("circuits.csv", &[][..], "with the same data. The first row counts."),
        ("circuits.csv", &[("temp_min", "-25")], "with another temp_min. The first row counts."),
        ("stations.csv", &[("pump_setting", "349")], "with another pump_setting. The first row counts."),
    ] {
        let (status, said) = of_starter(|plant| edit(plant, file, 0, cells));
        assert_eq!(status, 0, "{said}");
        assert!(said.contains(told), "{said}");
    }
}

/// What was not read is said before any verdict.
#[test]
fn what_was_not_read_is_said() {
    let another_list = |name: &'static str| {
        move |plant: &Path| {
            let mut rows = rows(&plant.join("lists/example.csv"));
            let fixture = column(&rows, "fixture");
            rows.iter_mut().skip(1).for_each(|row| "F2".clone_into(&mut row[fixture]));
            let path = plant.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            put(&path, &rows);
        }
    };
    for name in [
        "second.csv",
        "list/second.csv",
        "lists/second.csv.bak",
        "lists/.second.csv",
        "lists/second",
        "lists/second.numbers",
        "archive/second.csv",
    ] {
        let (_, said) = of_starter(another_list(name));
        let shown = if name.starts_with("lists/") { name } else { name.split('/').next().unwrap() };
        assert!(said.starts_with("Not read, though it may hold a part of the plant: "), "{name}: {said}");
        assert!(said.contains(shown), "{name}: {said}");
    }
    let (_, said) = of_starter(|plant| fs::rename(plant.join("policy.toml"), plant.join("policy 2026.toml")).unwrap());
    assert!(said.contains("Not read, though it may hold a part of the plant: policy 2026.toml"), "{said}");
    let (_, said) = of_starter(|plant| {
        let header = rows(&plant.join("lists/example.csv"))[..1].to_vec();
        put(&plant.join("lists/second.csv"), &header);
    });
    assert!(said.contains("lists/second.csv (a list without a line)"), "{said}");
    // What other programs leave beside a table is none.
    let (_, said) = of_starter(|plant| {
        for name in ["lists/._example.csv", "lists/.~lock.example.csv#", "lists/~$example.xlsx"] {
            fs::write(plant.join(name), "x").unwrap();
        }
    });
    assert!(!said.contains("._example.csv") && !said.contains("~$example.xlsx"), "{said}");
}
