//! One small plant for each problem of the input, with what is said of it.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::fmt::Write as _;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::read::{open, sentence};

/// What a reader is told of a plant: sentences that end the run, or sources and notes.
fn told(plant: &Path) -> String {
    let mut text = String::new();
    let reading = match open(plant, None, NaiveDate::from_ymd_opt(2026, 3, 31).unwrap()) {
        Ok(reading) => reading,
        Err(error) => {
            let shown = plant.display().to_string();
            return format!("{}\n", error.to_string().replace(&shown, "PLANT"));
        }
    };
    let mut notes = reading.plant.notes.clone();
    let mut set_aside = 0;
    for index in 0..reading.lists.circuits().len() {
        let parsed = reading.lists.lines(index).unwrap();
        set_aside += parsed.lines.iter().filter(|line| line.is_set_aside(&reading.plant.components)).count();
        for line in &parsed.lines {
            if let Some(first) = line.repeats {
                writeln!(text, "{:?} repeats {first:?}", line.origin).unwrap();
            }
        }
        notes.extend(parsed.notes);
    }
    notes.sort_by(|a, b| (a.origin, &a.letter).cmp(&(b.origin, &b.letter)));
    for source in &reading.plant.sources {
        let (place, read, skipped, aside) =
            (source.place(), source.rows_read, source.rows_skipped, source.rows_set_aside);
        writeln!(text, "{place}: {read} read, {skipped} not checked, {aside} set aside. {}", source.remarks.join(" "))
            .unwrap();
    }
    writeln!(text, "Lines set aside: {set_aside}.").unwrap();
    for note in &notes {
        writeln!(text, "{}: {}", note.kind.word(), sentence(note, &reading.plant.sources)).unwrap();
    }
    text
}

#[test]
fn every_problem_is_said_as_expected() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/messages");
    let mut problems: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    problems.sort();
    assert!(problems.len() > 30);
    let mut wrong = String::new();
    for problem in problems {
        let found = told(&problem.join("plant"));
        let expected = std::fs::read_to_string(problem.join("expected.txt")).unwrap_or_default();
        if found != expected {
            write!(wrong, "== {}\n{found}\n-- expected\n{expected}\n", problem.display()).unwrap();
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}
