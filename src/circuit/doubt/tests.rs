//! Propagation against draws at random, and what may be left out against what is looked at, on the sample plant.

use std::path::Path;

use super::*;
use crate::circuit::fixture::{FixtureAudit, Ground, load_fixture};
use crate::circuit::links::Links;
use crate::circuit::replica::deciding;
use crate::circuit::roster::Roster;
use crate::circuit::waiving::Waiving;
use crate::tables::words::Verdict;

/// Calls `look` on the doubt about each set of circuits of the sample plant that has a verdict.
fn with_doubts(most: usize, mut look: impl FnMut(&mut Doubt)) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let reading = crate::read::open(&folder, None, chrono::NaiveDate::default()).unwrap();
    let (plant, lists) = (reading.plant, reading.lists);
    let waiving = Waiving::new(&plant.waivers, plant.policy.date);
    let roster = Roster::of(&plant, &lists);
    let ground = Ground {
        plant: &plant,
        waiving: &waiving,
        parts: Vec::new(),
        stations: Vec::new(),
        station_lacks: Vec::new(),
        with_curves: false,
    };
    let mut looked = 0;
    for fixture in roster.fixtures.clone() {
        let FixtureAudit { audits, .. } = load_fixture(&roster, &ground, fixture).unwrap();
        for set in Links::of(&audits).sets() {
            if looked >= most || set.iter().any(|index| audits[*index].verdict == Verdict::NotAssessed) {
                continue;
            }
            looked += 1;
            let replica = Replica::of(&plant, deciding(&plant.policy), set.iter().map(|index| &audits[*index]));
            look(&mut Doubt::about(replica, 100));
        }
    }
    assert!(looked > 5, "only {looked} sets");
}

/// 40,000 draws know a standard deviation to 0.35 %.
#[test]
fn draws_at_random_agree_with_propagation_where_nothing_bends() {
    let (mut smooth, mut off) = (0, Vec::new());
    with_doubts(12, |doubt| {
        let samples = doubt.samples(40_000);
        for (place, sample) in samples.iter().enumerate() {
            let judged = &doubt.judged[place];
            if judged.bends || judged.propagated <= 0.0 {
                continue;
            }
            smooth += 1;
            let ratio = sample.standard_deviation() / judged.propagated;
            // Figures of trapped oil bend a little in many data at once; the chain and the volumes do not.
            let room = if doubt.compared[place].rule.figures == Asked::SIDES { 0.02 } else { 0.07 };
            if (ratio - 1.0).abs() > room {
                off.push(format!("{} {ratio}", doubt.compared[place].rule.code));
            }
        }
    });
    assert!(smooth > 100, "only {smooth} smooth figures");
    assert!(off.is_empty(), "{off:?} of {smooth}");
}

/// A datum of the oil moves no pressure of the chain, no setting and no rating.
#[test]
fn rules_that_are_passed_over_find_the_same() {
    let mut passed_over = 0;
    with_doubts(40, |doubt| {
        let value: Vec<f64> = doubt.compared.iter().map(|compared| compared.slack).collect();
        for index in 0..doubt.data.len() {
            let datum = doubt.data[index];
            if !datum.is_of_oil() {
                continue;
            }
            datum.put(&mut doubt.replica, datum.away(1.0));
            let mut all = Vec::new();
            doubt.replica.compared(&doubt.rules, doubt.asked, &mut all);
            datum.put(&mut doubt.replica, datum.value);
            let of_oil = &doubt.of_oil.1;
            for place in (0..value.len()).filter(|place| !of_oil.contains(place)) {
                passed_over += 1;
                assert!(
                    (all[place].slack - value[place]).abs() <= 1e-12 * value[place].abs(),
                    "{} moves {}",
                    datum.name(&doubt.replica),
                    all[place].rule.code
                );
            }
        }
    });
    assert!(passed_over > 1000, "{passed_over}");
}

/// The data are as they were after every look.
#[test]
fn a_look_leaves_no_trace() {
    with_doubts(40, |doubt| {
        let mut again = Vec::new();
        doubt.replica.compared(&doubt.rules, doubt.asked, &mut again);
        assert_eq!(again.len(), doubt.compared.len());
        for (one, other) in again.iter().zip(&doubt.compared) {
            assert!(one.slack.total_cmp(&other.slack).is_eq(), "{} {} {}", one.rule.code, one.slack, other.slack);
        }
    });
}
