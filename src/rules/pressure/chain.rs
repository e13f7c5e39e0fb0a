//! P02 to P04, P11, P13 and P14: the station, the wanted pressure and the weakest rating.

use crate::physics::quantity::Pressure;
use crate::rules::rating::stated_rating;
use crate::rules::view::{CircuitView, StationView};
use crate::rules::{Checks, Hit, Outcome, Rule, is_above, is_below};
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::station::StationPart;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Severity};

use super::with_chain;

pub static P02: Rule = Rule {
    code: "P02",
    name: "drive-ram-rated-below-pump-setting",
    title: "Drive ram is rated below the pump setting",
    severity: Severity::Major,
    subject: Subject::Station,
    looks_for: "A station whose pump setting, or the pump's rating where no setting is given, is above the drive ram's rating.",
    why: "The ram sees the pump's pressure at every pallet.",
    remedy: "Lower the pump setting, or take a drive ram that is rated higher.",
    message: "[The pump is set to {setting}][The pump has no setting and is rated for {pump_rating}], and the drive ram {ram} is rated for {limit}, {excess} less.",
    limits: &[],
    basis: "ISO 4413 (components within their rated limits)",
    passing: "A pump set to 200 bar and a ram rated for 200 bar.",
    failing: "A pump set to 250 bar and a ram rated for 200 bar.",
    checks: Checks::station(weak_ram),
};

fn weak_ram(view: &StationView, outcome: &mut Outcome) {
    if view.station.drive_ram == StationPart::Blank {
        return;
    }
    if view.station.is_unreadable("pump_setting") {
        return outcome.lack(None, None, Figure::Cell);
    }
    let Some((ram, rating)) = view.drive_ram.and_then(|ram| Some((ram, stated_rating(ram)?))) else {
        return outcome.lack(None, None, Figure::StationRating);
    };
    let hit = Hit::here();
    let (hit, pressure) = if let Some(setting) = view.station.pump_setting {
        (hit.fact("setting", Value::Pressure(setting)).in_column("pump_setting"), setting)
    } else if let Some(pump_rating) = view.pump.and_then(stated_rating) {
        (hit.fact("pump_rating", Value::Pressure(pump_rating)), pump_rating)
    } else {
        return outcome.lack(None, None, Figure::PumpSetting);
    };
    if is_above(pressure.si(), rating.si()) {
        outcome.hit(
            hit.against(Value::Pressure(pressure), Value::Pressure(rating))
                .fact("ram", Value::Text(ram.part_no.clone()))
                .fact("excess", Value::Pressure(pressure - rating)),
        );
    }
}

pub static P03: Rule = Rule {
    code: "P03",
    name: "charge-below-pressure-set",
    title: "Charge pressure is below the one wanted",
    severity: Severity::Major,
    subject: Subject::Side,
    looks_for: "A charge pressure below pressure_set by more than pressure_tolerance.",
    why: "The station can't bring the side to the pressure for which the clamping forces were laid out.",
    remedy: "Raise the pump setting to what is needed, charge at another station, or take a charging cylinder with a higher ratio.",
    message: "The {side} side reaches {measured}; wanted are {set}, with a tolerance of {tolerance} at least {limit}.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ The pump setting needed is {setting_needed}.]",
    limits: &["pressure_tolerance"],
    basis: "common practice",
    passing: "A charge pressure of 285 bar where 300 bar are wanted, within 5 %.",
    failing: "A charge pressure of 250 bar where 300 bar are wanted.",
    checks: Checks::circuit(under_set),
};

fn under_set(view: &CircuitView, outcome: &mut Outcome) {
    let tolerance = view.limits().pressure_tolerance;
    for (side, charge, set) in charges_and_set(view, outcome) {
        let limit = set * (1.0 - tolerance);
        if is_below(charge.si(), limit.si()) {
            let hit = Hit::on_side(side.side).against(Value::Pressure(charge), Value::Pressure(limit));
            let hit = with_set(hit, set, tolerance);
            let hit = hit.fact_if("setting_needed", side.chain.pump_needed.map(Value::Pressure));
            outcome.hit(with_chain(hit, view, side.side, true));
        }
    }
}

pub static P04: Rule = Rule {
    code: "P04",
    name: "pump-set-above-rating",
    title: "Pump is set above its rating",
    severity: Severity::Major,
    subject: Subject::Station,
    looks_for: "A station whose pump setting is above the pump's rating.",
    why: "The pump never reaches the setting; the circuits get its rating at most, and its own valve opens at every stroke.",
    remedy: "Lower the pump setting to the rating, or take a pump that is rated higher.",
    message: "The pump {pump_part} is set to {measured} and rated for {limit}, {excess} less.",
    limits: &[],
    basis: "ISO 4413 (components within their rated limits)",
    passing: "A pump rated for 250 bar and set to 250 bar.",
    failing: "A pump rated for 250 bar and set to 300 bar.",
    checks: Checks::station(high_setting),
};

fn high_setting(view: &StationView, outcome: &mut Outcome) {
    if view.station.pump == StationPart::Blank {
        return;
    }
    if view.station.is_unreadable("pump_setting") {
        return outcome.lack(None, None, Figure::Cell);
    }
    let Some(setting) = view.station.pump_setting else { return };
    let Some((pump, rating)) = view.pump.and_then(|pump| Some((pump, stated_rating(pump)?))) else {
        return outcome.lack(None, None, Figure::StationRating);
    };
    if is_above(setting.si(), rating.si()) {
        outcome.hit(
            Hit::here()
                .in_column("pump_setting")
                .against(Value::Pressure(setting), Value::Pressure(rating))
                .fact("pump_part", Value::Text(pump.part_no.clone()))
                .fact("excess", Value::Pressure(setting - rating)),
        );
    }
}

pub static P11: Rule = Rule {
    code: "P11",
    name: "charge-above-pressure-set",
    title: "Charge pressure is above the one wanted",
    severity: Severity::Minor,
    subject: Subject::Side,
    looks_for: "A charge pressure above pressure_set by more than pressure_tolerance.",
    why: "The clamps press harder than was laid out, and thin parts may bend.",
    remedy: "Lower the pump setting to what is needed, or set the reducing valve to pressure_set.",
    message: "The {side} side reaches {measured}; wanted are {set}, with a tolerance of {tolerance} at most {limit}.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ The pump setting needed is {setting_needed}.]",
    limits: &["pressure_tolerance"],
    basis: "common practice",
    passing: "A charge pressure of 315 bar where 300 bar are wanted, within 5 %.",
    failing: "A charge pressure of 350 bar where 300 bar are wanted.",
    checks: Checks::circuit(over_set),
};

fn over_set(view: &CircuitView, outcome: &mut Outcome) {
    let tolerance = view.limits().pressure_tolerance;
    for (side, charge, set) in charges_and_set(view, outcome) {
        let limit = set * (1.0 + tolerance);
        if is_above(charge.si(), limit.si()) {
            let hit = Hit::on_side(side.side).against(Value::Pressure(charge), Value::Pressure(limit));
            let hit = with_set(hit, set, tolerance);
            let hit = hit.fact_if("setting_needed", side.chain.pump_needed.map(Value::Pressure));
            outcome.hit(with_chain(hit, view, side.side, true));
        }
    }
}

pub static P13: Rule = Rule {
    code: "P13",
    name: "potential-above-weakest-rating",
    title: "Station could exceed the weakest rating and no relief valve is there",
    severity: Severity::Major,
    subject: Subject::Side,
    looks_for: "A side without a relief valve whose weakest rating is below what the pump could reach at its own rating.",
    why: "A turn at the pump's setting is enough to take a part above its rating, and nothing on the side limits the pressure.",
    remedy: "Add a relief valve set between charge pressure and weakest rating, or take a pump that is rated lower.",
    message: "At the pump's rating the {side} side could reach {measured}; its weakest part[, {weakest_part},] is rated for {limit}, {excess} less, and there is no relief valve.",
    limits: &[],
    basis: "ISO 4413 (protection against excess pressure)",
    passing: "A side that could reach 400 bar, with a weakest rating of 350 bar and a relief valve.",
    failing: "A side that could reach 400 bar, with a weakest rating of 350 bar and no relief valve.",
    checks: Checks::circuit(unprotected),
};

fn unprotected(view: &CircuitView, outcome: &mut Outcome) {
    if view.service.station.is_empty() {
        return;
    }
    for side in view.figures.sides() {
        if side.lines.is_empty() || side.kinds.has(Kind::ReliefValve) {
            continue;
        }
        let lacking = if !side.kinds_are_known {
            Some(Figure::Presence)
        } else if side.chain.potential.is_none() {
            Some(Figure::Potential)
        } else {
            side.chain.weakest.is_none().then_some(Figure::Weakest)
        };
        if let Some(figure) = lacking {
            outcome.lack(Some(side.side), None, figure);
            continue;
        }
        let (Some(potential), Some(weakest)) = (side.chain.potential, side.chain.weakest) else { continue };
        if is_above(potential.si(), weakest.pressure.si()) {
            let hit = Hit::on_side(side.side)
                .against(Value::Pressure(potential), Value::Pressure(weakest.pressure))
                .fact("excess", Value::Pressure(potential - weakest.pressure));
            outcome.hit(with_weakest(hit, view, side));
        }
    }
}

pub static P14: Rule = Rule {
    code: "P14",
    name: "charge-near-weakest-rating",
    title: "Charge pressure is near the weakest rating",
    severity: Severity::Observation,
    subject: Subject::Side,
    looks_for: "A charge pressure above pressure_watch of the weakest rating, and not above that rating.",
    why: "A warm pallet or a pump set a little higher takes the part above its rating.",
    remedy: "Lower the charge pressure a little, or take a part that is rated higher.",
    message: "The {side} side is charged to {measured}; its weakest part[, {weakest_part},] is rated for {weakest}, and {watch} × {weakest} = {limit}.",
    limits: &["pressure_watch"],
    basis: "common practice",
    passing: "A charge pressure of 332.5 bar and a weakest rating of 350 bar, which is 0.95 of it.",
    failing: "A charge pressure of 345 bar and a weakest rating of 350 bar.",
    checks: Checks::circuit(near_rating),
};

fn near_rating(view: &CircuitView, outcome: &mut Outcome) {
    let watch = view.limits().pressure_watch;
    for side in view.figures.sides().filter(|side| !side.lines.is_empty()) {
        let Some(charge) = side.chain.charge else {
            outcome.lack(Some(side.side), None, Figure::Charge);
            continue;
        };
        let Some(weakest) = side.chain.weakest else {
            outcome.lack(Some(side.side), None, Figure::Weakest);
            continue;
        };
        let limit = weakest.pressure * watch;
        if is_above(charge.si(), limit.si()) && !is_above(charge.si(), weakest.pressure.si()) {
            let hit = Hit::on_side(side.side)
                .against(Value::Pressure(charge), Value::Pressure(limit))
                .fact("watch", Value::Ratio(watch));
            outcome.hit(with_weakest(hit, view, side));
        }
    }
}

/// The sides with their charge pressure, where a pressure is wanted; the others are lacking.
fn charges_and_set<'a>(
    view: &CircuitView<'a>,
    outcome: &mut Outcome,
) -> impl Iterator<Item = (&'a SideFigures, Pressure, Pressure)> + use<'a> {
    let is_unreadable = view.service.is_unreadable("pressure_set");
    if is_unreadable {
        outcome.lack(None, None, Figure::Cell);
    }
    let mut known = [None; 2];
    if let Some(set) = view.service.pressure_set.filter(|_| !is_unreadable) {
        for (slot, side) in known.iter_mut().zip(view.figures.sides().filter(|side| !side.lines.is_empty())) {
            *slot = side.chain.charge.map(|charge| (side, charge, set));
            if side.chain.charge.is_none() {
                outcome.lack(Some(side.side), None, Figure::Charge);
            }
        }
    }
    known.into_iter().flatten()
}

fn with_set(hit: Hit, set: Pressure, tolerance: f64) -> Hit {
    hit.fact("set", Value::Pressure(set)).fact("tolerance", Value::Ratio(tolerance))
}

/// With the weakest rating and the part that has it.
fn with_weakest(hit: Hit, view: &CircuitView, side: &SideFigures) -> Hit {
    let Some(weakest) = side.chain.weakest else { return hit };
    let line = view.circuit.lines.get(weakest.line);
    let part = line.and_then(|line| line.component(&view.plant.components));
    hit.fact("weakest", Value::Pressure(weakest.pressure))
        .fact_if("weakest_part", part.map(|part| Value::Text(part.part_no.clone())))
}
