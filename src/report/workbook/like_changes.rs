//! The order of the sheet Remedies: like changes as one row, sums, and below what is said once already, each by itself.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use crate::audit::decided::{Counted, decided};
use crate::audit::outcome::Audit;
use crate::physics::unit::UnitSystem;
use crate::remedy::bearing::Bearing;
use crate::remedy::remedy_row::RemedyRow;
use crate::tables::shown::shown;
use crate::tables::words::Verdict;

use super::grid::Place;

/// As many like changes as are told in one row.
const LIKE: usize = 3;

/// What stands on the sheet, row by row.
#[derive(Debug, Default)]
pub struct LikeChanges {
    /// Rows that are printed: the indices of the changes, in one row where there are several.
    pub told: Vec<Vec<usize>>,
    pub sums: Vec<Sum>,
    /// Indices of the changes that are told together, each by itself.
    pub below: Vec<usize>,
    /// By index.
    counted: Vec<Counted>,
    /// By index: whether it is of a circuit that is unsafe in service, a load station or a part.
    is_urgent: Vec<bool>,
    /// By index, the rows that lead to it: its own, and the one in which it is told.
    rows: Vec<(u32, u32)>,
}

/// Changes that count, and what they cost in one currency.
#[derive(Debug, Default, PartialEq)]
pub struct Sum {
    pub what: String,
    pub sum: Option<Decimal>,
    pub currency: String,
}

/// `WEIR-6A to WEIR-6`, `add POND-13`, `SLUICE-150 set to 157 bar`.
#[must_use]
pub fn in_short(row: &RemedyRow, units: UnitSystem) -> String {
    let (from, to) = (&row.part_from, &row.part_to);
    match row.change {
        "setting" => {
            let setting = row.setting.as_ref().map(|setting| shown(setting, units)).unwrap_or_default();
            let what = if from.is_empty() { format!("pump of {}", row.position) } else { from.as_str().to_owned() };
            format!("{what} set to {setting}")
        }
        "accumulator" | "addition" => format!("add {to}"),
        "split" => format!("split with {}", to.replace(' ', " and ")),
        _ => format!("{from} to {to}"),
    }
}

impl LikeChanges {
    /// Of a run's changes.
    #[must_use]
    pub fn of(audit: &Audit) -> Self {
        let (rows, units) = (&audit.remedies, audit.plant.policy.units);
        let counted = decided(&rows.iter().map(Bearing::of).collect::<Vec<Bearing>>());
        let urgent = Urgent::of(audit);
        let is_urgent: Vec<bool> = rows.iter().map(|row| urgent.has(row)).collect();
        let mut like: BTreeMap<_, Vec<usize>> = BTreeMap::new();
        for (index, row) in rows.iter().enumerate() {
            let setting = row.setting.as_ref().map(|setting| shown(setting, units));
            let kind = std::mem::discriminant(&counted[index]);
            let kind = (kind == std::mem::discriminant(&Counted::Yes), is_urgent[index], &row.applied);
            like.entry((in_short(row, units), setting, &row.rules, kind)).or_default().push(index);
        }
        let (mut told, mut below) = (Vec::new(), Vec::new());
        for members in like.into_values() {
            if members.len() < LIKE {
                told.extend(members.into_iter().map(|index| vec![index]));
            } else {
                below.extend(&members);
                told.push(members);
            }
        }
        // As the changes stand: what clears most first, like ones together.
        let cleared = |members: &[usize]| members.iter().map(|index| rows[*index].cleared).sum::<u64>();
        told.sort_by_key(|members| (std::cmp::Reverse(cleared(members)), members[0]));
        below.sort_unstable();
        let mut all = Self { told, sums: Vec::new(), below, counted, is_urgent, rows: vec![(0, 0); rows.len()] };
        all.sums = all.sums_of(rows);
        all.number();
        all
    }

    fn number(&mut self) {
        let mut row = 0;
        for members in &self.told {
            members.iter().for_each(|index| self.rows[*index] = (row, row));
            row += 1;
        }
        row += u32::try_from(self.sums.len()).unwrap_or(u32::MAX);
        for index in &self.below {
            self.rows[*index].0 = row;
            row += 1;
        }
    }

    /// The row of a change by itself.
    #[must_use]
    pub fn place(&self, index: usize, row_limit: u32) -> Option<Place> {
        self.rows.get(index).map(|(row, _)| Place::of(*row, row_limit))
    }

    fn sums_of(&self, rows: &[RemedyRow]) -> Vec<Sum> {
        let mut all = Vec::new();
        let are_together = rows.iter().any(|row| !row.applied.is_empty());
        let proved =
            if are_together { "; proved together in a changed copy" } else { "; each proved by itself, not together" };
        for (is_urgent, of) in [
            (
                true,
                "changes that count, of circuits unsafe in service, of load stations and of parts: those of the mail",
            ),
            (false, "changes that count, of circuits that are not unsafe in service"),
        ] {
            let counts = |index: &usize| self.counted[*index] == Counted::Yes && self.is_urgent[*index] == is_urgent;
            let counted: Vec<&RemedyRow> = (0..rows.len()).filter(counts).map(|index| &rows[index]).collect();
            let mut sums: BTreeMap<&str, Decimal> = BTreeMap::new();
            for (row, price) in counted.iter().filter_map(|row| Some((row, row.price?))) {
                let sum = sums.entry(&row.currency).or_default();
                *sum = sum.saturating_add(price);
            }
            let unpriced = counted.iter().filter(|row| row.price.is_none() && row.change != "setting").count();
            let unpriced = if unpriced > 0 { format!("; {unpriced} of them without a price") } else { String::new() };
            let of = if counted.len() == 1 {
                of.replacen("changes that count", "change that counts", 1)
            } else {
                of.to_owned()
            };
            let proved = if counted.len() > 1 || are_together { proved } else { "" };
            let what = format!("{} {of}{unpriced}{proved}", counted.len());
            let mut priced = sums.into_iter().map(|(currency, sum)| (Some(sum), currency.to_owned())).peekable();
            if counted.is_empty() {
                continue;
            }
            let (sum, currency) = priced.next().unwrap_or_default();
            all.push(Sum { what, sum, currency });
            all.extend(priced.map(|(sum, currency)| Sum { what: String::new(), sum, currency }));
        }
        all
    }

    /// Whether a change counts, in words that name the row of the other one.
    #[must_use]
    pub fn counts_in_words(&self, index: usize, row_limit: u32) -> String {
        let row = |other: usize| Place::of(self.rows[other].1, row_limit).row + 1;
        match self.counted[index] {
            Counted::Yes if self.is_urgent[index] => "yes".to_owned(),
            Counted::Yes => "yes, not unsafe in service".to_owned(),
            Counted::AlternativeTo(other) => format!("no: alternative to row {}", row(other)),
            Counted::BesideSame(thing, other) => {
                format!("no: same {thing} as row {}", row(other))
            }
            Counted::MakesWorse => "no: makes a major worse".to_owned(),
            Counted::NotApplied => "no: not applied".to_owned(),
        }
    }
}

/// What a mail tells of: circuits that are unsafe in service, or, where none is in service, that do not conform.
struct Urgent<'a>(BTreeSet<[&'a str; 4]>);

impl<'a> Urgent<'a> {
    fn of(audit: &'a Audit) -> Self {
        let counts = &audit.counts;
        if counts.in_service.total == 0 {
            let failing = audit.circuits.iter().filter(|circuit| circuit.verdict == Verdict::DoesNotConform);
            let keys = failing.map(|circuit| &circuit.circuit.key);
            return Self(keys.map(|key| [key.plant.as_str(), &key.pallet, &key.fixture, &key.circuit]).collect());
        }
        let unsafe_ones = counts.unsafe_in_service.iter();
        Self(unsafe_ones.map(|one| [one.plant.as_str(), &one.pallet, &one.fixture, &one.circuit]).collect())
    }

    /// A change of a part or a station stands on no single circuit.
    fn has(&self, row: &RemedyRow) -> bool {
        let key = &row.place;
        let place = [key.plant.as_str(), &key.pallet, &key.fixture, &key.circuit];
        place.iter().all(|name| name.is_empty()) || self.0.contains(&place)
    }
}
