//! What a finding's rule alone says of a change is what the whole audit says of it, and what is set aside without a
//! trial does not pass one.

use std::cell::Cell;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::audit::basis::with_searching;
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::fixture::load_fixture;
use clampbook::circuit::fixture::{Ground, findings_of_rule};
use clampbook::circuit::group::circuit_figures;
use clampbook::remedy::candidates::Ideas;
use clampbook::remedy::hopeless::Outlook;
use clampbook::remedy::stock::Stock;
use clampbook::remedy::trial::{Bench, Problem, Trial, is_searched};
use clampbook::rules::Rule;
use clampbook::rules::catalogue::CATALOGUE;
use clampbook::tables::finding::Finding;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// Whether a work support stands under positions: other circuits of the fixture then matter.
fn is_linked(audits: &[CircuitAudit]) -> bool {
    audits.iter().any(|audit| audit.circuit.lines.iter().any(|line| !line.supports.is_empty()))
}

/// What each rule finds by the figures that it looks at is what it finds by all of them.
/// Of linked circuits F03 looks at the others too.
/// A circuit that others share a charging cylinder with is never looked at alone.
fn same_findings(ground: &Ground, audit: &CircuitAudit, is_linked: bool) {
    if audit.figures.sides().any(|side| side.group.members > 1) {
        return;
    }
    let shown = |findings: &[Finding], rule: &Rule| {
        let of_rule = findings.iter().filter(|finding| finding.rule == rule.code);
        let mut all: Vec<String> = of_rule
            .map(|one| format!("{:?} {:?} {:?} {:?} {:?}", one.side, one.line, one.measured, one.limit, one.state))
            .collect();
        all.sort();
        all
    };
    let of_circuits = CATALOGUE.iter().filter(|rule| rule.checks.circuit.is_some());
    for rule in of_circuits.filter(|rule| !is_linked || rule.code != "F03") {
        let (circuit, service) = (&audit.circuit, audit.circuit.service());
        let figures = circuit_figures(ground.plant, circuit, &service, rule.figures);
        let alone = findings_of_rule(ground, circuit, &figures, rule);
        assert_eq!(shown(&alone, rule), shown(&audit.findings, rule), "{} on {}", rule.code, audit.circuit.key);
    }
}

/// How far the rule alone sees a finding from its limit is how far the trial sees it, where it has a figure.
fn same_distance(trial: &Trial, finding: &Finding, short: Option<f64>) {
    let Some((short, (Some(measured), Some(limit)))) = short.zip(trial.still(finding)) else { return };
    let Some(((measured, _), (limit, _))) = measured.metric().zip(limit.metric()) else { return };
    let whole = (measured - limit).abs();
    assert!((short - whole).abs() <= 1e-9 * limit.abs(), "{}: {short} by the rule alone, {whole}", finding.rule);
}

/// Compares both for every change that is thought of; answers with how many clear and don't.
fn agree(root: &Path) -> (u32, u32) {
    let date = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let reading = clampbook::read::open(root, None, date).unwrap();
    let plant = &reading.plant;
    with_searching(plant, &reading.lists, false, |searching| {
        let (roster, ground) = (searching.roster, searching.ground);
        let stock = Stock::of(plant, &ground.parts);
        let (mut clear, mut stay) = (0, 0);
        for range in &roster.fixtures {
            let before = load_fixture(roster, ground, range.clone())?.audits;
            let linked = is_linked(&before);
            before.iter().for_each(|audit| same_findings(ground, audit, linked));
            let bench = Bench::of(ground, &before);
            for (circuit, audit) in before.iter().enumerate() {
                for finding in audit.findings.iter().filter(|one| one.counts() && is_searched(one)) {
                    let problem = Problem::of(circuit, finding);
                    for change in (Ideas { plant, stock: &stock, audit, finding }).changes() {
                        let trial = bench.trial(circuit, &change);
                        let clears = trial.cleared.contains(&problem);
                        let is_hopeless = Outlook { plant, audit, finding }.is_hopeless(&change);
                        assert!(!is_hopeless || !trial.passes(&problem), "{} {change:?}: was no hope", finding.rule);
                        let short = bench.short_of_clearing(&change, &problem);
                        let may = short.is_none();
                        same_distance(&trial, finding, short);
                        assert!(may || !clears, "{} {change:?}: the rule alone does not see it clear", finding.rule);
                        let is_grouped = audit.figures.sides().any(|side| side.group.members > 1);
                        assert!(
                            clears || !may || linked || is_grouped,
                            "{} {change:?}: the rule alone sees it clear",
                            finding.rule
                        );
                        if clears { clear += 1 } else { stay += 1 }
                    }
                }
            }
        }
        Ok((clear, stay))
    })
    .unwrap()
}

#[test]
fn the_rule_alone_says_what_the_whole_audit_says() {
    let config = Config { cases: 32, max_shrink_iters: 100, failure_persistence: None, ..Config::default() };
    let (clear, stay) = (Cell::new(0), Cell::new(0));
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&crate::making::plant(), |plant| {
        let folder = tempfile::tempdir().unwrap();
        plant.write(folder.path());
        let (cleared, stayed) = agree(folder.path());
        clear.set(clear.get() + cleared);
        stay.set(stay.get() + stayed);
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let (cleared, stayed) = agree(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant"));
    let (clear, stay) = (clear.get() + cleared, stay.get() + stayed);
    // Else there was nothing to agree on.
    assert!(clear >= 100 && stay >= 100, "{clear} changes clear, {stay} don't");
}
