//! Obsolete parts: their replacement, tried in every circuit that uses them.

use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::Ground;
use crate::circuit::fixture::load_fixture;
use crate::circuit::roster::Roster;
use crate::read::ReadError;
use crate::tables::circuit::Circuit;
use crate::tables::circuit_key::{CircuitKey, SharedKey};
use crate::tables::component::Component;
use crate::tables::finding::Finding;
use crate::tables::line::PartRef;
use crate::tables::station::Station;
use crate::tables::value::Value;

use super::change::Change;
use super::need::{self, Needed, TakenByPart};
use super::trial::Bench;

/// Circuits named where a replacement does not conform.
const NAMED: usize = 5;

/// How the replacement of an obsolete part does.
#[derive(Clone, Debug, Default)]
pub struct Succession {
    pub from: u32,
    pub to: u32,
    /// Whether the replacement is obsolete itself: it may conform, and can't be had for long.
    to_is_obsolete: bool,
    /// In all circuits that use the part.
    everywhere: Tried,
    /// In those for which it is bought: neither they, nor the station through which they use it, are built.
    where_bought: Tried,
    /// Circuits that use the part.
    pub circuits: Vec<SharedKey>,
    /// What it needs on their lines.
    pub needs: Vec<Needed>,
}

/// How a replacement does in some circuits.
#[derive(Clone, Debug, Default)]
struct Tried {
    conforms: u64,
    total: u64,
    /// The first circuits where it does not, with the rules that it fails.
    failing: Vec<(CircuitKey, Vec<&'static str>)>,
}

impl Tried {
    fn add(&mut self, key: &CircuitKey, failed: &[&'static str]) {
        self.total += 1;
        if failed.is_empty() {
            self.conforms += 1;
        } else if self.failing.len() < NAMED {
            self.failing.push((key.clone(), failed.to_vec()));
        }
    }

    const fn is_proved(&self) -> bool {
        self.total > 0 && self.conforms == self.total
    }

    /// `11 of 12 circuits; not in Nordhalle / 7 / B / 2: P05`.
    fn words(&self) -> String {
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

/// Whether a circuit uses a part, on a line or through its load station; and whether it is then bought for it.
fn use_of(ground: &Ground, circuit: &Circuit, from: u32) -> Option<bool> {
    let station = circuit.station(ground.plant).filter(|_| !circuit.lines.is_empty());
    let has = |station: &&Station| station.parts().iter().any(|part| part.index() == Some(from));
    let of_station = station.filter(has).map(|station| !station.built);
    let is_listed = circuit.lines.iter().any(|line| line.part == PartRef::Known(from));
    let of_lines = is_listed.then(|| !circuit.service.as_ref().is_some_and(|service| service.built));
    of_station.max(of_lines)
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
    let to_is_obsolete = ground.plant.component_at(Some(to)).is_some_and(Component::is_obsolete);
    let mut result = Succession { from, to, to_is_obsolete, ..Succession::default() };
    let change = Change::Succeed { from, to };
    for fixture in fixtures {
        let before = load_fixture(roster, ground, roster.fixtures[*fixture].clone())?.audits;
        let uses: Vec<Option<bool>> = before.iter().map(|audit| use_of(ground, &audit.circuit, from)).collect();
        let mut failed = failed_in(ground, &before, &change, &|index| uses[index].is_some());
        for (index, audit) in before.iter().enumerate() {
            let Some(is_bought) = uses[index] else { continue };
            let key = SharedKey::new(audit.circuit.key.clone());
            let taken = TakenByPart::of(ground.plant, std::slice::from_ref(&audit.circuit));
            result.needs.extend(need::of_circuit(ground.plant, &audit.circuit, &key, &taken, &change));
            let failed = std::mem::take(&mut failed[index]);
            result.everywhere.add(&key, &failed);
            if is_bought {
                result.where_bought.add(&key, &failed);
            }
            result.circuits.push(key);
        }
    }
    Ok(result)
}

/// By circuit of a fixture: the rules that the replacement fails there.
///
/// Circuits that have to do with each other are changed together: the replacement is wanted wherever the part is used,
/// and what each takes more of a charging cylinder's oil adds up. One audit serves all of them. What it brings on a
/// circuit that doesn't use the part stands against all that do.
fn failed_in(
    ground: &Ground,
    before: &[CircuitAudit],
    change: &Change,
    uses: &dyn Fn(usize) -> bool,
) -> Vec<Vec<&'static str>> {
    let bench = Bench::of(ground, before);
    let mut failed: Vec<Vec<&'static str>> = vec![Vec::new(); before.len()];
    for set in bench.sets().filter(|set| set.iter().any(|index| uses(*index))) {
        if let [only] = set {
            let trial = bench.trial(*only, change);
            failed[*only] = trial.gained.iter().map(|finding| finding.rule).chain(trial.unassessed).collect();
        } else {
            let mut elsewhere: Vec<&'static str> = Vec::new();
            for (index, rules) in set.iter().zip(bench.failed_together(set, change, uses)) {
                if uses(*index) { failed[*index] = rules } else { elsewhere.extend(rules) }
            }
            for index in set.iter().filter(|index| uses(**index)) {
                failed[*index].extend(&elsewhere);
            }
        }
    }
    failed.iter_mut().for_each(Vec::dedup);
    failed
}

impl Succession {
    /// Whether the replacement may be offered: it conforms in every circuit.
    #[must_use]
    pub const fn is_proved(&self) -> bool {
        self.everywhere.is_proved() && !self.to_is_obsolete
    }

    /// Where it has to conform to be bought: where it is needed, else wherever it is used.
    const fn for_buying(&self) -> &Tried {
        if self.where_bought.total > 0 { &self.where_bought } else { &self.everywhere }
    }

    /// Whether the replacement may be bought: it conforms wherever the part would be.
    #[must_use]
    pub const fn may_be_bought(&self) -> bool {
        self.for_buying().is_proved() && !self.to_is_obsolete
    }

    /// In which circuits it conforms: `11 of 12 circuits; not in Nordhalle / 7 / B / 2: P05`.
    #[must_use]
    pub fn words(&self) -> String {
        self.everywhere.words()
    }

    /// The same of the circuits for which it would be bought.
    #[must_use]
    pub fn words_for_buying(&self) -> String {
        self.for_buying().words()
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
                "No single change from the component table serves; nearest: replace {} by {}, which conforms in {}{}.",
                name(self.from),
                name(self.to),
                self.words(),
                if self.to_is_obsolete { " and is obsolete too" } else { "" }
            )
        });
    }
}
