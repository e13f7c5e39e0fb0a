//! Counts of all pallets: a plant may have very many, each with few circuits, so that a count takes a byte.

use std::cmp::Ordering;
use std::fmt;

use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::audit::pallet_counts::{PalletCounts, VerdictCounts};
use crate::tables::packed::{Packed, push, push_text};

/// Counts of pallets, in the order of plant and pallet.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PalletBook {
    /// All but the last.
    packed: Vec<u8>,
    /// The plant of the last of these.
    plant: String,
    last: Option<Box<PalletCounts>>,
}

impl PalletBook {
    /// Counts something on a pallet; in key order that is mostly the last.
    pub fn count(&mut self, plant: &str, pallet: &str, count: impl FnOnce(&mut PalletCounts)) {
        if let Some(last) = &mut self.last
            && last.pallet == pallet
            && last.plant == plant
        {
            return count(last);
        }
        let mut own = PalletCounts { plant: plant.to_owned(), pallet: pallet.to_owned(), ..PalletCounts::default() };
        count(&mut own);
        self.put(own);
    }

    /// Adds the counts of a pallet.
    pub fn put(&mut self, counts: PalletCounts) {
        let Some(last) = &mut self.last else {
            self.last = Some(Box::new(counts));
            return;
        };
        match place(last).cmp(&place(&counts)) {
            Ordering::Equal => last.add(&counts),
            Ordering::Less => {
                let last = std::mem::replace(&mut **last, counts);
                self.pack(&last);
            }
            Ordering::Greater => self.add(&Self { last: Some(Box::new(counts)), ..Self::default() }),
        }
    }

    /// Adds the counts of another book, which are mostly of later pallets.
    pub fn add(&mut self, other: &Self) {
        let mut others = other.iter().peekable();
        let is_later = |first: &PalletCounts| self.last.as_ref().is_none_or(|last| place(last) <= place(first));
        if others.peek().is_none_or(is_later) {
            others.for_each(|counts| self.put(counts));
            return;
        }
        let own = std::mem::take(self);
        let mut own = own.iter().peekable();
        loop {
            let is_own = match (own.peek(), others.peek()) {
                (None, None) => return,
                (Some(own), Some(other)) => place(own) <= place(other),
                (own, _) => own.is_some(),
            };
            let next = if is_own { own.next() } else { others.next() };
            next.into_iter().for_each(|counts| self.put(counts));
        }
    }

    fn pack(&mut self, counts: &PalletCounts) {
        let bytes = &mut self.packed;
        // The plant stands where it is another than before, behind the number 1.
        if self.plant == counts.plant && !bytes.is_empty() {
            push(bytes, 0);
        } else {
            push(bytes, 1);
            push_text(bytes, &counts.plant);
            self.plant.clone_from(&counts.plant);
        }
        push_text(bytes, &counts.pallet);
        for verdicts in [counts.circuits, counts.in_service, counts.may_be_in_service] {
            // Most pallets have circuits of one kind.
            let is_any = verdicts != VerdictCounts::default();
            push(bytes, is_any.into());
            if is_any {
                numbers(&verdicts).into_iter().for_each(|count| push(bytes, count));
            }
        }
        push(bytes, counts.majors);
        push(bytes, counts.minors);
    }

    /// Every pallet, in order.
    pub fn iter(&self) -> impl Iterator<Item = PalletCounts> {
        let mut packed = Packed(&self.packed);
        let mut plant = "";
        let unpacked = std::iter::from_fn(move || {
            if packed.0.is_empty() {
                return None;
            }
            if packed.number() == 1 {
                plant = packed.text();
            }
            Some(PalletCounts {
                plant: plant.to_owned(),
                pallet: packed.text().to_owned(),
                circuits: verdicts(&mut packed),
                in_service: verdicts(&mut packed),
                may_be_in_service: verdicts(&mut packed),
                majors: packed.number(),
                minors: packed.number(),
            })
        });
        unpacked.chain(self.last.iter().map(|last| PalletCounts::clone(last)))
    }
}

const fn numbers(verdicts: &VerdictCounts) -> [u64; 6] {
    let VerdictCounts { total, conforms, conforms_with_waivers, does_not_conform, by_minors, not_assessed } = *verdicts;
    [total, conforms, conforms_with_waivers, does_not_conform, by_minors, not_assessed]
}

fn verdicts(packed: &mut Packed) -> VerdictCounts {
    if packed.number() == 0 {
        return VerdictCounts::default();
    }
    let [total, conforms, conforms_with_waivers, does_not_conform, by_minors, not_assessed] =
        std::array::from_fn(|_| packed.number());
    VerdictCounts { total, conforms, conforms_with_waivers, does_not_conform, by_minors, not_assessed }
}

fn place(counts: &PalletCounts) -> (&str, &str) {
    (&counts.plant, &counts.pallet)
}

/// As it is kept between the parts of a run: by plant and pallet in one.
impl Serialize for PalletBook {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.iter().map(|counts| ([&counts.plant, "\0", &counts.pallet].concat(), counts)))
    }
}

impl<'de> Deserialize<'de> for PalletBook {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Kept;
        impl<'de> Visitor<'de> for Kept {
            type Value = PalletBook;

            fn expecting(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
                formatter.write_str("counts by pallet")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<PalletBook, A::Error> {
                let mut book = PalletBook::default();
                while let Some((_, counts)) = map.next_entry::<String, PalletCounts>()? {
                    book.put(counts);
                }
                Ok(book)
            }
        }
        deserializer.deserialize_map(Kept)
    }
}

/// The pallets of a book as `summary.json` tells them, one after the other.
#[derive(Clone, Copy, Debug)]
pub struct PalletRows<'a>(pub &'a PalletBook);

impl Serialize for PalletRows<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.iter())
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    /// Pallets of two plants with numbers of one byte and of several, some of them without circuits of a kind.
    fn pallets() -> Vec<PalletCounts> {
        let of = |index: u64| {
            let circuits = VerdictCounts { total: index * 100, conforms: index, by_minors: 300, ..Default::default() };
            let in_service = if index.is_multiple_of(3) { circuits } else { VerdictCounts::default() };
            PalletCounts {
                plant: if index < 7 { "North" } else { "South" }.to_owned(),
                pallet: format!("P{index:02}"),
                circuits,
                in_service,
                may_be_in_service: VerdictCounts { total: index % 2, not_assessed: index % 2, ..Default::default() },
                majors: index << 20,
                minors: index,
            }
        };
        (0..20).map(of).collect()
    }

    fn book<'a>(counts: impl Iterator<Item = &'a PalletCounts>) -> PalletBook {
        let mut book = PalletBook::default();
        counts.for_each(|counts| book.put(counts.clone()));
        book
    }

    #[test]
    fn pallets_come_back_in_order_whatever_the_order_in_which_they_came() {
        let all = pallets();
        let in_order = book(all.iter());
        assert_eq!(in_order.iter().collect::<Vec<_>>(), all);
        assert_eq!(book(all.iter().rev()), in_order);
        let (even, odd): (Vec<_>, Vec<_>) = all.iter().partition(|counts| counts.minors % 2 == 0);
        let mut joined = book(odd.into_iter());
        joined.add(&book(even.into_iter()));
        assert_eq!(joined, in_order);
        let mut joined = book(all[..9].iter());
        joined.add(&book(all[9..].iter()));
        joined.add(&PalletBook::default());
        assert_eq!(joined, in_order);
        let mut empty = PalletBook::default();
        empty.add(&joined);
        assert_eq!(empty, in_order);
    }

    #[test]
    fn what_is_counted_of_a_pallet_twice_adds_up() {
        let all = pallets();
        let mut book = book(all.iter());
        book.add(&book.clone());
        book.count("North", "P03", |counts| counts.majors += 5);
        book.count("South", "P19", |counts| counts.majors += 5);
        for (twice, once) in book.iter().zip(&all) {
            let more = if ["P03", "P19"].contains(&once.pallet.as_str()) { 5 } else { 0 };
            assert_eq!(twice.majors, 2 * once.majors + more, "{}", once.pallet);
            assert_eq!((twice.minors, twice.circuits.total), (2 * once.minors, 2 * once.circuits.total));
        }
        assert_eq!(book.iter().count(), all.len());
    }

    #[test]
    fn the_state_of_a_part_names_each_pallet_by_plant_and_pallet() {
        let all = pallets();
        let by_name: BTreeMap<String, PalletCounts> =
            all.iter().map(|counts| (format!("{}\0{}", counts.plant, counts.pallet), counts.clone())).collect();
        let text = serde_json::to_string(&by_name).unwrap();
        let book = book(all.iter());
        assert_eq!(serde_json::to_string(&book).unwrap(), text);
        assert_eq!(serde_json::from_str::<PalletBook>(&text).unwrap(), book);
        assert_eq!(serde_json::to_string(&PalletRows(&book)).unwrap(), serde_json::to_string(&all).unwrap());
    }
}
