//! Which proved changes are to be decided on: of several that clear the same findings, or change the same thing, one.

use std::cmp::Reverse;
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::remedy::edit::Edit;
use crate::remedy::remedy_row::RemedyRow;

/// Whether a change counts where changes are counted and their prices added up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counted {
    #[default]
    Yes,
    /// Others that count clear all that it clears; the first of them, by its index.
    AlternativeTo(usize),
    /// One that counts changes the same line or load station, and both were proved without the other.
    BesideSame(&'static str, usize),
}

/// What a change has to do with others: what parts of a run keep of it, names as numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bearing {
    cleared: u64,
    price: Option<String>,
    is_free: bool,
    claims: Vec<u64>,
    /// The line or load station that it changes.
    line: Option<u64>,
    station: Option<u64>,
}

fn number_of(names: impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    names.hash(&mut hasher);
    hasher.finish()
}

impl Bearing {
    /// Of a change. Which file a line stands in is left out: parts of a run number theirs each by itself, and place,
    /// position and row tell it.
    #[must_use]
    pub fn of(row: &RemedyRow) -> Self {
        let place = &row.place;
        let place = [place.plant.as_str(), &place.pallet, &place.fixture, &place.circuit];
        let claims = row.claims.iter().map(|claim| {
            let key = &claim.place;
            let names = [key.plant.as_str(), &key.pallet, &key.fixture, &key.circuit, claim.rule, &claim.position];
            number_of((names, claim.side.map(|side| side as u8), claim.line.map(|line| line.row)))
        });
        let (line, station) = match &row.edit {
            Some(Edit::Part { line, .. } | Edit::Setting { line, .. }) => {
                (Some(number_of((place, row.position.as_str(), line.row))), None)
            }
            Some(Edit::StationSetting { .. } | Edit::StationPart { .. }) => {
                (None, Some(number_of(row.position.as_str())))
            }
            _ => (None, None),
        };
        let price = row.price.map(|price| price.to_string());
        Self { cleared: row.cleared, price, is_free: row.change == "setting", claims: claims.collect(), line, station }
    }

    /// Takes in what the same change clears elsewhere.
    pub fn add(&mut self, other: Self) {
        self.cleared += other.cleared;
        self.claims.extend(other.claims);
    }
}

/// Of each change, in their order, whether it counts: what clears most before others, of these what costs nothing,
/// little, or nobody knows what.
#[must_use]
pub fn decided(changes: &[Bearing]) -> Vec<Counted> {
    let price = |one: &Bearing| one.price.as_ref().and_then(|price| price.parse::<Decimal>().ok());
    let mut order: Vec<usize> = (0..changes.len()).collect();
    order.sort_by_cached_key(|index| {
        let one = &changes[*index];
        (Reverse(one.cleared), one.price.is_none() && !one.is_free, price(one), *index)
    });
    let mut cleared: HashMap<u64, usize> = HashMap::new();
    let mut changed: HashMap<u64, usize> = HashMap::new();
    let mut all = vec![Counted::Yes; changes.len()];
    for index in order {
        let one = &changes[index];
        let by = one.claims.iter().map(|claim| cleared.get(claim).copied()).collect::<Option<Vec<usize>>>();
        let beside = |thing: Option<u64>| changed.get(&thing?).copied();
        all[index] = match (by.and_then(|by| by.first().copied()), beside(one.line), beside(one.station)) {
            (Some(other), ..) => Counted::AlternativeTo(other),
            (None, Some(other), _) => Counted::BesideSame("line", other),
            (None, None, Some(other)) => Counted::BesideSame("load station", other),
            (None, None, None) => Counted::Yes,
        };
        if all[index] == Counted::Yes {
            for claim in &one.claims {
                cleared.entry(*claim).or_insert(index);
            }
            changed.extend(one.line.or(one.station).map(|thing| (thing, index)));
        }
    }
    all
}

/// Rows, from 0, of `remedies.csv` that do not count.
#[must_use]
pub fn apart(changes: &[Bearing]) -> Vec<u64> {
    let decided = decided(changes);
    (0..).zip(decided).filter(|(_, counted)| *counted != Counted::Yes).map(|(row, _)| row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::remedy::edit::Claim;
    use crate::tables::circuit_key::{Name, SharedKey};

    fn row(cleared: &[&'static str], price: Option<i64>, edit: Option<Edit>) -> Bearing {
        let claim = |rule: &&'static str| Claim {
            place: SharedKey::default(),
            rule,
            side: None,
            position: Name::default(),
            line: None,
        };
        let row = RemedyRow {
            change: if price.is_some() { "part" } else { "setting" },
            part_from: Name::default(),
            part_to: Name::default(),
            setting: None,
            place: SharedKey::default(),
            position: Name::default(),
            rules: cleared.to_vec(),
            cleared: cleared.len() as u64,
            circuits: Vec::new(),
            price: price.map(rust_decimal::Decimal::from),
            currency: Name::default(),
            words: String::new(),
            applied: String::new(),
            needs: Vec::new(),
            edit,
            claims: cleared.iter().map(claim).collect(),
        };
        Bearing::of(&row)
    }

    #[test]
    fn of_changes_that_clear_the_same_the_free_one_counts_and_two_of_a_station_are_not_both_counted() {
        let station = |to: u32| Some(Edit::StationPart { station: 0, column: "pump", from: None, to });
        let rows = [
            row(&["H01", "P10"], Some(526), None),
            row(&["H01", "P10"], None, None),
            row(&["P05"], Some(10), None),
            row(&["P03"], Some(2140), station(1)),
            row(&["P16"], Some(690), station(2)),
            row(&["H01"], Some(1), None),
        ];
        let beside = Counted::BesideSame("load station", 4);
        let expected =
            [Counted::AlternativeTo(1), Counted::Yes, Counted::Yes, beside, Counted::Yes, Counted::AlternativeTo(1)];
        assert_eq!(decided(&rows), expected);
        assert_eq!(apart(&rows), [0, 3, 5]);
        assert!(decided(&[]).is_empty());
    }
}
