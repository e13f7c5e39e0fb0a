//! What applied changes bring into the bill, and what of it is wanted at once: for circuits that are unsafe in service.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use crate::remedy::need::amount;
use crate::remedy::remedy_row::RemedyRow;
use crate::rules::buying::{B02, B03, B10};
use crate::rules::catalogue::rule;
use crate::tables::circuit::InService;
use crate::tables::circuit_key::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::trade_unit::is_more;
use crate::tables::usage::Taken;
use crate::tables::words::{Severity, State};

/// What is wanted of a part at once, and for which circuits.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AtOnce {
    taken: Taken,
    pub circuits: BTreeSet<CircuitKey>,
}

/// Of parts, by component index.
pub type WantedAtOnce = BTreeMap<u32, AtOnce>;

impl AtOnce {
    /// How much, in the part's unit.
    #[must_use]
    pub fn amount(&self, plant: &Plant, part: u32) -> Decimal {
        let component = plant.component_at(Some(part));
        component.and_then(|component| amount(self.taken, component, plant.policy.units)).unwrap_or_default()
    }

    /// How much of it has to be ordered, in the part's unit: what has come can be fitted today and goes first, and what is
    /// neither short nor has come is on order.
    ///
    /// * `short` – needed less ordered
    #[must_use]
    pub fn to_order(&self, plant: &Plant, part: u32, received: Decimal, short: Decimal) -> Decimal {
        self.amount(plant, part).saturating_sub(received).max(Decimal::ZERO).min(short)
    }
}

/// What applied changes need for circuits that are unsafe in service.
#[must_use]
pub fn wanted_at_once(plant: &Plant, remedies: &[RemedyRow]) -> WantedAtOnce {
    wanted_by(plant, remedies.iter().filter(|row| row.is_applied()))
}

/// Circuits unsafe in service for which changes that are not applied would bring parts in.
#[must_use]
pub fn uncounted_circuits(plant: &Plant, remedies: &[RemedyRow]) -> BTreeSet<CircuitKey> {
    let wanted = wanted_by(plant, remedies.iter().filter(|row| !row.is_applied()));
    wanted.into_values().flat_map(|one| one.circuits).collect()
}

fn wanted_by<'a>(plant: &Plant, rows: impl Iterator<Item = &'a RemedyRow>) -> WantedAtOnce {
    let is_in_service =
        |place: &CircuitKey| plant.service(place).is_some_and(|service| service.in_service() == InService::Yes);
    let makes_safe =
        |code: &&str| rule(code).is_some_and(|rule| rule.weighs_on_circuits() && rule.is_major_or_minor(&plant.policy));
    let mut all = WantedAtOnce::new();
    for row in rows.filter(|row| row.rules.iter().any(&makes_safe)) {
        for need in row.needs.iter().filter(|need| need.taken.above_zero() != Taken::default()) {
            // What is changed on a load station is for all circuits that it clears.
            let of_station: Vec<&CircuitKey> =
                if need.place.is_none() { row.circuits.iter().map(AsRef::as_ref).collect() } else { Vec::new() };
            let places = need.place.iter().map(AsRef::as_ref).chain(of_station).filter(|place| is_in_service(place));
            let places: BTreeSet<CircuitKey> = places.cloned().collect();
            if !places.is_empty() {
                let one = all.entry(need.part).or_default();
                one.taken = one.taken.and(need.taken.above_zero());
                one.circuits.extend(places);
            }
        }
    }
    all
}

/// Majors and minors of buying that would not be there without what applied changes need.
#[must_use]
pub fn of_changes_alone(
    plant: &Plant,
    remedies: &[RemedyRow],
    rows: &[PurchaseRow],
    findings: &[Finding],
) -> (u64, u64) {
    let mut brought: BTreeMap<u32, Taken> = BTreeMap::new();
    for need in remedies.iter().filter(|row| row.is_applied()).flat_map(|row| &row.needs) {
        let sum = brought.entry(need.part).or_default();
        *sum = sum.and(need.taken);
    }
    if brought.is_empty() {
        return (0, 0);
    }
    let bill: BTreeMap<&str, _> = rows.iter().map(|row| (row.part_no.as_str(), row)).collect();
    let is_of_changes = |finding: &&Finding| {
        let Some(row) = bill.get(finding.part_no.as_str()).filter(|row| !row.need_is_bound) else { return false };
        let component = plant.component_at(row.component);
        let more = row.component.and_then(|part| amount(*brought.get(&part)?, component?, plant.policy.units));
        more.is_some_and(|more| !is_more(row.needed.saturating_sub(more), row.ordered.unwrap_or_default()))
    };
    let codes = [B02.code, B03.code, B10.code];
    let open = findings.iter().filter(|one| codes.contains(&one.rule) && one.state != State::Waived);
    let mut counts = (0, 0);
    for finding in open.filter(is_of_changes) {
        match finding.severity {
            Severity::Major => counts.0 += 1,
            Severity::Minor => counts.1 += 1,
            Severity::Observation => {}
        }
    }
    counts
}
