//! P09, P10 and P12: settings of valves and scales of gauges.

use crate::physics::quantity::Pressure;
use crate::rules::view::{CircuitView, Fitted};
use crate::rules::{Checks, Hit, Outcome, Rule, is_above, is_below};
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Severity};

use super::on_line_of_side;

pub static P09: Rule = Rule {
    code: "P09",
    name: "sequence-valve-setting-out-of-range",
    title: "Sequence valve opens too late or too early",
    severity: Severity::Minor,
    subject: Subject::Line,
    looks_for: "A sequence valve set above sequence_high of the charge pressure, or below the lowest min_pressure of the side's clamps.",
    why: "Set too high it may not open before the stroke ends; set too low it opens before the first clamps have moved.",
    remedy: "Set the sequence valve between the lowest min_pressure of the clamps and sequence_high of the charge pressure.",
    message: "The sequence valve {part}[ at position {position}] is set to {measured},[ above {share} × charge pressure {charge} = {limit}.][ below {limit}, the {lowest_of} of the clamps on the {side} side.]",
    limits: &["sequence_high"],
    basis: "common practice",
    passing: "A sequence valve set to 180 bar at a charge pressure of 200 bar.",
    failing: "A sequence valve set to 190 bar at a charge pressure of 200 bar.",
    checks: Checks::circuit(odd_sequence),
};

fn odd_sequence(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.sound_of(Kind::SequenceValve) {
        let Some(setting) = setting(fitted) else {
            outcome.lack(None, Some(fitted.index), Figure::Setting);
            continue;
        };
        let sides = view.sides_of(fitted);
        let worse = Worse::of(sides, |side| sequence_on(view, fitted, setting, side));
        worse.report(fitted, outcome);
    }
}

fn sequence_on<'a>(view: &CircuitView, fitted: Fitted, setting: Pressure, side: &'a SideFigures) -> Found<'a> {
    let share = view.limits().sequence_high;
    let hit = || on_line_of_side(fitted, side.side);
    if let Some(charge) = side.chain.charge {
        let limit = charge * share;
        if is_above(setting.si(), limit.si()) {
            let hit = hit()
                .against(Value::Pressure(setting), Value::Pressure(limit))
                .fact("share", Value::Ratio(share))
                .fact("charge", Value::Pressure(charge));
            return Found::Hit(setting.si() - limit.si(), hit);
        }
    }
    if let Some(least) = lowest_min_pressure(view, side)
        && is_below(setting.si(), least.si())
    {
        let words = Value::Text("lowest min_pressure".to_owned());
        let hit = hit().against(Value::Pressure(setting), Value::Pressure(least)).fact("lowest_of", words);
        return Found::Hit(least.si() - setting.si(), hit);
    }
    if side.chain.charge.is_none() { Found::Lack(side, Figure::Charge) } else { Found::Fine }
}

/// The lowest `min_pressure` of the clamps on a side that state one.
fn lowest_min_pressure(view: &CircuitView, side: &SideFigures) -> Option<Pressure> {
    view.fitted_of(Kind::Clamp)
        .filter(|fitted| side.lines.binary_search(&fitted.index).is_ok())
        .filter_map(|fitted| fitted.component.min_pressure)
        .reduce(Pressure::min)
}

pub static P10: Rule = Rule {
    code: "P10",
    name: "relief-valve-setting-out-of-range",
    title: "Relief valve opens too late or too early",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A relief valve set above the weakest rating of its side, or at or below the pressure where it sits.",
    why: "Set too high it protects nothing; set at or below the pressure it opens at every charging and lets the oil out.",
    remedy: "Set the relief valve above the pressure where it sits and not above the weakest rating.",
    message: "The relief valve {part}[ at position {position}] is set to {measured},[ above the weakest rating of the {side} side, {limit} of {weakest_part}.][ not above the {limit} {that_it_sees} on the {side} side.]",
    limits: &[],
    basis: "ISO 4413 (protection against excess pressure)",
    passing: "A relief valve set to 330 bar at a charge pressure of 300 bar and a weakest rating of 350 bar.",
    failing: "A relief valve set to 300 bar at a charge pressure of 300 bar.",
    checks: Checks::circuit(odd_relief),
};

fn odd_relief(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.sound_of(Kind::ReliefValve) {
        let Some(setting) = setting(fitted) else {
            outcome.lack(None, Some(fitted.index), Figure::Setting);
            continue;
        };
        let worse = Worse::of(view.sides_of(fitted), |side| relief_on(view, fitted, setting, side));
        worse.report(fitted, outcome);
    }
}

fn relief_on<'a>(view: &CircuitView, fitted: Fitted, setting: Pressure, side: &'a SideFigures) -> Found<'a> {
    let is_reduced = fitted.line.is_reduced(fitted.component.kind);
    let hit = || on_line_of_side(fitted, side.side);
    let there = side.pressure_at(is_reduced);
    if let Some(weakest) = side.chain.weakest
        && is_above(setting.si(), weakest.pressure.si())
    {
        let line = view.circuit.lines.get(weakest.line);
        let part = line.and_then(|line| line.component(&view.plant.components));
        let part = part.map_or_else(String::new, |part| part.part_no.clone());
        let hit = hit()
            .against(Value::Pressure(setting), Value::Pressure(weakest.pressure))
            .fact("weakest_part", Value::Text(part));
        return Found::Hit(setting.si() - weakest.pressure.si(), hit);
    }
    if let Some(there) = there
        && !is_above(setting.si(), there.si())
    {
        let is_before = !is_reduced && side.chain.reducing.is_some();
        let words = if is_before { "that it sees before the reducing valve" } else { "that it sees" };
        let hit = hit()
            .against(Value::Pressure(setting), Value::Pressure(there))
            .fact("that_it_sees", Value::Text(words.to_owned()));
        return Found::Hit(there.si() - setting.si(), hit);
    }
    if there.is_none() {
        return Found::Lack(side, if is_reduced { Figure::Charge } else { Figure::Full });
    }
    if side.chain.weakest.is_none() { Found::Lack(side, Figure::Weakest) } else { Found::Fine }
}

pub static P12: Rule = Rule {
    code: "P12",
    name: "gauge-range-unsuited",
    title: "Gauge reads outside its good range",
    severity: Severity::Minor,
    subject: Subject::Line,
    looks_for: "A pressure outside gauge_low to gauge_high of a gauge's full scale.",
    why: "Near the foot of its scale a gauge is coarse, near the top it wears and is soon overloaded.",
    remedy: "Take a gauge whose full scale puts the pressure near the middle.",
    message: "The gauge {part}[ at position {position}] sees {measured}[ on the {side} side],[ above {share_high} × full scale {full_scale} = {limit}.][ below {share_low} × full scale {full_scale} = {limit}.]",
    limits: &["gauge_low", "gauge_high"],
    basis: "EN 837-2 (at most 75 % of full scale at steady pressure); lower bound common practice",
    passing: "300 bar on a gauge of 400 bar, which is 0.75 of its scale.",
    failing: "350 bar on a gauge of 400 bar.",
    checks: Checks::circuit(odd_gauge),
};

fn odd_gauge(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.sound_of(Kind::Gauge) {
        let Some(full_scale) = fitted.component.full_scale else {
            outcome.lack(None, Some(fitted.index), Figure::FullScale);
            continue;
        };
        let worse = Worse::of(view.sides_of(fitted), |side| gauge_on(view, fitted, full_scale, side));
        worse.report(fitted, outcome);
    }
}

fn gauge_on<'a>(view: &CircuitView, fitted: Fitted, full_scale: Pressure, side: &'a SideFigures) -> Found<'a> {
    let is_reduced = fitted.line.is_reduced(fitted.component.kind);
    let Some(pressure) = side.pressure_at(is_reduced) else {
        return Found::Lack(side, if is_reduced { Figure::Charge } else { Figure::Full });
    };
    let limits = view.limits();
    let (low, high) = (full_scale * limits.gauge_low, full_scale * limits.gauge_high);
    let hit = |limit: Pressure| {
        on_line_of_side(fitted, side.side)
            .against(Value::Pressure(pressure), Value::Pressure(limit))
            .fact("full_scale", Value::Pressure(full_scale))
    };
    if is_above(pressure.si(), high.si()) {
        let hit = hit(high).fact("share_high", Value::Ratio(limits.gauge_high));
        Found::Hit(pressure.si() - high.si(), hit)
    } else if is_below(pressure.si(), low.si()) {
        let hit = hit(low).fact("share_low", Value::Ratio(limits.gauge_low));
        Found::Hit(low.si() - pressure.si(), hit)
    } else {
        Found::Fine
    }
}

/// The setting of a piece: the line's before the component's.
fn setting(fitted: Fitted) -> Option<Pressure> {
    fitted.line.set_pressure.or(fitted.component.set_pressure)
}

/// What is found of a line on one side.
enum Found<'a> {
    Fine,
    Lack(&'a SideFigures, Figure),
    /// How far beyond the limit it is, in Pa.
    Hit(f64, Hit),
}

/// What is found of a line on all of its sides: the worse hit, and what is lacking.
struct Worse<'a> {
    hit: Option<(f64, Hit)>,
    lack: Option<(&'a SideFigures, Figure)>,
}

impl<'a> Worse<'a> {
    fn of(sides: impl Iterator<Item = &'a SideFigures>, look: impl Fn(&'a SideFigures) -> Found<'a>) -> Self {
        let mut worse = Self { hit: None, lack: None };
        for side in sides {
            match look(side) {
                Found::Fine => {}
                Found::Lack(side, figure) => worse.lack = worse.lack.or(Some((side, figure))),
                Found::Hit(beyond, hit) => {
                    if worse.hit.as_ref().is_none_or(|(best, _)| beyond > *best) {
                        worse.hit = Some((beyond, hit));
                    }
                }
            }
        }
        worse
    }

    fn report(self, fitted: Fitted, outcome: &mut Outcome) {
        if let Some((_, hit)) = self.hit {
            outcome.hit(hit);
        }
        if let Some((side, figure)) = self.lack {
            outcome.lack(Some(side.side), Some(fitted.index), figure);
        }
    }
}
