//! Each rule of volumes where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::physics::quantity::Time;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio};
use crate::tables::words::Kind;

fn filled(rule: &Rule, fill: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.fit(Kind::ChargingCylinder, "CC", 400.0);
    let side = &mut made.figures.clamp;
    side.fill = Some(fill);
    let cm3 = |volume: f64| Some(Volume::from_cm3(volume));
    side.volumes.demand = cm3(100.0 * fill);
    side.volumes.capacity = cm3(100.0);
    side.volumes.swept = cm3(100.0 * fill);
    side.volumes.compression = cm3(0.0);
    side.volumes.air = cm3(0.0);
    made.outcome(rule)
}

fn lasting_days(days: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.fit(Kind::ChargingCylinder, "CC", 400.0);
    made.service().cycles_per_day = Some(20.0);
    made.service().hold_time = Some(Time::from_minutes(60.0));
    made.figures.clamp.group.topup_days = Some(days);
    made.figures.clamp.reserve = Some(Volume::from_cm3(12.0));
    made.outcome(&V04)
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(&V01, || filled(&V01, 0.95), || filled(&V01, 0.5), AtLimit::Quiet(|times| filled(&V01, 0.9 * times))),
        trio(&V02, || filled(&V02, 0.88), || filled(&V02, 0.5), AtLimit::Quiet(|times| filled(&V02, 0.85 * times))),
        trio(&V03, || filled(&V03, 0.2), || filled(&V03, 0.5), AtLimit::Quiet(|times| filled(&V03, 0.25 * times))),
        trio(&V04, || lasting_days(10.0), || lasting_days(45.0), AtLimit::Quiet(|times| lasting_days(30.0 * times))),
    ]
}

#[test]
fn a_blank_leak_leaves_the_days_of_a_filling_open() {
    let mut made = TestCircuit::single();
    made.fit(Kind::ChargingCylinder, "CC", 400.0);
    made.service().cycles_per_day = Some(20.0);
    assert_eq!(made.outcome(&V04), Outcome::default(), "no hold_time");
    made.service().hold_time = Some(Time::from_minutes(60.0));
    assert_eq!(made.outcome(&V04).lacks[0].figure, Figure::Topup);
    made.figures.clamp.group.topup_is_endless = true;
    assert_eq!(made.outcome(&V04), Outcome::default());
    made.figures.clamp.group.topup_is_bound = true;
    assert_eq!(made.outcome(&V04).lacks[0].figure, Figure::Topup);
}
