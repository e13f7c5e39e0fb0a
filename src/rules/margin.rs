//! How far a rule that is met is from its limit: of several lines or sides the nearest.
//!
//! The figures are those that the rule's function compares, so that a margin is never below 0 where the rule found
//! nothing; a test on many circuits sees to it. A rule that looks for presence, words or dates has no margin.

use crate::physics::quantity::Pressure;
use crate::tables::figures::SideFigures;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Side, Zone};

use super::contact_force::piece_force;
use super::force::friction_held;
use super::rating::{stated_rating, wall_rating, with_arm};
use super::view::{CircuitView, Fitted};
use super::{Rule, is_above, is_below};

/// A figure and its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Margin {
    pub measured: Value,
    pub limit: Value,
    /// Whether the limit is the most that is allowed; else the least.
    pub is_most: bool,
    pub side: Option<Side>,
    /// Index into the circuit's lines.
    pub line: Option<usize>,
    /// Both in the same unit.
    numbers: (f64, f64),
}

impl Margin {
    /// The distance to the limit as a share of it, below 0 beyond it; `None` of a limit of 0.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        let (measured, limit) = self.numbers;
        let distance = if self.is_most { limit - measured } else { measured - limit };
        (limit != 0.0).then(|| distance / limit.abs())
    }

    /// Whether the limit is exceeded, as rules see it.
    #[must_use]
    pub fn is_exceeded(&self) -> bool {
        let (measured, limit) = self.numbers;
        if self.is_most { is_above(measured, limit) } else { is_below(measured, limit) }
    }
}

/// The nearest margin of a rule on a circuit; `None` where the rule compares nothing there.
#[must_use]
pub fn margin(rule: &Rule, view: &CircuitView) -> Option<Margin> {
    let all = match rule.code {
        "L07" => strokes(view),
        "M09" => usable_oil(view),
        "V01" => fills(view, view.limits().fill),
        "V02" => fills(view, view.limits().fill_watch),
        "P01" => of_kind(view, &|part| part == Kind::ChargingCylinder),
        "P03" => charges(view, -1.0),
        "P05" => of_kind(view, &|part| {
            !matches!(part, Kind::ChargingCylinder | Kind::IsolationValve | Kind::Pump | Kind::DriveRam)
        }),
        "P06" => of_kind(view, &|part| part == Kind::IsolationValve),
        "P07" => least_pressures(view),
        "P08" => walls(view),
        "P10" => reliefs(view),
        "P11" => charges(view, 1.0),
        "P13" => potentials(view),
        "P14" => watched(view),
        "P17" => weeping(view),
        "H01" => hot(view),
        "H02" => held(view, view.figures.holding.cold_or_settled),
        "H03" => held(view, view.figures.holding.hold),
        "F01" => forces(view),
        "F02" => highest_forces(view),
        "F04" => friction(view),
        "T01" => times(view.service.clamp_time_max, view.figures.clamp_time),
        "T02" => times(view.service.unclamp_time_max, view.figures.unclamp_time),
        "T03" => steps(view),
        _ => Vec::new(),
    };
    all.into_iter().min_by(|a, b| a.share().unwrap_or(f64::MAX).total_cmp(&b.share().unwrap_or(f64::MAX)))
}

type Margins = Vec<Margin>;

fn pressure(measured: Pressure, limit: Pressure, is_most: bool) -> Margin {
    Margin {
        measured: Value::Pressure(measured),
        limit: Value::Pressure(limit),
        is_most,
        side: None,
        line: None,
        numbers: (measured.si(), limit.si()),
    }
}

impl Margin {
    fn on_side(mut self, side: Side) -> Self {
        self.side = Some(side);
        self
    }

    fn on_line(mut self, line: usize) -> Self {
        self.line = Some(line);
        self
    }
}

fn sides<'a>(view: &CircuitView<'a>) -> impl Iterator<Item = &'a SideFigures> + use<'a> {
    view.figures.sides().filter(|side| !side.lines.is_empty())
}

fn strokes(view: &CircuitView) -> Margins {
    let margin = |fitted: Fitted| {
        let (used, stroke) = fitted.line.stroke_used.zip(fitted.component.stroke)?;
        Some(Margin {
            measured: Value::Length(used),
            limit: Value::Length(stroke),
            is_most: true,
            side: None,
            line: Some(fitted.index),
            numbers: (used.si(), stroke.si()),
        })
    };
    view.sound().filter_map(margin).collect()
}

fn usable_oil(view: &CircuitView) -> Margins {
    let pump = view.station().and_then(|station| view.plant.component_at(station.pump.index()));
    let Some(oil) = pump.and_then(|pump| pump.capacity) else { return Vec::new() };
    let needed = |side: &SideFigures| {
        let needed = side.group.demand? * side.chain.ratio?;
        Some(Margin {
            measured: Value::Volume(needed),
            limit: Value::Volume(oil),
            is_most: true,
            side: Some(side.side),
            line: None,
            numbers: (needed.si(), oil.si()),
        })
    };
    sides(view).filter_map(needed).collect()
}

fn fills(view: &CircuitView, limit: f64) -> Margins {
    let margin = |side: &SideFigures| {
        let fill = side.fill?;
        Some(Margin {
            measured: Value::Ratio(fill),
            limit: Value::Ratio(limit),
            is_most: true,
            side: Some(side.side),
            line: None,
            numbers: (fill, limit),
        })
    };
    sides(view).filter_map(margin).collect()
}

/// Pressures of lines against a figure of theirs, on every side that they count on.
fn on_lines(view: &CircuitView, of: &dyn Fn(Fitted, Pressure) -> Option<Margin>) -> Margins {
    let mut all = Vec::new();
    // A line that is set aside still counts for ratings.
    for fitted in view.fitted() {
        for side in view.sides_of(fitted) {
            let zone = side.zone(side.zone_of(fitted.index)).pressure;
            let sees = if fitted.component.is(Kind::ChargingCylinder) { side.chain.full } else { zone };
            let Some(pressure) = sees else { continue };
            all.extend(of(fitted, pressure).map(|margin| margin.on_side(side.side).on_line(fitted.index)));
        }
    }
    all
}

fn of_kind(view: &CircuitView, is_meant: &dyn Fn(Kind) -> bool) -> Margins {
    on_lines(view, &|fitted, sees| {
        fitted.component.kind.filter(|kind| is_meant(*kind))?;
        let rating = with_arm(fitted.line, fitted.component, stated_rating(fitted.component)?);
        Some(pressure(sees, rating, true))
    })
}

fn walls(view: &CircuitView) -> Margins {
    on_lines(view, &|fitted, sees| Some(pressure(sees, wall_rating(fitted.component, view.limits())?, true)))
}

fn least_pressures(view: &CircuitView) -> Margins {
    on_lines(view, &|fitted, sees| Some(pressure(sees, fitted.component.min_pressure?, false)))
}

fn reliefs(view: &CircuitView) -> Margins {
    let mut all = Vec::new();
    for fitted in view.sound_of(Kind::ReliefValve) {
        let Some(setting) = fitted.line.setting_with(fitted.component) else { continue };
        for side in view.sides_of(fitted) {
            let Some(weakest) = side.zone(side.zone_of(fitted.index)).weakest else { continue };
            all.push(pressure(setting, weakest.pressure, true).on_side(side.side).on_line(fitted.index));
        }
    }
    all
}

fn weeping(view: &CircuitView) -> Margins {
    on_lines(view, &|fitted, sees| {
        let setting = fitted.line.setting_with(fitted.component);
        let setting = setting.filter(|_| fitted.component.is(Kind::ReliefValve))?;
        Some(pressure(setting, sees * (1.0 + view.limits().relief_margin), false))
    })
}

/// Charge pressure against the one that is wanted, with the tolerance below it (-1) or above it (1).
fn charges(view: &CircuitView, way: f64) -> Margins {
    let Some(set) = view.service.pressure_set else { return Vec::new() };
    let limit = set * (1.0 + way * view.limits().pressure_tolerance);
    let margin = |side: &SideFigures| Some(pressure(side.chain.charge?, limit, way > 0.0).on_side(side.side));
    sides(view).filter_map(margin).collect()
}

fn potentials(view: &CircuitView) -> Margins {
    let mut all = Vec::new();
    for side in sides(view).filter(|side| !side.kinds.has(Kind::ReliefValve)) {
        for zone in side.zones.iter().filter(|zone| !zone.lines.is_empty()) {
            let known = zone.potential.zip(zone.weakest);
            all.extend(
                known.map(|(potential, weakest)| pressure(potential, weakest.pressure, true).on_side(side.side)),
            );
        }
    }
    all
}

fn watched(view: &CircuitView) -> Margins {
    let mut all = Vec::new();
    for side in sides(view) {
        for zone in side.zones.iter().filter(|zone| !zone.lines.is_empty()) {
            let known = zone.pressure.zip(zone.weakest);
            let margin = |(sees, weakest): (Pressure, crate::tables::figures::Rating)| {
                pressure(sees, weakest.pressure * view.limits().pressure_watch, true).on_side(side.side)
            };
            all.extend(known.map(margin));
        }
    }
    all
}

fn hot(view: &CircuitView) -> Margins {
    if view.charging() == Charging::Live || view.service.temp_max.is_none() {
        return Vec::new();
    }
    let side = &view.figures.clamp;
    let zones = [Zone::Full, Zone::Reduced].map(|zone| side.zone(zone));
    let known = zones.into_iter().filter_map(|zone| zone.hot.zip(zone.weakest));
    known.map(|(hot, weakest)| pressure(hot, weakest.pressure, true).on_line(weakest.line)).collect()
}

fn held(view: &CircuitView, figure: Option<Pressure>) -> Margins {
    let known = figure.zip(view.service.pressure_min).filter(|_| view.charging() != Charging::Live);
    known.map(|(held, least)| pressure(held, least, false)).into_iter().collect()
}

fn of_force(
    measured: crate::physics::quantity::Force,
    limit: crate::physics::quantity::Force,
    is_most: bool,
) -> Margin {
    Margin {
        measured: Value::Force(measured),
        limit: Value::Force(limit),
        is_most,
        side: None,
        line: None,
        numbers: (measured.si(), limit.si()),
    }
}

/// The pressure that a line's force is judged at: held, else after the charge of a live circuit.
fn held_at(view: &CircuitView, line: usize) -> Option<Pressure> {
    let side = &view.figures.clamp;
    let zone = side.zone_of(line);
    if view.charging() == Charging::Live {
        return side.zone(zone).pressure;
    }
    match zone {
        Zone::Charge => Some(Pressure::ZERO),
        _ if zone == side.clamp_zone() => view.figures.holding.hold,
        _ => view.figures.holding.hold_full,
    }
}

fn forces(view: &CircuitView) -> Margins {
    let margin = |fitted: Fitted| {
        let required = fitted.line.force_required?;
        let force = piece_force(fitted.line, fitted.component, held_at(view, fitted.index)?)?;
        Some(of_force(force, required, false).on_line(fitted.index))
    };
    view.sound().filter_map(margin).collect()
}

fn highest_forces(view: &CircuitView) -> Margins {
    let side = &view.figures.clamp;
    let margin = |fitted: Fitted| {
        let most = fitted.component.force_max?;
        let zone = side.zone(side.zone_of(fitted.index));
        let charged = zone.pressure?;
        let highest = zone.hot.map_or(charged, |hot| hot.max(charged));
        Some(of_force(piece_force(fitted.line, fitted.component, highest)?, most, true).on_line(fitted.index))
    };
    view.sound().filter_map(margin).collect()
}

fn friction(view: &CircuitView) -> Margins {
    let Some(cutting) = view.service.cutting_force else { return Vec::new() };
    let held = friction_held(view).filter(|held| held.is_certain);
    held.map(|held| of_force(held.force, cutting * view.limits().cutting_factor, false)).into_iter().collect()
}

fn of_time(measured: crate::physics::quantity::Time, limit: crate::physics::quantity::Time, is_most: bool) -> Margin {
    Margin {
        measured: Value::Seconds(measured),
        limit: Value::Seconds(limit),
        is_most,
        side: None,
        line: None,
        numbers: (measured.si(), limit.si()),
    }
}

fn times(limit: Option<crate::physics::quantity::Time>, time: Option<crate::physics::quantity::Time>) -> Margins {
    time.zip(limit).map(|(time, limit)| of_time(time, limit, true)).into_iter().collect()
}

fn steps(view: &CircuitView) -> Margins {
    let margin = |fitted: Fitted| {
        let least = fitted.component.time_min?;
        let step = fitted.line.step_with(fitted.component);
        let time =
            view.figures.step_times.iter().find(|(of, _)| of.total_cmp(&step).is_eq()).and_then(|(_, time)| *time)?;
        Some(of_time(time, least, false).on_line(fitted.index))
    };
    view.sound_of(Kind::Clamp).filter_map(margin).collect()
}
