//! What the circuits table says of each circuit, rows that say the same kept once: a plant may have very many circuits,
//! of which most are served like others.

use std::ops::Deref;

use super::circuit_key::CircuitKey;
use super::column::Service;
use super::origin::{Origin, SourceId};

/// The rows of the circuits table.
#[derive(Clone, Debug, Default)]
pub struct Services {
    source: SourceId,
    /// In key order, each key once.
    rows: Vec<ServiceRow>,
    /// What the rows say, without where they stand.
    said: Vec<Service>,
}

/// A row of the circuits table.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ServiceRow {
    pub key: CircuitKey,
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
    pub const fn of(source: SourceId, rows: Vec<ServiceRow>, said: Vec<Service>) -> Self {
        Self { source, rows, said }
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
    pub fn iter(&self) -> impl Iterator<Item = (&CircuitKey, ServiceOf<'_>)> {
        self.rows.iter().filter_map(|row| Some((&row.key, self.at(row)?)))
    }

    /// What is said of a circuit.
    #[must_use]
    pub fn get(&self, key: &CircuitKey) -> Option<ServiceOf<'_>> {
        let at = self.rows.binary_search_by(|row| row.key.cmp(key)).ok()?;
        self.at(self.rows.get(at)?)
    }

    /// Has a circuit say something else.
    pub fn put(&mut self, key: &CircuitKey, service: Service) {
        let Ok(at) = self.rows.binary_search_by(|row| row.key.cmp(key)) else { return };
        if let Some(row) = self.rows.get_mut(at) {
            row.says = u32::try_from(self.said.len()).unwrap_or(u32::MAX);
            self.said.push(service);
        }
    }

    fn at(&self, row: &ServiceRow) -> Option<ServiceOf<'_>> {
        let origin = Origin { source: self.source, row: row.row };
        Some(ServiceOf { origin, says: self.said.get(row.says as usize)? })
    }
}
