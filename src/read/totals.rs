//! Whether rows of a list that are totals by their words are what the lines above them come to.

use std::collections::{BTreeSet, VecDeque};

use crate::tables::origin::{InputNote, NoteKind, TOTAL_THAT_IS_NONE};

use super::cell::{Cells, GridRow};
use super::header::{Layout, TOTAL};
use super::quantity::pieces;

/// Lines above a total that are looked at one by one.
const NEAREST: usize = 65_536;

/// The quantities of the lines so far.
#[derive(Default)]
struct Quantities {
    /// Of the nearest lines above.
    near: VecDeque<f64>,
    all: f64,
    lines: f64,
    /// Lines since the total before.
    since: f64,
}

impl Quantities {
    fn add(&mut self, quantity: f64) {
        if self.near.len() == NEAREST {
            self.near.pop_front();
        }
        self.near.push_back(quantity);
        self.all += quantity;
        self.lines += 1.0;
        self.since += 1.0;
    }

    /// Whether a number is the sum of lines that end here, or counts them.
    fn come_to(&self, number: f64) -> bool {
        let is_it = |other: f64| (other - number).abs() <= 1e-9 * number.abs();
        let mut sum = 0.0;
        let sums = self.near.iter().rev().map(|quantity| {
            sum += quantity;
            sum
        });
        [self.all, self.lines, self.since].into_iter().any(is_it)
            || sums.take_while(|sum| *sum <= number * (1.0 + 1e-9)).any(is_it)
    }
}

/// Totals that are looked at among the lines of a list.
pub(super) struct Watch<'a> {
    layout: &'a Layout,
    part: usize,
    qty: usize,
    totals: BTreeSet<u32>,
    quantities: Quantities,
    /// Totals whose quantity is no sum.
    pub(super) of_nothing: BTreeSet<u32>,
}

impl<'a> Watch<'a> {
    /// Nothing where there are none, or the list has no quantities.
    pub(super) fn of(layout: &'a Layout, totals: BTreeSet<u32>) -> Option<Self> {
        let (part, qty) = (layout.slot_of_part?, layout.slot("qty")?);
        let (quantities, of_nothing) = (Quantities::default(), BTreeSet::new());
        (!totals.is_empty()).then_some(Self { layout, part, qty, totals, quantities, of_nothing })
    }

    /// Sees the next row.
    pub(super) fn see(&mut self, row: &impl Cells, number: u32) {
        let numbers = self.layout.columns.get(self.qty).map(|column| column.numbers).unwrap_or_default();
        let cell = row.cell(self.layout.first + self.qty);
        let Ok(Some(quantity)) = pieces(cell, numbers, &self.layout.own) else { return };
        if self.totals.contains(&number) {
            if !self.quantities.come_to(quantity) {
                self.of_nothing.insert(number);
            }
            self.quantities.since = 0.0;
        } else if !row.cell(self.layout.first + self.part).is_blank() {
            self.quantities.add(quantity);
        }
    }
}

/// Marks the notes of totals of a sheet whose quantity is no sum of the lines above.
pub(crate) fn mark(notes: &mut [InputNote], lines: &[GridRow], totals: &[GridRow], layout: &Layout) {
    let Some(mut watch) = Watch::of(layout, totals.iter().map(|row| row.number).collect()) else { return };
    let mut all: Vec<&GridRow> = lines.iter().chain(totals).collect();
    all.sort_by_key(|row| row.number);
    all.into_iter().for_each(|row| watch.see(row, row.number));
    for note in notes.iter_mut() {
        if note.message.starts_with(TOTAL) && watch.of_nothing.contains(&note.origin.row) {
            note.kind = NoteKind::Suspected;
            TOTAL_THAT_IS_NONE.clone_into(&mut note.message);
        }
    }
}
