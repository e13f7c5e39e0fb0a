//! Rows of which there may be one for each of very many circuits, packed one on the other.

use super::packed::Packed;

/// Rows of which each is packed by itself; those between are packed on the one before.
const BLOCK: usize = 4;

/// A row that takes little room where it is near to the one before it.
pub trait PackedRow: Copy + Default {
    /// Adds it, in a byte at least, behind the one before; the first of a block stands behind the default.
    fn pack(self, before: Self, bytes: &mut Vec<u8>);

    /// The row that was packed behind the one before.
    #[must_use]
    fn unpack(before: Self, packed: &mut Packed) -> Self;
}

/// Rows in an order in which they are near to each other; any can be looked up.
#[derive(Clone, Debug)]
pub struct PackedRows<R> {
    bytes: Vec<u8>,
    /// Where each block starts.
    starts: Vec<usize>,
    length: usize,
    last: R,
}

impl<R: Default> Default for PackedRows<R> {
    fn default() -> Self {
        Self { bytes: Vec::new(), starts: Vec::new(), length: 0, last: R::default() }
    }
}

impl<R: PackedRow> PackedRows<R> {
    /// Adds a row behind all others.
    pub fn push(&mut self, row: R) {
        let mut before = self.last;
        if self.length.is_multiple_of(BLOCK) {
            self.starts.push(self.bytes.len());
            before = R::default();
        }
        row.pack(before, &mut self.bytes);
        self.last = row;
        self.length += 1;
    }

    /// Gives back the room for rows that do not come.
    pub fn close(&mut self) {
        self.bytes.shrink_to_fit();
        self.starts.shrink_to_fit();
    }

    #[must_use]
    pub const fn len(&self) -> usize {
        self.length
    }

    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.length == 0
    }

    /// The row of a place.
    #[must_use]
    pub fn get(&self, index: usize) -> Option<R> {
        (index < self.length).then(|| self.unpacked(index).0)
    }

    /// Every row, in order.
    pub fn iter(&self) -> impl Iterator<Item = R> {
        self.rows_from(0)
    }

    /// Every row from a place on.
    pub fn rows_from(&self, index: usize) -> impl Iterator<Item = R> {
        let (mut at, (mut row, mut packed)) = (index, self.unpacked(index));
        std::iter::from_fn(move || {
            if at >= self.length {
                return None;
            }
            if at > index {
                row = R::unpack(if at.is_multiple_of(BLOCK) { R::default() } else { row }, &mut packed);
            }
            at += 1;
            Some(row)
        })
    }

    /// The row of a place, and what is packed behind it.
    fn unpacked(&self, index: usize) -> (R, Packed<'_>) {
        let start = self.starts.get(index / BLOCK).copied().unwrap_or(self.bytes.len());
        let mut packed = Packed(self.bytes.get(start..).unwrap_or_default());
        let mut row = R::unpack(R::default(), &mut packed);
        for _ in 0..index % BLOCK {
            row = R::unpack(row, &mut packed);
        }
        (row, packed)
    }

    /// The place of the row that is found, and the row; they must be in the order of `is_before`.
    ///
    /// * `is_before` – whether a row stands before the one that is looked for
    pub fn find(&self, is_before: impl Fn(&R) -> bool) -> Option<(usize, R)> {
        let first = |start: &usize| R::unpack(R::default(), &mut Packed(self.bytes.get(*start..).unwrap_or_default()));
        let block = self.starts.partition_point(|start| is_before(&first(start))).saturating_sub(1);
        (block * BLOCK..).zip(self.rows_from(block * BLOCK)).take(BLOCK + 1).find(|(_, row)| !is_before(row))
    }
}

impl<R: PackedRow> FromIterator<R> for PackedRows<R> {
    fn from_iter<I: IntoIterator<Item = R>>(rows: I) -> Self {
        let mut all = Self::default();
        rows.into_iter().for_each(|row| all.push(row));
        all.close();
        all
    }
}

#[cfg(test)]
mod tests {
    use super::super::packed::push_step;
    use super::*;

    impl PackedRow for u64 {
        fn pack(self, before: Self, bytes: &mut Vec<u8>) {
            push_step(bytes, before, self);
        }

        fn unpack(before: Self, packed: &mut Packed) -> Self {
            packed.step(before)
        }
    }

    #[test]
    fn rows_come_back_from_every_place_on() {
        for length in [0, 1, BLOCK - 1, BLOCK, BLOCK + 1, 5 * BLOCK, 5 * BLOCK + 3] {
            // Steps of one byte and of several.
            let rows: Vec<u64> = (0..length as u64).map(|index| index * index * 1_000 + 7).collect();
            let packed: PackedRows<u64> = rows.iter().copied().collect();
            assert_eq!((packed.len(), packed.is_empty()), (length, length == 0));
            for index in 0..=length {
                assert_eq!(packed.rows_from(index).collect::<Vec<_>>(), rows[index..]);
                assert_eq!(packed.get(index), rows.get(index).copied());
            }
        }
    }

    #[test]
    fn a_row_is_found_or_the_one_behind_where_it_would_stand() {
        for length in [0, 1, BLOCK, 3 * BLOCK + 1] {
            let rows: Vec<u64> = (0..length as u64).map(|index| index * 10 + 5).collect();
            let packed: PackedRows<u64> = rows.iter().copied().collect();
            for wanted in 0..length as u64 * 10 + 20 {
                let place = rows.partition_point(|row| *row < wanted);
                let found = packed.find(|row| *row < wanted);
                assert_eq!(found, rows.get(place).map(|row| (place, *row)), "{wanted} of {length}");
            }
        }
    }
}
