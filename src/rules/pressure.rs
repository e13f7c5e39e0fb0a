//! P: the pressure chain against what the parts are rated for and set to.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use super::contact_force::arm;
use super::rating::{stated_rating, wall_rating, wall_rating_is_unreadable, with_arm};
use super::view::{CircuitView, Fitted, StationView};
use super::{Asked, At, Checks, Cure, Family, Hit, Outcome, Reach, RestsOn, Rule, is_above, is_below};
use crate::physics::quantity::Pressure;
use crate::tables::component::Component;
use crate::tables::figures::{Figure, Rating, SideFigures, ZoneFigures};
use crate::tables::finding::{Finding, Subject};
use crate::tables::policy::Policy;
use crate::tables::station::StationPart;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Severity, Side, Zone};

/// The family.
pub static FAMILY: Family = Family {
    letter: 'P',
    name: "Pressures",
    weighs: true,
    rules: &[&P01, &P02, &P03, &P04, &P05, &P06, &P07, &P08, &P09, &P10, &P11, &P12, &P13, &P14, &P15, &P16, &P17],
};

/// Whether a part on a list, rated below the pressure where it sits, is a major or minor finding under a
/// policy, whichever of its ratings it is.
#[must_use]
pub fn weighs_when_weak(policy: &Policy, component: &Component) -> bool {
    match component.kind {
        Some(Kind::ChargingCylinder) => P01.is_major_or_minor(policy),
        Some(Kind::IsolationValve) => P06.is_major_or_minor(policy),
        Some(Kind::Tube) => P05.is_major_or_minor(policy) && P08.is_major_or_minor(policy),
        Some(Kind::Pump | Kind::DriveRam) => false,
        _ => P05.is_major_or_minor(policy),
    }
}

/// Whether a finding is that a part is rated too low.
#[must_use]
pub fn is_of_rating(finding: &Finding) -> bool {
    [&P01, &P05, &P06, &P08].into_iter().any(|rule| rule.code == finding.rule)
}

pub static P01: Rule = Rule {
    family: &FAMILY,
    code: "P01",
    name: "charging-cylinder-rated-below-full-pressure",
    title: "Charging cylinder is rated below the pressure that it makes",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A charging cylinder whose rating is below the pressure before a reducing valve.",
    why: "The cylinder is the first part to see the full pressure of the station. Above its rating it may leak or burst.",
    remedy: "Lower the pump setting, take a charging cylinder with a lower ratio, or one that is rated higher.",
    message: "The charging cylinder {part} makes {measured}[ on {the_side}] and is rated for {limit}, {excess} less.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.]",
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
            let origin = fitted.component.origin;
            outcome.lack_cell(None, Some(fitted.index), Figure::Weakest, origin, "rated_pressure");
            continue;
        };
        let seen = Seen::of(view, fitted, |side| side.chain.full, |_| Figure::Full);
        seen.above_rating(view, fitted, rating, outcome);
    }
}

pub static P02: Rule = Rule {
    family: &FAMILY,
    code: "P02",
    name: "drive-ram-rated-below-pump-setting",
    title: "Drive ram is rated below the pump setting",
    severity: Severity::Major,
    subject: Subject::Station,
    looks_for: "A station whose pump setting is above the drive ram's rating; where no setting is given, what the pump can bring: the lower of its rating, the station's relief_setting and air_pressure × air_ratio.",
    why: "The ram sees the pump's pressure at every pallet.",
    remedy: "Lower the pump setting, take a drive ram that is rated higher, or set the station's locked relief valve lower.",
    message: "[The pump is set to {setting}][The pump has no setting and can bring {pump_brings}], and the drive ram {ram} is rated for {limit}, {excess} less.",
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
    let unreadable = ["pump_setting", "relief_setting", "air_pressure"];
    let is_lost = |column: &str| view.station.is_unreadable(column);
    if is_lost("pump_setting") || view.station.pump_setting.is_none() && unreadable.into_iter().any(is_lost) {
        return outcome.lack(None, None, Figure::Cell);
    }
    let Some((ram, rating)) = view.drive_ram.and_then(|ram| Some((ram, stated_rating(ram)?))) else {
        return outcome.lack(None, None, Figure::StationRating);
    };
    let hit = Hit::here();
    let (hit, pressure) = if let Some(setting) = view.station.pump_setting {
        (hit.fact("setting", Value::Pressure(setting)).in_column("pump_setting"), setting)
    } else if let Some(brings) = pump_brings(view) {
        (hit.fact("pump_brings", Value::Pressure(brings)), brings)
    } else {
        return outcome.lack(None, None, Figure::PumpSetting);
    };
    if outcome.is_above(At::HERE, pressure, rating) {
        outcome.hit(
            hit.against(Value::Pressure(pressure), Value::Pressure(rating))
                .fact("ram", Value::Text(ram.part_no.clone()))
                .fact("excess", Value::Pressure(pressure - rating)),
        );
    }
}

/// What the pump can bring; `None` where nothing bounds it.
fn pump_brings(view: &StationView) -> Option<Pressure> {
    let ratio = view.pump.and_then(|pump| pump.air_ratio);
    let by_air = view.station.air_pressure.zip(ratio).map(|(air, ratio)| air * ratio);
    let bounds = [view.pump.and_then(stated_rating), view.station.relief_setting, by_air];
    bounds.into_iter().flatten().reduce(Pressure::min)
}

pub static P03: Rule = Rule {
    family: &FAMILY,
    code: "P03",
    name: "charge-below-pressure-set",
    title: "Charge pressure is below the one wanted",
    severity: Severity::Major,
    subject: Subject::Side,
    reach: Reach::Makeup,
    looks_for: "A charge pressure below pressure_set by more than pressure_tolerance.",
    why: "The station can't bring the side to the pressure for which the clamping forces were laid out.",
    remedy: "Raise the pump setting to what is needed, charge at another station, take a charging cylinder with a higher ratio, or set a reducing valve that holds the pressure down to pressure_set.",
    message: "The {side} side reaches {measured}; wanted are {set}, with a tolerance of {tolerance} at least {limit}.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ The pump setting needed is {setting_needed}.][ The pump is driven by air, {air_ratio} × its pressure; needed is air of {air_needed}.]",
    limits: &["pressure_tolerance"],
    basis: "common practice",
    passing: "A charge pressure of 285 bar where 300 bar are wanted, within 5 %.",
    failing: "A charge pressure of 250 bar where 300 bar are wanted.",
    checks: Checks::circuit(under_set),
    cures: &[Cure::SettingNeeded, Cure::ReducingSetting, Cure::OtherPump],
    live: Some("P03 charge below pressure set"),
    rests_on: Some(RestsOn { data: "pressure_set", are_stated: |view| view.service.pressure_set.is_some() }),
    ..Rule::USUAL
};

fn under_set(view: &CircuitView, outcome: &mut Outcome) {
    let tolerance = view.limits().pressure_tolerance;
    for (side, charge, set) in charges_and_set(view, outcome) {
        let limit = set * (1.0 - tolerance);
        if outcome.is_below(At::side(side.side), charge, limit) {
            let hit = Hit::on_side(side.side).against(Value::Pressure(charge), Value::Pressure(limit));
            let hit = with_set(hit, set, tolerance);
            // A pump doesn't help where a reducing valve is what holds the pressure down.
            let is_short_before = side.chain.full.is_none_or(|full| is_below(full.si(), limit.si()));
            let needed = side.chain.pump_needed.filter(|_| is_short_before);
            outcome.hit(with_chain(with_needed(hit, view, needed), view, side.side, true));
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
    if outcome.is_above(At::HERE, setting, rating) {
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
    reach: Reach::Line,
    looks_for: "A part, other than charging cylinder, isolation valve, pump and drive ram, that is rated below the pressure of its zone; a clamp's rating falls with an arm longer than arm_rated.",
    why: "A part above its rating may leak, jam or burst on a pallet that people handle.",
    remedy: "Take a part that is rated higher, lower the pressure, set the part behind a reducing valve, or shorten the arm.",
    message: "The {kind} {part}[ at position {position}] sees {measured}[ on {the_side}] and is rated for {limit}, {excess} less.[ With an arm of {arm_length} its rating is {stated} × {arm_rated} / {arm_length} = {by_arm}.][ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ It sits before the reducing valve, which is set to {before}.]",
    limits: &[],
    basis: "ISO 4413 (components within their rated limits); balance of moments for an arm",
    passing: "A clamp rated for 250 bar at a charge pressure of 250 bar.",
    failing: "A clamp rated for 250 bar with an arm of 105 mm instead of 70 mm, so for 166.7 bar, at 200 bar.",
    checks: Checks::circuit(weak_part),
    cures: &[Cure::OtherPart, Cure::LowerSetting],
    ..Rule::USUAL
};

fn weak_part(view: &CircuitView, outcome: &mut Outcome) {
    if let Some(stray) = view.circuit.stray_rows.first() {
        outcome.lack_cell(Some(Side::Clamp), None, Figure::Presence, *stray, "part_no");
    }
    for (index, line) in view.suspect_lines() {
        if line.component(&view.plant.components).is_none() {
            outcome.lack_cell(None, Some(index), Figure::Weakest, line.origin, "part_no");
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
            Some(stated) => {
                let before = outcome.hits.len();
                above_where_it_sits(view, fitted, with_arm(fitted.line, component, stated), outcome);
                match outcome.hits.get_mut(before) {
                    Some(hit) => tell_arm(hit, fitted, stated),
                    None if component.is(Kind::Clamp) && lacks_arm_rated(fitted) => {
                        let origin = component.origin;
                        outcome.lack_cell(None, Some(fitted.index), Figure::Weakest, origin, "arm_rated");
                    }
                    None => {}
                }
            }
            None if rates_elsewhere(view, fitted) => {}
            None => outcome.lack_cell(None, Some(fitted.index), Figure::Weakest, component.origin, "rated_pressure"),
        }
    }
}

/// An arm that may be longer than the one that the clamp is rated for.
fn lacks_arm_rated(fitted: Fitted) -> bool {
    fitted.line.arm_length.is_some() && fitted.component.arm_rated.is_none()
}

/// With the arithmetic of an arm that is longer than rated.
fn tell_arm(hit: &mut Hit, fitted: Fitted, stated: Pressure) {
    let Some(arm) = arm(fitted.line, fitted.component) else { return };
    *hit = std::mem::take(hit)
        .in_column("arm_length")
        .fact("arm_length", Value::Length(arm.length))
        .fact("arm_rated", Value::Length(arm.rated_length))
        .fact("stated", Value::Pressure(stated))
        .fact("by_arm", Value::Pressure(arm.arm_rating(stated)));
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
    reach: Reach::Line,
    looks_for: "An isolation valve that is rated below the pressure of its zone.",
    why: "It is the valve that people open by hand, and the one that holds the trapped oil until then.",
    remedy: "Take an isolation valve that is rated higher, or lower the pressure.",
    message: "The isolation valve {part}[ at position {position}] sees {measured}[ on {the_side}] and is rated for {limit}, {excess} less.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ It sits before the reducing valve, which is set to {before}.]",
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
            None => {
                let origin = fitted.component.origin;
                outcome.lack_cell(None, Some(fitted.index), Figure::Weakest, origin, "rated_pressure");
            }
        }
    }
}

pub static P07: Rule = Rule {
    family: &FAMILY,
    code: "P07",
    name: "charge-below-min-pressure",
    title: "Pressure is below what a part works at",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A part whose min_pressure is above the pressure of its zone; of a work support also above the holding pressure, where a hold is asked for.",
    why: "Below its lowest working pressure a clamp doesn't move to its end, a support doesn't lock and a valve doesn't switch; a support whose pressure falls lets go.",
    remedy: "Raise the charge pressure, keep the holding pressure up, or take a part that works at a lower one.",
    message: "The {kind} {part}[ at position {position}] works from {limit}, and [the pressure where it sits on the {zone_side} side][the holding pressure{after}] is {measured}, {shortfall} less.",
    limits: &[],
    basis: "common practice",
    passing: "A clamp with a min_pressure of 60 bar at a charge pressure of 60 bar.",
    failing: "A work support with a min_pressure of 100 bar at a holding pressure of 80 bar.",
    checks: Checks::circuit(low_charge),
    figures: Asked { cold: true, hold: true, ..Asked::SIDES },
    cures: &[Cure::OtherPart, Cure::SettingNeeded],
    rests_on: Some(RestsOn {
        data: "min_pressure of a part",
        are_stated: |view| view.fitted().any(|fitted| fitted.component.min_pressure.is_some()),
    }),
    ..Rule::USUAL
};

fn low_charge(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| {
        fitted.component.min_pressure.is_some() || fitted.component.is_unreadable("min_pressure")
    });
    for fitted in view.sound() {
        let Some(least) = fitted.component.min_pressure else { continue };
        let must_hold = fitted.component.is(Kind::WorkSupport) && view.hold_is_asked();
        if view.stays_above(least) && !must_hold && !outcome.weighs() {
            continue;
        }
        let seen = Seen::by(view, fitted);
        let lowest = seen.lowest().map(|(side, pressure)| (side, pressure, false));
        let held = view.figures.holding.hold.filter(|_| must_hold).map(|held| (Side::Clamp, held, true));
        let worst = lowest.into_iter().chain(held).reduce(|worse, next| if next.1 < worse.1 { next } else { worse });
        let at = At::line(fitted.index);
        match worst.filter(|(_, pressure, _)| outcome.is_below(at, *pressure, least)) {
            Some((side, pressure, is_held)) => {
                let after = view.service.hold_time.filter(|_| is_held);
                let after = after.map_or_else(String::new, |_| " at the end of the hold time".to_owned());
                outcome.hit(
                    on_line_of_side(fitted, side)
                        .against(Value::Pressure(pressure), Value::Pressure(least))
                        .fact("kind", kind_word(fitted))
                        .fact_if("zone_side", (!is_held).then(|| Value::Text(side.word().to_owned())))
                        .fact_if("after", is_held.then_some(Value::Text(after)))
                        .fact("shortfall", Value::Pressure(least - pressure)),
                );
            }
            None if must_hold && (view.figures.holding.hold.is_none() || view.figures.holding.hold_is_bound) => {
                outcome.lack(Some(Side::Clamp), Some(fitted.index), Figure::Hold);
            }
            None => {}
        }
        seen.lack(fitted, outcome);
    }
}

pub static P08: Rule = Rule {
    family: &FAMILY,
    code: "P08",
    name: "tube-wall-rated-below-charge",
    title: "Tube wall is too thin for the pressure that it sees",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A tube whose rating by wall stress is below the pressure of its zone.",
    why: "The hoop stress at the bore comes nearer to the tensile strength than the design factor allows.",
    remedy: "Take a tube with a thicker wall or a stronger material, or lower the pressure.",
    message: "The tube {part}[ at position {position}] sees {measured}[ on {the_side}], and its wall is good for {limit}, {excess} less: {tensile_strength} / {design_factor} × (OD² − ID²) / (OD² + ID²) with OD {outer_diameter} and ID {inner_diameter}.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ It sits before the reducing valve, which is set to {before}.]",
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

/// A hit where the part sees more than `rating` in its zone.
fn above_where_it_sits(view: &CircuitView, fitted: Fitted, rating: Pressure, outcome: &mut Outcome) {
    if view.stays_within(rating) && !outcome.weighs() {
        return;
    }
    Seen::by(view, fitted).above_rating(view, fitted, rating, outcome);
}

/// The pressures that a line sees on the sides it counts on.
struct Seen {
    known: [Option<(Side, Pressure)>; 2],
    unknown: Option<(Side, Figure)>,
}

impl Seen {
    /// Those of its zones.
    fn by(view: &CircuitView, fitted: Fitted) -> Self {
        let figure = |side: &SideFigures| pressure_figure(side.zone_of(fitted.index));
        Self::of(view, fitted, |side| side.zone(side.zone_of(fitted.index)).pressure, figure)
    }

    fn of(
        view: &CircuitView,
        fitted: Fitted,
        pressure: impl Fn(&SideFigures) -> Option<Pressure>,
        figure: impl Fn(&SideFigures) -> Figure,
    ) -> Self {
        let mut seen = Self { known: [None; 2], unknown: None };
        for (slot, side) in seen.known.iter_mut().zip(view.sides_of(fitted)) {
            match pressure(side) {
                Some(pressure) => *slot = Some((side.side, pressure)),
                None => seen.unknown = seen.unknown.or(Some((side.side, figure(side)))),
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
    fn above_rating(&self, view: &CircuitView, fitted: Fitted, rating: Pressure, outcome: &mut Outcome) {
        let at = At::line(fitted.index);
        let too_high = |(_, pressure): &(Side, Pressure)| outcome.is_above(at, *pressure, rating);
        if let Some((side, pressure)) = self.highest().filter(too_high) {
            let hit = on_line_of_side(fitted, side)
                .against(Value::Pressure(pressure), Value::Pressure(rating))
                .fact("kind", kind_word(fitted))
                .fact("excess", Value::Pressure(pressure - rating));
            let is_behind = view.figures.side(side).is_some_and(|side| side.zone_of(fitted.index) == Zone::Reduced);
            outcome.hit(with_chain(hit, view, side, is_behind));
        }
        self.lack(fitted, outcome);
    }

    fn lack(&self, fitted: Fitted, outcome: &mut Outcome) {
        if let Some((side, figure)) = self.unknown {
            outcome.lack(Some(side), Some(fitted.index), figure);
        }
    }
}

/// The figure that a zone's pressure is.
const fn pressure_figure(zone: Zone) -> Figure {
    match zone {
        Zone::Charge | Zone::Full => Figure::Full,
        Zone::Reduced => Figure::Charge,
    }
}

fn on_line_of_side(fitted: Fitted, side: Side) -> Hit {
    Hit { side: Some(side), ..Hit::on_line(fitted.index) }
}

const fn on_line_at(fitted: Fitted, side: Side) -> At {
    At { side: Some(side), ..At::line(fitted.index) }
}

fn kind_word(fitted: Fitted) -> Value {
    Value::Text(fitted.component.kind.map_or_else(|| "part".to_owned(), Kind::plain))
}

/// Adds what the pump has to be set to; of one that air drives, what the air has to.
fn with_needed(hit: Hit, view: &CircuitView, needed: Option<Pressure>) -> Hit {
    let Some(needed) = needed else { return hit };
    match view.station().and_then(|station| view.plant.air_ratio_of(station)) {
        Some(ratio) => hit.fact("air_ratio", Value::Ratio(ratio)).fact("air_needed", Value::Pressure(needed / ratio)),
        None => hit.fact("setting_needed", Value::Pressure(needed)),
    }
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
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A sequence valve set above sequence_high × the pressure of its zone, or below sequence_low × the highest min_pressure of the side's clamps and work supports with an earlier step than the one that it opens.",
    why: "Set too high it may not open before the stroke ends; set too low it opens before the parts of an earlier step have done their work.",
    remedy: "Set the sequence valve between what earlier steps need and sequence_high of the pressure of its zone.",
    message: "The sequence valve {part}[ at position {position}], which opens step {step}, is set to {measured},[ above {share_high} × {pressure} = {limit} on the {zone_side} side.][ below {share_low} × {least} = {limit}: {needs} of an earlier step works from {least}.]",
    limits: &["sequence_high", "sequence_low"],
    basis: "common practice",
    passing: "A sequence valve set to 180 bar in a zone of 200 bar; the supports of step 1 work from 100 bar.",
    failing: "A sequence valve set to 100 bar that opens step 2; a support of step 1 works from 100 bar, and 1.1 × 100 bar are 110 bar.",
    checks: Checks::circuit(odd_sequence),
    cures: &[Cure::SequenceSetting, Cure::OtherPart],
    ..Rule::USUAL
};

fn odd_sequence(view: &CircuitView, outcome: &mut Outcome) {
    look_at_settings(view, Kind::SequenceValve, outcome, sequence_on);
}

/// Aspects of a figure with two bounds.
const UPPER: u8 = 0;
const LOWER: u8 = 1;

fn sequence_on<'a>(
    view: &CircuitView,
    fitted: Fitted,
    setting: Pressure,
    side: &'a SideFigures,
    outcome: &mut Outcome,
) -> Found<'a> {
    let at = on_line_at(fitted, side.side);
    let zone = side.zone_of(fitted.index);
    let step = step_of(fitted);
    let hit = |limit: Pressure| {
        on_line_of_side(fitted, side.side)
            .against(Value::Pressure(setting), Value::Pressure(limit))
            .fact("step", Value::Number(step))
    };
    let pressure = side.zone(zone).pressure;
    if let Some(pressure) = pressure {
        let share = view.limits().sequence_high;
        let limit = pressure * share;
        if outcome.is_above(at.aspect(UPPER), setting, limit) {
            let hit = hit(limit)
                .fact("share_high", Value::Ratio(share))
                .fact("pressure", Value::Pressure(pressure))
                .fact("zone_side", Value::Text(side.side.word().to_owned()));
            return Found::Hit(setting.si() - limit.si(), hit);
        }
    }
    if let Some((least, part)) = needed_before(view, side, step) {
        let share = view.limits().sequence_low;
        let limit = least * share;
        if outcome.is_below(at.aspect(LOWER), setting, limit) {
            let hit = hit(limit)
                .fact("share_low", Value::Ratio(share))
                .fact("least", Value::Pressure(least))
                .fact("needs", Value::Text(part.to_owned()));
            return Found::Hit(limit.si() - setting.si(), hit);
        }
    }
    if pressure.is_none() { Found::Lack(side, pressure_figure(zone)) } else { Found::Fine }
}

/// The step in which a clamp or work support moves, or which a sequence valve opens.
fn step_of(fitted: Fitted) -> f64 {
    fitted.line.step_with(fitted.component)
}

/// The highest `min_pressure` of the clamps and work supports of a side that move before a step, and
/// the part that has it.
fn needed_before<'a>(view: &CircuitView<'a>, side: &SideFigures, step: f64) -> Option<(Pressure, &'a str)> {
    view.sound()
        .filter(|fitted| fitted.component.is_actuator() && side.lines.binary_search(&fitted.index).is_ok())
        .filter(|fitted| step_of(*fitted) < step)
        .filter_map(|fitted| Some((fitted.component.min_pressure?, fitted.component.part_no.as_str())))
        .reduce(|most, next| if next.0 > most.0 { next } else { most })
}

pub static P10: Rule = Rule {
    family: &FAMILY,
    code: "P10",
    name: "relief-valve-setting-out-of-range",
    title: "Relief valve opens too late or too early",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A relief valve set above the weakest rating of its zone (ahead of the check valve also of the zone behind it, which it guards while coupled), or at or below the zone's pressure.",
    why: "Set too high it protects nothing; set at or below the pressure it opens at every charging and lets the oil out.",
    remedy: "Set the relief valve above the pressure where it sits and not above the weakest rating.",
    message: "The relief valve {part}[ at position {position}] is set to {measured},[ above the weakest rating that it guards on the {guarded} side, {limit} of {weakest_part}.][ not above the {limit} {that_it_sees} on the {zone_side} side.]",
    limits: &[],
    basis: "ISO 4413 (protection against excess pressure)",
    passing: "A relief valve set to 330 bar at a charge pressure of 300 bar and a weakest rating of 350 bar.",
    failing: "A relief valve set to 300 bar at a charge pressure of 300 bar.",
    checks: Checks::circuit(odd_relief),
    cures: &[Cure::ReliefSetting, Cure::OtherPart],
    ..Rule::USUAL
};

fn odd_relief(view: &CircuitView, outcome: &mut Outcome) {
    look_at_settings(view, Kind::ReliefValve, outcome, relief_on);
}

fn relief_on<'a>(
    view: &CircuitView,
    fitted: Fitted,
    setting: Pressure,
    side: &'a SideFigures,
    outcome: &mut Outcome,
) -> Found<'a> {
    let at = on_line_at(fitted, side.side);
    let zone = side.zone_of(fitted.index);
    let hit =
        |limit: Pressure| on_line_of_side(fitted, side.side).against(Value::Pressure(setting), Value::Pressure(limit));
    let guarded: &[Zone] = if zone == Zone::Charge { &[Zone::Charge, Zone::Full] } else { &[zone] };
    let guarded = || guarded.iter().map(|zone| side.zone(*zone)).filter(|zone| !zone.lines.is_empty());
    let weakest = guarded()
        .filter_map(|zone| zone.weakest)
        .reduce(|weaker, next| if next.pressure < weaker.pressure { next } else { weaker });
    let apart = || view.ratings_apart(&guarded().flat_map(|zone| zone.lines.iter().copied()).collect::<Vec<_>>());
    let too_weak = |weakest: &Rating| outcome.is_above_weakest(at.aspect(UPPER), setting, *weakest, apart);
    if let Some(weakest) = weakest.filter(too_weak) {
        let hit = hit(weakest.pressure)
            .fact("guarded", Value::Text(side.side.word().to_owned()))
            .fact("weakest_part", Value::Text(part_of(view, weakest)));
        return Found::Hit(setting.si() - weakest.pressure.si(), hit);
    }
    let there = side.zone(zone).pressure;
    if let Some(there) = there.filter(|there| !outcome.clears(at.aspect(LOWER), setting, *there)) {
        let words = match zone {
            Zone::Charge => "that it sees ahead of the check valve",
            Zone::Full if side.chain.reducing.is_some() => "that it sees before the reducing valve",
            Zone::Full => "that it sees",
            Zone::Reduced => "that it sees behind the reducing valve",
        };
        let hit = hit(there)
            .fact("that_it_sees", Value::Text(words.to_owned()))
            .fact("zone_side", Value::Text(side.side.word().to_owned()));
        return Found::Hit(there.si() - setting.si(), hit);
    }
    if there.is_none() {
        return Found::Lack(side, pressure_figure(zone));
    }
    if guarded().any(|zone| zone.weakest.is_none()) { Found::Lack(side, Figure::Weakest) } else { Found::Fine }
}

/// The part number of a rating's line.
fn part_of(view: &CircuitView, rating: Rating) -> String {
    let line = view.circuit.lines.get(rating.line);
    let part = line.and_then(|line| line.component(&view.plant.components));
    part.map_or_else(String::new, |part| part.part_no.clone())
}

pub static P11: Rule = Rule {
    family: &FAMILY,
    code: "P11",
    name: "charge-above-pressure-set",
    title: "Charge pressure is above the one wanted",
    severity: Severity::Minor,
    subject: Subject::Side,
    reach: Reach::Makeup,
    looks_for: "A charge pressure above pressure_set by more than pressure_tolerance.",
    why: "The clamps press harder than was laid out, and thin parts may bend.",
    remedy: "Lower the pump setting to what is needed, or set the reducing valve to pressure_set.",
    message: "The {side} side reaches {measured}; wanted are {set}, with a tolerance of {tolerance} at most {limit}.[ Pump {pump} × ratio {ratio} − return loss {return_loss} = {full}.][ The reducing valve is set to {reducing}.][ The pump setting needed is {setting_needed}.][ The pump is driven by air, {air_ratio} × its pressure; needed is air of {air_needed}.]",
    limits: &["pressure_tolerance"],
    basis: "common practice",
    passing: "A charge pressure of 315 bar where 300 bar are wanted, within 5 %.",
    failing: "A charge pressure of 350 bar where 300 bar are wanted.",
    checks: Checks::circuit(over_set),
    cures: &[Cure::SettingNeeded, Cure::ReducingSetting],
    live: Some("P11 charge above pressure set"),
    rests_on: Some(RestsOn { data: "pressure_set", are_stated: |view| view.service.pressure_set.is_some() }),
    ..Rule::USUAL
};

fn over_set(view: &CircuitView, outcome: &mut Outcome) {
    let tolerance = view.limits().pressure_tolerance;
    for (side, charge, set) in charges_and_set(view, outcome) {
        let limit = set * (1.0 + tolerance);
        if outcome.is_above(At::side(side.side), charge, limit) {
            let hit = Hit::on_side(side.side).against(Value::Pressure(charge), Value::Pressure(limit));
            let hit = with_set(hit, set, tolerance);
            let hit = with_needed(hit, view, side.chain.pump_needed);
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
    reach: Reach::Line,
    looks_for: "A pressure of its zone outside gauge_low to gauge_high of a gauge's full scale.",
    why: "Near the foot of its scale a gauge is coarse, near the top it wears and is soon overloaded.",
    remedy: "Take a gauge whose full scale puts the pressure near the middle.",
    message: "The gauge {part}[ at position {position}] sees {measured}[ on {the_side}],[ above {share_high} × full scale {full_scale} = {limit}.][ below {share_low} × full scale {full_scale} = {limit}.]",
    limits: &["gauge_low", "gauge_high"],
    basis: "EN 837-2 (at most 75 % of full scale at steady pressure); lower bound common practice",
    passing: "300 bar on a gauge of 400 bar, which is 0.75 of its scale.",
    failing: "350 bar on a gauge of 400 bar.",
    checks: Checks::circuit(odd_gauge),
    cures: &[Cure::OtherPart],
    ..Rule::USUAL
};

fn odd_gauge(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| fitted.component.is(Kind::Gauge));
    for fitted in view.sound_of(Kind::Gauge) {
        let Some(full_scale) = fitted.component.full_scale else {
            outcome.lack_cell(None, Some(fitted.index), Figure::FullScale, fitted.component.origin, "full_scale");
            continue;
        };
        let worse = Worse::of(view.sides_of(fitted), |side| gauge_on(view, fitted, full_scale, side, outcome));
        worse.report(fitted, outcome);
    }
}

fn gauge_on<'a>(
    view: &CircuitView,
    fitted: Fitted,
    full_scale: Pressure,
    side: &'a SideFigures,
    outcome: &mut Outcome,
) -> Found<'a> {
    let at = on_line_at(fitted, side.side);
    let zone = side.zone_of(fitted.index);
    let Some(pressure) = side.zone(zone).pressure else { return Found::Lack(side, pressure_figure(zone)) };
    let limits = view.limits();
    let (low, high) = (full_scale * limits.gauge_low, full_scale * limits.gauge_high);
    let hit = |limit: Pressure| {
        on_line_of_side(fitted, side.side)
            .against(Value::Pressure(pressure), Value::Pressure(limit))
            .fact("full_scale", Value::Pressure(full_scale))
    };
    let is_low = outcome.is_below(at.aspect(LOWER), pressure, low);
    if outcome.is_above(at.aspect(UPPER), pressure, high) {
        let hit = hit(high).fact("share_high", Value::Ratio(limits.gauge_high));
        Found::Hit(pressure.si() - high.si(), hit)
    } else if is_low {
        let hit = hit(low).fact("share_low", Value::Ratio(limits.gauge_low));
        Found::Hit(low.si() - pressure.si(), hit)
    } else {
        Found::Fine
    }
}

/// What a setting is looked at by on one side.
type LookAt = for<'a> fn(&CircuitView, Fitted, Pressure, &'a SideFigures, &mut Outcome) -> Found<'a>;

/// Looks at the settings of the valves of a kind, each on the side where it is worse; one without is lacking.
fn look_at_settings(view: &CircuitView, kind: Kind, outcome: &mut Outcome, look: LookAt) {
    view.lack_set_aside(outcome, |fitted| fitted.component.is(kind));
    for fitted in view.sound_of(kind) {
        let Some(setting) = fitted.line.setting_with(fitted.component) else {
            let origin = fitted.component.origin;
            outcome.lack_cell(None, Some(fitted.index), Figure::Setting, origin, "set_pressure");
            continue;
        };
        let worse = Worse::of(view.sides_of(fitted), |side| look(view, fitted, setting, side, outcome));
        worse.report(fitted, outcome);
    }
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
    fn of(sides: impl Iterator<Item = &'a SideFigures>, mut look: impl FnMut(&'a SideFigures) -> Found<'a>) -> Self {
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
    name: "potential-above-weakest-without-relief",
    title: "Station could exceed a rating, and no relief valve",
    severity: Severity::Major,
    subject: Subject::Side,
    looks_for: "A line rated below what the pump could bring to its zone (behind a reducing valve: the lower of that and the valve's setting) on a side without a relief valve, listed or built in.",
    why: "A setting that slips, or is turned up for another pallet, takes the part above its rating.",
    remedy: "Add a relief valve, take a pump with a lower rating, lock the station's relief valve lower, or replace the weakest part.",
    message: "The station's pump could bring {the_side} to {measured}[ ahead of the check valve{ahead}][ behind the reducing valve{behind}]; the weakest part there[, {weakest_part},] is rated for {limit}, {excess} less, and there is no relief valve.",
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
        if !side.kinds_are_known {
            outcome.lack(Some(side.side), None, Figure::Presence);
            continue;
        }
        let mut lacking = None;
        let mut worst: Option<(Zone, Pressure, Rating)> = None;
        for (zone, figures) in filled_zones(side) {
            let (Some(potential), Some(weakest)) = (figures.potential, figures.weakest) else {
                let figure = if figures.potential.is_none() { Figure::Potential } else { Figure::Weakest };
                lacking = lacking.or(Some(figure));
                continue;
            };
            let is_worse = worst.is_none_or(|(_, most, rating)| potential - weakest.pressure > most - rating.pressure);
            let at = At::side(side.side).aspect(zone as u8);
            let apart = || view.ratings_apart(&figures.lines);
            if outcome.is_above_weakest(at, potential, weakest, apart) && is_worse {
                worst = Some((zone, potential, weakest));
            }
        }
        if let Some((zone, potential, weakest)) = worst {
            let empty = |is_so: bool| is_so.then(|| Value::Text(String::new()));
            outcome.hit(
                Hit::on_side(side.side)
                    .against(Value::Pressure(potential), Value::Pressure(weakest.pressure))
                    .fact("weakest_part", Value::Text(part_of(view, weakest)))
                    .fact_if("ahead", empty(zone == Zone::Charge))
                    .fact_if("behind", empty(zone == Zone::Reduced))
                    .fact("excess", Value::Pressure(potential - weakest.pressure)),
            );
        } else if let Some(figure) = lacking {
            outcome.lack(Some(side.side), None, figure);
        }
    }
}

/// The zones of a side that have lines.
fn filled_zones(side: &SideFigures) -> impl Iterator<Item = (Zone, &ZoneFigures)> {
    Zone::ALL.iter().map(|zone| (*zone, side.zone(*zone))).filter(|(_, figures)| !figures.lines.is_empty())
}

pub static P14: Rule = Rule {
    family: &FAMILY,
    code: "P14",
    name: "charge-near-weakest-rating",
    title: "Pressure is near the weakest rating",
    severity: Severity::Observation,
    subject: Subject::Side,
    looks_for: "A zone's pressure above pressure_watch of its weakest rating, and not above that rating; the zone nearest to its rating is named.",
    why: "A warm pallet or a pump set a little higher takes the part above its rating.",
    remedy: "Lower the charge pressure a little, or take a part that is rated higher.",
    message: "The {side} side is charged to {measured}[ ahead of the check valve{ahead}][ behind the reducing valve{behind}]; the weakest part there[, {weakest_part},] is rated for {weakest}, and {watch} × {weakest} = {limit}.",
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
        let mut lacking = None;
        let mut nearest: Option<(Zone, Pressure, Rating)> = None;
        for (zone, figures) in filled_zones(side) {
            let (Some(pressure), Some(weakest)) = (figures.pressure, figures.weakest) else {
                let figure = if figures.pressure.is_none() { pressure_figure(zone) } else { Figure::Weakest };
                lacking = lacking.or(Some(figure));
                continue;
            };
            let watched = |rating: Rating| Rating { pressure: rating.pressure * watch, ..rating };
            let apart = || view.ratings_apart(&figures.lines).into_iter().map(watched).collect();
            let at = At::side(side.side).aspect(zone as u8);
            let is_near = outcome.is_above_weakest(at, pressure, watched(weakest), apart)
                && !is_above(pressure.si(), weakest.pressure.si());
            let is_nearer =
                nearest.is_none_or(|(_, known, rating)| pressure / weakest.pressure > known / rating.pressure);
            if is_near && is_nearer {
                nearest = Some((zone, pressure, weakest));
            }
        }
        if let Some((zone, pressure, weakest)) = nearest {
            let empty = |is_so: bool| is_so.then(|| Value::Text(String::new()));
            outcome.hit(
                Hit::on_side(side.side)
                    .against(Value::Pressure(pressure), Value::Pressure(weakest.pressure * watch))
                    .fact("watch", Value::Ratio(watch))
                    .fact("weakest", Value::Pressure(weakest.pressure))
                    .fact("weakest_part", Value::Text(part_of(view, weakest)))
                    .fact_if("ahead", empty(zone == Zone::Charge))
                    .fact_if("behind", empty(zone == Zone::Reduced)),
            );
        }
        if let Some(figure) = lacking {
            outcome.lack(Some(side.side), None, figure);
        }
    }
}

pub static P15: Rule = Rule {
    family: &FAMILY,
    code: "P15",
    name: "rod-side-intensifies-pressure",
    title: "Closed rod side could exceed its weakest rating",
    severity: Severity::Minor,
    subject: Subject::Side,
    looks_for: "An unclamp side that a check valve can close and no relief valve behind it guards, where the clamp side's charge pressure × the largest area_clamp / area_unclamp is above the unclamp side's weakest rating.",
    why: "Oil that can't leave the rod side is pressed by the whole piston area: its pressure rises in proportion to the areas.",
    remedy: "Add a relief valve on the unclamp side, or see to it that its oil can always flow back.",
    message: "A check valve can close {the_side}, and no relief valve guards it: {charge} × {area_ratio}, the ratio of areas of {pressing}, are {measured}; the weakest part there[, {weakest_part},] is rated for {limit}, {excess} less.",
    limits: &[],
    basis: "ISO 4413 (pressure intensification)",
    passing: "160 bar on clamps of 800 / 400 mm², so 320 bar at most, and an unclamp side rated for 350 bar.",
    failing: "160 bar on clamps of 800 / 400 mm², so 320 bar, and an unclamp side rated for 250 bar.",
    checks: Checks::circuit(closed_rod_side),
    cures: &[Cure::ReliefValve],
    ..Rule::USUAL
};

fn closed_rod_side(view: &CircuitView, outcome: &mut Outcome) {
    let Some(side) = view.figures.unclamp.as_ref().filter(|side| !side.lines.is_empty()) else { return };
    // Ahead of the check valve it relieves nothing of what that closes.
    let is_guarded = [Zone::Full, Zone::Reduced].into_iter().any(|zone| side.zone(zone).kinds.has(Kind::ReliefValve));
    if is_guarded || side.kinds_are_known && !side.kinds.has(Kind::CheckValve) {
        return;
    }
    let on = Some(side.side);
    if !side.kinds_are_known {
        return outcome.lack(on, None, Figure::Presence);
    }
    let Some(charge) = view.figures.clamp.chain.charge else { return outcome.lack(on, None, Figure::Charge) };
    let Some(weakest) = side.chain.weakest else { return outcome.lack(on, None, Figure::Weakest) };
    let mut largest: Option<(f64, &str)> = None;
    let mut without: Option<Fitted> = None;
    for fitted in view.sound_of(Kind::Clamp).filter(|fitted| fitted.component.is_double_acting()) {
        match ratio_of_areas(fitted.component) {
            Some(ratio) if largest.is_none_or(|(most, _)| ratio > most) => {
                largest = Some((ratio, &fitted.component.part_no));
            }
            Some(_) => {}
            None => without = without.or(Some(fitted)),
        }
    }
    if let Some((ratio, part)) = largest {
        let pressure = charge * ratio;
        let apart = || view.ratings_apart(&side.lines);
        if outcome.is_above_weakest(At::side(side.side), pressure, weakest, apart) {
            return outcome.hit(
                Hit::on_side(side.side)
                    .against(Value::Pressure(pressure), Value::Pressure(weakest.pressure))
                    .fact("charge", Value::Pressure(charge))
                    .fact("area_ratio", Value::Ratio(ratio))
                    .fact("pressing", Value::Text(part.to_owned()))
                    .fact("weakest_part", Value::Text(part_of(view, weakest)))
                    .fact("excess", Value::Pressure(pressure - weakest.pressure)),
            );
        }
    }
    if let Some(fitted) = without {
        let component = fitted.component;
        let column = if component.area_clamp.is_none() { "area_clamp" } else { "area_unclamp" };
        outcome.lack_cell(on, Some(fitted.index), Figure::Force, component.origin, column);
    }
}

/// Piston area over rod side area of a clamp; swept volumes over one stroke have the same ratio.
pub(crate) fn ratio_of_areas(clamp: &Component) -> Option<f64> {
    let by_area = clamp.area_clamp.zip(clamp.area_unclamp).map(|(clamp, unclamp)| clamp / unclamp);
    by_area.or_else(|| clamp.volume_clamp.zip(clamp.volume_unclamp).map(|(clamp, unclamp)| clamp / unclamp))
}

pub static P16: Rule = Rule {
    family: &FAMILY,
    code: "P16",
    name: "pressure-ratio-differs-from-areas",
    title: "Stated pressure ratio differs from the piston areas",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A charging cylinder whose pressure_ratio differs by more than catalogue_tolerance from piston_area of the station's drive ram / its own piston_area.",
    why: "The ratio holds for one ram only. With another one the circuit gets another pressure than the list says.",
    remedy: "Charge at the station that the ratio is stated for, or correct the ratio or the areas.",
    message: "The pressure ratio of {part}[ at position {position}] is stated as {measured}; the drive ram {ram} of station {station} over the cylinder gives {ram_area} / {cylinder_area} = {by_areas}, with a tolerance of {tolerance} a limit of {limit}. The ratio of the areas counts.",
    limits: &["catalogue_tolerance"],
    basis: "Balance of forces: pressure is force over area",
    passing: "A stated ratio of 0.72 and 900 mm² / 1250 mm² = 0.72.",
    failing: "A stated ratio of 0.5 and 900 mm² / 1250 mm² = 0.72.",
    checks: Checks::circuit(odd_ratio),
    cures: &[Cure::OtherCylinder, Cure::OtherDriveRam],
    rests_on: Some(RestsOn {
        data: "pressure_ratio of a charging cylinder with the piston areas of cylinder and drive ram",
        are_stated: has_both_ratios,
    }),
    ..Rule::USUAL
};

fn has_both_ratios(view: &CircuitView) -> bool {
    let ram = view.station().and_then(|station| view.plant.drive_ram_of(station));
    let has_both = |part: &Component| part.pressure_ratio.is_some() && part.piston_area.is_some();
    ram.is_some_and(|ram| ram.piston_area.is_some())
        && view.sound_of(Kind::ChargingCylinder).any(|fitted| has_both(fitted.component))
}

fn odd_ratio(view: &CircuitView, outcome: &mut Outcome) {
    if view.charging() != Charging::Cylinder {
        return;
    }
    let Some(station) = view.station() else { return };
    let Some(ram) = view.plant.drive_ram_of(station) else { return };
    let tolerance = view.limits().catalogue_tolerance;
    view.lack_set_aside(outcome, |fitted| {
        fitted.component.pressure_ratio.is_some() && fitted.component.piston_area.is_some()
    });
    for fitted in view.sound_of(Kind::ChargingCylinder) {
        let Some((stated, area)) = fitted.component.pressure_ratio.zip(fitted.component.piston_area) else { continue };
        if super::rating::is_unreadable(ram, "piston_area") {
            outcome.lack_cell(None, Some(fitted.index), Figure::Ratio, ram.origin, "piston_area");
            continue;
        }
        let Some(ram_area) = ram.piston_area else { continue };
        let by_areas = ram_area / area;
        let (low, high) = (by_areas * (1.0 - tolerance), by_areas * (1.0 + tolerance));
        let limit = if is_above(stated, high) {
            high
        } else if is_below(stated, low) {
            low
        } else {
            continue;
        };
        outcome.hit(
            Hit::on_line(fitted.index)
                .against(Value::Ratio(stated), Value::Ratio(limit))
                .fact("ram", Value::Text(ram.part_no.clone()))
                .fact("station", Value::Text(view.service.station.to_string()))
                .fact("ram_area", Value::Area(ram_area))
                .fact("cylinder_area", Value::Area(area))
                .fact("by_areas", Value::Ratio(by_areas))
                .fact("tolerance", Value::Ratio(tolerance)),
        );
    }
}

pub static P17: Rule = Rule {
    family: &FAMILY,
    code: "P17",
    name: "relief-valve-weeps",
    title: "Relief valve is set so low that it weeps",
    severity: Severity::Minor,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A relief valve set below (1 + relief_margin) × the pressure of its zone, and above that pressure.",
    why: "A relief valve begins to open below its setting: so near to the pressure it weeps at each charging and warms the oil.",
    remedy: "Set the relief valve higher, as far as the weakest rating allows it, or lower the pressure.",
    message: "The relief valve {part}[ at position {position}] is set to {measured}, and (1 + {margin}) × {pressure} = {limit}[ on the {zone_side} side]: it weeps at each charging.",
    limits: &["relief_margin"],
    basis: "common practice",
    passing: "A relief valve set to 220 bar at 200 bar.",
    failing: "A relief valve set to 210 bar at 200 bar.",
    checks: Checks::circuit(weeping_relief),
    cures: &[Cure::ReliefSetting, Cure::OtherPart],
    ..Rule::USUAL
};

fn weeping_relief(view: &CircuitView, outcome: &mut Outcome) {
    look_at_settings(view, Kind::ReliefValve, outcome, weeping_on);
}

fn weeping_on<'a>(
    view: &CircuitView,
    fitted: Fitted,
    setting: Pressure,
    side: &'a SideFigures,
    outcome: &mut Outcome,
) -> Found<'a> {
    let margin = view.limits().relief_margin;
    let zone = side.zone_of(fitted.index);
    let Some(pressure) = side.zone(zone).pressure else { return Found::Lack(side, pressure_figure(zone)) };
    let limit = pressure * (1.0 + margin);
    let is_low = outcome.is_below(on_line_at(fitted, side.side), setting, limit);
    if !is_low || !is_above(setting.si(), pressure.si()) {
        return Found::Fine;
    }
    let hit = on_line_of_side(fitted, side.side)
        .against(Value::Pressure(setting), Value::Pressure(limit))
        .fact("margin", Value::Ratio(margin))
        .fact("pressure", Value::Pressure(pressure))
        .fact("zone_side", Value::Text(side.side.word().to_owned()));
    Found::Hit(limit.si() - setting.si(), hit)
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
