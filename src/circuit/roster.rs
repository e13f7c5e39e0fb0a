//! All circuits of a plant in key order, and their fixtures.

use std::collections::HashSet;
use std::ops::Range;

use crate::read::{Lists, ReadError};
use crate::tables::circuit::{Circuit, CircuitKey};
use crate::tables::origin::InputNote;
use crate::tables::place_names::RankedKey;
use crate::tables::plant::Plant;
use crate::tables::services::ServiceOf;

/// One circuit that the lists or the circuits table name.
#[derive(Clone, Debug)]
pub struct Entry<'a> {
    pub key: CircuitKey,
    /// Index into [`Lists::circuits`]; `None` where only the circuits table names it.
    pub listed: Option<usize>,
    /// Its row of the circuits table.
    pub service: Option<ServiceOf<'a>>,
}

/// Where the tables have a circuit: it is one of very many.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// [`NOWHERE`] where the lists do not name it.
    listed: u32,
    /// Of the rows of the circuits table; [`NOWHERE`] where it has none.
    service: u32,
}

const NOWHERE: u32 = u32::MAX;

/// Every circuit in key order.
pub struct Roster<'a> {
    pub plant: &'a Plant,
    pub lists: &'a Lists,
    /// Of every circuit, in key order.
    places: Vec<Place>,
    /// Ranges of the circuits that share plant and pallet: what is audited together. A large pallet of which no circuit
    /// has to do with another is in several.
    pub fixtures: Vec<Range<usize>>,
    /// Load stations of which a circuit may have lines in lists that this part of a run does not read.
    beyond: HashSet<&'a str>,
}

impl<'a> Roster<'a> {
    /// Joins the lists' circuits with those of the circuits table.
    #[must_use]
    pub fn of(plant: &'a Plant, lists: &'a Lists) -> Self {
        let listed = lists.keys();
        let services = plant.services.rows();
        let mut places: Vec<Place> = Vec::with_capacity(listed.len().max(services.len()));
        // Both are in key order, by the same names.
        let mut rows = (0..).zip(services).peekable();
        for (index, key) in (0..).zip(listed) {
            while let Some((service, _)) = rows.next_if(|(_, row)| row.key < *key) {
                places.push(Place { listed: NOWHERE, service });
            }
            let service = rows.next_if(|(_, row)| row.key == *key).map_or(NOWHERE, |(service, _)| service);
            places.push(Place { listed: index, service });
        }
        places.extend(rows.map(|(service, _)| Place { listed: NOWHERE, service }));
        let mut roster = Self { plant, lists, places, fixtures: Vec::new(), beyond: HashSet::new() };
        roster.fixtures = roster.in_fixtures(lists.have_column("supports"));
        if lists.are_a_share {
            let is_beyond = |range: &&Range<usize>| {
                roster.places.get((*range).clone()).unwrap_or_default().iter().all(|place| place.listed == NOWHERE)
            };
            let ranges = roster.fixtures.iter().filter(is_beyond);
            let stations = ranges.flat_map(|range| roster.stations(range.clone()));
            roster.beyond = stations.filter(|name| !name.is_empty()).collect();
        }
        roster
    }

    /// How many circuits there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.places.len()
    }

    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.places.is_empty()
    }

    /// A circuit by its index in key order.
    #[must_use]
    pub fn entry(&self, index: usize) -> Entry<'a> {
        let place = self.places[index];
        let listed = (place.listed != NOWHERE).then_some(place.listed as usize);
        Entry { key: self.lists.names().key(self.key(place)), listed, service: self.service(place) }
    }

    /// The circuits of a range, in key order.
    pub fn entries(&self, range: Range<usize>) -> impl Iterator<Item = Entry<'a>> {
        range.map(|index| self.entry(index))
    }

    /// All circuits, in key order.
    pub fn all(&self) -> impl Iterator<Item = Entry<'a>> {
        self.entries(0..self.len())
    }

    /// The load stations that the rows of a range of circuits name.
    pub fn stations(&self, range: Range<usize>) -> impl Iterator<Item = &'a str> {
        let services = self.places[range].iter().filter_map(|place| self.service(*place));
        services.map(|service| service.says().station.as_str())
    }

    fn key(&self, place: Place) -> RankedKey {
        let listed = self.lists.keys().get(place.listed as usize).copied();
        listed.unwrap_or_else(|| self.plant.services.rows()[place.service as usize].key)
    }

    fn service(&self, place: Place) -> Option<ServiceOf<'a>> {
        self.plant.services.of_row(*self.plant.services.rows().get(place.service as usize)?)
    }

    /// Whether circuits of a load station may have lines in lists that this part of a run does not read.
    #[must_use]
    pub fn is_beyond(&self, station: &str) -> bool {
        self.beyond.contains(station)
    }

    /// The fixture that holds a circuit.
    #[must_use]
    pub fn fixture_of(&self, key: &CircuitKey) -> Option<usize> {
        let key = self.lists.names().find(key)?;
        let index = self.places.binary_search_by_key(&key, |place| self.key(*place)).ok()?;
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
    /// * `has_supports` – whether a work support may stand under positions of another circuit
    fn in_fixtures(&self, has_supports: bool) -> Vec<Range<usize>> {
        let mut ranges = Vec::new();
        let mut start = 0;
        for pallet in self.places.chunk_by(|one, next| self.key(*one).pallet() == self.key(*next).pallet()) {
            let end = start + pallet.len();
            let shares = |place: &Place| self.service(*place).is_some_and(|service| !service.source.is_empty());
            if has_supports || pallet.len() <= HELD || pallet.iter().any(shares) {
                ranges.push(start..end);
            } else {
                ranges.extend((start..end).step_by(HELD).map(|start| start..end.min(start + HELD)));
            }
            start = end;
        }
        ranges
    }
}

/// Circuits that are held at a time of a pallet of which none has to do with another.
const HELD: usize = 1024;
