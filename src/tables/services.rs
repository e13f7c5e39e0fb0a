//! What the circuits table says of each circuit, rows that say the same kept once: a plant may have very many circuits,
//! of which most are served like others.

use std::ops::Deref;
use std::sync::Arc;

use super::circuit_key::CircuitKey;
use super::column::Service;
use super::origin::{Origin, SourceId};
use super::place_names::{PlaceNames, RankedKey};

/// The rows of the circuits table.
#[derive(Clone, Debug, Default)]
pub struct Services {
    source: SourceId,
    names: Arc<PlaceNames>,
    /// In key order, each key once.
    rows: Vec<ServiceRow>,
    /// What the rows say, without where they stand.
    said: Vec<Service>,
}

/// A row of the circuits table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ServiceRow {
    pub key: RankedKey,
    /// As a spreadsheet shows it.
    pub row: u32,
    /// What it says, by its place in [`Services`].
    pub says: u32,
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
    pub const fn of(source: SourceId, names: Arc<PlaceNames>, rows: Vec<ServiceRow>, said: Vec<Service>) -> Self {
        Self { source, names, rows, said }
    }

    /// In key order.
    #[must_use]
    pub fn rows(&self) -> &[ServiceRow] {
        &self.rows
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
        self.rows.iter().filter_map(|row| Some((self.names.key(row.key), self.of_row(*row)?)))
    }

    /// What is said of a circuit.
    #[must_use]
    pub fn get(&self, key: &CircuitKey) -> Option<ServiceOf<'_>> {
        self.of_row(*self.rows.get(self.find(key)?)?)
    }

    /// Has a circuit say something else.
    pub fn put(&mut self, key: &CircuitKey, service: Service) {
        if let Some(row) = self.find(key).and_then(|at| self.rows.get_mut(at)) {
            row.says = u32::try_from(self.said.len()).unwrap_or(u32::MAX);
            self.said.push(service);
        }
    }

    fn find(&self, key: &CircuitKey) -> Option<usize> {
        let key = self.names.find(key)?;
        self.rows.binary_search_by_key(&key, |row| row.key).ok()
    }

    /// What one of the rows says.
    #[must_use]
    pub fn of_row(&self, row: ServiceRow) -> Option<ServiceOf<'_>> {
        let origin = Origin { source: self.source, row: row.row };
        Some(ServiceOf { origin, says: self.said.get(row.says as usize)? })
    }
}
