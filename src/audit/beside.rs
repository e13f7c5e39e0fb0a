//! What stands beside every verdict, since no verdict rests on it: one list for the terminal, Summary, the mail and
//! `summary.json`.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::audit::flattering::{self, Flattering};
use crate::audit::resting::{self, Resting};
use crate::circuit::audited::CircuitAudit;
use crate::physics::unit::UnitSystem;
use crate::rules::relaxed;
use crate::rules::view::blank_hold_data;
use crate::tables::circuit::Service;
use crate::tables::component::Component;
use crate::tables::counted::counted;
use crate::tables::line::Line;
use crate::tables::plant::Plant;
use crate::tables::policy::{DEFAULT_FLUID, Policy, softer_in_words};
use crate::tables::words::{Kind, Zone};

/// 1/K; a hydraulic fluid expands more with warmth: water at 20 °C by 2.1e-4, mineral oil by 6e-4 to 8e-4.
const LEAST_EXPANSION: f64 = 1e-4;

/// How often something was met, and the first place in alphabetical order, whatever the order of circuits.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tallied {
    pub number: u64,
    pub first: String,
}

impl Tallied {
    fn count(&mut self, number: u64, place: impl FnOnce() -> String) {
        if number == 0 {
            return;
        }
        let place = place();
        if self.number == 0 || place < self.first {
            self.first = place;
        }
        self.number += number;
    }

    /// One more of what has a name: most come after the first, and are only counted.
    fn count_named(&mut self, name: &str) {
        if self.number == 0 || name < self.first.as_str() {
            name.clone_into(&mut self.first);
        }
        self.number += 1;
    }
}

/// What was met on circuits that no rule looks at.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Beside {
    /// Clamps, supports, valves and gauges that are listed ahead of the check valve of an uncoupled circuit.
    pub charge_lines: Tallied,
    /// Circuits with lines, none of them a clamp.
    pub without_clamp: Tallied,
    /// Cells of lists that the kind of their part does not use.
    pub idle_cells: Tallied,
    /// Circuits that are uncoupled and lack a datum that the policy does not ask for.
    #[serde(default)]
    pub unasked: Tallied,
    /// What lets circuits pass by the letter of a rule.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub resting: BTreeMap<Resting, Tallied>,
    /// Blank data that count as nothing.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub flattering: BTreeMap<Flattering, Tallied>,
    /// Fluids of circuits that as good as don't expand with warmth.
    pub stiff_fluids: BTreeSet<String>,
}

impl Beside {
    /// Counts what is on a circuit.
    pub fn add_circuit(&mut self, plant: &Plant, audit: &CircuitAudit) {
        let circuit = &audit.circuit;
        let service = circuit.service();
        let name = if service.fluid.is_empty() { DEFAULT_FLUID } else { service.fluid.as_str() };
        let is_stiff = plant.policy.fluid(name).is_some_and(|fluid| fluid.thermal_expansion < LEAST_EXPANSION);
        if is_stiff && !self.stiff_fluids.contains(name) {
            self.stiff_fluids.insert(name.to_owned());
        }
        let is_uncoupled = service.charging().is_uncoupled();
        if is_uncoupled && !circuit.lines.is_empty() && lacks_unasked(&plant.policy, &service) {
            self.unasked.count(1, || circuit.key.path());
        }
        if flattering::takes_usual_temperature(&service) && !circuit.lines.is_empty() {
            self.flattering.entry(Flattering::TempCharge).or_default().count(1, || circuit.key.path());
        }
        let is_held = is_uncoupled && service.states_hold_data();
        let mut has_clamp = false;
        for line in &circuit.lines {
            let Some(part) = line.component(&plant.components) else { continue };
            has_clamp |= part.is(Kind::Clamp);
            let at = |what: &str| format!("{what}{} on {}", named(line, part), circuit.key.path());
            if let Some(datum) = flattering::on_line(line, part, is_held) {
                self.flattering.entry(datum).or_default().count_named(&part.part_no);
            }
            if is_uncoupled && line.zone == Some(Zone::Charge) && holds(part) {
                self.charge_lines.count(1, || at(""));
            }
            for column in line.idle_columns(part) {
                self.idle_cells.count(1, || at(&format!("{column} of ")));
            }
        }
        for (what, place) in resting::on_circuit(plant, audit) {
            self.resting.entry(what).or_default().count(1, || place);
        }
        if !has_clamp && !circuit.lines.is_empty() {
            self.without_clamp.count(1, || circuit.key.path());
        }
    }

    /// Sentences on what may not hold or relieve the pressure of some circuits though the rules pass them.
    #[must_use]
    pub fn unheld<'a>(plant: &Plant, circuits: impl Iterator<Item = &'a CircuitAudit>) -> Vec<String> {
        let mut all: BTreeMap<Resting, Tallied> = BTreeMap::new();
        for (what, place) in circuits.flat_map(|audit| resting::on_circuit(plant, audit)) {
            if what.is_of_pressure() {
                all.entry(what).or_default().count(1, || place);
            }
        }
        all.iter().map(|(what, tallied)| what.sentence(tallied.number, &tallied.first)).collect()
    }

    /// Adds what was counted elsewhere.
    pub fn add(&mut self, other: Self) {
        self.unasked.count(other.unasked.number, || other.unasked.first);
        self.charge_lines.count(other.charge_lines.number, || other.charge_lines.first);
        self.without_clamp.count(other.without_clamp.number, || other.without_clamp.first);
        self.idle_cells.count(other.idle_cells.number, || other.idle_cells.first);
        for (what, tallied) in other.resting {
            self.resting.entry(what).or_default().count(tallied.number, || tallied.first);
        }
        for (datum, tallied) in other.flattering {
            self.flattering.entry(datum).or_default().count(tallied.number, || tallied.first);
        }
        self.stiff_fluids.extend(other.stiff_fluids);
    }

    /// A sentence for each thing on which no verdict rests.
    #[must_use]
    pub fn sentences(&self, policy: &Policy) -> Vec<String> {
        let of_policy = softer_in_words(&policy.softer_fluids()).into_iter().chain(relaxed::limits_in_words(policy));
        let of_policy = of_policy.chain(relaxed::unusual_in_words(policy));
        let resting = self.resting.iter().map(|(what, tallied)| what.sentence(tallied.number, &tallied.first));
        let of_policy = of_policy.chain(self.unasked(policy)).chain(self.stiff(policy));
        of_policy.chain(self.on_circuits()).chain(resting).chain(self.blanks(policy.units)).collect()
    }

    fn blanks(&self, units: UnitSystem) -> Option<String> {
        let blank = self.flattering.iter().map(|(datum, tallied)| (*datum, tallied.number, tallied.first.as_str()));
        Flattering::sentence(blank, units)
    }

    fn unasked(&self, policy: &Policy) -> Option<String> {
        let sentence = relaxed::unasked_in_words(policy)?;
        let Tallied { number, first } = &self.unasked;
        Some(match number {
            0 => format!("{sentence} It is blank on none."),
            number => format!("{sentence} It is blank on {}; first {first}.", counted(*number, "circuit")),
        })
    }

    fn stiff(&self, policy: &Policy) -> Option<String> {
        let one = |name: &String| {
            let expansion = policy.fluid(name).map_or(0.0, |fluid| fluid.thermal_expansion);
            format!("{name} (thermal_expansion = {expansion} 1/K)")
        };
        let named: Vec<String> = self.stiff_fluids.iter().map(one).collect();
        (!named.is_empty()).then(|| {
            format!(
                "No oil expands as little with warmth as the fluid {}: what warmth and cold do to trapped oil is as good as \
                 left out.",
                named.join(", ")
            )
        })
    }

    fn on_circuits(&self) -> impl Iterator<Item = String> {
        let charge = (self.charge_lines.number > 0).then(|| {
            format!(
                "{} in the zone charge, where nothing holds once the circuit is uncoupled: clamps, work supports, valves or \
                 gauges; first {}.",
                stands(self.charge_lines.number, "line"),
                self.charge_lines.first
            )
        });
        let clampless = (self.without_clamp.number > 0).then(|| {
            format!(
                "{} no clamp, so that nothing is said of clamping; first {}.",
                if self.without_clamp.number == 1 {
                    "1 circuit lists".to_owned()
                } else {
                    format!("{} list", counted(self.without_clamp.number, "circuit"))
                },
                self.without_clamp.first
            )
        });
        let idle = (self.idle_cells.number > 0).then(|| {
            format!(
                "{} under columns that the kind of their part does not use, and {} not looked at; first {}; see Input.",
                stands(self.idle_cells.number, "cell"),
                if self.idle_cells.number == 1 { "is" } else { "are" },
                self.idle_cells.first
            )
        });
        [charge, clampless, idle].into_iter().flatten()
    }
}

/// Whether a datum is blank that the policy does not ask for.
fn lacks_unasked(policy: &Policy, service: &Service) -> bool {
    relaxed::unasked(policy).any(|column| blank_hold_data(service).any(|blank| blank == column))
}

/// What has to hold, or to show, the pressure of a circuit that is uncoupled.
fn holds(part: &Component) -> bool {
    part.is_actuator() || resting::holds(part)
}

fn stands(number: u64, what: &str) -> String {
    format!("{} {}", counted(number, what), if number == 1 { "stands" } else { "stand" })
}

/// `clamp CL-20 at position C1`.
fn named(line: &Line, part: &Component) -> String {
    let kind = part.kind.map_or_else(|| "part".to_owned(), Kind::plain);
    format!("{kind} {}{}", part.part_no, line.at_position())
}
