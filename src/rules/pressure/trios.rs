//! Each rule of pressures where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::physics::quantity::{Area, Length};
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio, bar};
use crate::tables::station::Station;

/// One part at 200 bar.
fn one(kind: Kind, change: impl FnOnce(&mut Component)) -> TestCircuit {
    let mut made = TestCircuit::single();
    made.fit(kind, "PART", 500.0);
    change(&mut made.plant.components[0]);
    made.charged(200.0, 200.0);
    made
}

fn rated(rule: &Rule, kind: Kind, rating: f64) -> Outcome {
    one(kind, |part| part.rated_pressure = Some(bar(rating))).outcome(rule)
}

/// By hand: 250 bar × 70 mm / 105 mm = 166.67 bar.
fn armed(arm: f64) -> Outcome {
    let mut made = one(Kind::Clamp, |part| {
        part.rated_pressure = Some(bar(250.0));
        part.arm_rated = Some(Length::from_mm(70.0));
    });
    made.circuit.lines[0].arm_length = Some(Length::from_mm(arm));
    made.outcome(&P05)
}

fn wanted(rule: &Rule, set: f64) -> Outcome {
    let mut made = one(Kind::Clamp, |_| {});
    made.service().pressure_set = Some(bar(set));
    made.outcome(rule)
}

fn needs(least: f64) -> Outcome {
    one(Kind::Clamp, |part| part.min_pressure = Some(bar(least))).outcome(&P07)
}

/// By hand: 4000 bar / 4 × (64 − 36) / (64 + 36) = 280 bar.
fn tube(pressure: f64) -> Outcome {
    let mut made = one(Kind::Tube, |part| {
        part.inner_diameter = Some(Length::from_mm(6.0));
        part.outer_diameter = Some(Length::from_mm(8.0));
        part.tensile_strength = Some(Pressure::from_mpa(400.0));
    });
    made.charged(pressure, pressure);
    made.outcome(&P08)
}

/// A sequence valve that opens step 2, and a support of step 1 that works from 100 bar.
fn sequence(setting: f64) -> Outcome {
    let mut made = one(Kind::SequenceValve, |part| part.set_pressure = Some(bar(setting)));
    made.fit(Kind::WorkSupport, "WS", 500.0);
    made.plant.components[1].min_pressure = Some(bar(100.0));
    made.outcome(&P09)
}

/// A relief valve beside a part rated for 350 bar, at 200 bar.
fn relief(rule: &Rule, setting: f64) -> Outcome {
    let mut made = one(Kind::ReliefValve, |part| part.set_pressure = Some(bar(setting)));
    made.fit(Kind::Clamp, "CL", 350.0);
    made.outcome(rule)
}

fn gauge(full_scale: f64) -> Outcome {
    one(Kind::Gauge, |part| part.full_scale = Some(bar(full_scale))).outcome(&P12)
}

fn potential(potential: f64) -> Outcome {
    let mut made = one(Kind::Clamp, |part| part.rated_pressure = Some(bar(350.0)));
    made.service().station = "LS".into();
    made.figures.clamp.chain.potential = Some(bar(potential));
    made.outcome(&P13)
}

/// By hand: 160 bar × 800 mm² / 400 mm² = 320 bar.
fn rod_side(rating: f64) -> Outcome {
    relieved_rod_side(rating, None)
}

/// The same with a relief valve in a zone.
fn relieved_rod_side(rating: f64, relief: Option<Zone>) -> Outcome {
    let mut made = TestCircuit::double();
    made.fit(Kind::Clamp, "CL", rating);
    made.plant.components[0].area_clamp = Some(Area::from_mm2(800.0));
    made.plant.components[0].area_unclamp = Some(Area::from_mm2(400.0));
    made.fit(Kind::CheckValve, "CV", 500.0).side = Side::Unclamp;
    made.charged(160.0, 160.0);
    made.unclamp().chain.weakest = Some(Rating { pressure: bar(rating), line: 0 });
    if let Some(zone) = relief {
        let valve = made.fit(Kind::ReliefValve, "RV", 500.0);
        (valve.side, valve.zone) = (Side::Unclamp, Some(zone));
    }
    made.outcome(&P15)
}

/// What a check valve closes no valve ahead of it relieves.
#[test]
fn p15_wants_the_relief_valve_behind_the_check_valve() {
    let found = |relief| relieved_rod_side(250.0, relief).hits.len();
    assert_eq!((found(None), found(Some(Zone::Charge)), found(Some(Zone::Full))), (1, 1, 0));
}

/// By hand: 900 mm² / 1250 mm² = 0.72, and 2 % more 0.7344.
fn ratio(stated: f64) -> Outcome {
    let mut made = one(Kind::ChargingCylinder, |part| {
        part.pressure_ratio = Some(stated);
        part.piston_area = Some(Area::from_mm2(1250.0));
    });
    made.part(Kind::DriveRam, "DR").piston_area = Some(Area::from_mm2(900.0));
    made.service().station = "LS".into();
    made.plant.station_index.insert("LS".into(), 0);
    let drive_ram = StationPart::Known(1);
    made.plant.stations.push(Station { station: "LS".to_owned(), drive_ram, ..Station::default() });
    made.outcome(&P16)
}

/// A pump rated for 250 bar and a drive ram rated for 200 bar.
fn set_to(rule: &Rule, setting: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.part(Kind::Pump, "PU-1").rated_pressure = Some(bar(250.0));
    made.part(Kind::DriveRam, "DR-1").rated_pressure = Some(bar(200.0));
    let (pump, drive_ram) = (StationPart::Known(0), StationPart::Known(1));
    made.outcome_of_station(rule, &Station { pump, drive_ram, pump_setting: Some(bar(setting)), ..Station::default() })
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(
            &P01,
            || rated(&P01, Kind::ChargingCylinder, 199.0),
            || rated(&P01, Kind::ChargingCylinder, 250.0),
            AtLimit::Quiet(|times| rated(&P01, Kind::ChargingCylinder, 200.0 * times)),
        ),
        trio(&P02, || set_to(&P02, 250.0), || set_to(&P02, 150.0), AtLimit::Quiet(|times| set_to(&P02, 200.0 * times))),
        // By hand: 0.95 × 300 bar = 285 bar; here 200 bar are 0.95 of 210.526 bar.
        trio(
            &P03,
            || wanted(&P03, 300.0),
            || wanted(&P03, 200.0),
            AtLimit::Quiet(|times| wanted(&P03, times * 200.0 / 0.95)),
        ),
        trio(&P04, || set_to(&P04, 300.0), || set_to(&P04, 200.0), AtLimit::Quiet(|times| set_to(&P04, 250.0 * times))),
        trio(&P05, || armed(105.0), || armed(70.0), AtLimit::Quiet(|times| armed(87.5 * times))),
        trio(
            &P06,
            || rated(&P06, Kind::IsolationValve, 199.0),
            || rated(&P06, Kind::IsolationValve, 250.0),
            AtLimit::Quiet(|times| rated(&P06, Kind::IsolationValve, 200.0 * times)),
        ),
        trio(&P07, || needs(210.0), || needs(100.0), AtLimit::Quiet(|times| needs(200.0 * times))),
        trio(&P08, || tube(300.0), || tube(200.0), AtLimit::Quiet(|times| tube(280.0 * times))),
        // By hand: 0.9 × 200 bar = 180 bar above, 1.1 × 100 bar = 110 bar below.
        trio(&P09, || sequence(100.0), || sequence(150.0), AtLimit::Quiet(|times| sequence(110.0 * times))),
        trio(&P10, || relief(&P10, 360.0), || relief(&P10, 300.0), AtLimit::Quiet(|times| relief(&P10, 350.0 * times))),
        trio(
            &P11,
            || wanted(&P11, 150.0),
            || wanted(&P11, 200.0),
            AtLimit::Quiet(|times| wanted(&P11, times * 200.0 / 1.05)),
        ),
        // By hand: 0.75 × 266.67 bar = 200 bar.
        trio(&P12, || gauge(250.0), || gauge(400.0), AtLimit::Quiet(|times| gauge(times * 200.0 / 0.75))),
        trio(&P13, || potential(400.0), || potential(300.0), AtLimit::Quiet(|times| potential(350.0 * times))),
        trio(
            &P14,
            || rated(&P14, Kind::Clamp, 205.0),
            || rated(&P14, Kind::Clamp, 250.0),
            AtLimit::Quiet(|times| rated(&P14, Kind::Clamp, times * 200.0 / 0.95)),
        ),
        trio(&P15, || rod_side(250.0), || rod_side(350.0), AtLimit::Quiet(|times| rod_side(320.0 * times))),
        trio(&P16, || ratio(0.5), || ratio(0.72), AtLimit::Quiet(|times| ratio(0.72 * 1.02 * times))),
        // By hand: 1.1 × 200 bar = 220 bar.
        trio(&P17, || relief(&P17, 210.0), || relief(&P17, 250.0), AtLimit::Quiet(|times| relief(&P17, 220.0 * times))),
    ]
}
