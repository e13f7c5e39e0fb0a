//! All circuits of a plant in key order, and their fixtures.

use std::collections::HashSet;
use std::ops::Range;

use crate::read::{Lists, ReadError};
use crate::tables::circuit::{Circuit, CircuitKey};
use crate::tables::origin::InputNote;
use crate::tables::plant::Plant;
use crate::tables::services::ServiceOf;

/// One circuit that the lists or the circuits table name.
#[derive(Clone, Debug)]
pub struct Entry<'a> {
    pub key: &'a CircuitKey,
    /// Index into [`Lists::circuits`]; `None` where only the circuits table names it.
    pub listed: Option<usize>,
    /// Its row of the circuits table.
    pub service: Option<ServiceOf<'a>>,
}

impl<'a> Entry<'a> {
    /// The load station that its row names.
    #[must_use]
    pub fn station(&self) -> Option<&'a str> {
        self.service.map(|service| service.says().station.as_str())
    }
}

/// Every circuit in key order.
pub struct Roster<'a> {
    pub plant: &'a Plant,
    pub lists: &'a Lists,
    pub entries: Vec<Entry<'a>>,
    /// Ranges of `entries` that share plant and pallet: what is audited together. A large pallet of which no circuit
    /// has to do with another is in several.
    pub fixtures: Vec<Range<usize>>,
    /// Load stations of which a circuit may have lines in lists that this part of a run does not read.
    beyond: HashSet<&'a str>,
}

impl<'a> Roster<'a> {
    /// Joins the lists' circuits with those of the circuits table.
    #[must_use]
    pub fn of(plant: &'a Plant, lists: &'a Lists) -> Self {
        let listed = lists.circuits();
        let mut entries: Vec<Entry> = Vec::with_capacity(listed.len().max(plant.services.len()));
        // Both are in key order.
        let mut services = plant.services.iter().peekable();
        for (index, circuit) in listed.iter().enumerate() {
            while let Some((key, service)) = services.next_if(|(key, _)| **key < circuit.key) {
                entries.push(Entry { key, listed: None, service: Some(service) });
            }
            let service = services.next_if(|(key, _)| **key == circuit.key).map(|(_, service)| service);
            entries.push(Entry { key: &circuit.key, listed: Some(index), service });
        }
        entries.extend(services.map(|(key, service)| Entry { key, listed: None, service: Some(service) }));
        let fixtures = fixtures(&entries, lists.have_column("supports"));
        let mut beyond = HashSet::new();
        if lists.are_a_share {
            for range in &fixtures {
                let of_fixture = &entries[range.clone()];
                if of_fixture.iter().all(|entry| entry.listed.is_none()) {
                    let stations = of_fixture.iter().filter_map(Entry::station);
                    beyond.extend(stations.filter(|name| !name.is_empty()));
                }
            }
        }
        Self { plant, lists, entries, fixtures, beyond }
    }

    /// Whether circuits of a load station may have lines in lists that this part of a run does not read.
    #[must_use]
    pub fn is_beyond(&self, station: &str) -> bool {
        self.beyond.contains(station)
    }

    /// The fixture that holds a circuit.
    #[must_use]
    pub fn fixture_of(&self, key: &CircuitKey) -> Option<usize> {
        let index = self.entries.binary_search_by(|entry| entry.key.cmp(key)).ok()?;
        Some(self.fixtures.partition_point(|range| range.end <= index))
    }

    /// Reads one circuit with its lines.
    ///
    /// # Errors
    /// Where a file can't be read any more.
    pub fn circuit(&self, entry: &Entry) -> Result<(Circuit, Vec<InputNote>), ReadError> {
        let mut circuit =
            Circuit { key: entry.key.clone(), service: entry.service.map(ServiceOf::to_service), ..Circuit::default() };
        let Some(listed) = entry.listed else { return Ok((circuit, Vec::new())) };
        let parsed = self.lists.lines(listed)?;
        circuit.lines = parsed.lines;
        circuit.stray_rows = self.lists.strays_beside(listed);
        Ok((circuit, parsed.notes))
    }
}

/// Circuits that are held at a time of a pallet of which none has to do with another.
const HELD: usize = 1024;

/// * `has_supports` – whether a work support may stand under positions of another circuit
fn fixtures(entries: &[Entry], has_supports: bool) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    for pallet in pallets(entries) {
        let shares = |entry: &Entry| entry.service.is_some_and(|service| !service.source.is_empty());
        if has_supports || pallet.len() <= HELD || entries[pallet.clone()].iter().any(shares) {
            ranges.push(pallet);
        } else {
            ranges.extend(pallet.clone().step_by(HELD).map(|start| start..pallet.end.min(start + HELD)));
        }
    }
    ranges
}

fn pallets(entries: &[Entry]) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    let mut start = 0;
    for index in 1..=entries.len() {
        let is_end = index == entries.len() || !same_pallet(entries[start].key, entries[index].key);
        if is_end {
            ranges.push(start..index);
            start = index;
        }
    }
    ranges
}

fn same_pallet(a: &CircuitKey, b: &CircuitKey) -> bool {
    a.pallet == b.pallet && a.plant == b.plant
}
