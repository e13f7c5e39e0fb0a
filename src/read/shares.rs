//! Which lists each part of a run reads, told by the names and sizes of the files alone: every part comes to the same
//! answer without reading a list.

use std::collections::BTreeMap;

use sha2::{Digest, Sha256};

use crate::tables::column::Table;

use super::error::ReadError;
use super::folder::{Entry, Role};
use super::text_file::hexadecimal;

/// How a run in parts tells the pallets of its parts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Parting {
    /// By the files of the lists: a part reads its own.
    ByFile(Shares),
    /// By a hash of plant and pallet, all lists read; why, as the rest of a sentence.
    ByPallet(String),
}

/// The list files of each part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shares {
    /// Part by file, as sources name it; parts count from 1.
    parts: BTreeMap<String, u32>,
    /// Parts there are.
    pub of: u32,
    /// Hash of names, sizes and parts: parts that saw other files are of another run.
    pub identity: String,
}

/// Opening a file costs as much as reading some.
const A_FILE: u64 = 16 << 10;
/// How much more than the mean of all a part may have to read, in tenths, where folders stay whole, and where not.
const MOST: [u64; 2] = [15, 20];

impl Shares {
    /// The part that reads a file; `None` where it is no list.
    #[must_use]
    pub fn part_of(&self, file: &str) -> Option<u32> {
        self.parts.get(file).copied()
    }

    /// How many list files there are, and how many of them a part reads.
    #[must_use]
    pub fn counts(&self, part: u32) -> (usize, usize) {
        (self.parts.len(), self.parts.values().filter(|own| **own == part).count())
    }
}

impl Parting {
    /// How the files of a plant are shared among so many parts.
    ///
    /// # Errors
    /// Where a file can't be asked for its size.
    pub(crate) fn of(files: &[Entry], of: u32) -> Result<Self, ReadError> {
        let is_list = |entry: &&Entry| entry.role == Role::Table(Table::Lists);
        let lists: Vec<&Entry> = files.iter().filter(is_list).collect();
        let is_other = |entry: &Entry| matches!(entry.role, Role::WholePlant | Role::BesideComponents | Role::Matrix);
        // A file may be named twice, for two of its sheets.
        let is_shared = |entry: &&Entry| files.iter().filter(|other| other.name == entry.name).count() > 1;
        if files.iter().any(is_other) || lists.iter().any(is_shared) {
            return Ok(Self::ByPallet("lists and other tables, or several circuits, share a file".to_owned()));
        }
        if lists.len() < of as usize {
            let count = lists.len();
            return Ok(Self::ByPallet(format!("there are fewer list files ({count}) than parts ({of})")));
        }
        let mut sized: Vec<(&str, u64)> = Vec::with_capacity(lists.len());
        for entry in lists {
            let found = std::fs::metadata(&entry.path).map_err(|error| ReadError::io(&entry.name, &error))?;
            sized.push((&entry.name, found.len()));
        }
        sized.sort_unstable();
        let folders: Vec<Vec<(&str, u64)>> =
            sized.chunk_by(|one, next| folder_of(one.0) == folder_of(next.0)).map(<[_]>::to_vec).collect();
        let alone: Vec<Vec<(&str, u64)>> = sized.iter().map(|file| vec![*file]).collect();
        let shared = stretches(&folders, of, MOST[0]).or_else(|| stretches(&alone, of, MOST[1]));
        let Some(parts) = shared else {
            let why = "the list files differ so much in size that some parts would have much more to read than others";
            return Ok(Self::ByPallet(why.to_owned()));
        };
        let mut hasher = Sha256::new();
        for (name, size) in &sized {
            let part = parts.get(*name).copied().unwrap_or_default();
            hasher.update(format!("{name}\0{size}\0{part}\0"));
        }
        Ok(Self::ByFile(Shares { parts, of, identity: hexadecimal(&hasher.finalize()) }))
    }
}

fn folder_of(name: &str) -> &str {
    name.rsplit_once('/').map_or("", |(folder, _)| folder)
}

/// Cuts units into stretches of about the same weight, in their order: what lies in one folder stays together as far
/// as it can. `None` where a part would have none, or too much.
fn stretches(units: &[Vec<(&str, u64)>], of: u32, most: u64) -> Option<BTreeMap<String, u32>> {
    let weight = |unit: &[(&str, u64)]| unit.iter().map(|(_, size)| u128::from(size + A_FILE)).sum::<u128>();
    let all: u128 = units.iter().map(|unit| weight(unit)).sum();
    let mut weights = vec![0_u128; of as usize];
    let mut parts = BTreeMap::new();
    let mut before = 0;
    for unit in units {
        let own = weight(unit);
        // Where its middle falls.
        let index = ((2 * before + own) * u128::from(of) / (2 * all)).min(u128::from(of) - 1);
        before += own;
        let part = u32::try_from(index).ok()?;
        *weights.get_mut(part as usize)? += own;
        parts.extend(unit.iter().map(|(name, _)| ((*name).to_owned(), part + 1)));
    }
    let is_even = |own: &u128| *own > 0 && own * u128::from(of) * 10 <= all * u128::from(most);
    weights.iter().all(is_even).then_some(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn units<'a>(sizes: &[&[(&'a str, u64)]]) -> Vec<Vec<(&'a str, u64)>> {
        sizes.iter().map(|unit| unit.iter().map(|(name, kib)| (*name, kib << 10)).collect()).collect()
    }

    #[test]
    fn every_file_has_one_part_and_the_parts_are_even() {
        let four = units(&[&[("a", 900)], &[("b", 1100)], &[("c", 1000)], &[("d", 1000)]]);
        let parts = stretches(&four, 2, 15).unwrap();
        assert_eq!(parts.values().copied().collect::<Vec<u32>>(), [1, 1, 2, 2]);
        // Alone each file is a part; five parts would leave one without.
        assert_eq!(stretches(&four, 4, 15).unwrap().values().copied().collect::<Vec<u32>>(), [1, 2, 3, 4]);
        assert_eq!(stretches(&four, 5, 15), None);
    }

    #[test]
    fn one_file_that_is_nearly_all_is_no_share() {
        let uneven = units(&[&[("a", 100_000)], &[("b", 10)], &[("c", 10)], &[("d", 10)]]);
        assert_eq!(stretches(&uneven, 3, 20), None);
    }

    #[test]
    fn a_folder_stays_whole_where_it_can() {
        let folders = units(&[&[("a/1", 500), ("a/2", 600)], &[("b/1", 1000)]]);
        let parts = stretches(&folders, 2, 15).unwrap();
        assert_eq!(
            parts.iter().map(|(name, part)| (name.as_str(), *part)).collect::<Vec<_>>(),
            [("a/1", 1), ("a/2", 1), ("b/1", 2)]
        );
    }
}
