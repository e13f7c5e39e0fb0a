//! Rules on what clamps press with and what stands under them.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};

use crate::physics::force::friction_holding;
use crate::physics::quantity::{Force, Pressure};
use crate::tables::component::Component;
use crate::tables::figures::Figure;
use crate::tables::finding::Subject;
use crate::tables::origin::Origin;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Severity, Side, Zone};

use super::contact_force::{
    arm, flattering_blank, force_ratio, line_force, line_support_capacity, piece_force, spring_pressure,
};
use super::view::{CircuitView, Fitted, NeighbourClamp, NeighbourSupport};
use super::{Asked, At, Checks, Cure, Family, Hit, Outcome, RestsOn, Rule};

/// The family.
pub static FAMILY: Family = Family { letter: 'F', name: "Forces", weighs: true, rules: &[&F01, &F02, &F03, &F04] };

pub static F01: Rule = Rule {
    family: &FAMILY,
    code: "F01",
    name: "force-below-required",
    title: "Force below what is required",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "The contact force of a piece at the holding pressure (at the charge pressure in a live circuit) is below force_required; an arm longer than arm_rated takes of it.",
    why: "The force that counts is the one that is left at the end of the hold, in the cold. \
          With less than the process needs, the workpiece moves under the tool.",
    remedy: "Choose a clamp with a larger piston area, charge higher, or raise the holding pressure: \
             an accumulator, tighter valves, a shorter hold.",
    message: "At {pressure_name} of {pressure}[, less {return_pressure} for the return spring], one piece gives \
              [{net_pressure} × {area} × {force_ratio}][ / (1 + {arm_factor} × {arm_excess})][{support_capacity} × ({pressure} - {capacity_from}) / ({rated_pressure} - {capacity_from})] = {measured}. \
              Required are {limit}: {limit} - {measured} = {shortfall} short.",
    limits: &[],
    basis: "common practice",
    passing: "At the holding pressure of 160 bar, less 10 bar for the spring, 150 bar x 1000 mm² x 0.9 = 13 500 N; required are 12 000 N.",
    failing: "At the holding pressure of 120 bar, less 10 bar for the spring, 110 bar x 1000 mm² x 0.9 = 9 900 N; required are 12 000 N.",
    checks: Checks::circuit(force_below_required),
    figures: Asked { cold: true, hold: true, ..Asked::SIDES },
    cures: &[Cure::OtherPart, Cure::SettingNeeded, Cure::Accumulator],
    rests_on: Some(RestsOn {
        data: "force_required of a clamp or work support",
        are_stated: |view| contacts(view).any(|fitted| fitted.line.force_required.is_some()),
    }),
    ..Rule::USUAL
};

/// A moment at which forces are worked out.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Moment {
    Charged,
    Hot,
    Cold,
    Held,
}

impl Moment {
    const fn words(self) -> &'static str {
        match self {
            Self::Charged => "the charge pressure",
            Self::Hot => "the pressure at the highest temperature",
            Self::Cold => "the pressure at the lowest temperature",
            Self::Held => "the holding pressure",
        }
    }

    /// The pressure that a line of the clamp side has then: that of the clamps' zone, else of its own; ahead
    /// of the check valve there is none once the circuit is uncoupled.
    fn pressure(self, view: &CircuitView, index: usize) -> Option<Pressure> {
        let side = &view.figures.clamp;
        let holding = &view.figures.holding;
        let zone = side.zone_of(index);
        if self == Self::Charged {
            return side.zone(zone).pressure;
        }
        if zone == Zone::Charge {
            return Some(Pressure::ZERO);
        }
        let is_of_clamps = zone == view.clamp_zone();
        match self {
            Self::Charged => side.zone(zone).pressure,
            Self::Hot if is_of_clamps => holding.hot,
            Self::Hot => holding.hot_full,
            Self::Cold if is_of_clamps => holding.cold_or_settled,
            Self::Cold => holding.cold_full,
            Self::Held if is_of_clamps => holding.hold,
            Self::Held => holding.hold_full,
        }
    }
}

/// The pressure that a force is worked out at.
struct Grip {
    pressure: Pressure,
    name: &'static str,
    /// Whether the pressure can't turn out lower, so that a force that suffices surely does.
    is_certain: bool,
}

/// What a line grips with at the end of the hold, as far as that is known.
fn grip(view: &CircuitView, index: usize) -> Option<Grip> {
    let at = |moment: Moment, is_certain| {
        let pressure = moment.pressure(view, index)?;
        Some(Grip { pressure, name: moment.words(), is_certain })
    };
    if view.charging() == Charging::Live {
        return at(Moment::Charged, true);
    }
    at(Moment::Held, !view.figures.holding.hold_is_bound)
        .or_else(|| at(Moment::Cold, false))
        .or_else(|| at(Moment::Charged, false))
}

fn force_below_required(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| {
        let is_given = fitted.line.force_required.is_some() || fitted.line.is_unreadable("force_required");
        fitted.component.is_actuator() && is_given
    });
    for fitted in contacts(view) {
        let Some(required) = fitted.line.force_required else { continue };
        let (side, line) = (Some(Side::Clamp), Some(fitted.index));
        let Some(grip) = grip(view, fitted.index) else {
            outcome.lack(side, line, Figure::Charge);
            continue;
        };
        let Some(force) = piece_force(fitted.line, fitted.component, grip.pressure) else {
            outcome.lack_cell(side, line, Figure::Force, fitted.component.origin, force_column(fitted.component));
            continue;
        };
        if outcome.is_below(At::line(fitted.index), force, required) {
            let hit = Hit::on_line(fitted.index)
                .in_column("force_required")
                .against(Value::Force(force), Value::Force(required))
                .fact("pressure_name", Value::Text(grip.name.to_owned()))
                .fact("shortfall", Value::Force(required - force));
            outcome.hit(with_arithmetic(hit, fitted, grip.pressure));
        } else if let Some(column) = flattering_blank(fitted.line, fitted.component) {
            outcome.lack_cell(side, line, Figure::Force, fitted.component.origin, column);
        } else if !grip.is_certain {
            outcome.lack(side, line, Figure::Hold);
        }
    }
}

/// The column that a part's force lacks first.
fn force_column(component: &Component) -> &'static str {
    match () {
        () if component.is(Kind::Clamp) => "area_clamp",
        () if component.support_capacity.is_none() => "support_capacity",
        () => "rated_pressure",
    }
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
              [{net_pressure} × {area} × {force_ratio}][ / (1 + {arm_factor} × {arm_excess})][{support_capacity} × ({pressure} - {capacity_from}) / ({rated_pressure} - {capacity_from})] = {measured}. \
              It may exert {limit}: {measured} - {limit} = {excess} too much.",
    limits: &[],
    basis: "common practice",
    passing: "At the charge pressure of 200 bar, 200 bar x 1000 mm² x 1 = 20 000 N; the clamp may exert 24 000 N.",
    failing: "At the pressure at the highest temperature of 260 bar, 260 bar x 1000 mm² x 1 = 26 000 N; the clamp may exert 24 000 N.",
    checks: Checks::circuit(force_above_rating),
    figures: Asked { hot: true, ..Asked::SIDES },
    cures: &[Cure::OtherPart, Cure::LowerSetting, Cure::Accumulator],
    rests_on: Some(RestsOn {
        data: "force_max of a clamp or work support",
        are_stated: |view| contacts(view).any(|fitted| fitted.component.force_max.is_some()),
    }),
    ..Rule::USUAL
};

fn force_above_rating(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| {
        let is_given = fitted.component.force_max.is_some() || fitted.component.is_unreadable("force_max");
        fitted.component.is_actuator() && is_given
    });
    let is_heated = is_heated(view);
    for fitted in contacts(view) {
        let Some(limit) = fitted.component.force_max else { continue };
        let (side, line) = (Some(Side::Clamp), Some(fitted.index));
        let Some((pressure, moment)) = highest(view, fitted.index) else {
            outcome.lack(side, line, Figure::Charge);
            continue;
        };
        let Some(force) = piece_force(fitted.line, fitted.component, pressure) else {
            outcome.lack_cell(side, line, Figure::Force, fitted.component.origin, force_column(fitted.component));
            continue;
        };
        let hot = Moment::Hot.pressure(view, fitted.index);
        if outcome.is_above(At::line(fitted.index), force, limit) {
            let hit = Hit::on_line(fitted.index)
                .against(Value::Force(force), Value::Force(limit))
                .fact("pressure_name", Value::Text(moment.words().to_owned()))
                .fact("excess", Value::Force(force - limit));
            outcome.hit(with_arithmetic(hit, fitted, pressure));
        } else if is_heated && hot.is_none() {
            outcome.lack(side, line, Figure::Hot);
        } else if Moment::Charged.pressure(view, fitted.index).is_none() {
            outcome.lack(side, line, Figure::Charge);
        }
    }
}

/// Whether a highest temperature asks for the pressure there.
fn is_heated(view: &CircuitView) -> bool {
    view.charging() != Charging::Live && (view.service.temp_max.is_some() || view.service.is_unreadable("temp_max"))
}

/// The higher of what a line sees when charged and at the highest temperature, of those that are known.
fn highest(view: &CircuitView, index: usize) -> Option<(Pressure, Moment)> {
    let at = |moment: Moment| moment.pressure(view, index).map(|pressure| (pressure, moment));
    let hot = at(Moment::Hot).filter(|_| is_heated(view));
    at(Moment::Charged).into_iter().chain(hot).reduce(|most, next| if next.0 > most.0 { next } else { most })
}

pub static F03: Rule = Rule {
    family: &FAMILY,
    code: "F03",
    name: "work-support-overloaded",
    title: "Work support too weak for the clamps above it",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "What a work support bears is below support_factor times its part of the force of the clamps at the positions it stands under: charged, held and hot each by itself where the clamps are on its circuit; else the support at the lowest, the clamps at the highest of their pressures.",
    why: "A work support that gives way under the clamp lets the workpiece bend, and the cut follows the bend. \
          The margin is for the cutting force, which comes on top.",
    remedy: "Choose a work support with more capacity, set another one under the same position, \
             or choose a clamp with less force there.",
    message: "{qty} × {support_capacity} × ({pressure} - {capacity_from}) / ({rated_pressure} - {capacity_from}) = {measured} is what the support bears at {pressure_name}. \
              The clamps at {positions} press with {clamp_force}[ at {clamp_moment}], of which it takes {load}: \
              {factor} × {load} = {limit}, {limit} - {measured} = {shortfall} short.",
    limits: &["support_factor"],
    basis: "common practice",
    passing: "1 x 10 000 N x 210 bar / 350 bar = 6 000 N; the clamp above presses with 3 600 N: 1.5 x 3 600 = 5 400 N.",
    failing: "1 x 10 000 N x 210 bar / 350 bar = 6 000 N; the clamp above presses with 5 000 N: 1.5 x 5 000 = 7 500 N.",
    checks: Checks::circuit(support_overloaded),
    figures: Asked { hot: true, cold: true, hold: true, ..Asked::SIDES },
    cures: &[Cure::OtherPart],
    rests_on: Some(RestsOn {
        data: "supports of a work support",
        are_stated: |view| view.sound_of(Kind::WorkSupport).any(|fitted| !fitted.line.supports.is_empty()),
    }),
    ..Rule::USUAL
};

fn support_overloaded(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| fitted.component.is(Kind::WorkSupport) && !fitted.line.supports.is_empty());
    let supports = view.sound_of(Kind::WorkSupport).filter(|fitted| !fitted.line.supports.is_empty());
    let mut under: Option<Positions> = None;
    for fitted in supports {
        let under = under.get_or_insert_with(|| Positions::of(view));
        let looked_at = if under.is_shared(fitted) {
            beside_others(view, under, fitted, outcome)
        } else {
            state_by_state(view, under, fitted, outcome)
        };
        let (side, line) = (Some(Side::Clamp), Some(fitted.index));
        if let Some(found) = looked_at.worst {
            outcome.hit(overloaded_hit(view, fitted, found));
        } else if looked_at.lacking == Some(Figure::SupportLoad) && under.is_without_clamp(fitted) {
            outcome.lack_cell(side, line, Figure::SupportLoad, fitted.line.origin, "supports");
        } else if let Some(figure) = looked_at.lacking {
            outcome.lack(side, line, figure);
        }
    }
}

/// What stands at each position, gathered once: a circuit may have very many supports and clamps.
struct Positions<'a> {
    view: &'a CircuitView<'a>,
    /// Lines at a position, and lines of supports that name it.
    lines_at: HashMap<&'a str, Vec<usize>>,
    supports_of: HashMap<&'a str, Vec<usize>>,
    /// The same on the other circuits of the fixture.
    clamps_beside: HashMap<&'a str, Vec<&'a NeighbourClamp>>,
    supports_beside: HashMap<&'a str, Vec<&'a NeighbourSupport>>,
    sound_clamps: HashSet<usize>,
    /// What was worked out before.
    pressed: RefCell<HashMap<(&'a str, Pressing), Option<Force>>>,
    capacity: RefCell<HashMap<&'a str, Option<Force>>>,
}

impl<'a> Positions<'a> {
    fn of(view: &'a CircuitView<'a>) -> Self {
        let mut all = Self {
            view,
            lines_at: HashMap::new(),
            supports_of: HashMap::new(),
            clamps_beside: HashMap::new(),
            supports_beside: HashMap::new(),
            sound_clamps: view.sound_of(Kind::Clamp).map(|clamp| clamp.index).collect(),
            pressed: RefCell::default(),
            capacity: RefCell::default(),
        };
        for (index, line) in view.circuit.lines.iter().enumerate() {
            all.lines_at.entry(line.position.as_str()).or_default().push(index);
            for position in named_once(&line.supports) {
                all.supports_of.entry(position).or_default().push(index);
            }
        }
        for clamp in view.neighbours {
            all.clamps_beside.entry(clamp.position.as_str()).or_default().push(clamp);
        }
        for support in view.neighbour_supports {
            for position in named_once(&support.supports) {
                all.supports_beside.entry(position).or_default().push(support);
            }
        }
        all
    }

    /// Whether a clamp of another circuit stands above the support.
    fn is_shared(&self, support: Fitted) -> bool {
        support.line.supports.iter().any(|position| self.clamps_beside.contains_key(position.as_str()))
    }

    /// Whether the support names a position at which no clamp stands, on this circuit or another of the fixture.
    fn is_without_clamp(&self, support: Fitted) -> bool {
        let stands = |index: &usize| self.sound_clamps.contains(index);
        let own = |position: &str| self.lines_at.get(position).is_some_and(|lines| lines.iter().any(stands));
        named_once(&support.line.supports).any(|named| !own(named) && !self.clamps_beside.contains_key(named))
    }

    /// `None` where the position has no clamp, or one that is unknown.
    fn clamp_force(&self, position: &'a str, clamps: Pressing) -> Option<Force> {
        if let Some(known) = self.pressed.borrow().get(&(position, clamps)) {
            return *known;
        }
        let force = self.clamp_force_at(position, clamps);
        self.pressed.borrow_mut().insert((position, clamps), force);
        force
    }

    fn clamp_force_at(&self, position: &str, clamps: Pressing) -> Option<Force> {
        let components = &self.view.plant.components;
        let mut forces = Vec::new();
        for index in self.lines_at.get(position).into_iter().flatten() {
            let Some(line) = self.view.circuit.lines.get(*index) else { continue };
            match line.component(components) {
                Some(component) if component.kind.is_some_and(|kind| kind != Kind::Clamp) => {}
                Some(component) if !line.is_set_aside(components) => {
                    forces.push(line_force(line, component, clamps.pressure(self.view, *index)?)?);
                }
                // Set aside, or of an unknown part that may be a clamp.
                _ => return None,
            }
        }
        for neighbour in self.clamps_beside.get(position).into_iter().flatten() {
            forces.push(neighbour.force?);
        }
        (!forces.is_empty()).then(|| forces.iter().sum())
    }

    /// `None` where a support under the position is unknown.
    fn capacity_under(&self, position: &'a str) -> Option<Force> {
        if let Some(known) = self.capacity.borrow().get(position) {
            return *known;
        }
        let capacity = self.capacity_at(position);
        self.capacity.borrow_mut().insert(position, capacity);
        capacity
    }

    fn capacity_at(&self, position: &str) -> Option<Force> {
        let components = &self.view.plant.components;
        let mut total = Force::ZERO;
        for index in self.supports_of.get(position).into_iter().flatten() {
            let Some(line) = self.view.circuit.lines.get(*index) else { continue };
            match line.component(components) {
                Some(component) if component.kind.is_some_and(|kind| kind != Kind::WorkSupport) => {}
                Some(component) if !line.is_set_aside(components) => total += line_support_capacity(line, component)?,
                _ => return None,
            }
        }
        for neighbour in self.supports_beside.get(position).into_iter().flatten() {
            total += neighbour.capacity?;
        }
        Some(total)
    }
}

/// Positions without those that were named before.
fn named_once(positions: &[String]) -> impl Iterator<Item = &str> {
    let mut seen = HashSet::new();
    positions.iter().map(String::as_str).filter(move |position| seen.insert(*position))
}

/// What is found of one support over the moments at which it is looked at.
#[derive(Default)]
struct Supporting {
    worst: Option<Overload>,
    lacking: Option<Figure>,
}

/// A support that bears less than it should.
struct Overload {
    moment: Moment,
    clamps_at: Moment,
    pressure: Pressure,
    borne: Force,
    needed: Force,
    load: Load,
}

impl Supporting {
    fn lack(&mut self, figure: Figure) {
        self.lacking = self.lacking.or(Some(figure));
    }

    /// Compares what the support bears at one moment with what the clamps put on it at another.
    fn compare<'a>(
        &mut self,
        under: &Positions<'a>,
        fitted: Fitted<'a>,
        (moment, pressure): (Moment, Pressure),
        clamps: Pressing,
        outcome: &mut Outcome,
    ) {
        let Some(borne) = line_force(fitted.line, fitted.component, pressure) else {
            return self.lack(Figure::Force);
        };
        let Some(load) = load_on(under, fitted, clamps) else { return self.lack(Figure::SupportLoad) };
        let needed = load.taken * under.view.limits().support_factor;
        let is_worse = self.worst.as_ref().is_none_or(|worst| needed - borne > worst.needed - worst.borne);
        // Beside others the lowest of several moments counts, whichever it is: one figure.
        let aspect = if matches!(clamps, Pressing::AtMost) { u8::MAX } else { moment as u8 };
        let at = At::line(fitted.index).aspect(aspect);
        if outcome.is_below(at, borne, needed) && is_worse {
            let clamps_at = match clamps {
                Pressing::At(moment) => moment,
                Pressing::AtMost => Moment::Hot,
            };
            self.worst = Some(Overload { moment, clamps_at, pressure, borne, needed, load });
        }
    }
}

/// The moments that are asked for, each by itself: support and clamps have the same oil.
fn state_by_state<'a>(
    view: &CircuitView,
    under: &Positions<'a>,
    fitted: Fitted<'a>,
    outcome: &mut Outcome,
) -> Supporting {
    let mut found = Supporting::default();
    let is_held = view.hold_is_asked();
    let moments = [(Moment::Charged, true), (Moment::Held, is_held), (Moment::Hot, is_heated(view))];
    for (moment, _) in moments.into_iter().filter(|(_, is_asked)| *is_asked) {
        match moment.pressure(view, fitted.index) {
            Some(pressure) => found.compare(under, fitted, (moment, pressure), Pressing::At(moment), outcome),
            None => found.lack(moment_figure(moment)),
        }
    }
    if is_held && view.figures.holding.hold_is_bound {
        found.lack(Figure::Hold);
    }
    found
}

/// The support at its lowest, the clamps at their highest: they have oil of different circuits.
fn beside_others<'a>(
    view: &CircuitView,
    under: &Positions<'a>,
    fitted: Fitted<'a>,
    outcome: &mut Outcome,
) -> Supporting {
    let mut found = Supporting::default();
    let is_held = view.hold_is_asked();
    let at = |moment: Moment| moment.pressure(view, fitted.index).map(|pressure| (pressure, moment));
    let held = if is_held { at(Moment::Held) } else { None };
    let lowest =
        at(Moment::Charged).into_iter().chain(held).reduce(|least, next| if next.0 < least.0 { next } else { least });
    match lowest {
        Some((pressure, moment)) => found.compare(under, fitted, (moment, pressure), Pressing::AtMost, outcome),
        None => found.lack(Figure::Charge),
    }
    if at(Moment::Charged).is_none() {
        found.lack(Figure::Charge);
    }
    let named = || named_once(&fitted.line.supports);
    let own = || named().filter_map(|position| under.lines_at.get(position)).flatten();
    let is_clamp = |index: &&usize| under.sound_clamps.contains(*index);
    if is_heated(view) && own().filter(is_clamp).any(|index| Moment::Hot.pressure(view, *index).is_none()) {
        found.lack(Figure::Hot);
    }
    if named().filter_map(|position| under.clamps_beside.get(position)).flatten().any(|clamp| clamp.is_least) {
        found.lack(Figure::SupportLoad);
    }
    if is_held && (held.is_none() || view.figures.holding.hold_is_bound) {
        found.lack(Figure::Hold);
    }
    found
}

const fn moment_figure(moment: Moment) -> Figure {
    match moment {
        Moment::Charged => Figure::Charge,
        Moment::Hot => Figure::Hot,
        Moment::Cold => Figure::Cold,
        Moment::Held => Figure::Hold,
    }
}

fn overloaded_hit(view: &CircuitView, fitted: Fitted, found: Overload) -> Hit {
    let Overload { moment, clamps_at, pressure, borne, needed, load } = found;
    let from = fitted.component.capacity_from.unwrap_or(Pressure::ZERO);
    let clamp_moment = (clamps_at != moment).then(|| Value::Text("the highest of their pressures".to_owned()));
    Hit::on_line(fitted.index)
        .in_column("supports")
        .against(Value::Force(borne), Value::Force(needed))
        .fact_if("qty", fitted.line.qty.value().map(Value::Number))
        .fact_if("support_capacity", fitted.component.support_capacity.map(Value::Force))
        .fact("pressure", Value::Pressure(pressure))
        .fact("pressure_name", Value::Text(moment.words().to_owned()))
        .fact("capacity_from", Value::Pressure(from))
        .fact_if("rated_pressure", fitted.component.rated_pressure.map(Value::Pressure))
        .fact("positions", Value::List(load.positions))
        .fact("clamp_force", Value::Force(load.pressed))
        .fact_if("clamp_moment", clamp_moment)
        .fact("load", Value::Force(load.taken))
        .fact("factor", Value::Number(view.limits().support_factor))
        .fact("shortfall", Value::Force(needed - borne))
}

/// The pressure at which the circuit's own clamps press.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Pressing {
    At(Moment),
    /// The higher of charged and hot.
    AtMost,
}

impl Pressing {
    fn pressure(self, view: &CircuitView, index: usize) -> Option<Pressure> {
        match self {
            Self::At(moment) => moment.pressure(view, index),
            Self::AtMost => {
                let charged = Moment::Charged.pressure(view, index)?;
                if !is_heated(view) {
                    return Some(charged);
                }
                // Where it is unknown the clamps press at least so hard.
                Some(Moment::Hot.pressure(view, index).map_or(charged, |hot| hot.max(charged)))
            }
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
fn load_on<'a>(under: &Positions<'a>, support: Fitted<'a>, clamps: Pressing) -> Option<Load> {
    let capacity = line_support_capacity(support.line, support.component)?;
    let mut load = Load { positions: Vec::new(), pressed: Force::ZERO, taken: Force::ZERO };
    for position in named_once(&support.line.supports) {
        let pressed = under.clamp_force(position, clamps)?;
        load.pressed += pressed;
        load.taken += pressed * (capacity / under.capacity_under(position)?);
        load.positions.push(position.to_owned());
    }
    Some(load)
}

pub static F04: Rule = Rule {
    family: &FAMILY,
    code: "F04",
    name: "friction-below-cutting-force",
    title: "Clamps hold less by friction than the cut pulls",
    severity: Severity::Major,
    subject: Subject::Circuit,
    looks_for: "What the circuit's clamps hold by friction at the holding pressure (at the charge pressure in a live circuit) is below cutting_factor × cutting_force.",
    why: "Where nothing stops the workpiece but friction, it slides as soon as the cut pulls harder.",
    remedy: "Choose clamps with more force or more of them, raise the holding pressure, or set a stop against the cut.",
    message: "At {pressure_name}, {contacts} faces × friction {friction} × {clamp_force} = {measured} are held. Cutting pulls with {cutting_force}: {cutting_factor} × {cutting_force} = {limit}, {limit} - {measured} = {shortfall} short.",
    limits: &["cutting_factor", "contacts"],
    basis: "Coulomb's law of friction; factor by common practice",
    passing: "4 clamps of 5 kN at 0.15 on two faces hold 6 kN; the cut pulls with 3 kN: 2 x 3 = 6 kN.",
    failing: "4 clamps of 5 kN at 0.15 on two faces hold 6 kN; the cut pulls with 4 kN: 2 x 4 = 8 kN.",
    checks: Checks::circuit(slides),
    cures: &[Cure::Accumulator],
    figures: Asked { cold: true, hold: true, ..Asked::SIDES },
    rests_on: Some(RestsOn {
        data: "cutting_force with friction",
        are_stated: |view| view.service.cutting_force.is_some() && view.service.friction.is_some(),
    }),
    ..Rule::USUAL
};

fn slides(view: &CircuitView, outcome: &mut Outcome) {
    let service = view.service;
    for column in ["cutting_force", "friction"] {
        if service.is_unreadable(column) {
            return outcome.lack_cell(None, None, Figure::Cell, service.origin, column);
        }
    }
    let Some((cutting, friction)) = service.cutting_force.zip(service.friction) else { return };
    let Some(held) = friction_held(view) else { return outcome.lack(None, None, Figure::Friction) };
    let limits = view.limits();
    let needed = cutting * limits.cutting_factor;
    if outcome.is_below(At::HERE, held.force, needed) {
        outcome.hit(
            Hit::here()
                .against(Value::Force(held.force), Value::Force(needed))
                .fact("pressure_name", Value::Text(held.at.to_owned()))
                .fact("contacts", Value::Number(limits.contacts))
                .fact("friction", Value::Number(friction))
                .fact("clamp_force", Value::Force(held.clamps))
                .fact("cutting_force", Value::Force(cutting))
                .fact("cutting_factor", Value::Number(limits.cutting_factor))
                .fact("shortfall", Value::Force(needed - held.force)),
        );
        return;
    }
    match held.blank {
        Some((line, origin, column)) => outcome.lack_cell(Some(Side::Clamp), Some(line), Figure::Force, origin, column),
        None if !held.is_certain => outcome.lack(None, None, Figure::Hold),
        None => {}
    }
}

/// What the circuit's clamps hold by friction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrictionHeld {
    /// R_f.
    pub force: Force,
    /// Of all clamps together.
    pub clamps: Force,
    /// The pressure that it is worked out at, in words.
    pub at: &'static str,
    /// Whether it can't turn out lower for want of a leak or a hold time.
    pub is_certain: bool,
    /// A blank that makes a clamp look better than it may be: its line, row and column.
    pub blank: Option<(usize, Origin, &'static str)>,
}

/// R_f of a circuit with a coefficient of friction; `None` where the force of one of its clamps is unknown,
/// or where a line's part is.
#[must_use]
pub fn friction_held(view: &CircuitView) -> Option<FrictionHeld> {
    let friction = view.service.friction?;
    let components = &view.plant.components;
    let mut held = FrictionHeld {
        force: Force::ZERO,
        clamps: Force::ZERO,
        at: Moment::Held.words(),
        is_certain: true,
        blank: None,
    };
    for (index, line) in view.circuit.lines.iter().enumerate() {
        let component = line.component(components)?;
        if component.kind.is_some_and(|kind| kind != Kind::Clamp) {
            continue;
        }
        if line.is_set_aside_with(component) {
            return None;
        }
        let grip = grip(view, index)?;
        held.clamps += line_force(line, component, grip.pressure)?;
        held.at = grip.name;
        held.is_certain &= grip.is_certain;
        let blank = flattering_blank(line, component).map(|column| (index, component.origin, column));
        held.blank = held.blank.or(blank);
    }
    held.force = friction_holding(view.limits().contacts, friction, held.clamps);
    Some(held)
}

/// Clamps and work supports that are not set aside.
fn contacts<'a>(view: &'a CircuitView<'a>) -> impl Iterator<Item = Fitted<'a>> {
    view.sound().filter(|fitted| fitted.component.is_actuator())
}

/// The figures of the force's formula, of the clamp's or of the work support's.
fn with_arithmetic(hit: Hit, fitted: Fitted, pressure: Pressure) -> Hit {
    let component = fitted.component;
    let hit = hit.fact("pressure", Value::Pressure(pressure));
    if component.is(Kind::WorkSupport) {
        return hit
            .fact_if("support_capacity", component.support_capacity.map(Value::Force))
            .fact("capacity_from", Value::Pressure(component.capacity_from.unwrap_or(Pressure::ZERO)))
            .fact_if("rated_pressure", component.rated_pressure.map(Value::Pressure));
    }
    let spring = spring_pressure(component).filter(|spring| *spring > Pressure::ZERO);
    let net = (pressure - spring.unwrap_or(Pressure::ZERO)).max(Pressure::ZERO);
    let arm = arm(fitted.line, component).filter(|arm| arm.factor > 0.0);
    hit.fact_if("return_pressure", spring.map(Value::Pressure))
        .fact("net_pressure", Value::Pressure(net))
        .fact_if("area", component.area_clamp.map(Value::Area))
        .fact("force_ratio", Value::Number(force_ratio(component)))
        .fact_if("arm_factor", arm.map(|arm| Value::Text(format!("{} / mm", arm.factor / 1e3))))
        .fact_if("arm_excess", arm.map(|arm| Value::Length(arm.length - arm.rated_length)))
}
