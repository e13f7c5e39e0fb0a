//! Names of plants, pallets, fixtures and circuits, each kept once: a plant may have millions of circuits, and few names
//! beside. A circuit's key is then four numbers.

use std::hash::BuildHasher;

use hashbrown::{DefaultHashBuilder, HashTable};
use rayon::slice::ParallelSliceMut;

use super::circuit_key::{CircuitKey, Name};
use super::packed::{Packed, push, push_step};
use super::packed_rows::PackedRow;

/// Names in the order in which they come up, each with a number.
#[derive(Clone, Debug, Default)]
pub struct SeenNames {
    all: Vec<Name>,
    table: HashTable<u32>,
    hasher: DefaultHashBuilder,
}

/// A key by the numbers of its names: equal where the keys are, in no order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SeenKey(pub [u32; 4]);

/// All names of a plant in order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PlaceNames(Vec<Name>);

/// Ranks of names, by the numbers that they had before.
#[derive(Clone, Debug, Default)]
pub struct Ranks(Vec<u32>);

/// Some of the names, each once, by their ranks in order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RankedNames(Vec<u32>);

/// A key by the ranks of its names, which sorts as the key does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct RankedKey([u32; 4]);

impl SeenNames {
    /// The number of a name, a new one where it is new.
    pub fn number_of(&mut self, name: &str) -> u32 {
        let Self { all, table, hasher } = self;
        let text_of = |number: u32| all.get(number as usize).map_or("", Name::as_str);
        let hash = hasher.hash_one(name);
        if let Some(known) = table.find(hash, |known| text_of(*known) == name) {
            return *known;
        }
        let next = u32::try_from(all.len()).unwrap_or(u32::MAX);
        table.insert_unique(hash, next, |known| hasher.hash_one(text_of(*known)));
        all.push(name.into());
        next
    }

    /// The numbers that the names of others have here, by those that they had there.
    pub fn take_in(&mut self, others: &Self) -> Vec<u32> {
        others.all.iter().map(|name| self.number_of(name)).collect()
    }

    /// The name of a number.
    #[must_use]
    pub fn name(&self, number: u32) -> &str {
        self.all.get(number as usize).map_or("", Name::as_str)
    }

    /// The names in order, and the rank of each.
    #[must_use]
    pub fn in_order(self) -> (PlaceNames, Ranks) {
        let Self { all, table, .. } = self;
        drop(table);
        let mut numbered: Vec<(Name, u32)> = all.into_iter().zip(0..).collect();
        numbered.par_sort_unstable();
        let mut ranks = vec![0; numbered.len()];
        for (rank, (_, number)) in (0..).zip(&numbered) {
            if let Some(place) = ranks.get_mut(*number as usize) {
                *place = rank;
            }
        }
        (PlaceNames(numbered.into_iter().map(|(name, _)| name).collect()), Ranks(ranks))
    }
}

impl SeenKey {
    /// The key with other numbers for its names.
    #[must_use]
    pub fn renumbered(self, numbers: &[u32]) -> Self {
        Self(self.0.map(|number| numbers.get(number as usize).copied().unwrap_or_default()))
    }
}

impl Ranks {
    #[must_use]
    pub fn of(&self, key: SeenKey) -> RankedKey {
        RankedKey(key.renumbered(&self.0).0)
    }
}

impl PlaceNames {
    /// The key in full.
    #[must_use]
    pub fn key(&self, RankedKey(ranks): RankedKey) -> CircuitKey {
        let [plant, pallet, fixture, circuit] =
            ranks.map(|rank| self.0.get(rank as usize).cloned().unwrap_or_default());
        CircuitKey { plant, pallet, fixture, circuit }
    }

    /// A key by its ranks; `None` where one of its names is none of these.
    #[must_use]
    pub fn find(&self, key: &CircuitKey) -> Option<RankedKey> {
        let rank = |name: &Name| self.rank_of(name);
        Some(RankedKey([rank(&key.plant)?, rank(&key.pallet)?, rank(&key.fixture)?, rank(&key.circuit)?]))
    }
}

impl PlaceNames {
    /// The rank of a name; `None` where it is none of these.
    #[must_use]
    pub fn rank_of(&self, name: &Name) -> Option<u32> {
        self.0.binary_search(name).ok().and_then(|rank| u32::try_from(rank).ok())
    }

    /// The name of a rank.
    #[must_use]
    pub fn name(&self, rank: u32) -> &str {
        self.0.get(rank as usize).map_or("", Name::as_str)
    }
}

impl RankedNames {
    /// Adds one by its rank; they mostly come in order.
    pub fn insert(&mut self, rank: u32) {
        match self.0.last() {
            Some(last) if *last >= rank => {
                if let Err(at) = self.0.binary_search(&rank) {
                    self.0.insert(at, rank);
                }
            }
            _ => self.0.push(rank),
        }
    }

    /// Adds those of another.
    pub fn add(&mut self, other: &Self) {
        let last = self.0.last().copied();
        if other.0.first().copied() > last || last.is_none() {
            self.0.extend_from_slice(&other.0);
        } else if *self != *other {
            self.0.extend_from_slice(&other.0);
            self.0.sort_unstable();
            self.0.dedup();
        }
    }

    /// Every name, in order.
    pub fn names<'a>(&'a self, all: &'a PlaceNames) -> impl Iterator<Item = &'a str> {
        self.0.iter().map(|rank| all.name(*rank))
    }
}

impl RankedKey {
    /// Plant and pallet.
    #[must_use]
    pub const fn pallet(self) -> [u32; 2] {
        let Self([plant, pallet, ..]) = self;
        [plant, pallet]
    }
}

/// Behind how many names it has in common with the one before: in order those are the first ones.
impl PackedRow for RankedKey {
    fn pack(self, before: Self, bytes: &mut Vec<u8>) {
        let pairs = || before.0.into_iter().zip(self.0);
        let same = pairs().take_while(|(before, own)| before == own).count();
        push(bytes, same as u64);
        pairs().skip(same).for_each(|(before, own)| push_step(bytes, before.into(), own.into()));
    }

    #[inline]
    fn unpack(before: Self, packed: &mut Packed) -> Self {
        let same = packed.number();
        let mut of = |place: u64, rank: u32| if place < same { rank } else { packed.small_step(rank) };
        let [plant, pallet, fixture, circuit] = before.0;
        Self([of(0, plant), of(1, pallet), of(2, fixture), of(3, circuit)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Blanks, one the start of another, with the signs that part cells and places, letters in both cases and of
    /// several bytes, of more than a name holds in place.
    const NAMES: [&str; 14] = [
        "",
        " ",
        "1",
        "10",
        "2",
        "A",
        "A/B",
        "A,B",
        "a",
        "AB",
        "A\u{1f}B",
        "\u{c4}",
        "\u{e4}",
        "a name of more than twenty-four bytes",
    ];

    fn keys() -> Vec<CircuitKey> {
        let name = |index: usize| Name::from(NAMES[index % NAMES.len()]);
        // All pairs of names stand at two places of a key that differ from key to key.
        let pairs = (0..NAMES.len()).flat_map(|one| (0..NAMES.len()).map(move |other| (one, other)));
        let key = |(one, other): (usize, usize)| {
            let mut places = [name(one + other), name(one), name(other), name(one * other)];
            places.rotate_left(one % 4);
            let [plant, pallet, fixture, circuit] = places;
            CircuitKey { plant, pallet, fixture, circuit }
        };
        pairs.map(key).collect()
    }

    fn seen(names: &mut SeenNames, key: &CircuitKey) -> SeenKey {
        SeenKey([&key.plant, &key.pallet, &key.fixture, &key.circuit].map(|name| names.number_of(name)))
    }

    #[test]
    fn ranked_keys_compare_as_the_keys_do_and_lead_back_to_them() {
        let keys = keys();
        let mut names = SeenNames::default();
        let seen: Vec<SeenKey> = keys.iter().rev().map(|key| seen(&mut names, key)).collect();
        let (names, ranks) = names.in_order();
        let ranked: Vec<RankedKey> = seen.iter().rev().map(|key| ranks.of(*key)).collect();
        for (key, own) in keys.iter().zip(&ranked) {
            assert_eq!(names.key(*own), *key);
            assert_eq!(names.find(key), Some(*own));
            let mut bytes = Vec::new();
            ranked[0].pack(*own, &mut bytes);
            own.pack(ranked[0], &mut bytes);
            let mut packed = Packed(&bytes);
            assert_eq!(RankedKey::unpack(*own, &mut packed), ranked[0]);
            assert_eq!(RankedKey::unpack(ranked[0], &mut packed), *own);
            for (other, its) in keys.iter().zip(&ranked) {
                assert_eq!(own.cmp(its), key.cmp(other), "{key:?} and {other:?}");
                let is_same_pallet = key.plant == other.plant && key.pallet == other.pallet;
                assert_eq!(own.pallet() == its.pallet(), is_same_pallet, "{key:?} and {other:?}");
            }
        }
        assert_eq!(names.find(&CircuitKey { plant: "B".into(), ..CircuitKey::default() }), None);
    }

    #[test]
    fn seen_keys_are_equal_where_the_keys_are_be_they_of_one_table_or_of_two() {
        let keys = keys();
        let (mut one, mut other) = (SeenNames::default(), SeenNames::default());
        let here: Vec<SeenKey> = keys.iter().map(|key| seen(&mut one, key)).collect();
        let there: Vec<SeenKey> = keys.iter().rev().map(|key| seen(&mut other, key)).collect();
        let numbers = one.take_in(&other);
        let there: Vec<SeenKey> = there.into_iter().rev().map(|key| key.renumbered(&numbers)).collect();
        assert_eq!(here, there);
        for (index, key) in keys.iter().enumerate() {
            for (at, other) in keys.iter().enumerate() {
                assert_eq!(here[index] == here[at], key == other);
            }
        }
    }

    #[test]
    fn ranks_are_held_once_and_in_order() {
        let of = |ranks: &[u32]| {
            let mut all = RankedNames::default();
            ranks.iter().for_each(|rank| all.insert(*rank));
            all
        };
        for ranks in [[1, 2, 2, 5], [5, 2, 1, 2], [2, 1, 5, 5], [5, 5, 1, 2]] {
            assert_eq!(of(&ranks), RankedNames(vec![1, 2, 5]));
        }
        for (one, other) in [(&[1, 2][..], &[2, 5][..]), (&[5], &[1, 2]), (&[1, 2], &[5]), (&[], &[1, 2, 5])] {
            let (mut joined, mut turned) = (of(one), of(other));
            joined.add(&of(other));
            turned.add(&of(one));
            assert_eq!((joined, turned), (of(&[1, 2, 5]), of(&[1, 2, 5])));
        }
        let mut names = SeenNames::default();
        for name in ["b", "a", "c"] {
            names.number_of(name);
        }
        let (names, _) = names.in_order();
        assert_eq!(of(&[0, 2]).names(&names).collect::<Vec<_>>(), ["a", "c"]);
        assert_eq!((names.rank_of(&"c".into()), names.rank_of(&"d".into())), (Some(2), None));
    }

    #[test]
    fn without_a_name_nothing_is_found() {
        let (names, _) = SeenNames::default().in_order();
        assert_eq!(names.find(&CircuitKey::default()), None);
    }
}
