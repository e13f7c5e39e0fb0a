//! Rules on how long clamping and unclamping take.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use crate::physics::quantity::{Pressure, Time};
use crate::tables::component::Component;
use crate::tables::figures::Figure;
use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Severity, Side};

use super::view::CircuitView;
use super::{Asked, At, Checks, Cure, Family, Hit, Outcome, RestsOn, Rule};

/// The family.
pub static FAMILY: Family = Family { letter: 'T', name: "Times", weighs: true, rules: &[&T01, &T02, &T03] };

/// Reynolds number above which flow in a pipe is no longer surely laminar.
const LAMINAR_TO: f64 = 2300.0;

pub static T01: Rule = Rule {
    family: &FAMILY,
    code: "T01",
    name: "clamp-time-above-limit",
    title: "Clamp time above its limit",
    severity: Severity::Minor,
    subject: Subject::Circuit,
    looks_for: "The time that the station's pump needs to fill the clamp sides of the circuit's group is above clamp_time_max.",
    why: "The load station is shared: a circuit that fills slowly holds up every pallet behind it.",
    remedy: "Fit a pump with more flow, shorten the strokes used, or split the circuit into two.",
    message: "The clamp time is [{ratio} × {swept} / {flow} + {ratio} × {rest} / {flow_high} = ]{measured}. \
              The limit is {limit}: {measured} - {limit} = {excess} too long.",
    limits: &[],
    basis: "common practice",
    passing: "2 x 60 cm³ / 2 L/min + 2 x 12 cm³ / 0.5 L/min = 6.48 s; the limit is 8 s.",
    failing: "2 x 60 cm³ / 2 L/min + 2 x 12 cm³ / 0.5 L/min = 6.48 s; the limit is 5 s.",
    checks: Checks::circuit(clamp_time_above_limit),
    figures: Asked { times: true, ..Asked::SIDES },
    cures: &[Cure::OtherPump],
    rests_on: Some(RestsOn { data: "clamp_time_max", are_stated: |view| view.service.clamp_time_max.is_some() }),
    ..Rule::USUAL
};

fn clamp_time_above_limit(view: &CircuitView, outcome: &mut Outcome) {
    let given = view.service.clamp_time_max;
    let Some((time, limit)) = asked(view, "clamp_time_max", given, view.figures.clamp_time, Figure::ClampTime, outcome)
    else {
        return;
    };
    let side = &view.figures.clamp;
    let pump = view.station().and_then(|station| view.plant.pump_of(station));
    let flow = pump.and_then(|pump| pump.flow);
    let rest = side.group.demand.zip(side.group.swept).map(|(demand, swept)| demand - swept);
    let hit = late(time, limit)
        .fact_if("ratio", side.chain.ratio.map(Value::Number))
        .fact_if("swept", side.group.swept.map(Value::Volume))
        .fact_if("flow", flow.map(Value::Flow))
        .fact_if("rest", rest.map(Value::Volume))
        .fact_if("flow_high", pump.and_then(|pump| pump.flow_high).or(flow).map(Value::Flow));
    outcome.hit(hit);
}

pub static T02: Rule = Rule {
    family: &FAMILY,
    code: "T02",
    name: "unclamp-time-above-limit",
    title: "Unclamp time above its limit",
    severity: Severity::Minor,
    subject: Subject::Circuit,
    looks_for: "The time that the return springs need to press the swept oil back through the lines is above unclamp_time_max.",
    why: "A clamp that is still on its way when the workpiece is lifted is struck by it. \
          Cold oil, long thin lines and weak springs make it slow.",
    remedy: "Choose lines with a larger bore, shorten them, or choose clamps with a stronger return spring.",
    message: "The unclamp time is {measured}[, in which a spring pressure of {return_pressure} presses {swept} back through the lines]. \
              The limit is {limit}: {measured} - {limit} = {excess} too long.\
              [ With a Reynolds number of {reynolds}, above 2300, the flow may be turbulent and then takes longer still.]",
    limits: &[],
    basis: "common practice",
    passing: "60 cm³ go back with a spring pressure of 4 bar in 2.1 s; the limit is 3 s.",
    failing: "60 cm³ go back with a spring pressure of 1.5 bar in 5.6 s; the limit is 3 s.",
    checks: Checks::circuit(unclamp_time_above_limit),
    figures: Asked { times: true, ..Asked::SIDES },
    cures: &[Cure::WiderConductor],
    rests_on: Some(RestsOn { data: "unclamp_time_max", are_stated: |view| view.service.unclamp_time_max.is_some() }),
    ..Rule::USUAL
};

fn unclamp_time_above_limit(view: &CircuitView, outcome: &mut Outcome) {
    let given = view.service.unclamp_time_max;
    let Some((time, limit)) =
        asked(view, "unclamp_time_max", given, view.figures.unclamp_time, Figure::UnclampTime, outcome)
    else {
        return;
    };
    let hit = late(time, limit)
        .fact_if("swept", view.figures.clamp.volumes.swept.map(Value::Volume))
        .fact_if("return_pressure", weakest_spring(view).map(Value::Pressure))
        .fact_if(
            "reynolds",
            view.figures.reynolds.filter(|number| *number > LAMINAR_TO).map(|number| Value::Number(number.round())),
        );
    outcome.hit(hit);
}

pub static T03: Rule = Rule {
    family: &FAMILY,
    code: "T03",
    name: "step-faster-than-clamp-allows",
    title: "Clamp moves faster than it may",
    severity: Severity::Minor,
    subject: Subject::Line,
    looks_for: "The time of a clamp's step of the clamping sequence is below its time_min.",
    why: "A clamp that swings or strikes too fast wears its guide, bends its arm or pushes the workpiece off its rest.",
    remedy: "Fit a flow control, take a pump with less flow, or let more clamps move in the same step.",
    message: "The clamp {part}[ at position {position}] moves in step {step}, which takes {measured}; it may not take less than {limit}: {limit} - {measured} = {shortfall} too short.",
    limits: &[],
    basis: "common practice",
    passing: "A step of 0.6 s; the clamp may not move in less than 0.5 s.",
    failing: "A step of 0.3 s; the clamp may not move in less than 0.5 s.",
    checks: Checks::circuit(step_too_fast),
    figures: Asked { times: true, ..Asked::SIDES },
    rests_on: Some(RestsOn {
        data: "time_min of a clamp",
        are_stated: |view| view.sound_of(Kind::Clamp).any(|fitted| fitted.component.time_min.is_some()),
    }),
    ..Rule::USUAL
};

fn step_too_fast(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| {
        let is_given = fitted.component.time_min.is_some() || fitted.component.is_unreadable("time_min");
        fitted.component.is(Kind::Clamp) && is_given
    });
    for fitted in view.sound_of(Kind::Clamp) {
        let Some(least) = fitted.component.time_min else { continue };
        let step = fitted.line.step_with(fitted.component);
        let times = &view.figures.step_times;
        let time = times.iter().find(|(of, _)| of.total_cmp(&step).is_eq()).and_then(|(_, time)| *time);
        let Some(time) = time else {
            outcome.lack(Some(Side::Clamp), Some(fitted.index), Figure::ClampTime);
            continue;
        };
        if outcome.is_below(At::line(fitted.index), time, least) {
            outcome.hit(
                Hit::on_line(fitted.index)
                    .against(Value::Seconds(time), Value::Seconds(least))
                    .fact("step", Value::Number(step))
                    .fact("shortfall", Value::Seconds(least - time)),
            );
        }
    }
}

/// The time and its limit, where the limit is given and the time is above it.
fn asked(
    view: &CircuitView,
    column: &'static str,
    limit: Option<Time>,
    time: Option<Time>,
    figure: Figure,
    outcome: &mut Outcome,
) -> Option<(Time, Time)> {
    let Some(limit) = limit else {
        if view.service.is_unreadable(column) {
            outcome.lack_cell(None, None, Figure::Cell, view.service.origin, column);
        }
        return None;
    };
    let Some(time) = time else {
        outcome.lack(None, None, figure);
        return None;
    };
    outcome.is_above(At::HERE, time, limit).then_some((time, limit))
}

fn late(time: Time, limit: Time) -> Hit {
    Hit::here().against(Value::Seconds(time), Value::Seconds(limit)).fact("excess", Value::Seconds(time - limit))
}

/// The lowest return pressure of the clamps that state one, above 0.
fn weakest_spring(view: &CircuitView) -> Option<Pressure> {
    view.sound()
        .map(|fitted| fitted.component)
        .filter(|component: &&Component| component.is(Kind::Clamp))
        .filter_map(|component| component.return_pressure)
        .filter(|pressure| *pressure > Pressure::ZERO)
        .min_by(|a, b| a.total_cmp(*b))
}
