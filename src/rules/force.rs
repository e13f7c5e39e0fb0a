//! Rules on what clamps press with and what stands under them.

use crate::physics::quantity::{Force, Pressure};
use crate::tables::component::Component;
use crate::tables::figures::Figure;
use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Severity, Side};

use super::contact_force::{force_ratio, line_force, line_support_capacity, piece_force, spring_pressure};
use super::view::{CircuitView, Fitted};
use super::{Asked, Checks, Cure, Family, Hit, Outcome, Rule, is_above, is_below};

/// The family.
pub static FAMILY: Family = Family { letter: 'F', name: "Forces", weighs: true };

pub static F01: Rule = Rule {
    family: &FAMILY,
    code: "F01",
    name: "force-below-required",
    title: "Force below what is required",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "The contact force of a piece at the holding pressure (at the charge pressure in a live circuit) is below force_required.",
    why: "The force that counts is the one that is left at the end of the hold, in the cold. \
          With less than the process needs, the workpiece moves under the tool.",
    remedy: "Choose a clamp with a larger piston area, charge higher, or raise the holding pressure: \
             an accumulator, tighter valves, a shorter hold.",
    message: "At {pressure_name} of {pressure}[, less {return_pressure} for the return spring], one piece gives \
              [{net_pressure} x {area} x {force_ratio} = ][{support_capacity} x {pressure} / {rated_pressure} = ]{measured}. \
              Required are {limit}: {limit} - {measured} = {shortfall} short.",
    limits: &[],
    basis: "common practice",
    passing: "At the holding pressure of 160 bar, less 10 bar for the spring, 150 bar x 1000 mm² x 0.9 = 13 500 N; required are 12 000 N.",
    failing: "At the holding pressure of 120 bar, less 10 bar for the spring, 110 bar x 1000 mm² x 0.9 = 9 900 N; required are 12 000 N.",
    checks: Checks::circuit(force_below_required),
    figures: Asked { cold: true, hold: true, ..Asked::SIDES },
    cures: &[Cure::OtherPart, Cure::SettingNeeded],
    ..Rule::USUAL
};

/// The pressure that a force is worked out at.
struct Grip {
    pressure: Pressure,
    name: &'static str,
    /// Whether the pressure can't turn out lower, so that a force that suffices surely does.
    is_certain: bool,
}

fn force_below_required(view: &CircuitView, outcome: &mut Outcome) {
    let grip = grip(view);
    for fitted in contacts(view) {
        let Some(required) = fitted.line.force_required else { continue };
        let (side, line) = (Some(Side::Clamp), Some(fitted.index));
        let Some(grip) = &grip else {
            outcome.lack(side, line, Figure::Charge);
            continue;
        };
        let Some(force) = piece_force(fitted.component, grip.pressure) else {
            outcome.lack(side, line, Figure::Force);
            continue;
        };
        if is_below(force.si(), required.si()) {
            let hit = Hit::on_line(fitted.index)
                .in_column("force_required")
                .against(Value::Force(force), Value::Force(required))
                .fact("pressure_name", Value::Text(grip.name.to_owned()))
                .fact("shortfall", Value::Force(required - force));
            outcome.hit(with_arithmetic(hit, fitted.component, grip.pressure));
        } else if !grip.is_certain {
            outcome.lack(side, line, Figure::Hold);
        }
    }
}

fn grip(view: &CircuitView) -> Option<Grip> {
    let at =
        |pressure: Option<Pressure>, name, is_certain| pressure.map(|pressure| Grip { pressure, name, is_certain });
    let holding = &view.figures.holding;
    let charge = view.figures.clamp.chain.charge;
    if view.charging() == Charging::Live {
        return at(charge, "the charge pressure", true);
    }
    at(holding.hold, "the holding pressure", !holding.hold_is_bound)
        .or_else(|| at(holding.cold, "the pressure at the lowest temperature", false))
        .or_else(|| at(charge, "the charge pressure", false))
}

pub static F02: Rule = Rule {
    family: &FAMILY,
    code: "F02",
    name: "force-above-rating",
    title: "Force above what the part may exert",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "The contact force of a piece at the higher of the charge pressure and the pressure at the highest temperature is above force_max.",
    why: "A clamp that presses harder than it is made for bends its arm, marks the workpiece or breaks, \
          and the warm end of the shift is when it happens.",
    remedy: "Choose a clamp with a higher force_max or a smaller piston area, or lower the pressure that it sees: \
             a reducing valve, a lower pump setting, a relief valve against heat.",
    message: "At {pressure_name} of {pressure}[, less {return_pressure} for the return spring], one piece gives \
              [{net_pressure} x {area} x {force_ratio} = ][{support_capacity} x {pressure} / {rated_pressure} = ]{measured}. \
              It may exert {limit}: {measured} - {limit} = {excess} too much.",
    limits: &[],
    basis: "common practice",
    passing: "At the charge pressure of 200 bar, 200 bar x 1000 mm² x 1 = 20 000 N; the clamp may exert 24 000 N.",
    failing: "At the pressure at the highest temperature of 260 bar, 260 bar x 1000 mm² x 1 = 26 000 N; the clamp may exert 24 000 N.",
    checks: Checks::circuit(force_above_rating),
    figures: Asked { hot: true, ..Asked::SIDES },
    cures: &[Cure::OtherPart, Cure::LowerSetting],
    ..Rule::USUAL
};

fn force_above_rating(view: &CircuitView, outcome: &mut Outcome) {
    let is_heated = view.charging() != Charging::Live
        && (view.service.temp_max.is_some() || view.service.is_unreadable("temp_max"));
    let hot = view.figures.holding.hot.filter(|_| is_heated);
    let charge = view.figures.clamp.chain.charge;
    let highest = match (charge, hot) {
        (Some(charge), Some(hot)) if hot > charge => Some((hot, "the pressure at the highest temperature")),
        (Some(charge), _) => Some((charge, "the charge pressure")),
        (None, hot) => hot.map(|hot| (hot, "the pressure at the highest temperature")),
    };
    for fitted in contacts(view) {
        let Some(limit) = fitted.component.force_max else { continue };
        let (side, line) = (Some(Side::Clamp), Some(fitted.index));
        let Some((pressure, name)) = highest else {
            outcome.lack(side, line, Figure::Charge);
            continue;
        };
        let Some(force) = piece_force(fitted.component, pressure) else {
            outcome.lack(side, line, Figure::Force);
            continue;
        };
        if is_above(force.si(), limit.si()) {
            let hit = Hit::on_line(fitted.index)
                .against(Value::Force(force), Value::Force(limit))
                .fact("pressure_name", Value::Text(name.to_owned()))
                .fact("excess", Value::Force(force - limit));
            outcome.hit(with_arithmetic(hit, fitted.component, pressure));
        } else if is_heated && hot.is_none() {
            outcome.lack(side, line, Figure::Hot);
        }
    }
}

pub static F03: Rule = Rule {
    family: &FAMILY,
    code: "F03",
    name: "work-support-overloaded",
    title: "Work support too weak for the clamps above it",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "What a work support bears at the charge pressure is below support_factor times its part of the force of the clamps at the positions it stands under.",
    why: "A work support that gives way under the clamp lets the workpiece bend, and the cut follows the bend. \
          The margin is for the cutting force, which comes on top.",
    remedy: "Choose a work support with more capacity, set another one under the same position, \
             or choose a clamp with less force there.",
    message: "{qty} x {support_capacity} x {charge} / {rated_pressure} = {measured} is what the support bears. \
              The clamps at {positions} press with {clamp_force}, of which it takes {load}: \
              {factor} x {load} = {limit}, {limit} - {measured} = {shortfall} short.",
    limits: &["support_factor"],
    basis: "common practice",
    passing: "1 x 10 000 N x 210 bar / 350 bar = 6 000 N; the clamp above presses with 3 600 N: 1.5 x 3 600 = 5 400 N.",
    failing: "1 x 10 000 N x 210 bar / 350 bar = 6 000 N; the clamp above presses with 5 000 N: 1.5 x 5 000 = 7 500 N.",
    checks: Checks::circuit(support_overloaded),
    cures: &[Cure::OtherPart],
    ..Rule::USUAL
};

fn support_overloaded(view: &CircuitView, outcome: &mut Outcome) {
    let factor = view.limits().support_factor;
    let supports = view.sound_of(Kind::WorkSupport).filter(|fitted| !fitted.line.supports.is_empty());
    for fitted in supports {
        let (side, line) = (Some(Side::Clamp), Some(fitted.index));
        let Some(charge) = view.figures.clamp.chain.charge else {
            outcome.lack(side, line, Figure::Charge);
            continue;
        };
        let Some(borne) = line_force(fitted.line, fitted.component, charge) else {
            outcome.lack(side, line, Figure::Force);
            continue;
        };
        let Some(load) = load_on(view, fitted) else {
            outcome.lack(side, line, Figure::SupportLoad);
            continue;
        };
        let needed = load.taken * factor;
        if is_below(borne.si(), needed.si()) {
            let hit = Hit::on_line(fitted.index)
                .in_column("supports")
                .against(Value::Force(borne), Value::Force(needed))
                .fact_if("qty", fitted.line.qty.value().map(Value::Number))
                .fact_if("support_capacity", fitted.component.support_capacity.map(Value::Force))
                .fact("charge", Value::Pressure(charge))
                .fact_if("rated_pressure", fitted.component.rated_pressure.map(Value::Pressure))
                .fact("positions", Value::List(load.positions))
                .fact("clamp_force", Value::Force(load.pressed))
                .fact("load", Value::Force(load.taken))
                .fact("factor", Value::Number(factor))
                .fact("shortfall", Value::Force(needed - borne));
            outcome.hit(hit);
        }
    }
}

/// What clamps put on a work support.
struct Load {
    /// Where it stands under, each named once.
    positions: Vec<String>,
    /// By all clamps there.
    pressed: Force,
    /// Its part of it.
    taken: Force,
}

/// `None` where a position has no clamp, or a clamp or a support there is unknown.
fn load_on(view: &CircuitView, support: Fitted) -> Option<Load> {
    let capacity = line_support_capacity(support.line, support.component)?;
    let mut load = Load { positions: Vec::new(), pressed: Force::ZERO, taken: Force::ZERO };
    for position in &support.line.supports {
        if load.positions.contains(position) {
            continue;
        }
        let pressed = clamp_force_at(view, position)?;
        load.pressed += pressed;
        load.taken += pressed * (capacity / capacity_under(view, position)?);
        load.positions.push(position.clone());
    }
    Some(load)
}

fn clamp_force_at(view: &CircuitView, position: &str) -> Option<Force> {
    let components = &view.plant.components;
    let mut forces = Vec::new();
    for line in view.circuit.lines.iter().filter(|line| line.position == position) {
        match line.component(components) {
            Some(component) if component.kind.is_some_and(|kind| kind != Kind::Clamp) => {}
            Some(component) if !line.is_set_aside(components) => {
                forces.push(line_force(line, component, view.figures.clamp.chain.charge?)?);
            }
            // Set aside, or of an unknown part that may be a clamp.
            _ => return None,
        }
    }
    for neighbour in view.neighbours.iter().filter(|neighbour| neighbour.position == position) {
        forces.push(neighbour.force?);
    }
    (!forces.is_empty()).then(|| forces.iter().sum())
}

fn capacity_under(view: &CircuitView, position: &str) -> Option<Force> {
    let components = &view.plant.components;
    let stands_there = |supports: &[String]| supports.iter().any(|supported| supported == position);
    let mut total = Force::ZERO;
    for line in view.circuit.lines.iter().filter(|line| stands_there(&line.supports)) {
        match line.component(components) {
            Some(component) if component.kind.is_some_and(|kind| kind != Kind::WorkSupport) => {}
            Some(component) if !line.is_set_aside(components) => total += line_support_capacity(line, component)?,
            _ => return None,
        }
    }
    for neighbour in view.neighbour_supports.iter().filter(|neighbour| stands_there(&neighbour.supports)) {
        total += neighbour.capacity?;
    }
    Some(total)
}

/// Clamps and work supports that are not set aside.
fn contacts<'a>(view: &'a CircuitView<'a>) -> impl Iterator<Item = Fitted<'a>> {
    view.sound().filter(|fitted| fitted.component.is_actuator())
}

/// The figures of the force's formula, of the clamp's or of the work support's.
fn with_arithmetic(hit: Hit, component: &Component, pressure: Pressure) -> Hit {
    let hit = hit.fact("pressure", Value::Pressure(pressure));
    if component.is(Kind::WorkSupport) {
        return hit
            .fact_if("support_capacity", component.support_capacity.map(Value::Force))
            .fact_if("rated_pressure", component.rated_pressure.map(Value::Pressure));
    }
    let spring = spring_pressure(component).filter(|spring| *spring > Pressure::ZERO);
    let net = (pressure - spring.unwrap_or(Pressure::ZERO)).max(Pressure::ZERO);
    hit.fact_if("return_pressure", spring.map(Value::Pressure))
        .fact("net_pressure", Value::Pressure(net))
        .fact_if("area", component.area_clamp.map(Value::Area))
        .fact("force_ratio", Value::Number(force_ratio(component)))
}

#[cfg(test)]
mod tests;
