//! Single edits of a conforming plant: the rules that an edit makes true are found, and nothing else is.
//!
//! What is expected stands in `tests/oracle/mutants.csv`, worked out by the second program
//! (`tests/oracle/expect.py`); no output of this program went into it. `cargo test --release --test mutants -- --nocapture` prints the
//! table of the developers' guide.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a test stops where something is amiss"
)]

#[path = "plants/edited.rs"]
mod edited;
#[path = "plants/run.rs"]
mod run;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clampbook::rules::catalogue::CATALOGUE;

use edited::Plant;
use run::Row;

/// The one finding of the base plant, waived there.
const STANDING: &str = "M05;North;P1;F8;1;;;;waived";

fn oracle() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle")
}

fn expected(edit: &Row) -> BTreeSet<String> {
    edit["expected"].split(" | ").filter(|text| !text.is_empty()).map(str::to_owned).collect()
}

fn found(plant: &Plant) -> BTreeSet<String> {
    let folder = tempfile::tempdir().unwrap();
    plant.write(&folder.path().join("plant"));
    let data = folder.path().join("data");
    run::check(&folder.path().join("plant"), &data, &["--no-remedies", "--threads", "1", "--quiet"]);
    let mut found = run::finding_set(&data);
    found.extend(run::not_assessed(&data));
    found
}

/// Rule by rule: mutants that make it true, those where it was found as it should, findings that none should be.
#[derive(Default)]
struct Tally {
    mutants: usize,
    found: usize,
    alarms: usize,
}

fn rule_of(finding: &str) -> String {
    finding.split(';').next().unwrap().to_owned()
}

fn count(tallies: &mut BTreeMap<String, Tally>, expected: &BTreeSet<String>, found: &BTreeSet<String>) {
    for rule in
        expected.iter().filter(|finding| *finding != STANDING).map(|finding| rule_of(finding)).collect::<BTreeSet<_>>()
    {
        let of_rule = |set: &BTreeSet<String>| {
            set.iter().filter(|finding| rule_of(finding) == rule).cloned().collect::<BTreeSet<_>>()
        };
        let tally = tallies.entry(rule.clone()).or_default();
        tally.mutants += 1;
        tally.found += usize::from(of_rule(expected).is_subset(&of_rule(found)));
    }
    for finding in found.difference(expected) {
        tallies.entry(rule_of(finding)).or_default().alarms += 1;
    }
}

fn table(tallies: &BTreeMap<String, Tally>) -> String {
    let mut text = "| rule | mutants | found | false alarms |\n| --- | --- | --- | --- |\n".to_owned();
    for rule in CATALOGUE {
        let none = Tally::default();
        let Tally { mutants, found, alarms } = tallies.get(rule.code).unwrap_or(&none);
        writeln!(text, "| {} | {mutants} | {found} | {alarms} |", rule.code).unwrap();
    }
    text
}

#[test]
fn every_edit_is_found_and_nothing_else() {
    let base = Plant::read(&oracle().join("base"));
    assert_eq!(found(&base), BTreeSet::from([STANDING.to_owned()]), "the base plant conforms");
    let file = std::env::var_os("MUTANTS").map_or_else(|| oracle().join("mutants.csv"), PathBuf::from);
    let edits = run::rows(&file);
    assert!(edits.len() >= 600, "only {} mutants", edits.len());
    let (mut tallies, mut wrong) = (BTreeMap::new(), String::new());
    for edit in &edits {
        let (expected, found) = (expected(edit), found(&base.mutated(edit)));
        count(&mut tallies, &expected, &found);
        let difference = run::difference(&expected, &found);
        if !difference.is_empty() {
            writeln!(wrong, "{} ({})\n{difference}", edit["mutant"], edit["why"]).unwrap();
        }
    }
    println!("{} mutants\n{}", edits.len(), table(&tallies));
    assert!(wrong.is_empty(), "{wrong}");
    // S01 is found where how sure verdicts are is asked for, and the second program doesn't know it: tests/sureness.rs.
    for rule in CATALOGUE.iter().filter(|rule| rule.code != "S01") {
        assert!(
            tallies.get(rule.code).is_some_and(|tally| tally.mutants > 0),
            "no mutant for {}: write its edits among EDITS of tests/oracle/expect.py",
            rule.code
        );
    }
}
