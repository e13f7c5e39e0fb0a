//! A part of a plant that is looked at by itself.

use std::collections::BTreeSet;

use crate::circuit::roster::Roster;
use crate::tables::circuit::{CircuitKey, Name};
use crate::tables::place::{PlaceError, named};

/// What was asked for, as written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LimitWords {
    pub plant: Option<String>,
    pub pallet: Option<String>,
    pub circuit: Option<String>,
}

impl LimitWords {
    /// Whether nothing is asked for: the whole plant is looked at.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.plant.is_none() && self.pallet.is_none() && self.circuit.is_none()
    }
}

/// One plant, pallet or circuit; circuits beside it are audited as far as it hangs on them, and not told of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit {
    plant: Option<Name>,
    pallet: Option<Name>,
    circuit: Option<CircuitKey>,
    /// Plant and pallet of those that are looked at, where only some are.
    pallets: Option<BTreeSet<(Name, Name)>>,
    /// `circuit North/P1/left/2`.
    pub words: String,
    /// Circuits of it, and of the whole plant.
    pub circuits: u64,
    pub of_circuits: u64,
    /// Rows that the lists have for it.
    pub lines: u64,
}

impl Limit {
    /// Nothing is left out, and nothing is counted yet.
    fn none(roster: &Roster) -> Self {
        Self {
            plant: None,
            pallet: None,
            circuit: None,
            pallets: None,
            words: String::new(),
            circuits: 0,
            of_circuits: roster.len() as u64,
            lines: 0,
        }
    }

    /// What the words mean among the circuits of a roster.
    ///
    /// # Errors
    /// A place that is none, or more than one.
    pub fn of(roster: &Roster, words: &LimitWords) -> Result<Self, PlaceError> {
        let mut limit = Self::none(roster);
        if let Some(plant) = &words.plant {
            let names: BTreeSet<Name> = roster.all().map(|entry| entry.key.plant).collect();
            let names: Vec<Name> = names.into_iter().collect();
            let found = named(plant, "plant", &names)?;
            let name = names.get(found);
            limit.words = format!("plant {}", name.map_or("", Name::as_str));
            limit.plant = name.cloned();
        }
        if let Some(pallet) = &words.pallet {
            let firsts = roster.fixtures.iter().map(|range| roster.entry(range.start));
            let keys: Vec<CircuitKey> = firsts.map(|entry| entry.key).filter(|key| limit.has(key)).collect();
            let found = named(pallet, "pallet", &keys.iter().map(CircuitKey::pallet_path).collect::<Vec<_>>())?;
            if let Some(key) = keys.get(found) {
                limit.words = format!("pallet {}", key.pallet_path());
                (limit.plant, limit.pallet) = (Some(key.plant.clone()), Some(key.pallet.clone()));
            }
        }
        if let Some(circuit) = &words.circuit {
            let mut keys: Vec<CircuitKey> = roster.all().map(|entry| entry.key).filter(|key| limit.has(key)).collect();
            let found = named(circuit, "circuit", &keys.iter().map(CircuitKey::path).collect::<Vec<_>>())?;
            if found < keys.len() {
                let key = keys.swap_remove(found);
                limit.words = format!("circuit {}", key.path());
                limit.circuit = Some(key);
            }
        }
        limit.count(roster);
        Ok(limit)
    }

    /// The pallet of a circuit.
    #[must_use]
    pub fn to_pallet(roster: &Roster, key: &CircuitKey) -> Self {
        let mut limit = Self {
            plant: Some(key.plant.clone()),
            pallet: Some(key.pallet.clone()),
            words: format!("pallet {}", key.pallet_path()),
            ..Self::none(roster)
        };
        limit.count(roster);
        limit
    }

    /// As far as some pallets go; what it was limited to before still holds.
    #[must_use]
    pub fn within(mut self, roster: &Roster, pallets: &BTreeSet<(Name, Name)>) -> Self {
        if pallets.is_empty() {
            "no circuit".clone_into(&mut self.words);
        } else if self.words.is_empty() {
            let named = pallets.iter().map(|(plant, pallet)| {
                let key = CircuitKey { plant: plant.clone(), pallet: pallet.clone(), ..CircuitKey::default() };
                let path = key.pallet_path();
                if path.is_empty() && pallets.len() > 1 { "without a name".to_owned() } else { path }
            });
            let named: Vec<String> = named.take(3).collect();
            let more = pallets.len().saturating_sub(named.len());
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            let words = match pallets.len() {
                1 if named[0].is_empty() => "the circuits without a pallet".to_owned(),
                1 => format!("pallet {}", named[0]),
                _ => format!("pallets {}{more}", named.join(", ")),
            };
            self.words = format!("{words}, which the change may touch");
        }
        self.pallets = Some(pallets.clone());
        (self.circuits, self.lines) = (0, 0);
        self.count(roster);
        self
    }

    /// The circuit, where it is limited to one.
    #[must_use]
    pub const fn circuit(&self) -> Option<&CircuitKey> {
        self.circuit.as_ref()
    }

    fn count(&mut self, roster: &Roster) {
        for entry in roster.all() {
            if !self.has(&entry.key) {
                continue;
            }
            self.circuits += 1;
            self.lines += entry.listed.map_or(0, |index| roster.lists.rows_of(index));
        }
    }

    /// Whether a circuit belongs to it.
    #[must_use]
    pub fn has(&self, key: &CircuitKey) -> bool {
        self.has_pallet(key) && self.circuit.as_ref().is_none_or(|circuit| circuit == key)
    }

    /// Whether circuits of a pallet, named by any of them, belong to it.
    #[must_use]
    pub fn has_pallet(&self, key: &CircuitKey) -> bool {
        let is_pallet = |circuit: &CircuitKey| circuit.plant == key.plant && circuit.pallet == key.pallet;
        self.plant.as_ref().is_none_or(|plant| *plant == key.plant)
            && self.pallet.as_ref().is_none_or(|pallet| *pallet == key.pallet)
            && self.circuit.as_ref().is_none_or(is_pallet)
            && self.pallets.as_ref().is_none_or(|pallets| pallets.contains(&(key.plant.clone(), key.pallet.clone())))
    }
}
