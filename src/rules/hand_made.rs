//! Circuits and figures made by hand, for the tests of the rules.

use chrono::NaiveDate;

use crate::physics::quantity::Pressure;
use crate::tables::circuit::{Circuit, Service};
use crate::tables::component::Component;
use crate::tables::figures::{CircuitFigures, Holding, Rating, SideFigures};
use crate::tables::line::{Cell, Line};
use crate::tables::plant::Plant;
use crate::tables::policy::Policy;
use crate::tables::words::{Acting, Kind, Side};

use super::view::{CircuitView, NeighbourClamp, NeighbourSupport};
use super::{Hit, Outcome, Rule};

/// The fixed day of the tests.
pub fn today() -> NaiveDate {
    day(2026, 3, 10)
}

pub fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

pub fn bar(value: f64) -> Pressure {
    Pressure::from_bar(value)
}

/// A plant with one circuit whose figures a test sets.
pub struct Bench {
    pub plant: Plant,
    pub circuit: Circuit,
    pub service: Service,
    pub figures: CircuitFigures,
    pub neighbours: Vec<NeighbourClamp>,
    pub neighbour_supports: Vec<NeighbourSupport>,
}

impl Bench {
    /// A single-acting circuit without lines, service data and figures.
    pub fn new() -> Self {
        Self {
            plant: Plant::empty(Policy::at(today())),
            circuit: Circuit::default(),
            service: Service::default(),
            figures: no_figures(),
            neighbours: Vec::new(),
            neighbour_supports: Vec::new(),
        }
    }

    /// A row of the component table; its index.
    pub fn part(&mut self, kind: Kind, part_no: &str, change: impl FnOnce(&mut Component)) -> u32 {
        let mut component = Component { kind: Some(kind), part_no: part_no.to_owned(), ..Component::default() };
        change(&mut component);
        let index = u32::try_from(self.plant.components.len()).unwrap();
        self.plant.part_index.insert(part_no.to_owned(), index);
        self.plant.components.push(component);
        index
    }

    /// So many pieces of a part on the circuit; the line's index.
    pub fn line(&mut self, part: u32, pieces: f64, change: impl FnOnce(&mut Line)) -> usize {
        let mut line = Line::of_part(part);
        line.qty = Cell::Value(pieces);
        change(&mut line);
        self.circuit.lines.push(line);
        self.circuit.lines.len() - 1
    }

    /// With the charge pressure of the clamp side.
    pub fn charged_to(&mut self, pressure: f64) {
        self.figures.clamp.chain.charge = Some(bar(pressure));
    }

    /// With the weakest rating, that of a line.
    pub fn weakest(&mut self, line: usize, pressure: f64) {
        self.figures.clamp.chain.weakest = Some(Rating { pressure: bar(pressure), line });
    }

    /// Runs a rule of circuits.
    pub fn run(&self, rule: &Rule) -> Outcome {
        let view = CircuitView::of(&self.plant, &self.circuit, &self.service, &self.figures)
            .beside(&self.neighbours, &self.neighbour_supports);
        let mut outcome = Outcome::default();
        rule.checks.circuit.unwrap()(&view, &mut outcome);
        assert_is_told(rule, &outcome);
        outcome
    }
}

fn no_figures() -> CircuitFigures {
    let clamp = SideFigures::blank(Side::Clamp);
    CircuitFigures {
        acting: Acting::Single,
        clamp,
        unclamp: None,
        holding: Holding::default(),
        clamp_time: None,
        unclamp_time: None,
        reynolds: None,
        gaps: Vec::new(),
    }
}

/// Fails where a message needs a value that the hit lacks, or leaves out one that it has.
pub fn assert_is_told(rule: &Rule, outcome: &Outcome) {
    for hit in &outcome.hits {
        let (wanted, possible) = placeholders(rule.message);
        for name in &wanted {
            assert!(has(hit, name), "{}: the message wants {{{name}}}", rule.code);
        }
        for (name, _) in &hit.facts {
            let is_told = wanted.iter().chain(&possible).any(|told| told == name);
            assert!(is_told, "{}: the message leaves {{{name}}} out", rule.code);
        }
    }
}

fn has(hit: &Hit, name: &str) -> bool {
    match name {
        "measured" => hit.measured.is_some(),
        "limit" => hit.limit.is_some(),
        "place" | "position" | "part" | "side" => true,
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
