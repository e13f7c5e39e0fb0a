//! Circuit keys, each kept once and named by a number.

use std::hash::BuildHasher;

use hashbrown::{DefaultHashBuilder, HashTable};

use crate::model::circuit::CircuitKey;

/// Keys in the order in which they came up.
#[derive(Debug, Default)]
pub(crate) struct Keys {
    all: Vec<CircuitKey>,
    table: HashTable<u32>,
    hasher: DefaultHashBuilder,
}

impl Keys {
    /// The number of a key, a new one where it is new.
    pub(crate) fn intern(&mut self, key: CircuitKey) -> u32 {
        let Self { all: keys, table, hasher } = self;
        let hash = hasher.hash_one(&key);
        let at = |index: &u32| keys.get(*index as usize);
        if let Some(index) = table.find(hash, |index| at(index) == Some(&key)) {
            return *index;
        }
        let next = u32::try_from(keys.len()).unwrap_or(u32::MAX);
        table.insert_unique(hash, next, |index| keys.get(*index as usize).map_or(0, |key| hasher.hash_one(key)));
        keys.push(key);
        next
    }

    pub(crate) fn contains(&self, key: &CircuitKey) -> bool {
        let hash = self.hasher.hash_one(key);
        self.table.find(hash, |index| self.all.get(*index as usize) == Some(key)).is_some()
    }

    pub(crate) const fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    pub(crate) const fn len(&self) -> usize {
        self.all.len()
    }

    pub(crate) fn into_vec(self) -> Vec<CircuitKey> {
        self.all
    }
}

/// Keys as they stand in a file, so that a row like an earlier one is not cleaned again.
#[derive(Debug, Default)]
pub(crate) struct RawKeys {
    bytes: Vec<u8>,
    table: HashTable<(usize, u32, u32)>,
    hasher: DefaultHashBuilder,
}

impl RawKeys {
    fn slice(bytes: &[u8], entry: (usize, u32, u32)) -> &[u8] {
        bytes.get(entry.0..entry.0 + entry.1 as usize).unwrap_or_default()
    }

    pub(crate) fn get(&self, raw: &[u8]) -> Option<u32> {
        let hash = self.hasher.hash_one(raw);
        self.table.find(hash, |entry| Self::slice(&self.bytes, *entry) == raw).map(|entry| entry.2)
    }

    pub(crate) fn insert(&mut self, raw: &[u8], key: u32) {
        let Self { bytes, table, hasher } = self;
        let entry = (bytes.len(), u32::try_from(raw.len()).unwrap_or(u32::MAX), key);
        bytes.extend_from_slice(raw);
        table.insert_unique(hasher.hash_one(raw), entry, |entry| hasher.hash_one(Self::slice(bytes, *entry)));
    }
}
