//! Cells of a plant's tables with other texts than their files hold: what a file would say after an edit.

use std::collections::BTreeMap;

use crate::tables::cell_edit::CellEdit;
use crate::tables::origin::{Origin, SourceId};
use crate::tables::policy::Policy;

use super::cell::{CellRef, Cells, Is};
use super::error::ReadError;
use super::header::Layout;
use super::names::Names;
use super::repeats::{cell_hash, seed_of};
use super::table::Grid;

/// The edits of one table's rows, by place in its layout.
#[derive(Clone, Debug, Default)]
pub(crate) struct EditedCells(BTreeMap<u32, Vec<(usize, String)>>);

impl EditedCells {
    /// The edits of a source; columns that the table lacks are added to its layout.
    pub(crate) fn of(
        source: SourceId,
        layout: &mut Layout,
        edits: &[CellEdit],
        policy: &Policy,
    ) -> Result<Self, ReadError> {
        let mut all = Self::default();
        let of_source = edits.iter().filter(|edit| edit.origin.source == source);
        for edit in of_source {
            if layout.slot(edit.column).is_none() {
                Names::new(layout.table, policy).add_lacking(layout, edit.column).map_err(ReadError::new)?;
            }
            let Some(slot) = layout.slot(edit.column) else { continue };
            all.0.entry(edit.origin.row).or_default().push((slot, edit.text.clone()));
        }
        Ok(all)
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The cells of a row that have another text, by place in the layout.
    pub(crate) fn of_row(&self, row: u32) -> Option<&[(usize, String)]> {
        self.0.get(&row).map(Vec::as_slice)
    }

    /// Puts the texts into the rows of a small table.
    pub(crate) fn put_into(&self, grid: &mut Grid) {
        let first = grid.layout.first;
        for row in &mut grid.rows {
            for (slot, text) in self.of_row(row.number).unwrap_or_default() {
                row.set_text(first + slot, text);
            }
        }
    }

    /// What the hash of a row becomes: the sum of those of its cells.
    pub(crate) fn rehashed(layout: &Layout, origin: Origin, hash: u64, edits: &[CellEdit]) -> u64 {
        let mut sum = hash;
        for edit in edits.iter().filter(|edit| edit.origin == origin) {
            let Some(column) = layout.slot(edit.column).and_then(|slot| layout.columns.get(slot)) else { continue };
            let seed = seed_of(&column.identity());
            sum = sum.wrapping_sub(cell_hash(seed, &edit.before)).wrapping_add(cell_hash(seed, &edit.text));
        }
        sum.max(1)
    }
}

/// A row with some cells of other text.
pub(crate) struct EditedRow<'a, C> {
    pub row: &'a C,
    pub first: usize,
    pub cells: &'a [(usize, String)],
}

impl<C: Cells> Cells for EditedRow<'_, C> {
    fn count(&self) -> usize {
        self.row.count()
    }

    fn cell(&self, index: usize) -> CellRef<'_> {
        // The last of several edits of one cell counts.
        let edited = self.cells.iter().rev().find(|(slot, _)| self.first + slot == index);
        edited.map_or_else(|| self.row.cell(index), |(_, text)| CellRef { text, is: Is::Text })
    }

    fn is_text(&self) -> bool {
        self.row.is_text()
    }

    fn has_stray_text(&self) -> bool {
        self.row.has_stray_text()
    }
}
