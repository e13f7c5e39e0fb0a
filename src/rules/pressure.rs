//! P: the pressure chain against what the parts are rated for.

pub mod chain;
pub mod setting;
#[cfg(test)]
mod tests;

use crate::physics::quantity::Pressure;
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Severity, Side};

use super::rating::{stated_rating, wall_rating, wall_rating_is_unreadable};
use super::view::{CircuitView, Fitted};
use super::{Checks, Hit, Outcome, Rule, is_above, is_below};

pub static P01: Rule = Rule {
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

pub static P05: Rule = Rule {
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
