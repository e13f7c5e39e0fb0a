//! Circuit keys, each kept once and named by a number.

use std::hash::BuildHasher;

use hashbrown::{DefaultHashBuilder, HashTable};

use crate::tables::circuit::CircuitKey;

use super::runs::raw_key_of;

/// Keys in the order in which they came up, found by their cells as they stand in a file: a row
/// like an earlier one is not cleaned again.
#[derive(Debug, Default)]
pub(crate) struct Keys {
    all: Vec<CircuitKey>,
    /// Raw keys one behind the other, those of cleaned cells among them.
    bytes: Vec<u8>,
    table: HashTable<Known>,
    hasher: DefaultHashBuilder,
}

/// A raw key that came up: its place in the bytes and the number of the key.
#[derive(Clone, Copy, Debug)]
struct Known {
    from: usize,
    length: u32,
    key: u32,
}

impl Known {
    fn of(self, bytes: &[u8]) -> &[u8] {
        bytes.get(self.from..self.from + self.length as usize).unwrap_or_default()
    }
}

impl Keys {
    /// The number of a raw key, of a new one as `clean` makes it.
    pub(crate) fn number_of(&mut self, raw: &[u8], clean: impl FnOnce() -> CircuitKey) -> u32 {
        if let Some(key) = self.find(raw) {
            return key;
        }
        let key = self.intern(clean());
        if self.find(raw).is_none() {
            self.insert(raw, key);
        }
        key
    }

    /// The number of a key, a new one where it is new.
    pub(crate) fn intern(&mut self, key: CircuitKey) -> u32 {
        let raw = raw_key_of(&key);
        if let Some(known) = self.find(&raw) {
            return known;
        }
        let next = u32::try_from(self.all.len()).unwrap_or(u32::MAX);
        self.all.push(key);
        self.insert(&raw, next);
        next
    }

    fn find(&self, raw: &[u8]) -> Option<u32> {
        let hash = self.hasher.hash_one(raw);
        self.table.find(hash, |known| known.of(&self.bytes) == raw).map(|known| known.key)
    }

    fn insert(&mut self, raw: &[u8], key: u32) {
        let Self { bytes, table, hasher, .. } = self;
        let known = Known { from: bytes.len(), length: u32::try_from(raw.len()).unwrap_or(u32::MAX), key };
        bytes.extend_from_slice(raw);
        table.insert_unique(hasher.hash_one(raw), known, |known| hasher.hash_one(known.of(bytes)));
    }

    /// Gives back the room that no key takes.
    pub(crate) fn shrink(&mut self) {
        self.all.shrink_to_fit();
        self.bytes.shrink_to_fit();
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_that_name_a_circuit_in_other_ways_have_its_number() {
        let key = |plant: &str| CircuitKey { plant: plant.into(), circuit: "1".into(), ..CircuitKey::default() };
        let mut keys = Keys::default();
        // As given: with a blank beside it and no circuit, in full, another one, the first again.
        let raw: [&[u8]; 4] =
            [b"A \x1f\x1f\x1f\x1f", b"A\x1f\x1f\x1f1\x1f", b"B\x1f\x1f\x1f1\x1f", b"A \x1f\x1f\x1f\x1f"];
        let numbers = raw.map(|raw| keys.number_of(raw, || key(if raw.starts_with(b"A") { "A" } else { "B" })));
        assert_eq!(numbers, [0, 0, 1, 0]);
        assert_eq!((keys.intern(key("B")), keys.intern(key("C"))), (1, 2));
        assert_eq!(keys.into_vec(), [key("A"), key("B"), key("C")]);
    }
}
