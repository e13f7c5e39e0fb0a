//! No verdict is had by a typing error: each header of sample-data and of the starter is misspelt in turn, and no run
//! ends better than before without saying so.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a test stops where it fails, and prints its count")]

#[path = "plants/folder.rs"]
mod folder;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use clampbook::audit::{Wanted, whole_without_rows};
use clampbook::physics::unit::UnitSystem;
use clampbook::report::starter::{Form, write};
use clampbook::tables::circuit::CircuitKey;
use clampbook::tables::finding::Finding;
use clampbook::tables::words::{Verdict, folded};
use folder::copy;

/// What people write over these columns; no column's own words cut short or turned round.
const SYNONYMS: [(&str, &[&str]); 22] = [
    ("part_no", &["Item number", "Article no"]),
    ("qty", &["Pieces", "Number off"]),
    ("position", &["Location"]),
    ("length", &["Cut length"]),
    ("stroke_used", &["Working stroke"]),
    ("force_required", &["Clamping force required"]),
    ("set_pressure", &["Set point"]),
    ("rated_pressure", &["Nominal pressure", "Max pressure"]),
    ("min_pressure", &["Minimum pressure"]),
    ("dead_volume", &["Dead oil"]),
    ("inner_diameter", &["Bore"]),
    ("unit_price", &["Price"]),
    ("pressure_set", &["Clamping pressure"]),
    ("pressure_min", &["Lowest pressure", "Min pressure"]),
    ("temp_min", &["Lowest temperature"]),
    ("temp_max", &["Highest temperature"]),
    ("hold_time", &["Holding time"]),
    ("need_date", &["Needed by"]),
    ("pump_setting", &["Pump pressure"]),
    ("promised_date", &["Delivery date"]),
    ("received", &["Delivered"]),
    ("expires", &["Valid until"]),
];

/// How a run ended.
struct Ended {
    verdicts: BTreeMap<CircuitKey, Verdict>,
    is_clean: bool,
    tells_header: bool,
}

/// `None` where the run is refused: exit status 2.
fn run(plant: &Path) -> Option<Ended> {
    let reading = clampbook::read::open(plant, None, "2026-11-25".parse().unwrap()).ok()?;
    let audit = whole_without_rows(reading, &Wanted { remedies: false, ..Wanted::default() }).ok()?;
    let is_unassessed = audit.circuits.iter().any(|circuit| circuit.verdict == Verdict::NotAssessed);
    Some(Ended {
        is_clean: !is_unassessed && !audit.findings().any(Finding::counts),
        tells_header: audit.findings().any(|finding| finding.rule == "L13"),
        verdicts: audit.circuits.iter().map(|circuit| (circuit.circuit.key.clone(), circuit.verdict)).collect(),
    })
}

const fn worth(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::DoesNotConform => 0,
        Verdict::NotAssessed => 1,
        Verdict::ConformsWithWaivers => 2,
        Verdict::Conforms => 3,
    }
}

/// What a run says better than the one before.
fn better(before: &Ended, after: &Ended) -> Vec<String> {
    let risen = after.verdicts.iter().filter_map(|(key, verdict)| {
        let was = before.verdicts.get(key)?;
        (worth(*verdict) > worth(*was)).then(|| format!("{key}: {was} before, {verdict} now"))
    });
    let mut all: Vec<String> = risen.collect();
    if after.is_clean && !before.is_clean {
        all.push("everything conforms".to_owned());
    }
    all
}

/// A header in other spellings, its unit kept.
fn misspelt(header: &str) -> Vec<String> {
    let at = header.find(['[', '(']).unwrap_or(header.len());
    let (name, unit) = header.split_at(at);
    let name = name.trim();
    let letters: Vec<char> = name.chars().collect();
    let mut all = Vec::new();
    for at in 0..letters.len() {
        let mut dropped = letters.clone();
        dropped.remove(at);
        all.push(dropped.iter().collect::<String>());
    }
    for at in 1..letters.len() {
        let mut swapped = letters.clone();
        swapped.swap(at - 1, at);
        all.push(swapped.iter().collect());
    }
    let words: Vec<&str> = name.split([' ', '_', '-']).collect();
    all.extend([name.to_uppercase(), name.to_lowercase(), words.concat()]);
    all.push(words.iter().rev().copied().collect::<Vec<_>>().join(" "));
    let synonyms = SYNONYMS.iter().filter(|(column, _)| folded(column) == folded(name));
    all.extend(synonyms.flat_map(|(_, words)| words.iter().map(|word| (*word).to_owned())));
    all.sort();
    all.dedup();
    all.retain(|spelling| spelling != name && !spelling.trim().is_empty());
    all.into_iter().map(|spelling| if unit.is_empty() { spelling } else { format!("{spelling} {unit}") }).collect()
}

/// Text tables of a plant folder.
fn tables(plant: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for folder in [plant.to_owned(), plant.join("lists")] {
        all.extend(fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()));
    }
    all.retain(|path| path.extension().is_some_and(|ending| ending == "csv" || ending == "tsv"));
    all.sort();
    all
}

/// Misspells every header in turn; answers with the runs, those refused, and what got better in silence.
fn tried(plant: &Path, every: usize) -> (usize, usize, Vec<String>) {
    let before = run(plant).unwrap();
    let (mut runs, mut refused, mut silent) = (0, 0, Vec::new());
    for file in tables(plant) {
        let text = fs::read_to_string(&file).unwrap();
        let start =
            if text.trim_start_matches('\u{feff}').starts_with("sep=") { text.find('\n').unwrap() + 1 } else { 0 };
        let end = start + text[start..].find('\n').unwrap();
        let line = text[start..end].trim_end_matches('\r');
        let mark = ['\t', ';', ','].into_iter().find(|mark| line.contains(*mark)).unwrap();
        let headers: Vec<&str> = line.split(mark).collect();
        for (at, header) in headers.iter().enumerate() {
            for spelling in misspelt(header.trim_start_matches('\u{feff}')).into_iter().skip(at % every).step_by(every)
            {
                let mut changed: Vec<&str> = headers.clone();
                changed[at] = &spelling;
                let changed = changed.join(&mark.to_string());
                fs::write(&file, format!("{}{changed}{}", &text[..start], &text[end..])).unwrap();
                runs += 1;
                let Some(after) = run(plant) else {
                    refused += 1;
                    continue;
                };
                let better = better(&before, &after);
                if !better.is_empty() && !after.tells_header {
                    let name = file.file_name().unwrap().to_string_lossy();
                    silent.push(format!("{name}: '{spelling}' for '{header}': {}", better.join("; ")));
                }
            }
        }
        fs::write(&file, text).unwrap();
    }
    (runs, refused, silent)
}

#[test]
fn no_verdict_of_sample_data_gets_better_by_a_misspelt_header_in_silence() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant"), &plant);
    let (runs, refused, silent) = tried(&plant, 2);
    println!("sample-data: {runs} runs, {refused} refused, {} better in silence", silent.len());
    assert!(silent.is_empty(), "{}", silent.join("\n"));
    assert!(runs > 800 && refused < runs / 3, "{runs} runs, {refused} refused");
}

#[test]
fn no_verdict_of_the_starter_gets_better_by_a_misspelt_header_in_silence() {
    let folder = tempfile::tempdir().unwrap();
    for (name, units) in [("metric", UnitSystem::Metric), ("us", UnitSystem::Us)] {
        let plant = folder.path().join(name);
        write(&plant, Form::Csv, units).unwrap();
        let (runs, refused, silent) = tried(&plant, 1);
        println!("starter, {name}: {runs} runs, {refused} refused, {} better in silence", silent.len());
        assert!(silent.is_empty(), "{}", silent.join("\n"));
        assert!(runs > 1000 && refused < runs / 3, "{runs} runs, {refused} refused");
    }
}
