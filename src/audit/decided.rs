//! Which proved changes are to be decided on: of several that clear the same findings, or change the same thing, one; where
//! a changed copy was made, those that it bears out together.

use std::collections::HashMap;

use crate::remedy::bearing::{Bearing, in_order};

/// Whether a change counts where changes are counted and their prices added up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counted {
    #[default]
    Yes,
    /// Others that count clear all that it clears; the first of them, by its index.
    AlternativeTo(usize),
    /// One that counts changes the same line or load station, and both were proved without the other.
    BesideSame(&'static str, usize),
    /// It clears minors alone and makes a major worse that no other change clears.
    MakesWorse,
    /// The changed copy has it not.
    NotApplied,
}

/// Of each change, in their order, whether it counts, by the same order in which they go into a changed copy.
#[must_use]
pub fn decided(changes: &[Bearing]) -> Vec<Counted> {
    if changes.iter().any(|one| one.applied.is_some()) {
        let of_copy = |one: &Bearing| if one.applied == Some(true) { Counted::Yes } else { Counted::NotApplied };
        return changes.iter().map(of_copy).collect();
    }
    let mut cleared: HashMap<u64, usize> = HashMap::new();
    let mut changed: HashMap<u64, usize> = HashMap::new();
    let mut all = vec![Counted::Yes; changes.len()];
    for index in in_order(changes) {
        let one = &changes[index];
        let by = one.claims.iter().map(|claim| cleared.get(claim).copied()).collect::<Option<Vec<usize>>>();
        let beside = |thing: Option<u64>| changed.get(&thing?).copied();
        all[index] = match (by.and_then(|by| by.first().copied()), beside(one.line), beside(one.station)) {
            (Some(other), ..) => Counted::AlternativeTo(other),
            (None, Some(other), _) => Counted::BesideSame("line", other),
            (None, None, Some(other)) => Counted::BesideSame("load station", other),
            (None, None, None) if one.does_harm(|worse| cleared.contains_key(worse)) => Counted::MakesWorse,
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
    use crate::remedy::edit::{Claim, Edit};
    use crate::remedy::remedy_row::RemedyRow;
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
            majors: cleared.len() as u64,
            circuits: Vec::new(),
            price: price.map(rust_decimal::Decimal::from),
            currency: Name::default(),
            words: String::new(),
            applied: String::new(),
            needs: Vec::new(),
            edit,
            claims: cleared.iter().map(claim).collect(),
            worsens: Vec::new(),
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
        let rows: Vec<Bearing> = rows.iter().map(Bearing::of).collect();
        let beside = Counted::BesideSame("load station", 4);
        let expected =
            [Counted::AlternativeTo(1), Counted::Yes, Counted::Yes, beside, Counted::Yes, Counted::AlternativeTo(1)];
        assert_eq!(decided(&rows), expected);
        assert_eq!(apart(&rows), [0, 3, 5]);
        assert!(decided(&[]).is_empty());
    }

    /// A minor's change makes worse what nothing clears, or what a change for a major clears.
    #[test]
    fn a_change_for_a_minor_that_makes_a_major_worse_counts_beside_what_clears_it_alone() {
        let claim =
            |rule| Claim { place: SharedKey::default(), rule, side: None, position: Name::default(), line: None };
        let minor = |worsens: Vec<Claim>| {
            let row = row(&["P11"], None, None);
            Bearing::of(&RemedyRow { majors: 0, worsens, ..row })
        };
        let major = Bearing::of(&row(&["H02"], Some(230), None));
        assert_eq!(decided(&[minor(vec![claim("H02")])]), [Counted::MakesWorse]);
        assert_eq!(decided(&[minor(Vec::new()), major.clone()]), [Counted::Yes, Counted::Yes]);
        assert_eq!(decided(&[minor(vec![claim("H02")]), major]), [Counted::Yes, Counted::Yes]);
    }

    /// By what a changed copy has, where there is one.
    #[test]
    fn what_a_copy_has_counts() {
        let copied = |applied: &str| {
            let applied = applied.to_owned();
            Bearing::of(&RemedyRow { applied, ..row(&["H01"], Some(1), None) })
        };
        assert_eq!(decided(&[copied("no: it is not"), copied("yes")]), [Counted::NotApplied, Counted::Yes]);
    }
}
