//! The README and the developers' guide say what the code says.
//!
//! `UPDATE_README=1 cargo test --release --test readme` writes the generated tables anew.

#![allow(clippy::unwrap_used)]

#[path = "readme/documents.rs"]
mod documents;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

use clampbook::rules::catalogue::CATALOGUE;
use documents::{PARTS, refreshed};

const FIRST: &str = "cargo run --release -- check sample-data/plant --out report.xlsx --data report-data";
const TESTS: &str = "cargo test --release";

/// Read once, before any test writes it.
static README: LazyLock<String> = LazyLock::new(|| read("README.md"));

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn read(name: &str) -> String {
    fs::read_to_string(path(name)).unwrap().replace("\r\n", "\n")
}

#[test]
fn the_generated_tables_are_fresh() {
    let text = &*README;
    let fresh = refreshed(text).unwrap();
    if std::env::var_os("UPDATE_README").is_some_and(|value| value == "1") {
        fs::write(path("README.md"), &fresh).unwrap();
        return;
    }
    let stale = text.lines().zip(fresh.lines()).enumerate().find(|(_, (old, new))| old != new);
    let place = stale.map(|(at, (old, new))| format!("line {}:\n{old}\nshould be\n{new}", at + 1));
    assert!(
        *text == fresh,
        "README.md is stale at {}\nUPDATE_README=1 cargo test --release --test readme writes it anew.",
        place.unwrap_or_default()
    );
}

#[test]
fn a_stale_table_would_be_seen() {
    let text = &*README;
    for part in PARTS {
        let marker = format!("<!-- {} -->\n", part.name);
        let broken = text.replace(&marker, &format!("{marker}A line that the code does not make.\n"));
        assert_ne!(broken, refreshed(&broken).unwrap(), "{}", part.name);
        assert!(refreshed(&text.replace(&marker, "")).is_err(), "{}", part.name);
    }
}

#[test]
fn both_documents_open_with_the_two_commands() {
    for (name, text, lines) in [("README.md", README.clone(), 30), ("DEVELOPERS.md", read("DEVELOPERS.md"), 15)] {
        let head: Vec<&str> = text.lines().take(lines).map(str::trim).collect();
        for command in [FIRST, TESTS] {
            assert!(head.contains(&command), "{name} does not show `{command}` in its first {lines} lines");
        }
    }
    assert!(read(".ci/run").contains(FIRST));
    assert!(read(".ci/run").contains(TESTS));
}

/// Files beside the one that was named last count too: `src/physics/zone.rs`, `fall.rs`.
#[test]
fn what_the_newcomers_map_names_is_there() {
    let text = read("DEVELOPERS.md");
    let map = text.split("## Where things are").nth(1).unwrap().split("\n## ").next().unwrap();
    let mut named = 0;
    for row in map.lines().filter(|line| line.starts_with("| ")) {
        let mut beside: Option<PathBuf> = None;
        let is_file =
            |name: &&str| name.contains('/') || [".rs", ".py", ".toml", ".csv"].iter().any(|end| name.ends_with(end));
        for name in row.split('`').skip(1).step_by(2).filter(is_file) {
            let at_root = path(name);
            let found = if at_root.exists() { at_root } else { beside.clone().unwrap_or_default().join(name) };
            assert!(found.exists(), "DEVELOPERS.md names {name}: {row}");
            beside = if found.is_dir() { Some(found) } else { found.parent().map(Path::to_owned) };
            named += 1;
        }
    }
    assert!(named > 40, "only {named} files named");
}

#[test]
fn rules_that_the_documents_name_exist() {
    for (name, text) in [("README.md", README.clone()), ("DEVELOPERS.md", read("DEVELOPERS.md"))] {
        let words = text.split(|letter: char| !letter.is_ascii_alphanumeric());
        for word in words.filter(|word| is_code(word)) {
            assert!(CATALOGUE.iter().any(|rule| rule.code == word), "{name} names the rule {word}");
        }
    }
}

/// A part that a what-if of the documents puts in is on the sample's component table: an unknown one hides findings.
#[test]
fn parts_of_the_what_ifs_are_there() {
    let components = read("sample-data/plant/components.csv");
    let parts: Vec<&str> = components.lines().skip(1).filter_map(|row| row.split(',').next()).collect();
    let mut set = 0;
    for wish in README.split("--set \"").skip(1).filter_map(|rest| rest.split('"').next()) {
        let Some((target, part)) = wish.split_once('=') else { continue };
        if target.contains(':') && !target.contains('.') {
            assert!(parts.contains(&part), "README.md sets {target} to {part}, which the component table lacks");
            set += 1;
        }
    }
    assert!(set > 0);
}

/// A letter of a rule family and two digits.
fn is_code(word: &str) -> bool {
    matches!(word.as_bytes(), [letter, tens, ones] if b"LMVPHFTBUWS".contains(letter) && tens.is_ascii_digit() && ones.is_ascii_digit())
}

#[test]
fn the_readme_names_every_command_and_option() {
    let text = &*README;
    let mut options = 0;
    for command in ["check", "mail", "merge", "rules", "starter"] {
        assert!(text.contains(&format!("    clampbook {command} ")), "README.md does not show `clampbook {command}`");
        let help = Command::new(env!("CARGO_BIN_EXE_clampbook")).args([command, "--help"]).output().unwrap();
        let help = String::from_utf8(help.stdout).unwrap();
        let words = help.split(|letter: char| !(letter.is_ascii_alphanumeric() || letter == '-'));
        for option in
            words.filter(|word| word.len() > 2 && word.starts_with("--") && *word != "--help" && *word != "--version")
        {
            options += 1;
            assert!(text.contains(option), "README.md does not name {option} of `clampbook {command}`");
        }
    }
    assert!(options > 20, "only {options} options found in the help");
}

const SHOWN: &str = "lists/tarnholm-t02-t03.csv";

/// The cells of the README's table whose header starts so.
fn table(header: &str) -> Vec<Vec<String>> {
    let lines =
        README.lines().skip_while(|line| !line.starts_with(header)).skip(2).take_while(|line| line.starts_with('|'));
    let cells = |line: &str| line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect();
    lines.map(cells).collect()
}

#[test]
fn the_list_rows_shown_stand_in_the_list() {
    let text = read(&format!("sample-data/plant/{SHOWN}"));
    let lines: Vec<&str> = text.lines().collect();
    let header: Vec<&str> = lines.first().unwrap().split(',').collect();
    let shown = table("| row | plant |");
    assert_eq!(shown.len(), 4);
    let columns = ["plant", "pallet", "fixture", "circuit", "position", "part_no", "qty", "stroke_used [mm]"];
    for row in shown {
        let number: usize = row[0].parse().unwrap();
        let given: Vec<&str> = lines[number - 1].split(',').collect();
        for (column, cell) in columns.iter().zip(&row[1..]) {
            let at = header.iter().position(|name| name == column).unwrap();
            assert_eq!(given[at], cell, "row {number}, {column}");
        }
    }
}

#[test]
fn the_findings_shown_are_those_of_the_program() {
    let folder = tempfile::tempdir().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .current_dir(path(""))
        .args(["check", "sample-data/plant", "--data"])
        .arg(folder.path())
        .output()
        .unwrap();
    assert_eq!(run.status.code(), Some(1), "{}", String::from_utf8_lossy(&run.stderr));
    let mut reader = csv::Reader::from_path(folder.path().join("findings.csv")).unwrap();
    let header = reader.headers().unwrap().clone();
    let cell = |row: &csv::StringRecord, name: &str| {
        row.get(header.iter().position(|column| column == name).unwrap()).unwrap().to_owned()
    };
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let given: Vec<String> = table("| row | plant |").into_iter().map(|row| row[0].clone()).collect();
    let mut found: Vec<Vec<String>> = rows
        .iter()
        .filter(|row| cell(row, "file") == SHOWN && given.contains(&cell(row, "row")))
        .map(|row| ["row", "rule", "severity", "reason"].map(|name| cell(row, name)).to_vec())
        .collect();
    let mut shown = table("| row | finding |");
    for row in &mut shown {
        let (code, name) = row[1].split_once(' ').unwrap();
        assert_eq!(clampbook::rules::catalogue::rule(code).unwrap().name, name);
        row[1] = code.to_owned();
    }
    found.sort();
    shown.sort();
    // All that is found on the rows shown, and nothing else.
    assert_eq!(shown, found);
}
