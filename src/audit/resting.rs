//! What lets circuits pass by the letter of a rule and is told beside the verdict: it may not do what the rule asks for.

use serde::{Deserialize, Serialize};

use crate::circuit::audited::CircuitAudit;
use crate::tables::circuit::Circuit;
use crate::tables::component::Component;
use crate::tables::counted::counted;
use crate::tables::figures::SideFigures;
use crate::tables::line::Line;
use crate::tables::plant::Plant;
use crate::tables::words::{Charging, Kind, Zone};

/// A way to pass by the letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Resting {
    /// The only check valve lets oil back round another valve.
    BypassCheck,
    /// What has to hold or to show pressure is built into a part ahead of the check valve.
    BuiltInAhead,
    /// A valve whose pressure acts on nothing.
    BuiltInSetting,
    /// A relief valve that can't guard the zone of which the rule speaks.
    ReliefElsewhere,
    /// What the pump could bring is not known.
    NoStation,
    /// A life in cycles, and nobody says how many are made.
    NoCycles,
}

impl Resting {
    /// Whether pressure may not be held, shown or relieved by it: who moves the pallet has to know.
    #[must_use]
    pub const fn is_of_pressure(self) -> bool {
        matches!(self, Self::BypassCheck | Self::BuiltInAhead | Self::BuiltInSetting | Self::ReliefElsewhere)
    }

    /// The sentence, with how often and the first place.
    #[must_use]
    pub fn sentence(self, number: u64, first: &str) -> String {
        let of = |one: &str| counted(number, one);
        let verb = |one: &'static str, many: &'static str| if number == 1 { one } else { many };
        match self {
            Self::BypassCheck => format!(
                "{} no check valve but one built into a sequence valve, reducing valve or flow control, which lets oil back \
                 and traps none; first {first}.",
                format_args!("{} {}", of("circuit"), verb("has", "have"))
            ),
            Self::BuiltInAhead => format!(
                "{} a check valve, isolation valve, gauge or test point built in and {} in the zone charge, where nothing \
                 holds once the circuit is uncoupled; first {first}.",
                format_args!("{} {}", of("line"), verb("has", "have")),
                verb("sits", "sit")
            ),
            Self::BuiltInSetting => format!(
                "{} a relief, reducing or sequence valve built in, which counts as present while its pressure acts on \
                 nothing: list the valve by itself; first {first}.",
                format_args!("{} {}", of("line"), verb("has", "have"))
            ),
            Self::ReliefElsewhere => format!(
                "{} by a relief valve that sits in another zone and can't guard the one that could exceed its rating; first \
                 {first}.",
                format_args!("{} {}", of("side"), verb("passes", "pass"))
            ),
            Self::NoStation => format!(
                "{} without a load station: no pump is held against ratings; first {first}.",
                of("cylinder circuit")
            ),
            Self::NoCycles => format!(
                "{} a life in cycles or a date of topping up, and the circuit has no cycles_per_day: what is due is not told; \
                 first {first}.",
                format_args!("{} {}", of("place"), verb("states", "state"))
            ),
        }
    }
}

/// Everything of the kind on a circuit, with its place.
#[must_use]
pub fn on_circuit(plant: &Plant, audit: &CircuitAudit) -> Vec<(Resting, String)> {
    let circuit = &audit.circuit;
    let service = circuit.service();
    let is_uncoupled = service.charging().is_uncoupled();
    let path = || circuit.key.path();
    let mut found = Vec::new();
    if is_uncoupled && only_bypass_checks(plant, circuit, &audit.figures.clamp) {
        found.push((Resting::BypassCheck, path()));
    }
    let has_no_cycles = service.cycles_per_day.is_none() && !service.is_unreadable("cycles_per_day");
    for (index, line) in circuit.lines.iter().enumerate() {
        let Some(part) = line.component(&plant.components) else { continue };
        let place = || format!("{}{} on {}", part.part_no, line.at_position(), path());
        // Hardly any part has something built in: that is asked first.
        let has_holding = is_uncoupled && HOLDING.iter().any(|kind| part.includes.has(*kind));
        if has_holding && !holds(part) && zone_of(audit, index) == Some(Zone::Charge) {
            found.push((Resting::BuiltInAhead, place()));
        }
        if SET.iter().any(|kind| part.includes.has(*kind)) {
            found.push((Resting::BuiltInSetting, place()));
        }
        if has_no_cycles && line.fitted_on.is_some() && part.cycle_life.is_some() {
            found.push((Resting::NoCycles, place()));
        }
    }
    if has_no_cycles && service.topped_up.is_some() && service.charging() == Charging::Cylinder {
        found.push((Resting::NoCycles, path()));
    }
    for side in audit.figures.sides().filter(|side| passes_by_relief_elsewhere(plant, circuit, side)) {
        found.push((Resting::ReliefElsewhere, format!("{}, side {}", path(), side.side.word())));
    }
    let is_by_cylinder = service.charging() == Charging::Cylinder && !service.is_unreadable("charging");
    if is_by_cylinder && !circuit.lines.is_empty() && service.station.is_empty() {
        found.push((Resting::NoStation, path()));
    }
    found
}

/// What holds, or shows, the pressure of a circuit that is uncoupled.
const HOLDING: [Kind; 4] = [Kind::CheckValve, Kind::IsolationValve, Kind::Gauge, Kind::TestPoint];
/// What acts by its set pressure.
const SET: [Kind; 3] = [Kind::ReliefValve, Kind::ReducingValve, Kind::SequenceValve];

/// What a check valve lets oil back round.
const BYPASSED: [Kind; 3] = [Kind::SequenceValve, Kind::ReducingValve, Kind::FlowControl];

/// Whether a part is one of these by itself: ahead of the check valve it is told as such.
pub(super) fn holds(part: &Component) -> bool {
    HOLDING.iter().any(|kind| part.is(*kind))
}

fn zone_of(audit: &CircuitAudit, line: usize) -> Option<Zone> {
    let on = |side: &&SideFigures| side.lines.binary_search(&line).is_ok();
    audit.figures.sides().find(on).map(|side| side.zone_of(line))
}

/// Lines of a side with their parts.
fn fitted<'a>(
    plant: &'a Plant,
    circuit: &'a Circuit,
    side: &'a SideFigures,
) -> impl Iterator<Item = (usize, &'a Line, &'a Component)> {
    side.lines.iter().filter_map(|index| {
        let line = circuit.lines.get(*index)?;
        Some((*index, line, line.component(&plant.components)?))
    })
}

/// A check valve round a sequence valve, reducing valve or flow control opens from the clamps to the source.
fn only_bypass_checks(plant: &Plant, circuit: &Circuit, side: &SideFigures) -> bool {
    if !BYPASSED.iter().any(|kind| side.kinds.has(*kind)) {
        return false;
    }
    let is_bypass = |part: &Component| BYPASSED.iter().any(|kind| part.is(*kind));
    let mut checks =
        fitted(plant, circuit, side).map(|(_, _, part)| part).filter(|part| part.provides(Kind::CheckValve)).peekable();
    checks.peek().is_some() && checks.all(is_bypass)
}

/// Whether every relief valve of a side sits where it can't guard what could exceed its rating: the pump's pressure
/// reaches the zones one after the other.
fn passes_by_relief_elsewhere(plant: &Plant, circuit: &Circuit, side: &SideFigures) -> bool {
    if !side.kinds.has(Kind::ReliefValve) {
        return false;
    }
    let valves = fitted(plant, circuit, side).filter(|(_, _, part)| part.provides(Kind::ReliefValve));
    let mut zones = valves.map(|(index, ..)| side.zone_of(index)).peekable();
    let only_reduced = zones.peek().is_some() && zones.all(|zone| zone == Zone::Reduced);
    let exceeds = |zone: Zone| {
        let figures = side.zone(zone);
        let is_above = |(potential, rating)| potential > rating;
        let weakest = figures.weakest.as_ref().map(|weakest| weakest.pressure);
        !figures.lines.is_empty() && figures.potential.zip(weakest).is_some_and(is_above)
    };
    only_reduced && (exceeds(Zone::Charge) || exceeds(Zone::Full))
}
