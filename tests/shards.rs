//! Parts of a run, joined, are the whole run: every data file, byte for byte.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "plants/folder.rs"]
mod folder;

use folder::copy;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

const PARTS: usize = 3;

/// Runs the program; its standard output.
fn clampbook<'a>(folder: &Path, arguments: impl IntoIterator<Item = &'a str>) -> String {
    let ran = Command::new(env!("CARGO_BIN_EXE_clampbook")).current_dir(folder).args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&ran.stderr).into_owned();
    assert!(matches!(ran.status.code(), Some(0 | 1)), "{said}");
    String::from_utf8(ran.stdout).unwrap()
}

fn files(folder: &Path) -> BTreeMap<String, String> {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    entries
        .map(|entry| (entry.file_name().to_string_lossy().into_owned(), fs::read_to_string(entry.path()).unwrap()))
        .collect()
}

fn rows(folder: &Path, name: &str) -> usize {
    csv::Reader::from_path(folder.join(name)).unwrap().records().map(Result::unwrap).count()
}

/// Audits `plant` whole and in parts, and holds one against the other; `options` go with both.
fn parts_are_the_whole(folder: &Path, plant: &str, options: &[&str]) {
    let whole = clampbook(folder, ["check", plant, "--data", "whole"].iter().chain(options).copied());
    let mut parts = Vec::new();
    for part in 1..=PARTS {
        let (shard, data) = (format!("{part}/{PARTS}"), format!("part-{part}"));
        clampbook(folder, ["check", plant, "--data", &data, "--shard", &shard].iter().chain(options).copied());
        parts.push(data);
    }
    let circuits: Vec<usize> = parts.iter().map(|part| rows(&folder.join(part), "circuits.csv")).collect();
    assert!(circuits.iter().all(|count| *count > 0), "every part has circuits: {circuits:?}");
    assert_eq!(circuits.iter().sum::<usize>(), rows(&folder.join("whole"), "circuits.csv"));
    // The order in which the parts are named doesn't matter.
    parts.reverse();
    let named = parts.iter().map(String::as_str);
    let merged =
        clampbook(folder, ["merge", "--data", "joined"].into_iter().chain(named).chain(options.iter().copied()));
    let (whole_files, joined) = (files(&folder.join("whole")), files(&folder.join("joined")));
    assert_eq!(joined.keys().collect::<Vec<_>>(), whole_files.keys().collect::<Vec<_>>());
    for (name, text) in &whole_files {
        let differing = text.lines().zip(joined[name].lines()).find(|(whole, joined)| whole != joined);
        assert_eq!(differing, None, "{plant} {options:?}: {name}");
        assert!(*text == joined[name], "{plant} {options:?}: {name}");
    }
    assert_eq!(whole, merged);
}

fn sample(folder: &Path) {
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant"), &folder.join("plant"));
}

/// Takes rows out of a table of the plant: those that `is_kept` refuses.
fn keep_rows(file: &Path, is_kept: impl Fn(usize) -> bool) {
    let text = fs::read_to_string(file).unwrap();
    let kept = text.lines().enumerate().filter(|(row, _)| *row == 0 || is_kept(*row)).map(|(_, line)| line);
    let kept: Vec<&str> = kept.collect();
    assert!(kept.len() < text.lines().count());
    fs::write(file, format!("{}\n", kept.join("\n"))).unwrap();
}

#[test]
fn parts_of_the_sample_plant_join_to_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    parts_are_the_whole(folder.path(), "plant", &[]);
    assert!(rows(&folder.path().join("whole"), "findings.csv") > 50);
    assert!(rows(&folder.path().join("whole"), "remedies.csv") > 0);
}

#[test]
fn with_an_earlier_run_states_and_cleared_findings_are_the_same() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    // The earlier run saw a plant without waivers and without every fifth part, so that there are
    // findings of every state.
    copy(&folder.path().join("plant"), &folder.path().join("earlier"));
    fs::remove_file(folder.path().join("earlier/waivers.csv")).unwrap();
    keep_rows(&folder.path().join("earlier/components.csv"), |row| row % 5 != 0);
    clampbook(folder.path(), ["check", "earlier", "--data", "before"]);
    parts_are_the_whole(folder.path(), "plant", &["--previous", "before"]);
    let findings = fs::read_to_string(folder.path().join("whole/findings.csv")).unwrap();
    for state in ["new", "standing", "waived"] {
        assert!(findings.contains(&format!(",{state},")), "{state}");
    }
    assert!(rows(&folder.path().join("whole"), "cleared.csv") > 0);
}

/// The sample plant several times over under other plant names, with a stray row on each list.
#[test]
fn parts_of_several_plants_with_strays_join_to_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    let plant = folder.path().join("plant");
    for list in fs::read_dir(plant.join("lists")).unwrap().map(|entry| entry.unwrap().path()) {
        if list.extension().is_none_or(|ending| ending != "csv") {
            continue;
        }
        let text = fs::read_to_string(&list).unwrap();
        let again = text.lines().skip(1).map(|line| format!("Second {line}\n"));
        let lines: String = again.collect();
        fs::write(&list, format!("{}\n{lines}astray\n", text.trim_end())).unwrap();
    }
    let circuits = plant.join("circuits.csv");
    let text = fs::read_to_string(&circuits).unwrap();
    let again: String = text.lines().skip(1).map(|line| format!("Second {line}\n")).collect();
    fs::write(&circuits, format!("{}\n{again}", text.trim_end())).unwrap();
    parts_are_the_whole(folder.path(), "plant", &[]);
    let input = fs::read_to_string(folder.path().join("whole/input.csv")).unwrap();
    assert!(input.contains("astray") && input.contains("can't be told"));
}

#[test]
fn a_missing_part_and_a_part_given_twice_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    sample(folder.path());
    for part in ["1", "2"] {
        let shard = format!("{part}/2");
        clampbook(folder.path(), ["check", "plant", "--data", part, "--shard", &shard]);
    }
    for (parts, sentence) in [(&["1"][..], "Part 2/2 is missing."), (&["1", "2", "1"], "Part 1/2 is given twice.")] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
        let ran = command.current_dir(folder.path()).args(["merge", "--data", "joined"]).args(parts).output().unwrap();
        assert_eq!(ran.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&ran.stderr).contains(sentence), "{parts:?}");
        assert!(!folder.path().join("joined/circuits.csv").exists());
    }
}
