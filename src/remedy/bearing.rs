//! What a change has to do with others, and which of them goes first where not all can be made.

use std::cmp::Reverse;
use std::collections::{HashMap, HashSet};
use std::hash::{DefaultHasher, Hash, Hasher};

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::edit::{Claim, Edit};
use super::remedy_row::RemedyRow;

/// What a change has to do with others: what parts of a run keep of it, names as numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bearing {
    cleared: u64,
    /// Of these, majors.
    #[serde(default)]
    majors: u64,
    /// Whether it makes other circuits of one: no other change of that circuit can be made beside it.
    #[serde(default)]
    is_split: bool,
    price: Option<String>,
    is_free: bool,
    pub claims: Vec<u64>,
    /// Majors that it leaves further from their limit.
    #[serde(default)]
    worsens: Vec<u64>,
    /// The line or load station that it changes.
    pub line: Option<u64>,
    pub station: Option<u64>,
    /// Whether a changed copy of the plant has it, where one was made; parts of a run make none.
    #[serde(skip)]
    pub applied: Option<bool>,
}

fn number_of(names: impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    names.hash(&mut hasher);
    hasher.finish()
}

/// A finding as a number. Which file a line stands in is left out: parts of a run number theirs each by itself, and
/// place, position and row tell it.
fn number_of_claim(claim: &Claim) -> u64 {
    let key = &claim.place;
    let names = [key.plant.as_str(), &key.pallet, &key.fixture, &key.circuit, claim.rule, &claim.position];
    number_of((names, claim.side.map(|side| side as u8), claim.line.map(|line| line.row)))
}

impl Bearing {
    /// Of a change.
    #[must_use]
    pub fn of(row: &RemedyRow) -> Self {
        let place = &row.place;
        let place = [place.plant.as_str(), &place.pallet, &place.fixture, &place.circuit];
        let (line, station) = match &row.edit {
            Some(Edit::Part { line, .. } | Edit::Setting { line, .. }) => {
                (Some(number_of((place, row.position.as_str(), line.row))), None)
            }
            Some(Edit::StationSetting { .. } | Edit::StationPart { .. }) => {
                (None, Some(number_of(row.position.as_str())))
            }
            _ => (None, None),
        };
        Self {
            cleared: row.cleared,
            majors: row.majors,
            is_split: matches!(row.edit, Some(Edit::Split { .. })),
            price: row.price.map(|price| price.to_string()),
            is_free: row.change == "setting",
            claims: row.claims.iter().map(number_of_claim).collect(),
            worsens: row.worsens.iter().map(number_of_claim).collect(),
            line,
            station,
            applied: (!row.applied.is_empty()).then(|| row.is_applied()),
        }
    }

    /// Takes in what the same change clears elsewhere.
    pub fn add(&mut self, other: Self) {
        self.cleared += other.cleared;
        self.majors += other.majors;
        self.claims.extend(other.claims);
        self.worsens.extend(other.worsens);
    }

    /// Whether both change the same line or load station.
    fn is_of_same(&self, other: &Self) -> bool {
        let is_same = |one: Option<u64>, other: Option<u64>| one.is_some() && one == other;
        is_same(self.line, other.line) || is_same(self.station, other.station)
    }

    /// Whether it clears minors alone and makes a major worse that nothing clears which goes ahead of it.
    pub fn does_harm(&self, is_cleared: impl Fn(&u64) -> bool) -> bool {
        self.majors == 0 && self.worsens.iter().any(|worse| !is_cleared(worse))
    }
}

/// Changes by their places, what goes first ahead: what clears majors before what clears minors alone; of these a split,
/// which leaves no place for others in its circuit, behind the others; then what clears most majors, then most, and of that what costs nothing,
/// little, or nobody knows what. What clears a major that another change makes worse is drawn ahead of that; of a load
/// station only what clears as many.
#[must_use]
pub fn in_order(changes: &[Bearing]) -> Vec<usize> {
    let price = |one: &Bearing| one.price.as_ref().and_then(|price| price.parse::<Decimal>().ok());
    let mut order: Vec<usize> = (0..changes.len()).collect();
    order.sort_by_cached_key(|index| {
        let one = &changes[*index];
        let is_unpriced = one.price.is_none() && !one.is_free;
        (one.majors == 0, one.is_split, Reverse(one.majors), Reverse(one.cleared), is_unpriced, price(one), *index)
    });
    let worsened: HashSet<u64> = changes.iter().flat_map(|one| one.worsens.iter().copied()).collect();
    if worsened.is_empty() {
        return order;
    }
    let mut clearing: HashMap<u64, Vec<usize>> = HashMap::new();
    for index in order.iter().copied().filter(|index| !changes[*index].is_split) {
        for claim in changes[index].claims.iter().filter(|claim| worsened.contains(*claim)) {
            clearing.entry(*claim).or_default().push(index);
        }
    }
    let mut drawn: Vec<usize> = Vec::with_capacity(order.len());
    let (mut is_entered, mut is_drawn) = (vec![false; order.len()], vec![false; order.len()]);
    for index in order {
        let mut waiting = vec![(index, false)];
        while let Some((index, are_ahead)) = waiting.pop() {
            if are_ahead && !is_drawn[index] {
                is_drawn[index] = true;
                drawn.push(index);
            } else if !is_entered[index] {
                is_entered[index] = true;
                waiting.push((index, true));
                let worsens = changes[index].worsens.iter().rev();
                let ahead = worsens.filter_map(|worse| clearing.get(worse)).flat_map(|all| all.iter().rev());
                // What one circuit needs does not keep a load station from being set for many, and what is drawn takes
                // nobody's place that waits for it.
                let may_go_ahead = |other: usize| {
                    let (one, other) = (&changes[index], &changes[other]);
                    let is_in_place = |waits: &usize| other.is_of_same(&changes[*waits]);
                    (one.station.is_none() || other.majors >= one.majors)
                        && !waiting.iter().filter(|(_, are_ahead)| *are_ahead).any(|(waits, _)| is_in_place(waits))
                };
                let drawn: Vec<usize> = ahead.copied().filter(|other| may_go_ahead(*other)).collect();
                waiting.extend(drawn.into_iter().map(|other| (other, false)));
            }
        }
    }
    drawn
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(cleared: u64, claims: &[u64], worsens: &[u64]) -> Bearing {
        let (claims, worsens) = (claims.to_vec(), worsens.to_vec());
        Bearing { cleared, majors: cleared, claims, worsens, is_free: true, ..Bearing::default() }
    }

    /// By hand: the first clears most and makes 9 worse, which the last clears: it goes ahead of it, and the second, which
    /// has to do with neither, behind both. Two that make each other's worse go by what they clear.
    #[test]
    fn what_clears_a_major_is_drawn_ahead_of_what_makes_it_worse_and_no_other_is() {
        assert_eq!(in_order(&[one(25, &[1], &[9]), one(2, &[2], &[]), one(1, &[9], &[])]), [2, 0, 1]);
        assert_eq!(in_order(&[one(1, &[1], &[2]), one(2, &[2], &[1])]), [0, 1]);
        assert_eq!(in_order(&[one(1, &[1], &[]), one(2, &[2], &[])]), [1, 0]);
        let station = Bearing { station: Some(1), ..one(25, &[1], &[9]) };
        assert_eq!(in_order(&[station, one(1, &[9], &[])]), [0, 1]);
        // The second clears what the first makes worse, and the third what that does: of the first one's station.
        let of_station = |one| Bearing { station: Some(1), ..one };
        let (first, third) = (of_station(one(9, &[1], &[2])), of_station(one(9, &[3], &[])));
        assert_eq!(in_order(&[first, one(9, &[2], &[3]), third]), [1, 0, 2]);
        let minor = Bearing { majors: 0, ..one(9, &[3], &[]) };
        let split = Bearing { is_split: true, ..one(5, &[4], &[]) };
        assert_eq!(in_order(&[minor, split, one(1, &[1], &[])]), [2, 1, 0]);
    }
}
