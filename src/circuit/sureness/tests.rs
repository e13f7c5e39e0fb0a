//! Where no value tips a verdict there is none, on the sample plant.

use super::*;
use crate::circuit::sample_sets::with_sample_sets;

#[test]
fn no_value_is_named_where_none_tips_the_verdict() {
    let (mut with, mut without) = (0, 0);
    with_sample_sets(|audits, set, doubt| {
        let mut doubt = doubt();
        let all: Vec<Vec<usize>> =
            set.iter().enumerate().map(|(circuit, index)| wanted(&doubt, circuit, &audits[*index])).collect();
        doubt.propagate(&all);
        for (circuit, index) in set.iter().enumerate() {
            let audit = &audits[*index];
            if certainly_not(&doubt, &all[circuit], audit).is_some() {
                continue;
            }
            let Some(sureness) = sureness_of(&mut doubt, circuit, audit, &all[circuit], true) else { continue };
            if !sureness.margin.is_finite() {
                continue;
            }
            if sureness.tipping.is_some() {
                with += 1;
                continue;
            }
            without += 1;
            tips_nowhere(&mut doubt, audit, &all[circuit]);
        }
    });
    assert!(with > 15 && without > 0, "{with} tip, {without} do not");
}

/// The first deciding datum leaves the verdict as it is, as far as it is looked for.
fn tips_nowhere(doubt: &mut Doubt, audit: &CircuitAudit, wanted: &[usize]) {
    let conforms = audit.verdict != Verdict::DoesNotConform;
    let counts = |place: &usize| (doubt.compared[*place].slack >= 0.0) == conforms;
    let candidates: Vec<usize> = wanted.iter().copied().filter(counts).collect();
    let least = doubt.least(&candidates).unwrap();
    let (datum, _) = ranked(doubt, least)[0];
    let mut slacks = Vec::new();
    for quarter in -48..=48 {
        let value = doubt.data[datum].away(f64::from(quarter) / 4.0);
        doubt.slacks_with(datum, value, &mut slacks);
        let keeps = wanted.iter().all(|place| slacks[*place] >= 0.0);
        assert_eq!(keeps, conforms, "{} at {value}", audit.circuit.key);
    }
}
