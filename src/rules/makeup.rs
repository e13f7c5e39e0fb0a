//! M: what a circuit is made of.

pub mod fit;
#[cfg(test)]
mod tests;

use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Severity};

use super::view::CircuitView;
use super::{Checks, Hit, Outcome, Rule, is_above};

pub static M01: Rule = Rule {
    code: "M01",
    name: "no-charging-cylinder",
    title: "Side has no charging cylinder",
    severity: Severity::Major,
    subject: Subject::Side,
    looks_for: "A side of a circuit charged by cylinder that has no charging cylinder.",
    why: "Nothing brings oil into the circuit: it gets no pressure.",
    remedy: "List the charging cylinder of the side, or state how the circuit is charged.",
    message: "The circuit is charged by cylinder, and its {side} side has no charging cylinder.[ What is there: {present}.]",
    limits: &[],
    basis: "common practice",
    passing: "Both sides of a double-acting circuit list a charging cylinder.",
    failing: "The unclamp side of a double-acting circuit lists none.",
    checks: Checks::circuit(no_cylinder),
};

fn no_cylinder(view: &CircuitView, outcome: &mut Outcome) {
    if view.circuit.lines.is_empty() || charging_is_unreadable(view, outcome) {
        return;
    }
    if view.charging() != Charging::Cylinder {
        return;
    }
    for side in view.figures.sides().filter(|side| side.cylinder.is_none()) {
        if side.kinds_are_known {
            outcome.hit(with_present(Hit::on_side(side.side), side));
        } else {
            outcome.lack(Some(side.side), None, Figure::Presence);
        }
    }
}

pub static M02: Rule = Rule {
    code: "M02",
    name: "several-charging-cylinders",
    title: "Side has more than one charging cylinder",
    severity: Severity::Minor,
    subject: Subject::Side,
    looks_for: "More than one piece of charging cylinder on a side.",
    why: "One drive ram pushes one cylinder. With several the strokes differ, and the first one's ratio is taken for all.",
    remedy: "Keep one charging cylinder per side; split the circuit where one is too small.",
    message: "The {side} side has {measured} charging cylinders, and {limit} is expected. Their capacities are added; ratio and return loss are those of the first.",
    limits: &[],
    basis: "common practice",
    passing: "The clamp side has one charging cylinder.",
    failing: "The clamp side lists a charging cylinder with the quantity 2.",
    checks: Checks::circuit(several_cylinders),
};

fn several_cylinders(view: &CircuitView, outcome: &mut Outcome) {
    for side in view.figures.sides().filter(|side| is_above(side.cylinder_pieces, 1.0)) {
        let pieces = Value::Number(side.cylinder_pieces);
        outcome.hit(Hit::on_side(side.side).against(pieces, Value::Number(1.0)));
    }
}

pub static M03: Rule = Rule {
    code: "M03",
    name: "no-check-valve",
    title: "Uncoupled circuit has no check valve",
    severity: Severity::Major,
    subject: Subject::Circuit,
    looks_for: "The clamp side of an uncoupled circuit without a check valve, listed or built in.",
    why: "Only a check valve keeps the oil in the circuit when the load station lets go.",
    remedy: "List the check valve, or enter it under `includes` of the part that has it built in.",
    message: "The circuit is uncoupled after charging, and its clamp side has no check valve, listed or built in.[ What is there: {present}.]",
    limits: &[],
    basis: "common practice",
    passing: "The clamp side lists a check valve, or a charging cylinder with one built in.",
    failing: "The clamp side lists a charging cylinder, tubes and clamps alone.",
    checks: Checks::circuit(no_check_valve),
};

fn no_check_valve(view: &CircuitView, outcome: &mut Outcome) {
    if !charging_is_unreadable(view, outcome) && view.charging().is_uncoupled() {
        missing_kind(view, &[Kind::CheckValve], outcome);
    }
}

pub static M04: Rule = Rule {
    code: "M04",
    name: "no-isolation-valve",
    title: "Uncoupled circuit has no isolation valve",
    severity: Severity::Major,
    subject: Subject::Circuit,
    looks_for: "The clamp side of an uncoupled circuit without an isolation valve, listed or built in.",
    why: "Without it the trapped oil can't be released by hand, at the machine or for maintenance.",
    remedy: "List the isolation valve, or enter it under `includes` of the part that has it built in.",
    message: "The circuit is uncoupled after charging, and its clamp side has no isolation valve, listed or built in, to release the trapped oil.[ What is there: {present}.]",
    limits: &[],
    basis: "common practice",
    passing: "The clamp side lists an isolation valve.",
    failing: "The clamp side lists a check valve, and nothing that releases the oil by hand.",
    checks: Checks::circuit(no_isolation_valve),
};

fn no_isolation_valve(view: &CircuitView, outcome: &mut Outcome) {
    if !charging_is_unreadable(view, outcome) && view.charging().is_uncoupled() {
        missing_kind(view, &[Kind::IsolationValve], outcome);
    }
}

pub static M05: Rule = Rule {
    code: "M05",
    name: "no-gauge-or-test-point",
    title: "Clamp side has no gauge and no test point",
    severity: Severity::Minor,
    subject: Subject::Circuit,
    looks_for: "A clamp side without a gauge or test point, listed or built in.",
    why: "Nobody can tell whether the pallet is under pressure or has lost it.",
    remedy: "List a gauge or a test point, or enter it under `includes` of the part that has it built in.",
    message: "The clamp side has neither a gauge nor a test point, listed or built in, to read its pressure.[ What is there: {present}.]",
    limits: &[],
    basis: "ISO 4413 (the pressure of a circuit can be verified)",
    passing: "The clamp side lists a test point.",
    failing: "The clamp side lists neither a gauge nor a test point.",
    checks: Checks::circuit(no_gauge),
};

fn no_gauge(view: &CircuitView, outcome: &mut Outcome) {
    missing_kind(view, &[Kind::Gauge, Kind::TestPoint], outcome);
}

pub static M10: Rule = Rule {
    code: "M10",
    name: "no-filter-behind-coupling",
    title: "Oil crosses a coupling and there is no filter",
    severity: Severity::Observation,
    subject: Subject::Circuit,
    looks_for: "A circuit charged through a coupling, or connected all the time, whose clamp side has no filter, listed or built in.",
    why: "With every coupling dirt may enter with the oil, and seats of valves that let dirt in leak.",
    remedy: "List a filter between the coupling and the check valve.",
    message: "Oil crosses a coupling (charging: {charging}), and the clamp side has no filter, listed or built in.[ What is there: {present}.]",
    limits: &[],
    basis: "ISO 4413 (contamination of the fluid is controlled)",
    passing: "A coupled circuit lists a filter behind its coupling.",
    failing: "A coupled circuit lists a coupling, a check valve and clamps.",
    checks: Checks::circuit(no_filter),
};

fn no_filter(view: &CircuitView, outcome: &mut Outcome) {
    if charging_is_unreadable(view, outcome) || view.charging() == Charging::Cylinder {
        return;
    }
    let before = outcome.hits.len();
    missing_kind(view, &[Kind::Filter], outcome);
    for hit in outcome.hits.iter_mut().skip(before) {
        hit.facts.push(("charging", Value::Text(view.charging().word().to_owned())));
    }
}

/// The clamp side has none of these kinds, listed or built in.
fn missing_kind(view: &CircuitView, kinds: &[Kind], outcome: &mut Outcome) {
    let side = &view.figures.clamp;
    if view.circuit.lines.is_empty() || kinds.iter().any(|kind| side.kinds.has(*kind)) {
        return;
    }
    if side.kinds_are_known {
        outcome.hit(with_present(Hit::here(), side));
    } else {
        outcome.lack(Some(side.side), None, Figure::Presence);
    }
}

/// With the kinds that the side does have.
fn with_present(hit: Hit, side: &SideFigures) -> Hit {
    let kinds: Vec<String> = side.kinds.iter().map(Kind::plain).collect();
    hit.fact_if("present", (!kinds.is_empty()).then_some(Value::List(kinds)))
}

/// How the circuit is charged was stated and can't be read.
fn charging_is_unreadable(view: &CircuitView, outcome: &mut Outcome) -> bool {
    let is_lost = view.service.is_unreadable("charging");
    if is_lost {
        outcome.lack(None, None, Figure::Cell);
    }
    is_lost
}
