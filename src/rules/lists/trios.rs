//! Each rule of lists where it fires and where it stays quiet; strokes at their limit too.

use super::*;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio};
use crate::tables::line::Alteration;

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
        trio(
            &L12,
            || with(&L12, |made| made.circuit.lines[1].repeats = Some(Origin::default())),
            || clamps(2).outcome(&L12),
            AtLimit::None,
        ),
    ]
}
