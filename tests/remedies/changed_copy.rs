//! `--apply-remedies`: the copy bears out what is marked as applied, and the plant stays as it was.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

type Record = BTreeMap<String, String>;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant")
}

fn check(plant: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_clampbook")).arg("check").arg(plant).arg("--quiet").args(more).output().unwrap()
}

fn table(path: &Path) -> Vec<Record> {
    csv::Reader::from_path(path).unwrap().deserialize().map(Result::unwrap).collect()
}

/// Every file below a folder with its bytes.
fn bytes(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(bytes(&path).into_iter().map(|(name, held)| (path.join(name), held)));
        } else {
            all.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    all
}

fn place(record: &Record) -> Vec<String> {
    ["plant", "pallet", "fixture", "circuit"].map(|column| record[column].clone()).to_vec()
}

/// Findings that count, by rule, place, side and position.
fn counted(findings: &[Record]) -> BTreeMap<(String, Vec<String>, String, String), u32> {
    let mut all = BTreeMap::new();
    for one in findings {
        let weighs = one["severity"] != "observation" || one["rule"] == "V03";
        if weighs && one["state"] != "waived" && !one["rule"].starts_with(['B', 'W']) {
            let key = (one["rule"].clone(), place(one), one["side"].clone(), one["position"].clone());
            *all.entry(key).or_default() += 1;
        }
    }
    all
}

/// Applies a plant's remedies and audits the copy by itself: rows of remedies.csv, findings before
/// and after.
fn applied(plant: &Path, root: &Path) -> (Vec<Record>, Vec<Record>, Vec<Record>) {
    let (data, copy, again) = (root.join("data"), root.join("copy"), root.join("again"));
    let path = |path: &PathBuf| path.to_str().unwrap().to_owned();
    let first = check(plant, &["--data", &path(&data), "--apply-remedies", &path(&copy)]);
    let (said, complaint) = (String::from_utf8(first.stdout).unwrap(), String::from_utf8(first.stderr).unwrap());
    assert_eq!((first.status.code(), complaint.as_str()), (Some(1), ""));
    let second = check(&copy, &["--data", &path(&again)]);
    let summary = String::from_utf8(second.stdout).unwrap();
    assert!(said.trim_end().ends_with(summary.trim_end()), "{said}\n{summary}");
    (table(&data.join("remedies.csv")), table(&data.join("findings.csv")), table(&again.join("findings.csv")))
}

/// What is marked `yes` is gone from its circuit or station, and nothing came anywhere.
fn bears_out(remedies: &[Record], before: &[Record], after: &[Record]) {
    let (before, after) = (counted(before), counted(after));
    let came: Vec<_> = after.iter().filter(|(key, count)| key.0 != "V03" && before.get(*key).is_none_or(|was| was < count)).collect();
    assert!(came.is_empty(), "{came:?}");
    for row in remedies.iter().filter(|row| row["applied"] == "yes" && row["rules"] != "B01") {
        let is_station = place(row).iter().all(String::is_empty);
        for rule in row["rules"].split(' ') {
            let count = |all: &BTreeMap<(String, Vec<String>, String, String), u32>| -> u32 {
                let here = all.iter().filter(|(key, _)| key.0 == rule && key.1 == place(row));
                here.filter(|(key, _)| !is_station || key.3 == row["position"]).map(|(_, count)| count).sum()
            };
            assert!(count(&after) < count(&before), "{rule} is not gone: {row:?}");
        }
    }
}

#[test]
fn the_copy_of_the_sample_plant_bears_out_what_is_applied() {
    let root = tempfile::tempdir().unwrap();
    let was = bytes(&sample());
    let (remedies, before, after) = applied(&sample(), root.path());
    assert_eq!(bytes(&sample()), was);
    let applied = remedies.iter().filter(|row| row["applied"] == "yes").count();
    assert!(applied >= 10, "{remedies:?}");
    assert!(remedies.iter().all(|row| row["applied"] == "yes" || row["applied"].starts_with("no: ")));
    bears_out(&remedies, &before, &after);
    // A file that no remedy touches is the very same.
    for name in ["components.csv", "orders.csv", "policy.toml", "waivers.csv"] {
        assert_eq!(fs::read(root.path().join("copy").join(name)).unwrap(), fs::read(sample().join(name)).unwrap(), "{name}");
    }
    // Without the option the column is empty.
    let plain = root.path().join("plain");
    check(&sample(), &["--data", plain.to_str().unwrap()]);
    assert!(table(&plain.join("remedies.csv")).iter().all(|row| row["applied"].is_empty()));
}

#[test]
fn a_folder_that_cannot_take_the_copy_is_refused() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    for name in ["components.csv", "circuits.csv", "lists/tarnholm-t02-t03.csv"] {
        fs::copy(sample().join(name), plant.join(name)).unwrap();
    }
    let full = root.path().join("full");
    fs::create_dir(&full).unwrap();
    fs::write(full.join("letter.txt"), "kept").unwrap();
    let was = bytes(root.path());
    let inside = plant.join("copy");
    for (target, expected) in [(&full, "new or empty"), (&inside, "can't go into the plant")] {
        let refused = check(&plant, &["--apply-remedies", target.to_str().unwrap()]);
        let said = String::from_utf8(refused.stderr).unwrap();
        assert_eq!(refused.status.code(), Some(2), "{said}");
        assert!(said.contains(expected) && said.lines().count() == 1, "{said}");
    }
    assert_eq!(bytes(root.path()), was);
}

/// A plant whose list has titles, a units row, decimal commas and a file name for a fixture, and
/// whose circuit no single cylinder fills.
fn write_odd_plant(folder: &Path) {
    fs::create_dir_all(folder.join("lists")).unwrap();
    fs::write(folder.join("policy.toml"), "date = \"2026-03-02\"\n").unwrap();
    let components = "part_no,kind,rated_pressure,area_clamp [mm2],stroke [mm],capacity [cm3],inner_diameter,dead_volume,set_pressure,full_scale,status,replaced_by\n\
        CYL-A,charging_cylinder,400,,,60,,,,,,\nCHECK,check_valve,400,,,,,0.2,,,,\nSHUT,isolation_valve,400,,,,,0.2,,,,\n\
        DIAL,gauge,400,,,,,0.1,,250,,\nPIPE,tube,400,,,,4,,,,,\nCLAMP,clamp,400,1000,40,,,,,,,\n\
        OLD,fitting,400,,,,,0.1,,,obsolete,NEW\nNEW,fitting,400,,,,,0.1,,,,\nRELIEF,relief_valve,400,,,,,0.1,390,,,\n";
    fs::write(folder.join("components.csv"), components).unwrap();
    let list = "Bill of clamps;;;;\nposition;part_no;qty;length;set_pressure\n;;;m;MPa\n\
        ;CYL-A;1;;\nK1;CLAMP;1;;\nK2;CLAMP;1;;\nK3;CLAMP;1;;\n;CHECK;1;;\n;SHUT;1;;\n;DIAL;1;;\n;PIPE;1;1,250;\n;PIPE;2;0,5;\n;OLD;3;;\n\
        R;RELIEF;1;;60\nTotal;;13;;\n";
    fs::write(folder.join("lists/odd one.csv"), list).unwrap();
    let circuits = "fixture,circuit,pressure_set\nodd one,1,150\n";
    fs::write(folder.join("circuits.csv"), circuits).unwrap();
}

#[test]
fn a_split_and_a_succession_are_written_out() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    write_odd_plant(&plant);
    let (remedies, before, after) = applied(&plant, root.path());
    let changes: Vec<(&str, &str)> =
        remedies.iter().map(|row| (row["change"].as_str(), row["applied"].as_str())).collect();
    assert!(before.iter().any(|one| one["rule"] == "V01") && before.iter().any(|one| one["rule"] == "P10"));
    assert!(changes.contains(&("setting", "yes")), "{remedies:?}");
    assert!(after.iter().all(|one| one["rule"] != "P10"), "{after:?}");
    // The succession touches the lines of the circuit that the split would take apart.
    let copy = fs::read_to_string(root.path().join("copy/lists/odd one.csv")).unwrap();
    assert!(copy.starts_with("position,part_no,qty,length [m],set_pressure [MPa]"), "{copy}");
    assert!(!copy.contains("Total") && copy.contains(",PIPE,1,1.2500,"), "{copy}");
    let split = remedies.iter().find(|row| row["change"] == "split").unwrap();
    assert_eq!(split["part_to"], "CYL-A CYL-A CYL-A", "{split:?}");
}
