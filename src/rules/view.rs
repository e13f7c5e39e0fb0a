//! What a rule's function may look at.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::quantity::Pressure;
use crate::tables::circuit::{Circuit, CircuitKey, Service, counts_on};
use crate::tables::component::{Component, RepeatedPart};
use crate::tables::figures::{CircuitFigures, Figure, Rating, SideFigures};
use crate::tables::kinds::Kinds;
use crate::tables::line::Line;
use crate::tables::order::{Order, Waiver};
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::policy::{Fluid, Limits, Policy};
use crate::tables::purchase::PurchaseRow;
use crate::tables::station::Station;
use crate::tables::usage::Usage;
use crate::tables::words::{Charging, Kind, Side, Zone};

use super::rating::{LineRatings, ratings_apart};
use super::{Lack, Outcome};

/// Columns that ask for a hold and are blank.
pub fn blank_hold_data(service: &Service) -> impl Iterator<Item = &'static str> + use<'_> {
    let blank =
        service.hold_data().into_iter().filter(|(column, is_stated)| !is_stated && !service.is_unreadable(column));
    blank.map(|(column, _)| column)
}

/// A circuit with its figures.
pub struct CircuitView<'a> {
    pub plant: &'a Plant,
    pub circuit: &'a Circuit,
    /// The circuit's row, or one with every cell blank.
    pub service: &'a Service,
    pub figures: &'a CircuitFigures,
    /// Clamps of the fixture's other circuits, for work supports under their positions.
    pub neighbours: &'a [NeighbourClamp],
    /// Work supports of the fixture's other circuits that stand under the same positions.
    pub neighbour_supports: &'a [NeighbourSupport],
    /// Found once, since every rule asks for them.
    fitted: Vec<Fitted<'a>>,
    /// The one line that is looked at, where it is not all.
    only: Option<usize>,
    /// Of the lines' own parts, without what is built in.
    kinds: Kinds,
    /// Whether every line's part is known and no line is set aside.
    is_sound: bool,
    /// The lowest and the highest pressure that any line can see; `None` where one is unknown.
    pressures: Option<(Pressure, Pressure)>,
    /// By line, where they were worked out before.
    ratings: Option<&'a [LineRatings]>,
}

/// A clamp on another circuit of the fixture, at a position that a work support names.
#[derive(Clone, Debug, PartialEq)]
pub struct NeighbourClamp {
    pub position: String,
    /// All pieces together at that circuit's charge pressure; `None` is unknown.
    pub force: Option<crate::physics::quantity::Force>,
    /// Whether it may press harder: its hot pressure is asked for and unknown.
    pub is_least: bool,
}

/// A work support on another circuit of the fixture.
#[derive(Clone, Debug, PartialEq)]
pub struct NeighbourSupport {
    pub supports: Vec<String>,
    /// n x support capacity; `None` is unknown.
    pub capacity: Option<crate::physics::quantity::Force>,
}

/// A line on a circuit with its part.
#[derive(Clone, Copy)]
pub struct Fitted<'a> {
    /// Index into the circuit's lines.
    pub index: usize,
    pub line: &'a Line,
    pub component: &'a Component,
    /// Whether the line is not set aside.
    is_sound: bool,
}

impl<'a> CircuitView<'a> {
    /// A circuit that has nothing to do with the others of its fixture.
    #[must_use]
    pub fn of(plant: &'a Plant, circuit: &'a Circuit, service: &'a Service, figures: &'a CircuitFigures) -> Self {
        let components = &plant.components;
        let mut fitted = Vec::with_capacity(circuit.lines.len());
        let mut kinds = Kinds::NONE;
        for (index, line) in circuit.lines.iter().enumerate() {
            let Some(component) = line.component(components) else { continue };
            kinds = component.kind.map_or(kinds, |kind| kinds.with(kind));
            fitted.push(Fitted { index, line, component, is_sound: !line.is_set_aside_with(component) });
        }
        let is_sound = fitted.len() == circuit.lines.len() && fitted.iter().all(|fitted| fitted.is_sound);
        Self {
            plant,
            circuit,
            service,
            figures,
            neighbours: &[],
            neighbour_supports: &[],
            fitted,
            only: None,
            kinds,
            is_sound,
            pressures: pressures(figures),
            ratings: None,
        }
    }

    /// With ratings by line that are known already.
    #[must_use]
    pub const fn rated(mut self, ratings: &'a [LineRatings]) -> Self {
        self.ratings = Some(ratings);
        self
    }

    /// The same with one line alone, for rules whose [`super::Reach`] is a line.
    #[must_use]
    pub fn of_line(&self, line: usize) -> Self {
        let own = self.fitted.iter().find(|fitted| fitted.index == line).copied();
        Self {
            fitted: own.into_iter().collect(),
            only: Some(line),
            kinds: own.and_then(|own| own.component.kind).map_or(Kinds::NONE, |kind| Kinds::NONE.with(kind)),
            ..*self
        }
    }

    /// The circuit beside others of its fixture.
    #[must_use]
    pub fn beside(mut self, clamps: &'a [NeighbourClamp], supports: &'a [NeighbourSupport]) -> Self {
        (self.neighbours, self.neighbour_supports) = (clamps, supports);
        self
    }

    /// Lines, with their indices, that may be of an unknown part or set aside: all where one is, else
    /// none.
    pub fn suspect_lines(&self) -> impl Iterator<Item = (usize, &'a Line)> + use<'a> {
        let lines: &[Line] = if self.is_sound { &[] } else { &self.circuit.lines };
        let only = self.only;
        lines.iter().enumerate().filter(move |(index, _)| only.is_none_or(|only| only == *index))
    }

    /// The limits of the policy.
    #[must_use]
    pub fn limits(&self) -> &'a Limits {
        &self.plant.policy.limits
    }

    /// How it is charged.
    #[must_use]
    pub fn charging(&self) -> Charging {
        self.service.charging()
    }

    /// Its load station, where one is named and known.
    #[must_use]
    pub fn station(&self) -> Option<&'a Station> {
        let on_trial = self.circuit.trial_station.as_deref();
        on_trial.or_else(|| self.plant.station(&self.service.station))
    }

    /// Its fluid, where the policy has it.
    #[must_use]
    pub fn fluid(&self) -> Option<&'a Fluid> {
        self.plant.policy.fluid(&self.service.fluid)
    }

    /// Every line whose part is in the component table, set aside or not.
    pub fn fitted(&self) -> impl Iterator<Item = Fitted<'a>> {
        self.fitted.iter().copied()
    }

    /// Those of them with a part of a kind.
    pub fn fitted_of(&self, kind: Kind) -> impl Iterator<Item = Fitted<'a>> {
        let fitted = if self.kinds.has(kind) { self.fitted.as_slice() } else { &[] };
        fitted.iter().filter(move |fitted| fitted.component.is(kind)).copied()
    }

    /// Tells of each line that is set aside, and of which a rule asks something, that it was not looked at.
    pub fn lack_set_aside(&self, outcome: &mut Outcome, asks: impl Fn(&Fitted<'a>) -> bool) {
        if self.is_sound {
            return;
        }
        for fitted in self.fitted.iter().filter(|fitted| !fitted.is_sound && asks(fitted)) {
            let (line, cell) = (Some(fitted.index), fitted.line.awaited_cell(fitted.component));
            outcome.lacks.push(Lack { side: None, line, figure: Figure::Line, cell });
        }
    }

    /// The lines that are not set aside.
    pub fn sound(&self) -> impl Iterator<Item = Fitted<'a>> {
        self.fitted().filter(|fitted| fitted.is_sound)
    }

    /// Those of them with a part of a kind.
    pub fn sound_of(&self, kind: Kind) -> impl Iterator<Item = Fitted<'a>> {
        self.fitted_of(kind).filter(|fitted| fitted.is_sound)
    }

    /// The ratings of which the weakest of some lines is the lowest, as far as each may spread by itself.
    #[must_use]
    pub fn ratings_apart(&self, lines: &[usize]) -> Vec<Rating> {
        match self.ratings {
            Some(known) => ratings_apart(lines.iter().map(|line| (*line, known[*line]))),
            None => ratings_apart(lines.iter().filter_map(|line| {
                let Fitted { line: listed, component, .. } = self.fitted_at(*line)?;
                Some((*line, LineRatings::of(listed, component, self.limits())))
            })),
        }
    }

    /// The line with an index, where its part is known.
    fn fitted_at(&self, line: usize) -> Option<&Fitted<'a>> {
        // Hardly ever is a line without its part among those before it.
        let here = self.fitted.get(line).filter(|fitted| fitted.index == line);
        here.or_else(|| self.fitted.get(self.fitted.binary_search_by_key(&line, |fitted| fitted.index).ok()?))
    }

    /// Whether no line can see more than a pressure, and all that they see is known.
    #[must_use]
    pub fn stays_within(&self, limit: Pressure) -> bool {
        self.pressures.is_some_and(|(_, highest)| highest <= limit)
    }

    /// Whether no line can see less than a pressure, and all that they see is known.
    #[must_use]
    pub fn stays_above(&self, limit: Pressure) -> bool {
        self.pressures.is_some_and(|(lowest, _)| lowest >= limit)
    }

    /// The sides that a line counts on, with their figures.
    pub fn sides_of(&self, fitted: Fitted<'a>) -> impl Iterator<Item = &'a SideFigures> {
        let acting = self.figures.acting;
        self.figures.sides().filter(move |figures| counts_on(fitted.line, Some(fitted.component), acting, figures.side))
    }

    /// Whether the trapped oil has to hold: of an uncoupled circuit with one of the data that ask for it.
    #[must_use]
    pub fn hold_is_asked(&self) -> bool {
        let service = self.service;
        self.charging().is_uncoupled()
            && service.hold_data().iter().any(|(column, is_stated)| *is_stated || service.is_unreadable(column))
    }

    /// Data that the policy asks of a circuit charged so and that aren't given.
    pub fn missing_data(&self) -> impl Iterator<Item = &'static str> + use<'a> {
        let asked = &self.plant.policy.asked;
        let asked = if self.charging().is_uncoupled() { &asked.uncoupled } else { &asked.live };
        blank_hold_data(self.service).filter(|column| asked.iter().any(|asked| asked.word() == *column))
    }

    /// The zone of the clamps: behind the reducing valve, where there is one.
    #[must_use]
    pub fn clamp_zone(&self) -> Zone {
        self.figures.clamp.clamp_zone()
    }

    /// Whether a line counts on the clamp side.
    #[must_use]
    pub fn is_on_clamp_side(&self, fitted: Fitted<'a>) -> bool {
        counts_on(fitted.line, Some(fitted.component), self.figures.acting, Side::Clamp)
    }
}

fn pressures(figures: &CircuitFigures) -> Option<(Pressure, Pressure)> {
    let mut range: Option<(Pressure, Pressure)> = None;
    for side in figures.sides() {
        for zone in side.zones.iter().filter(|zone| !zone.lines.is_empty()) {
            let pressure = zone.pressure?;
            let (lowest, highest) = range.unwrap_or((pressure, pressure));
            range = Some((lowest.min(pressure), highest.max(pressure)));
        }
    }
    range
}

/// A part of the component table, with its use.
pub struct PartView<'a> {
    pub plant: &'a Plant,
    /// `None` for a part that only orders name.
    pub component: Option<&'a Component>,
    pub part_no: &'a str,
    pub usage: &'a Usage,
    /// Rows that repeat its number with different data.
    pub repeats: &'a [RepeatedPart],
    /// The part's row of the bill; `None` where there is no orders table.
    pub purchase: Option<&'a PurchaseRow>,
    /// Order rows of the part: `(order, quantity in the part's unit)`; `None` where it can't be converted.
    pub orders: &'a [(&'a Order, Option<Decimal>)],
    /// What may be ordered or needed of it under another number, or be wanted beside what the lists need.
    pub around: &'a PartAround,
    /// What orders and parts that it replaces, or that replace it, have to do with it.
    pub succession: PartSuccession,
}

/// What a part's orders may be for though the lists, as they could be read, don't need it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PartAround {
    /// Numbers on orders to which this part's is the nearest: those that the component table lacks, and those in it that
    /// differ in case alone.
    pub near_orders: Vec<String>,
    /// The same of numbers that circuits or stations which are not built need.
    pub near_needs: Vec<String>,
    /// Lines of it whose life is at its end or ends soon.
    pub renewals: u64,
    /// Whether a remedy brings it in that is not applied.
    pub is_wanted: bool,
}

/// What a part has to do with the one that replaces it and with those that it replaces.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PartSuccession {
    /// Whether an order row names the part that replaces this obsolete one.
    pub successor_is_ordered: bool,
    /// Need of the obsolete parts that this one replaces beyond their own orders, in its unit.
    pub need_of_replaced: Decimal,
    /// Whether that is a lower bound.
    pub replaced_is_bound: bool,
    /// Days from an order of what would be ordered: the part, or the one that replaces it.
    pub lead_time: Option<f64>,
}

/// A load station.
pub struct StationView<'a> {
    pub plant: &'a Plant,
    pub station: &'a Station,
    pub pump: Option<&'a Component>,
    pub drive_ram: Option<&'a Component>,
}

/// One row of the orders.
pub struct OrderView<'a> {
    pub plant: &'a Plant,
    pub order: &'a Order,
    pub component: Option<&'a Component>,
    /// The earliest day on which it is needed, and for which circuit: by those that use the part, and by those that use
    /// an obsolete one in whose place the order counts.
    pub needed_by: Option<&'a (NaiveDate, CircuitKey)>,
    /// That obsolete part, where it is one.
    pub in_place_of: Option<&'a str>,
    /// Its quantity in the part's unit; `None` where it can't be converted.
    pub converted: Option<Decimal>,
    /// Today by the policy.
    pub today: NaiveDate,
}

/// A header that no column of its table has.
pub struct HeaderView<'a> {
    pub plant: &'a Plant,
    /// The table, in words: `circuits`.
    pub table: &'a str,
    /// As written.
    pub header: &'a str,
    /// Where it stands.
    pub origin: Origin,
    /// The letter of its sheet column, where there is one.
    pub letter: &'a str,
    /// A known column near to it that the table lacks.
    pub nearest: Option<&'static str>,
    /// Cells under it that hold something.
    pub cells: u64,
}

/// One row of the waivers.
pub struct WaiverView<'a> {
    pub policy: &'a Policy,
    pub waiver: &'a Waiver,
    /// Findings that its rule and place match, whether it is in force or not.
    pub matches: u64,
    /// Places of these, for the reason.
    pub examples: &'a [CircuitKey],
}
