//! The rule of sureness where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio};
use crate::tables::sureness::{Certainty, Sureness};

fn conforming_by(margin: f64) -> Outcome {
    let mut made = TestCircuit::single();
    made.figures.sureness = Some(Box::new(Sureness {
        certainty: Certainty::Narrowly,
        margin,
        rule: "H03",
        rule_name: "holding-pressure-below-lowest",
        side: None,
        line: None,
        probability: 0.9,
        is_drawn: false,
        deciding: Vec::new(),
        tipping: None,
    }));
    made.outcome(&S01)
}

pub fn trios() -> Vec<Trio> {
    vec![Trio {
        rule: &S01,
        fires: || conforming_by(1.0),
        quiet: || conforming_by(3.0),
        at_limit: AtLimit::Quiet(|times| conforming_by(2.0 * times)),
    }]
}

#[test]
fn what_does_not_conform_is_none_of_its_business() {
    assert!(conforming_by(-1.0).hits.is_empty());
}
