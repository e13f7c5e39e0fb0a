//! What the circuits table says of each circuit, rows that say the same kept once: a plant may have very many circuits,
//! of which most are served like others.

use std::ops::Deref;
use std::sync::Arc;

use super::circuit_key::CircuitKey;
use super::column::Service;
use super::origin::{Origin, SourceId};
use super::packed::{Packed, push_step};
use super::packed_rows::{PackedRow, PackedRows};
use super::place_names::{PlaceNames, RankedKey};

/// The rows of the circuits table.
#[derive(Clone, Debug, Default)]
pub struct Services {
    source: SourceId,
    names: Arc<PlaceNames>,
    /// In key order, each key once.
    rows: PackedRows<ServiceRow>,
    /// What the rows say, without where they stand.
    said: Vec<Service>,
}

/// A row of the circuits table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct ServiceRow {
    pub key: RankedKey,
    /// As a spreadsheet shows it.
    pub row: u32,
    /// What it says, by its place in [`Services`].
    pub says: u32,
}

/// Rows in key order mostly follow each other in the file.
impl PackedRow for ServiceRow {
    fn pack(self, before: Self, bytes: &mut Vec<u8>) {
        self.key.pack(before.key, bytes);
        push_step(bytes, before.row.into(), self.row.into());
        push_step(bytes, before.says.into(), self.says.into());
    }

    fn unpack(before: Self, packed: &mut Packed) -> Self {
        Self {
            key: RankedKey::unpack(before.key, packed),
            row: packed.small_step(before.row),
            says: packed.small_step(before.says),
        }
    }
}

/// What the circuits table says of one circuit.
#[derive(Clone, Copy, Debug)]
pub struct ServiceOf<'a> {
    /// Its own row.
    pub origin: Origin,
    says: &'a Service,
}

impl Deref for ServiceOf<'_> {
    type Target = Service;

    fn deref(&self) -> &Service {
        self.says
    }
}

impl<'a> ServiceOf<'a> {
    /// What is said, which stands for other circuits, too: its own origin is none.
    #[must_use]
    pub const fn says(&self) -> &'a Service {
        self.says
    }

    /// By itself, with where it stands.
    #[must_use]
    pub fn to_service(self) -> Service {
        Service { origin: self.origin, ..self.says.clone() }
    }
}

impl Services {
    /// Of rows in key order, each key once.
    #[must_use]
    pub fn of(source: SourceId, names: Arc<PlaceNames>, rows: Vec<ServiceRow>, said: Vec<Service>) -> Self {
        Self { source, names, rows: rows.into_iter().collect(), said }
    }

    /// Of all circuits, those of the lists too.
    #[must_use]
    pub fn names(&self) -> &PlaceNames {
        &self.names
    }

    /// In key order.
    pub fn rows(&self) -> impl Iterator<Item = ServiceRow> {
        self.rows.iter()
    }

    /// The key of a row by its place in key order.
    #[must_use]
    pub fn key(&self, index: usize) -> Option<RankedKey> {
        self.rows.get(index).map(|row| row.key)
    }

    #[must_use]
    pub const fn len(&self) -> usize {
        self.rows.len()
    }

    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Every circuit with what is said of it, in key order.
    pub fn iter(&self) -> impl Iterator<Item = (CircuitKey, ServiceOf<'_>)> {
        self.rows.iter().filter_map(|row| Some((self.names.key(row.key), self.of_row(row)?)))
    }

    /// What is said of a circuit.
    #[must_use]
    pub fn get(&self, key: &CircuitKey) -> Option<ServiceOf<'_>> {
        self.of_row(self.find(key)?)
    }

    /// Has a circuit say something else.
    pub fn put(&mut self, key: &CircuitKey, service: Service) {
        let Some(own) = self.find(key) else { return };
        let says = u32::try_from(self.said.len()).unwrap_or(u32::MAX);
        self.rows =
            self.rows.iter().map(|row| if row.key == own.key { ServiceRow { says, ..row } } else { row }).collect();
        self.said.push(service);
    }

    fn find(&self, key: &CircuitKey) -> Option<ServiceRow> {
        let key = self.names.find(key)?;
        self.rows.find(|row| row.key < key).map(|(_, row)| row).filter(|row| row.key == key)
    }

    /// What one of the rows says.
    #[must_use]
    pub fn of_row(&self, row: ServiceRow) -> Option<ServiceOf<'_>> {
        self.saying(row.row, row.says)
    }

    /// What a row says, by its number and the place of that.
    #[must_use]
    pub fn saying(&self, row: u32, says: u32) -> Option<ServiceOf<'_>> {
        let origin = Origin { source: self.source, row };
        Some(ServiceOf { origin, says: self.said.get(says as usize)? })
    }
}
