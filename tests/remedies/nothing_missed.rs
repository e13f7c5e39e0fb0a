//! Where the report says that no single change serves, none does: every part of the kind is tried, without the
//! conditions in closed form that spare trials.

use std::cell::Cell;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::audit::basis::with_searching;
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::fixture::load_fixture;
use clampbook::physics::quantity::Flow;
use clampbook::remedy::change::Change;
use clampbook::remedy::search::Searching;
use clampbook::remedy::trial::{Bench, Problem};
use clampbook::rules::Cure;
use clampbook::rules::catalogue::rule;
use clampbook::tables::component::Component;
use clampbook::tables::finding::Finding;
use clampbook::tables::words::{Kind, Side, Zone};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// What section 6 of the contract and common sense ask of another part: the family, the acting, a stated leak,
/// as much force and reach, what is built in.
fn may_replace(old: &Component, new: &Component, holds: bool) -> bool {
    fn least<T: PartialOrd>(old: Option<T>, new: Option<T>) -> bool {
        old.is_none_or(|old| new.is_some_and(|new| new >= old))
    }
    let per_bar = |part: &Component| match part.leak.map(Flow::si)? {
        0.0 => Some(0.0),
        leak => Some(leak / part.rated_pressure?.si()),
    };
    let leaks = !holds || per_bar(old).is_none_or(|was| per_bar(new).is_some_and(|is| is <= was));
    new.kind == old.kind
        && !new.is_obsolete()
        && (old.family.is_empty() || old.family == new.family)
        && (old.leak.is_none() || new.leak.is_some())
        && leaks
        && old.includes.iter().all(|kind| new.includes.has(kind))
        && match old.kind {
            Some(Kind::Clamp) => {
                old.is_double_acting() == new.is_double_acting()
                    && least(old.area_clamp, new.area_clamp)
                    && least(old.stroke, new.stroke)
            }
            Some(Kind::WorkSupport) => least(old.support_capacity, new.support_capacity),
            Some(Kind::Tube) => {
                old.outer_diameter.is_none() || new.outer_diameter.is_none() || old.outer_diameter == new.outer_diameter
            }
            Some(Kind::Hose) => least(old.inner_diameter, new.inner_diameter),
            _ => true,
        }
}

/// A blank that flatters is no datum: a part clears what it says something of.
fn says_something(rule: &str, new: &Component) -> bool {
    match rule {
        "M07" => !new.seal.is_empty(),
        "P07" => new.min_pressure.is_some(),
        "F02" => new.force_max.is_some(),
        _ => true,
    }
}

fn holds(audit: &CircuitAudit, line: usize) -> bool {
    let Some(service) = &audit.circuit.service else { return false };
    let clamp = &audit.figures.clamp;
    (service.pressure_min.is_some()
        || service.hold_time.is_some()
        || service.temp_min.is_some()
        || service.temp_max.is_some())
        && service.charging().is_uncoupled()
        && clamp.lines.contains(&line)
        && clamp.zone_of(line) != Zone::Charge
}

/// The line whose part a rule's cures would change, where they would.
fn line_to_change(audit: &CircuitAudit, finding: &Finding) -> Option<usize> {
    let cures = rule(finding.rule)?.cures;
    if cures.contains(&Cure::OtherPart) {
        return finding.line;
    }
    if cures.contains(&Cure::OtherCylinder) {
        let side = audit.figures.side(finding.side.unwrap_or(Side::Clamp))?;
        return side.cylinder.filter(|_| side.cylinder_pieces <= 1.0);
    }
    None
}

/// Tries every part for the findings that are said to have no remedy; answers with the number of trials.
fn nothing_is_missed(root: &Path) -> u32 {
    let date = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let reading = clampbook::read::open(root, None, date).unwrap();
    let plant = &reading.plant;
    with_searching(plant, &reading.lists, false, |searching: &mut Searching| {
        let mut trials = 0;
        for range in &searching.roster.fixtures {
            let before = load_fixture(searching.roster, searching.ground, range.clone())?.audits;
            let mut answered = before.clone();
            let _ = searching.complete(&mut answered);
            let bench = Bench::of(searching.ground, &before);
            for (circuit, audit) in before.iter().enumerate() {
                for finding in audit.findings.iter().filter(|finding| finding.counts()) {
                    let problem = Problem::of(circuit, finding);
                    let told = answered[circuit].findings.iter().find(|one| Problem::of(circuit, one) == problem);
                    let is_none = told
                        .and_then(|told| told.remedy.as_deref())
                        .is_some_and(|remedy| remedy.starts_with("No single change"));
                    let Some(line) = line_to_change(audit, finding).filter(|_| is_none) else { continue };
                    let Some(old) = audit.circuit.lines[line].component(&plant.components) else { continue };
                    let holds = holds(audit, line);
                    for (to, new) in (0_u32..).zip(&plant.components) {
                        let harms = searching.ground.parts[to as usize].counts;
                        let is_mute = !says_something(finding.rule, new);
                        if new.part_no == old.part_no || harms || is_mute || !may_replace(old, new, holds) {
                            continue;
                        }
                        trials += 1;
                        let passes = bench.trial(circuit, &Change::Swap { line, to }).passes(&problem);
                        assert!(!passes, "{} on {}: {} serves", finding.rule, audit.circuit.key, new.part_no);
                    }
                }
            }
        }
        Ok(trials)
    })
    .unwrap()
}

#[test]
fn no_part_serves_where_none_is_offered() {
    let config = Config { cases: 128, max_shrink_iters: 100, failure_persistence: None, ..Config::default() };
    let trials = Cell::new(0);
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&crate::making::plant(), |plant| {
        let folder = tempfile::tempdir().unwrap();
        plant.write(folder.path());
        trials.set(trials.get() + nothing_is_missed(folder.path()));
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let trials = trials.get() + nothing_is_missed(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant"));
    // Else nothing was tried.
    assert!(trials >= 20, "{trials} changes tried");
}
