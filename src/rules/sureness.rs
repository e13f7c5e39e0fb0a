//! S: how sure a verdict is.

#[cfg(test)]
pub(crate) mod trios;

use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::Severity;

use super::view::CircuitView;
use super::{Checks, Family, Hit, Outcome, Rule, is_below};

/// The family.
pub static FAMILY: Family = Family { letter: 'S', name: "Sureness", weighs: true, rules: &[&S01] };

pub static S01: Rule = Rule {
    family: &FAMILY,
    code: "S01",
    name: "conforms-narrowly",
    title: "Circuit conforms by less than its uncertainty lets tell",
    severity: Severity::Observation,
    subject: Subject::Circuit,
    looks_for: "A circuit that conforms with less than limits.sure standard uncertainties between a figure and its limit; looked at only with `--sure`.",
    why: "Oil stiffness, free air, leaks, temperatures and catalogue figures are known to within a spread. So near to a limit the circuit may as well be beyond it.",
    remedy: "Measure the datum that decides most and state how far it is known, or keep more distance from the limit.",
    message: "The circuit conforms by {measured} standard uncertainties, and {limit} are wanted of a sure verdict. Nearest is the limit of {nearest}[ at position {nearest_position}], kept with a probability of {probability}.[ Most of the doubt, {share} of the variance, comes from {datum}][, and at {tips_at} instead of {tips_from} the verdict tips].[{drawn} The figure bends within its uncertainty; it was drawn at random instead of propagated.]",
    limits: &["sure"],
    basis: "JCGM 100 (propagation of uncertainty), JCGM 101 (draws at random), JCGM 106 (conformity), ISO 14253-1",
    passing: "A hold pressure of 140 bar, uncertain by 10 bar, and a pressure_min of 120 bar: 2 standard uncertainties.",
    failing: "A hold pressure of 130 bar, uncertain by 10 bar, and a pressure_min of 120 bar: 1 standard uncertainty.",
    checks: Checks::circuit(conforms_narrowly),
    ..Rule::USUAL
};

fn conforms_narrowly(view: &CircuitView, outcome: &mut Outcome) {
    let Some(sureness) = &view.figures.sureness else { return };
    let wanted = view.limits().sure;
    if sureness.margin < 0.0 || !is_below(sureness.margin, wanted) {
        return;
    }
    let units = view.plant.policy.units;
    let text = |text: String| Value::Text(text);
    let position = sureness.line.and_then(|line| view.circuit.lines.get(line)).map(|line| line.position.to_string());
    let first = sureness.deciding.first();
    let tipping = sureness.tipping.as_ref();
    outcome.hit(
        Hit::here()
            .against(Value::Number(sureness.margin), Value::Number(wanted))
            .fact("nearest", text(format!("{} {}", sureness.rule, sureness.rule_name)))
            .fact_if("nearest_position", position.filter(|position| !position.is_empty()).map(text))
            .fact("probability", Value::Ratio(sureness.probability))
            .fact_if("share", first.map(|first| Value::Ratio(first.share)))
            .fact_if("datum", first.map(|first| text(first.datum.clone())))
            .fact_if("tips_at", tipping.map(|tips| text(tips.measure.shown_apart(tips.now, tips.at, units).1)))
            .fact_if("tips_from", tipping.map(|tips| text(tips.measure.shown_apart(tips.now, tips.at, units).0)))
            .fact_if("drawn", sureness.is_drawn.then(|| text(String::new()))),
    );
}
