//! A header that is misspelt is told: what stands under it is not looked at.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::fs;
use std::path::Path;
use std::process::Command;

use clampbook::tables::column::Table;

/// Exit status and `findings.csv` of a plant folder.
fn check(plant: &Path) -> (i32, String) {
    let data = tempfile::tempdir().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .args(["check", "--no-remedies", "--data"])
        .arg(data.path())
        .arg(plant)
        .output()
        .unwrap();
    let findings = fs::read_to_string(data.path().join("findings.csv")).unwrap_or_default();
    (run.status.code().unwrap(), findings)
}

/// Rows of a rule in `findings.csv` that name this header.
fn told(findings: &str, header: &str) -> usize {
    findings.lines().filter(|row| row.starts_with("L13,minor,") && row.contains(&format!("'{header}'"))).count()
}

fn starter() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    clampbook::report::starter::write(
        &plant,
        clampbook::report::starter::Form::Csv,
        clampbook::physics::unit::UnitSystem::Metric,
    )
    .unwrap();
    folder
}

/// A header in other spellings, its unit kept.
fn misspelt(header: &str) -> Vec<String> {
    let (name, unit) = header.find([' ', '[', '(']).map_or((header, ""), |at| header.split_at(at));
    let letters: Vec<char> = name.chars().collect();
    let mut spellings = Vec::new();
    // Of a name of two letters nothing is left that would tell it.
    if letters.len() > 2 {
        for at in 0..letters.len() {
            let mut dropped = letters.clone();
            dropped.remove(at);
            spellings.push(dropped.iter().collect::<String>());
        }
    }
    if letters.len() > 5 {
        for at in 1..letters.len() {
            let mut swapped = letters.clone();
            swapped.swap(at - 1, at);
            spellings.push(swapped.iter().collect());
        }
    }
    let words: Vec<&str> = name.split('_').collect();
    if words.len() > 1 {
        spellings.push(words.iter().rev().copied().collect::<Vec<_>>().join(" "));
        spellings.push(words.iter().rev().copied().collect());
    }
    spellings.iter().map(|spelling| format!("{spelling}{unit}")).collect()
}

#[test]
fn each_header_of_the_starter_misspelt_is_told_or_ends_the_run() {
    let folded = clampbook::tables::words::folded;
    let folder = starter();
    let plant = folder.path().join("plant");
    let (mut runs, mut refused) = (0, 0);
    for table in Table::ALL {
        let file =
            if *table == Table::Lists { plant.join("lists/example.csv") } else { plant.join(format!("{table}.csv")) };
        let text = fs::read_to_string(&file).unwrap();
        let (head, rows) = text.split_once('\n').unwrap();
        let headers: Vec<&str> = head.trim_end().split(',').collect();
        for (at, header) in headers.iter().enumerate() {
            let plain = header.split(['[', '(']).next().unwrap_or_default();
            // One spelling of each sort is enough for one header; which letter goes by its place.
            let all = misspelt(header);
            for spelling in all.iter().skip(at % 3).step_by((all.len() / 3).max(1)) {
                let name = spelling.split(['[', '(']).next().unwrap_or_default();
                if folded(name) == folded(plain) {
                    continue;
                }
                let mut changed = headers.clone();
                changed[at] = spelling;
                fs::write(&file, format!("{}\n{rows}", changed.join(","))).unwrap();
                let (status, findings) = check(&plant);
                runs += 1;
                refused += usize::from(status == 2);
                assert!(status == 2 || told(&findings, spelling) == 1, "{table}: {spelling}: {status}\n{findings}");
            }
        }
        fs::write(&file, text).unwrap();
    }
    assert!(runs > 200 && refused < runs / 4, "{runs} runs, {refused} refused");
}
