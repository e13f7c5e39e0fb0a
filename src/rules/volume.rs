//! V: the oil that a side takes against what its charging cylinder gives.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use crate::physics::quantity::{Time, Volume};
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Severity};

use super::view::CircuitView;
use super::{Asked, At, Checks, Cure, Family, Hit, Outcome, RestsOn, Rule, is_above, is_below};

/// The family.
pub static FAMILY: Family = Family { letter: 'V', name: "Volumes", weighs: true, rules: &[&V01, &V02, &V03, &V04] };

pub static V01: Rule = Rule {
    family: &FAMILY,
    code: "V01",
    name: "fill-above-limit",
    title: "One stroke of oil does not fill the side",
    severity: Severity::Major,
    subject: Subject::Side,
    looks_for: "A fill (demand of the group / capacity of its charging cylinder) above limits.fill.",
    why: "Above it one stroke may end before the side is at its pressure: leaks and air that nobody counted take the rest.",
    remedy: "Take a charging cylinder with a larger capacity, shorten tubes and strokes, or split the circuit.",
    message: "The {side} side[ of a group of {members} circuits] takes {demand} of {capacity}: {demand} / {capacity} = {measured}, above the limit of {limit}.[ The usable oil is {usable}, {excess} less than the demand.][ This circuit takes {own} of it.] Demand = swept {swept} + compression {compression} + air {air}[ + dilation {dilation}][ + clamp elasticity {elastic}][ + accumulator {accumulator}].",
    limits: &["fill"],
    basis: "common practice",
    passing: "A demand of 90 cm³ from a cylinder with 100 cm³.",
    failing: "A demand of 95 cm³ from a cylinder with 100 cm³.",
    checks: Checks::circuit(overfull),
    cures: &[Cure::OtherCylinder, Cure::Split],
    live: Some("V01 fill above limit"),
    ..Rule::USUAL
};

fn overfull(view: &CircuitView, outcome: &mut Outcome) {
    let limit = view.limits().fill;
    for (side, fill) in known_fills(view, outcome) {
        if outcome.is_above(At::side(side.side), fill, limit) {
            let usable = side.usable;
            let excess = usable.zip(side.group.demand).map(|(usable, demand)| Value::Volume(demand - usable));
            let hit = Hit::on_side(side.side).against(Value::Ratio(fill), Value::Ratio(limit));
            let hit = hit.fact_if("usable", usable.map(Value::Volume)).fact_if("excess", excess);
            outcome.hit(with_demand(hit, side));
        }
    }
}

pub static V02: Rule = Rule {
    family: &FAMILY,
    code: "V02",
    name: "fill-near-limit",
    title: "Little oil is left in reserve",
    severity: Severity::Observation,
    subject: Subject::Side,
    looks_for: "A fill above limits.fill_watch and not above limits.fill.",
    why: "One more clamp or a longer tube takes the side over the limit.",
    remedy: "Plan a charging cylinder with a larger capacity before anything is added to the side.",
    message: "The {side} side[ of a group of {members} circuits] takes {demand} of {capacity}: {demand} / {capacity} = {measured}, above {limit} from which it is watched.[ {reserve} of usable oil are left.][ This circuit takes {own} of it.] Demand = swept {swept} + compression {compression} + air {air}[ + dilation {dilation}][ + clamp elasticity {elastic}][ + accumulator {accumulator}].",
    limits: &["fill_watch", "fill"],
    basis: "common practice",
    passing: "A demand of 85 cm³ from a cylinder with 100 cm³.",
    failing: "A demand of 88 cm³ from a cylinder with 100 cm³.",
    checks: Checks::circuit(nearly_full),
    live: Some("V02 fill close to limit"),
    ..Rule::USUAL
};

fn nearly_full(view: &CircuitView, outcome: &mut Outcome) {
    let limits = view.limits();
    for (side, fill) in known_fills(view, outcome) {
        if outcome.is_above(At::side(side.side), fill, limits.fill_watch) && !is_above(fill, limits.fill) {
            let hit = Hit::on_side(side.side).against(Value::Ratio(fill), Value::Ratio(limits.fill_watch));
            let reserve = side.reserve.filter(|_| is_below(fill, limits.fill)).map(Value::Volume);
            outcome.hit(with_demand(hit.fact_if("reserve", reserve), side));
        }
    }
}

pub static V03: Rule = Rule {
    family: &FAMILY,
    code: "V03",
    name: "cylinder-larger-than-needed",
    title: "A smaller charging cylinder would do",
    severity: Severity::Observation,
    subject: Subject::Side,
    looks_for: "A fill below limits.fill_low where a smaller charging cylinder of the component table, in its place, gains no major or minor finding.",
    why: "A larger cylinder than needed costs money, room and time at the load station.",
    remedy: "Take the smaller charging cylinder.",
    message: "The {side} side[ of a group of {members} circuits] takes {demand} of {capacity}: {demand} / {capacity} = {measured}, below {limit}.[ {smaller} would do.]",
    limits: &["fill_low"],
    basis: "common practice",
    passing: "A demand of 25 cm³ from a cylinder with 100 cm³.",
    failing: "A demand of 20 cm³ from a cylinder with 100 cm³, and the table has one with 40 cm³ that conforms.",
    checks: Checks::circuit(oversized),
    cures: &[Cure::SmallerCylinder],
    is_provisional: true,
    ..Rule::USUAL
};

/// Its hits are provisional: the part of the rule that asks for a smaller cylinder needs the circuit
/// audited again with it, which confirms them (with the fact `smaller`) or drops them.
fn oversized(view: &CircuitView, outcome: &mut Outcome) {
    let limit = view.limits().fill_low;
    for (side, fill) in known_fills(view, outcome) {
        if outcome.is_below(At::side(side.side), fill, limit) {
            let hit = Hit::on_side(side.side).against(Value::Ratio(fill), Value::Ratio(limit));
            outcome.hit(with_demand(hit, side));
        }
    }
}

pub static V04: Rule = Rule {
    family: &FAMILY,
    code: "V04",
    name: "filling-lasts-too-short",
    title: "A filling lasts too few days",
    severity: Severity::Minor,
    subject: Subject::Side,
    looks_for: "The reserve of a circuit charged by cylinder, with cycles_per_day and hold_time given, is lost by leaks in fewer than topup_days days.",
    why: "A closed circuit is never replenished: what leaks is missing at the next charging, until the stroke no longer fills the side.",
    remedy: "Replace the parts that leak most by tighter ones, take a larger charging cylinder, or plan to add oil more often.",
    message: "The reserve of {reserve} lasts {measured} days[ ({hours})] at {cycles_per_day} cycles a day; at least {limit} days are wanted.",
    limits: &["topup_days"],
    basis: "common practice",
    passing: "A reserve of 12 cm³ that lasts 45 days.",
    failing: "A reserve of 12 cm³ that lasts 10 days.",
    checks: Checks::circuit(short_lived_filling),
    figures: Asked { hot: true, cold: true, topup: true, ..Asked::SIDES },
    cures: &[Cure::OtherCylinder, Cure::TighterPart],
    rests_on: Some(RestsOn {
        data: "cycles_per_day with hold_time",
        are_stated: |view| view.figures.clamp.group.cycles_per_day.is_some() && view.service.hold_time.is_some(),
    }),
    ..Rule::USUAL
};

fn short_lived_filling(view: &CircuitView, outcome: &mut Outcome) {
    let Some((side, days)) = lasting(view, true, outcome) else { return };
    let limit = view.limits().topup_days;
    if outcome.is_below(At::side(side.side), days, limit) {
        let reserve = side.reserve.map(Value::Volume);
        let cycles = side.group.cycles_per_day.map(Value::Number);
        let hit = Hit::on_side(side.side).against(Value::Days(days), Value::Days(limit));
        // Nobody plans by hundredths of a day.
        let hours = (days < 2.0).then(|| Value::Minutes(Time::from_hours(days * 24.0)));
        outcome.hit(hit.fact_if("reserve", reserve).fact_if("hours", hours).fact_if("cycles_per_day", cycles));
    } else if side.group.topup_is_bound {
        outcome.lack(Some(side.side), None, Figure::Topup);
    }
}

/// The clamp side and the days that its filling lasts, where they are asked for and have an end; a figure
/// that is unknown is lacking.
///
/// * `asks_for_hold` – whether nothing is asked without a hold time
pub(super) fn lasting<'a>(
    view: &CircuitView<'a>,
    asks_for_hold: bool,
    outcome: &mut Outcome,
) -> Option<(&'a SideFigures, f64)> {
    let side = &view.figures.clamp;
    if view.charging() != Charging::Cylinder || side.lines.is_empty() {
        return None;
    }
    let service = view.service;
    // Without a hold time a filling has an end where relief valves alone let oil out.
    let is_held = service.hold_time.is_some() || side.group.topup_days.is_some() && !asks_for_hold;
    let given = [("cycles_per_day", side.group.cycles_per_day.is_some()), ("hold_time", is_held)];
    if given.into_iter().any(|(column, is_given)| !is_given && !service.is_unreadable(column)) {
        return None;
    }
    if side.group.topup_is_endless {
        if side.group.topup_is_bound {
            outcome.lack(Some(side.side), None, Figure::Topup);
        }
        return None;
    }
    if let Some((column, _)) = given.into_iter().find(|(column, _)| service.is_unreadable(column)) {
        outcome.lack_cell(None, None, Figure::Cell, service.origin, column);
        return None;
    }
    if side.group.topup_days.is_none() {
        outcome.lack(Some(side.side), None, Figure::Topup);
    }
    Some((side, side.group.topup_days?))
}

/// The sides of a circuit charged by cylinder whose fill is known; the others are lacking.
fn known_fills<'a>(
    view: &CircuitView<'a>,
    outcome: &mut Outcome,
) -> impl Iterator<Item = (&'a SideFigures, f64)> + use<'a> {
    let mut known = [None; 2];
    if view.charging() == Charging::Cylinder && !view.circuit.lines.is_empty() {
        for (slot, side) in known.iter_mut().zip(view.figures.sides()) {
            *slot = side.fill.map(|fill| (side, fill));
            if side.fill.is_none() {
                outcome.lack(Some(side.side), None, Figure::Fill);
            }
        }
    }
    known.into_iter().flatten()
}

/// With demand, capacity and what the demand is made of; what is 0 and optional is left out.
fn with_demand(hit: Hit, side: &SideFigures) -> Hit {
    let volumes = &side.volumes;
    let above_zero = |volume: Option<Volume>| volume.filter(|volume| volume.si() > 0.0).map(Value::Volume);
    let is_shared = side.group.members > 1;
    hit.fact_if("demand", side.group.demand.map(Value::Volume))
        .fact_if("members", is_shared.then(|| Value::Count(side.group.members.into())))
        .fact_if("own", volumes.demand.filter(|_| is_shared).map(Value::Volume))
        .fact_if("capacity", volumes.capacity.map(Value::Volume))
        .fact_if("swept", volumes.swept.map(Value::Volume))
        .fact_if("compression", volumes.compression.map(Value::Volume))
        .fact_if("air", volumes.air.map(Value::Volume))
        .fact_if("dilation", above_zero(volumes.dilation))
        .fact_if("elastic", above_zero(volumes.elastic))
        .fact_if("accumulator", above_zero(volumes.accumulator))
}
