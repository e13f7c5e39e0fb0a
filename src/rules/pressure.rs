//! P: the pressure chain against what the parts are rated for and set to.

#[cfg(test)]
mod tests;

use super::rating::{stated_rating, wall_rating, wall_rating_is_unreadable};
use super::view::{CircuitView, Fitted, StationView};
use super::{Checks, Cure, Family, Hit, Outcome, Rule, is_above, is_below};
use crate::physics::quantity::Pressure;
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::station::StationPart;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Severity, Side};

/// The family.
pub static FAMILY: Family = Family { letter: 'P', name: "Pressures", weighs: true };

pub static P01: Rule = Rule {
    family: &FAMILY,
    code: "P01",
    name: "charging-cylinder-rated-below-full-pressure",
    title: "Charging cylinder is rated below the pressure that it makes",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A charging cylinder whose rating is below the pressure before a reducing valve.",
    why: "The cylinder is the first part to see the full pressure of the station. Above its rating it may leak or burst.",
    remedy: "Lower the pump setting, take a charging cylinder with a lower ratio, or one that is rated higher.",
    message: "The charging cylinder {part} makes {measured}[ on the {side} side] and is rated for {limit}, {excess} less.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.]",
    limits: &[],
    basis: "ISO 4413 (components within their rated limits)",
    passing: "350 bar in a charging cylinder rated for 350 bar.",
    failing: "400 bar in a charging cylinder rated for 350 bar.",
    checks: Checks::circuit(weak_cylinder),
    cures: &[Cure::OtherCylinder, Cure::LowerSetting],
    ..Rule::USUAL
};

fn weak_cylinder(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.fitted_of(Kind::ChargingCylinder) {
        let Some(rating) = stated_rating(fitted.component) else {
            outcome.lack(None, Some(fitted.index), Figure::Weakest);
            continue;
        };
        let seen = Seen::by(view, fitted, |side| side.chain.full);
        seen.above_rating(view, fitted, rating, Figure::Full, outcome);
    }
}

pub static P02: Rule = Rule {
    family: &FAMILY,
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
    cures: &[Cure::LowerSetting, Cure::OtherDriveRam],
    ..Rule::USUAL
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
    family: &FAMILY,
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
    cures: &[Cure::SettingNeeded, Cure::OtherPump],
    live: Some("P03 charge below pressure set"),
    ..Rule::USUAL
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
    family: &FAMILY,
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
    cures: &[Cure::LowerSetting, Cure::OtherPump],
    ..Rule::USUAL
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

pub static P05: Rule = Rule {
    family: &FAMILY,
    code: "P05",
    name: "part-rated-below-charge",
    title: "Part is rated below the pressure that it sees",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A part, other than charging cylinder, isolation valve, pump and drive ram, that is rated below the pressure where it sits.",
    why: "A part above its rating may leak, jam or burst on a pallet that people handle.",
    remedy: "Take a part that is rated higher, lower the pressure, or set the part behind a reducing valve.",
    message: "The {kind} {part}[ at position {position}] sees {measured}[ on the {side} side] and is rated for {limit}, {excess} less.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ It sits before the reducing valve, which is set to {before}.]",
    limits: &[],
    basis: "ISO 4413 (components within their rated limits)",
    passing: "A clamp rated for 250 bar at a charge pressure of 250 bar.",
    failing: "A clamp rated for 250 bar at a charge pressure of 300 bar.",
    checks: Checks::circuit(weak_part),
    cures: &[Cure::OtherPart, Cure::LowerSetting],
    ..Rule::USUAL
};

fn weak_part(view: &CircuitView, outcome: &mut Outcome) {
    for (index, line) in view.suspect_lines() {
        if line.component(&view.plant.components).is_none() {
            outcome.lack(None, Some(index), Figure::Weakest);
        }
    }
    for fitted in view.fitted() {
        let component = fitted.component;
        let is_for_others =
            matches!(component.kind, Some(Kind::ChargingCylinder | Kind::IsolationValve | Kind::Pump | Kind::DriveRam));
        if is_for_others {
            continue;
        }
        match stated_rating(component) {
            Some(rating) => above_where_it_sits(view, fitted, rating, outcome),
            None if rates_elsewhere(view, fitted) => {}
            None => outcome.lack(None, Some(fitted.index), Figure::Weakest),
        }
    }
}

/// A part that needs no stated rating: `other`, and a tube whose wall is rated (P08).
fn rates_elsewhere(view: &CircuitView, fitted: Fitted) -> bool {
    let component = fitted.component;
    let is_unreadable = super::rating::is_unreadable(component, "rated_pressure");
    !is_unreadable && (component.is(Kind::Other) || wall_rating(component, view.limits()).is_some())
}

pub static P06: Rule = Rule {
    family: &FAMILY,
    code: "P06",
    name: "isolation-valve-rated-below-charge",
    title: "Isolation valve is rated below the pressure that it sees",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "An isolation valve that is rated below the pressure where it sits.",
    why: "It is the valve that people open by hand, and the one that holds the trapped oil until then.",
    remedy: "Take an isolation valve that is rated higher, or lower the pressure.",
    message: "The isolation valve {part}[ at position {position}] sees {measured}[ on the {side} side] and is rated for {limit}, {excess} less.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ It sits before the reducing valve, which is set to {before}.]",
    limits: &[],
    basis: "ISO 4413 (components within their rated limits)",
    passing: "An isolation valve rated for 350 bar at 350 bar.",
    failing: "An isolation valve rated for 250 bar at 300 bar.",
    checks: Checks::circuit(weak_isolation_valve),
    cures: &[Cure::OtherPart, Cure::LowerSetting],
    ..Rule::USUAL
};

fn weak_isolation_valve(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.fitted_of(Kind::IsolationValve) {
        match stated_rating(fitted.component) {
            Some(rating) => above_where_it_sits(view, fitted, rating, outcome),
            None => outcome.lack(None, Some(fitted.index), Figure::Weakest),
        }
    }
}

pub static P07: Rule = Rule {
    family: &FAMILY,
    code: "P07",
    name: "charge-below-min-pressure",
    title: "Charge pressure is below what a part works at",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A part whose min_pressure is above the charge pressure.",
    why: "Below its lowest working pressure a clamp doesn't move to its end, a support doesn't lock and a valve doesn't switch.",
    remedy: "Raise the charge pressure, or take a part that works at a lower one.",
    message: "The {kind} {part}[ at position {position}] works from {limit}, and the charge pressure[ of the {side} side] is {measured}, {shortfall} less.",
    limits: &[],
    basis: "common practice",
    passing: "A clamp with a min_pressure of 60 bar at a charge pressure of 60 bar.",
    failing: "A work support with a min_pressure of 100 bar at a charge pressure of 80 bar.",
    checks: Checks::circuit(low_charge),
    cures: &[Cure::OtherPart, Cure::SettingNeeded],
    ..Rule::USUAL
};

fn low_charge(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.sound() {
        let Some(least) = fitted.component.min_pressure else { continue };
        if view.stays_above(least) {
            continue;
        }
        let seen = Seen::by(view, fitted, |side| side.chain.charge);
        if let Some((side, pressure)) = seen.lowest().filter(|(_, pressure)| is_below(pressure.si(), least.si())) {
            outcome.hit(
                on_line_of_side(fitted, side)
                    .against(Value::Pressure(pressure), Value::Pressure(least))
                    .fact("kind", kind_word(fitted))
                    .fact("shortfall", Value::Pressure(least - pressure)),
            );
        }
        seen.lack(fitted, Figure::Charge, outcome);
    }
}

pub static P08: Rule = Rule {
    family: &FAMILY,
    code: "P08",
    name: "tube-wall-rated-below-charge",
    title: "Tube wall is too thin for the pressure that it sees",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A tube whose rating by wall stress is below the pressure where it sits.",
    why: "The hoop stress at the bore comes nearer to the tensile strength than the design factor allows.",
    remedy: "Take a tube with a thicker wall or a stronger material, or lower the pressure.",
    message: "The tube {part}[ at position {position}] sees {measured}[ on the {side} side], and its wall is good for {limit}, {excess} less: {tensile_strength} / {design_factor} × (OD² − ID²) / (OD² + ID²) with OD {outer_diameter} and ID {inner_diameter}.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ It sits before the reducing valve, which is set to {before}.]",
    limits: &["design_factor"],
    basis: "Lamé, hoop stress at the bore; design factor 4:1 on tensile strength as in SAE J1065",
    passing: "A tube good for 280 bar by its wall at 280 bar.",
    failing: "A tube good for 280 bar by its wall at 300 bar.",
    checks: Checks::circuit(thin_wall),
    cures: &[Cure::OtherPart, Cure::LowerSetting],
    ..Rule::USUAL
};

fn thin_wall(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.fitted_of(Kind::Tube) {
        if wall_rating_is_unreadable(fitted.component) {
            outcome.lack(None, Some(fitted.index), Figure::TubeRating);
        }
        if let Some(rating) = wall_rating(fitted.component, view.limits()) {
            let before = outcome.hits.len();
            above_where_it_sits(view, fitted, rating, outcome);
            for hit in outcome.hits.iter_mut().skip(before) {
                with_wall(hit, view, fitted);
            }
        }
    }
}

/// With the figures of the tube's wall.
fn with_wall(hit: &mut Hit, view: &CircuitView, fitted: Fitted) {
    let tube = fitted.component;
    *hit = std::mem::take(hit)
        .fact("design_factor", Value::Ratio(view.limits().design_factor))
        .fact_if("tensile_strength", tube.tensile_strength.map(Value::Pressure))
        .fact_if("outer_diameter", tube.outer_diameter.map(Value::Length))
        .fact_if("inner_diameter", tube.inner_diameter.map(Value::Length));
}

/// A hit where the part sees more than `rating` in front of or behind the reducing valve.
fn above_where_it_sits(view: &CircuitView, fitted: Fitted, rating: Pressure, outcome: &mut Outcome) {
    if view.stays_within(rating) {
        return;
    }
    let is_reduced = fitted.line.is_reduced(fitted.component.kind);
    let figure = if is_reduced { Figure::Charge } else { Figure::Full };
    let seen = Seen::by(view, fitted, |side| side.pressure_at(is_reduced));
    seen.above_rating(view, fitted, rating, figure, outcome);
}

/// The pressures that a line sees on the sides it counts on.
struct Seen {
    known: [Option<(Side, Pressure)>; 2],
    unknown: Option<Side>,
}

impl Seen {
    fn by(view: &CircuitView, fitted: Fitted, pressure: impl Fn(&SideFigures) -> Option<Pressure>) -> Self {
        let mut seen = Self { known: [None; 2], unknown: None };
        for (slot, side) in seen.known.iter_mut().zip(view.sides_of(fitted)) {
            match pressure(side) {
                Some(pressure) => *slot = Some((side.side, pressure)),
                None => seen.unknown = seen.unknown.or(Some(side.side)),
            }
        }
        seen
    }

    /// The first side with the highest pressure.
    fn highest(&self) -> Option<(Side, Pressure)> {
        self.known.iter().flatten().copied().reduce(|best, next| if next.1 > best.1 { next } else { best })
    }

    /// The first side with the lowest pressure.
    fn lowest(&self) -> Option<(Side, Pressure)> {
        self.known.iter().flatten().copied().reduce(|best, next| if next.1 < best.1 { next } else { best })
    }

    /// A hit where the highest is above the rating; a side that is unknown is lacking beside it.
    fn above_rating(
        &self,
        view: &CircuitView,
        fitted: Fitted,
        rating: Pressure,
        figure: Figure,
        outcome: &mut Outcome,
    ) {
        if let Some((side, pressure)) = self.highest().filter(|(_, pressure)| is_above(pressure.si(), rating.si())) {
            let hit = on_line_of_side(fitted, side)
                .against(Value::Pressure(pressure), Value::Pressure(rating))
                .fact("kind", kind_word(fitted))
                .fact("excess", Value::Pressure(pressure - rating));
            let is_behind = figure == Figure::Charge;
            outcome.hit(with_chain(hit, view, side, is_behind));
        }
        self.lack(fitted, figure, outcome);
    }

    fn lack(&self, fitted: Fitted, figure: Figure, outcome: &mut Outcome) {
        if let Some(side) = self.unknown {
            outcome.lack(Some(side), Some(fitted.index), figure);
        }
    }
}

fn on_line_of_side(fitted: Fitted, side: Side) -> Hit {
    Hit { side: Some(side), ..Hit::on_line(fitted.index) }
}

fn kind_word(fitted: Fitted) -> Value {
    Value::Text(fitted.component.kind.map_or_else(|| "part".to_owned(), Kind::plain))
}

/// With what the station's pressure is made of, and the setting of a reducing valve behind which or
/// before which it is seen.
fn with_chain(hit: Hit, view: &CircuitView, side: Side, is_behind: bool) -> Hit {
    let Some(figures) = view.figures.side(side) else { return hit };
    let chain = &figures.chain;
    let valve = chain.reducing.map(|rating| Value::Pressure(rating.pressure));
    let (behind, before) = if is_behind { (valve, None) } else { (None, valve) };
    hit.fact_if("pump", chain.pump.map(Value::Pressure))
        .fact_if("ratio", chain.ratio.map(Value::Ratio))
        .fact("return_loss", Value::Pressure(chain.return_loss))
        .fact_if("full", chain.full.map(Value::Pressure))
        .fact_if("reducing", behind)
        .fact_if("before", before)
}

pub static P09: Rule = Rule {
    family: &FAMILY,
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
    cures: &[Cure::SequenceSetting, Cure::OtherPart],
    ..Rule::USUAL
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
    family: &FAMILY,
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
    cures: &[Cure::ReliefSetting, Cure::OtherPart],
    ..Rule::USUAL
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

pub static P11: Rule = Rule {
    family: &FAMILY,
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
    cures: &[Cure::SettingNeeded],
    live: Some("P11 charge above pressure set"),
    ..Rule::USUAL
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

pub static P12: Rule = Rule {
    family: &FAMILY,
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
    cures: &[Cure::OtherPart],
    ..Rule::USUAL
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

pub static P13: Rule = Rule {
    family: &FAMILY,
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
    cures: &[Cure::StrongerWeakest, Cure::ReliefValve, Cure::OtherPump],
    live: Some("P13 potential above weakest, no relief"),
    ..Rule::USUAL
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
    family: &FAMILY,
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
    live: Some("P14 charge close to weakest"),
    ..Rule::USUAL
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
