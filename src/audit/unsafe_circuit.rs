//! Circuits, and findings on them, by the names that data files give them.

use serde::{Deserialize, Serialize};

use crate::tables::counted::counted;
use crate::tables::place;

/// A circuit in service that does not conform.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct UnsafeCircuit {
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
}

/// A finding whose waiver is in force no more: where it stands, and its rule.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct LapsedWaiver {
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
    pub position: String,
    pub part_no: String,
    pub rule: String,
}

/// How many are named.
const NAMED: usize = 4;

impl LapsedWaiver {
    /// `Tarnholm/T07/yoke/3, P09`; what stands on no circuit by its part, or the load station in its position.
    #[must_use]
    pub fn in_words(&self) -> String {
        let place = place::joined(&[&self.plant, &self.pallet, &self.fixture, &self.circuit]);
        let named = [&place, &self.part_no, &self.position].into_iter().find(|name| !name.is_empty());
        named.map_or_else(|| self.rule.clone(), |name| format!("{name}, {}", self.rule))
    }
}

/// `1 finding counts again, its waiver lapsed: Tarnholm/T07/yoke/3, P09`; `None` where there is none.
///
/// * `lapsed` – how many; the first of them are `named`
#[must_use]
pub fn lapsed_in_words<'a>(lapsed: u64, named: impl IntoIterator<Item = &'a LapsedWaiver>) -> Option<String> {
    let mut names: Vec<String> = named.into_iter().take(NAMED).map(LapsedWaiver::in_words).collect();
    let more = lapsed.saturating_sub(names.len() as u64);
    if more > 0 {
        names.push(format!("{more} more"));
    }
    let what = if lapsed == 1 { "counts again, its waiver lapsed" } else { "count again, their waivers lapsed" };
    (lapsed > 0).then(|| format!("{} {what}: {}", counted(lapsed, "finding"), names.join("; ")))
}
