//! Which proved changes are to be decided on: of several that clear the same findings, or change the same thing, one.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use crate::remedy::edit::{Claim, Edit};
use crate::remedy::remedy_row::RemedyRow;
use crate::tables::origin::Origin;

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

/// What two changes can't both have for themselves.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Thing {
    Line(Origin),
    Station(usize),
}

fn thing(edit: &Edit) -> Option<Thing> {
    match edit {
        Edit::Part { line, .. } | Edit::Setting { line, .. } => Some(Thing::Line(*line)),
        Edit::StationSetting { station, .. } | Edit::StationPart { station, .. } => Some(Thing::Station(*station)),
        Edit::Addition { .. } | Edit::Succession { .. } | Edit::Split { .. } => None,
    }
}

/// Of each change, in their order, whether it counts: what clears most before others, of these what costs nothing,
/// little, or nobody knows what.
#[must_use]
pub fn decided(rows: &[RemedyRow]) -> Vec<Counted> {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_by_key(|index| {
        let row = &rows[*index];
        let is_unpriced = row.price.is_none() && row.change != "setting";
        (Reverse(row.cleared), is_unpriced, row.price, *index)
    });
    let mut cleared: BTreeMap<&Claim, usize> = BTreeMap::new();
    let mut changed: BTreeMap<Thing, usize> = BTreeMap::new();
    let mut all = vec![Counted::Yes; rows.len()];
    for index in order {
        let row = &rows[index];
        let by = row.claims.iter().map(|claim| cleared.get(claim).copied()).collect::<Option<Vec<usize>>>();
        let thing = row.edit.as_ref().and_then(thing);
        let beside = thing.as_ref().and_then(|thing| Some((thing, *changed.get(thing)?)));
        all[index] = match (by.and_then(|by| by.first().copied()), beside) {
            (Some(other), _) => Counted::AlternativeTo(other),
            (None, Some((Thing::Line(_), other))) => Counted::BesideSame("line", other),
            (None, Some((Thing::Station(_), other))) => Counted::BesideSame("load station", other),
            (None, None) => Counted::Yes,
        };
        if all[index] == Counted::Yes {
            row.claims.iter().for_each(|claim| {
                cleared.entry(claim).or_insert(index);
            });
            changed.extend(thing.map(|thing| (thing, index)));
        }
    }
    all
}

/// Rows, from 0, of `remedies.csv` that do not count.
#[must_use]
pub fn apart(rows: &[RemedyRow]) -> Vec<u64> {
    let decided = decided(rows);
    (0..).zip(decided).filter(|(_, counted)| *counted != Counted::Yes).map(|(row, _)| row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::circuit_key::{Name, SharedKey};

    fn row(cleared: &[&'static str], price: Option<i64>, edit: Option<Edit>) -> RemedyRow {
        let claim = |rule: &&'static str| Claim {
            place: SharedKey::default(),
            rule,
            side: None,
            position: Name::default(),
            line: None,
        };
        RemedyRow {
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
        }
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
