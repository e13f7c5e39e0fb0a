//! What the sample plant looks like on the terminal, at 80 and 120 columns: a change of a screen shows in review.
//!
//! `UPDATE_SCREENS=1 cargo test --release --test screens` writes them anew; they are to be read before they are kept.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::PathBuf;
use std::process::Command;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const PLANT: &str = "sample-data/plant";

const SCREENS: [(&str, &[&str]); 8] = [
    ("check", &["check", PLANT]),
    ("check-pallet", &["check", PLANT, "--pallet", "T02"]),
    ("check-circuit", &["check", PLANT, "--circuit", "T02/left/2"]),
    ("check-set", &["check", PLANT, "--set", "T02/left/2:C4.stroke_used=9 mm", "--set", "T02/left/2.temp_min=5 degC"]),
    ("explain", &["explain", PLANT, "T02/left/2"]),
    ("explain-sure", &["explain", PLANT, "T01/bridge/2", "--sure"]),
    ("explain-set", &["explain", PLANT, "T02/left/2", "--set", "T02/left/2.temp_min=5 degC"]),
    ("find", &["find", PLANT, "plover-20"]),
];

fn screen(arguments: &[&str], columns: usize) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
    command.args(arguments).current_dir(ROOT).env("COLUMNS", columns.to_string());
    let output = command.output().unwrap();
    assert!(output.status.code().is_some_and(|code| code < 2), "{arguments:?}");
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn each_screen_is_what_it_was() {
    let is_updated = std::env::var_os("UPDATE_SCREENS").is_some();
    let mut differing = Vec::new();
    for (name, arguments) in SCREENS {
        for columns in [80, 120] {
            let path = PathBuf::from(ROOT).join(format!("tests/screens/{name}-{columns}.txt"));
            let shown = screen(arguments, columns);
            if is_updated {
                fs::create_dir_all(path.parent().unwrap()).unwrap();
                fs::write(&path, &shown).unwrap();
            }
            let kept = fs::read_to_string(&path).unwrap_or_default();
            if kept != shown {
                differing.push(format!("{}\n{shown}", path.display()));
            }
        }
    }
    assert!(differing.is_empty(), "{}", differing.join("\n"));
}

#[test]
fn the_first_answers_fit_the_screen() {
    for (name, arguments) in
        SCREENS.iter().filter(|(name, _)| ["check", "check-pallet", "check-circuit"].contains(name))
    {
        for columns in [80, 120] {
            let shown = screen(arguments, columns);
            let lines: Vec<&str> = shown.lines().collect();
            assert!(lines.len() < 24, "{name}: {} rows", lines.len());
            assert!(lines.iter().all(|line| line.chars().count() <= columns), "{name}: {shown}");
        }
    }
}

#[test]
fn nothing_is_told_by_colour() {
    for (_, arguments) in SCREENS {
        assert!(!screen(arguments, 80).contains('\u{1b}'), "{arguments:?}");
    }
}
