//! All circuits of a plant in key order, and their fixtures.

use std::collections::HashSet;
use std::ops::Range;

use crate::read::{Lists, ReadError};
use crate::tables::circuit::{Circuit, CircuitKey};
use crate::tables::origin::InputNote;
use crate::tables::place_names::RankedKey;
use crate::tables::plant::Plant;
use crate::tables::services::{ServiceOf, ServiceRow};

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
    /// Of the circuits that lists name; of the rows of the circuits table, behind [`UNLISTED`], where they do not name it.
    at: u32,
    /// Its row of the circuits table, and the place of what it says; that is [`NOWHERE`] where there is none.
    row: u32,
    says: u32,
}

const UNLISTED: u32 = 1 << 31;
const NOWHERE: u32 = u32::MAX;

impl Place {
    const fn is_listed(self) -> bool {
        self.at & UNLISTED == 0
    }
}

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
        let mut joining = Joining {
            plant,
            has_supports: lists.have_column("supports"),
            places: Vec::with_capacity(lists.circuits().len().max(plant.services.len())),
            fixtures: Vec::new(),
            pallet: None,
            start: 0,
            shares: false,
        };
        // Both are in key order, by the same names.
        let mut rows = (0_u32..).zip(plant.services.rows()).peekable();
        for (index, key) in (0_u32..).zip(lists.keys()) {
            while let Some((service, row)) = rows.next_if(|(_, row)| row.key < key) {
                joining.put(row.key, service | UNLISTED, Some(row));
            }
            joining.put(key, index, rows.next_if(|(_, row)| row.key == key).map(|(_, row)| row));
        }
        rows.for_each(|(service, row)| joining.put(row.key, service | UNLISTED, Some(row)));
        joining.end_pallet();
        let Joining { places, fixtures, .. } = joining;
        let mut roster = Self { plant, lists, places, fixtures, beyond: HashSet::new() };
        if lists.are_a_share {
            let is_beyond = |range: &&Range<usize>| {
                roster.places.get((*range).clone()).unwrap_or_default().iter().all(|place| !place.is_listed())
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
        let listed = place.is_listed().then_some(place.at as usize);
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
        let key = if place.is_listed() {
            self.lists.key(place.at as usize)
        } else {
            self.plant.services.key((place.at & !UNLISTED) as usize)
        };
        key.unwrap_or_default()
    }

    fn service(&self, place: Place) -> Option<ServiceOf<'a>> {
        self.plant.services.saying(place.row, place.says)
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
}

/// Circuits put together in key order, with the pallets that they come to.
struct Joining<'a> {
    plant: &'a Plant,
    /// Whether a work support may stand under positions of another circuit.
    has_supports: bool,
    places: Vec<Place>,
    fixtures: Vec<Range<usize>>,
    /// The pallet under way, its first circuit, and whether one of them names a source.
    pallet: Option<[u32; 2]>,
    start: usize,
    shares: bool,
}

impl Joining<'_> {
    /// Adds the circuit that is next in key order, with its row of the circuits table.
    fn put(&mut self, key: RankedKey, at: u32, row: Option<ServiceRow>) {
        if self.pallet != Some(key.pallet()) {
            self.end_pallet();
            self.pallet = Some(key.pallet());
        }
        let service = row.and_then(|row| self.plant.services.of_row(row));
        self.shares |= service.is_some_and(|service| !service.source.is_empty());
        let (row, says) = row.map_or((0, NOWHERE), |row| (row.row, row.says));
        self.places.push(Place { at, row, says });
    }

    fn end_pallet(&mut self) {
        let (start, end) = (self.start, self.places.len());
        if end - start <= HELD || self.has_supports || self.shares {
            self.fixtures.extend(std::iter::once(start..end).filter(|range| !range.is_empty()));
        } else {
            self.fixtures.extend((start..end).step_by(HELD).map(|start| start..end.min(start + HELD)));
        }
        (self.start, self.shares) = (end, false);
    }
}

/// Circuits that are held at a time of a pallet of which none has to do with another.
const HELD: usize = 1024;
