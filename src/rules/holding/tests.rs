use super::*;
use crate::physics::quantity::Time;
use crate::rules::test_circuit::{TestCircuit, bar, lacking};
use crate::tables::line::PartRef;
use crate::tables::origin::CellFault;

fn unreadable(column: &'static str) -> CellFault {
    CellFault { column, letter: "F".to_owned(), found: "?".to_owned(), expected: "a pressure".to_owned() }
}

fn lacks(figure: Figure) -> Vec<(Option<Side>, Option<usize>, Figure)> {
    vec![(None, None, figure)]
}

/// Charged to 200 bar; the weakest part is rated for 350 bar.
fn heated(hot: f64) -> TestCircuit {
    let mut bench = TestCircuit::single();
    bench.part(Kind::CheckValve, "V-1");
    bench.line("V-1").position = "A1".into();
    bench.charged(200.0, 200.0);
    bench.weakest(350.0, 0);
    bench.service().temp_max = Some(Temperature::from_celsius(40.0));
    bench.figures.holding.hot = Some(bar(hot));
    bench
}

#[test]
fn h01_fires_above_the_weakest_rating_and_names_its_part() {
    let outcome = heated(362.0).outcome(&H01);
    assert_eq!(outcome.hits.len(), 1);
    let hit = &outcome.hits[0];
    assert_eq!(hit.measured, Some(Value::Pressure(bar(362.0))));
    assert_eq!(hit.limit, Some(Value::Pressure(bar(350.0))));
    assert!(hit.facts.contains(&("weakest_part", Value::Text("V-1".to_owned()))));
    assert!(hit.facts.contains(&("weakest_position", Value::Text("A1".to_owned()))));
    assert!(hit.facts.contains(&("excess", Value::Pressure(bar(362.0) - bar(350.0)))));
    assert!(outcome.lacks.is_empty());
}

#[test]
fn h01_stays_quiet_at_the_limit_and_below() {
    // The last is within 1e-9 of the limit.
    for hot in [200.0, 350.0, 350.000_000_1] {
        assert_eq!(heated(hot).outcome(&H01), Outcome::default(), "{hot} bar");
    }
    assert_eq!(heated(350.001).outcome(&H01).hits.len(), 1);
}

#[test]
fn h01_is_not_asked_for_without_temp_max_or_in_a_live_circuit() {
    let mut bench = heated(400.0);
    bench.service().charging = Some(Charging::Live);
    assert_eq!(bench.outcome(&H01), Outcome::default());
    bench.service().charging = Some(Charging::Coupler);
    assert_eq!(bench.outcome(&H01).hits.len(), 1);
    bench.service().temp_max = None;
    bench.figures.holding.hot = None;
    assert_eq!(bench.outcome(&H01), Outcome::default());
    bench.service().faults.push(unreadable("temp_max"));
    assert_eq!(lacking(&bench.outcome(&H01)), [(Some(Side::Clamp), None, Figure::Hot)]);
}

#[test]
fn h01_lacks_what_is_unknown() {
    let mut bench = heated(400.0);
    bench.figures.clamp.chain.weakest = None;
    let outcome = bench.outcome(&H01);
    assert!(outcome.hits.is_empty());
    assert_eq!(lacking(&outcome), [(Some(Side::Clamp), None, Figure::Weakest)]);
    bench.figures.holding.hot = None;
    assert_eq!(lacking(&bench.outcome(&H01)), [(Some(Side::Clamp), None, Figure::Hot)]);
}

#[test]
fn h01_says_when_the_relief_valve_holds_the_pressure() {
    let mut bench = heated(360.0);
    bench.figures.clamp.chain.relief = Some(crate::tables::figures::Rating { pressure: bar(360.0), line: 0 });
    let hit = &bench.outcome(&H01).hits[0];
    assert!(hit.facts.contains(&("relief_setting", Value::Pressure(bar(360.0)))));
}

/// The clamps hold down to 120 bar.
fn cooled(cold: f64) -> TestCircuit {
    let mut bench = TestCircuit::single();
    bench.charged(200.0, 200.0);
    bench.service().pressure_min = Some(bar(120.0));
    bench.service().temp_min = Some(Temperature::from_celsius(8.0));
    bench.figures.holding.cold = Some(bar(cold));
    bench
}

#[test]
fn h02_fires_below_pressure_min_alone() {
    let outcome = cooled(96.0).outcome(&H02);
    assert_eq!(outcome.hits[0].measured, Some(Value::Pressure(bar(96.0))));
    assert_eq!(outcome.hits[0].limit, Some(Value::Pressure(bar(120.0))));
    assert!(!outcome.hits[0].facts.iter().any(|(name, _)| *name == "slack"));
    for cold in [120.0, 119.999_999_99, 148.0] {
        assert_eq!(cooled(cold).outcome(&H02), Outcome::default(), "{cold} bar");
    }
    assert_eq!(cooled(119.999).outcome(&H02).hits.len(), 1);
}

#[test]
fn h02_says_when_the_clamps_are_slack() {
    let hit = &cooled(0.0).outcome(&H02).hits[0];
    assert!(hit.facts.iter().any(|(name, _)| *name == "slack"));
}

#[test]
fn h02_needs_pressure_min_and_lacks_what_can_not_be_read() {
    let mut bench = cooled(96.0);
    bench.service().pressure_min = None;
    assert_eq!(bench.outcome(&H02), Outcome::default());
    bench.service().faults.push(unreadable("pressure_min"));
    assert_eq!(lacking(&bench.outcome(&H02)), lacks(Figure::PressureMin));
    let mut bench = cooled(96.0);
    bench.figures.holding.cold = None;
    assert_eq!(lacking(&bench.outcome(&H02)), lacks(Figure::Cold));
    bench.service().temp_min = None;
    assert_eq!(lacking(&bench.outcome(&H02)), lacks(Figure::Cold), "the settled pressure is asked for then");
    let mut bench = cooled(96.0);
    bench.service().charging = Some(Charging::Live);
    assert_eq!(bench.outcome(&H02), Outcome::default());
}

/// Starts at 190 bar, has to hold 120 bar for 480 min.
fn leaking(hold: Option<f64>) -> TestCircuit {
    let mut bench = cooled(190.0);
    bench.service().hold_time = Some(Time::from_minutes(480.0));
    bench.figures.holding.start = Some(bar(190.0));
    bench.figures.holding.hold = hold.map(bar);
    bench
}

#[test]
fn h03_fires_when_the_leak_brings_the_oil_below() {
    let outcome = leaking(Some(84.0)).outcome(&H03);
    assert_eq!(outcome.hits[0].measured, Some(Value::Pressure(bar(84.0))));
    assert_eq!(outcome.hits[0].limit, Some(Value::Pressure(bar(120.0))));
    assert!(outcome.lacks.is_empty());
    for hold in [120.0, 119.999_999_99, 155.0] {
        assert_eq!(leaking(Some(hold)).outcome(&H03), Outcome::default(), "{hold} bar");
    }
}

#[test]
fn h03_on_an_upper_bound_fires_and_does_not_pass() {
    let mut bench = leaking(Some(84.0));
    bench.figures.holding.hold_is_bound = true;
    let outcome = bench.outcome(&H03);
    assert!(outcome.hits[0].facts.iter().any(|(name, _)| *name == "at_most"));
    assert!(outcome.lacks.is_empty());
    bench.figures.holding.hold = Some(bar(150.0));
    let outcome = bench.outcome(&H03);
    assert!(outcome.hits.is_empty());
    assert_eq!(lacking(&outcome), lacks(Figure::Hold));
}

#[test]
fn h03_leaves_it_to_h02_where_the_oil_does_not_hold_to_begin_with() {
    let mut bench = leaking(Some(50.0));
    bench.figures.holding.cold = Some(bar(96.0));
    assert_eq!(bench.outcome(&H03), Outcome::default());
    assert_eq!(bench.outcome(&H02).hits.len(), 1);
}

#[test]
fn h03_without_temp_min_starts_from_the_settled_pressure() {
    let mut bench = leaking(Some(84.0));
    bench.service().temp_min = None;
    bench.figures.holding.cold = None;
    bench.figures.holding.cold_or_settled = Some(bar(190.0));
    assert_eq!(bench.outcome(&H03).hits.len(), 1);
    bench.figures.holding.cold_or_settled = Some(bar(110.0));
    assert_eq!(bench.outcome(&H03), Outcome::default());
}

#[test]
fn h03_is_asked_for_by_the_hold_time() {
    let mut bench = leaking(None);
    assert_eq!(lacking(&bench.outcome(&H03)), lacks(Figure::Hold));
    bench.service().hold_time = None;
    assert_eq!(bench.outcome(&H03), Outcome::default());
    // What a relief valve let out is gone without any hold time.
    bench.figures.holding.hold = Some(bar(110.0));
    assert_eq!(bench.outcome(&H03).hits.len(), 1);
    bench.service().charging = Some(Charging::Live);
    assert_eq!(bench.outcome(&H03), Outcome::default());
    let mut bench = leaking(Some(155.0));
    bench.service().pressure_min = None;
    bench.service().faults.push(unreadable("pressure_min"));
    assert_eq!(lacking(&bench.outcome(&H03)), lacks(Figure::PressureMin));
}

/// pressure_min is 120 bar: the precharge belongs between 60 and 108 bar.
fn precharged(precharge: Option<f64>) -> TestCircuit {
    let mut bench = TestCircuit::single();
    bench.service().pressure_min = Some(bar(120.0));
    bench.part(Kind::Accumulator, "A-1").precharge = precharge.map(bar);
    bench.line("A-1");
    bench
}

#[test]
fn h04_fires_on_either_side_with_the_bound_that_is_crossed() {
    for (precharge, bound) in [(50.0, 60.0), (130.0, 108.0)] {
        let hit = &precharged(Some(precharge)).outcome(&H04).hits[0];
        assert_eq!(hit.line, Some(0));
        let Some(Value::Pressure(limit)) = hit.limit else { panic!("no pressure") };
        assert!((limit.bar() - bound).abs() < 1e-9, "{precharge} bar");
    }
    for precharge in [60.0, 90.0, 108.0, 108.000_000_05] {
        assert_eq!(precharged(Some(precharge)).outcome(&H04), Outcome::default(), "{precharge} bar");
    }
}

#[test]
fn h04_takes_the_line_s_own_precharge_first() {
    let mut bench = precharged(Some(130.0));
    bench.circuit.lines[0].precharge = Some(bar(90.0));
    assert_eq!(bench.outcome(&H04), Outcome::default());
    bench.circuit.lines[0].precharge = Some(bar(20.0));
    assert_eq!(bench.outcome(&H04).hits[0].origin, None);
}

#[test]
fn h04_lacks_what_is_set_aside_and_passes_over_what_is_live_or_not_asked_for() {
    let mut bench = precharged(Some(130.0));
    bench.circuit.lines[0].qty = crate::tables::line::Cell::Unreadable;
    let outcome = bench.outcome(&H04);
    assert_eq!((outcome.hits.len(), lacking(&outcome)), (0, vec![(None, Some(0), Figure::Line)]));
    let mut bench = precharged(Some(130.0));
    bench.circuit.lines[0].part = PartRef::Unknown("A-2".to_owned());
    assert_eq!(bench.outcome(&H04), Outcome::default());
    let mut bench = precharged(Some(130.0));
    bench.service().charging = Some(Charging::Live);
    assert_eq!(bench.outcome(&H04), Outcome::default());
    let mut bench = precharged(None);
    assert_eq!(lacking(&bench.outcome(&H04)), [(Some(Side::Clamp), Some(0), Figure::Setting)]);
    bench.service().pressure_min = None;
    assert_eq!(bench.outcome(&H04), Outcome::default());
    bench.service().faults.push(unreadable("pressure_min"));
    assert_eq!(lacking(&bench.outcome(&H04)), [(Some(Side::Clamp), Some(0), Figure::PressureMin)]);
}
