//! Each rule of holding where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::physics::quantity::Time;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio, bar};

fn circuit() -> TestCircuit {
    let mut made = TestCircuit::single();
    made.fit(Kind::Clamp, "CL", 350.0);
    made.charged(200.0, 200.0);
    made
}

fn hot(pressure: f64) -> Outcome {
    let mut made = circuit();
    made.service().temp_max = Some(Temperature::from_celsius(40.0));
    made.figures.holding.hot = Some(bar(pressure));
    made.outcome(&H01)
}

fn cold(pressure: f64) -> Outcome {
    let mut made = circuit();
    made.service().pressure_min = Some(bar(120.0));
    made.figures.holding.cold_or_settled = Some(bar(pressure));
    made.outcome(&H02)
}

fn held(pressure: f64) -> Outcome {
    let mut made = circuit();
    made.service().pressure_min = Some(bar(120.0));
    made.service().hold_time = Some(Time::from_minutes(480.0));
    made.figures.holding.cold_or_settled = Some(bar(190.0));
    made.figures.holding.hold = Some(bar(pressure));
    made.outcome(&H03)
}

/// By hand: 0.9 × 120 bar = 108 bar.
fn precharge(pressure: f64) -> Outcome {
    let mut made = circuit();
    made.service().pressure_min = Some(bar(120.0));
    made.fit(Kind::Accumulator, "AC", 350.0).precharge = Some(bar(pressure));
    made.outcome(&H04)
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(&H01, || hot(362.0), || hot(290.0), AtLimit::Quiet(|times| hot(350.0 * times))),
        trio(&H02, || cold(96.0), || cold(148.0), AtLimit::Quiet(|times| cold(120.0 * times))),
        trio(&H03, || held(84.0), || held(155.0), AtLimit::Quiet(|times| held(120.0 * times))),
        trio(&H04, || precharge(130.0), || precharge(90.0), AtLimit::Quiet(|times| precharge(108.0 * times))),
    ]
}

/// What the policy asks for and nobody states is not assessed, with the rules that it asks for.
#[test]
fn data_that_the_policy_asks_for_are_lacking_where_they_are_not_given() {
    let mut made = circuit();
    made.plant.policy.asked = crate::tables::policy::AskedData::default();
    let lacks = |made: &TestCircuit, rule: &Rule| -> Vec<&str> {
        let lacks = made.outcome(rule).lacks;
        assert!(lacks.iter().all(|lack| lack.figure == Figure::Datum), "{lacks:?}");
        lacks.iter().filter_map(|lack| Some(lack.cell?.1)).collect()
    };
    assert_eq!(lacks(&made, &H01), ["temp_max"]);
    assert_eq!(lacks(&made, &H02), ["pressure_min", "temp_min"]);
    assert_eq!(lacks(&made, &H03), ["hold_time"]);
    assert_eq!(lacks(&made, &H04), [""; 0]);
    made.service().charging = Some(Charging::Live);
    for rule in [&H01, &H02, &H03] {
        assert_eq!(lacks(&made, rule), [""; 0], "{}", rule.code);
    }
}

/// By hand: 362 − 350 = 12 bar ahead of the reducing valve, 270 − 250 = 20 bar behind it.
#[test]
fn the_zone_with_the_greatest_excess_is_named() {
    let mut made = circuit();
    made.plant.components[0].rated_pressure = Some(bar(250.0));
    made.fit(Kind::Hose, "HO", 350.0);
    made.fit(Kind::ReducingValve, "RV", 400.0);
    made.service().temp_max = Some(Temperature::from_celsius(40.0));
    made.figures.holding.hot_full = Some(bar(362.0));
    made.figures.holding.hot = Some(bar(270.0));
    let hits = made.outcome(&H01).hits;
    assert_eq!((hits.len(), hits[0].limit.clone()), (1, Some(Value::Pressure(bar(250.0)))));
    made.figures.holding.hot = Some(bar(255.0));
    assert_eq!(made.outcome(&H01).hits[0].limit, Some(Value::Pressure(bar(350.0))));
}
