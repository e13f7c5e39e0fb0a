//! Obsolete parts: their replacement, tried in every circuit that uses them.

use crate::circuit::fixture::Ground;
use crate::circuit::fixture::load_fixture;
use crate::circuit::roster::Roster;
use crate::read::ReadError;
use crate::tables::circuit::CircuitKey;
use crate::tables::component::Component;
use crate::tables::finding::Finding;
use crate::tables::line::PartRef;
use crate::tables::value::Value;

use super::change::Change;
use super::trial::Bench;

/// Circuits named where a replacement does not conform.
const NAMED: usize = 5;

/// How the replacement of an obsolete part does.
#[derive(Clone, Debug)]
pub struct Succession {
    pub from: u32,
    pub to: u32,
    pub conforms: u64,
    pub total: u64,
    /// The first circuits where it does not, with the rules that it fails.
    pub failing: Vec<(CircuitKey, Vec<&'static str>)>,
    /// Circuits that use the part.
    pub circuits: Vec<CircuitKey>,
}

/// The replacement of an obsolete part, where the table has it and nothing stands against it.
#[must_use]
pub fn successor(ground: &Ground, component: &Component) -> Option<u32> {
    if !component.is_obsolete() {
        return None;
    }
    let to = *ground.plant.part_index.get(&component.replaced_by)?;
    let part = ground.plant.component_at(Some(to))?;
    let harms = ground.parts.get(to as usize).is_some_and(|standing| standing.counts);
    (part.kind == component.kind && !harms).then_some(to)
}

/// Whether a circuit uses a part, on a line or through its load station.
fn uses(ground: &Ground, circuit: &crate::tables::circuit::Circuit, from: u32) -> bool {
    let station = circuit.station(ground.plant).filter(|_| !circuit.lines.is_empty());
    circuit.lines.iter().any(|line| line.part == PartRef::Known(from))
        || station.is_some_and(|station| {
            [&station.pump, &station.drive_ram].into_iter().any(|part| part.index() == Some(from))
        })
}

/// Tries a replacement in the circuits of the fixtures given.
///
/// # Errors
/// Where a list can't be read any more.
pub fn succession(
    roster: &Roster,
    ground: &Ground,
    from: u32,
    to: u32,
    fixtures: &[usize],
) -> Result<Succession, ReadError> {
    let mut result = Succession { from, to, conforms: 0, total: 0, failing: Vec::new(), circuits: Vec::new() };
    for fixture in fixtures {
        let before = load_fixture(roster, ground, roster.fixtures[*fixture].clone())?.audits;
        let bench = Bench::of(ground, &before);
        for (index, audit) in before.iter().enumerate() {
            if !uses(ground, &audit.circuit, from) {
                continue;
            }
            result.total += 1;
            result.circuits.push(audit.circuit.key.clone());
            let trial = bench.trial(index, &Change::Succeed { from, to });
            if trial.gained.is_empty() && trial.unassessed.is_empty() {
                result.conforms += 1;
            } else if result.failing.len() < NAMED {
                let mut rules: Vec<&'static str> =
                    trial.gained.iter().map(|finding| finding.rule).chain(trial.unassessed.iter().copied()).collect();
                rules.dedup();
                result.failing.push((audit.circuit.key.clone(), rules));
            }
        }
    }
    Ok(result)
}

impl Succession {
    /// Whether the replacement may be offered: it conforms in every circuit.
    #[must_use]
    pub const fn is_proved(&self) -> bool {
        self.total > 0 && self.conforms == self.total
    }

    /// `11 of 12 circuits; not in Nordhalle / 7 / B / 2: P05`.
    #[must_use]
    pub fn words(&self) -> String {
        let circuits = if self.total == 1 { "circuit" } else { "circuits" };
        let mut text = format!("{} of {} {circuits}", self.conforms, self.total);
        let failing: Vec<String> =
            self.failing.iter().map(|(key, rules)| format!("{key}: {}", rules.join(" "))).collect();
        if !failing.is_empty() {
            text.push_str("; not in ");
            text.push_str(&failing.join(", "));
        }
        let left = usize::try_from(self.total - self.conforms).unwrap_or(usize::MAX).saturating_sub(self.failing.len());
        if left > 0 {
            let more = format!(" and {left} more");
            text.push_str(&more);
        }
        text
    }

    /// Completes a B01 finding: the circuits where the replacement conforms, and the remedy.
    pub fn complete(&self, ground: &Ground, finding: &mut Finding) {
        let name = |index: u32| ground.plant.component_at(Some(index)).map_or("", |part| part.part_no.as_str());
        finding.facts.push(("conforms_in", Value::Text(self.words())));
        finding.remedy = Some(if self.is_proved() {
            format!(
                "Replace {} by {} wherever it is used: the replacement conforms in {}.",
                name(self.from),
                name(self.to),
                self.words()
            )
        } else {
            format!(
                "No single change from the component table serves; nearest: replace {} by {}, which conforms in {}.",
                name(self.from),
                name(self.to),
                self.words()
            )
        });
    }
}
