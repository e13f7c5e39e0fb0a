//! Each rule of upkeep where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::physics::quantity::Time;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio, today};
use crate::tables::words::Kind;

/// A hose fitted 100 days ago, for 20 cycles a day: 2000 cycles.
fn cycled(rule: &Rule, cycle_life: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.fit(Kind::Hose, "HO", 350.0).fitted_on = today().checked_sub_days(chrono::Days::new(100));
    made.plant.components[0].cycle_life = Some(cycle_life);
    made.service().cycles_per_day = Some(20.0);
    made.outcome(rule)
}

fn topped_up(days: f64) -> Outcome {
    topped_up_and_held(days, Some(Time::from_minutes(60.0)))
}

fn topped_up_and_held(days: f64, hold_time: Option<Time>) -> Outcome {
    let mut made = TestCircuit::single();
    made.fit(Kind::ChargingCylinder, "CC", 350.0);
    made.service().topped_up = today().checked_sub_days(chrono::Days::new(45));
    made.service().cycles_per_day = Some(20.0);
    made.service().hold_time = hold_time;
    made.figures.clamp.group.topup_days = Some(days);
    made.outcome(&U03)
}

/// Where a relief valve alone lets oil out, a filling has an end without a hold time.
#[test]
fn u03_needs_no_hold_time_where_the_days_are_known() {
    assert_eq!([30.0, 60.0].map(|days| topped_up_and_held(days, None).hits.len()), [1, 0]);
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(
            &U01,
            || cycled(&U01, 1_900.0),
            || cycled(&U01, 9_000.0),
            AtLimit::Quiet(|times| cycled(&U01, 2_000.0 * times)),
        ),
        // By hand: 2600 / 20 − 100 = 30 days are left, and notice is given 30 days before.
        trio(
            &U02,
            || cycled(&U02, 2_500.0),
            || cycled(&U02, 9_000.0),
            AtLimit::Fires(|times| cycled(&U02, 2_600.0 * times)),
        ),
        trio(&U03, || topped_up(30.0), || topped_up(60.0), AtLimit::Quiet(|times| topped_up(45.0 * times))),
    ]
}

/// A hose fitted `age` days ago, with a service life of 730 days.
fn aged(rule: &Rule, age: u64) -> usize {
    let mut made = TestCircuit::single();
    made.fit(Kind::Hose, "HO", 350.0).fitted_on = today().checked_sub_days(chrono::Days::new(age));
    made.plant.components[0].service_life = Some(730.0);
    made.outcome(rule).hits.len()
}

#[test]
fn a_service_life_is_valid_through_its_day() {
    for (age, past, soon) in [(699, 0, 0), (700, 0, 1), (730, 0, 1), (731, 1, 0)] {
        assert_eq!((aged(&U01, age), aged(&U02, age)), (past, soon), "{age} days");
    }
}
