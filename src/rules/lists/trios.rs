//! Each rule of lists and of the component table where it fires and where it stays quiet; strokes and volumes at their
//! limit too.

use super::*;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio, assert_is_told, bar};
use crate::rules::view::HeaderView;
use crate::tables::component::RepeatedPart;
use crate::tables::line::Alteration;
use crate::tables::usage::Usage;

fn clamps(count: usize) -> TestCircuit {
    let mut made = TestCircuit::single();
    made.part(Kind::Clamp, "CL-1");
    for index in 0..count {
        made.line("CL-1").position = format!("C{}", index + 1).into();
    }
    made
}

fn with(rule: &Rule, change: impl FnOnce(&mut TestCircuit)) -> Outcome {
    let mut made = clamps(2);
    change(&mut made);
    made.outcome(rule)
}

fn fault() -> CellFault {
    CellFault { column: "length", letter: "F".into(), found: "63,5 mn".into(), expected: "a length".into() }
}

fn hose(length: Cell<Length>) -> Outcome {
    let mut made = TestCircuit::single();
    made.part(Kind::Hose, "HO-1");
    made.line("HO-1").length = length;
    made.outcome(&L06)
}

fn stroke(used: f64) -> Outcome {
    with(&L07, |made| {
        made.plant.components[0].stroke = Some(Length::from_mm(12.0));
        made.circuit.lines[0].stroke_used = Some(Length::from_mm(used));
    })
}

fn altered() -> PartRef {
    let alteration =
        Alteration { text: "412".to_owned(), looks_like: "a number that lost its leading zeros", likely: None };
    PartRef::Altered(Box::new(alteration))
}

/// A check valve in use, which needs a rating and nothing else.
fn valve(rating: Option<f64>) -> Outcome {
    let mut made = TestCircuit::single();
    made.part(Kind::CheckValve, "CV-1").rated_pressure = rating.map(bar);
    made.outcome_of_part(&L09, "CV-1", &Usage { is_used: true, ..Usage::default() }, &[])
}

/// By hand: 10 cm² × 10 mm = 10 cm³, and 2 % more 10.2 cm³.
fn swept(cm3: f64) -> Outcome {
    let mut made = TestCircuit::single();
    let part = made.part(Kind::Clamp, "CL-1");
    (part.area_clamp, part.stroke) = (Some(Area::from_cm2(10.0)), Some(Length::from_mm(10.0)));
    part.volume_clamp = Some(Volume::from_cm3(cm3));
    made.outcome_of_part(&L10, "CL-1", &Usage { is_used: true, ..Usage::default() }, &[])
}

fn repeated(repeats: &[RepeatedPart]) -> Outcome {
    clamps(1).outcome_of_part(&L11, "CL-1", &Usage::default(), repeats)
}

fn header(nearest: Option<&'static str>) -> Outcome {
    let made = clamps(1);
    let origin = Origin::default();
    let view = HeaderView {
        plant: &made.plant,
        table: "circuits",
        header: "min_press",
        origin,
        letter: "H",
        nearest,
        cells: 3,
    };
    let mut outcome = Outcome::default();
    nearly_known(&view, &mut outcome);
    assert_is_told(&L13, &outcome);
    outcome
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(
            &L01,
            || {
                with(&L01, |made| {
                    made.line("CL-2O10");
                })
            },
            || clamps(2).outcome(&L01),
            AtLimit::None,
        ),
        trio(
            &L02,
            || with(&L02, |made| made.circuit.lines[0].qty = Cell::Value(2.5)),
            || clamps(2).outcome(&L02),
            AtLimit::None,
        ),
        trio(
            &L03,
            || with(&L03, |made| made.circuit.lines[1].position = "C1".into()),
            || clamps(2).outcome(&L03),
            AtLimit::None,
        ),
        trio(
            &L04,
            || with(&L04, |made| made.circuit.lines[0].faults.push(fault())),
            || clamps(2).outcome(&L04),
            AtLimit::None,
        ),
        trio(
            &L05,
            || with(&L05, |made| made.circuit.lines[0].part = altered()),
            || clamps(2).outcome(&L05),
            AtLimit::None,
        ),
        trio(&L06, || hose(Cell::Blank), || hose(Cell::Value(Length::from_mm(1_200.0))), AtLimit::None),
        trio(&L07, || stroke(14.0), || stroke(8.0), AtLimit::Quiet(|times| stroke(12.0 * times))),
        trio(&L08, || clamps(0).outcome(&L08), || clamps(2).outcome(&L08), AtLimit::None),
        trio(&L09, || valve(None), || valve(Some(350.0)), AtLimit::None),
        trio(&L10, || swept(12.0), || swept(10.1), AtLimit::Quiet(|times| swept(10.2 * times))),
        trio(
            &L11,
            || repeated(&[RepeatedPart { first: 0, again: Origin::default(), differing: vec!["stroke"] }]),
            || repeated(&[]),
            AtLimit::None,
        ),
        trio(
            &L12,
            || with(&L12, |made| made.circuit.lines[1].repeats = Some(Origin::default())),
            || clamps(2).outcome(&L12),
            AtLimit::None,
        ),
        trio(&L13, || header(Some("pressure_min")), || header(None), AtLimit::None),
    ]
}
