use super::*;
use crate::physics::quantity::{Area, Temperature};
use crate::rules::test_circuit::{TestCircuit, bar, lacking};
use crate::rules::view::{NeighbourClamp, NeighbourSupport};
use crate::tables::line::{Cell, PartRef};

fn newtons(value: Option<&Value>) -> f64 {
    if let Some(Value::Force(force)) = value { force.si() } else { f64::NAN }
}

fn lack(line: usize, figure: Figure) -> Vec<(Option<Side>, Option<usize>, Figure)> {
    vec![(Some(Side::Clamp), Some(line), figure)]
}

/// Two single-acting clamps of 10 cm² with a ratio of 0.9 and a spring of 10 bar, charged to 200 bar.
/// By hand: 0.9 x 1e-3 m² x (p - 1e6 Pa), 12 600 N at 150 bar.
fn clamping(required: f64) -> TestCircuit {
    let mut bench = TestCircuit::single();
    let clamp = bench.part(Kind::Clamp, "C-1");
    clamp.area_clamp = Some(Area::from_cm2(10.0));
    clamp.force_ratio = Some(0.9);
    clamp.return_pressure = Some(bar(10.0));
    let line = bench.line("C-1");
    line.qty = Cell::Value(2.0);
    line.position = "A1".into();
    line.force_required = Some(Force::new(required));
    bench.charged(200.0, 200.0);
    bench.figures.holding.hold = Some(bar(150.0));
    bench
}

#[test]
fn f01_compares_one_piece_at_the_holding_pressure() {
    let outcome = clamping(13_000.0).outcome(&F01);
    let hit = &outcome.hits[0];
    assert!((newtons(hit.measured.as_ref()) - 12_600.0).abs() < 1e-6);
    assert_eq!(hit.limit, Some(Value::Force(Force::new(13_000.0))));
    assert!(hit.facts.contains(&("pressure_name", Value::Text("the holding pressure".to_owned()))));
    assert!(outcome.lacks.is_empty());
}

#[test]
fn f01_stays_quiet_at_the_limit_and_above() {
    for required in [0.0, 12_000.0, 12_600.0, 12_600.000_01] {
        assert_eq!(clamping(required).outcome(&F01), Outcome::default(), "{required} N");
    }
    assert_eq!(clamping(12_600.1).outcome(&F01).hits.len(), 1);
}

#[test]
fn f01_without_a_holding_pressure_fires_in_the_cold_and_never_passes() {
    let mut bench = clamping(13_000.0);
    bench.figures.holding.hold = None;
    bench.figures.holding.cold = Some(bar(140.0));
    // By hand: 0.9 x 1e-3 x 130e5 = 11 700 N.
    assert!((newtons(bench.outcome(&F01).hits[0].measured.as_ref()) - 11_700.0).abs() < 1e-6);
    bench.figures.holding.cold = None;
    // At the charge pressure: 0.9 x 1e-3 x 190e5 = 17 100 N suffice, but nobody knows for how long.
    let outcome = bench.outcome(&F01);
    assert!(outcome.hits.is_empty());
    assert_eq!(lacking(&outcome), lack(0, Figure::Hold));
    bench.circuit.lines[0].force_required = Some(Force::new(18_000.0));
    assert_eq!(bench.outcome(&F01).hits.len(), 1);
}

#[test]
fn f01_on_an_upper_bound_fires_and_does_not_pass() {
    let mut bench = clamping(13_000.0);
    bench.figures.holding.hold_is_bound = true;
    assert_eq!(bench.outcome(&F01).hits.len(), 1);
    bench.circuit.lines[0].force_required = Some(Force::new(12_000.0));
    assert_eq!(lacking(&bench.outcome(&F01)), lack(0, Figure::Hold));
}

#[test]
fn f01_of_a_live_circuit_is_at_the_charge_pressure() {
    let mut bench = clamping(17_100.0);
    bench.service().charging = Some(Charging::Live);
    bench.figures.holding.hold = None;
    assert_eq!(bench.outcome(&F01), Outcome::default());
    bench.circuit.lines[0].force_required = Some(Force::new(17_200.0));
    assert_eq!(bench.outcome(&F01).hits.len(), 1);
}

#[test]
fn f01_lacks_what_is_unknown_and_what_is_set_aside() {
    let mut bench = clamping(13_000.0);
    bench.plant.components[0].area_clamp = None;
    assert_eq!(lacking(&bench.outcome(&F01)), lack(0, Figure::Force));
    bench.figures.holding.hold = None;
    bench.uncharged();
    assert_eq!(lacking(&bench.outcome(&F01)), lack(0, Figure::Charge));
    bench.circuit.lines[0].qty = Cell::Unreadable;
    let outcome = bench.outcome(&F01);
    assert_eq!((outcome.hits.len(), lacking(&outcome)), (0, vec![(None, Some(0), Figure::Line)]));
    let mut bench = clamping(13_000.0);
    bench.circuit.lines[0].force_required = None;
    assert_eq!(bench.outcome(&F01), Outcome::default());
}

/// At the charge pressure of 200 bar one piece exerts 17 100 N, at 250 bar 21 600 N.
fn pressing(force_max: f64, hot: Option<f64>) -> TestCircuit {
    let mut bench = clamping(0.0);
    bench.plant.components[0].force_max = Some(Force::new(force_max));
    bench.service().temp_max = Some(Temperature::from_celsius(40.0));
    bench.figures.holding.hot = hot.map(bar);
    bench
}

#[test]
fn f02_takes_the_higher_of_charge_and_heat() {
    let outcome = pressing(20_000.0, Some(250.0)).outcome(&F02);
    assert!((newtons(outcome.hits[0].measured.as_ref()) - 21_600.0).abs() < 1e-6);
    let outcome = pressing(17_000.0, Some(180.0)).outcome(&F02);
    assert!((newtons(outcome.hits[0].measured.as_ref()) - 17_100.0).abs() < 1e-6);
    for limit in [21_600.0, 21_599.999_99, 30_000.0] {
        assert_eq!(pressing(limit, Some(250.0)).outcome(&F02), Outcome::default(), "{limit} N");
    }
}

#[test]
fn f02_fires_without_the_heat_and_does_not_pass_without_it() {
    assert_eq!(pressing(17_000.0, None).outcome(&F02).hits.len(), 1);
    assert_eq!(lacking(&pressing(20_000.0, None).outcome(&F02)), lack(0, Figure::Hot));
    let mut bench = pressing(20_000.0, None);
    bench.service().temp_max = None;
    assert_eq!(bench.outcome(&F02), Outcome::default());
    bench.uncharged();
    assert_eq!(lacking(&bench.outcome(&F02)), lack(0, Figure::Charge));
    let mut bench = pressing(20_000.0, None);
    bench.service().charging = Some(Charging::Live);
    assert_eq!(bench.outcome(&F02), Outcome::default());
}

/// A work support of 12 kN at 400 bar under one clamp that presses with `pressed`; charged to 200 bar it
/// bears 6 000 N.
fn supporting(pressed: f64) -> TestCircuit {
    let mut bench = TestCircuit::single();
    bench.charged(200.0, 200.0);
    bench.part(Kind::Clamp, "C-1").area_clamp = Some(Area::new(pressed / 2e7));
    let support = bench.part(Kind::WorkSupport, "S-1");
    support.support_capacity = Some(Force::from_kn(12.0));
    support.rated_pressure = Some(bar(400.0));
    bench.line("C-1").position = "A1".into();
    bench.line("S-1").supports = vec!["A1".to_owned()];
    bench
}

#[test]
fn f03_fires_below_the_factor_times_the_load() {
    let outcome = supporting(5_000.0).outcome(&F03);
    let hit = &outcome.hits[0];
    assert_eq!(hit.line, Some(1));
    assert!((newtons(hit.measured.as_ref()) - 6_000.0).abs() < 1e-6);
    assert!((newtons(hit.limit.as_ref()) - 7_500.0).abs() < 1e-6);
    // 1.5 x 4 000 N = 6 000 N is exactly what it bears.
    for pressed in [3_000.0, 4_000.0] {
        assert_eq!(supporting(pressed).outcome(&F03), Outcome::default(), "{pressed} N");
    }
    assert_eq!(supporting(4_000.1).outcome(&F03).hits.len(), 1);
}

#[test]
fn f03_pieces_multiply_what_is_borne_and_what_presses() {
    let mut bench = supporting(5_000.0);
    bench.circuit.lines[1].qty = Cell::Value(2.0);
    assert_eq!(bench.outcome(&F03), Outcome::default());
    bench.circuit.lines[0].qty = Cell::Value(2.0);
    let outcome = bench.outcome(&F03);
    assert!((newtons(outcome.hits[0].measured.as_ref()) - 12_000.0).abs() < 1e-6);
    assert!((newtons(outcome.hits[0].limit.as_ref()) - 15_000.0).abs() < 1e-6);
}

#[test]
fn f03_supports_under_one_position_share_by_capacity() {
    // 12 kN here and 4 kN next door: this one takes three quarters of 8 000 N, and 1.5 x 6 000 N = 9 000 N.
    let mut bench = supporting(8_000.0);
    bench
        .neighbour_supports
        .push(NeighbourSupport { supports: vec!["A1".to_owned()], capacity: Some(Force::from_kn(4.0)) });
    let hit = &bench.outcome(&F03).hits[0];
    assert!((newtons(hit.limit.as_ref()) - 9_000.0).abs() < 1e-6);
    // One more of the same here: 12 / 28 of 8 000 N, and 1.5 x that is 5 142.9 N: both conform.
    let support = bench.circuit.lines[1].clone();
    bench.circuit.lines.push(support);
    assert_eq!(bench.outcome(&F03), Outcome::default());
    bench.neighbour_supports[0].capacity = None;
    let lacking: Vec<Option<usize>> = bench.outcome(&F03).lacks.iter().map(|lack| lack.line).collect();
    assert_eq!(lacking, [Some(1), Some(2)]);
}

#[test]
fn f03_clamps_of_other_circuits_press_too() {
    let mut bench = supporting(3_000.0);
    bench.neighbours.push(NeighbourClamp {
        position: "A1".to_owned(),
        force: Some(Force::new(2_000.0)),
        is_least: false,
    });
    bench.neighbours.push(NeighbourClamp { position: "B9".to_owned(), force: None, is_least: false });
    let hit = &bench.outcome(&F03).hits[0];
    assert!((newtons(hit.limit.as_ref()) - 7_500.0).abs() < 1e-6);
    bench.neighbours[0].force = None;
    assert_eq!(lacking(&bench.outcome(&F03)), lack(1, Figure::SupportLoad));
}

#[test]
fn f03_adds_its_positions_and_counts_one_named_twice_once() {
    let mut bench = supporting(3_000.0);
    bench.circuit.lines[1].supports = ["A1", "B2", "A1"].map(String::from).to_vec();
    bench.line("C-1").position = "B2".into();
    // 1.5 x (3 000 + 3 000) N.
    let hit = &bench.outcome(&F03).hits[0];
    assert!((newtons(hit.limit.as_ref()) - 9_000.0).abs() < 1e-6);
    assert!(hit.facts.contains(&("positions", Value::List(vec!["A1".to_owned(), "B2".to_owned()]))));
}

#[test]
fn f03_is_not_assessed_where_a_position_has_no_known_clamp() {
    let mut bench = supporting(5_000.0);
    bench.circuit.lines[0].position = "Z".into();
    assert_eq!(lacking(&bench.outcome(&F03)), lack(1, Figure::SupportLoad));
    let mut bench = supporting(5_000.0);
    bench.circuit.lines[0].qty = Cell::Unreadable;
    assert_eq!(lacking(&bench.outcome(&F03)), lack(1, Figure::SupportLoad));
    let mut bench = supporting(5_000.0);
    bench.circuit.lines[0].part = PartRef::Unknown("C-9".to_owned());
    assert_eq!(lacking(&bench.outcome(&F03)), lack(1, Figure::SupportLoad));
    let mut bench = supporting(5_000.0);
    bench.uncharged();
    assert_eq!(lacking(&bench.outcome(&F03)), lack(1, Figure::Charge));
    let mut bench = supporting(5_000.0);
    bench.plant.components[1].support_capacity = None;
    assert_eq!(lacking(&bench.outcome(&F03)), lack(1, Figure::Force));
    let mut bench = supporting(5_000.0);
    bench.circuit.lines[1].supports.clear();
    assert_eq!(bench.outcome(&F03), Outcome::default());
}

#[test]
fn f03_other_things_at_the_position_do_not_press() {
    let mut bench = supporting(4_000.0);
    bench.part(Kind::Gauge, "G-1");
    bench.line("G-1").position = "A1".into();
    assert_eq!(bench.outcome(&F03), Outcome::default());
}
