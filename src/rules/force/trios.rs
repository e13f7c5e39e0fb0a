//! Each rule of forces where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::physics::quantity::Area;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio, bar};
use crate::tables::line::Cell;

/// A clamp of 10 cm² at 200 bar, which holds 150 bar: 20 kN charged, 15 kN held.
fn clamp() -> TestCircuit {
    let mut made = TestCircuit::single();
    made.fit(Kind::Clamp, "CL", 350.0).position = "A1".into();
    let part = &mut made.plant.components[0];
    part.area_clamp = Some(Area::from_cm2(10.0));
    part.force_ratio = Some(1.0);
    part.return_pressure = Some(Pressure::ZERO);
    made.charged(200.0, 200.0);
    made.figures.holding.hold = Some(bar(150.0));
    made.figures.holding.cold_or_settled = Some(bar(180.0));
    made
}

fn required(newtons: f64) -> Outcome {
    let mut made = clamp();
    made.circuit.lines[0].force_required = Some(Force::new(newtons));
    made.outcome(&F01)
}

fn at_most(newtons: f64) -> Outcome {
    let mut made = clamp();
    made.plant.components[0].force_max = Some(Force::new(newtons));
    made.outcome(&F02)
}

/// By hand: 10 kN × 200 / 400 = 5 kN are borne, and 1.5 × the clamp's force are wanted.
fn supported(clamp_newtons: f64) -> Outcome {
    let mut made = clamp();
    made.plant.components[0].area_clamp = Some(Area::new(clamp_newtons / 2e7));
    made.fit(Kind::WorkSupport, "WS", 400.0).supports = vec!["A1".to_owned()];
    made.plant.components[1].support_capacity = Some(Force::from_kn(10.0));
    made.outcome(&F03)
}

/// By hand: 4 × 15 kN × 0.15 on two faces hold 18 kN, enough for a cut of 9 kN at factor 2.
fn cutting(newtons: f64) -> Outcome {
    let mut made = clamp();
    made.circuit.lines[0].qty = Cell::Value(4.0);
    made.service().friction = Some(0.15);
    made.service().cutting_force = Some(Force::new(newtons));
    made.outcome(&F04)
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(&F01, || required(16_000.0), || required(12_000.0), AtLimit::Quiet(|times| required(15_000.0 * times))),
        trio(&F02, || at_most(19_000.0), || at_most(24_000.0), AtLimit::Quiet(|times| at_most(20_000.0 * times))),
        trio(
            &F03,
            || supported(4_000.0),
            || supported(2_000.0),
            AtLimit::Quiet(|times| supported(10_000.0 / 3.0 * times)),
        ),
        trio(&F04, || cutting(12_000.0), || cutting(5_000.0), AtLimit::Quiet(|times| cutting(9_000.0 * times))),
    ]
}

#[test]
fn a_blank_that_flatters_leaves_a_pass_open() {
    for (column, blank) in [
        ("force_ratio", (|part| part.force_ratio = None) as fn(&mut Component)),
        ("return_pressure", |part| part.return_pressure = None),
    ] {
        let mut made = clamp();
        blank(&mut made.plant.components[0]);
        made.circuit.lines[0].force_required = Some(Force::new(12_000.0));
        let outcome = made.outcome(&F01);
        assert_eq!((outcome.hits.len(), outcome.lacks[0].cell.unwrap().1), (0, column));
        made.circuit.lines[0].force_required = Some(Force::new(16_000.0));
        assert_eq!(made.outcome(&F01).hits.len(), 1, "{column}: it fires all the same");
        made.service().friction = Some(0.15);
        made.service().cutting_force = Some(Force::new(1_000.0));
        assert_eq!(made.outcome(&F04).lacks[0].cell.unwrap().1, column);
    }
}
