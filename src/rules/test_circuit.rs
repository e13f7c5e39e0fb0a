//! A small circuit with figures chosen by hand, for the tests of the rules.

use chrono::NaiveDate;

use super::rating::line_rating;
use super::view::{CircuitView, NeighbourClamp, NeighbourSupport, PartAround, PartSuccession, PartView, StationView};
use super::{Hit, Outcome, Reach, Rule};
use crate::physics::quantity::Pressure;
use crate::tables::circuit::{Circuit, CircuitKey, Service, counts_on};
use crate::tables::component::{Component, RepeatedPart};
use crate::tables::figures::{CircuitFigures, Figure, GroupFigures, Holding, Rating, SideFigures, Volumes};
use crate::tables::kinds::Kinds;
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::policy::{AskedData, Policy};
use crate::tables::station::Station;
use crate::tables::usage::Usage;
use crate::tables::words::{Acting, Kind, Side, Zone};

/// The fixed day of the tests.
pub fn today() -> NaiveDate {
    day(2026, 3, 10)
}

pub fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

/// A pressure in bar.
pub fn bar(value: f64) -> Pressure {
    Pressure::from_bar(value)
}

/// A plant with one circuit.
pub struct TestCircuit {
    pub plant: Plant,
    pub circuit: Circuit,
    pub figures: CircuitFigures,
    pub neighbours: Vec<NeighbourClamp>,
    pub neighbour_supports: Vec<NeighbourSupport>,
}

impl TestCircuit {
    /// A single-acting circuit, charged by cylinder, without lines and without figures.
    pub fn single() -> Self {
        let key = CircuitKey { fixture: "A".into(), circuit: "1".into(), ..CircuitKey::default() };
        let figures = CircuitFigures::blank(Acting::Single, SideFigures::blank(Side::Clamp));
        Self {
            plant: Plant::empty(Policy {
                asked: AskedData { uncoupled: Vec::new(), live: Vec::new() },
                ..Policy::at(today())
            }),
            circuit: Circuit { key, service: Some(Service::default()), ..Circuit::default() },
            figures,
            neighbours: Vec::new(),
            neighbour_supports: Vec::new(),
        }
    }

    /// A double-acting one.
    pub fn double() -> Self {
        let mut made = Self::single();
        made.figures.acting = Acting::Double;
        made.figures.unclamp = Some(SideFigures::blank(Side::Unclamp));
        made
    }

    /// Adds a part to the component table.
    pub fn part(&mut self, kind: Kind, part_no: &str) -> &mut Component {
        let index = u32::try_from(self.plant.components.len()).unwrap();
        self.plant.part_index.insert(part_no.to_owned(), index);
        let component = Component { part_no: part_no.to_owned(), kind: Some(kind), ..Component::default() };
        self.plant.components.push(component);
        self.plant.components.last_mut().unwrap()
    }

    /// Adds a line: of the table's part, or of an unknown one.
    pub fn line(&mut self, part_no: &str) -> &mut Line {
        let mut line = Line::of_part(0);
        line.part = match self.plant.part_index.get(part_no) {
            Some(index) => PartRef::Known(*index),
            None => PartRef::Unknown(part_no.to_owned()),
        };
        self.circuit.lines.push(line);
        self.circuit.lines.last_mut().unwrap()
    }

    /// Adds a part with a rating in bar and a line of it.
    pub fn fit(&mut self, kind: Kind, part_no: &str, rating: f64) -> &mut Line {
        self.part(kind, part_no).rated_pressure = Some(bar(rating));
        self.line(part_no)
    }

    /// Service data of the circuit.
    pub fn service(&mut self) -> &mut Service {
        self.circuit.service.get_or_insert_default()
    }

    /// The figures of the unclamp side.
    pub fn unclamp(&mut self) -> &mut SideFigures {
        self.figures.unclamp.as_mut().unwrap()
    }

    /// Charge pressure of the clamp side in bar, before and behind a reducing valve.
    pub fn charged(&mut self, full: f64, charge: f64) {
        self.figures.clamp.chain.full = Some(bar(full));
        self.figures.clamp.chain.charge = Some(bar(charge));
    }

    /// With the clamp side's pressures unknown.
    pub fn uncharged(&mut self) {
        (self.figures.clamp.chain.full, self.figures.clamp.chain.charge) = (None, None);
    }

    /// The weakest rating of the clamp side in bar, on a line.
    pub fn weakest(&mut self, rating: f64, line: usize) {
        self.figures.clamp.chain.weakest = Some(Rating { pressure: bar(rating), line });
    }

    /// What the rule finds on the circuit.
    pub fn outcome(&self, rule: &Rule) -> Outcome {
        let mut outcome = Outcome::default();
        assert!(rule.checks.circuit.is_some(), "{}", rule.code);
        self.with_view(|view| {
            rule.look(view, &mut outcome);
            // Who finds something looked at something.
            let has_data = rule.rests_on.is_none_or(|data| (data.are_stated)(view));
            assert!(has_data || outcome.hits.is_empty(), "{} says that it looked at nothing", rule.code);
        });
        self.assert_reach(rule, &outcome);
        told(rule, outcome)
    }

    /// Fails where a rule that says it reaches a line alone, or the makeup, finds something else with other figures beyond
    /// that, or line by line.
    fn assert_reach(&self, rule: &Rule, outcome: &Outcome) {
        if rule.reach == Reach::Circuit {
            return;
        }
        let (figures, service) = (beyond_reach(self.filled()), self.circuit.service());
        let view = CircuitView::of(&self.plant, &self.circuit, &service, &figures);
        let mut again = Outcome::default();
        match rule.reach {
            Reach::Line => (0..self.circuit.lines.len()).for_each(|line| rule.look(&view.of_line(line), &mut again)),
            _ => rule.look(&view, &mut again),
        }
        let has_all = |one: &Outcome, other: &Outcome| {
            other.hits.iter().all(|hit| one.hits.contains(hit))
                && other.lacks.iter().all(|lack| one.lacks.contains(lack))
        };
        let is_same = has_all(outcome, &again) && has_all(&again, outcome);
        assert!(is_same, "{} reaches farther than it says: {outcome:?}\n{again:?}", rule.code);
    }

    /// What is made of the circuit as the rules see it.
    pub fn with_view<T>(&self, look: impl FnOnce(&CircuitView) -> T) -> T {
        let figures = self.filled();
        let service = self.circuit.service();
        let view = CircuitView::of(&self.plant, &self.circuit, &service, &figures)
            .beside(&self.neighbours, &self.neighbour_supports);
        look(&view)
    }

    /// The figures with what follows from the lists alone.
    fn filled(&self) -> CircuitFigures {
        let mut figures = self.figures.clone();
        self.fill(&mut figures.clamp);
        if let Some(side) = figures.unclamp.as_mut() {
            self.fill(side);
        }
        let holding = &mut figures.holding;
        holding.cold_or_settled = holding.cold_or_settled.or(holding.cold);
        let has_reduced = !figures.clamp.zone(Zone::Reduced).lines.is_empty();
        if !has_reduced {
            holding.hot_full = holding.hot_full.or(holding.hot);
            holding.hold_full = holding.hold_full.or(holding.hold);
            holding.cold_full = holding.cold_full.or(holding.cold_or_settled);
        }
        figures.clamp.zones[1].hot = holding.hot_full;
        figures.clamp.zones[2].hot = holding.hot.filter(|_| has_reduced);
        figures
    }

    /// What the rule finds on a part.
    pub fn outcome_of_part(&self, rule: &Rule, part_no: &str, usage: &Usage, repeats: &[RepeatedPart]) -> Outcome {
        let component = self.plant.component(part_no);
        let view = PartView {
            plant: &self.plant,
            component,
            part_no,
            usage,
            repeats,
            purchase: None,
            orders: &[],
            around: &PartAround::default(),
            succession: PartSuccession::default(),
        };
        let mut outcome = Outcome::default();
        rule.checks.part.unwrap()(&view, &mut outcome);
        told(rule, outcome)
    }

    /// What the rule finds on a station.
    pub fn outcome_of_station(&self, rule: &Rule, station: &Station) -> Outcome {
        let view = StationView {
            plant: &self.plant,
            station,
            pump: self.plant.pump_of(station),
            drive_ram: self.plant.drive_ram_of(station),
        };
        let mut outcome = Outcome::default();
        rule.checks.station.unwrap()(&view, &mut outcome);
        told(rule, outcome)
    }

    /// Lines, kinds, zones and the group of a side, from the lists and from what is set of the side.
    fn fill(&self, side: &mut SideFigures) {
        let components = &self.plant.components;
        let is_there = |kind: Kind| {
            self.circuit.lines.iter().any(|line| line.component(components).is_some_and(|part| part.is(kind)))
        };
        let has_reducing = side.chain.reducing.is_some() || is_there(Kind::ReducingValve);
        let mut is_rated = [true; 3];
        for (index, line) in self.circuit.lines.iter().enumerate() {
            let component = line.component(components);
            side.kinds_are_known &= component.is_some();
            if !counts_on(line, component, self.figures.acting, side.side) {
                continue;
            }
            side.lines.push(index);
            let Some(component) = component else {
                is_rated = [false; 3];
                continue;
            };
            let kinds = component.kind.map_or(Kinds::NONE, |kind| Kinds::NONE.with(kind)).union(component.includes);
            side.kinds = side.kinds.union(kinds);
            let at = line.zone_on(component, has_reducing) as usize;
            let zone = &mut side.zones[at];
            zone.lines.push(index);
            zone.kinds = zone.kinds.union(kinds);
            match line_rating(line, component, &self.plant.policy.limits) {
                Some(pressure) if zone.weakest.is_none_or(|weakest| pressure < weakest.pressure) => {
                    zone.weakest = Some(Rating { pressure, line: index });
                }
                Some(_) => {}
                None => is_rated[at] &= component.is(Kind::Other),
            }
            if component.is(Kind::ChargingCylinder) {
                side.cylinder = side.cylinder.or(Some(index));
                side.cylinder_pieces += line.qty.value().unwrap_or(1.0);
            }
        }
        let set = side.chain.weakest;
        for (zone, is_rated) in side.zones.iter_mut().zip(is_rated) {
            zone.weakest = zone.weakest.filter(|_| is_rated);
            zone.weakest = set.filter(|rating| zone.lines.contains(&rating.line)).or(zone.weakest);
        }
        let chain = &side.chain;
        for zone in &mut side.zones {
            zone.relief = chain.relief.filter(|relief| zone.lines.contains(&relief.line));
        }
        let reduced = |pressure: Option<Pressure>| {
            pressure.map(|pressure| chain.reducing.map_or(pressure, |valve| pressure.min(valve.pressure)))
        };
        let (full, charge) = (chain.full, chain.charge);
        let potential = [chain.potential, chain.potential, reduced(chain.potential)];
        for ((zone, pressure), potential) in side.zones.iter_mut().zip([full, full, charge]).zip(potential) {
            (zone.pressure, zone.potential) = (pressure, potential);
        }
        let group = &mut side.group;
        group.cylinder_pieces += side.cylinder_pieces;
        group.kinds_are_known &= side.kinds_are_known;
        group.cycles_per_day = group.cycles_per_day.or(self.circuit.service().cycles_per_day);
        group.demand = group.demand.or(side.volumes.demand);
        group.swept = group.swept.or(side.volumes.swept);
        group.capacity = group.capacity.or(side.volumes.capacity);
    }
}

/// Figures with others in the place of those that no rule looks at whose reach is not the whole circuit.
fn beyond_reach(mut figures: CircuitFigures) -> CircuitFigures {
    let (one, many) = (bar(1.0), bar(1e6));
    let weakest = Some(Rating { pressure: one, line: 0 });
    for side in std::iter::once(&mut figures.clamp).chain(figures.unclamp.as_mut()) {
        side.volumes = Volumes::default();
        (side.compliance, side.fill, side.usable, side.reserve) = (None, Some(0.5), None, None);
        (side.chain.weakest, side.chain.tube) = (weakest, weakest);
        for zone in &mut side.zones {
            (zone.weakest, zone.hot) = (weakest, Some(many));
        }
        let GroupFigures { members, cylinder_pieces, kinds_are_known, .. } = side.group;
        side.group = GroupFigures { members, cylinder_pieces, kinds_are_known, ..GroupFigures::default() };
    }
    figures.holding = Holding {
        cold: Some(one),
        cold_or_settled: Some(one),
        hot: Some(many),
        hold: Some(one),
        hold_is_bound: true,
        ..Holding::default()
    };
    CircuitFigures {
        unclamp: figures.unclamp,
        holding: figures.holding,
        ..CircuitFigures::blank(figures.acting, figures.clamp)
    }
}

/// The outcome, after a look whether every hit gives what the message needs.
fn told(rule: &Rule, outcome: Outcome) -> Outcome {
    assert_is_told(rule, &outcome);
    outcome
}

/// Fails where a message needs a value that the hit lacks.
pub fn assert_is_told(rule: &Rule, outcome: &Outcome) {
    for hit in &outcome.hits {
        let (wanted, _) = placeholders(rule.message);
        for name in &wanted {
            assert!(has(hit, name), "{}: the message wants {{{name}}}", rule.code);
        }
    }
}

fn has(hit: &Hit, name: &str) -> bool {
    match name {
        "measured" => hit.measured.is_some(),
        "limit" => hit.limit.is_some(),
        "side" | "the_side" => hit.side.is_some(),
        "place" | "position" | "part" => true,
        _ => hit.facts.iter().any(|(fact, _)| *fact == name),
    }
}

/// Names outside and inside of `[...]`.
fn placeholders(message: &str) -> (Vec<&str>, Vec<&str>) {
    let (mut outside, mut inside) = (Vec::new(), Vec::new());
    let mut rest = message;
    let mut is_inside = false;
    while let Some(at) = rest.find(['[', ']', '{']) {
        let (mark, tail) = (&rest[at..=at], &rest[at + 1..]);
        rest = tail;
        match mark {
            "{" => {
                let end = tail.find('}').unwrap();
                let names = if is_inside { &mut inside } else { &mut outside };
                names.push(&tail[..end]);
                rest = &tail[end + 1..];
            }
            mark => {
                assert_ne!(is_inside, mark == "[", "brackets are not nested: {message}");
                is_inside = mark == "[";
            }
        }
    }
    assert!(!is_inside, "{message}");
    (outside, inside)
}

#[test]
fn placeholders_are_told_apart() {
    let (outside, inside) = placeholders("{a} is {b}[ and {c}], {d}");
    assert_eq!(outside, ["a", "b", "d"]);
    assert_eq!(inside, ["c"]);
}

/// What an outcome lacks, without the cells that would settle it.
pub fn lacking(outcome: &Outcome) -> Vec<(Option<Side>, Option<usize>, Figure)> {
    outcome.lacks.iter().map(|lack| (lack.side, lack.line, lack.figure)).collect()
}

/// What a rule finds exactly at its limit.
pub enum AtLimit {
    /// There is none.
    None,
    /// Nothing: at so many times the limit.
    Quiet(fn(f64) -> Outcome),
    /// A finding: what lies on the limit is within it.
    Fires(fn(f64) -> Outcome),
}

impl AtLimit {
    /// So many times its limit as whole days or pieces from it, for what has no shares: the fixtures are tried at the
    /// limit and a millionth to both sides.
    #[allow(clippy::cast_possible_truncation, reason = "one, none or minus one")]
    pub fn steps(times: f64) -> i64 {
        ((times - 1.0) * 1e6).round() as i64
    }
}

/// The three fixtures of a rule.
pub struct Trio {
    pub rule: &'static Rule,
    pub fires: fn() -> Outcome,
    pub quiet: fn() -> Outcome,
    pub at_limit: AtLimit,
}

impl Trio {
    /// What is amiss with them, a sentence each.
    pub fn faults(&self) -> Vec<String> {
        let (fires, quiet) = ((self.fires)(), (self.quiet)());
        let mut faults = Vec::new();
        if fires.hits.is_empty() {
            faults.push("its fixture that fires finds nothing.".to_owned());
        }
        if !quiet.hits.is_empty() || !quiet.lacks.is_empty() {
            faults.push(format!("its fixture that stays quiet does not: {quiet:?}."));
        }
        let (at, is_within) = match self.at_limit {
            AtLimit::None => {
                let rule = self.rule;
                let compares = fires.hits.iter().any(|hit| hit.limit.is_some());
                if !rule.limits.is_empty() || rule.message.contains("{limit}") || compares {
                    faults.push("it has a limit, and no fixture stands exactly at it.".to_owned());
                }
                return faults;
            }
            AtLimit::Quiet(at) => (at, false),
            AtLimit::Fires(at) => (at, true),
        };
        let fires_at = |times: f64| !at(times).hits.is_empty();
        if fires_at(1.0) != is_within {
            faults.push(format!("exactly at its limit it {}.", if is_within { "stays quiet" } else { "fires" }));
        }
        if !at(1.0).lacks.is_empty() {
            faults.push("its fixture at the limit lacks a figure.".to_owned());
        }
        if fires_at(1.0 - 1e-6) == fires_at(1.0 + 1e-6) {
            faults.push(
                "its limit is not where its fixture stands: a millionth to both sides it finds the same.".to_owned(),
            );
        }
        faults
    }
}
