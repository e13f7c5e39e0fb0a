//! What clamps press with and supports bear, and how long the strokes take.

use crate::physics::flow::{CLAMP_TIME, RETURN_FLOW, STEP_TIME};
use crate::physics::force::{ARM_FORCE, FRICTION_HOLDING, SUPPORT_STRENGTH};
use crate::physics::quantity::Pressure;
use crate::rules::contact_force::{arm, force_ratio, piece_force, spring_pressure};
use crate::tables::figures::Figure;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Side, Zone};

use super::workings::Workings;
use super::{Chapter, WorkStep};

pub(super) fn chapter(workings: &Workings) -> Chapter {
    let mut chapter = Chapter::new("Forces, each piece");
    let side = &workings.figures.clamp;
    let holding = &workings.figures.holding;
    let is_live = workings.service.charging() == Charging::Live;
    for joined in workings.inputs.joined_on(Side::Clamp).filter(|joined| joined.component.is_actuator()) {
        let zone = side.zone_of(joined.index);
        let is_of_clamps = zone == side.clamp_zone();
        let held = match zone {
            Zone::Charge => Some(Pressure::ZERO),
            _ if is_of_clamps => holding.hold,
            _ => holding.hold_full,
        };
        let states = [
            ("after charging", side.zone(zone).pressure),
            ("held", held.filter(|_| !is_live)),
            ("warm", side.zone(zone).hot),
        ];
        for (state, pressure) in states {
            let Some(pressure) = pressure else { continue };
            let force = piece_force(joined.line, joined.component, pressure);
            if force.is_none() && state != "after charging" {
                continue;
            }
            let mut step = WorkStep::new(format!("{}, {state}", workings.named(&joined)), force.map(Value::Force));
            step = if joined.component.is(Kind::Clamp) {
                step.by(ARM_FORCE.formula, of_clamp(workings, &joined, pressure))
            } else {
                let part = joined.component;
                let from = part.capacity_from.unwrap_or(Pressure::ZERO);
                let numbers = part.support_capacity.zip(part.rated_pressure).map(|(capacity, rated)| {
                    let [p, from, rated] = [pressure, from, rated].map(|pressure| workings.pressure(pressure));
                    format!("{} × ({p} − {from})/({rated} − {from})", workings.force(capacity))
                });
                step.by(SUPPORT_STRENGTH.formula, numbers.unwrap_or_default())
            };
            let because = if force.is_none() { "a figure of the part is not stated" } else { "" };
            chapter.add(step.because(because).from(workings.rows(&joined)).item());
        }
    }
    if workings.service.friction.is_some() {
        let step = WorkStep::new("Held by friction, R_f", workings.figures.friction.map(Value::Force));
        let numbers = format!(
            "{} × {} × Σ n F",
            workings.number(workings.plant.policy.limits.contacts),
            workings.number(workings.service.friction.unwrap_or_default())
        );
        let because = if workings.figures.friction.is_none() { "the force of a clamp is not known" } else { "" };
        let step = step.by(FRICTION_HOLDING.formula, numbers).because(because);
        chapter.add(step.from([workings.own_row()]).in_column("friction_N"));
    }
    chapter
}

fn of_clamp(workings: &Workings, joined: &crate::circuit::side::JoinedLine, pressure: Pressure) -> String {
    let part = joined.component;
    let Some(area) = part.area_clamp else { return String::new() };
    let spring = spring_pressure(part).filter(|spring| *spring > Pressure::ZERO);
    let net = spring.map_or_else(
        || workings.pressure(pressure),
        |spring| format!("({} − {})", workings.pressure(pressure), workings.pressure(spring)),
    );
    let arm = arm(joined.line, part)
        .filter(|arm| arm.factor > 0.0)
        .map(|arm| format!("/(1 + {}/mm × {})", arm.factor / 1e3, workings.length(arm.length - arm.rated_length)));
    format!("{} × {} × {net}{}", force_ratio(part), workings.area(area), arm.unwrap_or_default())
}

pub(super) fn times(workings: &Workings) -> Chapter {
    let mut chapter = Chapter::new("Times");
    let figures = workings.figures;
    let side = &figures.clamp;
    let gap = |figure: Figure| workings.gap(side, figure);
    let pump = workings.circuit.station(workings.plant).and_then(|station| workings.plant.pump_of(station));
    let flow = |flow| workings.shown(&Value::Flow(flow));
    let numbers = pump.and_then(|pump| Some((pump.flow?, pump.flow_high, side.group.swept?, side.group.demand?))).map(
        |(low, high, swept, demand)| {
            let ratio = side.chain.ratio.map(|ratio| workings.number(ratio)).unwrap_or_default();
            let (of_swept, rest) = (workings.volume(swept), workings.volume(demand - swept));
            format!("{ratio} × {of_swept}/{} + {ratio} × {rest}/{}", flow(low), flow(high.unwrap_or(low)))
        },
    );
    let clamp = WorkStep::new("Clamp time", figures.clamp_time.map(Value::Seconds));
    let because = if figures.clamp_time.is_none() { gap(Figure::ClampTime) } else { String::new() };
    let source = pump.map(|pump| workings.row(pump.origin)).unwrap_or_default();
    let clamp = clamp.by(CLAMP_TIME.formula, numbers.unwrap_or_default());
    chapter.add(clamp.because(because).from([source]).in_column("clamp_time_s"));
    for (step, time) in &figures.step_times {
        let step = WorkStep::new(format!("Time of step {step}"), time.map(Value::Seconds)).by(STEP_TIME.formula, "");
        chapter.add(step.item());
    }
    let unclamp = WorkStep::new("Unclamp time", figures.unclamp_time.map(Value::Seconds));
    let because = if figures.unclamp_time.is_none() {
        gap(Figure::UnclampTime)
    } else if figures.unclamp_is_bound {
        "at least: a valve on the way back states no kv".to_owned()
    } else {
        String::new()
    };
    let reynolds = figures.reynolds.map(|number| format!("Re = {number:.0} at the fastest")).unwrap_or_default();
    let unclamp = unclamp.by(RETURN_FLOW.formula, reynolds);
    chapter.add(unclamp.because(because).in_column("unclamp_time_s"));
    chapter
}
