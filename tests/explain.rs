//! The calculation of a circuit: every number of it is that of `circuits.csv`, its items add up, and each rule is told.

#![allow(clippy::unwrap_used)]

#[path = "random_plants/making.rs"]
mod making;
#[allow(dead_code)]
#[path = "plants/small.rs"]
mod small;
#[allow(dead_code)]
#[path = "random_plants/tables.rs"]
mod tables;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use clampbook::audit::outcome::Audit;
use clampbook::audit::{Wanted, whole_without_rows};
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::fixture::neighbours_of;
use clampbook::report::data_rows::{CircuitRows, TEXT_COLUMNS, circuit_columns, header};
use clampbook::report::explanation::Explanation;
use clampbook::rules::Weighed;
use clampbook::rules::catalogue::{CATALOGUE, rule};
use clampbook::rules::view::CircuitView;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::Value;

const SAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/plant");

fn audited(plant: &Path) -> Audit {
    let today = "2026-03-02".parse().unwrap();
    let reading = clampbook::read::open(plant, None, today).unwrap();
    whole_without_rows(reading, &Wanted { remedies: false, ..Wanted::default() }).unwrap()
}

fn csv_row(audit: &Audit, circuit: &CircuitAudit) -> BTreeMap<String, String> {
    let mut text = Vec::new();
    header(&mut text, &circuit_columns(false));
    let mut rows = CircuitRows::default();
    CircuitRows::add(&audit.plant, circuit, &mut rows);
    text.extend(rows.circuits);
    csv::Reader::from_reader(text.as_slice()).deserialize().next().unwrap().unwrap()
}

fn steps(explained: &Value) -> impl Iterator<Item = &Value> {
    let chapters = explained["chapters"].as_array().unwrap().iter();
    chapters.flat_map(|chapter| chapter["steps"].as_array().unwrap()).filter(|step| step["name"].is_string())
}

/// Numbers of the calculation are those of the row, and no number of the row is left out.
fn numbers_agree(explained: &Value, row: &BTreeMap<String, String>) {
    let mut told = BTreeSet::new();
    for step in steps(explained).filter(|step| step["column"].is_string()) {
        let column = step["column"].as_str().unwrap();
        let cell = &row[column];
        match step["value"].as_f64() {
            Some(number) => {
                assert_eq!(
                    (number + 0.0).to_bits(),
                    cell.parse::<f64>().unwrap().to_bits(),
                    "{column}: {step}\n{row:?}"
                );
            }
            None => {
                assert_eq!(cell, "", "{column}: {step}");
                assert_ne!(step["because"], "", "{column} is unknown and nobody says why: {step}");
            }
        }
        assert!(told.insert(column.to_owned()), "{column} is told twice");
    }
    // Words and codes stand in sentences.
    for (column, cell) in
        row.iter().filter(|(column, cell)| !TEXT_COLUMNS.contains(&column.as_str()) && !cell.is_empty())
    {
        assert!(told.contains(column), "{column} = {cell} is not told");
    }
}

/// What stands above a sum adds up to it.
fn items_add_up(explained: &Value) -> usize {
    const SUMS: [&str; 8] = ["swept", "line", "dead", "compression", "air", "dilation", "elastic", "accumulator"];
    let mut sums = 0;
    let mut items = Some(0.0);
    for step in steps(explained) {
        let value = step["value"].as_f64();
        if step["is_item"] == true {
            items = items.zip(value).map(|(sum, item)| sum + item);
            continue;
        }
        let column = step["column"].as_str().unwrap_or_default();
        let name = column.trim_start_matches("un").trim_start_matches("clamp_").trim_end_matches("_cm3");
        if let (true, Some(sum), Some(items)) = (SUMS.contains(&name), value, items) {
            assert!((sum - items).abs() <= 1e-9 * sum.abs().max(1e-6), "{column}: {items} is not {sum}\n{explained:#}");
            sums += 1;
        }
        items = Some(0.0);
    }
    sums
}

/// A rule that is told to have looked was asked, and what it looks at is stated: families as `not_asked` has them, data as
/// the descriptions of the rules name them.
fn looked_at_something(circuit: &CircuitAudit, looked: &[String]) {
    let service = circuit.circuit.service();
    let not_asked = circuit.coverage.not_asked();
    for code in looked {
        assert!(!not_asked.contains(&code.chars().next().unwrap()), "{code} looked, and its family is not asked");
    }
    let lines = &circuit.circuit.lines;
    for (code, is_stated) in [
        ("H01", service.temp_max.is_some()),
        ("H02", service.pressure_min.is_some()),
        ("H03", service.pressure_min.is_some()),
        ("F01", lines.iter().any(|line| line.force_required.is_some())),
        ("F03", lines.iter().any(|line| !line.supports.is_empty())),
        ("F04", service.cutting_force.is_some() && service.friction.is_some()),
        ("T01", service.clamp_time_max.is_some()),
        ("T02", service.unclamp_time_max.is_some()),
        ("P03", service.pressure_set.is_some()),
        ("U01", lines.iter().any(|line| line.fitted_on.is_some())),
        ("U03", service.topped_up.is_some()),
    ] {
        assert!(is_stated || !looked.iter().any(|one| one == code), "{code} looked at nothing");
    }
}

/// Each rule of circuits is told once, and none is met that was found not to be.
fn rules_are_told(circuit: &CircuitAudit, explained: &Value) -> usize {
    let rules = &explained["rules"];
    let codes = |name: &str| -> Vec<String> {
        let all = rules[name].as_array().unwrap().iter();
        all.map(|one| one["rule"].as_str().or(one.as_str()).unwrap().to_owned()).collect()
    };
    let found: BTreeSet<&str> = circuit.findings.iter().map(|finding| finding.rule).collect();
    let lacking: BTreeSet<&str> = circuit.not_assessed.iter().map(|lack| lack.rule).collect();
    looked_at_something(circuit, &codes("nothing_found"));
    let met = [codes("met"), codes("nothing_found"), codes("idle")].concat();
    for code in &met {
        assert!(!found.contains(code.as_str()) && !lacking.contains(code.as_str()), "{code}");
    }
    for rule in CATALOGUE.iter().filter(|rule| rule.checks.circuit.is_some()) {
        let times = ["met", "nothing_found", "idle", "not_assessed", "switched_off"]
            .iter()
            .map(|name| codes(name).iter().filter(|code| *code == rule.code).count())
            .sum::<usize>();
        let is_asked = circuit.figures.sureness.is_some() || rule.family.letter != 'S';
        let expected = usize::from(is_asked && !found.contains(rule.code) || lacking.contains(rule.code));
        assert_eq!(times, expected, "{}", rule.code);
    }
    for one in rules["met"].as_array().unwrap() {
        let (measured, limit) = (one["measured"].as_f64().unwrap(), one["limit"].as_f64().unwrap());
        let off = if one["is_most"] == true { measured - limit } else { limit - measured };
        assert!(off <= 1e-6 * limit.abs(), "{one}");
    }
    rules["met"].as_array().unwrap().len()
}

/// A rule that was found not to be met has a figure beyond its limit, where it compares one.
fn what_was_found_is_beyond(audit: &Audit, pallet: &[CircuitAudit], circuit: &CircuitAudit) {
    let service = circuit.circuit.service();
    let beside = neighbours_of(&audit.plant, pallet, circuit);
    let view = CircuitView::of(&audit.plant, &circuit.circuit, &service, &circuit.figures)
        .beside(&beside.clamps, &beside.supports);
    for finding in &circuit.findings {
        let nearest = Weighed::nearest(rule(finding.rule).unwrap().weighed(&view));
        assert!(nearest.is_none_or(|nearest| nearest.slack < 0.0), "{finding:?} {nearest:?}");
    }
}

/// Looks at every circuit of a plant; gives how many, and how many sums and margins there were.
fn holds(plant: &Path) -> (usize, usize, usize) {
    let audit = audited(plant);
    let (mut sums, mut margins) = (0, 0);
    for circuit in &audit.circuits {
        let key = &circuit.circuit.key;
        let is_beside = |other: &&CircuitAudit| {
            let other = &other.circuit.key;
            (&other.plant, &other.pallet) == (&key.plant, &key.pallet)
        };
        let pallet: Vec<CircuitAudit> = audit.circuits.iter().filter(is_beside).cloned().collect();
        let explanation = Explanation::of(&audit.plant, &pallet, circuit, &audit.elsewhere);
        let explained = explanation.as_json();
        numbers_agree(&explained, &csv_row(&audit, circuit));
        sums += items_add_up(&explained);
        margins += rules_are_told(circuit, &explained);
        what_was_found_is_beyond(&audit, &pallet, circuit);
        for columns in [80, 120] {
            for line in explanation.as_text(audit.plant.policy.units, columns) {
                assert!(line.chars().count() <= columns || !line.trim().contains(' '), "{columns}: {line}");
            }
        }
    }
    (audit.circuits.len(), sums, margins)
}

#[test]
fn every_number_of_fifty_random_plants_is_that_of_their_data() {
    let config = Config { cases: 50, max_shrink_iters: 100, failure_persistence: None, ..Config::default() };
    let total = std::cell::Cell::new((0, 0, 0));
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&making::plant(), |plant| {
        let folder = tempfile::tempdir().unwrap();
        plant.write(folder.path());
        let (circuits, sums, margins) = holds(folder.path());
        let so_far = total.get();
        total.set((so_far.0 + circuits, so_far.1 + sums, so_far.2 + margins));
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let (circuits, sums, margins) = total.get();
    assert!(circuits >= 50 && sums >= 50 && margins >= 50, "{circuits} circuits, {sums} sums, {margins} margins");
}

#[test]
fn every_number_of_whole_plants_is_that_of_their_data() {
    let mut plants = vec![PathBuf::from(SAMPLE)];
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/oracle/plants")).unwrap() {
        plants.push(entry.unwrap().path().join("plant"));
    }
    plants.sort();
    let all: Vec<(usize, usize, usize)> = plants.iter().map(|plant| holds(plant)).collect();
    let sums: usize = all.iter().map(|(_, sums, _)| sums).sum();
    assert!(sums > 300, "{sums} sums");
}

fn run(arguments: &[&str], columns: &str) -> (i32, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
    let output = command.args(arguments).env("COLUMNS", columns).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_circuit_of_the_readme_is_worked_as_it_says_there() {
    let (status, text, said) = run(&["explain", SAMPLE, "T02/left/2"], "100");
    assert_eq!((status, said.as_str()), (0, ""));
    // As the README works it by hand: pump 326 bar × ratio 0.5 − return loss 3 bar = 160 bar.
    for words in [
        "Circuit Tarnholm/T02/left/2",
        "does not conform",
        "p_full = p_pump r − loss: 326 bar × 0.5 − 3 bar",
        "stations.csv, row 2",
        "P06 isolation-valve-rated-below-charge, major, IV WEIR-6A",
        "lists/tarnholm-t02-t03.csv, row 14",
        "Remedy: ",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    let charge = text.lines().find(|line| line.trim_start().starts_with("Charge pressure, p1")).unwrap();
    assert!(charge.ends_with(" 160 bar"), "{charge}");
}

#[test]
fn the_sheet_is_written_once_and_never_over_what_is_not_ours() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("calculation.xlsx");
    let file = path.to_str().unwrap();
    for _ in 0..2 {
        let (status, _, said) = run(&["explain", SAMPLE, "T02/left/2", "--out", file], "80");
        assert_eq!((status, said.as_str()), (0, ""));
    }
    let bytes = std::fs::read(&path).unwrap();
    assert!(bytes.starts_with(b"PK"));
    let mut book = calamine_sheet(&path);
    assert!(book.remove(0).contains("Calculation of circuit Tarnholm/T02/left/2: does not conform"));
    std::fs::write(&path, "somebody's own").unwrap();
    let (status, _, said) = run(&["explain", SAMPLE, "T02/left/2", "--out", file], "80");
    assert_eq!((status, said.trim_end().lines().count()), (2, 1), "{said}");
    for (place, words) in [("left", "may be any of"), ("nowhere", "The nearest is")] {
        let (status, text, said) = run(&["explain", SAMPLE, place], "80");
        assert_eq!((status, text.as_str(), said.trim_end().lines().count()), (2, "", 1), "{said}");
        assert!(said.contains(words), "{said}");
    }
}

/// The first column of the workbook's only sheet.
fn calamine_sheet(path: &Path) -> Vec<String> {
    use calamine::{Reader, open_workbook_auto};
    let mut book = open_workbook_auto(path).unwrap();
    let range = book.worksheet_range_at(0).unwrap().unwrap();
    range.rows().map(|row| row[0].to_string()).collect()
}

/// Findings of sample-data of a rule on a circuit.
fn found(circuit: &str, rule: &str) -> (f64, f64) {
    let audit = audited(Path::new(SAMPLE));
    let circuit = audit.circuits.iter().find(|audit| audit.circuit.key.path().ends_with(circuit)).unwrap();
    let found = circuit.findings.iter().find(|finding| finding.rule == rule).unwrap();
    let metric = |value: &Option<clampbook::tables::value::Value>| value.as_ref().unwrap().metric().unwrap().0;
    (metric(&found.measured), metric(&found.limit))
}

/// What a part of a trapped zone has to stand is what warmth makes of it: the same margin as the rule's.
#[test]
fn margins_are_those_of_the_worst_that_a_part_sees() {
    let (hot, weakest) = found("T02/left/2", "H01");
    let (_, text, _) = run(&["explain", SAMPLE, "T02/left/2"], "400");
    let short = clampbook::tables::shown::number(hot - weakest);
    let (hot, weakest) = (clampbook::tables::shown::number(hot), clampbook::tables::shown::number(weakest));
    let words = format!("{weakest} bar − {hot} bar at the highest temperature: short {short} bar");
    assert!(text.contains(&words), "{words}\n{text}");
    // The charge zone is without pressure by then: 230 bar less 160 bar.
    assert!(text.contains("230 bar − 160 bar: margin 70 bar"), "{text}");
}

/// M03 stands on Q02/saddle/2: nothing holds its oil, and no rule on the hold is met without saying so.
#[test]
fn what_counts_on_a_missing_check_valve_says_so() {
    let words = "only once a check valve is fitted (M03)";
    let (_, text, _) = run(&["explain", SAMPLE, "Q02/saddle/2"], "400");
    let met = text.split_once("Rules met").unwrap().1;
    for rule in ["H02 ", "H03 "] {
        let line = met.lines().find(|line| line.trim_start().starts_with(rule)).unwrap();
        assert!(line.ends_with(words), "{line}");
    }
    let hot = met.lines().find(|line| line.trim_start().starts_with("H01 ")).unwrap();
    assert!(!hot.contains(words), "{hot}");
    assert!(text.contains(&format!("what follows holds {words}")), "{text}");
    let (_, other, _) = run(&["explain", SAMPLE, "Q02/saddle/1"], "400");
    assert!(!other.contains(words), "{other}");
}

/// Q02/saddle/2 has no reducing valve, and on its unclamp side no charging cylinder: neither is spoken of as if it were.
#[test]
fn what_is_missing_is_not_called_unknown() {
    let (_, text, _) = run(&["explain", SAMPLE, "Q02/saddle/2"], "400");
    let line = text.lines().find(|line| line.trim_start().starts_with("P05 ")).unwrap();
    assert!(line.contains(": unclamp side: charge pressure (row 42): there is no charging cylinder (M01)"), "{line}");
    assert!(!text.contains("reducing valve ("), "{text}");
}

/// One system of units, and a time of one length on the sheet and on the terminal: 480 min are 8 h.
#[test]
fn a_calculation_keeps_to_the_readers_units() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("starter");
    let (status, ..) = run(&["starter", plant.to_str().unwrap(), "--us"], "120");
    assert_eq!(status, 0);
    let audit = audited(&plant);
    let mut told = 0;
    for circuit in &audit.circuits {
        let (_, text, _) = run(&["explain", plant.to_str().unwrap(), &circuit.circuit.key.path()], "400");
        for line in text.lines() {
            assert!(!line.contains(" bar"), "{line}");
            told += usize::from(line.contains(" per 1000 psi") || line.contains("for 1000 psi"));
        }
    }
    assert!(told > 1, "{told}");
    let sheet = folder.path().join("calculation.xlsx");
    let (_, text, _) = run(&["explain", SAMPLE, "T01/bridge/1", "--out", sheet.to_str().unwrap()], "120");
    let line = text.lines().find(|line| line.contains("hold_time")).unwrap();
    assert!(line.ends_with(" 8 h"), "{line}");
    let mut book = calamine::open_workbook_auto(&sheet).unwrap();
    let range = calamine::Reader::worksheet_range_at(&mut book, 0).unwrap().unwrap();
    let row = range.rows().find(|row| row[0].to_string().starts_with("Time to hold")).unwrap();
    assert_eq!([row[2].to_string(), row[3].to_string()], ["8", "h"]);
}

/// No leak of a clamp is stated, and of nothing else any: whoever reads that nothing leaks takes it for tight.
#[test]
fn a_leak_that_is_not_stated_is_not_called_tight() {
    let folder = tempfile::tempdir().unwrap();
    let explained = |clamp: &str| {
        let parts = small::PARTS
            .replace("CL20,clamp,230,420,10,3.333e-05", &format!("CL20,clamp,230,420,10,{clamp}"))
            .replace("6.67e-06", "0")
            .replace("1e-05", "0");
        small::write(folder.path(), &[("components.csv", &parts)]);
        run(&["explain", folder.path().to_str().unwrap(), "A/f/1"], "400").1
    };
    let bound = "part CL20 states no leak, so that the holding pressure is only an upper bound";
    let text = explained("");
    assert!(text.contains(&format!("by the leaks that are stated it has no end: {bound}")), "{text}");
    assert!(!text.contains("nothing leaks") && !text.contains("it is only"), "{text}");
    let text = explained("0");
    assert!(text.contains("nothing leaks: it has no end") && !text.contains(bound), "{text}");
}

/// The small plant asks for a hold and a force, and states neither a cut nor a limit of time: a pass of H is one, and
/// nobody reads that of F04 or T01 into it.
#[test]
fn rules_that_nobody_asked_have_not_looked() {
    let folder = tempfile::tempdir().unwrap();
    small::write(folder.path(), &[]);
    let (_, text, _) = run(&["explain", folder.path().to_str().unwrap(), "A/f/1"], "400");
    let line =
        |words: &str| text.lines().find(|line| line.contains(words)).unwrap_or_else(|| panic!("{words}: {text}"));
    let looked = line("Rules that looked and found nothing");
    for code in ["F03", "F04", "T01", "T02", "T03"] {
        assert!(!looked.contains(code), "{code}: {looked}");
    }
    assert!(looked.contains("M06"), "{looked}");
    assert!(line("F04 ").ends_with("asked for by cutting_force with friction"), "{text}");
    assert!(line("T Times").contains("asked for by clamp_time_max"), "{text}");
}
