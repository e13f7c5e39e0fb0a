//! Rows of different lists that are the same, cell for cell (L12).

use crate::tables::origin::Origin;

use super::cell::{Cells, trimmed};

/// Odd constants with well mixed bits.
const FACTOR: u64 = 0x9e37_79b9_7f4a_7c15;
const OTHER: u64 = 0xd6e8_feb8_6659_fd93;

fn folded_product(a: u64, b: u64) -> u64 {
    let product = u128::from(a) * u128::from(b);
    #[allow(clippy::cast_possible_truncation, reason = "both halves are wanted")]
    let halves = (product as u64, (product >> 64) as u64);
    halves.0 ^ halves.1
}

fn text_hash(seed: u64, bytes: &[u8]) -> u64 {
    let mut hash = seed ^ (bytes.len() as u64).wrapping_mul(OTHER);
    let mut chunks = bytes.chunks_exact(8);
    for chunk in &mut chunks {
        let word = chunk.try_into().map(u64::from_le_bytes).unwrap_or_default();
        hash = folded_product(hash ^ word, FACTOR);
    }
    let rest = chunks.remainder().iter().fold(0_u64, |word, byte| word << 8 | u64::from(*byte));
    folded_product(folded_product(hash ^ rest, FACTOR) ^ OTHER, seed | 1)
}

/// The seed of a column, by what columns of other lists must share to mean the same.
pub(crate) fn seed_of(identity: &str) -> u64 {
    text_hash(FACTOR, identity.as_bytes())
}

/// What a cell adds to the hash of its row.
pub(crate) fn cell_hash(seed: u64, text: &str) -> u64 {
    let text = trimmed(text);
    if text.is_empty() { 0 } else { text_hash(seed, text.as_bytes()) }
}

/// A seed for each column, which columns of other lists that mean the same have too.
pub(crate) fn seeds<S: AsRef<str>>(headers: impl Iterator<Item = S>) -> Vec<u64> {
    headers.map(|header| seed_of(header.as_ref())).collect()
}

/// A hash of the cells that hold something, whatever their order, and of the row's place as it is
/// read: plant, pallet, fixture and circuit; never 0. Columns with a seed of 0 are left out.
pub(crate) fn row_hash(row: &impl Cells, first: usize, seeds: &[u64], place: [&str; 4]) -> u64 {
    let mut sum: u64 = 0;
    for (seed, text) in (1..).zip(place) {
        sum = sum.wrapping_add(text_hash(seed, text.as_bytes()));
    }
    for (slot, seed) in seeds.iter().enumerate().filter(|(_, seed)| **seed != 0) {
        sum = sum.wrapping_add(cell_hash(*seed, row.cell(first + slot).text));
    }
    sum.max(1)
}

/// The rows of one list: number and hash.
pub(crate) struct Hashes {
    pub source: u32,
    pub rows: Vec<(u32, u64)>,
}

/// Later rows that repeat one of an earlier list, with the first that they repeat.
#[derive(Debug, Default)]
pub(crate) struct Repeats(Vec<(Origin, Origin)>);

/// Rows that are sorted at once.
const AT_ONCE: u64 = 2_000_000;

impl Repeats {
    /// Compares every row with those of other lists. Two rows are taken for the same where
    /// their 64-bit hashes are: among ten million rows one such error in 300,000 runs.
    pub(crate) fn find(lists: &[Hashes]) -> Self {
        let total: u64 = lists.iter().map(|list| list.rows.len() as u64).sum();
        let parts = total / AT_ONCE + 1;
        let mut found = Vec::new();
        for part in 0..parts {
            let mut rows: Vec<(u64, Origin)> = lists
                .iter()
                .flat_map(|list| list.rows.iter().map(|(row, hash)| (*hash, Origin { source: list.source, row: *row })))
                .filter(|(hash, _)| *hash != 0 && hash % parts == part)
                .collect();
            rows.sort_unstable();
            for same in rows.chunk_by(|a, b| a.0 == b.0) {
                let Some((_, first)) = same.first() else { continue };
                let later = same.iter().filter(|(_, origin)| origin.source != first.source);
                found.extend(later.map(|(_, origin)| (*origin, *first)));
            }
        }
        found.sort_unstable();
        Self(found)
    }

    /// The row that a row repeats.
    pub(crate) fn of(&self, origin: Origin) -> Option<Origin> {
        if self.0.is_empty() {
            return None;
        }
        let index = self.0.binary_search_by_key(&origin, |(later, _)| *later).ok()?;
        self.0.get(index).map(|(_, first)| *first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::cell::GridRow;

    fn hash(headers: &[&str], cells: &[&str]) -> u64 {
        let row = GridRow::of_texts(1, cells.iter().copied());
        row_hash(&row, 0, &seeds(headers.iter().copied()), ["", "", "F1", "1"])
    }

    #[test]
    fn the_same_cells_under_the_same_headers_are_the_same_row() {
        let one = hash(&["partno", "qty", "note"], &["A", "2", ""]);
        assert_eq!(one, hash(&["qty", "partno"], &["2", " A "]));
        assert_ne!(one, hash(&["qty", "partno"], &["A", "2"]));
        assert_ne!(one, hash(&["partno", "qty"], &["A", "3"]));
        assert_ne!(hash(&["a", "b"], &["x", "x"]), hash(&["a", "b"], &["y", "y"]));
    }

    #[test]
    fn a_row_is_the_same_only_in_the_same_place() {
        let row = GridRow::of_texts(1, ["A", "2"].into_iter());
        let at = |fixture: &str| row_hash(&row, 0, &seeds(["partno", "qty"].into_iter()), ["", "", fixture, "1"]);
        assert_eq!(at("F1"), at("F1"));
        assert_ne!(at("F1"), at("F2"));
    }

    #[test]
    fn only_rows_of_other_lists_repeat() {
        let lists = [
            Hashes { source: 1, rows: vec![(2, 7), (3, 8), (4, 7)] },
            Hashes { source: 2, rows: vec![(2, 9), (3, 7), (5, 7), (6, 0)] },
        ];
        let repeats = Repeats::find(&lists);
        let at = |source, row| Origin { source, row };
        assert_eq!(repeats.of(at(1, 4)), None);
        assert_eq!(repeats.of(at(2, 3)), Some(at(1, 2)));
        assert_eq!(repeats.of(at(2, 5)), Some(at(1, 2)));
        assert_eq!(repeats.of(at(2, 2)), None);
    }
}
