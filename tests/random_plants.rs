//! Random small plants, sound and unsound cells mixed: whatever they are, the report holds together.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "random_plants/checks.rs"]
mod checks;
#[path = "child/ended.rs"]
mod ended;
#[path = "random_plants/making.rs"]
mod making;
#[path = "random_plants/report.rs"]
mod report;
#[path = "random_plants/tables.rs"]
mod tables;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::env;

use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use checks::{differing, figures_are_sound, order_does_not_matter, totals_add_up, verdict_of};
use making::plant;
use report::Report;
use tables::Plant;

/// Runs a plant three times and looks at all that was written; answers with rules and verdicts.
fn holds_together(plant: &Plant) -> Vec<String> {
    let report = Report::of(plant, "1", true);
    let (circuits, findings) = (report.table("circuits.csv"), report.table("findings.csv"));
    figures_are_sound(&circuits);
    for circuit in &circuits {
        assert_eq!(verdict_of(plant, circuit, &findings), circuit["verdict"], "{circuit:?}\n{findings:?}");
    }
    totals_add_up(plant, &report);
    let wide = Report::of(plant, "3", true);
    assert_eq!(differing(&report, &wide), Vec::<String>::new());
    order_does_not_matter(&report, &Report::of(&plant.reversed(), "2", false));
    let verdicts = circuits.iter().map(|circuit| circuit["verdict"].clone());
    findings.iter().map(|finding| finding["rule"].clone()).chain(verdicts).collect()
}

#[test]
fn the_report_of_any_plant_holds_together() {
    let cases = env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(64);
    let config = Config { cases, max_shrink_iters: 300, failure_persistence: None, ..Config::default() };
    let seen = RefCell::new(BTreeMap::<String, u32>::new());
    let run =
        TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha)).run(&plant(), |plant| {
            for word in holds_together(&plant) {
                *seen.borrow_mut().entry(word).or_default() += 1;
            }
            Ok(())
        });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let seen = seen.into_inner();
    // Else the plants are all alike, and nothing was tried.
    let rules = seen.keys().filter(|word| word.len() == 3).count();
    let is_varied = rules >= 40
        && ["conforms", "not assessed", "does not conform"].iter().all(|verdict| seen.contains_key(*verdict));
    assert!(is_varied, "{rules} rules: {seen:?}");
    if cases > 64 {
        eprintln!("{rules} rules: {seen:?}");
    }
}
