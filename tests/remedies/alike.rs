//! One search serves lines that differ in nothing but their place: what it comes to is what a search for each of
//! them comes to.

use std::cell::Cell;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::audit::basis::with_searching;
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::fixture::load_fixture;
use clampbook::tables::spread::{OwnSpread, Uncertain};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

const POSITION: usize = 4;

/// What is told of each finding.
fn told(audits: &[CircuitAudit]) -> Vec<String> {
    let of = |audit: &CircuitAudit| {
        let key = audit.circuit.key.to_string();
        let told = audit.findings.iter().map(move |one| format!("{key} {} {:?}: {:?}", one.rule, one.line, one.remedy));
        told.collect::<Vec<_>>()
    };
    audits.iter().flat_map(of).collect()
}

/// Searches with lines that are alike, and with each told from the others by a datum that no finding looks at;
/// answers with the lines looked at.
fn agree(root: &Path) -> [u64; 2] {
    let date = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let reading = clampbook::read::open(root, None, date).unwrap();
    with_searching(&reading.plant, &reading.lists, false, |searching| {
        let mut looked_at = [0, 0];
        for range in searching.roster.fixtures.clone() {
            let mut shared = load_fixture(searching.roster, searching.ground, range)?.audits;
            let mut apart = shared.clone();
            for line in apart.iter_mut().flat_map(|audit| &mut audit.circuit.lines) {
                line.spreads.push(OwnSpread { column: "length", uncertainty: Uncertain::Absolute(1.0) });
            }
            let before = searching.lines_looked_at();
            let proved = searching.complete(&mut shared);
            let between = searching.lines_looked_at();
            let by_itself = searching.complete(&mut apart);
            looked_at[0] += between - before;
            looked_at[1] += searching.lines_looked_at() - between;
            assert_eq!(told(&shared), told(&apart));
            assert_eq!(format!("{proved:?}"), format!("{by_itself:?}"));
        }
        Ok(looked_at)
    })
    .unwrap()
}

#[test]
fn lines_that_are_alike_are_told_the_same_as_by_a_search_for_each() {
    let config = Config { cases: 48, max_shrink_iters: 100, failure_persistence: None, ..Config::default() };
    let looked_at = Cell::new([0, 0]);
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&crate::making::plant(), |mut plant| {
        for list in &mut plant.lists {
            let again = |copy: &str| {
                let of = |row: &Vec<String>| {
                    let mut row = row.clone();
                    row[POSITION] = format!("{}{copy}", row[POSITION]);
                    row
                };
                list.iter().map(of).collect::<Vec<_>>()
            };
            let copies: Vec<Vec<String>> = ["b", "c"].into_iter().flat_map(again).collect();
            list.extend(copies);
        }
        let folder = tempfile::tempdir().unwrap();
        plant.write(folder.path());
        let (so_far, now) = (looked_at.get(), agree(folder.path()));
        looked_at.set([so_far[0] + now[0], so_far[1] + now[1]]);
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let [shared, apart] = looked_at.get();
    // Else nothing was shared.
    assert!(shared > 0 && shared * 5 < apart * 4, "{shared} lines looked at, {apart} by themselves");
}
