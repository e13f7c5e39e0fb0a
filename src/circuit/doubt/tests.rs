//! Propagation against draws at random, and what may be left out against what is looked at, on the sample plant.

use super::*;
use crate::circuit::sample_sets::with_sample_sets;
use crate::tables::words::Verdict;

/// Calls `look` on the doubt about each set of circuits of the sample plant that has a verdict.
fn with_doubts(most: usize, mut look: impl FnMut(&mut Doubt)) {
    let mut looked = 0;
    with_sample_sets(|audits, set, doubt| {
        if looked < most && set.iter().all(|index| audits[*index].verdict != Verdict::NotAssessed) {
            looked += 1;
            look(&mut doubt());
        }
    });
    assert!(looked > 5, "only {looked} sets");
}

/// As if each comparison were the only one of a circuit, so that all of them are looked at from both sides.
fn all_in_question(doubt: &mut Doubt) {
    let each: Vec<Vec<usize>> = (0..doubt.compared.len()).map(|place| vec![place]).collect();
    doubt.propagate(&each);
}

/// Whether a figure bends three uncertainties away, where its limit is neared or left fastest: clamps go slack there,
/// a relief valve opens, or another of several ratings is the lowest.
fn bends_within_three(doubt: &mut Doubt, place: usize) -> bool {
    let (slack, propagated) = (doubt.compared[place].slack, doubt.judged[place].propagated);
    let parts = doubt.contributions(place).collect::<Vec<f64>>();
    let mut there = Vec::new();
    [-3.0, -1.5, 1.5, 3.0].into_iter().any(|affected: f64| {
        let away = |(index, part): (usize, &f64)| (index, doubt.data[index].away(affected * part / propagated));
        let moved: Vec<(usize, f64)> = parts.iter().enumerate().map(away).collect();
        doubt.slacks_at(moved.iter().copied(), false, &mut there);
        let straight = (there[place] - slack) / (affected * propagated);
        straight.is_nan() || (straight - 1.0).abs() > 0.1
    })
}

/// The slacks with each of some data at a value, all figures worked out from nothing; no number where one is not known.
fn slacks_afresh(doubt: &mut Doubt, moved: &[(usize, f64)]) -> Vec<f64> {
    let mut afresh = Vec::new();
    for (index, value) in moved {
        doubt.data[*index].put(&mut doubt.replica, *value);
    }
    doubt.replica.compared_afresh(&doubt.rules, doubt.asked, &mut afresh);
    for (index, _) in moved {
        let datum = doubt.data[*index];
        datum.put(&mut doubt.replica, datum.value);
    }
    let all: Vec<usize> = (0..doubt.compared.len()).collect();
    let mut slacks = Vec::new();
    put_slacks(&doubt.compared, &all, &afresh, &mut slacks);
    slacks
}

/// So many draws know a standard deviation to 0.4 %.
const MANY: u64 = 30_000;

#[test]
fn draws_at_random_agree_with_propagation_where_nothing_bends() {
    let (mut smooth, mut of_oil, mut off) = (0, 0, Vec::new());
    with_doubts(40, |doubt| {
        all_in_question(doubt);
        let samples = doubt.samples(MANY);
        for (place, sample) in samples.iter().enumerate() {
            let judged = doubt.judged[place];
            if judged.bends || judged.propagated <= 0.0 || bends_within_three(doubt, place) {
                continue;
            }
            smooth += 1;
            of_oil += usize::from(doubt.compared[place].rule.figures != Asked::SIDES);
            let ratio = sample.standard_deviation() / judged.propagated;
            if (ratio - 1.0).abs() > 0.02 {
                off.push(format!("{} {ratio}", doubt.compared[place].rule.code));
            }
        }
    });
    assert!(smooth > 500 && of_oil > 50, "only {smooth} smooth figures, {of_oil} of them of trapped oil");
    assert!(off.is_empty(), "{off:?} of {smooth}");
}

/// What is interpolated, and what is not worked out again since nothing of it hangs on a datum, is what a full look finds.
#[test]
fn a_short_look_finds_what_a_full_one_finds() {
    let mut looked = 0;
    with_doubts(40, |doubt| {
        all_in_question(doubt);
        let mut short = Vec::new();
        for index in 0..doubt.data.len() {
            for deviates in [REACH, -REACH] {
                let value = doubt.data[index].away(deviates);
                doubt.slacks_at(std::iter::once((index, value)), true, &mut short);
                let full = slacks_afresh(doubt, &[(index, value)]);
                for (place, (short, full)) in short.iter().zip(&full).enumerate() {
                    looked += 1;
                    let room = 1e-3 * doubt.judged[place].propagated + 1e-9 * full.abs();
                    let is_alike = (short - full).abs() <= room || (short.is_nan() && full.is_nan());
                    let (name, code) = (doubt.data[index].name(&doubt.replica), doubt.compared[place].rule.code);
                    assert!(is_alike, "{name} on {code}: {short} {full}");
                }
            }
        }
    });
    assert!(looked > 10_000, "{looked}");
}

/// With all data drawn at random, what is worked out again is what is found from nothing, however far the oil was before.
#[test]
fn a_draw_finds_what_is_found_from_nothing() {
    let mut looked = 0;
    with_doubts(40, |doubt| {
        all_in_question(doubt);
        let mut row = Draws::of(7);
        let mut again = Vec::new();
        for _ in 0..60 {
            let moved: Vec<(usize, f64)> =
                (0..doubt.data.len()).map(|index| (index, doubt.data[index].away(row.deviate()))).collect();
            doubt.slacks_at(moved.iter().copied(), false, &mut again);
            let full = slacks_afresh(doubt, &moved);
            for (place, (again, full)) in again.iter().zip(&full).enumerate() {
                looked += 1;
                let room = 1e-6 * doubt.judged[place].propagated + 1e-9 * full.abs();
                let is_alike = (again - full).abs() <= room || (again.is_nan() && full.is_nan());
                assert!(is_alike, "{}: {again} {full}", doubt.compared[place].rule.code);
            }
        }
    });
    assert!(looked > 30_000, "{looked}");
}

/// Which comparisons are in question does not change what is found of the nearest.
#[test]
fn the_nearest_is_the_same_however_many_are_looked_at() {
    let mut compared = 0;
    let nearest = |all: bool| {
        let mut found = Vec::new();
        with_doubts(40, |doubt| {
            let places: Vec<usize> =
                (0..doubt.compared.len()).filter(|place| doubt.compared[*place].slack >= 0.0).collect();
            if all {
                all_in_question(doubt);
            } else {
                doubt.propagate(std::slice::from_ref(&places));
            }
            found.extend(doubt.least(&places).map(|least| (least, doubt.margin(least), doubt.judged[least].bends)));
        });
        found
    };
    for (few, all) in nearest(false).into_iter().zip(nearest(true)) {
        compared += 1;
        assert_eq!((few.0, few.2), (all.0, all.2));
        assert!(few.1.total_cmp(&all.1).is_eq() || (few.1 / all.1 - 1.0).abs() < 1e-3, "{few:?} {all:?}");
    }
    assert!(compared > 20, "{compared}");
}

/// What a datum does not affect it does not move.
#[test]
fn rules_that_are_passed_over_find_the_same() {
    let mut passed_over = 0;
    with_doubts(40, |doubt| {
        all_in_question(doubt);
        let value: Vec<f64> = doubt.compared.iter().map(|compared| compared.slack).collect();
        for index in 0..doubt.data.len() {
            let datum = doubt.data[index];
            let affected = datum.affected.within(doubt.asked);
            let passed: Vec<usize> =
                (0..value.len()).filter(|place| !affected.concerns(doubt.compared[*place].rule)).collect();
            for deviates in [1.0, -1.0] {
                let all = slacks_afresh(doubt, &[(index, datum.away(deviates))]);
                for place in passed.iter().copied() {
                    passed_over += 1;
                    assert!(
                        (all[place] - value[place]).abs() <= 1e-12 * value[place].abs(),
                        "{} moves {}",
                        datum.name(&doubt.replica),
                        doubt.compared[place].rule.code
                    );
                }
            }
        }
    });
    assert!(passed_over > 10_000, "{passed_over}");
}

/// The data are as they were after every look.
#[test]
fn a_look_leaves_no_trace() {
    with_doubts(40, |doubt| {
        all_in_question(doubt);
        let mut again = Vec::new();
        doubt.replica.compared_afresh(&doubt.rules, doubt.asked, &mut again);
        assert_eq!(again.len(), doubt.compared.len());
        for (one, other) in again.iter().zip(&doubt.compared) {
            assert!(one.slack.total_cmp(&other.slack).is_eq(), "{} {} {}", one.rule.code, one.slack, other.slack);
        }
    });
}

/// The weakest spring and the largest ratio of areas stand first, beside each other part once.
#[test]
fn what_counts_is_held_against_what_may_come_to_count() {
    let (mut springs, mut ratios) = (0, 0);
    with_sample_sets(|_, _, doubt| {
        let doubt = doubt();
        let replica = doubt.replica();
        for rival in Rival::all(replica) {
            let gap = rival.gap(replica);
            let (circuit, (one, other)) = match rival {
                Rival::Springs { circuit, lines } => {
                    springs += 1;
                    assert!(gap.is_some_and(|gap| gap <= 0.0), "{gap:?}");
                    (circuit, lines)
                }
                Rival::Ratios { circuit, lines } => {
                    ratios += 1;
                    assert!(gap.is_some_and(|gap| gap >= 0.0), "{gap:?}");
                    (circuit, lines)
                }
                _ => continue,
            };
            let number = |line: usize| replica.part(circuit, line).map(|part| &part.part_no);
            assert_ne!(number(one), number(other));
        }
    });
    assert!(springs > 0 && ratios > 0, "{springs} pairs of springs, {ratios} of ratios");
}
