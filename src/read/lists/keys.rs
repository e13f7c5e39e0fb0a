//! Circuits as the rows of the lists name them, each numbered once.

use std::hash::BuildHasher;

use hashbrown::{DefaultHashBuilder, HashMap, HashTable};

use crate::read::cell::clean;
use crate::tables::circuit::Name;
use crate::tables::place_names::{SeenKey, SeenNames};

/// Keys in the order in which they came up.
#[derive(Debug, Default)]
pub(crate) struct SeenKeys {
    pub names: SeenNames,
    all: Vec<SeenKey>,
    table: HashTable<u32>,
    hasher: DefaultHashBuilder,
}

impl SeenKeys {
    /// The number of a key, and whether it is new.
    pub(crate) fn number_of(&mut self, key: SeenKey) -> (u32, bool) {
        let Self { all, table, hasher, .. } = self;
        let hash = hasher.hash_one(key);
        if let Some(known) = table.find(hash, |known| all.get(*known as usize) == Some(&key)) {
            return (*known, false);
        }
        let next = u32::try_from(all.len()).unwrap_or(u32::MAX);
        let hash_of = |known: &u32| all.get(*known as usize).map_or(0, |key| hasher.hash_one(key));
        table.insert_unique(hash, next, hash_of);
        all.push(key);
        (next, true)
    }

    /// The numbers that the keys of others have here, by those that they had there.
    pub(crate) fn take_in(&mut self, others: &Self) -> Vec<u32> {
        let names = self.names.take_in(&others.names);
        others.all.iter().map(|key| self.number_of(key.renumbered(&names)).0).collect()
    }

    /// The keys.
    pub(crate) fn all(&self) -> &[SeenKey] {
        &self.all
    }

    pub(crate) const fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    pub(crate) const fn len(&self) -> usize {
        self.all.len()
    }

    pub(crate) fn into_parts(self) -> (SeenNames, Vec<SeenKey>) {
        (self.names, self.all)
    }
}

/// Keys by their cells as they stand in a list: a cell like the one of the row before is not looked up again.
#[derive(Debug, Default)]
pub(crate) struct RawKeys {
    pub seen: SeenKeys,
    /// The four cells of the last key, with the numbers of their names.
    last: [(Vec<u8>, u32); 4],
    has_last: bool,
    /// Cells that are cleaned at some cost.
    cleaned: HashMap<Name, u32>,
}

/// Parts the cells of a key while it is raw; no cell of a text file can hold it by accident and
/// two keys that differ by it alone would differ by nothing a reader can see.
pub(super) const PART: u8 = 0x1f;

impl RawKeys {
    /// The number of the key that some cells name.
    ///
    /// * `stem` – the fixture where no cell names one
    pub(crate) fn number_of(&mut self, raw: &[u8], stem: &str) -> u32 {
        let mut parts = raw.split(|byte| *byte == PART);
        let mut numbers = [0; 4];
        for (index, number) in numbers.iter_mut().enumerate() {
            let part = parts.next().unwrap_or_default();
            let is_same = |(cell, _): &&(Vec<u8>, u32)| self.has_last && cell == part;
            *number = match self.last.get(index).filter(is_same) {
                Some((_, known)) => *known,
                None => self.name_of(part, ["", "", stem, "1"].get(index).copied().unwrap_or_default()),
            };
            if let Some((cell, known)) = self.last.get_mut(index) {
                cell.clear();
                cell.extend_from_slice(part);
                *known = *number;
            }
        }
        self.has_last = true;
        self.seen.number_of(SeenKey(numbers)).0
    }

    /// The number of the name that a cell holds, of another one where it is blank.
    fn name_of(&mut self, cell: &[u8], or: &str) -> u32 {
        let text = String::from_utf8_lossy(cell);
        let names = &mut self.seen.names;
        if text.is_ascii() {
            let name = clean(&text);
            return names.number_of(if name.is_empty() { or } else { &name });
        }
        if let Some(known) = self.cleaned.get(text.as_ref()) {
            return *known;
        }
        let name = clean(&text);
        if name.is_empty() {
            return names.number_of(or);
        }
        let number = names.number_of(&name);
        self.cleaned.insert(text.as_ref().into(), number);
        number
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::circuit::CircuitKey;

    fn keys_of(seen: SeenKeys) -> Vec<CircuitKey> {
        let (names, keys) = seen.into_parts();
        let (names, ranks) = names.in_order();
        keys.into_iter().map(|key| names.key(ranks.of(key))).collect()
    }

    fn key(parts: [&str; 4]) -> CircuitKey {
        let [plant, pallet, fixture, circuit] = parts.map(Name::from);
        CircuitKey { plant, pallet, fixture, circuit }
    }

    #[test]
    fn rows_that_name_a_circuit_in_other_ways_have_its_number() {
        // As given: with a blank beside it and no circuit, in full, another one, the first again; a letter of two
        // bytes composed and as two letters; blanks that are no ASCII, which name nothing.
        let raw = [
            ("A \x1f\x1f\x1f\x1f", 0),
            ("A\x1f\x1fstem\x1f1\x1f", 0),
            ("B\x1f\x1f\x1f1\x1f", 1),
            ("A \x1f\x1f\x1f\x1f", 0),
            ("a\x1f\x1f\x1f\x1f", 2),
            ("\u{c4}\x1f\x1fF\x1f2\x1f", 3),
            ("A\u{308}\x1f\x1fF\x1f2\x1f", 3),
            ("A\x1f\u{a0}\x1f\u{a0}\x1f\u{a0}\x1f", 0),
            ("A\u{308}\x1f\x1fF\x1f2\x1f", 3),
        ];
        let mut keys = RawKeys::default();
        for (cells, number) in raw {
            assert_eq!(keys.number_of(cells.as_bytes(), "stem"), number, "{cells:?}");
        }
        let wanted = [["A", "", "stem", "1"], ["B", "", "stem", "1"], ["a", "", "stem", "1"], ["\u{c4}", "", "F", "2"]];
        assert_eq!(keys_of(keys.seen), wanted.map(key));
    }

    #[test]
    fn cells_of_one_text_at_other_places_are_other_keys() {
        let mut keys = RawKeys::default();
        let raw = ["X\x1f\x1fX\x1fX\x1f", "X\x1fX\x1f\x1fX\x1f", "\x1fX\x1fX\x1f\x1f", "X\x1f\x1fX\x1fX\x1f"];
        assert_eq!(raw.map(|cells| keys.number_of(cells.as_bytes(), "s")), [0, 1, 2, 0]);
        let wanted = [["X", "", "X", "X"], ["X", "X", "s", "X"], ["", "X", "X", "1"]];
        assert_eq!(keys_of(keys.seen), wanted.map(key));
    }

    #[test]
    fn keys_of_another_list_have_the_numbers_of_this_one() {
        let (mut one, mut other) = (RawKeys::default(), RawKeys::default());
        for cells in ["A\x1f\x1fF\x1f1\x1f", "A\x1f\x1fF\x1f2\x1f"] {
            one.number_of(cells.as_bytes(), "");
        }
        for cells in ["A\x1f\x1fF\x1f3\x1f", "A\x1f\x1fF\x1f2\x1f"] {
            other.number_of(cells.as_bytes(), "");
        }
        assert_eq!(one.seen.take_in(&other.seen), [2, 1]);
        let wanted = [["A", "", "F", "1"], ["A", "", "F", "2"], ["A", "", "F", "3"]];
        assert_eq!(keys_of(one.seen), wanted.map(key));
    }
}
